package mesh

import (
	"cmp"
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
)

// This file measures the thickness of every facet and of the cells into which
// large facets are split.

// node is a facet or a cell of one.
type node struct {
	lo   float32 // least thickness, capped, without what feather edges explain
	mid  float32 // at the middle, or the mean, capped: how much of the node is thin
	with int32   // the facet on the other side, or a nodeAlone value
	// kids is 4*c+e for a node split at its edge e into the cells c and c+1;
	// 0 for a leaf.
	kids int32
}

// What node.with holds where no facet is near, and where a feather edge
// explains all that is.
const (
	nodeAlone   = -1
	nodeFeather = -2
)

// cell is a part of a facet: corners as weights of the facet's corners b and c.
// Halving keeps them exact.
type cell struct {
	facet int32
	at    [3][2]float32
}

var wholeFacet = [3][2]float32{{0, 0}, {1, 0}, {0, 1}}

func (t *ThicknessField) cellOf(id int32) cell {
	if n := int32(len(t.m.Facets)); id >= n {
		return t.cells[id-n]
	}
	return cell{id, wholeFacet}
}

func (c cell) corners(m *Mesh) (p [3]Vec) {
	a, b, d := m.Corners(c.facet)
	for i, w := range c.at {
		p[i] = a.Add(b.Sub(a).Scale(float64(w[0]))).Add(d.Sub(a).Scale(float64(w[1])))
	}
	return p
}

// halves splits a cell at the middle of its edge e: first the part with the
// edge's start. In both parts edge 0 is half of e.
func (c cell) halves(e int) (l, r cell) {
	a, b, d := c.at[e], c.at[(e+1)%3], c.at[(e+2)%3]
	m := [2]float32{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2}
	return cell{c.facet, [3][2]float32{a, m, d}}, cell{c.facet, [3][2]float32{m, b, d}}
}

const (
	// cellsMost bounds the cells of a mesh: cells are no smaller than its area
	// over this.
	cellsMost = 1 << 20
	// chunkFacets are measured by one goroutine between looks at the context.
	chunkFacets = 32
	// evenRatio is how much thickness may vary over a cell that is not split; a
	// cell no longer than the medium is thick there is not split either.
	evenRatio = 1.25
	// wedgeSlack is how much wider than surface can oppose, in radians, an edge
	// may be that explains what is thin beside it: rounding turns its flanks.
	wedgeSlack = 0.07
	// manyFacets on the other side of a cell are too many to be worth a look at
	// whether it is even. A needle is worth more, up to needleFacets: the halves
	// of one are needles, of which there are very many.
	manyFacets   = 64
	needleFacets = 1024
)

// rival is a facet that may be the nearest opposing one, with its box.
type rival struct {
	f   int32
	box Box
}

// boxGap2 is the square of the distance between two boxes, a lower bound for
// that of what they hold, and so for any span between it.
func boxGap2(a, b *Box) float64 {
	var s float64
	for k := range 3 {
		if d := max(a.Min[k]-b.Max[k], b.Min[k]-a.Max[k]); d > 0 {
			s += d * d
		}
	}
	return s
}

// box is the patch's box in mesh coordinates.
func (s *patch) box() Box {
	b := EmptyBox()
	for i := range s.k {
		b = b.Grow(s.world(spot{s.p[i][0], s.p[i][1], 0}))
	}
	return b
}

// gauge measures facets; each goroutine has its own.
type gauge struct {
	t       *ThicknessField
	bvh     *BVH
	wedges  *sharpTree // where the medium tapers to nothing
	notches *sharpTree // where surface points into the medium
	bodies  *bodies    // nil if no two bodies run into each other
	cellMM  float64
	touch   float64
	cap     float64

	ctx context.Context

	// Of the chunk in hand:
	nodes []node // cells only; ids count from 0 and are shifted at the end
	cells []cell
	pool  []rival // stack of what is near to the cells in hand
	// Of the patch in hand: facets set aside as hidden from it, whether the span
	// found last ends at a notch, and room for hits.
	hidden  []int32
	atNotch bool
	hits    []Hit
	flats   []int32 // see flatAround
	rims    []rim
}

