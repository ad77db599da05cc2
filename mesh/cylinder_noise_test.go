package mesh_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// plateOf28 is a plate of 112 by 80 by 4 with 28 holes of 0.8 to 10 mm and 8 to
// 128 sides, none narrower than 0.1 mm.
func plateOf28() (*mesh.Mesh, []float64) {
	var b meshtest.Builder
	var want []float64
	sides := []int{8, 12, 16, 24, 32, 64, 128}
	for i := range 28 {
		d := 0.8 * math.Pow(12.5, float64(i/7)/3) // 0.8, 1.86, 4.31, 10
		x, y := 16*float64(i%7), 20*float64(i/7)
		n := min(sides[i%7], int(math.Pi*d/0.1))
		want = append(want, d)
		b.Add(meshtest.Move(meshtest.Plate(mesh.Vec{-8, -10, 0}, mesh.Vec{8, 10, 4}, n, [3]float64{0, 0, d / 2}), mesh.Vec{x, y, 0}))
	}
	// The walls between neighbouring cells are two facets back to back each.
	return meshtest.DropFacing(b.Mesh()), want
}

// TestNoisyHoles shakes every vertex of a plate with 28 holes. How many are
// found is what kernel experiments reached or better; the diameters found must
// lie within the errors that are reported with them.
func TestNoisyHoles(t *testing.T) {
	clean, want := plateOf28()
	row := accuracy.Of("hole", "diameter", "28 bores with noise up to 20 um", accuracy.OfBand, 1)
	defer row.Hold(t)
	for _, c := range []struct {
		sigma   float64 // mm, of each coordinate
		atLeast int
	}{{0, 28}, {0.001, 28}, {0.005, 27}, {0.020, 24}} {
		for seed := range uint64(3) {
			m := meshtest.Scatter(clean, c.sigma, rand.New(rand.NewPCG(seed, 5)))
			got := cylindersOf(t, m)
			var found int
			var worst, mean float64
			for _, h := range got.Holes {
				i := slices.IndexFunc(want, func(d float64) bool { return math.Abs(h.DiameterMM-d) < 0.05*d })
				if i < 0 {
					t.Errorf("noise %g: a hole of %g", c.sigma, h.DiameterMM)
					continue
				}
				found++
				if !h.Through && c.sigma <= 0.005 {
					t.Errorf("noise %g: hole of %g is not through", c.sigma, h.DiameterMM)
				}
				e := math.Abs(h.DiameterMM - want[i])
				row.Within(h.DiameterMM, want[i], h.ErrMM)
				worst, mean = max(worst, e/want[i]), mean+e/want[i]
				if e > h.ErrMM {
					t.Errorf("noise %g: diameter %g, want %g within %g", c.sigma, h.DiameterMM, want[i], h.ErrMM)
				}
				if lean := math.Acos(min(1, math.Abs(h.Axis[2]))); lean > 0.2*math.Pi/180+4*c.sigma/4 {
					t.Errorf("noise %g: axis of %g leans %g deg", c.sigma, h.DiameterMM, lean*180/math.Pi)
				}
			}
			t.Logf("noise %3.0f um, seed %d: %d of 28 holes, %d pins; diameter off by %.3g %% on average, %.3g %% at worst",
				1000*c.sigma, seed, found, len(got.Pins), 100*mean/float64(found), 100*worst)
			if found < c.atLeast || len(got.Holes) > 28 || len(got.Pins) > 0 {
				t.Errorf("noise %g: %d holes and %d pins, want at least %d and 0", c.sigma, len(got.Holes), len(got.Pins), c.atLeast)
			}
		}
	}
}
