package mesh

import (
	"cmp"
	"context"
	"math/bits"
	"slices"
)

// room is a part of empty space that is wider than every way out of it.
type room struct {
	basin int32 // the basin of its widest place
	peak  int32 // that place's cell
	shut  bool  // no way out was seen on the grid
}

// roomRatio is how much wider than its widest way out a place has to be to
// count as a room. Where channels meet or bend there is more width than in the
// channels (1.17 times at a mitred corner of square ducts); those are told from
// rooms by roomExtent.
const roomRatio = 1.1

// roomStep is the least difference in cells between the clearance of a room
// and of its way out: a grid places the middle of a channel no better.
const roomStep = 0.6

// standsOut reports whether a clearance makes a room beside a way as wide as
// another, both in cells.
func standsOut(room, way float32) bool { return room >= roomRatio*way && room >= way+roomStep }

// rooms is the merge tree of the basins, pruned to rooms. Room 0 is the outside.
type rooms struct {
	b    *basins
	list []room
	// of is the room of each basin.
	of []int32
	// toward is the link that leads from each basin on towards its room's
	// widest place (or the outside), within the room; to < 0 at that place.
	toward []gridLink
}

// newRooms joins basins by their links, widest first (the maximum spanning
// tree holds a widest path between any two places, Hu 1961, "The Maximum
// Capacity Route Problem"). Where two pieces meet, the one with the lower peak
// becomes a room if it stands out, and otherwise part of what lies across the
// link.
func newRooms(ctx context.Context, b *basins, links []gridLink) (*rooms, error) {
	n := len(b.peaks)
	r := &rooms{b: b, list: []room{{peak: -1}}, of: make([]int32, n), toward: make([]gridLink, n)}
	find := newDisjoint(n)
	top := make([]int32, n)    // by root: the basin with the highest peak of the piece
	joined := make([]int32, n) // of a pruned piece's top: the basin across the link; -1 none
	for i := range n {
		top[i], joined[i] = int32(i), -1
		r.of[i] = -1
	}
	r.of[0] = 0
	tree := make([]gridLink, 0, n)
	keep := func(top int32, shut bool) {
		r.of[top] = int32(len(r.list))
		r.list = append(r.list, room{basin: top, peak: b.peaks[top], shut: shut})
	}
	for i, l := range links {
		if i%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		x, y := find.root(b.of[l.from]), find.root(b.of[l.to])
		if x == y {
			continue
		}
		tree = append(tree, l)
		high, low, across := top[x], top[y], b.of[l.from]
		if b.higher(low, high) {
			high, low, across = low, high, b.of[l.to]
		}
		if standsOut(b.g.clear[b.peaks[low]], l.clear) {
			keep(low, false)
		} else {
			joined[low] = across
		}
		top[find.join(x, y)] = high
	}
	for i := range int32(n) {
		if i == find.root(i) && top[i] != 0 {
			keep(top[i], true)
		}
	}
	for i := range r.of {
		r.resolve(int32(i), joined)
	}
	r.lead(tree)
	return r, ctx.Err()
}

// higher orders basins by their peaks, the outside above all.
func (b *basins) higher(x, y int32) bool {
	if x == 0 || y == 0 {
		return x == 0
	}
	cx, cy := b.g.clear[b.peaks[x]], b.g.clear[b.peaks[y]]
	return cx > cy || cx == cy && x < y
}

// resolve follows pruned basins to the room that they are part of.
func (r *rooms) resolve(i int32, joined []int32) {
	j := i
	for r.of[j] < 0 {
		j = joined[j]
	}
	for room := r.of[j]; r.of[i] < 0; i = joined[i] {
		r.of[i] = room
	}
}

// lead walks the tree out from each room's widest place.
func (r *rooms) lead(tree []gridLink) {
	next := make([][]gridLink, len(r.of))
	for _, l := range tree {
		x, y := r.b.of[l.from], r.b.of[l.to]
		if r.of[x] == r.of[y] {
			next[x] = append(next[x], gridLink{l.clear, l.to, l.from})
			next[y] = append(next[y], l)
		}
	}
	for i := range r.toward {
		r.toward[i].to = -1
	}
	var stack []int32
	for i := range r.list {
		stack = append(stack, r.list[i].basin)
	}
	seen := make([]bool, len(r.of))
	for len(stack) > 0 {
		x := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		seen[x] = true
		for _, l := range next[x] { // l runs from a neighbour into x
			if y := r.b.of[l.from]; !seen[y] {
				r.toward[y] = l
				stack = append(stack, y)
			}
		}
	}
}

