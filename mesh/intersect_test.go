package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// crumpled is a net of n by n squares, each in two facets, whose corners lie on
// a grid: pushed about so that some facets fold over others, some lose their
// area, and some corners fall together. Cut open at random, with a few facets
// the other way round and a few across, and sometimes with a fan beside it.
func crumpled(r *rand.Rand, n int, push, height float64) *Mesh {
	var vs []Vec
	var fs [][3]int32
	for y := range n + 1 {
		for x := range n + 1 {
			v := Vec{float64(2 * x), float64(2 * y), 0}
			if r.IntN(6) == 0 {
				v[0] += float64(r.IntN(5)-2) * push
				v[1] += float64(r.IntN(5)-2) * push
			}
			v[2] = float64(r.IntN(3)) * height
			vs = append(vs, v)
		}
	}
	at := func(x, y int) int32 { return int32(y*(n+1) + x) }
	for y := range n {
		for x := range n {
			a, b, c, d := at(x, y), at(x+1, y), at(x+1, y+1), at(x, y+1)
			if r.IntN(2) == 0 {
				a, b, c, d = b, c, d, a
			}
			fs = append(fs, [3]int32{a, b, c}, [3]int32{a, c, d})
		}
	}
	for range r.IntN(4) {
		f := &fs[r.IntN(len(fs))]
		f[0], f[1] = f[1], f[0]
	}
	for range r.IntN(3) {
		fs[r.IntN(len(fs))][r.IntN(3)] = int32(r.IntN(len(vs)))
	}
	if r.IntN(2) == 0 { // a fan that goes around its corner twice
		k := int32(5 + 2*r.IntN(4))
		o := int32(len(vs))
		vs = append(vs, Vec{-3, -3, 0})
		for i := range k {
			sin, cos := math.Sincos(4 * math.Pi * float64(i) / float64(k))
			vs = append(vs, Vec{-3 + cos, -3 + sin, float64(r.IntN(3)) * height})
			fs = append(fs, [3]int32{o, o + 1 + i, o + 1 + (i+1)%k})
		}
	}
	r.Shuffle(len(fs), func(i, j int) { fs[i], fs[j] = fs[j], fs[i] })
	return New(vs, fs[r.IntN(4):])
}

// TestIntersectionsBrute: what the search, the lanes and smooth corners leave
// out never meets, by exact signs for every pair.
func TestIntersectionsBrute(t *testing.T) { bruteIntersections(t) }

func bruteIntersections(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	smooth, meet := 0, 0
	for i := range 300 {
		m := crumpled(r, 3+r.IntN(5), []float64{0, .5, 1, 2}[i%4], []float64{0, .25, 1, 1e-6}[i/4%4])
		if i%3 == 0 { // anywhere, in numbers that no single-precision one holds
			for v := range m.Verts {
				p := m.Verts[v]
				m.Verts[v] = Vec{p[0] + 0.3*p[1] + 100.1, p[1] - 0.3*p[0], p[2] + 0.1*p[0]}.Scale(1.0 / 3)
			}
			m = New(m.Verts, m.Facets)
		}
		want := 0
		for f := range int32(len(m.Facets)) {
			if a, b, c := m.Corners(f); !hasArea(a, b, c) {
				continue
			}
			for g := f + 1; g < int32(len(m.Facets)); g++ {
				if facetsMeet(m, f, g) {
					want++
				}
			}
		}
		if got, err := selfIntersections(t.Context(), m); err != nil || got.count != want || got.more {
			t.Fatalf("mesh %d: %d pairs meet, want %d", i, got.count, want)
		}
		corners, err := smoothCorners(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range corners {
			if s {
				smooth++
			}
		}
		meet += want
	}
	if smooth < 1000 || meet < 1000 {
		t.Errorf("%d smooth corners and %d pairs that meet are too few to tell", smooth, meet)
	}
}
