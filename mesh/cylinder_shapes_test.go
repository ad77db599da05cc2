package mesh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// wantHole is a hole in closed form, along the z axis of the shape, in
// diameters of the family's size.
type wantHole struct {
	d, depth, mid float64 // diameter, depth, height of its middle
	through       bool
}

// holeFamily is a kind of hole in a block from z = 0 to z = 4 (in diameters).
type holeFamily struct {
	name    string
	profile []mesh.Vec
	holes   []wantHole
	slack   float64 // what the depth may be off by, in diameters: the first strip of a fillet
}

func holeFamilies() []holeFamily {
	fillet := append(meshtest.Arc(0.7, 3.8, 0.2, 90, 180, 6), mesh.Vec{0.5, 0})
	ball := append([]mesh.Vec{{0.5, 4}}, meshtest.Arc(0, 1, 0.5, 0, -90, 6)...)
	ball[len(ball)-1] = mesh.Vec{0, 0.5}
	root := append([]mesh.Vec{{0.5, 4}}, meshtest.Arc(0.3, 1.2, 0.2, 0, -90, 5)...)
	root = append(root, mesh.Vec{0, 1})
	cone := 0.5 * math.Tan(31*math.Pi/180) // of a drill point of 118 degrees
	return []holeFamily{
		{"through", []mesh.Vec{{0.5, 4}, {0.5, 0}}, []wantHole{{1, 4, 2, true}}, 0},
		{"blind", []mesh.Vec{{0.5, 4}, {0.5, 1}, {0, 1}}, []wantHole{{1, 3, 2.5, false}}, 0},
		{"drilled", []mesh.Vec{{0.5, 4}, {0.5, 1}, {0, 1 - cone}}, []wantHole{{1, 3, 2.5, false}}, 0},
		{"ball end", ball, []wantHole{{1, 3, 2.5, false}}, 0.005},
		{"root fillet", root, []wantHole{{1, 2.8, 2.6, false}}, 0.01},
		{"counterbore", []mesh.Vec{{0.9, 4}, {0.9, 3}, {0.5, 3}, {0.5, 0}}, []wantHole{{1, 3, 1.5, true}, {1.8, 1, 3.5, true}}, 0},
		{"blind counterbore", []mesh.Vec{{0.9, 4}, {0.9, 3}, {0.5, 3}, {0.5, 1}, {0, 1}}, []wantHole{{1, 2, 2, false}, {1.8, 1, 3.5, false}}, 0},
		{"countersink", []mesh.Vec{{1, 4}, {0.5, 3.5}, {0.5, 0}}, []wantHole{{1, 3.5, 1.75, true}}, 0},
		{"chamfers", []mesh.Vec{{0.6, 4}, {0.5, 3.9}, {0.5, 0.1}, {0.6, 0}}, []wantHole{{1, 3.8, 2, true}}, 0},
		{"lead-in of 15 degrees", []mesh.Vec{{0.634, 4}, {0.5, 3.5}, {0.5, 0}}, []wantHole{{1, 3.5, 1.75, true}}, 0},
		{"fillet", fillet, []wantHole{{1, 3.8, 1.9, true}}, 0.02},
		{"three steps", []mesh.Vec{{1, 4}, {1, 3}, {0.75, 3}, {0.75, 2}, {0.5, 2}, {0.5, 0}}, []wantHole{{1, 2, 1, true}, {1.5, 1, 2.5, true}, {2, 1, 3.5, true}}, 0},
		{"groove", []mesh.Vec{{0.5, 4}, {0.5, 3}, {0.8, 3}, {0.8, 2}, {0.5, 2}, {0.5, 0}}, []wantHole{{1, 2, 1, true}, {1, 1, 3.5, true}, {1.6, 1, 2.5, true}}, 0},
		{"shallow", []mesh.Vec{{0.5, 4}, {0.5, 3.95}, {0, 3.95}}, []wantHole{{1, 0.05, 3.975, false}}, 0},
		{"bottle neck", []mesh.Vec{{0.5, 4}, {0.5, 3}, {1.2, 2.5}, {1.2, 1}, {0, 1}}, []wantHole{{1, 1, 3.5, true}, {2.4, 1.5, 1.75, false}}, 0},
	}
}

