package mesh

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
)

// This file cuts a mesh by many level planes at once.

// planes are level, evenly spaced: number k lies in the middle of slice k.
type planes struct {
	pitch float64
	n     int
}

// planesMax bounds the number of cuts: a metre in micrometres.
const planesMax = 1_000_000

// planes spaces planes over the part's height, in the middle of slices of the
// pitch; a last slice of less than half the pitch has none.
func (s *stance) planes(pitch float64) (planes, error) {
	if !(pitch > 0) || s.size[2]/pitch > planesMax {
		return planes{}, fmt.Errorf("cut every %g mm of %g mm: at most %d cuts", pitch, s.size[2], planesMax)
	}
	return planes{pitch, max(0, int(math.Ceil(s.size[2]/pitch-0.5-1e-9)))}, nil
}

func (p planes) z(k int) float64 { return (float64(k) + 0.5) * p.pitch }

// above returns the number of the first plane higher than z, not below 0 and
// not above n. A point on a plane counts as above it: as if every plane were
// lifted by next to nothing, the same for all facets, so that loops close.
func (p planes) above(z float64) int {
	k := min(max(int(z/p.pitch+0.5), 0), p.n)
	for k > 0 && p.z(k-1) > z {
		k--
	}
	for k < p.n && p.z(k) <= z {
		k++
	}
	return k
}

const (
	// sliceBlock planes are cut together by one goroutine.
	sliceBlock = 32
	// sliceTall facets span more blocks than this. They stand in one list that
	// every block looks through, so that lists stay as long as the mesh.
	sliceTall = 8
)

// slicer knows which facets meet which planes.
type slicer struct {
	*stance
	planes
	from, to []int32 // facet f meets planes from[f] <= k < to[f]
	first    []int32 // per block, into facets
	facets   []int32 // in a block's reach, in order
	tall     []int32
}

func newSlicer(ctx context.Context, m *Mesh, f Frame, pitchMM float64) (*slicer, error) {
	if _, err := m.topo.get(ctx); err != nil {
		return nil, err
	}
	s, err := newStance(ctx, m, f)
	if err != nil {
		return nil, err
	}
	p, err := s.planes(pitchMM)
	if err != nil {
		return nil, err
	}
	return s.slicer(ctx, p)
}

