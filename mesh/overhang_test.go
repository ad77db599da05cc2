package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

const degree = math.Pi / 180

var plusZ = mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0)

// upward stands a part with the given direction up, lift above the platform.
func upward(x, y, z, lift float64) mesh.Frame { return mesh.NewFrame(mesh.Vec{x, y, z}, 0, lift) }

func overhangAt(t testing.TB, m *mesh.Mesh, f mesh.Frame, degrees float64) mesh.Overhang {
	t.Helper()
	o, err := mesh.MeasureOverhang(context.Background(), m, f, mesh.OverhangParams{AngleRad: degrees * degree})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func wantNear(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %.2g", what, got, want, tol)
	}
}

// bridge has two posts and a deck over a gap; up is +y.
func bridge(post, gap, height, deck, width float64) *mesh.Mesh {
	x1, x2, x3 := post, post+gap, 2*post+gap
	return meshtest.Extrude([]mesh.Vec{{0, 0}, {x1, 0}, {x1, height}, {x2, height}, {x2, 0}, {x3, 0}, {x3, height + deck}, {0, height + deck}}, nil, 0, width)
}

// ledge is a wall with a shelf of the given length; up is +y.
func ledge(length, width float64) *mesh.Mesh {
	return meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {10 + length, 20}, {10 + length, 25}, {0, 25}}, nil, 0, width)
}

// boredBlock is a box with a bore of radius r along z; up is +y.
func boredBlock(r, depth float64, n int) *mesh.Mesh {
	return meshtest.RingPrism(meshtest.Square(2*r, n), meshtest.Circle(0, 0, r, n), 0, depth)
}

// Areas of overhang in closed form; numbers are the rows of the project's table
// of check values, all derived. Facets whose direction decides are exact, so
// flat shapes must agree to rounding; round ones within the error of their mesh.
func TestOverhangAreas(t *testing.T) {
	cube := meshtest.Cube(20)
	octa := standingOctahedron(10)
	tetra := standingTetrahedron(10)
	cone := meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 10}, {0, 10}}, 720)
	frustum := meshtest.Revolve([]mesh.Vec{{0, 0}, {5, 0}, {10, 15}, {0, 15}}, 720)
	// In steps of 1.5 degrees: 30, 45 and 60 fall between facets.
	ball := meshtest.Sphere(10, 240)
	lying := meshtest.Prism(meshtest.Circle(0, 0, 5, 240), 0, 40)
	ring := meshtest.Torus(20, 5, 240, 240)
	ramp := meshtest.Extrude([]mesh.Vec{{0, 0}, {40, 40 * math.Tan(30*degree)}, {40, 60}, {0, 60}}, nil, 0, 20)
	for _, c := range []struct {
		row      string
		m        *mesh.Mesh
		f        mesh.Frame
		angle    float64
		area     float64
		incline  float64 // degrees, of the first region
		relative float64
	}{
		{"19 cube on the platform", cube, plusZ, 89, 0, 0, 0},
		{"20 cube raised", cube, upward(0, 0, 1, 5), 45, 400, 0, 1e-12},
		{"21 cube on an edge at 45", cube, upward(1, 1, 0, 0), 45, 0, 0, 0},
		{"21 cube on an edge at 46", cube, upward(1, 1, 0, 0), 46, 800, 45, 1e-12},
		{"22 cube on a corner at 45", cube, upward(1, 1, 1, 0), 45, 0, 0, 0},
		{"22 cube on a corner at 60", cube, upward(1, 1, 1, 0), 60, 1200, 54.7356, 1e-6},
		{"23 octahedron at 60", octa, plusZ, 60, 173.205, 54.7356, 1e-5},
		{"23 octahedron at 54.7", octa, plusZ, 54.7, 0, 0, 0},
		{"24 tetrahedron on a vertex at 60", tetra, upward(0, 0, -1, 0), 60, 0, 0, 0},
		{"24 tetrahedron on a vertex at 75", tetra, upward(0, 0, -1, 0), 75, 129.904, 70.5288, 1e-5},
		{"25 ball at 30", ball, plusZ, 30, 84.1787, 0.75, 1e-3},
		{"25 ball at 45", ball, plusZ, 45, 184.030, 0.75, 1e-3},
		{"25 ball at 60", ball, plusZ, 60, 314.159, 0.75, 1e-3},
		{"27 ball at 90", ball, plusZ, 90, 628.319, 0.75, 1e-3},
		{"28 lying cylinder, held up", lying, upward(1, 0, 0, 5), 45, 314.159, 0.75, 1e-3},
		{"29 torus", ring, upward(0, 0, 1, 5), 45, 986.960, 0.75, 1e-3},
		{"30 cone point down at 44.9", cone, plusZ, 44.9, 0, 0, 0},
		{"30 cone point down at 46", cone, plusZ, 46, 444.288, 45, 2e-4},
		{"31 frustum at 45", frustum, plusZ, 45, 0, 0, 0},
		{"31 frustum at 72", frustum, plusZ, 72, 745.094, 71.5651, 2e-4},
		{"32 ramp at 45", ramp, upward(0, 1, 0, 0), 45, 923.760, 30, 1e-6},
		{"33 bridge", bridge(10, 20, 20, 5, 20), upward(0, 1, 0, 0), 45, 400, 0, 1e-12},
		{"34 ledge", ledge(10, 20), upward(0, 1, 0, 0), 45, 200, 0, 1e-12},
		{"35 hole 6", boredBlock(3, 20, 240), upward(0, 1, 0, 0), 45, 94.2478, 0.75, 1e-3},
		{"38 cube raised, turned over", cube, upward(0, 0, -1, 5), 45, 400, 0, 1e-12},
	} {
		o := overhangAt(t, c.m, c.f, c.angle)
		wantNear(t, c.row+": area", o.AreaMM2, c.area, c.relative*c.area)
		if c.area > 0 {
			wantNear(t, c.row+": inclination", o.Regions[0].InclinationRad/degree, c.incline, 2e-3)
		} else if len(o.Regions) > 0 {
			t.Errorf("%s: %d regions, want none", c.row, len(o.Regions))
		}
	}
}

