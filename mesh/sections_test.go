package mesh_test

import (
	"context"
	"math"
	"reflect"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func sectionsOf(t testing.TB, m *mesh.Mesh, f mesh.Frame, pitch float64) *mesh.Sections {
	t.Helper()
	s, err := mesh.MeasureSections(context.Background(), m, f, pitch)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func ngonArea(n int, r float64) float64 {
	return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n))
}

func TestSections(t *testing.T) {
	// A revolved polygon is cut in a regular n-gon at every height, so area and
	// perimeter are exact.
	const n = 60
	ngon := func(r float64) (a, p float64) {
		return ngonArea(n, r), float64(n) * 2 * r * math.Sin(math.Pi/n)
	}
	flaps := func(z float64) (float64, float64) {
		return 400, 80 + 4*3*math.Sqrt2*(1-math.Abs(z-10)/10)
	}
	cases := []struct {
		name    string
		m       *mesh.Mesh
		f       mesh.Frame
		pitch   float64
		cuts    int
		islands int
		want    func(z float64) (area, perimeter float64)
	}{
		{"cube", meshtest.Cube(20), plusZ, 0.04, 500, 1, func(float64) (float64, float64) { return 400, 80 }},
		{"cube, planes on its vertices", meshtest.Refine(meshtest.Cube(20), 2), plusZ, 2, 10, 1, func(float64) (float64, float64) { return 400, 80 }},
		{"cube on an edge", meshtest.Cube(20), upward(1, 1, 0, 3), 0.1, 283, 1, func(z float64) (float64, float64) {
			w := 2 * min(z, 20*math.Sqrt2-z)
			return 20 * w, 40 + 2*w
		}},
		{"cone", meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 0}, {0, 10}}, n), plusZ, 0.1, 100, 1, func(z float64) (float64, float64) { return ngon(10 - z) }},
		{"tube", meshtest.RingPrism(meshtest.Circle(0, 0, 10, n), meshtest.Circle(0, 0, 8, n), 0, 30), plusZ, 0.7, 43, 1, func(float64) (float64, float64) {
			a, p := ngon(10)
			b, q := ngon(8)
			return a - b, p + q
		}},
		{"hollow cube", meshtest.Join(meshtest.Cube(20), meshtest.Flip(meshtest.BoxAt(mesh.Vec{5, 5, 5}, mesh.Vec{15, 15, 15}))), plusZ, 0.3, 67, 1, func(z float64) (float64, float64) {
			if z < 5 || z >= 15 {
				return 400, 80
			}
			return 300, 120
		}},
		{"two towers", meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{30, 0, 0}, mesh.Vec{35, 5, 20})), plusZ, 0.5, 40, 2, func(float64) (float64, float64) { return 425, 100 }},
		{"two towers that share an upright edge", meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{20, 20, 0}, mesh.Vec{40, 40, 20})), plusZ, 0.5, 40, 2, func(float64) (float64, float64) { return 800, 160 }},
		{"two blocks that share a side", meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{20, 0, 0}, mesh.Vec{40, 20, 20})), plusZ, 0.5, 40, 2, func(float64) (float64, float64) { return 800, 120 }},
		{"two blocks that overlap", meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{5, 10, 0}, mesh.Vec{25, 30, 20})), plusZ, 0.7, 29, 2, func(float64) (float64, float64) { return 650, 110 }},
		{"cube with flaps", flapped(mesh.Vec{-3, -3, 10}), plusZ, 0.5, 40, 1, flaps},
		{"cube with flaps inside", flapped(mesh.Vec{3, 3, 10}), plusZ, 0.5, 40, 1, func(float64) (float64, float64) { return 400, 80 }},
	}
	area := accuracy.Of("sections", "section", "cubes, cones, tubes, shells, towers, flaps", accuracy.Share, 1e-9)
	around := accuracy.Of("sections", "perimeter", "cubes, cones, tubes, shells, towers, flaps", accuracy.Share, 1e-9)
	islands := accuracy.Of("sections", "number of islands", "cubes, cones, tubes, shells, towers, flaps", accuracy.Wrong, 0)
	defer func() { area.Hold(t); around.Hold(t); islands.Hold(t) }()
	for _, c := range cases {
		s := sectionsOf(t, c.m, c.f, c.pitch)
		if len(s.Z) != c.cuts {
			t.Errorf("%s: %d cuts, want %d", c.name, len(s.Z), c.cuts)
		}
		for k, z := range s.Z {
			a, p := c.want(z)
			area.Near(s.AreaMM2[k], a)
			around.Near(s.PerimeterMM[k], p)
			islands.Right(s.Islands[k] == c.islands)
			if math.Abs(s.AreaMM2[k]-a) > 1e-9*(1+a) || math.Abs(s.PerimeterMM[k]-p) > 1e-9*(1+p) || s.Islands[k] != c.islands {
				t.Errorf("%s at %g: area %.12g perimeter %.12g islands %d, want %.12g, %.12g, %d", c.name, z, s.AreaMM2[k], s.PerimeterMM[k], s.Islands[k], a, p, c.islands)
				break
			}
		}
	}
}

