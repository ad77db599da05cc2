package mesh

import (
	"cmp"
	"context"
	"math"
	"math/bits"
	"slices"
	"sync"
)

// This file defines the rooms of empty space: the basins that its cells climb
// to, and how basins join, widest link first, into rooms that are wider than
// every way out of them.

// gridStep is one of the 26 ways to a neighbouring cell.
type gridStep struct {
	d        [3]int
	offset   int
	length   float32
	straight int    // how many straight steps it takes
	axes     [3]int // along these
}

func (g *grid) steps() []gridStep {
	var out []gridStep
	for z := -1; z <= 1; z++ {
		for y := -1; y <= 1; y++ {
			for x := -1; x <= 1; x++ {
				s := gridStep{d: [3]int{x, y, z}, offset: x*g.stride[0] + y*g.stride[1] + z*g.stride[2]}
				for k, d := range s.d {
					if d != 0 {
						s.axes[s.straight] = k
						s.straight++
					}
				}
				if s.straight > 0 {
					s.length = float32(math.Sqrt(float64(s.straight)))
					out = append(out, s)
				}
			}
		}
	}
	return out // step i and step 25-i are opposite
}

// free reports whether a ball of no size gets from cell a along s to the
// neighbour. Straight steps know it from the cuts. Slanting ones are free where
// the two clearances cover them, or round a corner where both straight steps are.
func (g *grid) free(a int, s *gridStep) bool {
	b := a + s.offset
	ca, cb := g.clear[a], g.clear[b]
	if ca == 0 || cb == 0 {
		return false
	}
	if ca+cb > s.length+1 { // clearances may be too large by half a cell near the surface
		return true
	}
	switch k, l := s.axes[0], s.axes[1]; s.straight {
	case 1:
		return g.open(a, k, s.d[k])
	case 2:
		return g.around(a, k, s.d[k], l, s.d[l]) || g.around(a, l, s.d[l], k, s.d[k])
	}
	return false
}

// open reports whether no surface parts a cell from its neighbour along an axis.
func (g *grid) open(a, k, d int) bool {
	if d < 0 {
		a -= g.stride[k]
	}
	return g.cut[a]&(1<<k) == 0
}

func (g *grid) around(a, k1, d1, k2, d2 int) bool {
	mid := a + d1*g.stride[k1]
	return g.clear[mid] > 0 && g.open(a, k1, d1) && g.open(mid, k2, d2)
}

// basins says where each empty cell comes to by climbing to ever larger
// clearance.
type basins struct {
	g     *grid
	steps []gridStep
	up    []uint8   // the step to climb, or one of the marks below
	tops  []int32   // the cells inside the grid that have none, in order
	of    []int32   // basin of each cell, -1 in material
	peaks []int32   // the highest cell of each basin; basin 0 is the outside and has none
	edge  [][]int32 // in order, the cells that steps lead from to another basin, but for the outside's; links lists them
}

const (
	upPeak    = 100
	upOutside = 101 // a cell of the border, from where nothing is in the way
	upSolid   = 102
)

// newBasins finds the steps that cells climb, and tops; number finds the rest.
func newBasins(ctx context.Context, g *grid) (*basins, error) {
	b := &basins{g: g, steps: g.steps(), up: make([]uint8, len(g.clear))}
	layers := make([][]int32, g.size[2])
	err := each(ctx, g.size[2], 1, func(z int) { layers[z] = b.climbLayer(z) })
	b.tops = slices.Concat(layers...)
	return b, err
}

