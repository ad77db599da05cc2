package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file finds the skin of a mesh of bodies that touch or run into each
// other: what of its surface bounds material, with empty space on the other side.
// It is the surface of their union, but that pieces need not share whole edges.

// skin is that surface as a mesh, and as tiles, of which each is measured for
// itself. Facets that no other body cuts are those of the whole mesh; of the others
// there are the pieces that bound something: a convex piece is a tile, and its
// triangles are facets.
type skin struct {
	whole *Mesh
	touch float64 // surface of two bodies that is nearer counts as touching
	m     *Mesh   // its vertices begin with those of the whole mesh
	of    []int32 // by facet: that of the whole mesh, ascending; nil: the same
	// Where of is nil each facet is a tile.
	tiles  []tile   // and one that is none at the end
	tileOf []int32  // by facet
	rims   []rimmed // corners of the tiles, vertices of m
	// seams are what lies along the sides of tiles: seamFirst are where those of
	// each begin, by the place in rims.
	seams     []seam
	seamFirst []int32
	edges     derived[skinEdges]
	share     exposure
}

// skinEdges are what is sharp on a skin, for walls as for gaps: edges and tips of
// the whole mesh and those where bodies meet, with vertices in verts; and which
// facets of the whole mesh are no slivers.
type skinEdges struct {
	verts []Vec
	list  []sharpFeature
	sides []bool
}

// tile is the first of its facets, and of its corners.
type tile struct{ facet, rim int32 }

// seam is what of a tile's side lies along that of another one, in mm from its start.
type seam struct {
	tile, side int32
	lo, hi     float64
}

// count is the number of tiles.
func (s *skin) count() int {
	if s.of == nil {
		return len(s.m.Facets)
	}
	return len(s.tiles) - 1
}

// tile is that of a facet.
func (s *skin) tile(f int32) int32 {
	if s.of == nil {
		return f
	}
	return s.tileOf[f]
}

// face is the facet of the whole mesh in which a tile lies.
func (s *skin) face(tile int32) int32 {
	if s.of == nil {
		return tile
	}
	return s.of[s.tiles[tile].facet]
}

// normal is that of a tile.
func (s *skin) normal(tile int32) Vec { return s.whole.Normal(s.face(tile)) }

// plot is all of a tile.
func (s *skin) plot(tile int32) (c plot) {
	if s.of == nil {
		c.p[0], c.p[1], c.p[2] = s.m.Corners(tile)
		c.k = 3
	} else {
		for _, r := range s.rimOf(tile) {
			c.add(s.m.Verts[r.at], 0)
		}
	}
	for k := range c.k {
		c.on[k] = int8(k)
	}
	return c
}

// rimOf are the corners of a tile.
func (s *skin) rimOf(tile int32) []rimmed { return s.rims[s.tiles[tile].rim:s.tiles[tile+1].rim] }

// vertsOf are the corners of a tile.
func (s *skin) vertsOf(tile int32) []int32 {
	if s.of == nil {
		return s.m.Facets[tile][:]
	}
	var out []int32
	for _, r := range s.rimOf(tile) {
		out = append(out, r.at)
	}
	return out
}

// centre is the middle of a tile's corners.
func (s *skin) centre(tile int32) (c Vec) {
	if s.of == nil {
		return s.m.Centre(tile)
	}
	rim := s.rimOf(tile)
	for _, r := range rim {
		c = c.Add(s.m.Verts[r.at])
	}
	return c.Scale(1 / float64(len(rim)))
}

// facet is the facet of the whole mesh that one of the skin is a piece of.
func (s *skin) facet(f int32) int32 {
	if s.of == nil {
		return f
	}
	return s.of[f]
}

// piece is the first piece of a facet of the whole mesh, -1 if it bounds nothing.
func (s *skin) piece(f int32) int32 {
	if s.of == nil {
		return f
	}
	if i, ok := slices.BinarySearch(s.of, f); ok {
		return int32(i)
	}
	return -1
}

// beside is the first piece of a facet at a sharp feature, -1 if neither bounds
// anything.
func (s *skin) beside(e *sharpFeature) int32 {
	if f := s.piece(e.f); f >= 0 {
		return f
	}
	return s.piece(e.g)
}

// least takes the least of each facet's tiles; what has none gets most.
func (s *skin) least(of []float32, most float32) []float32 {
	if s.of == nil {
		return of
	}
	out := slices.Repeat([]float32{most}, len(s.whole.Facets))
	for i, x := range of {
		f := s.face(int32(i))
		out[f] = min(out[f], x)
	}
	return out
}

// ready lets a skin be asked for what is derived from it.
func (s *skin) ready() *skin {
	s.edges.make, s.edges.turn = s.findEdges, make(chan struct{}, 1)
	return s
}