// Rows 26 and 32: what is seen along the build direction.
func TestOverhangProjected(t *testing.T) {
	ball := meshtest.Sphere(10, 240)
	for a, want := range map[float64]float64{30: 78.5398, 45: 157.080, 60: 235.619} {
		wantNear(t, "26 ball", overhangAt(t, ball, plusZ, a).Regions[0].ProjectedMM2, want, 1e-3*want)
	}
	ramp := meshtest.Extrude([]mesh.Vec{{0, 0}, {40, 40 * math.Tan(30*degree)}, {40, 60}, {0, 60}}, nil, 0, 20)
	wantNear(t, "32 ramp", overhangAt(t, ramp, upward(0, 1, 0, 0), 45).Regions[0].ProjectedMM2, 800, 1e-9)
}

// Reach and kind in closed form.
func TestOverhangReach(t *testing.T) {
	y := upward(0, 1, 0, 0)
	reach := accuracy.Of("overhang", "reach", "ledges, balls, cones, collars, with what facets take of them", accuracy.OfBand, 1)
	span := accuracy.Of("bridge", "reach, half the span", "bridges, bores, ceilings, with what facets take of them", accuracy.OfBand, 1)
	defer func() { reach.Hold(t); span.Hold(t) }()
	for _, c := range []struct {
		name  string
		m     *mesh.Mesh
		f     mesh.Frame
		angle float64
		reach float64
		kind  mesh.OverhangKind
		tol   float64 // mm
	}{
		{"33 bridge of 20", bridge(10, 20, 20, 5, 20), y, 45, 10, mesh.Bridge, 1e-3},
		{"34 ledge of 10", ledge(10, 20), y, 45, 10, mesh.Ledge, 1e-3},
		// It stands on the plate, whose top leads nowhere down.
		{"beam that leans from a plate", meshtest.Extrude([]mesh.Vec{{0, 0}, {60, 0}, {60, 5}, {20, 5}, {60, 25}, {50, 25}, {10, 5}, {0, 5}}, nil, 0, 10), y, 45, 40, mesh.Ledge, 1e-3},
		{"ledge wider than long", ledge(3, 90), y, 45, 3, mesh.Ledge, 1e-3},
		{"35 hole 6", boredBlock(3, 20, 720), y, 45.01, 4.24264 / 2, mesh.Bridge, 0.01},
		{"36 hole 8", boredBlock(4, 20, 720), y, 45.01, 5.65685 / 2, mesh.Bridge, 0.01},
		{"ball on the platform", meshtest.Sphere(10, 360), plusZ, 45.01, 10 * math.Sin(45*degree), mesh.Ledge, 0.01},
		{"lying cylinder", meshtest.Prism(meshtest.Circle(0, 0, 5, 720), 0, 40), upward(1, 0, 0, 0), 45.01, 5 * math.Sin(45*degree), mesh.Ledge, 0.05},
		{"cone point down", meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 10}, {0, 10}}, 720), plusZ, 46, 10, mesh.Ledge, 1e-3},
		{"ball in the air", meshtest.Sphere(10, 360), upward(0, 0, 1, 5), 45.01, 10 * math.Sin(45*degree), mesh.Free, 0.01},
		{"cube raised", meshtest.Cube(20), upward(0, 0, 1, 5), 45, 20 * math.Sqrt2, mesh.Free, 1e-3},
		{"round ceiling", meshtest.Revolve([]mesh.Vec{{8, 0}, {10, 0}, {10, 12}, {0, 12}, {0, 10}, {8, 10}}, 360), plusZ, 45, 8, mesh.Bridge, 2e-3},
		{"collar on a post", meshtest.Revolve([]mesh.Vec{{0, 0}, {4, 0}, {4, 10}, {9, 10}, {9, 12}, {0, 12}}, 360), plusZ, 45, 5, mesh.Ledge, 2e-3},
		{"step in a bore", meshtest.Revolve([]mesh.Vec{{8, 0}, {10, 0}, {10, 12}, {5, 12}, {5, 10}, {8, 10}}, 360), plusZ, 45, 3, mesh.Ledge, 2e-3},
	} {
		o := overhangAt(t, c.m, c.f, c.angle)
		if len(o.Regions) == 0 {
			t.Errorf("%s: no region", c.name)
			continue
		}
		r := o.Regions[0]
		row := reach
		if c.kind == mesh.Bridge {
			row = span
		}
		row.Within(r.ReachMM, c.reach, c.tol+o.ReachErr)
		wantNear(t, c.name+": reach", r.ReachMM, c.reach, c.tol+o.ReachErr)
		if r.Kind != c.kind {
			t.Errorf("%s: kind %s, want %s", c.name, r.Kind, c.kind)
		}
		if o.ReachErr > 1e-3 {
			t.Errorf("%s: reach known to %g mm only", c.name, o.ReachErr)
		}
	}
}

