package mesh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// This file holds bent channels, of which the legs are holes and the bend is none.

// bentTube is a tube of radius 1 inside whose bend through an angle about a radius is of
// n steps between cuts that halve their angles, with legs of radius leg that begin at
// shoulders.
func bentTube(sides, n int, angle, radius, leg, legLong float64) *mesh.Mesh {
	const thick = 0.4
	at := func(a float64) mesh.Vec {
		return mesh.Vec{radius - radius*math.Cos(a), 0, radius * math.Sin(a)}
	}
	way := func(a float64) mesh.Vec { return mesh.Vec{math.Sin(a), 0, math.Cos(a)} }
	// ring lies in the plane at p square to cut, on the tube of a radius along dir. It is
	// turned a little: see MeasureCylinders for flat sides in the plane of the next.
	ring := func(p, cut, dir mesh.Vec, r float64) (out []mesh.Vec) {
		y := mesh.Vec{0, 1, 0}
		x := y.Cross(cut).Scale(1 / cut.Dot(dir))
		for _, c := range meshtest.Circle(0, 0, r, sides) {
			s, c0 := math.Sincos(0.7 / float64(sides))
			out = append(out, p.Add(x.Scale(c0*c[0]-s*c[1])).Add(y.Scale(s*c[0]+c0*c[1])))
		}
		return out
	}
	var in, out [][]mesh.Vec
	add := func(p, cut, dir mesh.Vec, r float64) {
		in, out = append(in, ring(p, cut, dir, r)), append(out, ring(p, cut, dir, r+thick))
	}
	step := angle / float64(n)
	first, last := way(0), way(angle)
	add(at(0).Sub(first.Scale(legLong)), first, first, leg)
	add(at(0), first, first, leg)
	for i := range n + 1 {
		a := float64(i) * step
		switch {
		case i == 0 && leg != 1:
			add(at(a), first, way(step/2), 1)
		case i == n && leg != 1:
			add(at(a), last, way(a-step/2), 1)
		case i > 0 && i < n:
			add(at(a), way(a), way(a-step/2), 1)
		}
	}
	add(at(angle), last, last, leg)
	add(at(angle).Add(last.Scale(legLong)), last, last, leg)
	var b meshtest.Builder
	between := func(p, q []mesh.Vec) {
		for i := range p {
			k := (i + 1) % len(p)
			b.Quad(p[i], p[k], q[k], q[i])
		}
	}
	for i := range len(in) - 1 {
		between(in[i+1], in[i])
		between(out[i], out[i+1])
	}
	between(in[0], out[0])
	between(out[len(out)-1], in[len(in)-1])
	return b.Mesh()
}

// TestBendsAreNoHoles: of a bent channel its two legs are holes, whether the bend begins
// at a shoulder or not, and none of the steps, up to 30 degrees and one and a half diameters each.
func TestBendsAreNoHoles(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 27))
	right := accuracy.Of("hole", "holes found", "bent channels of straight steps, with shoulders and without", accuracy.Wrong, 0)
	w := worst{}
	for i := range 120 {
		sides, angle := 12+rng.IntN(50), (20+120*rng.Float64())*degree
		n := max(2, int(math.Ceil(angle/(30*degree)))) + rng.IntN(8)
		radius := 1.6 + 4*rng.Float64()
		leg := 1.0
		if i%2 == 1 {
			leg = 1.02 + 0.2*rng.Float64()
		}
		// Of steps that turn by less than 3 degrees the first goes on as the leg.
		if turn := angle / float64(n); turn < 3*degree || 2*(radius+1)*math.Tan(turn/2) > 3 {
			continue
		}
		d := sizeBetween(rng)
		m, _ := anywhereInFile(t, rng, bentTube(sides, n, angle, radius, leg, 7), d)
		got := cylindersOf(t, m)
		right.Right(len(got.Holes) == 2)
		if len(got.Holes) != 2 {
			t.Errorf("%d sides, %d steps over %.3g degrees about %.3g, legs %.3g, size %.3g: holes %q", sides, n, angle/degree, radius, leg, d, brief(got.Holes))
			continue
		}
		for _, h := range got.Holes {
			w.note("diameter through the vertices", h.DiameterMM, 2*leg*d)
		}
	}
	right.Hold(t)
	w.holdHoles(t, "hole", "legs of bent channels")
}

// TestLiveBends: the same of channels that OpenSCAD cuts out as rows of cylinders, with
// the legs drilled on into the bend and a little wider.
func TestLiveBends(t *testing.T) {
	for _, c := range []struct{ n, r, over, ext, balls, wider, sides float64 }{
		{6, 4, 0.3, 0.4, 0, 0, 24}, {6, 4, 0.3, 0.4, 0, 0.4, 24}, {3, 6, 1.5, 0.5, 0, 0.4, 16}, {10, 6, 0.6, 0.2, 0, 0.2, 20}, {6, 3, 0.6, 0, 1, 0.3, 16}, {3, 4, 0.6, 0, 1, 0, 20},
	} {
		m := made(t, "openscad", "openscad", func(out string) []string {
			args := []string{"-q", "--export-format", "binstl", "-o", out}
			for name, v := range map[string]float64{"n": c.n, "R": c.r, "over": c.over, "ext": c.ext, "balls": c.balls, "wider": c.wider, "sides": c.sides} {
				args = append(args, "-D", fmt.Sprintf("%s=%.17g", name, v))
			}
			return append(args, "testdata/oracle/live_bend.scad")
		})
		got := cylindersOf(t, m)
		if len(got.Holes) != 2 || math.Abs(got.Holes[0].DiameterMM-3-c.wider) > 0.02 {
			t.Errorf("%+v: holes %q", c, brief(got.Holes))
		}
	}
}