// TestHoleFamilies turns and shifts every kind of hole into a random place at
// every size, rounds it to single precision, and compares with closed forms.
func TestHoleFamilies(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 7))
	var worstD, worstAxis, worstDepth float64
	for _, fam := range holeFamilies() {
		for _, n := range []int{8, 9, 12, 16, 31, 64, 512} {
			for _, size := range []float64{0.3, 1, 6, 40, 300} {
				if size != 6 && n != 8 && n != 31 || n == 512 && len(fam.holes) > 1 {
					continue // each size with a coarse and a middling circle
				}
				name := fmt.Sprintf("%s, %d sides, %g mm", fam.name, n, size)
				axis, angle, shift := meshtest.RandomDir(rnd), 6*rnd.Float64(), meshtest.RandomDir(rnd).Scale(4*size)
				place := func(m *mesh.Mesh) *mesh.Mesh {
					m = meshtest.Map(m, func(p mesh.Vec) mesh.Vec { return p.Scale(size) })
					return meshtest.Single(meshtest.Move(meshtest.Turn(m, axis, angle), shift))
				}
				got := cylindersOf(t, place(meshtest.Turned(2, 0, 4, fam.profile, n)))
				if len(got.Holes) != len(fam.holes) || len(got.Pins) != 0 {
					t.Errorf("%s: %d holes and %d pins, want %d and 0", name, len(got.Holes), len(got.Pins), len(fam.holes))
					continue
				}
				frame := place(mesh.New([]mesh.Vec{{0, 0, 0}, {0, 0, 1}}, nil))
				up := frame.Verts[1].Sub(frame.Verts[0]).Unit()
				for _, w := range fam.holes {
					i := slices.IndexFunc(got.Holes, func(h mesh.Cylinder) bool {
						at := frame.Verts[0].Add(up.Scale(w.mid * size))
						return math.Abs(h.DiameterMM/size-w.d) < 0.01*w.d && h.At.Sub(at).Norm() < (0.01+fam.slack)*size
					})
					if i < 0 {
						t.Errorf("%s: no hole of %g in its place, but %+v", name, w.d*size, brief(got.Holes))
						continue
					}
					h := got.Holes[i]
					worstD = max(worstD, math.Abs(h.DiameterMM/size-w.d)/w.d)
					worstAxis = max(worstAxis, math.Asin(min(1, h.Axis.Cross(up).Norm())))
					if fam.slack == 0 {
						worstDepth = max(worstDepth, math.Abs(h.LengthMM/size-w.depth)/w.d)
					} else if math.Abs(h.LengthMM/size-w.depth) > fam.slack {
						t.Errorf("%s: depth %g, want %g", name, h.LengthMM, w.depth*size)
					}
					if h.Through != w.through || h.Sides != n || h.Share < 1 {
						t.Errorf("%s: through %v, %d sides, share %g", name, h.Through, h.Sides, h.Share)
					}
					if band := h.DiameterMM * (1 - math.Cos(math.Pi/float64(n))); h.ErrMM < 0.999*band || h.ErrMM > band+0.001*size {
						t.Errorf("%s: band of error %g, chord band %g", name, h.ErrMM, band)
					}
					if h.OpenEnds == 1 && h.Axis.Dot(up) < 0 {
						t.Errorf("%s: the axis points away from the open end", name)
					}
				}
			}
		}
	}
	t.Logf("off by: diameter %.2g of itself, axis %.2g deg, depth %.2g diameters", worstD, worstAxis*180/math.Pi, worstDepth)
	near(t, "worst diameter", worstD, 0, 2e-5)
	near(t, "worst axis (deg)", worstAxis*180/math.Pi, 0, 0.01)
	near(t, "worst depth", worstDepth, 0, 2e-5)
}

// brief says of cylinders what a failed test needs.
func brief(cs []mesh.Cylinder) []string {
	var out []string
	for _, c := range cs {
		out = append(out, fmt.Sprintf("d %.4g L %.4g at %.4g share %.3g sides %d n %d", c.DiameterMM, c.LengthMM, c.At, c.Share, c.Sides, len(c.Facets)))
	}
	return out
}

