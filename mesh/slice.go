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

// cut is the section at one plane: segments, chained to loops. Seen from above
// material lies on the left of a segment.
type cut struct {
	segs  []seg
	loops []loop
	slot  []int32 // of a facet, the number of its segment if that names the facet
	rays  []ray
	noise float64 // mm2: area that a segment may add by rounding
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

// at cuts at plane k among the given facets.
func (c *slicer) cutAt(k int, facets [2][]int32, out *cut) {
	out.segs = out.segs[:0]
	z := c.z(k)
	for _, list := range facets {
		for _, f := range list {
			if int32(k) < c.from[f] || int32(k) >= c.to[f] {
				continue
			}
			out.slot[f] = int32(len(out.segs))
			out.segs = append(out.segs, c.segment(f, z))
		}
	}
	out.chain(c.m)
}

// segment returns where the plane at height z cuts facet f. One corner lies on
// one side and two on the other; the segment comes over the edge that runs down
// through the plane and goes over the one that runs up.
func (c *slicer) segment(f int32, z float64) seg {
	t := c.m.Facets[f]
	s := seg{facet: f}
	p := [3]*Vec{&c.stance.at[t[0]], &c.stance.at[t[1]], &c.stance.at[t[2]]}
	up := [3]bool{p[0][2] >= z, p[1][2] >= z, p[2][2] >= z}
	for e := range 3 {
		g := (e + 1) % 3
		if up[e] == up[g] {
			continue
		}
		if up[e] {
			s.enter, s.from = 3*f+int32(e), crossing(p[g], p[e], z)
		} else {
			s.leave, s.to = 3*f+int32(e), crossing(p[e], p[g], z)
		}
	}
	return s
}

// crossing returns where an edge meets the plane. Both its facets ask with the
// lower end first, so they get the same bits.
func crossing(low, high *Vec, z float64) point {
	t := (z - low[2]) / (high[2] - low[2])
	return point{low[0] + float64(t*(high[0]-low[0])), low[1] + float64(t*(high[1]-low[1]))}
}

// chain joins the segments to loops.
func (x *cut) chain(m *Mesh) {
	topo := m.Topology()
	for i := range x.segs {
		x.segs[i].next, x.segs[i].loop = -1, -1
	}
	x.tie(m)
	for i := range x.segs {
		s := &x.segs[i]
		h := topo.Twin[s.leave]
		if h < 0 {
			continue
		}
		j := x.slot[h/3]
		if int(j) < len(x.segs) && x.segs[j].facet == h/3 && x.segs[j].enter == h {
			s.next = j
			x.segs[j].fed = true
		}
	}
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

// area returns the signed area of the section, which needs no loops and is
// exact to rounding where the mesh is closed.
func (x *cut) area() (a float64) {
	for i := range x.segs {
		a += x.segs[i].from.cross(x.segs[i].to) / 2
	}
	return a
}

func (x *cut) perimeter() (l float64) {
	for i := range x.segs {
		l += x.segs[i].to.sub(x.segs[i].from).norm()
	}
	return l
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

// lists returns the facets in reach of a block.
func (c *slicer) lists(b int) [2][]int32 {
	return [2][]int32{c.facets[c.first[b]:c.first[b+1]], c.tall}
}

// cutBlock cuts the planes of a block, in order.
func (c *slicer) cutBlock(ctx context.Context, b int, x *cut, do func(k int) error) error {
	lists := c.lists(b)
	for k := b * sliceBlock; k < min(c.n, (b+1)*sliceBlock); k++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		c.cutAt(k, lists, x)
		if err := do(k); err != nil {
			return err
		}
	}
	return nil
}
