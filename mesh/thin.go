package mesh

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"sync"
	"sync/atomic"
)

// This file joins what is thinner than a limit into regions, and tells how a
// thin wall is held.

// Regions returns the connected regions with values below limit, thinnest
// first. Values within Err of the limit pass, and a limit above the cap counts
// as the cap.
//
// The regions of the last few limits are kept: a spec that is typed in an
// editor is judged again at every key, by the same limits.
func (t *ThicknessField) Regions(limitMM float64) []ThinRegion {
	found, _ := t.regionsKept(context.Background(), limitMM) // without an end there is no error
	return slices.Clone(found)
}

// FindRegions finds the regions below some limits, up to three, for Regions to
// return at once. The error is the context's.
func (t *ThicknessField) FindRegions(ctx context.Context, limitsMM ...float64) error {
	for _, l := range limitsMM {
		if _, err := t.regionsKept(ctx, l); err != nil {
			return err
		}
	}
	return nil
}

func (t *ThicknessField) regionsKept(ctx context.Context, limitMM float64) ([]ThinRegion, error) {
	if found, ok := t.memo.of(limitMM); ok {
		return found, nil
	}
	if t.m == nil {
		panic(fmt.Sprintf("mesh: regions below %v mm asked of a field that was kept for other limits", limitMM))
	}
	// Not under the lock: who asks at the same time may have less time to wait.
	found, err := t.regionsBelow(ctx, limitMM)
	if err == nil {
		t.memo.keep(limitMM, found)
	}
	return found, err
}

// regionsMost is for how many limits a field keeps its regions: those of walls
// held on two sides and on one, and of feather edges, before and after a change.
const regionsMost = 6

// regionMemo keeps the regions of a field's last limits.
type regionMemo struct {
	mu   sync.Mutex // guards last
	last []limitRegions
}

type limitRegions struct {
	limitMM float64
	regions []ThinRegion
}

func (k *regionMemo) of(limitMM float64) ([]ThinRegion, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, r := range k.last {
		if r.limitMM == limitMM {
			return r.regions, true
		}
	}
	return nil, false
}

func (k *regionMemo) keep(limitMM float64, found []ThinRegion) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.last = append(k.last, limitRegions{limitMM, found})
	if len(k.last) > regionsMost {
		k.last = slices.Delete(k.last, 0, 1)
	}
}

func (t *ThicknessField) regionsBelow(ctx context.Context, limitMM float64) ([]ThinRegion, error) {
	lim := float32(min(limitMM, t.Params.CapMM) - t.Err)
	nodes, err := t.settledBelow(ctx, lim)
	if err != nil {
		return nil, err
	}
	s := thinSets{t: t, ctx: ctx, lim: lim, nodes: nodes}
	s.set = make([]int32, len(nodes))
	for i := range s.set {
		s.set[i] = int32(i)
	}
	s.join()
	out, index, thinnest := s.collect()
	s.place(out, thinnest)
	s.held(out, index)
	sort.SliceStable(out, func(i, j int) bool { return out[i].MinMM < out[j].MinMM })
	return out, ctx.Err()
}

// thinSets is a union-find over the field's leaves.
type thinSets struct {
	t     *ThicknessField
	ctx   context.Context
	lim   float32
	nodes []node // the field's, with all that are thinner settled
	set   []int32
	rim   []rimPiece
}

// What rimPiece.other is where the surface ends, and where it runs into another
// body.
const (
	rimOpen = -1
	rimCut  = -2
)

// rimPiece is a piece of a region's border: edge k of a thin leaf, beside
// another leaf that is not thin, or a rim value.
type rimPiece struct {
	leaf, other int32
	a, b        Vec
}

// thinStep leaves are looked at between two questions whether to stop, or
// rimStep pieces of border, each of which takes a ray.
const (
	thinStep = 1 << 12
	rimStep  = 1 << 8
)

func (s *thinSets) thin(id int32) bool { return s.nodes[id].lo < s.lim }

// stopped looks at the context once in a while, at i of a loop whose rounds
// take so long that every is about a millisecond.
func (s *thinSets) stopped(i, every int) bool { return i%every == 0 && s.ctx.Err() != nil }

// find is the lowest number of the set, once all are joined.
func (s *thinSets) find(i int32) int32 {
	for {
		up := atomic.LoadInt32(&s.set[i])
		if up == i {
			return i
		}
		next := atomic.LoadInt32(&s.set[up])
		if next != up {
			atomic.CompareAndSwapInt32(&s.set[i], up, next)
		}
		i = next
	}
}

