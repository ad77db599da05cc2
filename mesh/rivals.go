package mesh

import (
	"math"
	"math/bits"
	"slices"
)

// This file searches for what stops the smallest ball from a patch: a facet or a
// cell of one. All surface that may do so is gathered once, in the facet's frame;
// what is asked of the patch, cut back or not, is then answered from that list,
// best first.

// view is what a patch of the facet in hand sees, and, once it is known, what of
// it stops the smallest ball.
type view struct {
	list  []sight
	least found
}

// sight is a rival by its number in the gauge, and lower bounds for the balls
// from the patch in hand that it stops: the key by what both are alone, +Inf for
// what is set aside; the floor also by what was tried, which depends on the order.
type sight struct {
	rival      int32
	tried      bool
	key, floor float64
}

// found is the thinnest span of some, and the place of what stops it among the
// rivals or in a view, -1 while there is none.
//
// Of spans that are equally thin but for rounding that of the facet with the
// lowest number counts, so that the order in which they are tried doesn't show.
type found struct {
	span
	at int
}

// tieErr is far more than rounding: what bounds leave out stops balls that are
// larger by this share at least, never one that is as small.
const tieErr = 1e-12

// room is the diameter from which on balls don't count.
func (b *found) room() float64 { return b.d * (1 + tieErr) }

// try measures the span from a patch to rival number i, and keeps it if it comes
// before what was found from the patch. It returns a bound for all balls between
// the two.
func (g *gauge) try(b *found, s *patch, i int) float64 {
	y, room := &g.rivals[i], b.room()
	if y.sliver {
		return room
	}
	if b.at >= 0 && !b.part {
		least := b.beyond(y)
		switch best := &g.rivals[b.at]; {
		case least > room:
			return least
		case least < b.d*(1-tieErr):
		case best.before(y):
			return least
		default:
			if on := g.shared(b, best, y); on != 0 {
				b.at, b.on = i, on
				return least
			}
		}
	}
	r, ok := s.between(y, g.touch, room)
	if !ok {
		return room
	}
	if b.at < 0 || y.before(&g.rivals[b.at]) || r.d < b.d*(1-tieErr) {
		b.span, b.at = r, i
	}
	return r.d
}

// beyond is a bound for the balls that a rival stops, of which none is smaller
// where the rival lies as a whole beyond the level through the place that was
// found: diameters are convex. So it is told of the facets around an edge or a
// corner that one of them is as good as the others.
func (b *found) beyond(y *rival) float64 {
	return b.d + min(b.slope.rise(b.y, y.g[0]), b.slope.rise(b.y, y.g[1]), b.slope.rise(b.y, y.g[2]))
}

// shared is what on is of a rival that has the corner of the best one on which
// the span that was found ends, if from there all of it is farther and it sees
// the other end; 0 of others.
func (g *gauge) shared(b *found, best, y *rival) uint8 {
	out := 7 &^ b.on // see onCorner
	if best.notch || y.notch || bits.OnesCount8(out) != 1 || y.q0-y.m.u*b.x[0]-y.m.v*b.x[1] < 0 {
		return 0
	}
	v := g.t.m.Facets[best.f][(bits.TrailingZeros8(out)+2)%3]
	k := slices.Index(g.t.m.Facets[y.f][:], v)
	if k < 0 || min(b.slope.rise(b.y, y.g[(k+1)%3]), b.slope.rise(b.y, y.g[(k+2)%3])) <= slopeErr*b.d {
		return 0
	}
	return onCorner(k, 3)
}

// before is the order of rivals that stop balls of one size.
func (r *rival) before(o *rival) bool {
	if r.f != o.f {
		return r.f < o.f
	}
	return !r.notch && o.notch
}

// What is gathered at first is what stops a ball larger than the smallest by
// this: for a facet that is split, being longer than the medium is thick, as much
// as is needed to tell whether a wall is even; for others, as much as the ball
// grows where a patch is cut back a little. In a bore a little more is all of its
// other side, so that of a facet that is no larger than cells, or is not cut back
// since no limit asks for walls that thin, next to nothing is gathered beside what
// stops the smallest: where it is cut back, it is looked from again.
const (
	gatherLarge = evenRatio * 1.01
	gatherSmall = 1.002
	gatherSole  = 1 + 1e-9
)

// hunt is what is asked of the rivals of a patch in the facet in hand.
type hunt struct {
	from   *patch
	box    patchBox
	whole  float64 // balls count that are smaller
	best   found   // of those that were tried
	long   float64 // the patch is split where the medium is thinner
	walked []int32 // looked at before the search tree was asked
	visits int
	sole   bool // nothing is asked but what stops the smallest ball: the patch is not split
	tiny   bool // it is no longer than cells
}

