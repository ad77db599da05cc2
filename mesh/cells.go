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
	// The least thickness, capped: of a leaf that is settled without what feather
	// edges explain, else no more than that.
	lo   float32
	mid  float32 // at the middle, or the mean, capped: how much of the node is thin; NaN of some leaves that are not settled
	with int32   // the facet on the other side, or a nodeAlone value
	kids int32   // the first of its two halves; 0 for a leaf, leafRaw for one that is not settled
}

// leafRaw is the kids of a leaf that is not settled (settle.go).
const leafRaw = -1

// What node.with holds where no facet is near, and where a feather edge
// explains all that is.
const (
	nodeAlone   = -1
	nodeFeather = -2
)

// tileOf is the tile that a node is or is a part of.
func (t *ThicknessField) tileOf(id int32) int32 {
	for n := int32(t.skin.count()); id >= n; {
		id = t.above[(id-n)/2]
	}
	return id
}

// halver keeps the halves of nodes that were asked for last. The zero one but for
// its field is ready.
type halver struct {
	t    *ThicknessField
	kept [halvesKept]keptHalves
}

// keptHalves are the halves of a node, of which the first is number kids; 0 for none.
type keptHalves struct {
	kids int32
	l, r plot
}

// halvesKept is how many are kept, a power of two. Those of a small part of a tile all
// have room, and most of what is asked stays in such a part.
const halvesKept = 1 << 9

func (h *halver) at(kids int32) *keptHalves {
	return &h.kept[(kids-int32(h.t.skin.count()))/2%halvesKept]
}

// halves are those of a node of the plot c, the first being number kids.
func (h *halver) halves(kids int32, c *plot) (l, r plot) {
	k := h.at(kids)
	if k.kids != kids {
		k.kids = kids
		k.l, k.r = c.halves()
	}
	return k.l, k.r
}

// plotOf is a node's plot.
func (h *halver) plotOf(id int32) plot {
	n := int32(h.t.skin.count())
	if id < n {
		return h.t.skin.plot(id)
	}
	up := h.t.above[(id-n)/2]
	kids := h.t.nodes[up].kids
	k := h.at(kids)
	if k.kids != kids {
		c := h.plotOf(up)
		h.halves(kids, &c)
	}
	if id == kids {
		return k.l
	}
	return k.r
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
	arcs    []arc      // of the notches
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
	alone  bool    // the last facet saw nothing
	ahead  int32   // what the ray from it meets, as far as that opposes
	last   int32   // what stops the smallest ball from the last facet
	halver *halver // of one that settles
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
				g.nodes, g.ahead, g.last = g.nodes[:0], nodeAlone, nodeAlone
				g.facets(int32(c*chunkFacets), int32(min(n, (c+1)*chunkFacets)))
				chunks[c] = slices.Clone(g.nodes)
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
	arcs := make([]arc, len(notches))
	for i := range notches {
		arcs[i] = t.skin.arcOf(&notches[i], t.side)
	}
	return gauge{t: t, skin: t.skin, arcs: arcs, bvh: m.BVH(), sides: edges.sides, ctx: ctx, ahead: nodeAlone, last: nodeAlone,
		wedges: newWedges(edges.verts, wedges), notches: newSharpTree(edges.verts, notches),
		cellMM: max(t.Params.PatchMM/2, math.Sqrt(area/cellsMost)),
		touch:  t.Err, cap: t.Params.CapMM}, nil
}

