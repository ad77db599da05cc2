package mesh_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func block(x, y, z float64) mesh.Room {
	return mesh.Room{Platform: mesh.Platform{XMM: x, YMM: y}, ZMM: z}
}

func drum(d, z float64) mesh.Room { return mesh.Room{Platform: mesh.Platform{DiameterMM: d}, ZMM: z} }

func boxOfSize(x, y, z float64) *mesh.Mesh {
	return meshtest.BoxAt(mesh.Vec{-3, 5, 2}, mesh.Vec{x - 3, 5 + y, 2 + z})
}

func turnedFit(t *testing.T, m *mesh.Mesh, r mesh.Room) mesh.Fit {
	t.Helper()
	f, err := mesh.FitTurned(t.Context(), m, mesh.Vec{0, 0, 1}, r)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func tiltedFit(t *testing.T, m *mesh.Mesh, r mesh.Room) mesh.Fit {
	t.Helper()
	f, err := mesh.FitTilted(t.Context(), m, r)
	if err != nil {
		t.Fatal(err)
	}
	if f.Fits() {
		holds(t, m, f, r)
	}
	return f
}

// holds tries a fit on by the box and the circle that a check measures.
func holds(t *testing.T, m *mesh.Mesh, f mesh.Fit, r mesh.Room) {
	t.Helper()
	b := boxOf(t, m, mesh.NewFrame(f.Up, f.TurnRad, 0))
	near(t, "what a fit is said to leave", f.OverMM, r.Over(b), 1e-9*b.Size.Norm())
}

// A rectangle p by q fits one of a by b, with p over a, only where
// b >= (2pqa + (p2-q2) sqrt(p2+q2-a2)) / (p2+q2).
// Source: Carver (1957), problem E 1225, American Mathematical Monthly 64, from
// memory.
func TestFitTurnedClosedForm(t *testing.T) {
	row := accuracy.Of("fit", "what fits by a turn, to a micrometre", "bars on rectangles", accuracy.Wrong, 0)
	defer row.Hold(t)
	for _, c := range []struct{ p, q, a float64 }{{250, 10, 200}, {250, 40, 240}, {110, 5, 100}, {300, 60, 290}, {101, 30, 100}} {
		p, q, a := c.p, c.q, c.a
		need := (2*p*q*a + (p*p-q*q)*math.Sqrt(p*p+q*q-a*a)) / (p*p + q*q)
		bar := meshtest.Turn(boxOfSize(p, q, 20), mesh.Vec{0, 0, 1}, 0.3)
		for _, by := range []float64{-0.001, 0.001} {
			for _, r := range []mesh.Room{block(a, need+by, 50), block(need+by, a, 50)} {
				row.Right(turnedFit(t, bar, r).Fits() == (by > 0))
				if f := turnedFit(t, bar, r); f.Fits() != (by > 0) || !f.Certain || math.Abs(f.OverMM) > 0.002 {
					t.Errorf("%g x %g on %g x %g: %+v", p, q, r.XMM, r.YMM, f)
				} else {
					holds(t, bar, f, r)
				}
			}
		}
		if f := turnedFit(t, bar, block(500, 500, 19.9)); math.Abs(f.OverMM-0.1) > 1e-9 {
			t.Errorf("20 mm under 19.9: %+v", f)
		}
		// Round: the diagonal, at any turn.
		near(t, "over a disc", turnedFit(t, bar, drum(100, 50)).OverMM, math.Hypot(p, q)-100, 1e-9)
	}
}

// Of all turns none does better than the one found, and it is as good as the
// best of many that are tried.
func TestFitTurnedAgainstTrials(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for range 60 {
		m := cloud(rng, 4+rng.IntN(12))
		r := block(40+60*rng.Float64(), 40+60*rng.Float64(), 1000)
		got := turnedFit(t, m, r)
		holds(t, m, got, r)
		best := math.Inf(1)
		for k := range 720 {
			s := boxOf(t, m, mesh.NewFrame(mesh.Vec{0, 0, 1}, math.Pi*float64(k)/720, 0)).Size
			best = min(best, max(s[0]-r.XMM, s[1]-r.YMM))
		}
		if got.OverMM > best+1e-9 || got.OverMM < best-1 { // a step of a quarter degree moves 100 mm by 0.4 mm
			t.Errorf("found %g, tried %g", got.OverMM, best)
		}
	}
}

// cloud is a closed mesh over some points: flat tetrahedra, whose hull is that
// of the points.
func cloud(rng *rand.Rand, n int) *mesh.Mesh {
	var b meshtest.Builder
	point := func() mesh.Vec {
		return mesh.Vec{100 * rng.Float64(), 60 * rng.Float64(), 40 * rng.Float64()}
	}
	for range n {
		b.Tri(point(), point(), point())
	}
	return b.Mesh()
}

// needle is a bar of next to no thickness.
func needle(l float64) *mesh.Mesh { return boxOfSize(l, 1e-3, 1e-3) }

// Each shape fits a room of its size plus 0.15 mm and does not fit one of its
// size less 0.3 mm, however it lies in the mesh.
func TestFitTiltedClosedForms(t *testing.T) {
	const more, less = 0.15, -0.3
	diagonal := func(ls ...float64) (d float64) {
		for _, l := range ls {
			d = math.Hypot(d, l)
		}
		return d
	}
	for _, c := range []struct {
		name string
		of   *mesh.Mesh
		room func(by float64) mesh.Room
	}{
		{"needle in a block", needle(diagonal(100, 150, 200)), func(by float64) mesh.Room { return block(100+by, 150+by, 200+by) }},
		{"needle in a drum", needle(diagonal(120, 200)), func(by float64) mesh.Room { return drum(120+by, 200+by) }},
		// The largest square in a cube has 3/4 sqrt 2 of its edge (Nieuwland's
		// answer to Prince Rupert's question; Schrek 1950, from memory).
		{"square in a cube", boxOfSize(75*math.Sqrt2, 75*math.Sqrt2, 1e-3), func(by float64) mesh.Room { return block(100+by, 100+by, 100+by) }},
		// A regular tetrahedron stands on every other corner of a cube, and no
		// smaller cube holds it.
		{"tetrahedron in a cube", tetrahedron(mesh.Vec{0, 0, 0}, mesh.Vec{80, 80, 0}, mesh.Vec{80, 0, 80}, mesh.Vec{0, 80, 80}), func(by float64) mesh.Room { return block(80+by, 80+by, 80+by) }},
		{"cube in a cube", boxOfSize(90, 90, 90), func(by float64) mesh.Room { return block(90+by, 90+by, 90+by) }},
		// A disc's shadow is as wide as the disc, however it leans.
		{"disc in a drum", meshtest.Cylinder(0, 0, 50, 0, 4, 90), func(by float64) mesh.Room { return drum(100+by, 60) }},
	} {
		for _, lie := range []float64{0, 1.1} {
			m := meshtest.Turn(c.of, mesh.Vec{3, 1, -2}, lie)
			if f := tiltedFit(t, m, c.room(more)); !f.Fits() {
				t.Errorf("%s, turned by %g: does not fit: %+v", c.name, lie, f)
			}
			if f := tiltedFit(t, m, c.room(less)); f.Fits() || !f.Certain {
				t.Errorf("%s, turned by %g: fits, or is not certain not to: %+v", c.name, lie, f)
			}
		}
	}
}

// A ball has the same width every way, so that nothing guides the search: it
// has to cover the sphere.
func TestFitTiltedBall(t *testing.T) {
	m := meshtest.Turn(meshtest.Sphere(50, 96), mesh.Vec{1, 1, 3}, 0.7)
	for _, r := range []mesh.Room{block(98, 150, 150), block(150, 98, 98), block(120, 130, 98), drum(99, 150), drum(150, 98)} {
		if f := tiltedFit(t, m, r); f.Fits() || !f.Certain {
			t.Errorf("%+v: %+v", r, f)
		}
	}
	for _, r := range []mesh.Room{block(100.2, 100.2, 100.2), drum(100.2, 100.2)} {
		if f := tiltedFit(t, m, r); !f.Fits() {
			t.Errorf("%+v: %+v", r, f)
		}
	}
}

// What is certain not to fit fits in none of many ways that are tried, and where
// one of those fits with room to spare, a way is found.
func TestFitTiltedAgainstTrials(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 2))
	tries := mesh.SphereDirections(1500)
	found, certain := 0, 0
	for k := range 40 {
		m := cloud(rng, 4+rng.IntN(6))
		r := block(40+50*rng.Float64(), 40+50*rng.Float64(), 40+50*rng.Float64())
		if k%2 == 1 {
			r = drum(50+40*rng.Float64(), 50+40*rng.Float64())
		}
		best := math.Inf(1)
		for _, up := range tries {
			f, err := mesh.FitTurned(t.Context(), m, up, r)
			if err != nil {
				t.Fatal(err)
			}
			best = min(best, f.OverMM)
		}
		f := tiltedFit(t, m, r)
		switch {
		case f.Fits():
			found++
		case best <= -0.1:
			t.Errorf("%+v: %g mm to spare, and none found: %+v", r, -best, f)
		case f.Certain:
			certain++
		default:
			t.Errorf("%+v: nothing is certain: %+v", r, f)
		}
	}
	if found < 5 || certain < 5 {
		t.Errorf("%d found and %d certain: the rooms do not try both", found, certain)
	}
}