func (s *skin) findEdges(ctx context.Context) (e skinEdges, err error) {
	least := opposedRad + wedgeSlack
	if e.list, e.sides, err = findSharp(ctx, s.whole, least); err != nil {
		return e, err
	}
	verts, creases := s.creases(math.Cos(least))
	e.verts, e.list = verts, append(e.list, creases...)
	tips, err := s.tips(ctx, math.Cos(least), verts, e.list, e.sides)
	e.list = append(e.list, tips...)
	return e, err
}

// newSkin takes surface nearer than touch to another body's for the same.
func newSkin(ctx context.Context, m *Mesh, touch float64) (*skin, error) {
	// Facets are looked at as far off the surface; half is for rounding.
	b, err := newBodies(ctx, m, 2*touch)
	if b == nil {
		return (&skin{whole: m, m: m}).ready(), err
	}
	const step = 64
	parts := make([]shreds, (len(m.Facets)+step-1)/step)
	err = parallel(ctx, len(m.Facets), step, func(from, to int) error {
		c := carver{b: b, touch: touch, shreds: &parts[from/step]}
		for f := from; f < to; f++ {
			switch b.side[f] {
			case solidBehind:
				c.keep(int32(f))
			case sideMixed:
				c.carve(int32(f))
			}
		}
		return ctx.Err()
	})
	if err != nil {
		return nil, err
	}
	s := &skin{whole: m, touch: touch, of: []int32{}} // not nil, even if nothing bounds anything
	nv, nf := len(m.Verts), 0
	for i := range parts {
		nv, nf = nv+len(parts[i].verts), nf+len(parts[i].facets)
	}
	verts, facets := append(make([]Vec, 0, nv), m.Verts...), make([][3]int32, 0, nf)
	for i := range parts {
		p := &parts[i]
		number := func(v int32) int32 {
			if v < 0 { // counted from its part's first
				return int32(len(verts)) + ^v
			}
			return v
		}
		for _, t := range p.tiles {
			s.tiles = append(s.tiles, tile{int32(len(facets)) + t.facet, int32(len(s.rims)) + t.rim})
		}
		for _, t := range p.facets {
			facets = append(facets, [3]int32{number(t[0]), number(t[1]), number(t[2])})
		}
		for _, r := range p.rims {
			s.rims = append(s.rims, rimmed{number(r.at), r.on})
		}
		verts, s.of = append(verts, p.verts...), append(s.of, p.of...)
	}
	s.tiles = append(s.tiles, tile{int32(len(facets)), int32(len(s.rims))})
	s.tileOf = make([]int32, len(facets))
	for i := range s.count() {
		for f := s.tiles[i].facet; f < s.tiles[i+1].facet; f++ {
			s.tileOf[f] = int32(i)
		}
	}
	s.m = New(verts, facets)
	if err := s.m.Prepare(ctx); err != nil {
		return nil, err
	}
	s.share = s.exposure()
	return s.ready(), s.findSeams(ctx)
}

// united is the skin of the mesh; of a single shell it is all that there is.
func (m *Mesh) united(ctx context.Context) (*skin, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	if m.Topology().Shells < 2 {
		return &skin{whole: m, m: m}, nil
	}
	return m.skinned.get(ctx)
}

// exposure is the share of each facet of the whole mesh that bounds something,
// not what lies in another body or on one. Nil is all of every facet.
type exposure []float64

// exposureNone of a facet and less is rounding.
const exposureNone = 1e-6

func (x exposure) of(f int32) float64 {
	if x == nil {
		return 1
	}
	return x[f]
}

// buried reports whether nothing of a facet bounds anything, and whole whether
// all of it does.
func (x exposure) buried(f int32) bool { return x.of(f) < exposureNone }
func (x exposure) whole(f int32) bool  { return x.of(f) > 1-exposureNone }

func (s *skin) exposure() exposure {
	out := make(exposure, len(s.whole.Facets))
	for f, g := range s.of {
		out[g] += s.m.Area(int32(f))
	}
	for f := range out {
		if a := s.whole.Area(int32(f)); a > 0 {
			out[f] = min(1, out[f]/a)
		} else {
			out[f] = 1
		}
	}
	return out
}

// pieces returns where the pieces of a facet of the whole mesh begin and end, and
// tilesOf those that are tiles.
func (s *skin) pieces(f int32) (from, to int32) {
	if s.of == nil {
		return f, f + 1
	}
	i, _ := slices.BinarySearch(s.of, f)
	j, _ := slices.BinarySearch(s.of[i:], f+1)
	return int32(i), int32(i + j)
}

func (s *skin) tilesOf(f int32) (from, to int32) {
	from, to = s.pieces(f)
	if from == to || s.of == nil {
		return from, to
	}
	return s.tile(from), s.tile(to-1) + 1
}