// outline joins runs of points into one polygon.
func outline(runs ...[]mesh.Vec) []mesh.Vec { return slices.Concat(runs...) }

// TestNoHoles: shapes with round parts that are no holes and no pins.
func TestNoHoles(t *testing.T) {
	square := func(a float64) []mesh.Vec { return []mesh.Vec{{-a, -a}, {a, -a}, {a, a}, {-a, a}} }
	in := func(hole []mesh.Vec) *mesh.Mesh { return meshtest.Extrude(square(20), [][]mesh.Vec{hole}, 0, 8) }
	var scallops []mesh.Vec
	for i := range 6 {
		scallops = append(scallops, meshtest.Arc(float64(i)*6-15, 20, 2, 180, 360, 16)...)
	}
	slices.Reverse(scallops)
	ellipse := meshtest.Circle(0, 0, 1, 48)
	for i := range ellipse {
		ellipse[i] = mesh.Vec{5 * ellipse[i][0], 4.8 * ellipse[i][1]}
	}
	gear := []mesh.Vec{}
	for i := range 12 {
		a := float64(i) * 30
		gear = append(gear, meshtest.Arc(0, 0, 10, a, a+12, 4)...)
		gear = append(gear, meshtest.Arc(0, 0, 8, a+15, a+27, 4)...)
	}
	rounded := outline(meshtest.Arc(3, 3, 3, 0, 90, 8), meshtest.Arc(-3, 3, 3, 90, 180, 8), meshtest.Arc(-3, -3, 3, 180, 270, 8), meshtest.Arc(3, -3, 3, 270, 360, 8))
	for name, m := range map[string]*mesh.Mesh{
		"cube":                  meshtest.Cube(10),
		"triangular pocket":     in(meshtest.Circle(0, 0, 5, 3)),
		"square pocket":         in(square(5)),
		"pentagon pocket":       in(meshtest.Circle(0, 0, 5, 5)),
		"hexagon pocket":        in(meshtest.Circle(0, 0, 5, 6)),
		"heptagon pocket":       in(meshtest.Circle(0, 0, 5, 7)),
		"chamfered square":      in([]mesh.Vec{{5, -3}, {5, 3}, {3, 5}, {-3, 5}, {-5, 3}, {-5, -3}, {-3, -5}, {3, -5}}),
		"slot":                  in(outline(meshtest.Arc(6, 0, 3, -90, 90, 24), meshtest.Arc(-6, 0, 3, 90, 270, 24))),
		"short slot":            in(outline(meshtest.Arc(0.5, 0, 3, -90, 90, 24), meshtest.Arc(-0.5, 0, 3, 90, 270, 24))),
		"rounded square":        in(rounded),
		"ellipse":               in(ellipse),
		"D-shape":               in(meshtest.Arc(0, 0, 5, 30, 330, 60)),
		"scalloped edge":        meshtest.Extrude(outline([]mesh.Vec{{-20, -20}, {20, -20}, {20, 20}}, scallops, []mesh.Vec{{-20, 20}}), nil, 0, 5),
		"notch of 240 deg":      meshtest.Extrude(outline([]mesh.Vec{{-20, -20}, {20, -20}, {20, 0}}, reversed(meshtest.Arc(0, -2.5, 5, -210, 30, 40)), []mesh.Vec{{-20, 0}}), nil, 0, 5),
		"external fillets":      meshtest.Extrude(outline(meshtest.Arc(8, 8, 4, 0, 90, 12), meshtest.Arc(-8, 8, 4, 90, 180, 12), meshtest.Arc(-8, -8, 4, 180, 270, 12), meshtest.Arc(8, -8, 4, 270, 360, 12)), nil, 0, 9),
		"internal gear":         in(gear),
		"sphere":                meshtest.Sphere(10, 64),
		"odd sphere":            meshtest.Sphere(10, 62), // has a band of facets along its equator
		"fine sphere":           meshtest.Sphere(10, 160),
		"torus":                 meshtest.Torus(10, 3, 64, 32),
		"turned torus":          meshtest.Turn(meshtest.Torus(10, 3, 48, 33), mesh.Vec{1, 2, 3}, 1),
		"torus of few sides":    meshtest.Torus(10, 3, 40, 12),
		"cone":                  meshtest.Revolve([]mesh.Vec{{0, 0}, {5, 0}, {1, 10}, {0, 10}}, 32),
		"slim cone":             meshtest.Revolve([]mesh.Vec{{0, 0}, {5, 0}, {4.8, 10}, {0, 10}}, 32),
		"conical hole":          meshtest.Turned(10, 0, 10, []mesh.Vec{{3, 10}, {2.8, 0}}, 32),
		"spherical pocket":      meshtest.Turned(10, 0, 10, append([]mesh.Vec{{4, 10}}, append(meshtest.Arc(0, 10, 4, -4, -86, 20), mesh.Vec{0, 6})...), 32),
		"barrel hole":           meshtest.Turned(10, 0, 10, meshtest.Arc(-16, 5, 20, 14, -14, 24), 32),
		"hour-glass hole":       meshtest.Turned(10, 0, 10, meshtest.Arc(24, 5, 20, 166, 194, 24), 32),
		"gyroid":                meshtest.Gyroid(10, 1, 1, 14),
		"octagonal pyramid":     meshtest.Revolve([]mesh.Vec{{0, 0}, {5, 0}, {0, 10}}, 8),
		"hexagon beside a hole": meshtest.Join(in(meshtest.Circle(0, 0, 5, 6)), meshtest.Move(meshtest.Plate(mesh.Vec{-5, -5, 0}, mesh.Vec{5, 5, 3}, 24, [3]float64{0, 0, 2}), mesh.Vec{60, 0, 0})),
	} {
		got := cylindersOf(t, m)
		want := 0
		if name == "hexagon beside a hole" {
			want = 1
		}
		if len(got.Holes) != want || len(got.Pins) > 0 {
			t.Errorf("%s: %v holes and %v pins", name, brief(got.Holes), brief(got.Pins))
		}
	}
}

