package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// wantCylinder is a hole or pin in closed form.
type wantCylinder struct {
	d, length float64
	open      int // ends that are open (hole) or held (pin)
	at        mesh.Vec
	axis      mesh.Vec
	tol       float64 // mm, of length and place: what the chords of the surface that it ends in make of them
}

func compareCylinders(t *testing.T, got []mesh.Cylinder, want []wantCylinder) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%d cylinders, want %d: %q", len(got), len(want), brief(got))
	}
	for _, w := range want {
		i := slices.IndexFunc(got, func(h mesh.Cylinder) bool {
			return math.Abs(h.DiameterMM-w.d) < 1e-3*w.d && h.At.Sub(w.at).Norm() < 1e-3+w.tol
		})
		if i < 0 {
			t.Errorf("no cylinder of %g at %v", w.d, w.at)
			continue
		}
		h := got[i]
		if math.Abs(h.LengthMM-w.length) > 1e-3+w.tol || h.OpenEnds != w.open || h.Axis.Cross(w.axis.Unit()).Norm() > 1e-4 || h.Share < 1 {
			t.Errorf("cylinder of %g at %v: length %g, want %g; %d ends open or held, want %d; axis %v; share %g",
				w.d, w.at, h.LengthMM, w.length, h.OpenEnds, w.open, h.Axis, h.Share)
		}
	}
}

// TestCrossingHoles: holes that another program cut through one another. A hole
// that a wider one parts is two; one that narrower or equal ones pierce is one.
func TestCrossingHoles(t *testing.T) {
	x, z := mesh.Vec{1, 0, 0}, mesh.Vec{0, 0, 1}
	// A narrow hole of radius r, off the middle by y, meets the wall of a bore of
	// radius R between sqrt(R2-(y+r)2) and the nearest place of its own circle.
	wall := func(r, y, R float64) (long, mid float64) {
		in := math.Sqrt(R*R - (y+r)*(y+r))
		return 15 - in, (15 + in) / 2
	}
	l4, m4 := wall(2, 0, 5)
	l5, m5 := wall(2.5, 0, 6)
	l3, m3 := wall(1.5, 3, 6)
	compareCylinders(t, cylindersOf(t, loadMesh(t, "made/crossing.stl", "mm")).Holes, []wantCylinder{
		{10, 40, 2, mesh.Vec{0, 0, 20}, z, 0},
		{4, l4, 2, mesh.Vec{m4, 0, 17}, x, 0.03},
		{4, l4, 2, mesh.Vec{-m4, 0, 17}, x, 0.03},
		{8, 40, 2, mesh.Vec{50, 0, 20}, z, 0},
		{8, 30, 2, mesh.Vec{50, 0, 21}, x, 0},
		{12, 40, 2, mesh.Vec{100, 0, 20}, z, 0},
		{5, l5, 2, mesh.Vec{100 + m5, 0, 13}, x, 0.03},
		{12, 40, 2, mesh.Vec{150, 0, 20}, z, 0},
		{3, l3, 2, mesh.Vec{150 + m3, 3, 20}, x, 0.03},
		{3, l3, 2, mesh.Vec{150 - m3, 3, 20}, x, 0.03},
	})
}

// TestSlantedHoles: mouths that are not square to the hole, on flat and on
// curved surface. A plate of thickness h leaves h/cos of full wall, and r tan at
// either end of cut wall.
func TestSlantedHoles(t *testing.T) {
	along := func(deg float64) mesh.Vec {
		s, c := math.Sincos(deg * math.Pi / 180)
		return mesh.Vec{s, 0, c}
	}
	slant := func(d, deg float64) float64 {
		s, c := math.Sincos(deg * math.Pi / 180)
		return 6/c + d*s/c
	}
	got := cylindersOf(t, loadMesh(t, "made/slanted.stl", "mm"))
	compareCylinders(t, got.Holes, []wantCylinder{
		{5, slant(5, 30), 2, mesh.Vec{0, 0, 3}, along(30), 0},
		{8, slant(8, 60), 2, mesh.Vec{36, 0, 3}, along(60), 0},
		{6, 12, 1, mesh.Vec{6, 50, 10}, mesh.Vec{1, 0, 0}, 0}, // from the bar's middle
		{7, 24, 2, mesh.Vec{0, 50, 28}, mesh.Vec{0, 1, 0}, 0.02},
		// Off the ball's middle by 4.47; the farthest wall is 4.47-2.5 from it.
		{5, 2 * math.Sqrt(144-math.Pow(math.Hypot(4, 2)-2.5, 2)), 2, mesh.Vec{64, 52, 12}, mesh.Vec{0, 0, 1}, 0.12},
		// The bottom slants by 20 degrees through the axis at z = 10.
		{6, 20 + 3*math.Tan(20*math.Pi/180), 1, mesh.Vec{100, 50, 20 - 1.5*math.Tan(20*math.Pi/180)}, mesh.Vec{0, 0, 1}, 0},
	})
	compareCylinders(t, got.Pins, []wantCylinder{{24, 40, 0, mesh.Vec{0, 50, 20}, mesh.Vec{0, 0, 1}, 0}})
}