// climbLayer finds the step of each cell of a layer, and lists those that have none.
func (b *basins) climbLayer(z int) (tops []int32) {
	g := b.g
	for y := range g.size[1] {
		border := z == 0 || z == g.size[2]-1 || y == 0 || y == g.size[1]-1
		row := z*g.stride[2] + y*g.stride[1]
		picked := !border && steepest(g.clear, b.steps, row+1, b.up[row+1:row+g.size[0]-1])
		for x := range g.size[0] {
			switch i := row + x; {
			case g.clear[i] == 0:
				b.up[i] = upSolid
			case border || x == 0 || x == g.size[0]-1:
				b.up[i] = upOutside
			default:
				if !picked || g.clear[i] <= upWide && b.up[i] < upPeak && !g.free(i, &b.steps[b.up[i]]) {
					b.up[i] = b.climb(i)
				}
				if b.up[i] == upPeak {
					tops = append(tops, int32(i))
				}
			}
		}
	}
	return tops
}

// upWide is the clearance in cells of which no surface lies within a step.
const upWide = 2.5

// climb picks the free step that gains most clearance for its length. Of equal
// clearances the higher cell number counts as larger, so that flat places drain.
func (b *basins) climb(i int) uint8 {
	best, pick := float32(0), uint8(upPeak)
	c := b.g.clear[i]
	wide := c > upWide
	for s := range b.steps {
		t := &b.steps[s]
		n := b.g.clear[i+t.offset]
		// Steps are no shorter than 1, so what gains no more than the best is none.
		if n < c || n-c <= best && pick != upPeak || n == c && t.offset < 0 {
			continue
		}
		gain := (n - c) / t.length
		if (gain > best || pick == upPeak) && (wide || b.g.free(i, t)) {
			best, pick = gain, uint8(s)
		}
	}
	return pick
}

// unmet marks cells that were not followed yet.
const unmet = -2

// basinSlab is how many layers, at most, cells are followed in at a time.
const basinSlab = 8

// number follows every cell to its peak. Peaks are numbered in the order in which they
// are come to from the cells in theirs.
func (b *basins) number(ctx context.Context) error {
	g := b.g
	b.of, b.peaks = make([]int32, len(g.clear)), []int32{-1}
	layers := max(1, min(g.size[2]/4, basinSlab))
	slab := layers * g.stride[2]
	ends := make([][]int32, (g.size[2]+layers-1)/layers)
	err := parallel(ctx, len(b.of), slab, func(from, to int) (err error) {
		ends[from/slab], err = b.follow(ctx, from, to)
		return err
	})
	if err != nil {
		return err
	}
	var way []*int32 // what is known of one end, ^ its basin, is known of all of these
	for _, list := range ends {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		for k := range list {
			end := &list[k]
			for way = way[:0]; *end >= 0; {
				way = append(way, end)
				if next := &ends[int(*end)/slab][b.of[*end]]; next != end {
					end = next
					continue
				}
				b.peaks = append(b.peaks, *end)
				*end = ^int32(len(b.peaks) - 1)
			}
			for _, w := range way {
				*w = *end
			}
		}
	}
	return parallel(ctx, len(b.of), slab, func(from, to int) error {
		list, of := ends[from/slab], b.of[from:to]
		for i, end := range of {
			if end >= 0 {
				of[i] = ^list[end]
			}
		}
		return ctx.Err()
	})
}

// follow follows the cells of a slab to their peaks, or to where they leave it for
// another. Of each it notes in of which of the ends returned it comes to; the first
// of these is the outside, as ^0, the others are cells in the order in which they are
// come to.
func (b *basins) follow(ctx context.Context, from, to int) ([]int32, error) {
	var offset [upPeak]int
	for i := range b.steps {
		offset[i] = b.steps[i].offset
	}
	of, up := b.of[from:to], b.up[from:to]
	for i := range of {
		of[i] = unmet
	}
	ends := []int32{^0}
	var path []int
	for i := range of {
		if i&0xffff == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if of[i] != unmet {
			continue
		}
		end := int32(-1)
		path = path[:0]
		for j := i; ; {
			if uint(j) >= uint(len(of)) { // it leaves the slab
				end = int32(len(ends))
				ends = append(ends, int32(from+j))
				break
			}
			if of[j] != unmet {
				end = of[j]
				break
			}
			path = append(path, j)
			s := up[j]
			if s < upPeak {
				j += offset[s]
				continue
			}
			if s == upPeak {
				end = int32(len(ends))
				ends = append(ends, int32(from+j))
			} else if s == upOutside {
				end = 0
			}
			break
		}
		for _, p := range path {
			of[p] = end
		}
	}
	return ends, nil
}