func reversed(ps []mesh.Vec) []mesh.Vec {
	out := slices.Clone(ps)
	slices.Reverse(out)
	return out
}

// TestCutCircles: bores whose circle is not whole.
func TestCutCircles(t *testing.T) {
	// cut is a circle of 20 mm with as many grooves, each so many degrees wide.
	cut := func(grooves int, wide float64) []mesh.Vec {
		var ps []mesh.Vec
		for i := range grooves {
			a, b := 360*float64(i)/float64(grooves)+wide/2, 360*float64(i+1)/float64(grooves)-wide/2
			ps = append(ps, meshtest.Arc(0, 0, 10, a, b, 96/grooves)...)
			ps = append(ps, meshtest.Arc(0, 0, 13, b, b+wide, 1)...)
		}
		return ps
	}
	for _, c := range []struct {
		grooves int
		wide    float64
		holes   int
	}{{1, 20, 1}, {1, 30, 1}, {1, 45, 0}, {3, 8, 1}, {4, 8, 1}, {4, 12, 0}, {6, 5, 1}} {
		m := meshtest.Extrude([]mesh.Vec{{-30, -30}, {30, -30}, {30, 30}, {-30, 30}}, [][]mesh.Vec{cut(c.grooves, c.wide)}, 0, 12)
		got := cylindersOf(t, m)
		if len(got.Holes) != c.holes {
			t.Errorf("%d grooves of %g degrees: holes %v, want %d", c.grooves, c.wide, brief(got.Holes), c.holes)
			continue
		}
		for _, h := range got.Holes {
			near(t, "share", h.Share, 1-float64(c.grooves)*c.wide/360, 1e-9)
			near(t, "diameter", h.DiameterMM, 20, 1e-9)
			near(t, "depth", h.LengthMM, 12, 1e-9)
			near(t, "full ring", h.RingMM, 12, 1e-9)
			if !h.Through {
				t.Errorf("%d grooves of %g degrees: not through", c.grooves, c.wide)
			}
		}
	}
}