// under are the facets of the skin in an overhang region.
func (s *skin) under(r *OverhangRegion) []int32 {
	if s.of == nil || r.Tiles == nil {
		return r.Facets
	}
	var out []int32
	for _, t := range r.Tiles {
		for f := s.tiles[t].facet; f < s.tiles[t+1].facet; f++ {
			out = append(out, f)
		}
	}
	return out
}

// hidden are the middles of what of an edge of a facet bounds nothing.
func (s *skin) hidden(f int32, edge int) []Vec {
	a := s.whole.Verts[s.whole.Facets[f][edge]]
	e := s.whole.Verts[s.whole.Facets[f][(edge+1)%3]].Sub(a)
	l := e.Dot(e)
	shown := [][2]float64{{1, 1}}
	tile, end := s.tilesOf(f)
	for ; tile < end; tile++ {
		for k, r := range s.rimOf(tile) {
			if int(r.on) == edge {
				v, w := s.ends(seam{tile: tile, side: int32(k)})
				shown = append(shown, [2]float64{s.m.Verts[v].Sub(a).Dot(e) / l, s.m.Verts[w].Sub(a).Dot(e) / l})
			}
		}
	}
	slices.SortFunc(shown, func(x, y [2]float64) int { return cmp.Compare(x[0], y[0]) })
	var out []Vec
	at := 0.0
	for _, x := range shown {
		if x[0]-at > exposureNone {
			out = append(out, a.Add(e.Scale((at+x[0])/2)))
		}
		at = max(at, x[1])
	}
	return out
}

// shreds are pieces of facets. Corners below 0 are complements of numbers in
// verts.
type shreds struct {
	verts  []Vec
	tiles  []tile
	rims   []rimmed
	facets [][3]int32
	of     []int32
}

// carver cuts facets along the lines in which they run through other bodies.
//
// It looks at a facet from a little off its surface: bodies that share a face,
// or nearly, are told apart there by sides that cross the plane it looks from.
// Where two have the same face and lie on the same side of it, it is the first
// body's: the other one's is covered from as little below it.
// Facets are cut in two along one such line after another, as long as any runs
// through a piece; then each piece has one side (Fuchs, Kedem and Naylor 1980,
// "On visible surface generation by a priori tree structures"), and pieces
// that turn out alike are left in one.
type carver struct {
	*shreds
	b     *bodies
	touch float64

	f      int32
	frame  patch
	at     []([2]float64) // corners; the first three are those of the facet
	named  []int32        // what they are in shreds; 0: not yet
	traces []trace
	winds  []bodyWind   // room for how often the bodies of those wind around places
	polys  []rimmed     // room for pieces in hand
	lists  []int32      // room for the traces in them
	sides  []pieceSide  // of the one in hand
	chords [][2]float64 // of the traces in it
}

// trace is the line in which a facet of another body crosses the plane looked
// from, or the one as far below the facet in hand. To its right is what the facet
// faces.
type trace struct {
	a, b   [2]float64
	weight winding // of the body's inside
	facet  int32
	body   int32 // its shell
	long   float64
}

// bodyWind is how often a body winds around a place above the facet in hand.
type bodyWind struct {
	body int32
	wind int
}

// winding is how often other bodies wind around a place.
type winding struct {
	above int // the facet in hand
	more  int // bodies that come first, below the facet rather than above
}

func (w winding) plus(x winding) winding { return winding{w.above + x.above, w.more + x.more} }

// rimmed is a corner of a piece, and the edge of the facet on which the piece's
// from there lies, or sideCut.
type rimmed struct {
	at int32
	on int8
}

const sideCut = -1

func (c *carver) keep(f int32) {
	t := c.b.nest.m.Facets[f]
	c.begin()
	c.rims = append(c.rims, rimmed{t[0], 0}, rimmed{t[1], 1}, rimmed{t[2], 2})
	c.facets, c.of = append(c.facets, t), append(c.of, f)
}

// begin is the beginning of a tile.
func (c *carver) begin() {
	c.tiles = append(c.tiles, tile{int32(len(c.facets)), int32(len(c.rims))})
}

// fate is what comes of a piece.
type fate uint8

const (
	fateBare   fate = iota // all bounds material
	fateBuried             // none does
	fateParted             // some does, and was added
)

