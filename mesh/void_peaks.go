package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file tells grids that have no room from those that may have one, without
// following every cell to where it leads.

// roomless reports that newRooms would find no room on the grid but the outside
// and the inside of voids that a shell closes, which is known already.
//
// A room is kept for the highest cell of a piece of empty space that stands out
// over the widest way from there to a higher cell or the outside. So there is
// none if from every peak (a cell without a higher neighbour) a way leads to a
// higher cell, or to the border, over no cell that the peak stands out over. The
// ways are sought peak by peak, highest first. One that meets the cells seen
// from an earlier peak may end there: from these the way goes on, and what the
// earlier, higher peak does not stand out over, the later one does not either.
func (b *basins) roomless(ctx context.Context) (bool, error) {
	g := b.g
	if math.IsInf(float64(g.clear[0]), 1) { // there is no surface
		return true, nil
	}
	peaks := slices.Clone(b.tops)
	slices.SortFunc(peaks, func(a, b int32) int {
		return cmp.Or(cmp.Compare(g.clear[b], g.clear[a]), cmp.Compare(a, b))
	})
	n := (len(g.clear) + 63) / 64
	w := wayUp{g: g, steps: b.steps, seen: make([]uint64, n), good: make([]uint64, n)}
	for _, p := range peaks {
		if found, err := w.from(ctx, p); !found || err != nil {
			return false, err
		}
	}
	return true, nil
}

// border reports whether a cell belongs to the grid's outermost.
func (g *grid) border(i int32) bool {
	x, y, z := g.coords(i)
	return x == 0 || y == 0 || z == 0 || x == g.size[0]-1 || y == g.size[1]-1 || z == g.size[2]-1
}

// wayUp looks for ways from peaks to higher cells.
type wayUp struct {
	g          *grid
	steps      []gridStep
	seen, good []uint64 // bits by cell: met, and met by a search that found a way
	stack, met []int32
}

// from reports whether a way leads from a peak to a higher cell or the outside
// over no cell that it stands out over, or the peak is sealed in. The search goes on from the highest
// cell next to the one it is at.
func (w *wayUp) from(ctx context.Context, peak int32) (bool, error) {
	if bit(w.good, peak) {
		return true, nil
	}
	g := w.g
	p := g.clear[peak]
	setBit(w.seen, peak)
	w.stack, w.met = append(w.stack[:0], peak), append(w.met[:0], peak)
	for n := 0; len(w.stack) > 0; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return false, ctx.Err()
		}
		at := w.stack[len(w.stack)-1]
		w.stack = w.stack[:len(w.stack)-1]
		first := len(w.stack) // of this cell's neighbours, the highest last
		for s := range w.steps {
			to := at + int32(w.steps[s].offset)
			c := g.clear[to]
			if c == 0 || standsOut(p, c) || bit(w.seen, to) && !bit(w.good, to) || !g.free(int(at), &w.steps[s]) {
				continue
			}
			if c > p || bit(w.good, to) || g.border(to) {
				w.keep()
				return true, nil
			}
			setBit(w.seen, to)
			w.met = append(w.met, to)
			w.stack = append(w.stack, to)
			if last := len(w.stack) - 1; last > first && c < g.clear[w.stack[last-1]] {
				w.stack[last-1], w.stack[last] = to, w.stack[last-1]
			}
		}
	}
	if !g.n.sealed(g.at(peak)) {
		return false, nil
	}
	w.keep()
	return true, nil
}

func (w *wayUp) keep() {
	for _, i := range w.met {
		setBit(w.good, i)
	}
}

func bit(set []uint64, i int32) bool { return set[i>>6]>>(i&63)&1 != 0 }

func setBit(set []uint64, i int32) { set[i>>6] |= 1 << (i & 63) }