// TestPins: posts, tubes, discs and necks, in closed form.
func TestPins(t *testing.T) {
	post := func(profile ...mesh.Vec) *mesh.Mesh { return meshtest.Turned(20, 0, 4, profile, 24) }
	dome := append([]mesh.Vec{{2, 4}}, append(meshtest.Arc(0, 10, 2, 0, 84, 12), mesh.Vec{0, 12})...)
	foot := append(meshtest.Arc(3, 5, 1, -90, -180, 6), mesh.Vec{2, 14}, mesh.Vec{0, 14})
	for name, c := range map[string]struct {
		m           *mesh.Mesh
		d, length   float64
		held        int
		solid       bool
		count       int
		slack       float64
		holes, axis int // axis: 1 = must point to +z
	}{
		"post":          {post(mesh.Vec{2, 4}, mesh.Vec{2, 14}, mesh.Vec{0, 14}), 4, 10, 1, true, 1, 0, 0, 1},
		"chamfered":     {post(mesh.Vec{2, 4}, mesh.Vec{2, 13}, mesh.Vec{1, 14}, mesh.Vec{0, 14}), 4, 9, 1, true, 1, 0, 0, 1},
		"domed":         {post(dome...), 4, 6, 1, true, 1, 0.01, 0, 1},
		"filleted foot": {post(foot...), 4, 9, 1, true, 1, 0.02, 0, 1},
		"stepped":       {post(mesh.Vec{3, 4}, mesh.Vec{3, 8}, mesh.Vec{1, 8}, mesh.Vec{1, 14}, mesh.Vec{0, 14}), 6, 4, 1, true, 2, 0, 0, 1},
		"tube":          {post(mesh.Vec{3, 4}, mesh.Vec{3, 14}, mesh.Vec{2, 14}, mesh.Vec{2, 5}, mesh.Vec{0, 5}), 6, 10, 1, false, 1, 0, 1, 1},
		"disc":          {post(mesh.Vec{15, 4}, mesh.Vec{15, 5}, mesh.Vec{0, 5}), 30, 1, 1, true, 1, 0, 0, 1},
		"rod":           {meshtest.Cylinder(0, 0, 2, 0, 30, 16), 4, 30, 0, true, 1, 0, 0, 1},
		"neck":          {meshtest.Revolve([]mesh.Vec{{0, 0}, {9, 0}, {9, 3}, {2, 3}, {2, 12}, {9, 12}, {9, 15}, {0, 15}}, 24), 4, 9, 2, true, 3, 0, 0, 1},
		// Held by other bodies: run into them, flush on one, beside one, and loose in a bore.
		"run into two plates":  {meshtest.Join(meshtest.Cylinder(0, 0, 2, -1, 13, 16), meshtest.BoxAt(mesh.Vec{-9, -9, -4}, mesh.Vec{9, 9, 0}), meshtest.BoxAt(mesh.Vec{-9, -9, 12}, mesh.Vec{9, 9, 15})), 4, 12, 2, true, 1, 0, 0, 1},
		"flush on one":         {meshtest.Join(meshtest.Cylinder(0, 0, 2, 0, 12, 16), meshtest.BoxAt(mesh.Vec{-9, -9, -4}, mesh.Vec{9, 9, 0})), 4, 12, 1, true, 1, 0, 0, 1},
		"beside one":           {meshtest.Join(meshtest.Cylinder(0, 0, 2, 0, 12, 16), meshtest.BoxAt(mesh.Vec{-9, -9, -4}, mesh.Vec{9, 9, -0.1})), 4, 12, 0, true, 1, 0, 0, 1},
		"loose within a space": {meshtest.Join(meshtest.Cylinder(0, 0, 2, 0, 12, 16), meshtest.BoxAt(mesh.Vec{-9, -9, -4}, mesh.Vec{9, 9, 20}), meshtest.Flip(meshtest.BoxAt(mesh.Vec{-5, -5, -2}, mesh.Vec{5, 5, 18}))), 4, 12, 0, true, 1, 0, 0, 1},
		"hexagonal rod":        {meshtest.Cylinder(0, 0, 2, 0, 30, 6), 4, 30, 0, true, 1, 0, 0, 1},
	} {
		got := cylindersOf(t, c.m)
		if len(got.Pins) != c.count || len(got.Holes) != c.holes {
			t.Errorf("%s: pins %v, holes %v", name, brief(got.Pins), brief(got.Holes))
			continue
		}
		i := slices.IndexFunc(got.Pins, func(p mesh.Cylinder) bool { return math.Abs(p.DiameterMM-c.d) < 1e-6 })
		if i < 0 {
			t.Errorf("%s: no pin of %g but %v", name, c.d, brief(got.Pins))
			continue
		}
		p := got.Pins[i]
		near(t, name+": length", p.LengthMM, c.length, 1e-9+c.slack)
		if p.OpenEnds != c.held || p.Free != (c.held < 2) || p.Solid != c.solid || p.Concave || p.Axis[2] < 0.999999 {
			t.Errorf("%s: %d ends held, free %v, solid %v, axis %v", name, p.OpenEnds, p.Free, p.Solid, p.Axis)
		}
	}
}

