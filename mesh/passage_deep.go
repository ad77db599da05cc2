package mesh

import (
	"context"
	"encoding/binary"
	"math"
	"sync/atomic"
)

// This file tells how deep narrow places are at most, with a bit for each cell and
// 64 of them at a time: most parts have nothing deep, at most widths, and need no
// more.

// deepness holds sets of a grid's cells, as bits by their numbers.
type deepness struct {
	g     *grid
	links [3][]uint64 // cells that the surface does not part from the next along each axis
	unmet []uint64    // narrow ones that no way has led to yet
	front []uint64    // those that were met last, or where there is room
	next  []uint64
}

// deepnessChunk words of 64 cells are worked on at a time.
const deepnessChunk = 256

func newDeepness(ctx context.Context, g *grid) (*deepness, error) {
	d := &deepness{g: g}
	n := (len(g.cut) + 63) / 64
	for _, set := range []*[]uint64{&d.links[0], &d.links[1], &d.links[2], &d.unmet, &d.front, &d.next} {
		*set = make([]uint64, n)
	}
	return d, each(ctx, n, deepnessChunk, func(w int) {
		cut := g.cut[64*w : min(64*w+64, len(g.cut))]
		i := 0
		for ; i+8 <= len(cut); i += 8 {
			open := ^binary.LittleEndian.Uint64(cut[i:])
			for k := range d.links { // the lowest bits of eight bytes, side by side
				d.links[k][w] |= open >> k & 0x0101010101010101 * 0x0102040810204080 >> 56 << i
			}
		}
		for ; i < len(cut); i++ {
			for k := range d.links {
				d.links[k][w] |= uint64(^cut[i]>>k&1) << i
			}
		}
	})
}

// deepest returns the greatest depth, as in passages.depth, where a ball of r cells
// has no room, or most+1 where it is greater than most.
func (d *deepness) deepest(ctx context.Context, r float32, most int) (int, error) {
	g, least := d.g, math.Float32bits(r)
	err := each(ctx, len(d.front), deepnessChunk, func(w int) {
		var empty, room uint64
		for i, c := range g.clear[64*w : min(64*w+64, len(g.clear))] {
			b := math.Float32bits(c) // in order as the numbers are, none of which is negative
			room |= uint64((least-1-b)>>31) << i
			empty |= uint64(-b>>31) << i
		}
		d.unmet[w], d.front[w] = empty&^room, room
	})
	if err != nil {
		return 0, err
	}
	g.eachBorder(func(i int32) {
		setBit(d.front, i)
		d.unmet[i>>6] &^= 1 << (i & 63)
	})
	for depth := 1; depth <= most; depth++ {
		var met atomic.Bool
		err := parallel(ctx, len(d.next), deepnessChunk, func(from, to int) error {
			any := uint64(0)
			for w := from; w < to; w++ {
				d.next[w] = 0
				if d.unmet[w] == 0 {
					continue
				}
				d.next[w] = d.step(w)
				any |= d.next[w]
			}
			if any != 0 {
				met.Store(true)
			}
			return ctx.Err()
		})
		if err != nil {
			return 0, err
		}
		if !met.Load() {
			return depth, nil
		}
		for w, b := range d.next {
			d.unmet[w] &^= b
		}
		d.front, d.next = d.next, d.front
	}
	return most + 1, nil
}

// step returns the unmet cells of a word that a step along an axis leads to from the
// front. No cell of the border is one, so that steps from the end of a row to the
// beginning of the next meet none.
func (d *deepness) step(w int) uint64 {
	var met uint64
	for k, s := range d.g.stride {
		up := func(w int) uint64 { // of the cells of a word that a step up leads from
			if w < 0 {
				return 0
			}
			return d.front[w] & d.links[k][w]
		}
		whole, part := s/64, s%64
		met |= up(w-whole)<<part | up(w-whole-1)>>(64-part)
		down := d.at(w+whole)>>part | d.at(w+whole+1)<<(64-part)
		met |= down & d.links[k][w]
	}
	return met & d.unmet[w]
}

// at returns a word of the front, 0 beyond the last.
func (d *deepness) at(w int) uint64 {
	if w >= len(d.front) {
		return 0
	}
	return d.front[w]
}
