package mesh_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func wallOf(t *testing.T, m *mesh.Mesh, cap, patch float64) *mesh.ThicknessField {
	t.Helper()
	f, err := mesh.MeasureThickness(context.Background(), m, mesh.ThicknessParams{CapMM: cap, PatchMM: patch})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func gapOf(t *testing.T, m *mesh.Mesh, cap, patch float64) *mesh.ThicknessField {
	t.Helper()
	f, err := mesh.MeasureGap(context.Background(), m, mesh.ThicknessParams{CapMM: cap, PatchMM: patch})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// checkMin compares the least value with a closed form, within the field's own
// error and a share for round shapes that facets stand for.
func checkMin(t *testing.T, f *mesh.ThicknessField, want, share float64) {
	t.Helper()
	if math.IsInf(want, 1) {
		if !math.IsInf(f.Min, 1) {
			t.Errorf("least value %v at %v, want none", f.Min, f.MinAt)
		}
		return
	}
	if e := math.Abs(f.Min - want); !(e <= f.Err+share*want) {
		t.Errorf("least value %v at %v, want %v: off by %.2g, allowed %.2g", f.Min, f.MinAt, want, e, f.Err+share*want)
	}
}

// tee is a wall t thick and 10 high on a base 5 thick, extruded 20.
func tee(t float64) *mesh.Mesh {
	return meshtest.Extrude([]mesh.Vec{{0, 0}, {20, 0}, {20, 5}, {10 + t/2, 5}, {10 + t/2, 15}, {10 - t/2, 15}, {10 - t/2, 5}, {0, 5}}, nil, 0, 20)
}

func wedge(deg, size float64) *mesh.Mesh {
	a := deg * math.Pi / 180
	return meshtest.Extrude([]mesh.Vec{{0, 0}, {size, 0}, {size * math.Cos(a), size * math.Sin(a)}}, nil, 0, 20)
}

// Closed forms. The chord of a round shape makes it thinner by cos(pi/n).
func TestThicknessClosedForm(t *testing.T) {
	rad := math.Pi / 180
	none := math.Inf(1)
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		want float64
	}{
		"plate 1.5":         {meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 20, 1.5}), 1.5},
		"cube 20":           {meshtest.Cube(20), none},
		"bar 5 below cap 6": {meshtest.BoxAt(mesh.Vec{}, mesh.Vec{5, 5, 30}), 5},
		"tube 10/8":         {meshtest.Tube(10, 8, 0, 30, 64), 2 * math.Cos(math.Pi/64)},
		"wall on a base":    {tee(0.5), 0.5},
		// A wedge is read no nearer to its tip than the patch size, 1 mm.
		"wedge 30 deg": {wedge(30, 20), 2 * math.Tan(15*rad)},
		"wedge 59 deg": {wedge(59, 20), 2 * math.Tan(29.5*rad)},
		// Normals opposed by exactly 120 degrees make a corner, not a wall.
		"prism 60 deg": {wedge(60, 20), none},
		"prism 80 deg": {wedge(80, 20), 2 * math.Tan(25*rad)}, // its other corners have 50
	} {
		t.Run(name, func(t *testing.T) { checkMin(t, wallOf(t, c.m, 6, 1), c.want, 0) })
	}
}

func TestWallRegions(t *testing.T) {
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		free bool
		area float64
	}{
		"standing":  {tee(0.5), true, 200},
		"all plate": {meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 20, 0.5}), false, 800},
		// A fin of its own on a block, flush and sunk, and one between two blocks.
		"on a body": {meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{0, 8, 20}, mesh.Vec{20, 8.5, 30})), true, 200},
		"in a body": {meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{0, 8, 18}, mesh.Vec{20, 8.5, 30})), true, 200},
		"between two bodies": {meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{0, 0, 30}, mesh.Vec{20, 20, 50}),
			meshtest.BoxAt(mesh.Vec{0, 8, 20}, mesh.Vec{20, 8.5, 30})), false, 200},
		// Held at both ends: a bar with two pockets from the sides.
		"between two posts": {meshtest.Extrude([]mesh.Vec{{0, 0}, {5, 0}, {5, 5}, {25, 5}, {25, 0}, {30, 0}, {30, 10}, {25, 10}, {25, 5.5}, {5, 5.5}, {5, 10}, {0, 10}}, nil, 0, 10), false, 200},
	} {
		t.Run(name, func(t *testing.T) {
			f := wallOf(t, c.m, 4, 1)
			rs := f.Regions(1)
			if len(rs) != 1 {
				t.Fatalf("%d regions, want 1: %+v", len(rs), rs)
			}
			r := rs[0]
			if r.Free != c.free || math.Abs(r.MinMM-0.5) > f.Err || math.Abs(r.AreaMM2-c.area) > 1e-3*c.area {
				t.Errorf("free %v, min %v, area %v; want %v, 0.5, %v", r.Free, r.MinMM, r.AreaMM2, c.free, c.area)
			}
			if rs := f.Regions(0.5); len(rs) != 0 {
				t.Errorf("a wall at the limit passes, got %+v", rs)
			}
		})
	}
}

