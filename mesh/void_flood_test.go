package mesh

import (
	"math/rand/v2"
	"testing"
)

// Cells come to the peaks that following each of them on its own leads to, and
// peaks are numbered in the order in which they are come to.
func TestBasinNumbers(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 11))
	leave := 0 // cells whose way leads through three slabs or more
	for i := range 300 {
		g := randomGrid(rng)
		b, err := newBasins(t.Context(), g)
		if err != nil {
			t.Fatal(err)
		}
		if err := b.number(t.Context()); err != nil {
			t.Fatal(err)
		}
		slab := max(1, g.size[2]/4) * g.stride[2]
		number := map[int]int32{}
		for cell := range g.clear {
			j, slabs := cell, map[int]bool{}
			for b.up[j] < upPeak {
				slabs[j/slab] = true
				j += b.steps[b.up[j]].offset
			}
			want := int32(-1)
			switch {
			case g.clear[j] == 0:
			case g.border(int32(j)):
				want = 0
			default:
				if number[j] == 0 {
					number[j] = int32(len(number) + 1)
				}
				want = number[j]
				if n := len(b.peaks); int(want) >= n || int(b.peaks[want]) != j {
					t.Fatalf("grid %d: basin %d of %v has not the peak %d", i, want, b.peaks, j)
				}
			}
			if b.of[cell] != want {
				t.Fatalf("grid %d of %v: cell %d is of basin %d, want %d", i, g.size, cell, b.of[cell], want)
			}
			if len(slabs) > 2 {
				leave++
			}
		}
		if len(b.peaks) != len(number)+1 {
			t.Fatalf("grid %d: %d basins, want %d", i, len(b.peaks), len(number)+1)
		}
	}
	if leave < 10 {
		t.Errorf("%d cells lead through several slabs: a test of nothing", leave)
	}
}