// union keeps the lower number as the root, so that the order of unions
// doesn't show. Many may join at once: a root that is none any more is looked for
// again (Anderson and Woll 1991, "Wait-free parallel algorithms for the union-find
// problem").
func (s *thinSets) union(i, j int32) {
	for {
		i, j = s.find(i), s.find(j)
		if i == j || atomic.CompareAndSwapInt32(&s.set[max(i, j)], max(i, j), min(i, j)) {
			return
		}
	}
}

// joiner joins leaves; each goroutine has its own.
type joiner struct {
	*thinSets
	plots       halver
	rim         []rimPiece // of the tiles in hand
	own, others []strip    // scratch
	turns       int
	ended       bool
}

// joinStep tiles are joined at once: some have thousands of leaves.
const joinStep = 16

func (s *thinSets) join() {
	n := s.t.skin.count()
	rims := make([][]rimPiece, (n+joinStep-1)/joinStep)
	joiners := spares[*joiner]{make: func() *joiner { return &joiner{thinSets: s, plots: halver{t: s.t}} }}
	err := parallel(s.ctx, n, joinStep, func(from, to int) error {
		j := joiners.get()
		defer joiners.put(j)
		j.rim = j.rim[:0]
		for f := int32(from); f < int32(to); f++ {
			if s.thin(f) {
				c := s.t.skin.plot(f)
				j.inside(f, &c)
				for k := range c.k {
					j.seam(f, &c, k)
				}
			}
		}
		rims[from/joinStep] = slices.Clone(j.rim)
		return s.ctx.Err()
	})
	if err != nil {
		return // so do the others
	}
	s.rim = slices.Concat(rims...)
	_ = parallel(s.ctx, len(s.nodes), thinStep, func(from, to int) error { // the two faces of a wall are one
		j := joiners.get()
		defer joiners.put(j)
		for i := int32(from); i < int32(to); i++ {
			if nd := &s.nodes[i]; nd.kids <= 0 && nd.with >= 0 && s.thin(i) {
				if w := j.across(i, nd.with); s.thin(w) {
					s.union(i, w)
				}
			}
		}
		return nil
	})
}

// inside joins the leaves under a node along its cuts.
func (s *joiner) inside(id int32, c *plot) {
	kids := s.nodes[id].kids
	if kids <= 0 || !s.thin(id) {
		return
	}
	if s.turns++; s.turns%rimStep == 0 && s.ctx.Err() != nil {
		s.ended = true
	}
	if s.ended {
		return
	}
	l, r := s.plots.halves(kids, c)
	s.alongCut(kids, &l, kids+1, &r)
	s.alongCut(kids+1, &r, kids, &l)
	s.inside(kids, &l)
	s.inside(kids+1, &r)
}

// alongCut joins the thin leaves of a half along the cut with those of the other.
func (s *joiner) alongCut(id int32, c *plot, other int32, d *plot) {
	if !s.thin(id) {
		return
	}
	on := onCut + c.cuts - 1
	at := c.line(c.side(on))
	s.own = s.strips(id, c, on, &at, s.own[:0])
	s.others = s.strips(other, d, on, &at, s.others[:0])
	s.meet(&at, rimOpen)
}

// seam joins the thin leaves along a side of a tile with what lies along it.
func (s *joiner) seam(tile int32, c *plot, side int) {
	at, end := c.line(side), int32(rimOpen)
	if s.t.skin.endsInBody(tile, side) {
		end = rimCut
	}
	s.own = s.strips(tile, c, int8(side), &at, s.own[:0])
	s.others = s.others[:0]
	for _, e := range s.t.skin.seamsOf(tile, side) {
		from, d := len(s.others), s.t.skin.plot(e.tile)
		s.others = s.strips(e.tile, &d, int8(e.side), &at, s.others)
		for i := range s.others[from:] {
			y := &s.others[from+i]
			y.lo, y.hi = max(y.lo, e.lo), min(y.hi, e.hi)
		}
	}
	s.meet(&at, end)
}

// strip is a leaf along a line, from lo to hi of it.
type strip struct {
	leaf   int32
	lo, hi float64
}

// strips lists the leaves of a node along an edge of its tile or a cut, which
// runs along the line.
func (s *joiner) strips(id int32, c *plot, on int8, at *line, to []strip) []strip {
	k := c.side(on)
	if k < 0 {
		return to
	}
	if kids := s.nodes[id].kids; kids > 0 {
		l, r := s.plots.halves(kids, c)
		return s.strips(kids+1, &r, on, at, s.strips(kids, &l, on, at, to))
	}
	lo, hi := at.place(c.p[k]), at.place(c.p[(k+1)%c.k])
	return append(to, strip{id, min(lo, hi), max(lo, hi)})
}