// How far thin places stand out, and which are wedges: tips cut off flat or
// round, whatever the triangles, and what only looks like one.
func TestWedgesAndRelief(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 5))
	cut := func(deg, tip float64) []mesh.Vec { // its apex, were it sharp, at the origin
		a := deg * math.Pi / 180
		return []mesh.Vec{{tip, 0}, {20, 0}, {20 * math.Cos(a), 20 * math.Sin(a)}, {tip * math.Cos(a), tip * math.Sin(a)}}
	}
	round := func(deg, r float64) []mesh.Vec {
		a := deg * math.Pi / 180
		l := r / math.Sin(a/2)
		arc := meshtest.Arc(l*math.Cos(a/2), l*math.Sin(a/2), r, deg+90, 270, 12)
		return append(arc, mesh.Vec{20, 0}, mesh.Vec{20 * math.Cos(a), 20 * math.Sin(a)})
	}
	type want struct{ wedge, stands, off float64 }
	cell := 0.5 * math.Sqrt2 // the longest side of one, by which extents are told
	cases := map[string]struct {
		m *mesh.Mesh
		want
	}{
		"raised letter":     {meshtest.Extrude([]mesh.Vec{{0, 0}, {9, 0}, {9, 5}, {5, 5}, {5, 5.6}, {4.2, 5.6}, {4.2, 5}, {0, 5}}, nil, 0, 20), want{0, 0.6, 1e-6}},
		"rib":               {tee(0.7), want{0, 10, 1e-6}},
		"plate in the air":  {meshtest.BoxAt(mesh.Vec{}, mesh.Vec{10, 10, 0.7}), want{0, 0, 0}},
		"notch over a base": {meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 3}, {5, 0.3}, {0, 3}}, nil, 0, 2), want{0, 1.4, cell}},
	}
	for _, deg := range []float64{12, 20, 33, 45, 58} {
		foot := 1 / (2 * math.Tan(deg*math.Pi/360)) // 1 mm thick so far from the apex
		flat := meshtest.Extrude(cut(deg, foot/4), nil, 0, 30)
		cases[fmt.Sprintf("cut off, %v deg", deg)] = struct {
			m *mesh.Mesh
			want
		}{flat, want{deg, foot * 3 / 4, cell}}
		cases[fmt.Sprintf("cut off, %v deg, smaller facets, turned", deg)] = struct {
			m *mesh.Mesh
			want
		}{meshtest.Turn(meshtest.Refine(flat, 3), meshtest.RandomDir(rnd), 2), want{deg, foot * 3 / 4, cell}}
		cases[fmt.Sprintf("rounded, %v deg", deg)] = struct {
			m *mesh.Mesh
			want
		}{meshtest.Extrude(round(deg, 0.15), nil, 0, 30), want{deg, foot - 0.15/math.Tan(deg*math.Pi/360), cell}}
	}
	for name, c := range cases {
		var r mesh.ThinRegion // the largest: a cell may stand alone that touches it at a corner
		var all float64
		for _, q := range wallOf(t, c.m, 2, 1).Regions(1) {
			all += q.AreaMM2
			if q.AreaMM2 > r.AreaMM2 {
				r = q
			}
		}
		if all == 0 || r.AreaMM2 < 0.98*all {
			t.Errorf("%s: %v mm2 of %v in one region", name, r.AreaMM2, all)
		}
		if math.Abs(r.WedgeRad*180/math.Pi-c.wedge) > 1e-3 || math.Abs(r.StandsMM-c.stands) > c.off {
			t.Errorf("%s: a wedge of %v deg that stands out %v mm, want %v and %v", name, r.WedgeRad*180/math.Pi, r.StandsMM, c.wedge, c.stands)
		}
	}
}

