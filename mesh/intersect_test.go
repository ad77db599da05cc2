package mesh

import (
	"math"
	"math/rand/v2"
	"slices"
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
	smooth, meet, apart := 0, 0, 0
	for i := range 300 {
		m := crumpled(r, 3+r.IntN(5), []float64{0, .5, 1, 2}[i%4], []float64{0, .25, 1, 1e-6}[i/4%4])
		if i%3 == 0 { // anywhere, in numbers that no single-precision one holds
			for v := range m.Verts {
				p := m.Verts[v]
				m.Verts[v] = Vec{p[0] + 0.3*p[1] + 100.1, p[1] - 0.3*p[0], p[2] + 0.1*p[0]}.Scale(1.0 / 3)
			}
			m = New(m.Verts, m.Facets)
		}
		if i%5 == 0 { // another shell through it
			n := int32(len(m.Verts))
			verts, facets := slices.Clone(m.Verts), slices.Clone(m.Facets)
			for v := range n {
				verts = append(verts, m.Verts[v].Scale(0.75))
			}
			for _, c := range m.Facets {
				facets = append(facets, [3]int32{c[0] + n, c[1] + n, c[2] + n})
			}
			m = New(verts, facets)
		}
		shell := m.Topology().Shell
		want, between, shells := 0, 0, map[int32]bool{}
		for f := range int32(len(m.Facets)) {
			if a, b, c := m.Corners(f); !hasArea(a, b, c) {
				continue
			}
			for g := f + 1; g < int32(len(m.Facets)); g++ {
				if facetsMeet(m, f, g) {
					want++
					if shell[f] != shell[g] {
						between++
						shells[shell[f]], shells[shell[g]] = true, true
					}
				}
			}
		}
		got, err := selfIntersections(t.Context(), m)
		if err != nil || got.count() != want || got.between.count != between || len(got.shells) != len(shells) || got.more {
			t.Fatalf("mesh %d: %d pairs meet, %d of them of %d shells, want %d, %d and %d", i, got.count(), got.between.count, len(got.shells), want, between, len(shells))
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
		meet, apart = meet+want, apart+between
	}
	if smooth < 1000 || meet < 1000 || apart < 1000 {
		t.Errorf("%d smooth corners and %d pairs that meet, %d of them of two shells, are too few to tell", smooth, meet, apart)
	}
}