// TestStruts: struts that meet in balls, of which half are as thick as the
// struts and go on from them smoothly, and posts on a plate.
func TestStruts(t *testing.T) {
	got := cylindersOf(t, loadMesh(t, "made/struts.stl", "mm"))
	var struts, posts []mesh.Cylinder
	for _, p := range got.Pins {
		if p.At[0] < 20 {
			struts = append(struts, p)
		} else {
			posts = append(posts, p)
		}
		if p.Free != (p.OpenEnds < 2) || p.Solid != (p.DiameterMM < 5) {
			t.Errorf("pin of %g at %v: free %v, %d ends held, solid %v", p.DiameterMM, p.At, p.Free, p.OpenEnds, p.Solid)
		}
	}
	if len(struts) != 8 {
		t.Errorf("%d struts, want 8: %q", len(struts), brief(struts))
	}
	for _, p := range struts {
		near(t, "strut's diameter", p.DiameterMM, 1.6, 1e-4)
		near(t, "share", p.Share, 1, 0)
		for k := range 3 {
			near(t, "strut's direction", math.Abs(p.Axis[k]), 1/math.Sqrt(3), 1e-4)
		}
		if p.RingMM < 7 || p.LengthMM > 9 || p.OpenEnds != 2 {
			t.Errorf("strut of length %g, %g of it full, %d ends held", p.LengthMM, p.RingMM, p.OpenEnds)
		}
	}
	z := mesh.Vec{0, 0, 1}
	compareCylinders(t, posts, []wantCylinder{
		{4, 9, 1, mesh.Vec{36, 6, 7.5}, z, 0}, {4, 9, 1, mesh.Vec{48, 6, 7.5}, z, 0},
		{4, 12, 1, mesh.Vec{60, 6, 9}, z, 0}, {6, 12, 1, mesh.Vec{72, 6, 9}, z, 0},
	})
	compareCylinders(t, got.Holes, []wantCylinder{
		{1.5, 4, 2, mesh.Vec{60, 6, 9}, mesh.Vec{0, 1, 0}, 0}, {4, 11, 1, mesh.Vec{72, 6, 9.5}, z, 0},
	})
}

// TestManyHolesAndStruts: a plate of 2,500 holes, and lattices with sharp and
// with rounded nodes.
func TestManyHolesAndStruts(t *testing.T) {
	got := cylindersOf(t, meshtest.Grille(50, 50, 2, 0.6, 3, 16))
	if len(got.Holes) != 2500 || len(got.Pins) != 0 {
		t.Errorf("grille: %d holes and %d pins", len(got.Holes), len(got.Pins))
	}
	for _, h := range got.Holes {
		near(t, "grille: diameter", h.DiameterMM, 1.2, 1e-9)
		near(t, "grille: depth", h.LengthMM, 3, 1e-9)
		if !h.Through || t.Failed() {
			t.Fatalf("%+v", brief([]mesh.Cylinder{h}))
		}
	}
	for _, c := range []struct{ fillet, length float64 }{{0, 6}, {0.5, 5}} {
		got := cylindersOf(t, meshtest.Lattice(5, 8, 2, 0.4, c.fillet, 4, 12))
		if len(got.Pins) != 3*5*5*4 || len(got.Holes) != 0 {
			t.Errorf("lattice with fillets of %g: %d pins and %d holes, want 300 and 0", c.fillet, len(got.Pins), len(got.Holes))
		}
		for _, p := range got.Pins {
			near(t, "lattice: diameter", p.DiameterMM, 0.8, 1e-7)
			near(t, "lattice: length", p.LengthMM, c.length, 1e-7)
			if p.Free || !p.Solid || t.Failed() {
				t.Fatalf("free %v, solid %v: %q", p.Free, p.Solid, brief([]mesh.Cylinder{p}))
			}
		}
	}
}

