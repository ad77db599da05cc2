package mesh

import (
	"context"
	"math"
	"slices"
	"sync"
)

// This file settles leaves: it leaves out of them what is no place to measure.
// That makes them only thicker, so it is done for those alone that may hold the
// least value or are thinner than a limit that regions are asked for.

// settleStep leaves are settled between two questions whether to stop.
const settleStep = 16

// leaf takes a leaf in hand.
func (g *gauge) leaf(id int32) (c plot, s patch) {
	t := g.t
	tile, c := t.tileOf(id), g.halver.plotOf(id)
	whole := t.skin.plot(tile)
	g.face, g.ahead, g.last = t.skin.face(tile), nodeAlone, nodeAlone
	g.own = whole.patch(t.skin.normal(tile).Scale(t.side))
	g.hidden = g.hidden[:0]
	return c, g.own.part(&c)
}

// settleLate settles a leaf that is not settled.
func (g *gauge) settleLate(id int32) node {
	c, s := g.leaf(id)
	nd := g.t.nodes[id]
	r, with := g.raw(&s, &nd)
	nd.with = with
	return g.settled(&c, &s, nil, nd, r)
}

// raw finds again what a leaf reads that is not settled: most often it takes no
// more than the facet on the other side.
func (g *gauge) raw(s *patch, nd *node) (span, int32) {
	g.start(s, 0)
	g.whole = min(g.cap, float64(nd.lo)*(1+1e-6))
	g.step(nd.with)
	v := g.viewAll()
	if r, with, _ := g.leastSeen(s, &v, nd.with); with == nd.with && float32(r.d) == nd.lo {
		return r, with
	}
	g.hidden = g.hidden[:0]
	v = g.look(s, 0, nd.with, nodeAlone)
	r, with, _ := g.leastSeen(s, &v, nd.with)
	return r, with
}

// settled settles a leaf that reads r, and sees v, or nil.
func (g *gauge) settled(c *plot, s *patch, v *view, nd node, r span) node {
	mid := float64(nd.mid)
	if math.IsNaN(mid) {
		mid, _ = g.ray(c.middle(), s.n)
	}
	r, with := g.settle(s, v, r, nd.with)
	return node{lo: float32(r.d), mid: max(float32(r.d), float32(mid)), with: with}
}

// settlers are gauges that settle leaves.
func (t *ThicknessField) settlers(ctx context.Context) *spares[*gauge] {
	return &spares[*gauge]{make: func() *gauge {
		g := t.gauge
		g.ctx, g.halver = ctx, &halver{t: t}
		return &g
	}}
}

// settleAll settles some leaves and calls done with each and its number in the
// list, from several goroutines at once. The error is the context's.
func (t *ThicknessField) settleAll(ctx context.Context, ids []int32, done func(i int, nd node)) error {
	gauges := t.settlers(ctx)
	return parallel(ctx, len(ids), settleStep, func(from, to int) error {
		g := gauges.get()
		defer gauges.put(g)
		for i := from; i < to; i++ {
			done(i, g.settleLate(ids[i]))
		}
		return ctx.Err()
	})
}

// minStep leaves that may be the thinnest are settled at once.
const minStep = 256

// findMin settles the leaves that may be the thinnest, from the least value on up to
// what is settled and thinner, and finds the place of the one that is.
func (t *ThicknessField) findMin(ctx context.Context) error {
	best, at := float32(t.Params.CapMM), int32(-1)
	before := func(i int32, lo float32) bool { return lo < best || lo == best && i < at }
	var next []int32
	settle := func() error {
		nodes := make([]node, len(next))
		if err := t.settleAll(ctx, next, func(i int, nd node) { nodes[i] = nd }); err != nil {
			return err
		}
		for i, id := range next {
			t.nodes[id] = nodes[i]
			if before(id, nodes[i].lo) {
				best, at = nodes[i].lo, id
			}
		}
		next = next[:0]
		return nil
	}
	first := int32(-1)
	for i, nd := range t.nodes {
		switch {
		case nd.kids == leafRaw && (first < 0 || nd.lo < t.nodes[first].lo):
			first = int32(i)
		case nd.kids == 0 && before(int32(i), nd.lo):
			best, at = nd.lo, int32(i)
		}
	}
	if first >= 0 && before(first, t.nodes[first].lo) {
		next = append(next, first)
		if err := settle(); err != nil { // most often few are as thin as this one
			return err
		}
	}
	var queue wayQueue
	for i, nd := range t.nodes {
		if nd.kids == leafRaw && before(int32(i), nd.lo) {
			queue.push(int32(i), float64(nd.lo))
		}
	}
	for len(queue.heap) > 0 && before(queue.heap[0].v, float32(queue.heap[0].d)) {
		for len(queue.heap) > 0 && len(next) < minStep {
			next = append(next, queue.pop())
		}
		if err := settle(); err != nil {
			return err
		}
	}
	t.Min = math.Inf(1)
	if at >= 0 {
		t.Min, t.MinAt = t.settlers(ctx).make().thinnest(at)
	}
	return ctx.Err()
}