// standingOctahedron stands on a vertex.
func standingOctahedron(edge float64) *mesh.Mesh {
	var b meshtest.Builder
	h := edge / math.Sqrt2
	ring := [4]mesh.Vec{{h, 0, 0}, {0, h, 0}, {-h, 0, 0}, {0, -h, 0}}
	for i, p := range ring {
		q := ring[(i+1)%4]
		b.Tri(p, q, mesh.Vec{0, 0, h})
		b.Tri(q, p, mesh.Vec{0, 0, -h})
	}
	return b.Mesh()
}

// standingTetrahedron stands on a face.
func standingTetrahedron(edge float64) *mesh.Mesh {
	r := edge / math.Sqrt(3)
	top := mesh.Vec{0, 0, edge * math.Sqrt(2.0/3)}
	c := meshtest.Circle(0, 0, r, 3)
	var b meshtest.Builder
	b.Tri(c[2], c[1], c[0])
	for i, p := range c {
		b.Tri(p, c[(i+1)%3], top)
	}
	return b.Mesh()
}

// serpentine is a strip of the given arms of length 20, width 2 and gap 1 at
// height 10, joined at alternate ends, that stands on a foot at the first arm's
// beginning.
func serpentine(arms int) *mesh.Mesh {
	xs := []float64{0}
	for range arms {
		x := xs[len(xs)-1]
		xs = append(xs, x+2, x+3)
	}
	return meshtest.Blocks(xs, []float64{-4, -2, 0, 20, 22}, []float64{0, 10, 12}, func(i, j, k int) bool {
		arm, gap := i/2, i%2 == 1
		if i >= 2*arms-1 {
			return false
		}
		switch {
		case k == 0 || j == 0: // the foot
			return i == 0 && j == 0
		case gap:
			return arm%2 == 0 && j == 3 || arm%2 == 1 && j == 1
		case arm == 0 && j == 1:
			return true
		}
		return j == 2 || j == 3 && (arm%2 == 0 && arm+1 < arms || arm%2 == 1) || j == 1 && (arm%2 == 0 || arm+1 < arms)
	})
}