// look gathers what a patch in the facet in hand sees, which is split where it
// is large and the medium is thinner than long. Good first guesses
// (facets, or nodeAlone values) save time.
func (g *gauge) look(s *patch, long float64, guess, other int32) view {
	g.start(s, long)
	g.walk(guess)
	g.walk(other)
	g.gather()
	return g.viewAll()
}

// start makes ready to gather what a patch sees (see look).
func (g *gauge) start(s *patch, long float64) {
	tiny := long > 0 && long <= g.cellMM
	if !g.large(s, long) {
		long = 0
	}
	g.hunt = hunt{s, s.extent(), g.cap, found{span{d: g.cap}, -1}, long, g.walked[:0], 0, long == 0, tiny}
	g.rivals = g.rivals[:0]
}

// viewAll is the view of all that was gathered.
func (g *gauge) viewAll() view {
	least := found{at: -1}
	g.views = g.views[:0]
	for i := range g.rivals {
		y := &g.rivals[i]
		if y.key >= g.whole || g.sole && y.floor >= g.whole {
			continue
		}
		x := sight{int32(i), false, y.key, y.floor}
		if g.isHidden(y) {
			x.key = math.Inf(1)
		}
		if i == g.best.at {
			least = found{g.best.span, len(g.views)}
		}
		g.views = append(g.views, x)
	}
	return view{g.views, least}
}

// bounds makes a view that of a part of its patch, as if nothing were hidden from
// it. What was found for the whole bounds its parts.
func (g *gauge) bounds(s *patch, v *view) {
	own := s.extent()
	for i := range v.list {
		x := &v.list[i]
		key, floor := s.bound(&g.rivals[x.rival], &own, g.touch)
		x.key, x.floor = key, max(x.floor, floor)
	}
	v.least.at = -1
}

// gather lists the rivals of the patch that may stop a ball of a diameter below
// whole.
func (g *gauge) gather() {
	from := g.flatOf(g.from)
	g.bvh.Facing(&from, from.reach(g.whole), g.whole, g.sole, func(bl *block, i int) float64 {
		if g.visits++; g.visits%1024 == 0 && g.ctx.Err() != nil {
			return 0
		}
		if f := bl.facet[i]; !slices.Contains(g.walked, f) {
			a, b, c := g.bvh.corners(bl, i)
			g.meet(f, &a, &b, &c)
		}
		return g.whole
	})
	if g.notches != nil {
		g.notches.mesh.BVH().InBox(from.reach(g.whole), func(i int32) bool {
			if g.arcs[i].opposes(g.own.n) {
				a, b, c := g.notches.mesh.Corners(i)
				y := g.nextRival()
				g.own.place(y, g.skin.beside(&g.notches.list[i]), &a, &b, &c)
				g.take(y, g.from.boxBound(y, &g.box, g.touch), 0)
			}
			return true
		})
	}
}

// meet takes a facet as a rival if it is one.
func (g *gauge) meet(f int32, a, b, c *Vec) {
	s, y := &g.own, g.nextRival()
	s.place(y, f, a, b, c)
	if key := g.from.boxBound(y, &g.box, g.touch); key < g.whole {
		n := g.t.m.Normal(f).Scale(g.t.side)
		if s.n.Dot(n) < -opposedCos {
			s.turn(y, &n)
			y.sliver = !g.sides[g.skin.facet(f)]
			plane, place := g.from.planeBounds(y, &g.box)
			g.take(y, max(key, plane), place)
			return
		}
	}
	g.rivals = g.rivals[:len(g.rivals)-1]
}

// take keeps the last of the rivals, for which key and floor are bounds, or drops it.
func (g *gauge) take(y *rival, key, floor float64) {
	y.key, y.floor = key, max(key, floor)
	i := len(g.rivals) - 1
	if key >= g.whole || g.sole && y.floor >= g.whole {
		g.rivals = g.rivals[:i]
	} else if y.floor < g.best.room() && !g.isHidden(y) {
		y.floor = g.try(&g.best, g.from, i)
		more := gatherSmall
		if g.tiny || g.best.d >= g.t.Params.AskedMM {
			more = gatherSole
		}
		g.whole = min(g.whole, max(more*g.best.d, gatherLarge*min(g.best.d, g.long)))
	}
}

// walkMost bounds the facets that walk looks at.
const walkMost = 12

// walk goes from a guess over the surface, from facet to neighbour, for as long
// as balls get smaller. Where it ends is most often the smallest, and leaves
// little to be looked at.
func (g *gauge) walk(guess int32) {
	g.step(guess)
	twins := g.t.m.Topology().Twin
	for at := guess; at >= 0 && g.best.at >= 0 && g.rivals[g.best.at].f == at; {
		for k := range int32(3) {
			if t := twins[3*at+k]; g.best.on>>k&1 != 0 && t >= 0 {
				g.step(t / 3)
			}
		}
		if g.rivals[g.best.at].f == at {
			return
		}
		at = g.rivals[g.best.at].f
	}
}