// lateNodes are the nodes of a field with more of them settled than the field
// holds itself.
type lateNodes struct {
	mu    sync.Mutex // guards the others
	below float32    // all leaves that are thinner are settled
	nodes []node     // not written to any more
}

// settledBelow returns the nodes with all leaves settled that are thinner than lim.
// The error is the context's.
func (t *ThicknessField) settledBelow(ctx context.Context, lim float32) ([]node, error) {
	t.late.mu.Lock()
	below, nodes := t.late.below, t.late.nodes
	t.late.mu.Unlock()
	if nodes == nil {
		nodes = t.nodes
	}
	if lim <= below {
		return nodes, nil
	}
	var ids []int32
	for i, nd := range nodes {
		if nd.kids == leafRaw && nd.lo < lim {
			ids = append(ids, int32(i))
		}
	}
	if len(ids) > 0 {
		nodes = slices.Clone(nodes)
		if err := t.settleAll(ctx, ids, func(i int, nd node) { nodes[ids[i]] = nd }); err != nil {
			return nil, err
		}
	}
	t.late.mu.Lock()
	defer t.late.mu.Unlock()
	if lim > t.late.below {
		t.late.below, t.late.nodes = lim, nodes
	}
	return nodes, nil
}

// thinnest measures a leaf again, settled or not, and returns its least thickness
// and the place.
func (g *gauge) thinnest(id int32) (float64, Vec) {
	_, s := g.leaf(id)
	v := g.look(&s, 0, nodeAlone, nodeAlone)
	r, with, _ := g.leastSeen(&s, &v, nodeAlone)
	r, _ = g.settle(&s, &v, r, with)
	return r.d, g.own.world(spot{r.x[0], r.x[1], 0})
}

// settle leaves out of a patch what is no place to measure, as long
// as the thinnest span stands there. v is what the patch sees, or nil.
//
// One such place is explained by a feather edge: the patch is cut back to
// PatchMM from the edge.
//
// The other is beside an edge at which facets approximate a round, where the
// touching ball would break through the neighbour: a ball of radius r can't
// touch a facet nearer than r tan(b) to an edge that turns by 2 b away from it.
// There the facet's normal is off by up to b, which would make a rod of n sides
// tan(30 deg) pi/n too thin; what is left is off by the square of that. Since
// the diameter only grows by cutting, a cut takes no more than it may.
func (g *gauge) settle(s *patch, v *view, r span, with int32) (span, int32) {
	cut := *s
	feather := false
	for range settleRounds {
		if with < 0 {
			break
		}
		x := s.world(spot{r.x[0], r.x[1], 0})
		if i, foot, ok := g.wedges.explains(x, s.world(r.y), r.d, g.t.Params.PatchMM, g.touch); ok {
			g.cutBack(&cut, i, foot)
			feather = true
		} else if !g.cutRound(&cut, x, r) {
			break
		}
		if cut.k < 3 {
			r, with = span{d: g.cap}, nodeAlone
			break
		}
		g.hidden = g.hidden[:0]
		if v == nil {
			all := g.look(&cut, 0, with, nodeAlone)
			v = &all
		} else {
			g.bounds(&cut, v)
		}
		r, with, _ = g.leastSeen(&cut, v, with)
	}
	if with < 0 && feather {
		with = nodeFeather
	}
	return r, with
}

const (
	// roundCos is the cosine of the widest turn at an edge that approximates a
	// round: one of eight sides, with some room.
	roundCos = 0.64
	// roundGain is the share of a value by which it must be off, at least, for
	// a cut to be worth while.
	roundGain = 1e-3
	// roundReach is how far around, in diameters of the ball, a flat is looked at
	// for its edges. A ball breaks through a neighbour within 0.24 of an edge,
	// half the tangent of half the widest turn.
	roundReach = 0.5
	// flatsMost bounds the facets of a flat that are looked at, and sliversMost
	// those of them that have no side: where a mesh has some they are many.
	flatsMost   = 64
	sliversMost = 512
)