// TestAnyTriangulation: the vertices of a bore may stand anywhere on it, and its
// flat sides may be cut up in any way.
func TestAnyTriangulation(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	var worstD, worstAxis float64
	for _, n := range []int{12, 24, 60} {
		for _, rows := range []int{2, 10, 30} {
			for range 3 {
				m := meshtest.Woven(5, 3, 10, n, rows, min(0.7, 0.02*float64(n)), rnd)
				got := cylindersOf(t, meshtest.Turn(m, meshtest.RandomDir(rnd), rnd.Float64()))
				if len(got.Holes) != 1 || len(got.Pins) != 1 {
					t.Errorf("%d by %d: holes %v and pins %v", n, rows, brief(got.Holes), brief(got.Pins))
					continue
				}
				h := got.Holes[0]
				worstD = max(worstD, math.Abs(h.DiameterMM-6)/6)
				worstAxis = max(worstAxis, math.Asin(min(1, h.Axis.Cross(got.Pins[0].Axis).Norm())))
				near(t, "depth", h.LengthMM, 10, 1e-6)
				if !h.Through || h.Share < 1 || len(h.Facets) < 19*n*rows/10 {
					t.Errorf("%d by %d: through %v, share %g, %d facets of %d", n, rows, h.Through, h.Share, len(h.Facets), 2*n*rows)
				}
			}
		}
	}
	t.Logf("vertices anywhere on the bore: diameter %.2g of itself, axis %.2g deg", worstD, worstAxis*180/math.Pi)
	near(t, "worst diameter", worstD, 0, 1e-6)
	near(t, "worst axis", worstAxis, 0, 1e-5)

	plate := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{30, 20, 4}, 16, [3]float64{6, 6, 2}, [3]float64{20, 12, 5})
	chamfered := meshtest.Turned(8, 0, 8, []mesh.Vec{{3.5, 8}, {3, 7.5}, {3, 0.5}, {3.5, 0}}, 16)
	for name, m := range map[string]*mesh.Mesh{
		"as built":           plate,
		"refined":            meshtest.Refine(plate, 1),
		"refined twice":      meshtest.Refine(plate, 2),
		"flipped":            meshtest.FlipFlat(plate, rnd),
		"refined, flipped":   meshtest.FlipFlat(meshtest.Refine(plate, 2), rnd),
		"chamfered, refined": meshtest.FlipFlat(meshtest.Refine(chamfered, 2), rnd),
	} {
		got := cylindersOf(t, meshtest.Shuffle(m, rnd))
		want := []float64{4, 10}
		if len(m.Verts) > 0 && name == "chamfered, refined" {
			want = []float64{6}
		}
		if len(got.Holes) != len(want) || len(got.Pins) != 0 {
			t.Errorf("%s: holes %v and pins %v", name, brief(got.Holes), brief(got.Pins))
			continue
		}
		for i, d := range want {
			near(t, name+": diameter", got.Holes[i].DiameterMM, d, 1e-9)
			near(t, name+": inscribed", got.Holes[i].InscribedMM, d*math.Cos(math.Pi/16), 1e-9)
			near(t, name+": equal area", got.Holes[i].AreaMM, d*math.Sqrt(ngon(16)), 1e-9)
			if got.Holes[i].Sides != 16 {
				t.Errorf("%s: %d sides", name, got.Holes[i].Sides)
			}
		}
	}
}