// TestCylindersMoveWithThePart: moving, turning, scaling, mirroring, numbering
// anew and triangulating anew a part does to its holes and pins what it does to
// the part.
func TestCylindersMoveWithThePart(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 11))
	for _, file := range []string{"parts/ring_plate_36_holes.3mf", "parts/feature_block.3mf", "made/crossing.stl", "made/galleries.stl", "made/struts.stl", "parts/pump_base.stl"} {
		unit := map[string]string{"made/crossing.stl": "mm", "made/galleries.stl": "mm", "made/struts.stl": "mm", "parts/pump_base.stl": "m"}[file]
		m := loadMesh(t, file, unit)
		ref := cylindersOf(t, m)
		if len(ref.Holes)+len(ref.Pins) == 0 {
			t.Fatalf("%s: nothing to compare", file)
		}
		axis, angle, shift := meshtest.RandomDir(rnd), 6*rnd.Float64(), meshtest.RandomDir(rnd).Scale(m.Box().Diagonal())
		id := func(v mesh.Vec) mesh.Vec { return v }
		turn := func(v mesh.Vec) mesh.Vec {
			return meshtest.Turn(mesh.New([]mesh.Vec{v}, nil), axis, angle).Verts[0]
		}
		for name, c := range map[string]struct {
			m     *mesh.Mesh
			scale float64
			place func(mesh.Vec) mesh.Vec
		}{
			"moved":        {meshtest.Move(m, shift), 1, func(v mesh.Vec) mesh.Vec { return v.Add(shift) }},
			"turned":       {meshtest.Turn(m, axis, angle), 1, turn},
			"twice as big": {meshtest.Map(m, func(v mesh.Vec) mesh.Vec { return v.Scale(2) }), 2, func(v mesh.Vec) mesh.Vec { return v.Scale(2) }},
			"mirrored":     {meshtest.Mirror(m), 1, func(v mesh.Vec) mesh.Vec { return mesh.Vec{-v[0], v[1], v[2]} }},
			"renumbered":   {meshtest.Shuffle(m, rnd), 1, id},
			"flipped":      {meshtest.FlipFlat(m, rnd), 1, id},
			"refined":      {meshtest.Refine(m, 1), 1, id},
		} {
			got := cylindersOf(t, c.m)
			for _, pair := range [2][2][]mesh.Cylinder{{ref.Holes, got.Holes}, {ref.Pins, got.Pins}} {
				if len(pair[0]) != len(pair[1]) {
					t.Errorf("%s, %s: %d cylinders, want %d", file, name, len(pair[1]), len(pair[0]))
				}
				for _, r := range pair[0] {
					at, dir := c.place(r.At), c.place(r.At.Add(r.Axis)).Sub(c.place(r.At)).Unit()
					i := slices.IndexFunc(pair[1], func(g mesh.Cylinder) bool {
						return g.At.Sub(at).Norm() < 2e-3*r.DiameterMM*c.scale && math.Abs(g.DiameterMM/c.scale-r.DiameterMM) < 1e-4*r.DiameterMM
					})
					if i < 0 {
						t.Errorf("%s, %s: lost %q", file, name, brief([]mesh.Cylinder{r}))
						continue
					}
					g := pair[1][i]
					if g.Axis.Cross(dir).Norm() > 2e-3 || math.Abs(g.LengthMM/c.scale-r.LengthMM) > 5e-3*r.DiameterMM ||
						g.OpenEnds != r.OpenEnds || g.Through != r.Through || g.Free != r.Free || g.Solid != r.Solid ||
						math.Abs(g.OpenMM/c.scale-r.OpenMM) > 0.02*r.DiameterMM || math.Abs(g.BlindMM/c.scale-r.BlindMM) > 0.02*r.DiameterMM ||
						math.Abs(g.Share-r.Share) > 0.01 || r.OpenEnds == 1 && g.Axis.Dot(dir) < 0 {
						t.Errorf("%s, %s: %q became %q", file, name, brief([]mesh.Cylinder{r}), brief([]mesh.Cylinder{g}))
					}
				}
			}
		}
	}
}

// TestCylindersOnAnyCores: the same bits on one core and on four.
func TestCylindersOnAnyCores(t *testing.T) {
	m := loadMesh(t, "parts/gears_17_bodies.3mf", "")
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := cylindersOf(t, m)
	runtime.GOMAXPROCS(4)
	four := cylindersOf(t, m)
	for _, p := range [2][2][]mesh.Cylinder{{one.Holes, four.Holes}, {one.Pins, four.Pins}} {
		same := slices.EqualFunc(p[0], p[1], func(a, b mesh.Cylinder) bool {
			return a.At == b.At && a.Axis == b.Axis && a.DiameterMM == b.DiameterMM && slices.Equal(a.Facets, b.Facets)
		})
		if !same {
			t.Errorf("%q on one core, %q on four", brief(p[0]), brief(p[1]))
		}
	}
	if !slices.Equal(one.HoleOf, four.HoleOf) || len(one.Holes) != 16 {
		t.Errorf("%d holes, or facets that differ", len(one.Holes))
	}
}

