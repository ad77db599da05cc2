package mesh

import (
	"math/rand/v2"
	"testing"
)

// Bits say as cells do how deep a grid is, and stop counting where they are told to.
func TestDeepestOfGrids(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 8))
	most := 0
	for range 1000 {
		g := randomGrid(rng)
		d, err := newDeepness(t.Context(), g)
		if err != nil {
			t.Fatal(err)
		}
		p := passages{g: g}
		for range 3 { // what one radius leaves behind must not show at the next
			r := rng.Float32() * 6
			if err := p.spread(t.Context(), r); err != nil {
				t.Fatal(err)
			}
			want := 1
			if len(p.order) > 0 {
				want = int(p.depth[p.order[len(p.order)-1]])
			}
			most = max(most, want)
			for _, limit := range []int{1, want - 1, want, want + 1, 99} {
				if limit < 1 {
					continue
				}
				got, err := d.deepest(t.Context(), r, limit)
				if err != nil || got != min(want, limit+1) {
					t.Fatalf("size %v, radius %g: %d deep up to %d, want %d, %v", g.size, r, got, limit, want, err)
				}
			}
		}
	}
	if most < 15 {
		t.Errorf("the deepest of the grids tried is %d deep", most)
	}
}

// Points laid along a line stay numbers and in order where points of it coincide.
func TestEvenlyOverPointsThatCoincide(t *testing.T) {
	a, b := Vec{1, 2, 3}, Vec{1, 2, 4}
	for _, line := range [][]Vec{{a, a}, {a, a, a, a}, {a, a, b, b}, {a, b, b, a, a}, {b, b, a}} {
		for _, pitch := range []float64{0.1, 1.0 / 3, 1, 5} {
			got := evenly(line, pitch)
			if got[0] != line[0] || got[len(got)-1] != line[len(line)-1] {
				t.Errorf("%v by %g ends at %v and %v", line, pitch, got[0], got[len(got)-1])
			}
			for i, p := range got {
				if !(p.Norm() < 10) || i > 0 && p.Sub(got[i-1]).Norm() > max(pitch, lineLength(line)/2)*(1+1e-9) {
					t.Errorf("%v by %g: %v", line, pitch, got)
				}
			}
		}
	}
}