func (c *carver) carve(f int32) {
	m := c.b.nest.m
	p, q, r := m.Corners(f)
	n := m.Normal(f)
	if n == (Vec{}) {
		return
	}
	c.f, c.frame = f, newPatch(p, q, r, n)
	c.at, c.named = c.at[:0], append(c.named[:0], m.Facets[f][:]...)
	c.polys, c.lists = c.polys[:0], c.lists[:0]
	for k, v := range [3]Vec{p, q, r} {
		s := c.frame.local(v)
		c.at = append(c.at, [2]float64{s.u, s.v})
		c.polys = append(c.polys, rimmed{int32(k), int8(k)})
	}
	c.findTraces()
	for i := range c.traces {
		c.lists = append(c.lists, int32(i))
	}
	ref := c.clear()
	up, down := c.world(ref).Add(n.Scale(c.touch)), c.world(ref).Sub(n.Scale(c.touch))
	own := m.Topology().Shell[f]
	first := func(shell int32) bool { return shell < own }
	others := winding{c.b.around(f, up), c.b.windOf(down, first) - c.b.windOf(up, first)}
	c.winds = c.winds[:0]
	for i, s := range c.traces {
		if i == 0 || s.body != c.traces[i-1].body {
			c.winds = append(c.winds, bodyWind{s.body, c.b.windOfOne(up, s.body)})
		}
	}
	if c.part(c.polys, c.lists, ref, others, c.winds) == fateBare {
		c.keep(f)
	}
}

func (c *carver) world(p [2]float64) Vec { return c.frame.world(spot{p[0], p[1], 0}) }

// clear is a place on the facet that no trace comes near: there is no doubt on
// which side of another body's surface it lies.
func (c *carver) clear() (best [2]float64) {
	most := -1.0
	a, b, d := c.at[0], c.at[1], c.at[2]
	flat := func(p [2]float64) Vec { return Vec{p[0], p[1]} }
	for try := range 16 {
		u, v := strewn(try)
		p := [2]float64{a[0] + u*(b[0]-a[0]) + v*(d[0]-a[0]), a[1] + u*(b[1]-a[1]) + v*(d[1]-a[1])}
		least := math.Inf(1)
		for i := range c.traces {
			least = min(least, segmentGap(flat(p), flat(c.traces[i].a), flat(c.traces[i].b)))
		}
		if least > most {
			best, most = p, least
		}
		if most > 8*c.touch {
			break
		}
	}
	return best
}

// findTraces lists the traces that may lie in the facet.
func (c *carver) findTraces() {
	m := c.b.nest.m
	shell := m.Topology().Shell
	own := shell[c.f]
	c.traces = c.traces[:0]
	m.BVH().closeTo(c.f, 2*c.touch, func(g int32) bool {
		if shell[g] == own || !c.b.is[shell[g]] {
			return true
		}
		t := m.Facets[g]
		at := [3]spot{c.frame.local(m.Verts[t[0]]), c.frame.local(m.Verts[t[1]]), c.frame.local(m.Verts[t[2]])}
		low, high := -max(at[0].h, at[1].h, at[2].h), -min(at[0].h, at[1].h, at[2].h)
		weight := c.b.nest.weight(g)
		switch {
		case high >= c.touch && (low < -c.touch || shell[g] > own): // below as above
			c.trace(g, &at, c.touch, winding{weight, 0})
		case high >= c.touch:
			c.trace(g, &at, c.touch, winding{weight, -weight})
		case shell[g] < own:
			c.trace(g, &at, -c.touch, winding{0, weight})
		}
		return true
	})
	slices.SortFunc(c.traces, func(a, b trace) int { return cmp.Or(int(a.body-b.body), int(a.facet-b.facet)) })
}

// trace adds the line in which a facet whose corners are there crosses the plane
// at a height above the one in hand.
func (c *carver) trace(g int32, at *[3]spot, height float64, weight winding) {
	t := &c.b.nest.m.Facets[g]
	h := [3]float64{-at[0].h - height, -at[1].h - height, -at[2].h - height}
	// crossing is to the bit the same for both facets of the edge.
	crossing := func(v, w int) [2]float64 {
		if t[v] > t[w] {
			v, w = w, v
		}
		p, q, s := &at[v], &at[w], h[v]/(h[v]-h[w])
		return [2]float64{p.u + s*(q.u-p.u), p.v + s*(q.v-p.v)}
	}
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		if (h[k] >= 0) == (h[i] >= 0) || (h[k] >= 0) == (h[j] >= 0) {
			continue
		}
		a, b := crossing(k, i), crossing(k, j)
		if h[k] < 0 {
			a, b = b, a
		}
		if s := (trace{a: a, b: b, weight: weight, facet: g}); !c.outside(&s) {
			s.body, s.long = c.b.nest.m.Topology().Shell[g], math.Hypot(b[0]-a[0], b[1]-a[1])
			c.traces = append(c.traces, s)
		}
	}
}

// outside reports whether an edge of the facet parts it from a trace.
func (c *carver) outside(s *trace) bool {
	for k := range 3 {
		p, q := c.at[k], c.at[(k+1)%3]
		if turnOf(p, q, s.a) < 0 && turnOf(p, q, s.b) < 0 {
			return true
		}
	}
	return false
}

// turnOf is twice the area of a triangle, positive counter-clockwise.
func turnOf(p, q, r [2]float64) float64 {
	return float64((q[0]-p[0])*(r[1]-p[1])) - float64((q[1]-p[1])*(r[0]-p[0]))
}