// TestCylindersOfNothing: meshes that hold little, and a caller that went away.
func TestCylindersOfNothing(t *testing.T) {
	for _, m := range []*mesh.Mesh{
		mesh.New(nil, nil),
		mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, [][3]int32{{0, 1, 2}}),
		mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, [][3]int32{{0, 1, 2}, {0, 1, 1}}),
		mesh.New(make([]mesh.Vec, 3), [][3]int32{{0, 1, 2}, {0, 2, 1}}),
	} {
		if got := cylindersOf(t, m); len(got.Holes)+len(got.Pins) != 0 || len(got.HoleOf) != len(m.Facets) {
			t.Errorf("%d facets: %d holes and %d pins", len(m.Facets), len(got.Holes), len(got.Pins))
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if got, err := mesh.MeasureCylinders(ctx, meshtest.Tube(3, 2, 0, 5, 16)); err != context.Canceled || got != nil {
		t.Errorf("cancelled: %v, %v", got, err)
	}
}

// A bore whose sides are split lengthwise, as a mesh generator does, shows a
// patch of it no more than two or three sides. Grown from a seed it is whole.
func TestLongSidesGrowRound(t *testing.T) {
	for _, n := range []int{16, 48, 64} {
		for _, most := range []float64{100, 10, 6} {
			m := meshtest.Woven(3, 1, 50, n, 1, 0, rand.New(rand.NewPCG(1, 2)))
			m = meshtest.Halved(meshtest.Move(m, mesh.Vec{12.1, 0.3, 0}), most)
			c, err := mesh.GrownCylinders(t.Context(), m)
			if err != nil {
				t.Fatal(err)
			}
			if len(c.Holes) != 1 || math.Abs(c.Holes[0].DiameterMM-2) > 1e-5 || math.Abs(c.Holes[0].LengthMM-50) > 1e-5 {
				t.Errorf("%d sides, edges up to %v mm: %+v, want one of 2 mm, 50 mm long", n, most, c.Holes)
			}
		}
	}
}

// TestGalleries: how far it is out of bores that open into one another.
func TestGalleries(t *testing.T) {
	got := cylindersOf(t, loadMesh(t, "made/galleries.stl", "mm")).Holes
	for _, want := range []struct {
		name        string
		at          mesh.Vec // on the axis
		d           float64
		open, blind float64
	}{
		{"with an outlet", mesh.Vec{15, 10, 40}, 5, 56 + 15, 4 + 15},
		{"its outlet", mesh.Vec{25, 10, 14}, 5, 15 + 56, 0},
		{"opened halfway", mesh.Vec{15, 50, 20}, 5, 30 + 15, 30 + 15},
		// From its top by the lower half, as by the branch, which is longer.
		{"with a long branch", mesh.Vec{15, 90, 20}, 4, 110, 0},
		{"the long branch", mesh.Vec{70, 90, 50}, 4, 65 + 50, 0},
		{"with three branches", mesh.Vec{50, 130, 12}, 6, 40 + 18 + 18, 10 + 18},
		{"a branch at an end", mesh.Vec{20, 130, 25}, 5, 18 + 20, 0},
		{"a branch in the middle", mesh.Vec{60, 130, 25}, 5, 18 + 40 + 18, 0},
		{"with a narrow outlet", mesh.Vec{15, 170, 40}, 6, 0, 60},
		{"the narrow outlet, from the wall that it is in", mesh.Vec{25, 170, 12}, 2, 12, 0},
		{"below a bottom", mesh.Vec{15, 210, 20}, 5, 0, 35},
		{"above a bottom", mesh.Vec{15, 210, 60}, 5, 0, 34},
		{"above a shoulder", mesh.Vec{15, 250, 60}, 6, 70, 0},
		{"below a shoulder", mesh.Vec{15, 250, 10}, 5, 70, 0},
		{"joined", mesh.Vec{15, 290, 50}, 5, 55 + 30 + 55, 5 + 55},
		{"joining", mesh.Vec{30, 290, 15}, 5, 55 + 30 + 55, 5 + 55},
	} {
		found := false
		for _, h := range got {
			v := want.at.Sub(h.At)
			if along := v.Dot(h.Axis); math.Abs(h.DiameterMM-want.d) > 0.01 || v.Sub(h.Axis.Scale(along)).Norm() > 0.01 || math.Abs(along) > h.LengthMM/2 {
				continue
			}
			found = true
			// A bore ends where the last of its wall is, up to its radius from the
			// axis of the one that it opens into.
			if tol := h.DiameterMM/2 + 0.01; math.Abs(h.OpenMM-want.open) > tol || math.Abs(h.BlindMM-want.blind) > tol || (h.OpenMM > 0) != (want.open > 0) {
				t.Errorf("bore %s: %g mm to the next way out and %g to a closed end, want %g and %g", want.name, h.OpenMM, h.BlindMM, want.open, want.blind)
			}
		}
		if !found {
			t.Errorf("no bore %s", want.name)
		}
	}
}