// A thin place 1 mm wide between two facets of 100 mm.
func TestThinPatchBetweenLargeFacets(t *testing.T) {
	pit := meshtest.Join(
		meshtest.Extrude([]mesh.Vec{{0, 0}, {100, 0}, {100, 100}, {0, 100}}, nil, 0, 5),
		meshtest.Flip(meshtest.BoxAt(mesh.Vec{37.2, 61.4, 0.3}, mesh.Vec{38.2, 62.4, 4})))
	f := wallOf(t, pit, 2, 1)
	checkMin(t, f, 0.3, 0)
	rs := f.Regions(0.5)
	if len(rs) != 1 {
		t.Fatalf("%d regions, want 1", len(rs))
	}
	if r := rs[0]; math.Abs(r.AreaMM2-1) > 0.5 || r.Box.Size()[0] > 3 || r.Box.Size()[1] > 3 {
		t.Errorf("region of %v mm2 in %v, want 1 mm2 about (37.7, 61.9)", r.AreaMM2, r.Box)
	}
}

func TestGap(t *testing.T) {
	two := meshtest.Join(meshtest.Cube(20), meshtest.Move(meshtest.Cube(20), mesh.Vec{20.3, 0, 0}))
	checkMin(t, gapOf(t, two, 2, 1), 0.3, 0)
	checkMin(t, gapOf(t, tee(0.5), 2, 1), math.Inf(1), 0) // inner corners are no gaps
	touching := meshtest.Join(meshtest.Cube(20), meshtest.Move(meshtest.Cube(20), mesh.Vec{20, 5, 5}))
	checkMin(t, gapOf(t, touching, 2, 1), math.Inf(1), 0)
}

func TestFeatherEdges(t *testing.T) {
	edges := func(m *mesh.Mesh, deg float64) []mesh.FeatherEdge {
		es, err := mesh.MeasureFeatherEdges(context.Background(), m, deg*math.Pi/180)
		if err != nil {
			t.Fatal(err)
		}
		return es
	}
	row := accuracy.Of("feather edge", "angle", "wedge, lens, tip of a needle", accuracy.Share, 1e-9)
	if es := edges(wedge(30, 20), 35); len(es) != 1 || math.Abs(es[0].AngleRad-math.Pi/6) > 1e-9 || math.Abs(es[0].LengthMM-20) > 1e-9 {
		t.Errorf("wedge of 30 deg: %+v", es)
	}
	if es := edges(wedge(30, 20), 29); len(es) != 0 {
		t.Errorf("wedge of 30 deg under 29 deg: %+v", es)
	}
	row.Near(edges(wedge(30, 20), 35)[0].AngleRad, math.Pi/6)
	// A lens: one run around the rim. Its wedge is twice the chord's slope.
	lens := meshtest.Revolve([]mesh.Vec{{0, -1}, {10, 0}, {0, 1}}, 48)
	es := edges(lens, 30)
	want := 2 * math.Atan(0.1/math.Cos(math.Pi/48))
	if len(es) != 1 || math.Abs(es[0].AngleRad-want) > 1e-9 || math.Abs(es[0].LengthMM-2*48*10*math.Sin(math.Pi/48)) > 1e-9 {
		t.Errorf("lens: %d runs, want one of %v: %+v", len(es), want, es)
	}
	row.Near(es[0].AngleRad, want)
	// A quarter of the rim, a vertical half of the wedge's edge, and neither.
	half := edges(wedge(30, 20), 35)[0]
	for _, c := range []struct {
		e    mesh.FeatherEdge
		box  mesh.Box
		want float64
	}{
		{es[0], mesh.Box{Min: mesh.Vec{0, 0, -1}, Max: mesh.Vec{20, 20, 1}}, es[0].LengthMM / 4},
		{es[0], mesh.Box{Min: mesh.Vec{-7, -7, -1}, Max: mesh.Vec{7, 7, 1}}, 0},
		{es[0], es[0].Box, es[0].LengthMM},
		{half, mesh.Box{Min: half.Box.Min, Max: half.At}, half.LengthMM / 2},
		{half, half.Box.Widened(1), half.LengthMM},
	} {
		if got := c.e.LengthIn(c.box); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v mm of the edge in %v, want %v", got, c.box, c.want)
		}
	}
	// A needle has a tip and no sharp edge.
	es = edges(meshtest.Revolve([]mesh.Vec{{0, 0}, {1, 0}, {0, 10}}, 24), 30)
	if want := 2 * math.Atan(0.1*math.Cos(math.Pi/24)); len(es) != 1 || math.Abs(es[0].AngleRad-want) > 1e-9 || es[0].LengthMM != 0 {
		t.Errorf("needle: want a tip of %v: %+v", want, es)
	}
	row.Near(es[0].AngleRad, 2*math.Atan(0.1*math.Cos(math.Pi/24)))
	row.Hold(t)
}