// slicer cuts the stance's mesh by planes.
func (s *stance) slicer(ctx context.Context, p planes) (*slicer, error) {
	m := s.m
	c := &slicer{stance: s, planes: p}
	n := len(m.Facets)
	c.from, c.to = make([]int32, n), make([]int32, n)
	err := parallel(ctx, n, 1<<14, func(from, to int) error {
		for f := from; f < to; f++ {
			t := m.Facets[f]
			x, y, z := s.at[t[0]][2], s.at[t[1]][2], s.at[t[2]][2]
			c.from[f], c.to[f] = int32(p.above(min(x, y, z))), int32(p.above(max(x, y, z)))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	c.fill(c.count())
	return c, ctx.Err()
}

func (c *slicer) blocks() int { return (c.n + sliceBlock - 1) / sliceBlock }

// span returns the blocks of a facet: those of the planes next to it, also where
// it meets none.
func (c *slicer) span(f int) (from, to int32) {
	from = max(0, c.from[f]-1) / sliceBlock
	return from, min(c.to[f]/sliceBlock+1, int32(c.blocks()))
}

func (c *slicer) count() []int32 {
	c.first = make([]int32, c.blocks()+1)
	for f := range c.from {
		from, to := c.span(f)
		if to-from > sliceTall {
			c.tall = append(c.tall, int32(f))
			continue
		}
		for b := from; b < to; b++ {
			c.first[b+1]++
		}
	}
	for b := range c.blocks() {
		c.first[b+1] += c.first[b]
	}
	return slices.Clone(c.first)
}

func (c *slicer) fill(next []int32) {
	c.facets = make([]int32, c.first[c.blocks()])
	for f := range c.from {
		from, to := c.span(f)
		if to-from > sliceTall {
			continue
		}
		for b := from; b < to; b++ {
			c.facets[next[b]] = int32(f)
			next[b]++
		}
	}
}

// planeBlock is a block of planes, and the facets in its reach as it meets them.
type planeBlock struct {
	first  int // its lowest plane
	facets []int32
	// facet i meets the planes first+from[i] <= k < first+to[i], as far as they are
	// of the block or the next above.
	from, to []int8
	// changes[i] says that plane first+i meets other facets than the one below, or
	// that some lie between the two.
	changes [sliceBlock + 3]bool
}

// like reports whether the block's plane k meets the same facets as plane k-1, each
// of which lies across both.
func (b *planeBlock) like(k int) bool { return k > b.first && !b.changes[k-b.first] }

// meets reports whether facet i meets plane k.
func (b *planeBlock) meets(i, k int) bool {
	k -= b.first
	return int(b.from[i]) <= k && k < int(b.to[i])
}

// inSlab reports whether facet i lies in part between plane k and the next.
func (b *planeBlock) inSlab(i, k int) bool {
	k -= b.first - 1
	return int(b.from[i]) <= k && k <= int(b.to[i])
}

// block fills in block number n.
func (c *slicer) block(n int, out *planeBlock) {
	out.first = n * sliceBlock
	out.facets = append(append(out.facets[:0], c.facets[c.first[n]:c.first[n+1]]...), c.tall...)
	out.from, out.to = out.from[:0], out.to[:0]
	within := func(k int32) int8 { return int8(min(max(int(k)-out.first, 0), sliceBlock+2)) }
	for _, f := range out.facets {
		out.from, out.to = append(out.from, within(c.from[f])), append(out.to, within(c.to[f]))
	}
	clear(out.changes[:])
	for i := range out.from {
		out.changes[out.from[i]], out.changes[out.to[i]] = true, true
	}
}

// cut is the section at one plane: segments, chained to loops. Seen from above
// material lies on the left of a segment.
type cut struct {
	segs  []seg
	loops []loop
	slot  []int32 // of a facet, the number of its segment if that names the facet
	rays  []ray
	noise float64 // mm2: area that a segment may add by rounding
	// area is the signed area of the section, which needs no loops and is exact to
	// rounding where the mesh is closed.
	area, perimeter float64
}

// ray is a segment seen from its end on an edge that more than two facets share.
type ray struct {
	edge  [2]int32 // the edge's vertices, the lower number first
	angle float64  // of the direction in which the segment lies
	seg   int32
	out   bool // the segment begins here
}

type seg struct {
	from, to point
	facet    int32
	enter    int32 // half-edges of the facet over which it comes and goes
	leave    int32
	next     int32 // -1 where an open edge ends the chain
	loop     int32
	fed      bool // it is some segment's next
}

// loop is a closed chain of segments, or an open one where the mesh is.
type loop struct {
	first int32
	size  int32
	area  float64 // signed: negative for a hole's outline; of an open chain as if closed by its chord
	open  bool
}

func (c *slicer) newCut() *cut {
	r := max(c.stance.size[0], c.stance.size[1])
	return &cut{slot: make([]int32, len(c.m.Facets)), noise: 0x1p-52 * r * r}
}

// cutAt cuts at plane k among the facets of a block. Below is the cut at the plane
// below, if there is one; it may be the same.
func (c *slicer) cutAt(k int, b *planeBlock, below, out *cut) {
	z := c.z(k)
	if b.like(k) && len(c.m.Topology().crowded) == 0 {
		c.lift(z, below, out)
		return
	}
	out.segs = out.segs[:0]
	for i, f := range b.facets {
		if b.meets(i, k) {
			out.slot[f] = int32(len(out.segs))
			n := len(out.segs)
			out.segs = slices.Grow(out.segs, 1)[:n+1]
			c.segment(f, z, &out.segs[n])
		}
	}
	c.chain(z, out)
}

// lift makes the cut at height z of one below that meets the same facets: they are
// chained the same way.
func (c *slicer) lift(z float64, below, out *cut) {
	if out != below {
		out.segs, out.loops = append(out.segs[:0], below.segs...), append(out.loops[:0], below.loops...)
	}
	for i := range out.segs {
		s := &out.segs[i]
		t, e := &c.m.Facets[s.facet], s.enter-3*s.facet
		s.from[0], s.from[1] = crossing(&c.stance.at[t[(e+1)%3]], &c.stance.at[t[e]], z)
	}
	for i := range out.segs {
		if s := &out.segs[i]; s.next < 0 {
			c.end(s, z)
		} else {
			s.to = out.segs[s.next].from
		}
	}
	out.sum()
	for i := range out.loops {
		out.walk(&out.loops[i])
	}
}

// walk works out a loop's area.
func (x *cut) walk(l *loop) {
	l.area = 0
	var last point
	for i, n := l.first, int32(0); n < l.size; n++ {
		s := &x.segs[i]
		l.area += s.from.cross(s.to) / 2
		last, i = s.to, s.next
	}
	if l.open {
		l.area += last.cross(x.segs[l.first].from) / 2
	}
}

// gates says over which edges the segment of a facet comes and goes, by which of
// its corners lie above the plane: 1 for the first, 2 for the second, 4.
var gates = [8]struct{ enter, leave int32 }{1: {0, 2}, 2: {1, 0}, 3: {1, 2}, 4: {2, 1}, 5: {0, 1}, 6: {2, 0}}

// segment says where the plane at height z cuts facet f, all but its end. One
// corner lies on one side and two on the other; the segment comes over the edge
// that runs down through the plane and goes over the one that runs up.
func (c *slicer) segment(f int32, z float64, s *seg) {
	t := &c.m.Facets[f]
	above := 0
	for k, v := range t {
		if c.stance.at[v][2] >= z {
			above |= 1 << k
		}
	}
	g := gates[above]
	s.facet, s.enter, s.leave, s.next, s.loop, s.fed = f, 3*f+g.enter, 3*f+g.leave, -1, -1, false
	s.from[0], s.from[1] = crossing(&c.stance.at[t[(g.enter+1)%3]], &c.stance.at[t[g.enter]], z)
}

// end works out where a segment ends.
func (c *slicer) end(s *seg, z float64) {
	t, e := &c.m.Facets[s.facet], s.leave-3*s.facet
	s.to[0], s.to[1] = crossing(&c.stance.at[t[e]], &c.stance.at[t[(e+1)%3]], z)
}

// crossing returns where an edge meets the plane. Both its facets ask with the
// lower end first, so they get the same bits.
func crossing(low, high *Vec, z float64) (x, y float64) {
	t := (z - low[2]) / (high[2] - low[2])
	return low[0] + float64(t*(high[0]-low[0])), low[1] + float64(t*(high[1]-low[1]))
}

// chain joins the segments at height z to loops. Where one goes on in the next its
// end is that one's beginning, to the bit.
func (c *slicer) chain(z float64, x *cut) {
	topo := c.m.Topology()
	if len(topo.crowded) > 0 {
		for i := range x.segs {
			c.end(&x.segs[i], z)
		}
		x.tie(c.m)
	}
	for i := range x.segs {
		s := &x.segs[i]
		if h := topo.Twin[s.leave]; h >= 0 {
			j := x.slot[h/3]
			if int(j) < len(x.segs) && x.segs[j].facet == h/3 && x.segs[j].enter == h {
				s.next, s.to = j, x.segs[j].from
				x.segs[j].fed = true
				continue
			}
		}
		if s.next < 0 {
			c.end(s, z)
		}
	}
	x.sum()
	x.loops = x.loops[:0]
	// Open chains from their beginning first, then what is left are rings.
	for i := range x.segs {
		if !x.segs[i].fed {
			x.follow(int32(i))
		}
	}
	for i := range x.segs {
		if x.segs[i].loop < 0 {
			x.follow(int32(i))
		}
	}
}

// tie joins segments that meet on an edge of more than two facets. Counter-clockwise
// about the edge material begins at a segment that goes out and ends at the next
// that comes in: bodies that touch along an edge keep outlines of their own.
func (x *cut) tie(m *Mesh) {
	x.rays = x.rays[:0]
	add := func(i, h int32, d point, out bool) {
		if m.Topology().Twin[h] != manyTwins {
			return
		}
		t := m.Facets[h/3]
		a, b := t[h%3], t[(h+1)%3]
		x.rays = append(x.rays, ray{[2]int32{min(a, b), max(a, b)}, math.Atan2(d[1], d[0]), i, out})
	}
	for i := range x.segs {
		s := &x.segs[i]
		d := s.to.sub(s.from)
		add(int32(i), s.enter, d, true)
		add(int32(i), s.leave, point{-d[0], -d[1]}, false)
	}
	slices.SortFunc(x.rays, func(a, b ray) int {
		ends := 0 // where both lie one on the other, what has begun ends first
		if a.out != b.out {
			ends = 1
			if b.out {
				ends = -1
			}
		}
		return cmp.Or(cmp.Compare(a.edge[0], b.edge[0]), cmp.Compare(a.edge[1], b.edge[1]), cmp.Compare(a.angle, b.angle), ends, cmp.Compare(a.seg, b.seg))
	})
	for i := 0; i < len(x.rays); {
		j := i + 1
		for j < len(x.rays) && x.rays[j].edge == x.rays[i].edge {
			j++
		}
		x.tieEdge(x.rays[i:j])
		i = j
	}
}

// tieEdge joins the segments of one edge, in order of their angles.
func (x *cut) tieEdge(rays []ray) {
	var begun []int32
	for round := range 2 { // the second is for material across the angle pi
		for _, r := range rays {
			switch {
			case r.out && round == 0:
				begun = append(begun, r.seg)
			case !r.out && x.segs[r.seg].next < 0 && len(begun) > 0:
				last := begun[len(begun)-1]
				begun = begun[:len(begun)-1]
				x.segs[r.seg].next, x.segs[last].fed = last, true
			}
		}
	}
}

func (x *cut) follow(i int32) {
	l := loop{first: i, open: true}
	var last point
	for i >= 0 {
		s := &x.segs[i]
		if s.loop >= 0 {
			l.open = s.loop != int32(len(x.loops))
			break
		}
		s.loop = int32(len(x.loops))
		l.size++
		l.area += s.from.cross(s.to) / 2
		last, i = s.to, s.next
	}
	if l.open {
		l.area += last.cross(x.segs[l.first].from) / 2
	}
	x.loops = append(x.loops, l)
}

// sum works out area and perimeter.
func (x *cut) sum() {
	a, l := 0.0, 0.0
	for i := range x.segs {
		s := &x.segs[i]
		fx, fy, tx, ty := s.from[0], s.from[1], s.to[0], s.to[1]
		a += (float64(fx*ty) - float64(fy*tx)) / 2
		dx, dy := tx-fx, ty-fy
		l += math.Sqrt(float64(dx*dx) + float64(dy*dy))
	}
	x.area, x.perimeter = a, l
}

// isFilled reports whether material fills a loop, by more than rounding gives.
func (x *cut) isFilled(l *loop) bool { return l.area > float64(l.size)*x.noise }

// islands returns how many separate areas of material the section has: the
// outlines that material fills.
func (x *cut) islands() (n int) {
	for i := range x.loops {
		if x.isFilled(&x.loops[i]) {
			n++
		}
	}
	return n
}

// cutBlock cuts the planes of a block, in order.
func (c *slicer) cutBlock(ctx context.Context, b *planeBlock, x *cut, do func(k int, x *cut)) error {
	for k := b.first; k < min(c.n, b.first+sliceBlock); k++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		c.cutAt(k, b, x, x)
		do(k, x)
	}
	return nil
}

// each cuts all planes, many at once.
func (c *slicer) each(ctx context.Context, do func(k int, x *cut)) error {
	type scratch struct {
		planeBlock
		*cut
	}
	spare := spares[*scratch]{make: func() *scratch { return &scratch{cut: c.newCut()} }}
	return parallel(ctx, c.blocks(), 1, func(b, _ int) error {
		s := spare.get()
		defer spare.put(s)
		c.block(b, &s.planeBlock)
		return c.cutBlock(ctx, &s.planeBlock, s.cut, do)
	})
}