// meet joins the thin of the own strips of a line with the others beside them, and
// notes where those are not thin, or end as end says.
func (s *joiner) meet(at *line, end int32) {
	byPlace := func(a, b strip) int { return cmp.Or(cmp.Compare(a.lo, b.lo), cmp.Compare(a.leaf, b.leaf)) }
	slices.SortFunc(s.own, byPlace)
	slices.SortFunc(s.others, byPlace)
	note := func(leaf, other int32, lo, hi float64) {
		s.rim = append(s.rim, rimPiece{leaf, other, at.world(lo), at.world(hi)})
	}
	others := s.others
	for _, x := range s.own {
		for len(others) > 0 && others[0].hi <= x.lo {
			others = others[1:]
		}
		if !s.thin(x.leaf) {
			continue
		}
		to, doubt := x.lo, min(s.t.Err, (x.hi-x.lo)/2)
		for _, y := range others {
			if y.lo >= x.hi {
				break
			}
			lo, hi := max(x.lo, y.lo), min(x.hi, y.hi)
			if hi-lo <= min(doubt, (y.hi-y.lo)/2) {
				continue
			}
			if lo > to+doubt {
				note(x.leaf, end, to, lo)
			}
			to = max(to, hi)
			if s.thin(y.leaf) {
				s.union(x.leaf, y.leaf)
			} else {
				note(x.leaf, y.leaf, lo, hi)
			}
		}
		if x.hi > to+doubt {
			note(x.leaf, end, to, x.hi)
		}
	}
}

// across returns the leaf of facet f that the middle of leaf id faces: the one
// with the nearest point.
func (s *joiner) across(id, f int32) int32 {
	t := s.t
	at := t.skin.tile(f)
	kids := s.nodes[at].kids
	if kids <= 0 {
		return at
	}
	from := s.plots.plotOf(id)
	a, b, d := t.m.Corners(f)
	x := nearestOnFacet(from.middle(), a, b, d)
	c, n := t.skin.plot(at), t.skin.normal(at)
	for ; kids > 0; kids = s.nodes[at].kids {
		l, r := s.plots.halves(kids, &c)
		if l.p[2].Sub(l.p[1]).Cross(x.Sub(l.p[1])).Dot(n) < 0 { // beyond the cut
			at, c = kids+1, r
		} else {
			at, c = kids, l
		}
	}
	return at
}

// collect makes a region of every set, with all but what is asked of the mesh
// again. It returns the region of every root, and the thinnest leaf of every region.
func (s *thinSets) collect() (out []ThinRegion, index map[int32]int, thinnest []int32) {
	t, plots := s.t, halver{t: s.t}
	index = map[int32]int{}
	for i := range s.nodes {
		if s.stopped(i, thinStep) {
			return
		}
		id := int32(i)
		nd := &s.nodes[id]
		if nd.kids > 0 || !s.thin(id) {
			continue
		}
		root := s.find(id)
		r, ok := index[root]
		if !ok {
			r = len(out)
			index[root] = r
			out = append(out, ThinRegion{Box: EmptyBox(), WedgeRad: math.Inf(1)})
			thinnest = append(thinnest, id)
		}
		reg := &out[r]
		if nd.lo < s.nodes[thinnest[r]].lo {
			thinnest[r] = id
		}
		if t.side > 0 { // gaps are no wedges
			_, angle := s.lean(id)
			reg.WedgeRad = min(reg.WedgeRad, angle)
		}
		c := plots.plotOf(id)
		area := nd.share(s.lim) * c.area() / 2
		reg.AreaMM2 += area
		reg.MeanMM += area * nd.meanBelow(s.lim)
		for _, p := range c.p[:c.k] {
			reg.Box = reg.Box.Grow(p)
		}
		reg.Facets = append(reg.Facets, t.skin.face(t.tileOf(id)))
	}
	return out, index, thinnest
}

// place sorts the facets of the regions and finds their thinnest places again.
func (s *thinSets) place(out []ThinRegion, thinnest []int32) {
	gauges := s.t.settlers(s.ctx)
	_ = parallel(s.ctx, len(out), 1, func(r, _ int) error { // its error is the context's
		g := gauges.get()
		defer gauges.put(g)
		out[r].Facets = merged(out[r].Facets)
		out[r].MeanMM /= out[r].AreaMM2
		out[r].MinMM, out[r].At = g.thinnest(thinnest[r])
		return nil
	})
}

