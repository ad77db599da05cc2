package mesh

import (
	"context"
	"math"
	"slices"
)

// This file finds ways out that are too narrow for the grid. The wall of a room
// and the outside are one surface if a channel joins them, however thin it is:
// walking over the facets that no cell sees, from those of the room to those of
// another, leads through the channel.

// walkShut looks for ways out of the rooms that seem shut.
func (v *vents) walkShut(ctx context.Context) error {
	any := false
	for i, r := range v.r.list {
		any = any || r.shut && !v.chambers[i].gone
	}
	if !any {
		return nil
	}
	w := walk{v: v, sees: make([]int32, len(v.r.b.g.n.m.Facets)), room: make([]int32, len(v.r.b.g.n.m.Facets))}
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
	sees []int32 // by facet: a cell that sees its centre from outside, -1 none
	room []int32 // that cell's room, -1 none
}

// look finds a cell that sees a facet. Cells of rooms that were put aside see
// nothing.
func (w *walk) look(f int32) {
	g := w.v.r.b.g
	m := g.n.m
	w.sees[f], w.room[f] = -1, -1
	c := m.Centre(f)
	out := m.Normal(f).Scale(float64(g.n.weight(f)))
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
		best, w.sees[f], w.room[f] = d.Norm(), int32(cell), room
	}
}

// from walks breadth first from the facets of a room over unseen facets to
// facets of other rooms. What it crosses falls into pieces that share no
// vertex; each gives one way.
func (w *walk) from(ctx context.Context, room int32) error {
	m := w.v.r.b.g.n.m
	t := m.Topology()
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
		for k := range 3 {
			n := t.Neighbour(queue[i], k)
			if n < 0 || before[n] >= 0 {
				continue
			}
			before[n] = queue[i]
			if w.room[n] < 0 {
				queue = append(queue, n)
			} else {
				ends = append(ends, n)
			}
		}
	}
	find, owner := newDisjoint(len(w.room)), map[int32]int32{}
	for _, f := range slices.Concat(queue[inner:], ends) {
		for _, v := range m.Facets[f] {
			if g, ok := owner[v]; ok {
				find.join(f, g)
			}
			owner[v] = f
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

// add follows a walk back from a facet of another room.
func (w *walk) add(room, end int32, before []int32) {
	g := w.v.r.b.g
	f := end
	way := w.v.wayTo(w.sees[f])
	way = append(way, w.off(g.n.m.Centre(f), f, f))
	for ; before[f] != f; f = before[f] {
		way = append(way, w.edge(f, before[f]))
	}
	way = append(way, w.off(g.n.m.Centre(f), f, f))
	back := w.v.wayTo(w.sees[f])
	slices.Reverse(back)
	between := [2]int32{w.room[end], room}
	w.v.openings = append(w.v.openings, opening{rooms: between, ends: between, way: append(way, back...)})
}

// edge returns a point just off the middle of the edge between two facets.
func (w *walk) edge(f, g int32) wayPoint {
	m := w.v.r.b.g.n.m
	var mid Vec
	for _, a := range m.Facets[f] {
		for _, b := range m.Facets[g] {
			if a == b {
				mid = mid.Add(m.Verts[a].Scale(0.5))
			}
		}
	}
	return w.off(mid, f, g)
}

// off moves a point of two facets a little to their empty side.
func (w *walk) off(p Vec, f, g int32) wayPoint {
	n := w.v.r.b.g.n
	out := n.m.Normal(f).Scale(float64(n.weight(f))).Add(n.m.Normal(g).Scale(float64(n.weight(g))))
	d := 1e-3 * w.v.r.b.g.h
	return wayPoint{p.Add(out.Unit().Scale(d)), d}
}