// Ways that bend around slots: the shortest way runs along the inner corners.
func TestOverhangReachAroundCorners(t *testing.T) {
	// Two arms: from the far corner (5, 0) over (3, 20) and (2, 20) to the foot
	// at y = -2, which is 2 mm in front of the arm.
	u := serpentine(2)
	want := math.Hypot(2, 20) + 1 + 22
	// A strip of 8 to 10 mm around the axis over 270 degrees: from the outer end
	// a tangent of 6 to the inner circle, then along it.
	ring := func(n int) *mesh.Mesh {
		th := append([]float64{-0.2}, meshtest.Steps(0, 1.5*math.Pi, n)...)
		return meshtest.Map(meshtest.Blocks([]float64{8, 10}, th, []float64{0, 10, 12}, func(_, j, k int) bool { return k == 1 || j == 0 }),
			func(p mesh.Vec) mesh.Vec {
				s, c := math.Sincos(p[1])
				return mesh.Vec{p[0] * c, p[0] * s, p[2]}
			})
	}
	arc := 6 + 8*(1.5*math.Pi-math.Acos(0.8))
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want float64
	}{
		{"two arms", u, want},
		{"two arms, turned", meshtest.Turn(u, mesh.Vec{0, 0, 1}, 0.3), want},
		{"two arms, refined", meshtest.Refine(u, 3), want},
		{"three quarters of a ring", ring(360), arc},
		{"three quarters of a coarse ring", ring(45), arc},
	} {
		o := overhangAt(t, c.m, plusZ, 45)
		if len(o.Regions) != 1 {
			t.Fatalf("%s: %d regions, want 1", c.name, len(o.Regions))
		}
		r := o.Regions[0]
		t.Logf("%s: reach %.5f, want %.5f, off by %.5f, said %.5f, at %.3f", c.name, r.ReachMM, c.want, r.ReachMM-c.want, o.ReachErr, r.At)
		near := o.ReachErr
		if c.name == "three quarters of a coarse ring" {
			near += c.want - (6 + 8*2*45*math.Sin(0.75*math.Pi/45)*(1.5*math.Pi-math.Acos(0.8))/(1.5*math.Pi))
		}
		wantNear(t, c.name, r.ReachMM, c.want, near)
		if r.Kind != mesh.Ledge {
			t.Errorf("%s: kind %s, want ledge", c.name, r.Kind)
		}
	}
}