// merged makes one ascending list without repeats of two ascending runs: the
// facets of whole leaves and those of cells. Sorting a million takes too long to
// be stopped in time.
func merged(fs []int32) []int32 {
	end := 1
	for end < len(fs) && fs[end-1] <= fs[end] {
		end++
	}
	if end >= len(fs) {
		return slices.Compact(fs)
	}
	a, b, out := fs[:end], fs[end:], make([]int32, 0, len(fs))
	for len(a) > 0 && len(b) > 0 {
		if a[0] <= b[0] {
			out, a = append(out, a[0]), a[1:]
		} else {
			out, b = append(out, b[0]), b[1:]
		}
	}
	return slices.Compact(append(append(out, a...), b...))
}

// share is the part of a leaf that is thinner than lim, if thickness is spread
// evenly between the least and as much above the mean as the least is below.
func (nd *node) share(lim float32) float64 {
	return min(1, float64(lim-nd.lo)/max(1e-30, 2*float64(nd.mid-nd.lo)))
}

// meanBelow is the mean of what share tells of.
func (nd *node) meanBelow(lim float32) float64 {
	return float64(nd.lo+min(lim, 2*nd.mid-nd.lo)) / 2
}

// held sets Free, StandsMM and WedgeRad. A wall's region ends where the sheet ends (at an
// open rim), comes to a feather edge, or goes on into thicker material, which
// carries it. Which of them it is, is asked of the material: a short way on
// from the middle of the wall, along the sheet, is there still some?
//
// The wall is free if it is carried somewhere, but not from two sides: no two
// parts of the border, each a tenth of the carrying border or more, look more
// than 75 degrees apart and away from each other. 75 degrees, because the two
// faces of a wall with fillets at its foot look up to 60 degrees apart where
// they stop opposing; away from each other, because the foot of a fin around a
// shaft looks everywhere, but inwards.
//
// It is a wedge if its faces lean to each other all over and it grows from a rim
// towards what carries it, both about as long as each other: half of the border
// that carries it, and a rim half as long as that, lie across the way in which
// it grows. Borders that follow cells are longer than the straight line that
// they stand for; across that way they are as long.
func (s *thinSets) held(out []ThinRegion, index map[int32]int) {
	holds := make([]map[[3]int8]*holding, len(out))
	feet := make([]feetOf, len(out))
	for i, e := range s.rimEnds() {
		if s.stopped(i, thinStep) {
			return
		}
		p := &s.rim[i]
		r := index[s.find(p.leaf)]
		if !e.carried {
			feet[r].tip -= min(e.grows, 0)
			continue
		}
		l, dir := p.b.Sub(p.a).Norm(), e.dir
		feet[r].length += l
		feet[r].across += max(e.grows, 0)
		if holds[r] == nil {
			holds[r] = map[[3]int8]*holding{}
		}
		key := sector(dir)
		c := holds[r][key]
		if c == nil {
			c = &holding{}
			holds[r][key] = c
		}
		c.length += l
		c.at = c.at.Add(p.a.Add(p.b).Scale(l / 2))
		c.dir = c.dir.Add(dir.Scale(l))
	}
	for r := range out {
		out[r].Free = len(holds[r]) > 0 && !twoSided(holds[r])
		foot := feet[r].length
		if f := feet[r]; f.tip > 0 && f.across >= f.length/2 && f.tip >= f.across/2 {
			foot = f.across
		} else {
			out[r].WedgeRad = 0
		}
		if foot > 0 {
			out[r].StandsMM = 2 * out[r].AreaMM2 / foot
		}
	}
}

// rimEnd tells where a piece of border leads: the direction along the sheet out of
// the region, its length across the way in which the region grows, in mm, and whether
// thicker material goes on that way.
type rimEnd struct {
	dir     Vec
	grows   float64
	carried bool
}

// rimEnds are those of all pieces of border; the zero one where the surface ends or a
// feather edge explains what is beyond, and of gaps.
func (s *thinSets) rimEnds() []rimEnd {
	ends := make([]rimEnd, len(s.rim))
	if s.t.side < 0 {
		return ends
	}
	feather := s.feathers()
	_ = parallel(s.ctx, len(ends), rimStep, func(from, to int) error { // its error is the context's
		for i := from; i < to; i++ {
			p, e := &s.rim[i], &ends[i]
			if p.other == rimOpen || feather[p.other] {
				continue
			}
			e.dir, e.carried = s.carried(p)
			way, _ := s.lean(p.leaf)
			e.grows = p.b.Sub(p.a).Norm() * e.dir.Dot(way)
		}
		return nil
	})
	return ends
}

