package mesh_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func deg(a float64) float64 { return a * math.Pi / 180 }

func standOf(t *testing.T, m *mesh.Mesh, up mesh.Vec, angle float64) mesh.Stand {
	t.Helper()
	st, err := mesh.NewStands(context.Background(), m, mesh.StandParams{AngleRad: angle, SlackRad: 1e-9})
	if err != nil {
		t.Fatal(err)
	}
	s, err := st.Measure(context.Background(), []mesh.Vec{up})
	if err != nil {
		t.Fatal(err)
	}
	return s[0]
}

// Closed forms of a cube on its face, edge and corner; of a sphere 2 pi R^2 (1 - cos a),
// projected pi (R sin a)^2; of a lying cylinder 2 a R L; of a torus 4 pi R r a.
func TestStandClosedForms(t *testing.T) {
	cube := meshtest.Refine(meshtest.Cube(20), 2)
	for _, c := range []struct {
		name         string
		m            *mesh.Mesh
		up           mesh.Vec
		angle        float64
		area, height float64
		tol          float64
	}{
		{"cube on a face", cube, mesh.Vec{0, 0, 1}, 45, 0, 20, 1e-9},
		{"cube on an edge, equal passes", cube, mesh.Vec{0, 1, 1}, 45, 0, 20 * math.Sqrt2, 1e-9},
		{"cube on an edge", cube, mesh.Vec{0, 1, 1}, 46, 800, 20 * math.Sqrt2, 1e-9},
		{"cube on a corner", cube, mesh.Vec{1, 1, 1}, 45, 0, 20 * math.Sqrt(3), 1e-9},
		{"cube on a corner", cube, mesh.Vec{1, 1, 1}, 60, 1200, 20 * math.Sqrt(3), 1e-9},
		{"sphere", meshtest.Sphere(10, 256), mesh.Vec{0.2, -0.5, 0.7}, 45, 184.030, 20, 5e-3},
		{"sphere", meshtest.Sphere(10, 256), mesh.Vec{1, 0, 0}, 60, 314.159, 20, 5e-3},
		{"lying cylinder", meshtest.Cylinder(0, 0, 5, 0, 40, 720), mesh.Vec{1, 0, 0}, 45, 314.159, 10, 5e-3},
		{"torus", meshtest.Torus(20, 5, 180, 720), mesh.Vec{0, 0, 1}, 45, 986.960, 10, 5e-3},
	} {
		s := standOf(t, c.m, c.up, deg(c.angle))
		if c.tol > 1e-3 { // the line that a round part lies on counts as resting
			s.OverhangMM2 += s.ContactMM2
		}
		if math.Abs(s.OverhangMM2-c.area) > c.tol*max(1, c.area) || math.Abs(s.HeightMM-c.height) > c.tol*c.height {
			t.Errorf("%s at %g: area %g, height %g; want %g, %g", c.name, c.angle, s.OverhangMM2, s.HeightMM, c.area, c.height)
		}
	}
}

// A table of 40 x 20 on four legs of 10: the columns under it are closed form.
func TestStandSupport(t *testing.T) {
	top := meshtest.BoxAt(mesh.Vec{0, 0, 10}, mesh.Vec{40, 20, 12})
	leg := meshtest.BoxAt(mesh.Vec{-5, 0, 0}, mesh.Vec{-1, 4, 10}) // beside, so that the top hangs over nothing but air
	s := standOf(t, meshtest.Join(top, leg), mesh.Vec{0, 0, 3}, deg(45))
	if math.Abs(s.SupportMM3-8000) > 1e-9 || math.Abs(s.ContactMM2-16) > 1e-9 || math.Abs(s.ProjectedMM2-800) > 1e-9 {
		t.Errorf("support %g, contact %g, projected %g", s.SupportMM3, s.ContactMM2, s.ProjectedMM2)
	}
}

// Turning the part and the direction together changes nothing.
func TestStandTurns(t *testing.T) {
	m := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{30, 20, 5}, 24, [3]float64{8, 8, 3})
	axis := mesh.Vec{1, 2, -0.5}
	up := mesh.Vec{0.3, -0.2, 1}
	turned := meshtest.Turn(m, axis, 0.7)
	var probe meshtest.Builder
	probe.Tri(up, mesh.Vec{}, mesh.Vec{1, 1, 1})
	upTurned := meshtest.Turn(probe.Mesh(), axis, 0.7).Verts[0]
	a, b := standOf(t, m, up, deg(50)), standOf(t, turned, upTurned, deg(50))
	for _, v := range [][2]float64{{a.OverhangMM2, b.OverhangMM2}, {a.HeightMM, b.HeightMM}, {a.SupportMM3, b.SupportMM3}, {a.ContactMM2, b.ContactMM2}} {
		if math.Abs(v[0]-v[1]) > 1e-9*max(1, v[0]) {
			t.Errorf("%+v\n%+v", a, b)
			break
		}
	}
}