func (t *ThicknessField) measure(ctx context.Context) error {
	m := t.m
	n := len(m.Facets)
	t.nodes = make([]node, n)
	t.FacetMM = make([]float32, n)
	shared := t.newGauge(ctx)
	t.gauge = shared
	t.gauge.ctx = context.Background()

	chunks := make([]gauge, (n+chunkFacets-1)/chunkFacets)
	var next atomic.Int32
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(chunks)) {
		wg.Go(func() {
			for ctx.Err() == nil {
				c := int(next.Add(1)) - 1
				if c >= len(chunks) {
					return
				}
				g := shared
				for f := c * chunkFacets; f < min(n, (c+1)*chunkFacets); f++ {
					g.facet(int32(f))
				}
				chunks[c].nodes, chunks[c].cells = g.nodes, g.cells
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	t.gather(chunks)
	return nil
}

// newGauge makes ready to measure.
func (t *ThicknessField) newGauge(ctx context.Context) gauge {
	m := t.m
	var area float64
	for f := range m.Facets {
		area += m.Area(int32(f))
	}
	var wedges, notches []sharpFeature
	least := math.Acos(opposedCos)
	for _, s := range findSharp(m, least+wedgeSlack) {
		if s.notch == (t.side < 0) || s.vague {
			wedges = append(wedges, s)
		}
		if s.notch != (t.side < 0) && !s.vague && s.angle < least {
			notches = append(notches, s)
		}
	}
	met, _ := newBodies(ctx, m, 4*t.Err) // points are looked at twice that off a surface at most; half is for rounding
	return gauge{t: t, bodies: met, bvh: m.BVH(), ctx: ctx,
		wedges: newSharpTree(m, wedges), notches: newSharpTree(m, notches),
		cellMM: max(t.Params.PatchMM/2, math.Sqrt(area/cellsMost)),
		touch:  t.Err, cap: t.Params.CapMM}
}

// gather appends the chunks' cells in order and shifts the ids that point to them.
func (t *ThicknessField) gather(chunks []gauge) {
	n := int32(len(t.m.Facets))
	for c := range chunks {
		shift := 4 * int32(len(t.nodes))
		own := t.nodes[c*chunkFacets : min(int(n), (c+1)*chunkFacets)]
		for _, list := range [][]node{own, chunks[c].nodes} {
			for i := range list {
				if list[i].kids != 0 {
					list[i].kids += shift - 4 // see gauge.split
				}
			}
		}
		t.nodes = append(t.nodes, chunks[c].nodes...)
		t.cells = append(t.cells, chunks[c].cells...)
	}
}

// facet measures one facet.
func (g *gauge) facet(f int32) {
	t, m := g.t, g.t.m
	t.nodes[f] = node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
	t.FacetMM[f] = float32(g.cap)
	a, b, c := m.Corners(f)
	n := m.Normal(f).Scale(t.side)
	if sliver(a, b, c, sureSide*g.touch) {
		return
	}
	long := max(b.Sub(a).Norm(), c.Sub(b).Norm(), a.Sub(c).Norm())
	s := newPatch(a, b, c, n)
	if long <= g.cellMM {
		t.nodes[f], t.FacetMM[f] = g.small(f, &s)
		return
	}
	near := g.candidates(&s)
	if len(near) == 0 && g.notches == nil {
		return
	}
	raw := g.cap
	t.nodes[f] = g.split(cell{f, wholeFacet}, n, near, nodeAlone, &raw)
	t.FacetMM[f] = float32(raw)
}

// small measures a facet that is not split.
func (g *gauge) small(f int32, s *patch) (node, float32) {
	mid, hit := g.ray(g.t.m.Centre(f), s.n)
	nd := node{mid: float32(mid)}
	r, with, _ := g.leastSeen(f, s, nil, hit)
	raw := r.d
	r, with = g.settle(f, s, nil, r, with)
	nd.lo, nd.with = float32(r.d), with
	nd.mid = max(nd.mid, nd.lo)
	return nd, float32(raw)
}

// ray returns the length of the ray into the medium to the first surface and
// its facet if that opposes, else the cap and nodeAlone.
func (g *gauge) ray(x, n Vec) (float64, int32) {
	h, ok := g.bvh.Ray(x, n.Scale(-1), g.touch, g.cap)
	if ok && g.t.side*n.Dot(g.t.m.Normal(h.Facet)) < -opposedCos {
		return h.T, h.Facet
	}
	return g.cap, nodeAlone
}

// reach is the box of all points that a ball of diameter d or less that touches
// the patch from inside can reach.
func (s *patch) reach(d float64) Box {
	b := EmptyBox()
	for i := range s.k {
		b = b.Grow(s.world(spot{s.p[i][0], s.p[i][1], d / 2}))
	}
	for k := range 3 {
		b.Min[k] -= d / 2
		b.Max[k] += d / 2
	}
	return b
}

// flat is the patch as the search tree takes it.
func (g *gauge) flat(s *patch) *flat {
	return &flat{s.box(), s.n.Scale(-1), -s.o.Dot(s.n), g.t.side}
}

// candidates returns the opposing facets near the patch, ascending.
func (g *gauge) candidates(s *patch) []rival {
	near := []rival{} // not nil: that would ask least to search for itself
	g.bvh.Facing(g.flat(s), s.reach(g.cap), g.cap, func(f int32) float64 {
		if g.t.side*s.n.Dot(g.t.m.Normal(f)) < -opposedCos {
			a, b, c := g.t.m.Corners(f)
			near = append(near, rival{f, EmptyBox().Grow(a).Grow(b).Grow(c)})
		}
		if len(near)%1024 == 1023 && g.ctx.Err() != nil {
			return 0
		}
		return g.cap
	})
	slices.SortFunc(near, func(a, b rival) int { return cmp.Compare(a.f, b.f) })
	return near
}

// least returns the thinnest span from the patch: among the facets near, or
// among all if near is nil. A good first guess (a facet, or nodeAlone) saves
// time.
func (g *gauge) least(s *patch, near []rival, guess int32) (span, int32) {
	best, with := span{d: g.cap}, int32(nodeAlone)
	g.atNotch = false
	m := g.t.m
	try := func(f int32) {
		n := m.Normal(f).Scale(g.t.side)
		if s.n.Dot(n) >= -opposedCos || g.isHidden(f) {
			return
		}
		a, b, c := m.Corners(f)
		if r, ok := s.between(a, b, c, n, g.touch, best.d); ok && !sliver(a, b, c, sureSide*g.touch) {
			best, with = r, f
		}
	}
	if guess >= 0 {
		try(guess)
	}
	if near == nil {
		g.bvh.Facing(g.flat(s), s.reach(best.d), best.d, func(f int32) float64 {
			try(f)
			return best.d
		})
	} else {
		own := s.box()
		for i := range near {
			if boxGap2(&own, &near[i].box) < best.d*best.d {
				try(near[i].f)
			}
		}
	}
	if g.notches != nil {
		g.notches.mesh.BVH().InBox(s.reach(best.d), func(i int32) bool {
			if f := g.notches.list[i]; g.points(f, s.n) {
				a, b, c := g.notches.mesh.Corners(i)
				if r, ok := s.between(a, b, c, Vec{}, g.touch, best.d); ok {
					best, with = r, f.f
					g.atNotch = true
				}
			}
			return true
		})
	}
	return best, with
}

// points reports whether a notch's bottom, rounded ever so little, would oppose
// a surface with the normal n: whether the arc between the normals of its
// flanks comes within 60 degrees of the opposite of n.
func (g *gauge) points(s sharpFeature, n Vec) bool {
	u := g.t.m.Normal(s.f).Scale(g.t.side)
	v := g.t.m.Normal(s.g).Scale(g.t.side)
	mid := u.Add(v).Unit()
	across := u.Cross(v).Unit()
	to := n.Scale(-1)
	flat := to.Sub(across.Scale(to.Dot(across)))
	if flat.Dot(mid) >= u.Dot(mid)*flat.Norm() { // inside the arc
		return flat.Norm() > opposedCos
	}
	return max(u.Dot(to), v.Dot(to)) > opposedCos
}

// settle leaves out of a patch on facet f what is no place to measure, as long
// as the thinnest span stands there.
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
func (g *gauge) settle(f int32, s *patch, near []rival, r span, with int32) (span, int32) {
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
		} else if !g.cutRound(&cut, f, x, r) {
			break
		}
		if cut.k < 3 {
			r, with = span{d: g.cap}, nodeAlone
			break
		}
		r, with, _ = g.leastSeen(f, &cut, near, with)
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
	// flatsMost bounds the facets of a flat that are looked at.
	flatsMost = 64
)

// cutRound cuts the patch back from the edges at which a ball as large as the
// span r would break through a neighbour, if it does at x. It reports whether
// that changed anything. The edges are those around the flat that the facet lies
// in: a strut's side is two triangles or more, of which one only touches the
// edge with a corner, or not at all.
func (g *gauge) cutRound(s *patch, f int32, x Vec, r span) bool {
	m := g.t.m
	lean := math.Hypot(r.y.u-r.x[0], r.y.v-r.x[1]) / r.y.h
	n := m.Normal(f)
	g.flatAround(f, x, r.d, lean)
	mid := m.middle(g.flats)
	wrong := false
	cut := *s
	for _, e := range g.rims {
		a, b := m.Verts[m.Facets[e.h/3][e.h%3]], m.Verts[m.Facets[e.h/3][(e.h%3+1)%3]]
		apex := m.Verts[m.Facets[e.twin/3][(e.twin+2)%3]]
		if g.t.side*apex.Sub(a).Dot(n) >= 0 {
			continue // turns towards the medium's other side
		}
		in := n.Cross(b.Sub(a)).Unit() // from the edge into the flat
		back, here := e.tan*r.d/2, x.Sub(a).Dot(in)
		if len(g.flats) > 1 {
			// Flats that bulge past the middle of their round have no right place
			// for the ball, and their middle must do.
			back = min(back, in.Dot(mid.Sub(a))*(1-1e-9))
		}
		if e.h/3 != f && (here < -g.touch || segmentGap(x, a, b) > back) {
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
	m := g.t.m
	twins := m.Topology().Twin
	n := m.Normal(f)
	g.flats, g.rims = append(g.flats[:0], f), g.rims[:0]
	for i := 0; i < len(g.flats); i++ {
		for k := range int32(3) {
			h := 3*g.flats[i] + k
			t := twins[h]
			if t < 0 || slices.Contains(g.flats, t/3) {
				continue
			}
			turn := n.Dot(m.Normal(t / 3))
			if turn < roundCos {
				continue
			}
			tan := math.Sqrt(max(0, 1-turn) / (1 + turn))
			if lean*tan >= roundGain && m.hasSide(t/3, sureSide*g.touch) {
				g.rims = append(g.rims, rim{h, t, tan})
			} else if a, b := m.Verts[m.Facets[h/3][k]], m.Verts[m.Facets[h/3][(k+1)%3]]; len(g.flats) < flatsMost && segmentGap(x, a, b) < roundReach*d {
				g.flats = append(g.flats, t/3)
			}
		}
	}
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
func segmentGap(p, a, b Vec) float64 {
	e := b.Sub(a)
	t := 0.0
	if l := e.Dot(e); l > 0 {
		t = min(1, max(0, p.Sub(a).Dot(e)/l))
	}
	return p.Sub(a.Add(e.Scale(t))).Norm()
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
		e := s.local(s.o.Add(g.t.m.Verts[f.b].Sub(g.t.m.Verts[f.a])))
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

// split measures a cell, halving it at its longest edge until it is even or
// small. It returns the node; its kids count cells of this chunk from 1.
func (g *gauge) split(c cell, n Vec, near []rival, guess int32, raw *float64) node {
	p := c.corners(g.t.m)
	s := newPatch(p[0], p[1], p[2], n)
	defer func(n int) { g.pool = g.pool[:n] }(len(g.pool))
	near = g.stillNear(&s, near)
	e, long := 0, 0.0
	for k := range 3 {
		if l := p[(k+1)%3].Sub(p[k]).Norm(); l > long {
			e, long = k, l
		}
	}
	alone := node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
	if len(near) == 0 && !g.notchNear(&s) || g.ctx.Err() != nil {
		return alone
	}
	g.hidden = g.hidden[:0]
	r, with := g.least(&s, near, guess)
	if with < 0 {
		return alone
	}
	mean, even := g.even(&s, near, r.d, long)
	if long > max(g.cellMM, r.d) && !even {
		return g.halve(c, e, n, near, with, raw)
	}
	r, with, hidden := g.leastSeen(c.facet, &s, near, with)
	if hidden && long > g.cellMM { // part of it may see what the rest does not
		return g.halve(c, e, n, near, with, raw)
	}
	*raw = min(*raw, r.d)
	r, with = g.settle(c.facet, &s, near, r, with)
	if !even {
		mean, _ = g.ray(p[0].Add(p[1]).Add(p[2]).Scale(1.0/3), n)
	}
	return node{lo: float32(r.d), mid: max(float32(r.d), float32(mean)), with: with}
}

func (g *gauge) halve(c cell, e int, n Vec, near []rival, guess int32, raw *float64) node {
	l, r := c.halves(e)
	id := int32(len(g.cells))
	g.cells = append(g.cells, l, r)
	g.nodes = append(g.nodes, node{}, node{})
	x := g.split(l, n, near, guess, raw)
	y := g.split(r, n, near, guess, raw)
	g.nodes[id], g.nodes[id+1] = x, y
	return node{lo: min(x.lo, y.lo), with: nodeAlone, kids: 4*(id+1) + int32(e)}
}

func (g *gauge) notchNear(s *patch) bool {
	found := false
	if g.notches != nil {
		g.notches.mesh.BVH().InBox(s.reach(g.cap), func(int32) bool { found = true; return false })
	}
	return found
}

// stillNear keeps the facets that a ball no larger than the cap can reach from
// the patch.
func (g *gauge) stillNear(s *patch, near []rival) []rival {
	box := s.reach(g.cap)
	from := len(g.pool)
	for i := range near {
		if boxesMeet(near[i].box, box) {
			g.pool = append(g.pool, near[i])
		}
	}
	return g.pool[from:]
}

// even reports whether opposing facets cover the whole patch, seen along its
// normal, at heights no more than evenRatio above lo, and returns their mean.
// long is the patch's longest edge.
func (g *gauge) even(s *patch, near []rival, lo, long float64) (mean float64, ok bool) {
	many := int(min(needleFacets, manyFacets*max(1, long*long/(4*s.area()))))
	var area, sum float64
	own, reach, seen := s.box(), min(g.cap, evenRatio*lo), 0
	for i := range near {
		if boxGap2(&own, &near[i].box) > reach*reach {
			continue
		}
		if seen++; seen > many {
			return 0, false
		}
		a, b, c := g.t.m.Corners(near[i].f)
		ar, vol, most := s.shadow(s.local(a), s.local(b), s.local(c), g.touch)
		if most <= reach { // else of another layer, or uneven
			area += ar
			sum += vol
		}
	}
	if area < s.area()*(1-1e-6) {
		return 0, false
	}
	return sum / area, true
}

// shadow clips a facet to the prism over the patch above touch, and returns the
// area of its shadow on the patch, the volume between, and the greatest height.
func (s *patch) shadow(a, b, c spot, touch float64) (area, volume, most float64) {
	var buf, out [maxCorners + 5]spot
	g := append(buf[:0], a, b, c)
	cut := func(side func(spot) float64) {
		kept := out[:0]
		for i, p := range g {
			q := g[(i+1)%len(g)]
			fp, fq := side(p), side(q)
			if fp >= 0 {
				kept = append(kept, p)
			}
			if (fp < 0) != (fq < 0) {
				t := fp / (fp - fq)
				kept = append(kept, spot{p.u + t*(q.u-p.u), p.v + t*(q.v-p.v), p.h + t*(q.h-p.h)})
			}
		}
		g = append(g[:0], kept...)
	}
	cut(func(p spot) float64 { return p.h - touch })
	for i := range s.k {
		x, y := s.p[i], s.p[(i+1)%s.k]
		ex, ey := y[0]-x[0], y[1]-x[1]
		cut(func(p spot) float64 { return ex*(p.v-x[1]) - ey*(p.u-x[0]) })
	}
	for i := 2; i < len(g); i++ {
		p, q, r := g[0], g[i-1], g[i]
		ar := math.Abs((q.u-p.u)*(r.v-p.v)-(q.v-p.v)*(r.u-p.u)) / 2
		area += ar
		volume += ar * (p.h + q.h + r.h) / 3
		most = max(most, p.h, q.h, r.h)
	}
	return area, volume, most
}

// thinnest measures a leaf again and returns its least thickness and the place.
func (t *ThicknessField) thinnest(id int32) (float64, Vec) {
	g := &t.gauge
	c := t.cellOf(id)
	p := c.corners(t.m)
	s := newPatch(p[0], p[1], p[2], t.m.Normal(c.facet).Scale(t.side))
	r, with, _ := g.leastSeen(c.facet, &s, nil, t.nodes[id].with)
	r, _ = g.settle(c.facet, &s, nil, r, with)
	return r.d, s.world(spot{r.x[0], r.x[1], 0})
}