// feathers tells of the leaves beside walls that are not thin whether a feather edge
// explains what they read.
func (s *thinSets) feathers() map[int32]bool {
	out := map[int32]bool{}
	var raw []int32
	for _, p := range s.rim {
		if p.other < 0 {
			continue
		}
		if _, ok := out[p.other]; ok {
			continue
		}
		nd := &s.nodes[p.other]
		if out[p.other] = nd.with == nodeFeather; nd.kids == leafRaw {
			raw = append(raw, p.other)
		}
	}
	is := make([]bool, len(raw))
	if s.t.settleAll(s.ctx, raw, func(i int, nd node) { is[i] = nd.with == nodeFeather }) != nil {
		return out // held stops, too
	}
	for i, id := range raw {
		out[id] = is[i]
	}
	return out
}

// feetOf are the lengths of the border that carries a region, of what of it lies
// across the way in which the region grows, and of the rim that it grows from.
type feetOf struct{ length, across, tip float64 }

// normal is that of a leaf's tile.
func (s *thinSets) normal(id int32) Vec { return s.t.skin.normal(s.t.tileOf(id)) }

// lean returns the angle between a leaf's facet and the opposed one, and the
// way along the leaf in which they part.
func (s *thinSets) lean(id int32) (way Vec, angle float64) {
	with := s.nodes[id].with
	if with < 0 {
		return Vec{}, 0
	}
	n, o := s.normal(id), s.t.m.Normal(with)
	along := n.Scale(o.Dot(n)).Sub(o)
	return along.Unit(), math.Atan2(along.Norm(), -o.Dot(n))
}

// holding sums the carrying border that looks about one way: lengths, and
// places and directions weighted by length.
type holding struct {
	length  float64
	at, dir Vec
}

// sector names one of 98 directions about evenly spread.
func sector(d Vec) (k [3]int8) {
	most := max(math.Abs(d[0]), math.Abs(d[1]), math.Abs(d[2]))
	for i := range k {
		k[i] = int8(math.Round(2 * d[i] / most))
	}
	return k
}

// carried returns the direction along the sheet out of a region at a piece of
// its border, and whether thicker material goes on that way: nearer to the limit
// than to the border's own thickness. Beyond a narrow facet that opposes nothing
// it is the sheet itself that goes on.
func (s *thinSets) carried(p *rimPiece) (Vec, bool) {
	t := s.t
	n := s.normal(p.leaf)
	out := p.b.Sub(p.a).Cross(n).Unit()
	if out == (Vec{}) {
		return out, false
	}
	thick := float64(s.nodes[p.leaf].lo)
	from := p.a.Add(p.b).Scale(0.5).Sub(n.Scale(thick / 2)).Sub(out.Scale(thick / 4))
	reach := thick/4 + float64(s.lim)
	if _, hit := t.m.BVH().Ray(from, out, 0, reach); hit {
		return out, false
	}
	there := from.Add(out.Scale(reach))
	chord := 0.0
	for _, d := range [2]Vec{n, n.Scale(-1)} {
		hit, ok := t.m.BVH().Ray(there, d, 0, float64(s.lim))
		if !ok {
			return out, true
		}
		chord += hit.T
	}
	return out, chord >= (thick+float64(s.lim))/2
}

// twoSided reports whether a wall is held from two sides.
func twoSided(cs map[[3]int8]*holding) bool {
	keys := slices.SortedFunc(maps.Keys(cs), func(a, b [3]int8) int { return slices.Compare(a[:], b[:]) })
	// Each sector with what looks about the same way, so that none is parted where it
	// lies astride two.
	var sum float64
	var parts []holding
	for _, k := range keys {
		sum += cs[k].length
		var part holding
		for _, l := range keys {
			if c := cs[l]; c.dir.Unit().Dot(cs[k].dir.Unit()) >= cosPart {
				part.length += c.length
				part.at, part.dir = part.at.Add(c.at), part.dir.Add(c.dir)
			}
		}
		parts = append(parts, part)
	}
	for i, a := range parts {
		for _, b := range parts[i+1:] {
			if min(a.length, b.length) < sum/10 {
				continue
			}
			u, v := a.dir.Unit(), b.dir.Unit()
			apart := a.at.Scale(1 / a.length).Sub(b.at.Scale(1 / b.length))
			if u.Dot(v) < cos75 && apart.Dot(u.Sub(v)) > 0 {
				return true
			}
		}
	}
	return false
}

var cos75, cosPart = math.Cos(75 * math.Pi / 180), math.Cos(45 * math.Pi / 180)