// gather appends the chunks' cells in order and shifts the ids that point to them.
func (t *ThicknessField) gather(chunks [][]node) {
	n, cells := len(t.nodes), 0
	for _, c := range chunks {
		cells += len(c)
	}
	t.nodes = slices.Grow(t.nodes, cells)
	for c := range chunks {
		shift := int32(len(t.nodes))
		own := t.nodes[c*chunkFacets : min(n, (c+1)*chunkFacets)]
		for _, list := range [][]node{own, chunks[c]} {
			for i := range list {
				if list[i].kids > 0 {
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
		if k := int(t.nodes[i].kids); k > 0 {
			t.above[(k-n)/2] = int32(i)
		}
	}
}

// facets measures the tiles from lo up to hi. Over most of a solid part nothing
// is near, which is told of many facets at once; not beside one that saw something.
func (g *gauge) facets(lo, hi int32) {
	t := g.t
	for f := lo; f < hi; f++ {
		t.nodes[f] = node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
		t.FacetMM[f] = float32(g.cap)
	}
	if g.alone && !g.anyFaced(lo, hi) {
		return
	}
	for ; lo < hi; lo += bundleFacets {
		end := min(hi, lo+bundleFacets)
		if g.alone && !g.anyFaced(lo, end) {
			continue
		}
		for f := lo; f < end; f++ {
			g.facet(f)
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
	g.hidden = g.hidden[:0]
	g.ahead = hit
	raw := g.cap
	long := c.length()
	if v, ok := g.lookEven(&c, &g.own, long, hit, g.last); ok {
		g.alone = len(v.list) == 0
		t.nodes[f] = g.split(&c, &g.own, &v, long, hit, mid, &raw)
	} else {
		g.alone = false
		t.nodes[f] = g.halve(&c, g.rivals[g.best.at].f, &raw)
	}
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
	world := func(u, v float64) (p Vec) {
		for k := range p {
			p[k] = s.o[k] + float64(s.ax[k]*u) + float64(s.ay[k]*v)
		}
		return p
	}
	for i := range s.k {
		p := world(s.p[i][0], s.p[i][1])
		f.box.add(&p)
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

// arc is that of the directions into which a notch's bottom, rounded ever so
// little, would face: from the normal of one flank to that of the other, out of
// the medium.
type arc struct {
	u, v, mid, across Vec
	cos               float64 // of half its angle
}

// arcOf is that of a notch of a skin.
func (s *skin) arcOf(f *sharpFeature, side float64) arc {
	u, v := s.whole.Normal(f.f).Scale(side), s.whole.Normal(f.g).Scale(side)
	mid := u.Add(v).Unit()
	return arc{u, v, mid, u.Cross(v).Unit(), u.Dot(mid)}
}

// opposes reports whether a notch's bottom opposes a surface with the normal n:
// whether the arc comes within 60 degrees of the opposite of n.
func (a *arc) opposes(n Vec) bool {
	to := n.Scale(-1)
	flat := to.Sub(a.across.Scale(to.Dot(a.across)))
	if l := flat.Norm(); flat.Dot(a.mid) >= a.cos*l { // inside the arc
		return l > opposedCos
	}
	return max(a.u.Dot(to), a.v.Dot(to)) > opposedCos
}

// split measures a plot, halving it at its longest edge until it is even or
// small. It returns the node; its kids count cells of this chunk from 1. v is
// what the cell sees, long how long it is, guess the facet that may stop the
// smallest ball, and mid the ray from its middle (NaN: not sent yet).
func (g *gauge) split(c *plot, s *patch, v *view, long float64, guess int32, mid float64, raw *float64) node {
	if len(v.list) == 0 || g.ctx.Err() != nil {
		return node{lo: float32(g.cap), mid: float32(g.cap), with: nodeAlone}
	}
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
	nd := node{lo: float32(r.d), mid: float32(mid), with: with, kids: leafRaw}
	if hidden || with == nodeAlone || r.d < g.t.Params.AskedMM { // where something is hidden, less of the leaf may see more
		nd = g.settled(c, s, v, nd, r)
	}
	return nd
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
	long := c.length()
	if v, ok := g.lookEven(c, &s, long, guess, nodeAlone); ok {
		return g.split(c, &s, &v, long, guess, math.NaN(), raw)
	}
	return g.halve(c, g.rivals[g.best.at].f, raw)
}

// lookEven looks from a cell's patch, unless the cell is uneven.
func (g *gauge) lookEven(c *plot, s *patch, long float64, guess, other int32) (view, bool) {
	g.start(s, long)
	g.walk(guess)
	g.walk(other)
	if g.uneven(c, s, long) {
		return view{}, false
	}
	g.gather()
	return g.viewAll(), true
}

// uneven reports whether a cell is surely to be halved, which saves gathering all
// that it sees: it is longer than the medium is thick where the walk ended, and
// from a place of it no surface is met within evenRatio of that. Of others even tells.
func (g *gauge) uneven(c *plot, s *patch, long float64) bool {
	if g.sole || g.best.at < 0 || long <= g.best.d*(1+evenErr) || g.ctx.Err() != nil {
		return false
	}
	reach, mid := evenRatio*g.best.d*(1+evenErr), c.middle()
	if reach >= g.cap {
		return false
	}
	for _, p := range c.p[:c.k] {
		if _, hit := g.bvh.Ray(p.Add(mid.Sub(p).Scale(unevenShare)), s.n.Scale(-1), g.touch, reach); !hit {
			return true
		}
	}
	return false
}

// unevenShare is how far from a corner towards the middle of a cell uneven looks.
const unevenShare = 0.2

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