func TestFlatFaces(t *testing.T) {
	m := meshtest.Refine(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 10}), 2)
	fs, err := mesh.FlatFaces(context.Background(), m, 1, 0)
	if err != nil || len(fs) != 6 {
		t.Fatalf("%d faces, %v", len(fs), err)
	}
	for i, want := range []float64{800, 800, 400, 400, 200, 200} {
		if math.Abs(fs[i].AreaMM2-want) > 1e-9 || !fs[i].Outer {
			t.Errorf("face %d: %g, outer %v", i, fs[i].AreaMM2, fs[i].Outer)
		}
	}
	// The floor of a pocket is flat, but nothing to stand on; a cylinder's side is not flat.
	tube := meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {6, 20}, {6, 5}, {0, 5}}, 96)
	fs, _ = mesh.FlatFaces(context.Background(), tube, 50, 0)
	if len(fs) != 3 || !fs[0].Outer || !fs[1].Outer || fs[2].Outer {
		t.Errorf("cup: %d flat faces", len(fs))
		for _, f := range fs {
			t.Log(f.AreaMM2, f.Normal, f.Outer)
		}
	}
}

func TestSphereDirections(t *testing.T) {
	ds := mesh.SphereDirections(500)
	var sum mesh.Vec
	for _, d := range ds {
		if math.Abs(d.Norm()-1) > 1e-12 {
			t.Fatal(d)
		}
		sum = sum.Add(d)
	}
	if sum.Norm() > 2 {
		t.Errorf("lopsided: %v", sum)
	}
	for _, d := range mesh.DirectionsAround(mesh.Vec{1, 2, 3}, 0.2, 12) {
		if c := d.Dot(mesh.Vec{1, 2, 3}.Unit()); math.Abs(c-math.Cos(0.2)) > 1e-12 {
			t.Error(c)
		}
	}
}

// Rays find the part under its own overhang: of a table whose plate of 40 x 20
// at 10 mm stands wholly over a slab that ends at 4 mm, columns are 6 mm long.
func TestStandSupportOnPart(t *testing.T) {
	top := meshtest.BoxAt(mesh.Vec{0, 0, 10}, mesh.Vec{40, 20, 12})
	slab := meshtest.BoxAt(mesh.Vec{-2, -2, 0}, mesh.Vec{42, 22, 4})
	s := standOf(t, meshtest.Join(top, slab), mesh.Vec{0, 0, 1}, deg(45))
	if math.Abs(s.SupportMM3-4800) > 1e-6 || math.Abs(s.OnPartMM2-800) > 1e-6 || math.Abs(s.ColumnMM3-8000) > 1e-6 {
		t.Errorf("support %g, on the part %g, column %g", s.SupportMM3, s.OnPartMM2, s.ColumnMM3)
	}
	// Half of it over the slab: the rays are a sample.
	half := meshtest.BoxAt(mesh.Vec{-2, -2, 0}, mesh.Vec{20, 22, 4})
	s = standOf(t, meshtest.Join(top, half), mesh.Vec{0, 0, 1}, deg(45))
	if math.Abs(s.SupportMM3-6400) > 0.05*6400 || math.Abs(s.OnPartMM2-400) > 0.1*400 {
		t.Errorf("half: support %g, on the part %g", s.SupportMM3, s.OnPartMM2)
	}
}

