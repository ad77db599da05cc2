package mesh_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// rounded puts the coordinates on a grid, as a file with few digits does.
func rounded(m *mesh.Mesh, gridMM float64) *mesh.Mesh {
	return meshtest.Map(m, func(v mesh.Vec) mesh.Vec {
		for k := range v {
			v[k] = math.Round(v[k]/gridMM) * gridMM
		}
		return v
	})
}

// A corner of 60 degrees is no wall, and stays none where the file keeps six
// digits: a bar whose section is an equilateral triangle, and one of six sides,
// which reads across its flats.
func TestSixtyDegreesRounded(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 60))
	for k := range 40 {
		turn := func(m *mesh.Mesh) *mesh.Mesh {
			axis := mesh.Vec{rng.Float64() - 0.5, rng.Float64() - 0.5, rng.Float64() - 0.5}
			return rounded(meshtest.Move(meshtest.Turn(m, axis, 6*rng.Float64()), mesh.Vec{150, 80, 20}), 1e-3)
		}
		for n, want := range map[int]float64{3: math.Inf(1), 6: 4 * math.Cos(math.Pi/6)} {
			m := turn(meshtest.Extrude(meshtest.Circle(0, 0, 2, n), nil, 0, 12))
			w := wallOf(t, m, 4, 1)
			if math.IsInf(want, 1) && !math.IsInf(w.Min, 1) || !math.IsInf(want, 1) && math.Abs(w.Min-want) > 4e-3 {
				t.Errorf("trial %d, %d sides: wall of %g mm at %v, want %g", k, n, w.Min, w.MinAt, want)
			}
		}
	}
}

// A pyramid on a long block comes to a tip that is thin across and wide along. The
// tip explains its taper, out to where the flanks end, down to what rounding
// leaves of it; what is left is the thickness at PatchMM from the tip.
func TestTipsOfBlades(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 20))
	const high, patch = 20.0, 1.0
	below := func(p mesh.Vec) mesh.Vec { return p.Sub(mesh.Vec{0, 0, 10}) }
	for _, c := range []struct{ long, wide float64 }{{10, 4}, {20, 4}, {40, 4}, {60, 6}, {80, 8}} {
		for k := range 10 {
			x, y := c.long/2, c.wide/2
			base := []mesh.Vec{{-x, -y, 0}, {x, -y, 0}, {x, y, 0}, {-x, y, 0}}
			var b meshtest.Builder
			for i, p := range base {
				q := base[(i+1)%4]
				b.Tri(p, q, mesh.Vec{0, 0, high})
				b.Quad(below(p), below(q), q, p)
			}
			b.Quad(below(base[0]), below(base[3]), below(base[2]), below(base[1]))
			m := meshtest.Turn(b.Mesh(), mesh.Vec{rng.Float64(), rng.Float64(), rng.Float64() - 1}, 6*rng.Float64())
			m = meshtest.Single(meshtest.Move(m, mesh.Vec{130, 50, 10}))
			w := wallOf(t, m, 2, patch)
			// Straight below the tip the wedge has the flanks' angle, and along their
			// rims a point as far from the tip lies less deep.
			most := 2 * patch * y / high
			if least := most / math.Hypot(1, x/high); w.Min < 0.95*least || w.Min > 1.02*most {
				t.Errorf("%g x %g, trial %d: wall of %g mm at %v, where the tip measures %g to %g", c.long, c.wide, k, w.Min, w.MinAt, least, most)
			}
		}
	}
}