// step looks at a facet on a walk.
func (g *gauge) step(f int32) {
	if f >= 0 && len(g.walked) < walkMost && !slices.Contains(g.walked, f) {
		g.walked = append(g.walked, f)
		t, v := &g.t.m.Facets[f], g.t.m.Verts
		g.meet(f, &v[t[0]], &v[t[1]], &v[t[2]])
	}
}

// faced reports whether anything may stop a ball from a patch. Where nothing does that is sooner said than where a
// ray from it ends.
func (g *gauge) faced(s *patch) (found bool) {
	from := g.flatOf(s)
	reach := from.reach(g.cap)
	g.bvh.Facing(&from, reach, g.cap, false, func(*block, int) float64 {
		found = true
		return 0 // enough is known
	})
	return found || g.notched(reach)
}

// notched reports whether there may be a notch in a box.
func (g *gauge) notched(box Box) (found bool) {
	if g.notches != nil {
		g.notches.mesh.BVH().InBox(box, func(int32) bool {
			found = true
			return false
		})
	}
	return found
}

// bundleCos is the cosine of the widest angle between normals of facets that are
// worth asking about at once and their mean.
const bundleCos = 0.9

// anyFaced reports whether anything may stop a ball from one of the tiles from
// lo up to hi.
func (g *gauge) anyFaced(lo, hi int32) bool {
	var normals [chunkFacets]Vec
	var sum Vec
	from := flat{box: EmptyBox(), side: g.t.side}
	for f := lo; f < hi; f++ {
		if g.sides[g.skin.face(f)] {
			n := g.skin.normal(f).Scale(-g.t.side)
			c := g.skin.plot(f)
			for _, p := range c.p[:c.k] {
				from.box = from.box.Grow(p)
			}
			normals[f-lo], sum = n, sum.Add(n)
		}
	}
	least := 1.0
	from.in = sum.Unit()
	for _, n := range normals {
		if n != (Vec{}) {
			least = min(least, n.Dot(from.in))
		}
	}
	switch {
	case from.in == Vec{} && least == 1: // slivers all
		return false
	case least < bundleCos:
		return true
	}
	return g.bvh.AnyFacing(from, math.Acos(least)+acosErr, g.cap) || g.notched(from.box.Widened(g.cap))
}

// nextRival makes room for one more rival, to be filled in.
func (g *gauge) nextRival() *rival {
	if n := len(g.rivals); n < cap(g.rivals) {
		g.rivals = g.rivals[:n+1]
	} else {
		g.rivals = append(g.rivals, rival{})
	}
	return &g.rivals[len(g.rivals)-1]
}

// least returns the thinnest span from the patch and which of the view stops
// it, -1 if none below the cap does. Only what may stop as small a ball as was
// found can still count, and that is tried in the order of its bounds, after the
// guess.
func (g *gauge) least(s *patch, v *view, guess int32) (span, int) {
	if v.least.at >= 0 {
		return v.least.span, v.least.at
	}
	for i := range v.list {
		v.list[i].tried = false
	}
	best, at := found{span{d: g.whole}, -1}, -1
	for next := v.of(g, guess); ; next = -1 {
		if next < 0 {
			if next = v.next(best.room()); next < 0 {
				break
			}
		}
		x, was := &v.list[next], best.at
		x.floor, x.tried = max(x.floor, g.try(&best, s, int(x.rival))), true
		if best.at != was {
			at = next
		}
	}
	if at < 0 && g.whole < g.cap { // all that was seen is hidden, or out of reach
		*v = g.look(s, 0, g.ahead, g.last)
		if at = v.least.at; at >= 0 {
			best = v.least
		} else {
			best.d = g.cap
		}
	}
	v.least = found{best.span, at}
	return best.span, at
}

// next is the place in the view of what is to be tried next: of what may stop a
// ball smaller than room, that with the least bound; -1 for none.
func (v *view) next(room float64) int {
	at, least := -1, room
	for i := range v.list {
		if x := &v.list[i]; !x.tried && x.floor < room && x.key < least {
			at, least = i, x.key
		}
	}
	return at
}

// of is the place of a facet in the view, or -1.
func (v *view) of(g *gauge, f int32) int {
	if f < 0 {
		return -1
	}
	for i := range v.list {
		if y := &g.rivals[v.list[i].rival]; y.f == f && !y.notch && !math.IsInf(v.list[i].key, 1) {
			return i
		}
	}
	return -1
}
