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

// node is a tile or a cell of one.
type node struct {
	lo   float32 // least thickness, capped, without what feather edges explain
	mid  float32 // at the middle, or the mean, capped: how much of the node is thin
	with int32   // the facet on the other side, or a nodeAlone value
	kids int32   // the first of its two halves; 0 for a leaf
}

// What node.with holds where no facet is near, and where a feather edge
// explains all that is.
const (
	nodeAlone   = -1
	nodeFeather = -2
)

// plotOf is a node's plot and the tile that it is a part of.
func (t *ThicknessField) plotOf(id int32) (tile int32, c plot) {
	n := int32(t.skin.count())
	if id < n {
		return id, t.skin.plot(id)
	}
	up := t.above[(id-n)/2]
	tile, c = t.plotOf(up)
	l, r := c.halves()
	if id == t.nodes[up].kids {
		return tile, l
	}
	return tile, r
}

const (
	// cellsMost bounds the cells of a mesh: cells are no smaller than its area
	// over this.
	cellsMost = 1 << 20
	// chunkFacets are measured by one goroutine between looks at the context, and
	// bundleFacets of them asked at once whether anything is near.
	chunkFacets  = 32
	bundleFacets = 8
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

// gauge measures facets; each goroutine has its own.
type gauge struct {
	t       *ThicknessField
	bvh     *BVH
	sides   []bool     // which facets are no slivers
	wedges  *sharpTree // where the medium tapers to nothing
	notches *sharpTree // where surface points into the medium
	skin    *skin
	cellMM  float64
	touch   float64
	cap     float64

	ctx context.Context

	// Of the chunk in hand:
	nodes []node // cells only; ids count from 0 and are shifted at the end
	// Of the facet in hand: itself, all rivals that stop a ball from the cell in hand
	// of a diameter below whole, and what was set aside as hidden from that.
	own    patch
	face   int32 // of the whole mesh
	rivals []rival
	hunt
	hidden []int32
	alone  bool  // the last facet saw nothing
	ahead  int32 // what the ray from it meets, as far as that opposes
	last   int32 // what stops the smallest ball from the last facet
	// Room for a view and covers.
	views  []sight
	covers []cover
	flats  []int32 // see flatAround
	inFlat *facetSet
	rims   []rim
}

func (t *ThicknessField) measure(ctx context.Context, m *Mesh) error {
	s, err := m.skinned.get(ctx)
	if err != nil {
		return err
	}
	t.skin, t.m = s, s.m
	shared, err := t.newGauge(ctx)
	if err != nil {
		return err
	}
	n := s.count()
	t.nodes = make([]node, n)
	t.FacetMM = make([]float32, n) // of the tiles at first
	t.gauge = shared
	t.gauge.ctx = context.Background()

	chunks := make([][]node, (n+chunkFacets-1)/chunkFacets) // the cells of each
	var next atomic.Int32
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(chunks)) {
		wg.Go(func() {
			g := shared
			for ctx.Err() == nil {
				c := int(next.Add(1)) - 1
				if c >= len(chunks) {
					return
				}
				g.nodes, g.ahead, g.last = nil, nodeAlone, nodeAlone
				g.facets(int32(c*chunkFacets), int32(min(n, (c+1)*chunkFacets)))
				chunks[c] = g.nodes
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	t.gather(chunks)
	t.FacetMM = t.skin.least(t.FacetMM, float32(t.Params.CapMM))
	return nil
}

// newGauge makes ready to measure.
func (t *ThicknessField) newGauge(ctx context.Context) (gauge, error) {
	m := t.m
	var area float64
	for f := range m.Facets {
		if f%sharpStep == 0 && ctx.Err() != nil {
			return gauge{}, ctx.Err()
		}
		area += m.Area(int32(f))
	}
	edges, err := t.skin.edges.get(ctx)
	if err != nil {
		return gauge{}, err
	}
	var wedges, notches []sharpFeature
	for _, s := range edges.list {
		if s.notch == (t.side < 0) || s.vague {
			wedges = append(wedges, s)
		}
		if s.notch != (t.side < 0) && !s.vague && s.angle < opposedRad && t.skin.beside(&s) >= 0 {
			notches = append(notches, s)
		}
	}
	return gauge{t: t, skin: t.skin, bvh: m.BVH(), sides: edges.sides, ctx: ctx, ahead: nodeAlone, last: nodeAlone,
		wedges: newSharpTree(edges.verts, wedges), notches: newSharpTree(edges.verts, notches),
		cellMM: max(t.Params.PatchMM/2, math.Sqrt(area/cellsMost)),
		touch:  t.Err, cap: t.Params.CapMM}, nil
}

// gather appends the chunks' cells in order and shifts the ids that point to them.
func (t *ThicknessField) gather(chunks [][]node) {
	n := len(t.nodes)
	for c := range chunks {
		shift := int32(len(t.nodes))
		own := t.nodes[c*chunkFacets : min(n, (c+1)*chunkFacets)]
		for _, list := range [][]node{own, chunks[c]} {
			for i := range list {
				if list[i].kids != 0 {
					list[i].kids += shift - 1 // see gauge.split
				}
			}
		}
		t.nodes = append(t.nodes, chunks[c]...)
	}
	t.findAbove()
}

// findAbove finds the node of which each two cells are the halves.
func (t *ThicknessField) findAbove() {
	n := t.skin.count()
	t.above = make([]int32, (len(t.nodes)-n)/2)
	for i := range t.nodes {
		if k := int(t.nodes[i].kids); k != 0 {
			t.above[(k-n)/2] = int32(i)
		}
	}
}

// facets measures the tiles from lo up to hi. Over most of a solid part nothing
// is near, which is told of many facets at once.
func (g *gauge) facets(lo, hi int32) {
	t := g.t
	for f := lo; f < hi; f++ {
		t.nodes[f] = node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
		t.FacetMM[f] = float32(g.cap)
	}
	if !g.anyFaced(lo, hi) {
		return
	}
	for ; lo < hi; lo += bundleFacets {
		if end := min(hi, lo+bundleFacets); g.anyFaced(lo, end) {
			for f := lo; f < end; f++ {
				g.facet(f)
			}
		}
	}
}

// facet measures one tile.
func (g *gauge) facet(f int32) {
	t := g.t
	g.face = g.skin.face(f)
	if !g.sides[g.face] {
		return
	}
	c := g.skin.plot(f)
	n := g.skin.normal(f).Scale(t.side)
	g.own = c.patch(n)
	if g.alone && !g.faced(&g.own) { // as are most beside one that is alone
		return
	}
	mid, hit := g.ray(c.middle(), n)
	_, long := c.longest()
	g.hidden = g.hidden[:0]
	g.ahead = hit
	v := g.look(&g.own, long, hit, g.last)
	g.alone = len(v.list) == 0
	raw := g.cap
	t.nodes[f] = g.split(&c, &g.own, &v, hit, mid, &raw)
	t.FacetMM[f] = float32(raw)
	g.last = t.nodes[f].with
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
// the flat can reach.
func (f *flat) reach(d float64) Box {
	b, r := f.box, d/2
	for k, x := range f.in {
		b.Min[k] += x*r - r
		b.Max[k] += x*r + r
	}
	return b
}

// flatOf is a patch as the search tree takes it: of more than three corners a
// triangle about it.
func (g *gauge) flatOf(s *patch) flat {
	f := flat{box: EmptyBox(), in: s.n.Scale(-1), at: -s.o.Dot(s.n), side: g.t.side}
	world := func(u, v float64) Vec { return s.world(spot{u, v, 0}) }
	for i := range s.k {
		p := world(s.p[i][0], s.p[i][1])
		f.box = f.box.Grow(p)
		f.corners[min(i, 2)] = p
	}
	b := s.extent()
	f.across = [2]Vec{s.ax, s.ay}
	u, v := s.o.Dot(s.ax), s.o.Dot(s.ay)
	f.extent = [2][2]float64{{u + b.u0, u + b.u1}, {v + b.v0, v + b.v1}}
	if s.k > 3 {
		f.corners = [3]Vec{world(b.u0, b.v0), world(2*b.u1-b.u0, b.v0), world(b.u0, 2*b.v1-b.v0)}
	}
	return f
}

// points reports whether a notch's bottom, rounded ever so little, would oppose
// a surface with the normal n: whether the arc between the normals of its
// flanks comes within 60 degrees of the opposite of n.
func (g *gauge) points(s sharpFeature, n Vec) bool {
	u := g.skin.whole.Normal(s.f).Scale(g.t.side)
	v := g.skin.whole.Normal(s.g).Scale(g.t.side)
	mid := u.Add(v).Unit()
	across := u.Cross(v).Unit()
	to := n.Scale(-1)
	flat := to.Sub(across.Scale(to.Dot(across)))
	if flat.Dot(mid) >= u.Dot(mid)*flat.Norm() { // inside the arc
		return flat.Norm() > opposedCos
	}
	return max(u.Dot(to), v.Dot(to)) > opposedCos
}

// settle leaves out of a patch what is no place to measure, as long
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
		g.bounds(&cut, v)
		g.hidden = g.hidden[:0]
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

// split measures a plot, halving it at its longest edge until it is even or
// small. It returns the node; its kids count cells of this chunk from 1. v is
// what the cell sees, guess the facet that may stop the smallest ball, and mid
// the ray from its middle (NaN: not sent yet).
func (g *gauge) split(c *plot, s *patch, v *view, guess int32, mid float64, raw *float64) node {
	if len(v.list) == 0 || g.ctx.Err() != nil {
		return node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
	}
	_, long := c.longest()
	g.hidden = g.hidden[:0]
	large := g.large(s, long)
	if large {
		r, at := g.least(s, v, guess)
		if at < 0 {
			return node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
		}
		guess = g.rivals[v.list[at].rival].f
		if long > r.d {
			mean, even := g.even(s, v, r.d, long)
			if !even {
				return g.halve(c, guess, raw)
			}
			mid = mean
		}
	}
	r, with, hidden := g.leastSeen(s, v, guess)
	if hidden && large { // part of it may see what the rest does not
		return g.halve(c, guess, raw)
	}
	*raw = min(*raw, r.d)
	r, with = g.settle(s, v, r, with)
	if math.IsNaN(mid) {
		mid, _ = g.ray(c.middle(), s.n)
	}
	return node{lo: float32(r.d), mid: max(float32(r.d), float32(mid)), with: with}
}

// large reports whether a cell is worth halving: a needle has less to tell than
// its length.
func (g *gauge) large(s *patch, long float64) bool {
	return long > 4*g.cellMM || long > g.cellMM && s.area() > g.cellMM*g.cellMM/2
}

func (g *gauge) halve(c *plot, guess int32, raw *float64) node {
	id := int32(len(g.nodes))
	l, r := c.halves()
	g.nodes = append(g.nodes, node{}, node{})
	x := g.half(&l, guess, raw)
	y := g.half(&r, guess, raw)
	g.nodes[id], g.nodes[id+1] = x, y
	return node{lo: min(x.lo, y.lo), with: nodeAlone, kids: id + 1}
}

// half measures a half, looked from on its own: there is less to see from it than
// from the whole.
func (g *gauge) half(c *plot, guess int32, raw *float64) node {
	s := g.own.part(c)
	g.hidden = g.hidden[:0]
	_, long := c.longest()
	v := g.look(&s, long, guess, nodeAlone)
	return g.split(c, &s, &v, guess, math.NaN(), raw)
}

// even reports whether opposing facets cover the whole patch, seen along its
// normal, at heights no more than evenRatio above lo, and returns their mean.
// long is the patch's longest edge.
func (g *gauge) even(s *patch, v *view, lo, long float64) (mean float64, ok bool) {
	many := int(min(needleFacets, manyFacets*max(1, long*long/(4*s.area()))))
	reach, seen := min(g.cap, evenRatio*lo), 0
	g.covers = g.covers[:0]
	for _, x := range v.list {
		y := &g.rivals[x.rival]
		if x.key > reach || y.notch {
			continue
		}
		if seen++; seen > many {
			return 0, false
		}
		ar, vol, most := s.shadow(y.g[0], y.g[1], y.g[2], g.touch)
		if ar > 0 && most <= reach { // else of another layer, or uneven
			g.covers = append(g.covers, cover{y.f, ar, vol})
		}
	}
	slices.SortFunc(g.covers, func(a, b cover) int { return cmp.Compare(a.f, b.f) })
	var area, sum float64
	for _, x := range g.covers {
		area += x.area
		sum += x.volume
	}
	if area < s.area()*(1-1e-6) {
		return 0, false
	}
	return sum / area, true
}

// cover is what a facet covers of a patch. Covers are summed in the order of
// facets: that in which the search tree finds them must not show.
type cover struct {
	f            int32
	area, volume float64
}

// shade clips a facet to the prism over the patch above touch, into g.
func (s *patch) shade(a, b, c spot, touch float64, g []spot) []spot {
	var out [maxCorners + 5]spot
	g = append(g, a, b, c)
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
	return g
}

// shadow returns the area of a facet's shadow on the patch, as far as the facet
// lies above touch, the volume between, and the greatest height.
func (s *patch) shadow(a, b, c spot, touch float64) (area, volume, most float64) {
	var buf [maxCorners + 5]spot
	g := s.shade(a, b, c, touch, buf[:0])
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
	g := t.gauge // with room of its own, since many may ask
	tile, c := t.plotOf(id)
	g.face = t.skin.face(tile)
	whole := t.skin.plot(tile)
	own := whole.patch(t.skin.normal(tile).Scale(t.side))
	g.own = own.part(&c)
	g.hidden = g.hidden[:0]
	v := g.look(&g.own, 0, t.nodes[id].with, nodeAlone)
	r, with, _ := g.leastSeen(&g.own, &v, t.nodes[id].with)
	r, _ = g.settle(&g.own, &v, r, with)
	return r.d, g.own.world(spot{r.x[0], r.x[1], 0})
}