// part cuts a piece along a long trace whose line does not run far through it beyond
// the trace, and adds what of it bounds material unless all or nothing does. The traces are those
// that meet it; around its point ref the other bodies wind so often, and above the
// facet each of those that the traces are of.
func (c *carver) part(poly []rimmed, traces []int32, ref [2]float64, others winding, winds []bodyWind) fate {
	least := c.touch / 16
	cut, most := -1, math.Inf(-1)
	from := len(c.lists)
	c.sides = c.sides[:0]
	for i, p := range poly {
		at, to := c.at[p.at], c.at[poly[(i+1)%len(poly)].at]
		c.sides = append(c.sides, pieceSide{at, [2]float64{to[0] - at[0], to[1] - at[1]}})
	}
	c.chords = c.chords[:0]
	for _, i := range traces {
		from, to := c.traces[i].chord(c.sides)
		if max(0, from) > min(1, to) {
			continue
		}
		c.lists, c.chords = append(c.lists, i), append(c.chords, [2]float64{from, to})
	}
	inside := c.lists[from:]
	defer func() { c.lists = c.lists[:from] }()
	if c.buried(ref, others, winds, inside) {
		return fateBuried
	}
	for k, i := range inside {
		s, from, to := &c.traces[i], c.chords[k][0], c.chords[k][1]
		// Where a cut goes on beyond its trace it parts what may belong together.
		l := (min(1, to) - max(0, from)) * s.long
		if worth := l - (to-from)*s.long/2; l > least && worth > most && c.cuts(poly, s, least) {
			cut, most = int(i), worth
		}
	}
	if cut < 0 {
		if c.b.sides(c.f, others.above) == solidBehind && others.more <= 0 {
			return fateBare
		}
		return fateBuried
	}
	room := len(c.polys)
	defer func() { c.polys = c.polys[:room] }()
	l, r := c.halve(poly, &c.traces[cut], least)
	var fates [2]fate
	of := len(c.winds)
	for i, half := range [2][]rimmed{l, r} {
		mid := c.inner(half)
		c.winds = c.winds[:of]
		sum := c.crossed(mid, ref, inside, winds)
		fates[i] = c.part(half, inside, mid, others.plus(sum), c.winds[of:])
	}
	c.winds = c.winds[:of]
	if fates[0] == fates[1] {
		return fates[0]
	}
	for i, half := range [2][]rimmed{l, r} {
		if fates[i] == fateBare {
			c.bare(half)
		}
	}
	return fateParted
}

// buried reports whether other bodies cover all of a piece, as far as one sees
// from its point ref without cutting it: whether there is material ahead wherever
// a straight way from there leads. It crosses no trace twice.
func (c *carver) buried(ref [2]float64, others winding, winds []bodyWind, traces []int32) bool {
	least := others.above
	for len(traces) > 0 {
		var w bodyWind
		w, winds = c.windOf(traces, winds)
		low := w.wind
		for ; len(traces) > 0 && c.traces[traces[0]].body == w.body; traces = traces[1:] {
			s := &c.traces[traces[0]]
			if s.weight.above != 0 && (turnOf(s.a, s.b, ref) > 0) == (s.weight.above > 0) {
				low -= max(s.weight.above, -s.weight.above)
			}
		}
		if c.b.outward[w.body] {
			low = max(low, 0)
		}
		least -= w.wind - low
	}
	return c.b.sides(c.f, least)&solidAhead != 0
}

// windOf is that of the body of the first of some traces. The winds are those of
// their bodies, and maybe of others, in the same order; it returns the rest, too.
func (c *carver) windOf(traces []int32, winds []bodyWind) (bodyWind, []bodyWind) {
	for winds[0].body != c.traces[traces[0]].body {
		winds = winds[1:]
	}
	return winds[0], winds[1:]
}

// pieceSide is where a side of a piece begins, and the way to its end.
type pieceSide struct{ at, way [2]float64 }

// chord clips the line of a trace to a piece: from where to where of the trace it
// lies there. Of a trace that a side parts from the piece it returns from > to.
func (s *trace) chord(sides []pieceSide) (from, to float64) {
	from, to = math.Inf(-1), math.Inf(1)
	for i := range sides {
		p := &sides[i]
		a := float64(p.way[0]*(s.a[1]-p.at[1])) - float64(p.way[1]*(s.a[0]-p.at[0]))
		b := float64(p.way[0]*(s.b[1]-p.at[1])) - float64(p.way[1]*(s.b[0]-p.at[0]))
		switch {
		case a < 0 && b < 0:
			return 1, 0
		case a < b:
			from = max(from, a/(a-b))
		case a > b:
			to = min(to, a/(a-b))
		}
	}
	return from, to
}

