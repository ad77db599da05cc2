package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Of the facets that may stop a ball, none is missed.
func TestFacingBrute(t *testing.T) { facingBrute(t) }

func facingBrute(t *testing.T) {
	t.Helper()
	r := rand.New(rand.NewPCG(7, 9))
	random := func(s float64) Vec {
		return Vec{s * (r.Float64() - 0.5), s * (r.Float64() - 0.5), s * (r.Float64() - 0.5)}
	}
	m := &Mesh{}
	for range 2000 { // loose facets, of which most are small
		p, size := random(4), 0.05+r.Float64()*r.Float64()
		n := int32(len(m.Verts))
		m.Verts = append(m.Verts, p, p.Add(random(size)), p.Add(random(size)))
		m.Facets = append(m.Facets, [3]int32{n, n + 1, n + 2})
	}
	m = New(m.Verts, m.Facets)
	seen, needed := 0, 0
	for i := range 300 {
		a, b, c := m.Corners(int32(i))
		n := m.Normal(int32(i))
		side := float64(1 - 2*(i%2))
		s := newPatch(a, b, c, n.Scale(side))
		from := (&gauge{t: &ThicknessField{side: side}}).flatOf(&s)
		dist := 0.1 + r.Float64()
		got := map[int32]bool{}
		m.BVH().Facing(&from, from.reach(dist), dist, i%3 > 0, func(bl *block, i int) float64 { got[bl.facet[i]] = true; return dist })
		seen += len(got)
		for f := range int32(len(m.Facets)) {
			gn := m.Normal(f).Scale(side)
			if s.n.Dot(gn) >= -opposedCos {
				continue
			}
			a, b, c := m.Corners(f)
			v := s.newRival(f, a, b, c, gn)
			if _, ok := s.between(&v, 1e-7, dist); ok {
				if needed++; !got[f] {
					t.Fatalf("facet %d stops a ball from facet %d and is missed", f, i)
				}
			}
		}
	}
	if needed < 500 || seen > 4*needed {
		t.Errorf("%d facets seen for %d that stop a ball", seen, needed)
	}
}

// Where it is said that nothing faces several flats, nothing faces one of them.
func TestAnyFacing(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 5))
	random := func(s float64) Vec {
		return Vec{s * (r.Float64() - 0.5), s * (r.Float64() - 0.5), s * (r.Float64() - 0.5)}
	}
	m := &Mesh{}
	for range 600 {
		p, size := random(6), 0.05+0.3*r.Float64()
		n := int32(len(m.Verts))
		m.Verts = append(m.Verts, p, p.Add(random(size)), p.Add(random(size)))
		m.Facets = append(m.Facets, [3]int32{n, n + 1, n + 2})
	}
	m = New(m.Verts, m.Facets)
	faced, told := 0, 0
	for i := range 2000 {
		g := gauge{t: &ThicknessField{side: float64(1 - 2*(i%2))}}
		axis, spread, dist := random(1).Unit(), 0.4*r.Float64(), 0.2+0.4*r.Float64()
		mid := random(6)
		bundle, any := flat{in: axis, box: EmptyBox(), side: g.t.side}, false
		for range 4 {
			in := axis.Add(random(1).Cross(axis).Unit().Scale(math.Tan(spread * 0.999 * r.Float64()))).Unit()
			a := mid.Add(random(0.4))
			b, c := a.Add(in.Cross(random(0.3))), a.Add(in.Cross(random(0.3)))
			s := newPatch(a, b, c, in.Scale(-1))
			f := g.flatOf(&s)
			bundle.box = bundle.box.Grow(a).Grow(b).Grow(c)
			m.BVH().Facing(&f, f.reach(dist), dist, false, func(*block, int) float64 { any = true; return 0 })
		}
		got := m.BVH().AnyFacing(bundle, spread, dist)
		if any && !got {
			t.Fatalf("bundle %d is faced and that is missed", i)
		}
		if any {
			faced++
		}
		if got {
			told++
		}
	}
	if faced < 200 || told > 1500 { // loose facets all around: most bundles are near something
		t.Errorf("of 2000 bundles %d are faced, and %d said to be", faced, told)
	}
}

// The bound that leaves facets out is one: no ball is smaller.
func TestLeastBallIsABound(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	random := func() Vec { return Vec{r.Float64(), r.Float64(), r.Float64()} }
	inside, better := 0, 0
	for range 20000 {
		s := newPatch(Vec{r.Float64()}, Vec{1 + r.Float64()}, Vec{r.Float64(), r.Float64()}, Vec{0, 0, -1})
		a, b, c := random(), random(), random()
		n := b.Sub(a).Cross(c.Sub(a)).Unit()
		if n[2] < 0 {
			b, c, n = c, b, n.Scale(-1)
		}
		v, plane := s.newRival(0, a, b, c, Vec{}), s.newRival(0, a, b, c, n)
		own := s.extent()
		bound, _ := s.bound(&v, &own, 1e-9)
		key, floor := s.bound(&plane, &own, 1e-9)
		for range 4 { // points of both
			w := [2]float64{r.Float64(), r.Float64()}
			q := a.Add(b.Sub(a).Scale(w[0])).Add(c.Sub(a).Scale((1 - w[0]) * w[1]))
			k := r.IntN(3)
			p := s.world(spot{s.p[k][0], s.p[k][1], 0})
			d := q.Sub(p)
			ball := d.Dot(d) / q[2]
			if ball < bound*(1-1e-12) {
				t.Fatalf("a ball of %v is below the bound %v", ball, bound)
			}
			if d.Dot(n) > 0 { // p is on the facet's inner side
				if ball < floor*(1-1e-12) {
					t.Fatalf("a ball of %v is below the bound %v by the facet's plane", ball, floor)
				}
				if inside++; floor > key {
					better++
				}
			}
		}
	}
	if inside < 20000 || better < 1000 {
		t.Errorf("of %d balls %d bounds are better by the place on the plane", inside, better)
	}
}