// Against the plain sum over all facets, over the whole sphere.
func TestStandAgainstBruteForce(t *testing.T) {
	m := meshtest.Join(meshtest.Torus(20, 5, 40, 60), meshtest.Turn(meshtest.Plate(mesh.Vec{40, 0, 0}, mesh.Vec{70, 20, 5}, 24, [3]float64{48, 8, 3}), mesh.Vec{1, 1, 0}, 0.4))
	st, err := mesh.NewStands(context.Background(), m, mesh.StandParams{AngleRad: deg(45), SlackRad: 1e-9})
	if err != nil {
		t.Fatal(err)
	}
	got, err := st.Measure(context.Background(), mesh.SphereDirections(300))
	if err != nil {
		t.Fatal(err)
	}
	row := accuracy.Of("directions", "area, height and upright columns", "300 ways up, by the sum over facets", accuracy.Share, 1e-9)
	defer row.Hold(t)
	for _, g := range got {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range m.Verts {
			lo, hi = min(lo, v.Dot(g.Up)), max(hi, v.Dot(g.Up))
		}
		var area, column float64
		for f := range m.Facets {
			if c := -m.Normal(int32(f)).Dot(g.Up); c > math.Cos(deg(45)-1e-9) {
				area += m.Area(int32(f))
				column += m.Area(int32(f)) * c * (m.Centre(int32(f)).Dot(g.Up) - lo)
			}
		}
		row.Near(g.OverhangMM2, area)
		row.Near(g.ColumnMM3, column)
		row.Near(g.HeightMM, hi-lo)
		if math.Abs(g.OverhangMM2-area) > 1e-9*area || math.Abs(g.ColumnMM3-column) > 1e-9*column || math.Abs(g.HeightMM-hi+lo) > 1e-9 {
			t.Fatalf("up %v: %+v, want area %g, column %g, height %g", g.Up, g, area, column, hi-lo)
		}
		if g.SupportMM3 > g.ColumnMM3*(1+1e-12) { // equal but for the order of the sum
			t.Fatalf("up %v: support %g above its column %g", g.Up, g.SupportMM3, g.ColumnMM3)
		}
	}
}

// The exact columns of a part with much above itself.
func TestStandSupportAgainstColumns(t *testing.T) {
	m := meshtest.Torus(20, 5, 48, 64)
	st, err := mesh.NewStands(context.Background(), m, mesh.StandParams{AngleRad: deg(45), Rays: 2000})
	if err != nil {
		t.Fatal(err)
	}
	row := accuracy.Of("directions", "columns by rays", "a ring three ways up", accuracy.Share, 0.03)
	defer row.Hold(t)
	for _, up := range []mesh.Vec{{1, 0, 0}, {1, 0.2, 1}, {0, 1, 0.3}} {
		g, err := st.Measure(context.Background(), []mesh.Vec{up})
		if err != nil {
			t.Fatal(err)
		}
		f := mesh.NewFrame(up, 0, 0)
		o, err := mesh.MeasureOverhang(context.Background(), m, f, mesh.OverhangParams{AngleRad: deg(45)})
		if err != nil {
			t.Fatal(err)
		}
		want, err := mesh.MeasureSupport(context.Background(), m, f, &o)
		if err != nil {
			t.Fatal(err)
		}
		row.Near(g[0].SupportMM3, want.VolumeMM3)
		if math.Abs(g[0].SupportMM3-want.VolumeMM3) > 0.03*want.VolumeMM3 {
			t.Errorf("up %v: support %g, exactly %g", up, g[0].SupportMM3, want.VolumeMM3)
		}
		var facets []int32
		for _, r := range o.Regions {
			facets = append(facets, r.Facets...)
		}
		c, err := st.Columns(context.Background(), up, facets, 4000)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.VolumeMM3-want.VolumeMM3) > 0.02*want.VolumeMM3 || math.Abs(c.ProjectedMM2-want.AreaMM2) > 1e-6*want.AreaMM2 ||
			math.Abs(c.OnPartMM2-want.OnPartShare*want.AreaMM2) > 0.02*want.AreaMM2 {
			t.Errorf("up %v: %+v, exactly %g under %g, %g on the part", up, c, want.VolumeMM3, want.AreaMM2, want.OnPartShare*want.AreaMM2)
		}
		if on := want.OnPartShare * want.AreaMM2; math.Abs(g[0].OnPartMM2-on) > 0.05*want.AreaMM2 {
			t.Errorf("up %v: on the part %g, exactly %g", up, g[0].OnPartMM2, on)
		}
	}
}

func BenchmarkStands(b *testing.B) {
	for _, n := range []int{100, 316, 1000} {
		m := meshtest.Sphere(10, n)
		b.Run(fmt.Sprintf("ball/%d", len(m.Facets)), func(b *testing.B) {
			ups := mesh.SphereDirections(100)
			m.BVH()
			b.ReportAllocs()
			for b.Loop() {
				st, err := mesh.NewStands(context.Background(), m, mesh.StandParams{AngleRad: deg(45)})
				if err == nil {
					_, err = st.Measure(context.Background(), ups)
				}
				if err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
