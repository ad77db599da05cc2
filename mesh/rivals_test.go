package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The span between two facets is the thinnest of all: no pair of points of
// theirs makes a smaller ball, and the one that is told does make it.
func TestSpanIsTheThinnest(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	random := func() Vec { return Vec{r.Float64(), r.Float64(), r.Float64()} }
	const touch = 1e-7
	found := 0
	for range 3000 {
		n := random().Sub(random()).Unit()
		u := n.Cross(random()).Unit()
		o := random()
		s := newPatch(o, o.Add(u), o.Add(n.Cross(u).Scale(0.2+r.Float64())), n)
		a, b, c := random(), random(), random()
		if size := r.Float64(); size < 0.7 { // small and far, too
			b, c = a.Add(b.Sub(a).Scale(size)), a.Add(c.Sub(a).Scale(size))
		}
		gn := b.Sub(a).Cross(c.Sub(a)).Unit()
		if s.n.Dot(gn) > 0 {
			gn = gn.Scale(-1)
		}
		if r.IntN(5) == 0 {
			gn = Vec{} // a notch
		}
		v := s.newRival(0, a, b, c, gn)
		got, ok := s.between(&v, touch, 10)
		if ok {
			found++
			x, y := spot{got.x[0], got.x[1], 0}, got.y
			du, dv := y.u-x.u, y.v-x.v
			if d := y.h + (du*du+dv*dv)/y.h; math.Abs(d-got.d) > 1e-9*d {
				t.Fatalf("the span of %v is told where it is %v", got.d, d)
			}
			if off := s.world(y).Sub(nearestOnFacet(s.world(y), a, b, c)).Norm(); off > 1e-9 {
				t.Fatalf("the span ends %v off the facet", off)
			}
		} else {
			got.d = 10
		}
		for range 200 {
			w := [2]float64{math.Sqrt(r.Float64()), r.Float64()}
			y := a.Add(b.Sub(a).Scale(w[0])).Add(c.Sub(b).Scale(w[0] * w[1]))
			w = [2]float64{math.Sqrt(r.Float64()), r.Float64()}
			x := [2]float64{}
			for k := range x {
				p, q, z := s.p[0][k], s.p[1][k], s.p[2][k]
				x[k] = p + (q-p)*w[0] + (z-q)*w[0]*w[1]
			}
			at := s.local(y)
			du, dv := at.u-x[0], at.v-x[1]
			behind := gn != Vec{} && y.Sub(s.world(spot{x[0], x[1], 0})).Dot(gn) < 0
			if d := at.h + (du*du+dv*dv)/at.h; at.h > touch && !behind && d < got.d*(1-1e-9) {
				t.Fatalf("a ball of %v is smaller than the least %v", d, got.d)
			}
		}
	}
	if found < 1000 {
		t.Errorf("%d pairs with a span", found)
	}
}
