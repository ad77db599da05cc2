package mesh

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// cutOf cuts one polygon, whose corners are all vertices in order.
func cutOf(t testing.TB, verts []Vec, work int64) [][3]int32 {
	t.Helper()
	poly := make([]int32, len(verts))
	for i := range poly {
		poly[i] = int32(i)
	}
	c := cutter{verts: verts, work: work}
	if err := c.cut(t.Context(), poly); err != nil {
		t.Fatal(err)
	}
	return c.out
}

// rimOf returns the half-edges without an opposite one, which must be the
// polygon's own.
func rimOf(fs [][3]int32) map[[2]int32]int {
	n := map[[2]int32]int{}
	for _, f := range fs {
		for k := range 3 {
			n[[2]int32{f[k], f[(k+1)%3]}]++
			n[[2]int32{f[(k+1)%3], f[k]}]--
		}
	}
	for e, c := range n {
		if c <= 0 {
			delete(n, e)
		}
	}
	return n
}

func TestCutPolygons(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 20))
	comb := []Vec{}
	for i := range 20 { // teeth
		comb = append(comb, Vec{float64(i), float64(i%2) * 10, 0})
	}
	comb = append(comb, Vec{19, -1, 0}, Vec{0, -1, 0})
	slices.Reverse(comb) // counter-clockwise
	shapes := map[string][]Vec{
		"square":          {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}},
		"arrow":           {{0, 0, 0}, {4, -4, 0}, {1, 0, 0}, {4, 4, 0}},
		"points on edges": {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}, {2, 2, 0}, {1, 2, 0}, {0, 2, 0}, {0, 1, 0}},
		"comb":            comb,
	}
	for i := range 40 { // stars with a random radius at each angle
		n := 5 + rng.IntN(40)
		var star []Vec
		for k := range n {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			r := .2 + rng.Float64()
			star = append(star, Vec{r * c, r * s, 0})
		}
		shapes[string(rune('A'+i))] = star
	}
	for name, flat := range shapes {
		want := 0.0
		for i, p := range flat {
			q := flat[(i+1)%len(flat)]
			want += (p[0]*q[1] - p[1]*q[0]) / 2
		}
		f := NewFrame(Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}, rng.Float64(), 0)
		verts := make([]Vec, len(flat))
		for i, p := range flat {
			verts[i] = f.Back(p)
		}
		fs := cutOf(t, verts, cutWork)
		area := 0.0
		for _, c := range fs {
			// All triangles face the same way: the signed sum is the area only then.
			n := verts[c[1]].Sub(verts[c[0]]).Cross(verts[c[2]].Sub(verts[c[0]]))
			if d := n.Dot(f.Z) / 2; d < -1e-12 {
				t.Errorf("%s: a triangle is turned over: %v", name, d)
			} else {
				area += d
			}
		}
		rim := rimOf(fs)
		for i := range verts {
			if rim[[2]int32{int32(i), int32((i + 1) % len(verts))}] != 1 {
				t.Errorf("%s: edge %d is lost", name, i)
			}
		}
		if len(fs) != len(flat)-2 || len(rim) != len(flat) || math.Abs(area-want) > 1e-9*want {
			t.Errorf("%s: %d triangles, %d edges, area %v; want %d, %d, %v", name, len(fs), len(rim), area, len(flat)-2, len(flat), want)
		}
	}
}

// TestCutHopeless: polygons without a right answer still keep their edges, and
// take no longer than the work allows.
func TestCutHopeless(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	random := make([]Vec, 300)
	for i := range random {
		random[i] = Vec{rng.Float64(), rng.Float64(), rng.Float64()}
	}
	spiral := make([]Vec, 20_000)
	for i := range spiral {
		s, c := math.Sincos(float64(i) * .01)
		spiral[i] = Vec{float64(i) * c, float64(i) * s, 0}
	}
	for name, verts := range map[string][]Vec{
		"crossing itself": {{0, 0, 0}, {1, 1, 0}, {1, 0, 0}, {0, 1, 0}},
		"in a line":       {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}, {3, 0, 0}, {1.5, 0, 0}},
		"one point":       make([]Vec, 7),
		"random":          random,
		"spiral":          spiral,
	} {
		fs := cutOf(t, verts, 1_000_000)
		if rim := rimOf(fs); len(fs) != len(verts)-2 || len(rim) != len(verts) {
			t.Errorf("%s: %d triangles with %d edges of %d corners", name, len(fs), len(rim), len(verts))
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	c := cutter{verts: spiral, work: cutWork}
	poly := make([]int32, len(spiral))
	for i := range poly {
		poly[i] = int32(i)
	}
	if err := c.cut(ctx, poly); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
