package mesh

import (
	"context"
	"slices"
)

// This file joins chambers that turn out to be no rooms.

// dissolve joins chambers that are no wider than their ways out to what lies
// beyond, and measures what is left, until all that is left are rooms. The
// first round goes by lower bounds of the ways out: what is no room by these,
// such as the cells of a lattice, is not worth measuring. Nor are all ways of a
// chamber, once one of them is wide enough.
func (v *vents) dissolve(ctx context.Context) error {
	left := -1
	for most := 1; ; most *= 2 {
		if n := v.left(); n != left {
			left, v.parts = n, v.roomParts()
		}
		if err := v.join(ctx); err != nil {
			return err
		}
		if more, err := v.measureWidest(ctx, most); err != nil || !more && v.left() == left {
			return err
		}
	}
}

// left counts the chambers that are still rooms.
func (v *vents) left() (n int) {
	for i := range v.chambers {
		if !v.chambers[i].gone {
			n++
		}
	}
	return n
}

// join joins chambers that are no rooms to what lies beyond the widest of their
// ways out, least room first. All ways between the two are gone then, and the
// others of the one are ways of the other, as wide as they were: that to it is no
// narrower. So what is left of a chamber's ways only gets narrower, and the
// chamber more of a room.
func (v *vents) join(ctx context.Context) error {
	into := newDisjoint(len(v.chambers)) // what chambers are parts of
	// The ways of each chamber, widest first; 2 i and 2 i + 1 are the i-th opening's.
	ways := newHeaps(2*len(v.openings), func(a, b int32) bool {
		x, y := v.openings[a/2].width, v.openings[b/2].width
		return x > y || x == y && a/2 < b/2
	})
	least := newHeaps(len(v.chambers), func(a, b int32) bool {
		x, y := &v.chambers[a], &v.chambers[b]
		s, t := x.ball*y.way, y.ball*x.way
		return s < t || s == t && a < b
	})
	first := slices.Repeat([]int32{-1}, len(v.chambers))
	for i := range v.openings {
		for k, r := range v.openings[i].rooms {
			first[r] = ways.meld(first[r], int32(2*i+k))
		}
	}
	next, joined := int32(-1), []int32(nil)
	consider := func(i int32) {
		if c := &v.chambers[i]; !c.gone && c.way > 0 && !v.isRoom(ctx, c) {
			next = least.meld(next, i)
		}
	}
	for i := 1; i < len(v.chambers); i++ {
		consider(int32(i))
	}
	for steps := 1; next >= 0; steps++ {
		if steps%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		room := next
		next = least.pop(next)
		c := &v.chambers[room]
		var o opening
		for ; first[room] >= 0; first[room] = ways.pop(first[room]) {
			o = v.openings[first[room]/2]
			o.rooms = [2]int32{into.root(o.rooms[0]), into.root(o.rooms[1])}
			if o.rooms[0] != o.rooms[1] {
				break
			}
		}
		way := o.width
		if first[room] < 0 {
			way = 0
		}
		if way != c.way { // it was joined to
			c.way = way
			consider(room)
			continue
		}
		beyond := o.beyond(room)
		c.gone, c.room, c.door = true, beyond, &o
		into[room] = beyond
		first[beyond] = ways.meld(first[beyond], first[room])
		joined = append(joined, room)
	}
	v.rehang(joined)
	return ctx.Err()
}

// rehang lets openings lead between the chambers that are left after some, in this
// order, were joined to others. A way ends where it was led on last.
func (v *vents) rehang(joined []int32) {
	last := make([]int, len(v.chambers)) // when what a chamber is part of was joined to another last
	root := make([]int32, len(v.chambers))
	for i := range root {
		root[i] = int32(i)
	}
	for i, room := range slices.Backward(joined) {
		into := v.chambers[room].room
		root[room], last[room] = root[into], max(last[into], i+1)
	}
	kept := v.openings[:0]
	for _, o := range v.openings {
		a, b := o.rooms[0], o.rooms[1]
		if root[a] == root[b] {
			continue
		}
		o.rooms = [2]int32{root[a], root[b]}
		if last[a] > 0 || last[b] > 0 {
			o.exact = false
		}
		if last[a] > last[b] {
			o.turn()
		}
		kept = append(kept, o)
	}
	clear(v.openings[len(kept):])
	v.openings = kept
	v.measureWays()
}

// turn lets an opening lead the other way.
func (o *opening) turn() {
	o.rooms[0], o.rooms[1] = o.rooms[1], o.rooms[0]
	o.ends[0], o.ends[1] = o.ends[1], o.ends[0]
	o.way = slices.Clone(o.way)
	slices.Reverse(o.way)
}

// follow appends the way through an opening that ends in the k-th of its rooms,
// with the ways through what was joined on either side.
func (v *vents) follow(way []wayPoint, o *opening, k int) []wayPoint {
	var before []int32
	for c := o.ends[1-k]; c != o.rooms[1-k]; c = v.chambers[c].room {
		before = append(before, c)
	}
	for _, c := range slices.Backward(before) {
		way = v.follow(way, v.chambers[c].door, v.chambers[c].door.end(c))
	}
	from := len(way)
	way = append(way, o.way...)
	if k == 0 {
		slices.Reverse(way[from:])
	}
	for c := o.ends[k]; c != o.rooms[k]; c = v.chambers[c].room {
		way = v.follow(way, v.chambers[c].door, 1-v.chambers[c].door.end(c))
	}
	return way
}

// end is which of an opening's rooms a chamber is.
func (o *opening) end(room int32) int {
	if o.rooms[0] == room {
		return 0
	}
	return 1
}

// final follows merged rooms to what they are part of.
func (v *vents) final(room int32) int32 {
	for v.chambers[room].gone && v.chambers[room].room != room {
		room = v.chambers[room].room
	}
	return room
}

// heaps are binary trees over numbers, none of which comes before the one above it
// (Sleator and Tarjan 1986, "Self-adjusting heaps"). A tree is its first number, -1
// if it has none.
type heaps struct {
	before func(a, b int32) bool
	kids   [][2]int32
}

func newHeaps(n int, before func(a, b int32) bool) heaps {
	return heaps{before, slices.Repeat([][2]int32{{-1, -1}}, n)}
}

// meld makes one tree of two.
func (h *heaps) meld(a, b int32) int32 {
	if a < 0 || b < 0 {
		return max(a, b)
	}
	if h.before(b, a) {
		a, b = b, a
	}
	k := &h.kids[a]
	k[0], k[1] = h.meld(k[1], b), k[0]
	return a
}

// pop takes the first number out of a tree.
func (h *heaps) pop(a int32) int32 {
	k := h.kids[a]
	h.kids[a] = [2]int32{-1, -1}
	return h.meld(k[0], k[1])
}
