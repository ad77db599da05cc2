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
