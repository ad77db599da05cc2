package mesh

import (
	"context"
	"math/rand/v2"
	"testing"
)

// randomGrid has random clearances, smoothed a little so that ways are long,
// random cuts and some material.
func randomGrid(rng *rand.Rand) *grid {
	g := &grid{n: &nest{boxes: &BVH{}}, h: 1}
	cells := 1
	for k := range g.size {
		g.size[k] = 5 + rng.IntN([3]int{20, 6, 10}[k])
		g.stride[k] = cells
		cells *= g.size[k]
	}
	g.cut, g.clear = make([]uint8, cells), make([]float32, cells)
	solid, cut, scale := rng.Float64(), rng.Float64(), rng.Float32()*6
	for i := range cells {
		if g.border(int32(i)) || rng.Float64() > 0.6*solid {
			g.clear[i] = gridLeast + rng.Float32()*scale
		}
		for k := range 3 {
			if rng.Float64() < 0.5*cut {
				g.cut[i] |= 1 << k
			}
		}
	}
	for range rng.IntN(4) {
		for i := 1; i < cells; i++ {
			if g.clear[i] > 0 && g.clear[i-1] > 0 {
				g.clear[i] = (g.clear[i] + g.clear[i-1]) / 2
			}
		}
	}
	return g
}

// A grid is roomless where the merge tree of its basins keeps no room. Where
// clearances are equal it may say no although there is none, never the reverse.
func TestRoomlessGrids(t *testing.T) {
	ctx := context.Background()
	rng := rand.New(rand.NewPCG(3, 7))
	count := map[bool]int{}
	for i := range 3000 {
		g := randomGrid(rng)
		ties := i%3 == 0
		for j := range g.clear {
			if ties && g.clear[j] > 0 {
				g.clear[j] = float32(int(g.clear[j]*2))/2 + gridLeast
			}
		}
		b, err := newBasins(ctx, g)
		if err != nil {
			t.Fatal(err)
		}
		none, err := b.roomless(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if err := b.number(ctx); err != nil {
			t.Fatal(err)
		}
		links, err := b.links(ctx)
		if err != nil {
			t.Fatal(err)
		}
		r, err := newRooms(ctx, b, links)
		if err != nil {
			t.Fatal(err)
		}
		if want := len(r.list) == 1; none && !want || !ties && none != want {
			t.Fatalf("grid %d of %v: roomless %v, but %d rooms", i, g.size, none, len(r.list)-1)
		}
		count[none]++
	}
	if count[true] < 100 || count[false] < 100 {
		t.Errorf("a test of grids of one kind: %v", count)
	}
}
