package mesh

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestFirstEqual compares the hash tables with a map, on points full of
// repetitions, zeros of both signs and neighbours in the last bit.
func TestFirstEqual(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, n := range []int{0, 1, 2, 100, 5000, 60_000} {
		pts := make([]Vec, n)
		single := make([][3]float32, n)
		for i := range pts {
			for k := range 3 {
				x := float32(rng.IntN(1+n/40) - n/80)
				switch rng.IntN(4) {
				case 0:
					x = math.Nextafter32(x, 1e9)
				case 1:
					x = float32(math.Copysign(0, float64(rng.IntN(2))-.5))
				}
				pts[i][k], single[i][k] = float64(x), x
			}
		}
		seen := map[Vec]int32{} // a map's keys compare like floats, so -0 is 0
		want := make([]int32, n)
		for i, p := range pts {
			if _, ok := seen[p]; !ok {
				seen[p] = int32(i)
			}
			want[i] = seen[p]
		}
		a, err := firstEqual(t.Context(), pts)
		b, err2 := firstEqual(t.Context(), single)
		if err != nil || err2 != nil || !slices.Equal(a, want) || !slices.Equal(b, want) {
			t.Errorf("%d points: %v %v, equal: %v %v", n, err, err2, slices.Equal(a, want), slices.Equal(b, want))
		}
	}
}

// TestBuildOrder: vertices come in the order in which they first appear, -0 is
// 0, collapsed facets are counted and dropped, unused vertices are dropped.
func TestBuildOrder(t *testing.T) {
	zero := float32(math.Copysign(0, -1))
	r := &raw{format: "STL binary", facets: 3, bodies: []body{{corners: [][3]float32{
		{1, 0, 0}, {0, 1, 0}, {zero, 0, 0},
		{0, 0, 0}, {0, 1, 0}, {0, 0, 1},
		{1, 0, 0}, {1, 0, 0}, {5, 5, 5},
	}}}}
	m, err := build(t.Context(), r, 2)
	if err != nil {
		t.Fatal(err)
	}
	if want := []Vec{{2, 0, 0}, {0, 2, 0}, {0, 0, 0}, {0, 0, 2}}; !slices.Equal(m.Verts, want) || math.Signbit(m.Verts[2][0]) {
		t.Errorf("vertices %v, want %v", m.Verts, want)
	}
	if want := [][3]int32{{0, 1, 2}, {2, 1, 3}}; !slices.Equal(m.Facets, want) || m.collapsed != 1 {
		t.Errorf("facets %v and %d collapsed, want %v and 1", m.Facets, m.collapsed, want)
	}
	r = &raw{format: "OBJ", facets: 1, bodies: []body{{verts: []Vec{{9, 9, 9}, {1, 0, 0}, {0, 1, 0}, {1, 0, 0}, {0, 0, 1}}, facets: [][3]int32{{3, 2, 4}}}}}
	if m, err = build(t.Context(), r, 1); err != nil || !slices.Equal(m.Verts, []Vec{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}) || m.Facets[0] != [3]int32{0, 1, 2} {
		t.Errorf("got %v %v, %v", m.Verts, m.Facets, err)
	}
}

// TestWeldRims: cracks of less than the tolerance close, slits and holes that
// are wider stay, and a sound mesh is not touched.
func TestWeldRims(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	whole := wavy(3000)
	diag := whole.Box().Diagonal()
	apart := func(size float64, skip int) *Mesh { // every corner of every facet moved by itself
		var vs []Vec
		var fs [][3]int32
		for f := range whole.Facets {
			if f < skip {
				continue
			}
			a, b, c := whole.Corners(int32(f))
			for _, p := range []Vec{a, b, c} {
				for k := range p {
					p[k] += size * (rng.Float64() - .5)
				}
				vs = append(vs, p)
			}
			i := int32(len(fs))
			fs = append(fs, [3]int32{3 * i, 3*i + 1, 3*i + 2})
		}
		m := New(vs, fs)
		m.Source.Facets = len(fs)
		return m
	}
	for _, c := range []struct {
		size float64
		skip int
		open int
	}{{0.3e-5, 0, 0}, {0.3e-5, 1, 3}, {4e-5, 0, -1}} {
		m := apart(c.size*diag, c.skip)
		w, err := weldRims(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		top := w.Topology()
		switch {
		case c.open >= 0 && (top.OpenEdges != c.open || len(w.Facets) != len(m.Facets) || len(w.Verts) != len(whole.Verts)):
			t.Errorf("corners moved by %v: %d open edges, %d vertices, want %d and %d", c.size, top.OpenEdges, len(w.Verts), c.open, len(whole.Verts))
		case c.open >= 0 && (math.Abs(w.Source.WeldTol-1e-5*diag) > 1e-9*diag || len(w.Source.Notes) != 1):
			t.Errorf("welded within %v, said %q", w.Source.WeldTol, w.Source.Notes)
		case c.open < 0 && top.OpenEdges < 1000:
			t.Errorf("corners moved by %v were joined: only %d edges are open", c.size, top.OpenEdges)
		}
	}
	if w, err := weldRims(t.Context(), whole); w != whole || err != nil {
		t.Error("a closed mesh was changed")
	}
	// A slit of three tolerances in an open sheet stays a slit.
	d := 3e-5 * math.Sqrt2
	slit := New([]Vec{{0, 0, 0}, {1, 0, 0}, {1, .5, 0}, {0, .5, 0}, {0, .5 + d, 0}, {1, .5 + d, 0}, {1, 1, 0}, {0, 1, 0}},
		[][3]int32{{0, 1, 2}, {0, 2, 3}, {4, 5, 6}, {4, 6, 7}})
	if w, err := weldRims(t.Context(), slit); w != slit || err != nil {
		t.Errorf("the slit was closed: %q", w.Source.Notes)
	}
}

// TestNearestEarlier compares with all pairs, points on cell borders included.
func TestNearestEarlier(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	for round := range 200 {
		tol := []float64{1, 0.1, 0x1p-20}[round%3]
		verts := make([]Vec, 120)
		list := make([]int32, len(verts))
		for i := range verts {
			list[i] = int32(i)
			for k := range 3 {
				verts[i][k] = tol * 8 * float64(rng.IntN(3)-1)
				if rng.IntN(2) == 0 {
					verts[i][k] += tol * (rng.Float64()*4 - 2)
				}
			}
		}
		got, err := nearestEarlier(t.Context(), verts, list, tol)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range verts {
			best, least := int32(i), tol
			for j := range int32(i) {
				if d := v.Sub(verts[j]).Norm(); got[j] == j && d < least {
					best, least = j, d
				}
			}
			if got[i] != best {
				t.Fatalf("round %d: vertex %d goes to %d, want %d", round, i, got[i], best)
			}
		}
	}
}