// With a reach that is enough, what lies within it is the same, and what lies
// beyond is told to lie beyond.
func TestOverhangEnough(t *testing.T) {
	m := meshtest.Gyroid(10, 0.4, 1, 14)
	for _, up := range []mesh.Vec{{0, 0, 1}, {1, 2, 3}, {-1, 0.3, 0.2}} {
		f := mesh.NewFrame(up, 0, 0)
		all, err := mesh.MeasureOverhang(context.Background(), m, f, mesh.OverhangParams{AngleRad: math.Pi / 4})
		if err != nil {
			t.Fatal(err)
		}
		const enough = 0.7
		some, err := mesh.MeasureOverhang(context.Background(), m, f, mesh.OverhangParams{AngleRad: math.Pi / 4, EnoughMM: enough})
		if err != nil {
			t.Fatal(err)
		}
		last := len(all.Regions) - 1
		small, err := mesh.MeasureOverhang(context.Background(), m, f, mesh.OverhangParams{AngleRad: math.Pi / 4, LeastMM2: all.Regions[last].AreaMM2})
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range small.Regions {
			if want := all.Regions[i]; r.AreaMM2 > all.Regions[last].AreaMM2 && r.ReachMM != want.ReachMM || i == last && r.ReachMM != 0 {
				t.Errorf("up %v: region %d reaches %g, was %g", up, i, r.ReachMM, want.ReachMM)
			}
		}
		beyond := 0
		for i, a := range all.Regions {
			b := some.Regions[i]
			if a.AreaMM2 != b.AreaMM2 || b.ReachMM > a.ReachMM+all.ReachErr+1e-9 || (a.ReachMM <= enough) != (b.ReachMM <= enough) && math.Abs(a.ReachMM-enough) > all.ReachErr {
				t.Errorf("up %v: reach %g, with enough %g", up, a.ReachMM, b.ReachMM)
			}
			if b.ReachMM > enough {
				beyond++
			}
		}
		if beyond == 0 {
			t.Errorf("up %v: nothing lies beyond", up)
		}
	}
}

// A flat start in the air reaches along its longest diagonal, whichever of its
// corners comes first.
func TestFreeRegionReachesFromItsFarthestCorner(t *testing.T) {
	kite := meshtest.Extrude([]mesh.Vec{{10, 10}, {30, 10}, {24, 19}, {12, 16}}, nil, 10, 14)
	rng := rand.New(rand.NewPCG(1, 1))
	for range 12 {
		m := meshtest.Shuffle(meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 40, 4}), kite), rng)
		o := overhangAt(t, m, upward(0, 0, 1, 0), 45)
		if len(o.Regions) != 1 || o.Regions[0].Kind != mesh.Free {
			t.Fatalf("%+v", o.Regions)
		}
		wantNear(t, "reach", o.Regions[0].ReachMM, 20, 1e-6)
	}
}

