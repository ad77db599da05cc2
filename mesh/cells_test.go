package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What is said sooner is what would be said later: of segments near and far, long
// and none, and such as lie just at the distance.
func TestSegmentWithin(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	vec := func(s float64) Vec { return Vec{s * r.NormFloat64(), s * r.NormFloat64(), s * r.NormFloat64()} }
	in := 0
	for i := range 200_000 {
		a := vec(10)
		b := a.Add(vec(math.Pow(10, float64(r.IntN(5)-3))))
		if i%50 == 0 {
			b = a
		}
		p := a.Add(b.Sub(a).Scale(2*r.Float64() - 0.5)).Add(vec(math.Pow(10, float64(r.IntN(5)-3))))
		gap := segmentGap(p, a, b)
		d := gap * []float64{1, 1 + 0x1p-50, 1 - 0x1p-50, 1 + 1e-7, 1 - 1e-7, 2 * r.Float64()}[i%6]
		got, want := segmentWithin(p, a, b, d), gap < d
		if got != want {
			t.Fatalf("%v from %v %v: %v at %v, within %v", p, a, b, got, gap, d)
		}
		if got {
			in++
		}
	}
	if in < 50_000 || in > 150_000 {
		t.Errorf("%d of 200000 within", in)
	}
}

// A normal that is said to turn less than an angle does.
func TestTurnsLess(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 9))
	less := 0
	for range 100_000 {
		turn, lean := math.Pow(10, -6*r.Float64()), 2*math.Pi*r.Float64()
		n := Vec{math.Sin(turn) * math.Cos(lean), math.Sin(turn) * math.Sin(lean), math.Cos(turn)}
		u := n.Cross(Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
		m := New([]Vec{{}, u, n.Cross(u).Add(u.Scale(r.Float64()))}, [][3]int32{{0, 1, 2}})
		cos := math.Cos(turn * (0.5 + r.Float64()))
		if m.turnsLess(0, Vec{0, 0, 1}, cos+1e-9) {
			if less++; m.Normal(0)[2] < cos {
				t.Fatalf("turned by %g, said to be less than %g", turn, math.Acos(cos))
			}
		}
	}
	if less < 20_000 {
		t.Errorf("only %d turn less", less)
	}
}

// A cell that is halved since a ray from it meets nothing is one that what covers
// it, all gathered, does not make even.
func TestUneven(t *testing.T) {
	m, err := Load(t.Context(), "../testdata/meshes/made/struts.stl", LoadOptions{Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	field, err := MeasureThickness(t.Context(), m, ThicknessParams{CapMM: 4, PatchMM: 0.4})
	if err != nil {
		t.Fatal(err)
	}
	g := field.settlers(t.Context()).make()
	told, even := 0, 0
	for id, nd := range field.nodes {
		c, s := g.leaf(int32(id))
		long := c.length()
		_, hit := g.ray(c.middle(), s.n)
		g.start(&s, long)
		g.walk(hit)
		uneven := g.uneven(&c, &s, long)
		if g.sole || g.best.at < 0 {
			continue
		}
		g.gather()
		v := g.viewAll()
		r, at := g.least(&s, &v, hit)
		if at < 0 {
			t.Fatalf("nothing stops a ball from node %d, where %v mm were walked to", id, g.best.d)
		}
		_, is := g.even(&s, &v, r.d, long)
		switch {
		case uneven && (is || long <= r.d || nd.kids <= 0):
			t.Fatalf("node %d of the length %v is %v mm thick, even: %v, with the halves %d", id, long, r.d, is, nd.kids)
		case uneven:
			told++
		case is:
			even++
		}
	}
	if told < 1000 || even < 1000 {
		t.Errorf("%d nodes are told to be uneven, %d are even", told, even)
	}
}
