package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A steady facet is as far from everywhere as its nearest point, needles and
// segments too.
func TestSteady(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	random := func(size float64) Vec {
		return Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}.Scale(size)
	}
	for i := range 20_000 {
		a := random(1)
		b := a.Add(random(1))
		c := a.Add(random(1))
		switch i % 8 {
		case 0: // needles of any width
			c = a.Add(b.Sub(a).Scale(rng.Float64())).Add(random(math.Pow10(-rng.IntN(18))))
		case 1:
			b = a.Add(random(math.Pow10(-rng.IntN(12))))
		case 2:
			c = b
		}
		s := newSteady(a, b, c)
		for range 20 {
			p := a.Add(random(math.Pow10(rng.IntN(4) - 2)))
			want := p.Sub(nearestOnFacet(p, a, b, c)).Norm()
			if got := s.dist(p[0], p[1], p[2]); !(got-want <= 1e-11*(1+want) && want-got <= 1e-11*(1+want)) {
				t.Fatalf("%v from %v %v %v: %v, want %v", p, a, b, c, got, want)
			}
		}
	}
}

// A facet of which two corners are the same, whichever they are, is the segment
// between it and the third.
func TestNearestOnSegmentFacets(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	random := func() Vec { return Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()} }
	for range 2_000 {
		a, b, p := random(), random(), random()
		want := p.Sub(nearestOnSegment(p, a, b)).Norm()
		for _, f := range [][3]Vec{{a, a, b}, {a, b, a}, {b, a, a}, {b, b, a}} {
			if got := p.Sub(nearestOnFacet(p, f[0], f[1], f[2])).Norm(); !(math.Abs(got-want) <= 1e-12) {
				t.Fatalf("%v is %v from %v, want %v", p, got, f, want)
			}
			if near, ok := New(f[:], [][3]int32{{0, 1, 2}}).BVH().Nearest(p, math.Inf(1), nil); !ok || !(math.Abs(near.Dist-want) <= 1e-12) {
				t.Fatalf("%v is %v from the mesh of %v, want %v", p, near.Dist, f, want)
			}
		}
	}
}