// cuts reports whether a piece has corners on both sides of a trace's line, by
// more than least.
func (c *carver) cuts(poly []rimmed, s *trace, least float64) bool {
	least *= s.long
	left, right := false, false
	for _, p := range poly {
		d := turnOf(s.a, s.b, c.at[p.at])
		left, right = left || d > least, right || d < -least
	}
	return left && right
}

// halve cuts a piece along a trace's line, next to which corners are on it.
func (c *carver) halve(poly []rimmed, s *trace, least float64) (l, r []rimmed) {
	least *= s.long
	side := func(p rimmed) (int, float64) {
		d := turnOf(s.a, s.b, c.at[p.at])
		switch {
		case d > least:
			return 1, d
		case d < -least:
			return -1, d
		}
		return 0, d
	}
	var halves [2][]rimmed
	for h, keep := range [2]int{1, -1} {
		from := len(c.polys)
		for i, p := range poly {
			q := poly[(i+1)%len(poly)]
			sp, dp := side(p)
			sq, dq := side(q)
			switch {
			case sp == keep || sp == 0 && sq == keep:
				c.polys = append(c.polys, p)
			case sp == 0:
				// On the line, the way on leads out or along it; it counts if the way here led in.
				if b, _ := side(poly[(i+len(poly)-1)%len(poly)]); b == keep {
					c.polys = append(c.polys, rimmed{p.at, sideCut})
				}
			}
			if sp*sq < 0 {
				x := rimmed{c.corner(p, q, dp, dq), p.on}
				if sp == keep {
					x.on = sideCut
				}
				c.polys = append(c.polys, x)
			}
		}
		halves[h] = c.polys[from:len(c.polys):len(c.polys)]
	}
	return halves[0], halves[1]
}