// cutRound cuts the patch back from the edges at which a ball as large as the
// span r would break through a neighbour, if it does at x. It reports whether
// that changed anything. The edges are those around the flat that the facet lies
// in: a strut's side is two triangles or more, of which one only touches the
// edge with a corner, or not at all.
func (g *gauge) cutRound(s *patch, x Vec, r span) bool {
	m, f := g.skin.whole, g.face
	lean := math.Hypot(r.y.u-r.x[0], r.y.v-r.x[1]) / r.y.h
	n := m.Normal(f)
	g.flatAround(f, x, r.d, lean)
	var mid Vec // of the flat, if it is asked for
	asked, wrong := len(g.flats) == 1, false
	cut := *s
	for _, e := range g.rims {
		a, b := m.Verts[m.Facets[e.h/3][e.h%3]], m.Verts[m.Facets[e.h/3][(e.h%3+1)%3]]
		apex := m.Verts[m.Facets[e.twin/3][(e.twin+2)%3]]
		if g.t.side*apex.Sub(a).Dot(n) >= 0 {
			continue // turns towards the medium's other side
		}
		in := n.Cross(b.Sub(a)).Unit() // from the edge into the flat
		back, here := e.tan*r.d/2, x.Sub(a).Dot(in)
		clear := e.h/3 != f && (here < -g.touch || segmentGap(x, a, b) > back)
		if !clear && len(g.flats) > 1 {
			// Flats that bulge past the middle of their round have no right place
			// for the ball, and their middle must do.
			if !asked {
				mid, asked = m.middle(g.flats), true
			}
			back = min(back, in.Dot(mid.Sub(a))*(1-1e-9))
			clear = e.h/3 != f && segmentGap(x, a, b) > back
		}
		if clear {
			continue // an edge further on, which x is clear of
		}
		wrong = wrong || max(0, here) < back*(1-1e-3)
		if len(g.flats) > 1 {
			cut.cut(in.Dot(s.ax), in.Dot(s.ay), -in.Dot(a.Sub(s.o))-back)
		} else {
			cut.cutFrom(s.local(a), in.Dot(s.ax), in.Dot(s.ay), back)
		}
	}
	if wrong {
		*s = cut
	}
	return wrong
}

// rim is an edge at which a flat turns away to approximate a round.
type rim struct {
	h, twin int32   // half-edge of the flat, and the neighbour's
	tan     float64 // of half the turn
}

// flatAround finds the facets that go on from f near x as flat as a ball of
// diameter d that leans so much can tell, and the edges around them.
func (g *gauge) flatAround(f int32, x Vec, d, lean float64) {
	m := g.skin.whole
	twins := m.Topology().Twin
	n := m.Normal(f)
	g.flats, g.rims = append(g.flats[:0], f), g.rims[:0]
	if g.inFlat == nil {
		g.inFlat = new(facetSet)
	}
	g.inFlat.clear()
	g.inFlat.add(f)
	if lean*math.Sqrt((1-roundCos)/(1+roundCos)) < roundGain {
		return // however an edge turns it matters little
	}
	q := (roundGain / lean) * (roundGain / lean) // of the tangent of half the turn that matters
	level := (1-q)/(1+q) + 1e-9
	slivers := 0
	for i := 0; i < len(g.flats); i++ {
		for k := range int32(3) {
			h := 3*g.flats[i] + k
			t := twins[h]
			if t < 0 || g.inFlat.has(t/3) {
				continue
			}
			side := g.sides[t/3]
			if side && !m.turnsLess(t/3, n, level) {
				turn := n.Dot(m.Normal(t / 3))
				if turn < roundCos {
					continue
				}
				if tan := math.Sqrt(max(0, 1-turn) / (1 + turn)); lean*tan >= roundGain {
					g.rims = append(g.rims, rim{h, t, tan})
					continue
				}
			}
			// A sliver turns nowhere: what lies beyond it counts.
			room := side && len(g.flats)-slivers < flatsMost || !side && slivers < sliversMost
			if a, b := m.Verts[m.Facets[h/3][k]], m.Verts[m.Facets[h/3][(k+1)%3]]; room && segmentWithin(x, a, b, roundReach*d) {
				g.flats = append(g.flats, t/3)
				g.inFlat.add(t / 3)
				if !side {
					slivers++
				}
			}
		}
	}
}

// facetSet holds the facets of a flat: far fewer than it has room for.
type facetSet struct {
	at  [2 << 10]struct{ f, turn int32 }
	now int32 // the turn: what is of another is gone
}

func (s *facetSet) clear() { s.now++ }