// gridLink is a step between two basins.
type gridLink struct {
	clear    float32 // the smaller clearance of its two cells
	from, to int32   // cells
}

// wider orders links, widest first; ties by place.
func wider(a, b gridLink) int {
	switch {
	case a.clear > b.clear:
		return -1
	case a.clear < b.clear:
		return 1
	}
	return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to))
}

// widestLinks holds the widest link of each pair of basins that was met.
type widestLinks struct {
	number map[uint64]int32 // of a pair in list
	list   []gridLink
	pair   uint64 // the last one met: most cells meet the same as the one before
	at     int32
}

func newWidestLinks() *widestLinks { return &widestLinks{number: map[uint64]int32{}} }

// has reports whether a link changes nothing, as far as it is quick to tell.
func (w *widestLinks) has(pair uint64, l gridLink) bool {
	return pair == w.pair && len(w.list) > 0 && wider(l, w.list[w.at]) >= 0
}

func (w *widestLinks) add(pair uint64, l gridLink) {
	if pair != w.pair || len(w.list) == 0 {
		at, ok := w.number[pair]
		if !ok {
			at = int32(len(w.list))
			w.number[pair], w.list = at, append(w.list, l)
		}
		w.pair, w.at = pair, at
	}
	if wider(l, w.list[w.at]) < 0 {
		w.list[w.at] = l
	}
}

// links returns the widest link of each pair of basins that touch, widest first.
func (b *basins) links(ctx context.Context) ([]gridLink, error) {
	g := b.g
	var mu sync.Mutex
	all := newWidestLinks()
	const slab = 4
	b.edge = make([][]int32, (g.size[2]-2+slab-1)/slab)
	err := parallel(ctx, g.size[2]-2, slab, func(from, to int) error {
		mine := newWidestLinks()
		var edge []int32
		for z := from + 1; z < to+1; z++ {
			for y := 1; y < g.size[1]-1; y++ {
				row := z*g.stride[2] + y*g.stride[1]
				for i := row + 1; i < row+g.size[0]-1; i++ {
					if b.of[i] > 0 && b.linksOf(i, mine) {
						edge = append(edge, int32(i))
					}
				}
			}
		}
		b.edge[from/slab] = edge
		mu.Lock()
		defer mu.Unlock()
		for pair, at := range mine.number {
			all.add(pair, mine.list[at])
		}
		return nil
	})
	slices.SortFunc(all.list, wider)
	return all.list, err
}

// linksOf looks at the steps of a cell to other basins. Between two inner
// basins half of the steps will do; those to the outside are all looked at,
// since its cells don't look themselves. It reports whether there are any steps to
// other basins, free or not.
func (b *basins) linksOf(i int, best *widestLinks) (edge bool) {
	x := b.of[i]
	m := b.apart(i)
	edge = m != 0
	for ; m != 0; m &= m - 1 {
		s := bits.TrailingZeros32(m)
		t := &b.steps[s]
		y := b.of[i+t.offset]
		if y > 0 && s < len(b.steps)/2 {
			continue
		}
		pair := uint64(min(x, y))<<32 | uint64(max(x, y))
		l := gridLink{min(b.g.clear[i], b.g.clear[i+t.offset]), int32(i), int32(i + t.offset)}
		if !best.has(pair, l) && b.g.free(i, t) {
			best.add(pair, l)
		}
	}
	return edge
}

// apartGo is apart.
func (b *basins) apartGo(i int) (mask uint32) {
	x := b.of[i]
	for s := range b.steps {
		if y := b.of[i+b.steps[s].offset]; y >= 0 && y != x {
			mask |= 1 << s
		}
	}
	return mask
}
