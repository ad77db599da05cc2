package mesh

import (
	"context"
	"math"
	"slices"
)

// This file finds ways out that are too narrow for the grid. The wall of a room
// and the outside are one surface if a channel joins them, however thin it is:
// walking over the facets that no cell sees, from those of the room to those of
// another, leads through the channel. Of bodies that touch or overlap the facets are
// the tiles of their skin: what lies in another body leads nowhere, and a hollow that
// two half shells close stays shut.

// walkShut looks for ways out of the rooms that seem shut.
func (v *vents) walkShut(ctx context.Context) error {
	any := false
	for i, r := range v.r.list {
		any = any || r.shut && !v.chambers[i].gone
	}
	if !any {
		return nil
	}
	skin, err := v.r.b.g.n.m.united(ctx)
	if err != nil {
		return err
	}
	w := walk{v: v, skin: skin, sees: make([]int32, skin.count()), room: make([]int32, skin.count())}
	if err := each(ctx, len(w.sees), 256, func(f int) { w.look(int32(f)) }); err != nil {
		return err
	}
	for i, r := range v.r.list {
		if r.shut && !v.chambers[i].gone {
			if err := w.from(ctx, int32(i)); err != nil {
				return err
			}
		}
	}
	return nil
}

type walk struct {
	v    *vents
	skin *skin
	sees []int32 // by tile: a cell that sees its centre from outside, -1 none
	room []int32 // that cell's room, -1 none
}

// look finds a cell that sees a tile. Cells of rooms that were put aside see
// nothing.
func (w *walk) look(tile int32) {
	g := w.v.r.b.g
	m, f := g.n.m, w.skin.face(tile)
	w.sees[tile], w.room[tile] = -1, -1
	c := w.skin.centre(tile)
	out := w.out(tile)
	base := c.Add(out.Scale(g.h / 2)).Sub(g.min).Scale(1 / g.h)
	best := math.Inf(1)
	for i := range 8 {
		cell := 0
		for k := range 3 {
			x := min(max(int(math.Floor(base[k]))+i>>k&1, 0), g.size[k]-1)
			cell += x * g.stride[k]
		}
		room := w.v.r.room(int32(cell))
		if room < 0 || room > 0 && w.v.chambers[room].gone {
			continue
		}
		p := g.at(int32(cell))
		d := c.Sub(p)
		if d.Dot(out) >= 0 || d.Norm() >= best {
			continue
		}
		if hit, ok := m.BVH().Ray(p, d, 0, 1-1e-6); ok && hit.Facet != f {
			continue
		}
		best, w.sees[tile], w.room[tile] = d.Norm(), int32(cell), room
	}
}

// out is the normal of a tile to its empty side.
func (w *walk) out(tile int32) Vec {
	return w.skin.normal(tile).Scale(float64(w.v.r.b.g.n.weight(w.skin.face(tile))))
}

// from walks breadth first from the tiles of a room over unseen ones to
// tiles of other rooms. What it crosses falls into pieces that share no
// vertex and no side; each gives one way.
func (w *walk) from(ctx context.Context, room int32) error {
	before := make([]int32, len(w.room))
	var queue, ends []int32
	for f, r := range w.room {
		before[f] = -1
		if r == room {
			before[f] = int32(f)
			queue = append(queue, int32(f))
		}
	}
	inner := len(queue)
	for i := 0; i < len(queue); i++ {
		for k := range w.skin.vertsOf(queue[i]) {
			for _, n := range w.skin.seamsOf(queue[i], k) {
				if before[n.tile] >= 0 {
					continue
				}
				before[n.tile] = queue[i]
				if w.room[n.tile] < 0 {
					queue = append(queue, n.tile)
				} else {
					ends = append(ends, n.tile)
				}
			}
		}
	}
	find, owner := newDisjoint(len(w.room)), map[int32]int32{}
	for _, f := range slices.Concat(queue[inner:], ends) {
		for k, v := range w.skin.vertsOf(f) {
			if g, ok := owner[v]; ok {
				find.join(f, g)
			}
			owner[v] = f
			for _, n := range w.skin.seamsOf(f, k) {
				if before[n.tile] >= 0 && w.room[n.tile] != room {
					find.join(f, n.tile)
				}
			}
		}
	}
	done := map[int32]bool{}
	for _, end := range ends {
		if piece := find.root(end); !done[piece] {
			done[piece] = true
			w.add(room, end, before)
		}
	}
	return ctx.Err()
}

// add follows a walk back from a tile of another room.
func (w *walk) add(room, end int32, before []int32) {
	f := end
	way := w.v.wayTo(w.sees[f])
	way = append(way, w.off(w.skin.centre(f), f, f))
	for ; before[f] != f; f = before[f] {
		way = append(way, w.edge(before[f], f))
	}
	way = append(way, w.off(w.skin.centre(f), f, f))
	back := w.v.wayTo(w.sees[f])
	slices.Reverse(back)
	between := [2]int32{w.room[end], room}
	w.v.openings = append(w.v.openings, opening{rooms: between, ends: between, way: append(way, back...)})
}

// edge returns a point just off the middle of what two tiles share of a side.
func (w *walk) edge(f, g int32) wayPoint {
	for k := range w.skin.vertsOf(f) {
		for _, x := range w.skin.seamsOf(f, k) {
			if x.tile == g {
				a, b := w.skin.ends(seam{tile: f, side: int32(k)})
				p, q := w.skin.m.Verts[a], w.skin.m.Verts[b]
				return w.off(p.Add(q.Sub(p).Unit().Scale((x.lo+x.hi)/2)), f, g)
			}
		}
	}
	panic("tiles are not side by side")
}

// off moves a point of two tiles a little to their empty side.
func (w *walk) off(p Vec, f, g int32) wayPoint {
	d := 1e-3 * w.v.r.b.g.h
	return wayPoint{p.Add(w.out(f).Add(w.out(g)).Unit().Scale(d)), d}
}