// Bodies that touch or run into each other stand as their union: what of a
// facet lies in another body is no overhang, carries what ends there, and no
// column falls from it. The answers are areas and distances of boxes.
func TestOverhangOfBodiesThatMeet(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	block := box(0, 0, 0, 10, 40, 40)
	// Its underside rises by half from the plate, 5 mm up at x = 20, to 20 mm over it.
	lean := meshtest.Extrude([]mesh.Vec{{4, 2}, {14, 2}, {60, 25}, {50, 25}}, nil, 5, 15)
	lean = meshtest.Map(lean, func(v mesh.Vec) mesh.Vec { return mesh.Vec{v[0], 20 - v[2], v[1]} })
	for _, c := range []struct {
		name               string
		m                  *mesh.Mesh
		area, reach, under float64 // under: columns, mm3
		kind               mesh.OverhangKind
	}{
		{"rib sunk in a plate", meshtest.Join(box(0, 0, 0, 60, 40, 3), box(28, 0, 2, 32, 40, 20)), 0, 0, 0, ""},
		{"rib on a plate", meshtest.Join(box(0, 0, 0, 60, 40, 3), box(28, 0, 3, 32, 40, 20)), 0, 0, 0, ""},
		{"beam sunk in a wall", meshtest.Join(block, box(7, 10, 20, 17, 30, 25)), 140, 7, 2800, mesh.Ledge},
		{"beam against a wall", meshtest.Join(block, box(10, 10, 20, 17, 30, 25)), 140, 7, 2800, mesh.Ledge},
		{"beam higher than the wall it ends flush with", meshtest.Join(box(0, 0, 0, 6, 10, 7), box(0, -4, 4, 2, 0, 14)), 8, 4, 32, mesh.Ledge},
		{"beam sunk deep", meshtest.Join(box(0, 0, 0, 40, 40, 40), box(5, 10, 20, 42, 30, 25)), 40, 2, 800, mesh.Ledge},
		{"beam through a wall", meshtest.Join(block, box(-8, 10, 20, 18, 30, 25)), 320, 8, 6400, mesh.Ledge},
		{"beam between two walls", meshtest.Join(block, box(30, 0, 0, 40, 40, 40), box(8, 10, 20, 32, 30, 25)), 400, 10, 8000, mesh.Bridge},
		{"table on a post", meshtest.Join(box(10, 10, 0, 20, 30, 20), box(0, 0, 20, 40, 40, 24)), 1400, math.Hypot(20, 10), 28000, mesh.Ledge},
		{"table with a post in it", meshtest.Join(box(10, 10, 0, 20, 30, 21), box(0, 0, 20, 40, 40, 24)), 1400, math.Hypot(20, 10), 28000, mesh.Ledge},
		{"shelf of two side by side", meshtest.Join(block, box(9, 0, 20, 20, 20, 25), box(9, 19, 20, 20, 40, 25)), 400, 10, 8000, mesh.Ledge},
		{"shelf of two in line", meshtest.Join(block, box(9, 0, 20, 21, 40, 25), box(19, 0, 20, 30, 40, 25)), 800, 20, 16000, mesh.Ledge},
		{"rail through a wall, of which one end hangs", meshtest.Join(block, box(-2, 10, 30, 18, 30, 35)), 200, 8, 6000, mesh.Ledge},
		{"leaning beam on a plate", meshtest.Join(box(0, 0, 0, 60, 20, 5), lean), 40 * math.Sqrt(1.25) * 10, 40, 4000, mesh.Ledge},
		{"blocks that share four edges", meshtest.Join(box(0, 0, 0, 10, 10, 10), box(0, 0, 10, 10, 10, 20)), 0, 0, 0, ""},
		{"a T of blocks that share edges", meshtest.Join(box(10, 0, 0, 20, 10, 10), box(0, 0, 10, 10, 10, 15), box(10, 0, 10, 20, 10, 15), box(20, 0, 10, 30, 10, 15)), 200, 10, 2000, mesh.Ledge},
	} {
		for _, turn := range []float64{0, 0.3} {
			f := mesh.NewFrame(mesh.Vec{0, 0, 1}, turn, 0)
			o, err := mesh.MeasureOverhang(context.Background(), c.m, f, mesh.OverhangParams{AngleRad: math.Pi / 4})
			if err != nil {
				t.Fatal(err)
			}
			wantNear(t, c.name+": area", o.AreaMM2, c.area, 1e-3*c.area+1e-6)
			starts, err := mesh.MeasureFloatingStarts(context.Background(), c.m, f)
			if err != nil || len(starts) > 0 {
				t.Errorf("%s: starts %v %v", c.name, starts, err)
			}
			u, err := mesh.MeasureSupport(context.Background(), c.m, f, &o)
			if err != nil {
				t.Fatal(err)
			}
			wantNear(t, c.name+": columns", u.VolumeMM3, c.under, 1e-3*c.under)
			most := mesh.OverhangRegion{}
			var facets []int32
			for _, r := range o.Regions {
				if facets = append(facets, r.Facets...); r.ReachMM > most.ReachMM {
					most = r
				}
			}
			wantNear(t, c.name+": reach", most.ReachMM, c.reach, 1e-3*c.reach+o.ReachErr)
			if n := map[string]int{"beam through a wall": 2, "rail through a wall, of which one end hangs": 2}[c.name]; n > 0 && (len(o.Regions) != n || len(o.Regions[0].Facets) == 0) {
				t.Errorf("%s: %d regions, want %d", c.name, len(o.Regions), n)
			}
			if most.Kind != c.kind {
				t.Errorf("%s: %s, want %s", c.name, most.Kind, c.kind)
			}
			st, err := mesh.NewStands(context.Background(), c.m, mesh.StandParams{AngleRad: math.Pi / 4})
			if err != nil {
				t.Fatal(err)
			}
			s, err := st.Measure(context.Background(), []mesh.Vec{{0, 0, 1}})
			if err != nil {
				t.Fatal(err)
			}
			wantNear(t, c.name+": area by the quick sum", s[0].OverhangMM2, c.area, 1e-3*c.area+1e-6)
			rays, err := st.Columns(context.Background(), mesh.Vec{0, 0, 1}, facets, 4000)
			if err != nil {
				t.Fatal(err)
			}
			wantNear(t, c.name+": columns by rays", rays.VolumeMM3, c.under, 0.03*c.under)
		}
	}
}

