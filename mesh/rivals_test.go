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

// In whatever order rivals are tried, the same one stops the smallest ball at the
// same place, and it is the one that trying them alone tells: of those around a
// corner or an edge, which are equally good, that with the lowest number.
func TestOrderOfRivals(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	ties := 0
	for range 2000 {
		// A cap of six facets, bulging, level or hollow, around a corner below the patch.
		m := &Mesh{Verts: []Vec{{0.6 * r.Float64(), 0.6 * r.Float64(), 1}}}
		rise := 0.6*r.Float64() - 0.3
		if r.IntN(4) == 0 {
			rise = 0
		}
		for i := range 6 {
			sin, cos := math.Sincos(float64(i) * math.Pi / 3)
			m.Verts = append(m.Verts, m.Verts[0].Add(Vec{cos, sin, rise}.Scale(0.2+0.5*r.Float64())))
		}
		for i := range int32(6) {
			m.Facets = append(m.Facets, [3]int32{0, 1 + (i+1)%6, 1 + i})
			k := r.IntN(3)
			f := &m.Facets[i]
			f[0], f[1], f[2] = f[k], f[(k+1)%3], f[(k+2)%3]
		}
		r.Shuffle(6, func(i, j int) { m.Facets[i], m.Facets[j] = m.Facets[j], m.Facets[i] })
		m = New(m.Verts, m.Facets)
		s := newPatch(Vec{}, Vec{0, 1, 0}, Vec{1, 0, 0}, Vec{0, 0, -1})
		g := gauge{t: &ThicknessField{m: m}, touch: 1e-7}
		best, alone := math.Inf(1), [6]float64{}
		for f := range int32(6) {
			a, b, c := m.Corners(f)
			v := s.newRival(f, a, b, c, m.Normal(f).Scale(-1))
			g.rivals = append(g.rivals, v)
			alone[f] = math.Inf(1)
			if x, ok := s.between(&v, g.touch, 10); ok {
				alone[f] = x.d
			}
			best = min(best, alone[f])
		}
		want, equal := -1, 0
		for f := 5; f >= 0; f-- {
			if alone[f] <= best*(1+tieErr/2) {
				want, equal = f, equal+1
			}
		}
		if equal > 1 {
			ties++
		}
		var place [2]float64
		for n := range 8 {
			got := found{span{d: 10}, -1}
			for _, i := range r.Perm(6) {
				if bound := g.try(&got, &s, i); bound > alone[i]*(1+tieErr) && bound < got.d {
					t.Fatalf("a ball of %v is bounded by %v", alone[i], bound)
				}
			}
			if got.at != want || math.Abs(got.d-best) > 2*tieErr*best {
				t.Fatalf("facet %d stops a ball of %v, where facet %d stops one of %v: %v", got.at, got.d, want, best, alone)
			}
			if n > 0 && got.x != place {
				t.Fatalf("the ball touches at %v or at %v", got.x, place)
			}
			place = got.x
		}
	}
	if ties < 500 {
		t.Errorf("%d caps with facets that are equally good", ties)
	}
}