// flapped is a cube of 20 with triangles without thickness on two opposite
// upright edges, one with its tip there: two facets back to back, so that four
// share the edge. Facets that rounding has flattened look like that.
func flapped(tip mesh.Vec) *mesh.Mesh {
	flap := func(x float64, tip mesh.Vec) *mesh.Mesh {
		return mesh.New([]mesh.Vec{{x, x, 0}, {x, x, 20}, tip}, [][3]int32{{0, 1, 2}, {2, 1, 0}})
	}
	return meshtest.Join(meshtest.Cube(20), flap(0, tip), flap(20, mesh.Vec{20 - tip[0], 20 - tip[1], 10}))
}

func TestSectionJumps(t *testing.T) {
	// A post of 5 x 5 that carries a plate of 40 x 40 from height 20.
	post := meshtest.Revolve([]mesh.Vec{{0, 0}, {3, 0}, {3, 20}, {20, 20}, {20, 25}, {0, 25}}, 64)
	js := sectionsOf(t, post, plusZ, 0.1).Jumps(1, 4)
	if len(js) != 1 {
		t.Fatalf("%d jumps, want 1: %+v", len(js), js)
	}
	j := js[0]
	wantNear(t, "ratio", j.Ratio, 400.0/9, 1e-9)
	wantNear(t, "height", j.Z, 20, 1e-9)
	wantNear(t, "from", j.From, ngonArea(64, 3), 1e-9)
	wantNear(t, "to", j.To, ngonArea(64, 20), 1e-9)
	if r := math.Hypot(j.At[0], j.At[1]); r < 3 || r > 20 {
		t.Errorf("place %v lies at radius %g, want it in the new ring", j.At, r)
	}
	wantNear(t, "place height", j.At[2], 20.05, 1e-9)
	// A plate that goes on growing above the step is told of at the step, though the
	// ratio is largest at the end of the height within which it counts.
	flared := meshtest.Revolve([]mesh.Vec{{0, 0}, {3, 0}, {3, 20}, {20, 20}, {22, 25}, {0, 25}}, 64)
	js = sectionsOf(t, flared, plusZ, 0.1).Jumps(1, 4)
	if len(js) != 1 {
		t.Fatalf("flared: %+v", js)
	}
	wantNear(t, "height of the flared", js[0].Z, 20, 1e-9)
	wantNear(t, "place height of the flared", js[0].At[2], 20.05, 1e-9)
	for name, m := range map[string]*mesh.Mesh{
		"ball":     meshtest.Sphere(10, 64),
		"cube":     meshtest.Cube(20),
		"two feet": bridge(10, 20, 20, 5, 20),
	} {
		if js := sectionsOf(t, m, plusZ, 0.05).Jumps(1, 4); len(js) > 0 {
			t.Errorf("%s: jumps %+v, want none", name, js)
		}
	}
}

// Slices are cut once for both, whether outlines are those of the mesh or of the
// skin of bodies that overlap.
func TestSlicesAreSectionsAndSlenderness(t *testing.T) {
	lattice := meshtest.Join(meshtest.Struts(2, 4, 0.4, 12), meshtest.BoxAt(mesh.Vec{-0.5, -0.5, -1.5}, mesh.Vec{8.5, 8.5, 0.3}))
	pins := meshtest.Blocks([]float64{0, 1, 9, 11, 30}, []float64{0, 1, 4, 5}, []float64{0, 3, 17, 18}, func(i, j, k int) bool { return k == 0 || (i+j)%2 == 0 })
	for name, m := range map[string]*mesh.Mesh{"overlapping struts": lattice, "pins that touch along edges": pins} {
		sections, slender, err := mesh.MeasureSlices(t.Context(), m, plusZ, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		if want := sectionsOf(t, m, plusZ, 0.1); !reflect.DeepEqual(sections, want) {
			t.Errorf("%s: sections %+v, want %+v", name, sections, want)
		}
		if want := slenderOf(t, m, plusZ, 0.1); len(want) == 0 || !reflect.DeepEqual(slender, want) {
			t.Errorf("%s: slenderness %+v, want %+v", name, slender, want)
		}
	}
}