// Bodies that touch each other in the air do not carry each other; where their faces
// are level they start as one.
func TestBodiesThatMeetInTheAirStartThere(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	base := box(0, 0, 0, 40, 40, 5)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
	}{
		{"side by side", meshtest.Join(base, box(10, 10, 20, 20, 20, 30), box(20, 10, 20, 30, 20, 30))},
		{"side by side in part", meshtest.Join(base, box(10, 10, 20, 20, 20, 30), box(20, 12, 20, 30, 18, 34))},
		{"in each other", meshtest.Join(base, box(10, 10, 20, 20, 20, 30), box(18, 10, 20, 30, 20, 30))},
		{"one higher", meshtest.Join(base, box(10, 10, 20, 20, 20, 30), box(20, 10, 24, 30, 20, 31))},
	} {
		starts, err := mesh.MeasureFloatingStarts(context.Background(), c.m, plusZ)
		if err != nil || len(starts) == 0 || starts[0].Height != 20 {
			t.Errorf("%s: %+v %v", c.name, starts, err)
		}
		if area := map[string]float64{"side by side": 200, "side by side in part": 160, "in each other": 200}[c.name]; area > 0 && (len(starts) != 1 || math.Abs(starts[0].AreaMM2-area) > 1e-3) {
			t.Errorf("%s: %+v, want one start with a face of %g mm2", c.name, starts, area)
		}
		if c.name == "one higher" && len(starts) != 1 {
			t.Errorf("%s: the higher one is carried: %+v", c.name, starts)
		}
	}
}

// What of a region lies on a pin is told: all of it under a leaning strut, none
// under the shelf that it meets.
func TestOverhangOnPins(t *testing.T) {
	plate := meshtest.BoxAt(mesh.Vec{-10, -10, -5}, mesh.Vec{40, 10, 0})
	strut := meshtest.Turn(meshtest.Cylinder(0, 0, 1, -3, 30, 48), mesh.Vec{0, 1, 0}, 60*degree)
	shelf := meshtest.BoxAt(mesh.Vec{-30, -10, -2}, mesh.Vec{-10, 10, 0})
	m := meshtest.Join(plate, strut, shelf)
	c, err := mesh.MeasureCylinders(t.Context(), m)
	if err != nil || len(c.Pins) != 1 {
		t.Fatalf("%d pins, %v", len(c.Pins), err)
	}
	o, err := mesh.MeasureOverhang(t.Context(), m, plusZ, mesh.OverhangParams{AngleRad: math.Pi / 4, HoleOf: c.HoleOf, PinOf: c.PinOf()})
	if err != nil || len(o.Regions) != 2 {
		t.Fatalf("%d regions, %v", len(o.Regions), err)
	}
	if r := o.Regions[0]; len(r.Pins) != 0 || math.Abs(r.AreaMM2-400) > 1e-9 {
		t.Errorf("shelf: %.9g mm2, on pins %v", r.AreaMM2, r.Pins)
	}
	if r := o.Regions[1]; len(r.Pins) != 1 || r.Pins[0].Pin != 0 || math.Abs(r.Pins[0].AreaMM2-r.AreaMM2) > 1e-9 {
		t.Errorf("strut: %.9g mm2, on pins %v", r.AreaMM2, r.Pins)
	}
}