// corner is the corner at which a line crosses an edge: to the bit the same
// whichever half asks.
func (c *carver) corner(p, q rimmed, dp, dq float64) int32 {
	if p.at > q.at {
		p, q, dp, dq = q, p, dq, dp
	}
	a, b, t := c.at[p.at], c.at[q.at], dp/(dp-dq)
	x := [2]float64{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
	if n := len(c.at); c.at[n-1] == x {
		return int32(n - 1)
	} else if c.at[n-2] == x {
		return int32(n - 2)
	}
	c.at, c.named = append(c.at, x), append(c.named, 0)
	return int32(len(c.at) - 1)
}

// innerWeights have no pattern.
var innerWeights = func() (w [64]float64) {
	for i := range w {
		w[i] = 0.5 + math.Mod(0.6180339887*float64(i+1), 1)
	}
	return w
}()

// inner is a place in a piece, by weights of its corners that have no pattern:
// on parts drawn with round numbers the middle may well lie on a trace.
func (c *carver) inner(poly []rimmed) (at [2]float64) {
	sum := 0.0
	for i, p := range poly {
		w := innerWeights[i%len(innerWeights)]
		at[0] += w * c.at[p.at][0]
		at[1] += w * c.at[p.at][1]
		sum += w
	}
	return [2]float64{at[0] / sum, at[1] / sum}
}

// crossed is by how much more the other bodies wind around p than around q. It adds
// to the winds in hand how often those of the traces wind around p, given that around q.
func (c *carver) crossed(p, q [2]float64, traces []int32, winds []bodyWind) (sum winding) {
	for len(traces) > 0 {
		var w bodyWind
		w, winds = c.windOf(traces, winds)
		for ; len(traces) > 0 && c.traces[traces[0]].body == w.body; traces = traces[1:] {
			s := &c.traces[traces[0]]
			a, b := turnOf(p, q, s.a), turnOf(p, q, s.b)
			if (a < 0) == (b < 0) {
				continue
			}
			by := s.weight
			switch p, q := turnOf(s.a, s.b, p), turnOf(s.a, s.b, q); {
			case p <= 0 && q > 0:
				by = winding{-by.above, -by.more}
			case p <= 0 || q > 0:
				continue
			}
			sum, w.wind = sum.plus(by), w.wind+by.above
		}
		c.winds = append(c.winds, w)
	}
	return sum
}

// bare adds a piece, of many corners as more than one tile. Triangles that are
// narrower than bodies that touch may be apart are none, nor is what has no others.
func (c *carver) bare(poly []rimmed) {
	for len(poly) > tileMost {
		part := slices.Clone(poly[:tileMost])
		part[tileMost-1].on = sideCut
		c.bare(part)
		poly = append([]rimmed{{poly[0].at, sideCut}}, poly[tileMost-1:]...)
	}
	from := len(c.facets)
	c.begin()
	for i := 1; i+1 < len(poly); i++ {
		t := [3]int32{poly[0].at, poly[i].at, poly[i+1].at}
		p, q, r := c.at[t[0]], c.at[t[1]], c.at[t[2]]
		if sliver(Vec{p[0], p[1]}, Vec{q[0], q[1]}, Vec{r[0], r[1]}, 2*c.touch) {
			continue
		}
		c.facets = append(c.facets, [3]int32{c.name(t[0]), c.name(t[1]), c.name(t[2])})
		c.of = append(c.of, c.f)
	}
	if len(c.facets) == from {
		c.tiles = c.tiles[:len(c.tiles)-1]
		return
	}
	for _, p := range poly {
		c.rims = append(c.rims, rimmed{c.name(p.at), p.on})
	}
}

// name is a corner's number in the shreds, which it is given when first asked for.
func (c *carver) name(at int32) int32 {
	if at >= 3 && c.named[at] == 0 {
		c.named[at] = ^int32(len(c.verts))
		c.verts = append(c.verts, c.world(c.at[at]))
	}
	return c.named[at]
}

// findSeams finds what lies along the sides of tiles: pieces of one facet along
// each other, and those of two along the edge between them or where one runs into
// the other.
func (s *skin) findSeams(ctx context.Context) error {
	const step = 1 << 12
	found := make([][]seam, len(s.rims))
	parts := make([][]seam, (s.count()+step-1)/step) // sides
	err := parallel(ctx, s.count(), step, func(from, to int) error {
		room := make([]seam, 0, s.tiles[to].rim-s.tiles[from].rim)
		for i := int32(from); i < int32(to); i++ {
			for k := range s.rimOf(i) {
				x := seam{tile: i, side: int32(k)}
				n := len(room)
				list, whole := s.acrossEdge(x, room)
				room, found[s.rim(x)] = list, list[n:len(list):len(list)]
				if !whole {
					parts[from/step] = append(parts[from/step], x)
				}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	loose := slices.Concat(parts...)
	lines := make([][3]int32, len(loose))
	for i, x := range loose {
		a, b := s.ends(x)
		lines[i] = [3]int32{a, b, b}
	}
	near := New(s.m.Verts, lines)
	if _, err := near.bvh.get(ctx); err != nil {
		return err
	}
	err = each(ctx, len(loose), 1<<8, func(i int) {
		list := &found[s.rim(loose[i])]
		near.BVH().InBox(near.facetBox(int32(i)).Widened(seamDoubt*s.touch), func(j int32) bool {
			if x, ok := s.along(loose[i], loose[j]); ok && !slices.Contains(*list, x) {
				*list = append(*list, x)
			}
			return true
		})
		slices.SortFunc(*list, func(a, b seam) int {
			return cmp.Or(cmp.Compare(a.lo, b.lo), cmp.Compare(a.tile, b.tile), cmp.Compare(a.side, b.side))
		})
	})
	n := 0
	for _, list := range found {
		n += len(list)
	}
	s.seams, s.seamFirst = make([]seam, 0, n), make([]int32, len(s.rims)+1)
	for i, list := range found {
		s.seams = append(s.seams, list...)
		s.seamFirst[i+1] = int32(len(s.seams))
	}
	return err
}

// rim is a side's place in rims.
func (s *skin) rim(x seam) int32 { return s.tiles[x.tile].rim + x.side }

// ends are the vertices of a side.
func (s *skin) ends(x seam) (a, b int32) {
	if s.of == nil {
		t := &s.m.Facets[x.tile]
		return t[x.side], t[(x.side+1)%3]
	}
	r := s.rimOf(x.tile)
	return r[x.side].at, r[(int(x.side)+1)%len(r)].at
}

// acrossEdge adds what lies along a side on the other facet of the edge that it
// is a part of, and tells whether that is all.
func (s *skin) acrossEdge(x seam, found []seam) (_ []seam, whole bool) {
	on := s.rimOf(x.tile)[x.side].on
	if on == sideCut {
		return found, false
	}
	h := s.whole.Topology().Twin[3*s.face(x.tile)+int32(on)]
	if h < 0 {
		return found, false
	}
	first := s.piece(h / 3)
	if first < 0 {
		return found, false
	}
	a, b := s.ends(x)
	bare := s.m.Verts[b].Sub(s.m.Verts[a]).Norm()
	for i := s.tileOf[first]; int(i) < s.count() && s.face(i) == h/3; i++ {
		for k, r := range s.rimOf(i) {
			if int32(r.on) != h%3 {
				continue
			}
			if y, ok := s.along(x, seam{tile: i, side: int32(k)}); ok {
				found = append(found, y)
				bare -= y.hi - y.lo
			}
		}
	}
	return found, bare <= 2*seamDoubt*s.touch
}

// seamDoubt is how many touch the cuts through two facets along each other may be
// apart: each was made one touch off its facet, so farther off along it.
const seamDoubt = 8

// along tells what of a side another one runs along the opposite way, if both are
// cuts or neither is.
func (s *skin) along(h, g seam) (seam, bool) {
	if h.tile == g.tile || s.isCut(h.tile, int(h.side)) != s.isCut(g.tile, int(g.side)) {
		return seam{}, false
	}
	v, w := s.ends(h)
	x, y := s.ends(g)
	a, b, c, d := &s.m.Verts[v], &s.m.Verts[w], &s.m.Verts[x], &s.m.Verts[y]
	ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	l := norm(ux, uy, uz)
	by := 1 / l
	ux, uy, uz = by*ux, by*uy, by*uz
	at := func(p *Vec) float64 {
		return dot3(p[0]-a[0], p[1]-a[1], p[2]-a[2], ux, uy, uz)
	}
	from, to := at(d), at(c)
	lo, hi := max(0, from), min(l, to)
	if to <= from || hi-lo <= s.touch {
		return seam{}, false
	}
	if v == y && w == x { // one edge
		return seam{g.tile, g.side, lo, hi}, true
	}
	for _, p := range [2]float64{lo, hi} {
		q := d.Add(c.Sub(*d).Scale((p - from) / (to - from)))
		if q.Sub(a.Add(Vec{p * ux, p * uy, p * uz})).Norm() > seamDoubt*s.touch {
			return seam{}, false
		}
	}
	return seam{g.tile, g.side, lo, hi}, true
}

// isCut reports whether a side of a tile is a cut through a facet.
func (s *skin) isCut(tile int32, side int) bool {
	return s.of != nil && s.rimOf(tile)[side].on == sideCut
}

// endsInBody reports whether a tile may end at a side because another body is there:
// at a cut, or at an edge whose other facet it covers, all or in part.
func (s *skin) endsInBody(tile int32, side int) bool {
	if s.of == nil {
		return false
	}
	on := s.rimOf(tile)[side].on
	if on == sideCut {
		return true
	}
	h := s.whole.Topology().Twin[3*s.face(tile)+int32(on)]
	return h >= 0 && !s.share.whole(h/3)
}

// beyond is the tile on which a surface goes on without a step beyond what of a side
// at which a body ends or enters another runs from pa to pb; -1 for other sides and
// where there is none.
func (s *skin) beyond(x seam, pa, pb Vec) int32 {
	f := s.face(x.tile)
	if on := s.rimOf(x.tile)[x.side].on; on != sideCut {
		if e := s.whole.Topology().Twin[3*f+int32(on)]; e < 0 || s.share.whole(e/3) {
			return -1
		}
	}
	out := pb.Sub(pa).Cross(s.whole.Normal(f)).Unit().Scale(2 * seamDoubt * s.touch)
	for _, t := range [...]float64{0.5, 0.02, 0.98} { // a side may go on in part
		h, ok := s.m.BVH().Nearest(pa.Add(pb.Sub(pa).Scale(t)).Add(out), 4*s.touch, nil)
		if !ok {
			continue
		}
		if g := s.facet(h.Facet); g != f && s.whole.Normal(g).Dot(s.whole.Normal(f)) > 0 {
			return s.tile(h.Facet)
		}
	}
	return -1
}

// creases returns the seams at which two bodies meet at less than an angle of
// this cosine. The numbers of their vertices are those in verts.
func (s *skin) creases(least float64) (verts []Vec, sharp []sharpFeature) {
	verts = s.m.Verts
	if s.of == nil {
		return verts, nil
	}
	for i := range int32(s.count()) {
		f := s.face(i)
		for k, r := range s.rimOf(i) {
			for _, e := range s.seamsOf(i, k) {
				g := s.face(e.tile)
				if r.on != sideCut || f >= g {
					continue
				}
				nf, ng := s.whole.Normal(f), s.whole.Normal(g)
				if -nf.Dot(ng) <= least {
					continue
				}
				v, w := s.ends(seam{tile: i, side: int32(k)})
				a, b := s.m.Verts[v], s.m.Verts[w]
				u, n := b.Sub(a).Unit(), int32(len(verts))
				verts = append(verts, a.Add(u.Scale(e.lo)), a.Add(u.Scale(e.hi)))
				sharp = append(sharp, sharpFeature{a: n, b: n + 1, f: f, g: g, angle: angleBetween(nf, ng.Scale(-1)), notch: true, edge: -1})
			}
		}
	}
	return verts, sharp
}

// seamsOf is what lies along a side of a tile, in order.
func (s *skin) seamsOf(tile int32, side int) []seam {
	if s.of == nil {
		h := s.m.Topology().Twin[3*tile+int32(side)]
		if h < 0 {
			return nil
		}
		a, b := s.m.ends(h)
		return []seam{{h / 3, h % 3, 0, s.m.Verts[b].Sub(s.m.Verts[a]).Norm()}}
	}
	i := s.tiles[tile].rim + int32(side)
	return s.seams[s.seamFirst[i]:s.seamFirst[i+1]]
}