// room returns the room of a cell, -1 in material.
func (r *rooms) room(cell int32) int32 {
	if b := r.b.of[cell]; b >= 0 {
		return r.of[b]
	}
	return -1
}

// way returns the cells from a cell to its room's widest place, or out to the
// border.
func (r *rooms) way(cell int32) []int32 {
	var out []int32
	for {
		rise := r.rise(cell)
		l := r.toward[r.b.of[cell]]
		if l.to < 0 {
			return append(out, rise...)
		}
		// Up from where we came in and down to where we leave: what both have
		// in common is a detour.
		down := r.rise(l.from)
		for len(rise) > 1 && len(down) > 1 && rise[len(rise)-2] == down[len(down)-2] {
			rise, down = rise[:len(rise)-1], down[:len(down)-1]
		}
		out = append(out, rise...)
		for i := len(down) - 2; i >= 0; i-- {
			out = append(out, down[i])
		}
		cell = l.to
	}
}

// rise returns the cells from a cell up to its peak or the border.
func (r *rooms) rise(cell int32) []int32 {
	out := []int32{cell}
	for r.b.up[cell] < upPeak {
		cell += int32(r.b.steps[r.b.up[cell]].offset)
		out = append(out, cell)
	}
	return out
}

// throat is where two rooms touch.
type throat struct {
	rooms [2]int32 // larger number first
	at    gridLink // the widest link, from a cell of the first room
	cells int
}

// throats returns the connected patches in which rooms touch one another or
// the outside.
func (r *rooms) throats(ctx context.Context) ([]throat, error) {
	type touch struct {
		room, other int32
		at          gridLink
	}
	g, b := r.b.g, r.b
	slabs := make([][]touch, len(b.edge))
	var room spares[[]touch]
	room.make = func() []touch { return nil }
	err := parallel(ctx, len(b.edge), 1, func(slab, _ int) error {
		found := room.get()[:0]
		for _, cell := range b.edge[slab] {
			i, me := int(cell), r.room(cell)
			if me <= 0 {
				continue
			}
			mine := len(found)
			for m := b.apart(i); m != 0; m &= m - 1 {
				t := &b.steps[bits.TrailingZeros32(m)]
				other := r.room(int32(i + t.offset))
				if other < 0 || other >= me {
					continue
				}
				l := gridLink{min(g.clear[i], g.clear[i+t.offset]), int32(i), int32(i + t.offset)}
				j := mine
				for j < len(found) && found[j].other != other {
					j++
				}
				switch {
				case j < len(found) && wider(l, found[j].at) >= 0 || !g.free(i, t):
				case j < len(found):
					found[j].at = l
				default:
					found = append(found, touch{me, other, l})
				}
			}
		}
		slabs[slab] = slices.Clone(found)
		room.put(found)
		return nil
	})
	if err != nil {
		return nil, err
	}
	all := slices.Concat(slabs...) // by cell
	find := newDisjoint(len(all))
	for s := range b.steps[:len(b.steps)/2] { // each pair of cells once
		t := &b.steps[s]
		j := 0
		for i := range all {
			f := &all[i]
			to := f.at.from + int32(t.offset)
			for all[j].at.from < to {
				j++
			}
			for k := j; all[k].at.from == to; k++ {
				if all[k].other == f.other && all[k].room == f.room && find.root(int32(i)) != find.root(int32(k)) && g.free(int(f.at.from), t) {
					find.join(int32(i), int32(k))
				}
			}
		}
	}
	patch := map[int32]int{}
	var out []throat
	for i, f := range all {
		root := find.root(int32(i))
		p, ok := patch[root]
		if !ok {
			p = len(out)
			patch[root] = p
			out = append(out, throat{rooms: [2]int32{f.room, f.other}, at: f.at})
		}
		out[p].cells++
		if wider(f.at, out[p].at) < 0 {
			out[p].at = f.at
		}
	}
	slices.SortFunc(out, func(a, b throat) int {
		return cmp.Or(cmp.Compare(a.rooms[0], b.rooms[0]), cmp.Compare(a.rooms[1], b.rooms[1]), wider(a.at, b.at))
	})
	return out, ctx.Err()
}

// disjoint is a disjoint-set forest.
type disjoint []int32

func newDisjoint(n int) disjoint {
	u := make(disjoint, n)
	for i := range u {
		u[i] = int32(i)
	}
	return u
}

func (u disjoint) root(i int32) int32 {
	for u[i] != i {
		u[i] = u[u[i]]
		i = u[i]
	}
	return i
}

// join joins two sets under the lower of their roots, which it returns.
func (u disjoint) join(a, b int32) int32 {
	a, b = u.root(a), u.root(b)
	if a > b {
		a, b = b, a
	}
	u[b] = a
	return a
}