// find is the place of a facet, or that where it is to be put.
func (s *facetSet) find(f int32) int {
	i := int(uint32(f)*0x9e3779b1>>16) % len(s.at)
	for s.at[i].turn == s.now && s.at[i].f != f {
		i = (i + 1) % len(s.at)
	}
	return i
}

func (s *facetSet) has(f int32) bool { return s.at[s.find(f)].turn == s.now }

func (s *facetSet) add(f int32) {
	at := &s.at[s.find(f)]
	at.f, at.turn = f, s.now
}

// turnsLess reports whether the normal of a facet is within an angle, given by
// its cosine above 0, of n, which is sooner said than what it is: where rounding
// matters it may say that it is not.
func (m *Mesh) turnsLess(f int32, n Vec, cos float64) bool {
	x, y, z := m.cross(f)
	c := dot3(n[0], n[1], n[2], x, y, z)
	return c > 0 && c*c > cos*cos*dot3(x, y, z, x, y, z)
}

// middle is the centroid of some facets' area.
func (m *Mesh) middle(facets []int32) Vec {
	var sum Vec
	var area float64
	for _, f := range facets {
		a := m.Area(f)
		sum, area = sum.Add(m.Centre(f).Scale(a)), area+a
	}
	return sum.Scale(1 / area)
}

// segmentGap is the distance of p from the segment a b.
func segmentGap(p, a, b Vec) float64 { return p.Sub(nearestOnSegment(p, a, b)).Norm() }

// segmentWithin reports whether segmentGap is less than d, which most often is
// sooner said than how much it is.
func segmentWithin(p, a, b Vec, d float64) bool {
	px, py, pz := p[0]-a[0], p[1]-a[1], p[2]-a[2]
	qx, qy, qz := p[0]-b[0], p[1]-b[1], p[2]-b[2]
	ex, ey, ez := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	p2, q2 := dot3(px, py, pz, px, py, pz), dot3(qx, qy, qz, qx, qy, qz)
	along, e2 := dot3(px, py, pz, ex, ey, ez), dot3(ex, ey, ez, ex, ey, ez)
	const room = 1e-6 // far more than rounding
	in, out := d*d*(1-room), d*d*(1+room)
	switch {
	case p2 < in || q2 < in:
		return true
	case along <= 0 && p2 > out, along >= e2 && q2 > out, // past an end
		p2*e2-along*along > out*e2+1e-12*p2*e2: // beside the line
		return false
	}
	return segmentGap(p, a, b) < d
}

func nearestOnSegment(p, a, b Vec) Vec {
	e := b.Sub(a)
	t := 0.0
	if l := e.Dot(e); l > 0 {
		t = min(1, max(0, p.Sub(a).Dot(e)/l))
	}
	return a.Add(e.Scale(t))
}

// cutFrom takes off what is nearer than back to the line through o across the
// unit vector (u, v), but no more than half of what the patch measures that way:
// facets that bulge past the middle of their round have no right place for the
// ball, and the middle of what there is must do.
func (s *patch) cutFrom(o spot, u, v, back float64) {
	off := -(u*o.u + v*o.v)
	near, far := math.Inf(1), math.Inf(-1)
	for i := range s.k {
		d := u*s.p[i][0] + v*s.p[i][1] + off
		near, far = min(near, d), max(far, d)
	}
	if back > near {
		s.cut(u, v, off-min(back, (near+far)/2))
	}
}

// cutBack takes off what is nearer than PatchMM to a sharp feature, whose
// nearest point is foot.
func (g *gauge) cutBack(s *patch, i int32, foot Vec) {
	f := g.wedges.list[i]
	var mid [2]float64
	for i := range s.k {
		mid[0] += s.p[i][0] / float64(s.k)
		mid[1] += s.p[i][1] / float64(s.k)
	}
	o := s.local(foot)
	wu, wv := mid[0]-o.u, mid[1]-o.v
	if f.a != f.b {
		e := s.local(s.o.Add(g.wedges.mesh.Verts[f.b].Sub(g.wedges.mesh.Verts[f.a])))
		if l := e.u*e.u + e.v*e.v; l > 0 {
			t := (wu*e.u + wv*e.v) / l
			wu, wv = wu-t*e.u, wv-t*e.v
		}
	}
	l := math.Hypot(wu, wv)
	if l == 0 {
		s.k = 0
		return
	}
	wu, wv = wu/l, wv/l
	s.cut(wu, wv, -(wu*o.u+wv*o.v)-g.t.Params.PatchMM)
}