// Walls and gaps don't depend on the order in which the search tree finds what
// bounds them, though on these shapes very many places are as thin.
func TestThicknessWhateverTheTree(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"gyroid": single(meshtest.Gyroid(10, 1, 1, 9)),
		"block":  loadMesh(t, "parts/feature_block.ply", "mm"),
		"pipe":   loadMesh(t, "parts/bent_pipe.stl", "mm"),
	} {
		other := mesh.Regrown(m, rand.New(rand.NewPCG(1, 2)).Perm(len(m.Facets)))
		for i, measure := range []func(context.Context, *mesh.Mesh, mesh.ThicknessParams) (*mesh.ThicknessField, error){mesh.MeasureThickness, mesh.MeasureGap} {
			p := mesh.ThicknessParams{CapMM: 2, PatchMM: 1}
			a, err := measure(t.Context(), m, p)
			if err != nil {
				t.Fatal(err)
			}
			b, err := measure(t.Context(), other, p)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(a.FacetMM, b.FacetMM) || a.Min != b.Min || a.MinAt != b.MinAt {
				t.Errorf("%s, %d: values differ", name, i)
			}
			if x, y := a.Regions(1), b.Regions(1); len(x) == 0 || !reflect.DeepEqual(x, y) {
				t.Errorf("%s, %d: regions differ, %d and %d", name, i, len(x), len(y))
			}
		}
	}
}

// What is as thin at several places is measured at the same one however the search
// starts.
func TestThinPlacesAreFoundAgain(t *testing.T) {
	_, weld, err := mesh.ReadSTLFile(t.Context(), "../testdata/meshes/dirty/two_cubes_shared_edge.stl")
	if err != nil {
		t.Fatal(err)
	}
	cubes, err := weld()
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range []*mesh.Mesh{cubes, meshtest.BoxAt(mesh.Vec{}, mesh.Vec{4, 2, 1}), meshtest.Sphere(1, 30), meshtest.Gyroid(10, 1, 1, 8), bracket(16, 1)} {
		for _, capMM := range []float64{2, 8} {
			if n := mesh.NotFoundAgain(wallOf(t, m, capMM, 1)); n > 0 {
				t.Errorf("shape %d, cap %v mm: %d places read differently a second time", i, capMM, n)
			}
		}
	}
}

// A wall is held from where it is held, whichever way it is turned: by a foot along its
// whole length, and from aside by a wedge, each of whose faces is less than a tenth of the
// border.
func TestHeldHoweverTurned(t *testing.T) {
	wedge := meshtest.Map(meshtest.Extrude([]mesh.Vec{{-4, 6}, {0, 6}, {0.75, 8}, {0, 10}, {-4, 10}}, nil, -4, 4),
		func(p mesh.Vec) mesh.Vec { return mesh.Vec{p[0], -p[2], p[1]} })
	m := meshtest.Join(meshtest.BoxAt(mesh.Vec{-1, -0.25, -1}, mesh.Vec{21, 0.25, 15}), meshtest.BoxAt(mesh.Vec{-1, -4, -4}, mesh.Vec{21, 4, 0}), wedge)
	for k := range 36 {
		turned := meshtest.Turn(meshtest.Turn(m, mesh.Vec{0, 1, 0}, float64(k)*5*math.Pi/180), mesh.Vec{1, 2, 3}, 0.1*float64(k%3))
		for _, r := range wallOf(t, turned, 4, 1).Regions(1) {
			if r.AreaMM2 > 100 && r.Free {
				t.Errorf("free, turned by %d degrees", 5*k)
			}
		}
	}
}
