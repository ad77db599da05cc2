package mesh

import "math"

// This file searches for what stops the smallest ball from a patch. Of a facet,
// all surface that may do so is gathered once, in the facet's frame; whatever is
// asked of the facet and its cells is then answered from that list, best first.

// view is what a patch of the facet in hand sees.
type view struct{ list []sight }

// sight is a rival by its number in the gauge, and a lower bound for the balls
// from the patch in hand that it stops.
//
// The key also says in which order rivals are tried, and so which of several that
// stop balls of one size is taken: for that a part of a patch takes no note of
// what was found for the whole. The floor does: no ball from the part is smaller.
type sight struct {
	rival      int32
	key, floor float64
}

// What is gathered at first is what stops a ball larger than the smallest by
// this: for a facet that may be split, as much as is needed to tell whether a
// wall is even; for others, as much as the ball grows where a patch is cut back
// a little. In a bore a little more is all of its other side.
const (
	gatherLarge = evenRatio * 1.01
	gatherSmall = 1.002
)

// look gathers what the patch in hand sees, up to slack times the smallest
// ball. A good first guess (a facet, or a nodeAlone value) saves time.
func (g *gauge) look(guess int32, slack float64) *view {
	g.gather(g.cap, guess, slack)
	v := g.viewAll()
	return &v
}

// viewAll is the view of the whole facet in hand.
func (g *gauge) viewAll() view {
	g.views = g.views[:0]
	for i := range g.rivals {
		if y := &g.rivals[i]; y.key < g.whole {
			g.views = append(g.views, sight{rival: int32(i), key: y.key})
		}
	}
	return view{g.views}
}

// viewOf is what a part of a patch sees of what the patch does. It is put on top
// of the views in hand.
func (g *gauge) viewOf(s *patch, of *view) view {
	own, from := s.extent(), len(g.views)
	for _, x := range of.list {
		if key := s.bound(&g.rivals[x.rival], &own, g.touch); key < g.cap {
			g.views = append(g.views, sight{rival: x.rival, key: key})
		}
	}
	return view{g.views[from:]}
}

// bounds makes a view that of a part of its patch, as if nothing were hidden from
// it.
func (g *gauge) bounds(s *patch, v *view) {
	own := s.extent()
	for i := range v.list {
		x := &v.list[i]
		if !math.IsInf(x.key, 1) {
			x.floor = max(x.floor, x.key*(1-floorErr))
		}
		x.key = s.bound(&g.rivals[x.rival], &own, g.touch)
	}
}

// floorErr is far more than rounding, so that what floors leave out is never by
// rounding the thinnest of places as thin.
const floorErr = 1e-12

// gather lists the rivals of the facet in hand that may stop a ball of a
// diameter below whole, or, with slack, one of the smallest diameter that there
// is times slack.
func (g *gauge) gather(whole float64, guess int32, slack float64) {
	g.whole, g.rivals = whole, g.rivals[:0]
	s := &g.own
	own, best := s.extent(), whole
	// take keeps the last of the rivals, or drops it.
	take := func() {
		at := len(g.rivals) - 1
		y := &g.rivals[at]
		if y.key = s.bound(y, &own, g.touch); y.key >= g.whole {
			g.rivals = g.rivals[:at]
			return
		}
		if slack > 0 && y.key < best {
			if r, ok := s.between(y, g.touch, best); ok {
				best, y.key = r.d, r.d
				g.whole = min(g.cap, best*slack)
			} else {
				y.key = best
			}
		}
	}
	facet := func(f int32) float64 {
		n := g.t.m.Normal(f).Scale(g.t.side)
		if s.n.Dot(n) >= -opposedCos {
			return g.whole
		}
		t := &g.t.m.Facets[f]
		verts := g.t.m.Verts
		s.face(g.nextRival(), f, &verts[t[0]], &verts[t[1]], &verts[t[2]], &n)
		take()
		if len(g.rivals)%1024 == 1023 && g.ctx.Err() != nil {
			return 0
		}
		return g.whole
	}
	if guess >= 0 {
		facet(guess)
	}
	from := g.flat(s)
	g.bvh.Facing(&from, s.reach(g.whole), g.whole, func(f int32) float64 {
		if f == guess {
			return g.whole
		}
		return facet(f)
	})
	if g.notches != nil {
		g.notches.mesh.BVH().InBox(s.reach(g.whole), func(i int32) bool {
			if f := g.notches.list[i]; g.points(f, s.n) {
				a, b, c := g.notches.mesh.Corners(i)
				s.face(g.nextRival(), f.f, &a, &b, &c, &Vec{})
				take()
			}
			return true
		})
	}
}

// faced reports whether anything may stop a ball from the facet in hand. Where
// nothing does that is sooner said than where a ray from it ends.
func (g *gauge) faced() (found bool) {
	from, reach := g.flat(&g.own), g.own.reach(g.cap)
	g.bvh.Facing(&from, reach, g.cap, func(int32) float64 {
		found = true
		return 0 // enough is known
	})
	if !found && g.notches != nil {
		g.notches.mesh.BVH().InBox(reach, func(int32) bool {
			found = true
			return false
		})
	}
	return found
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
// it, -1 if none below the cap does. Only what stops a smaller ball than was
// found can still count, and that is tried in the order of its bounds.
func (g *gauge) least(s *patch, v *view, guess int32) (span, int) {
	best, at := span{d: g.whole}, -1
	next := v.of(g, guess)
	for {
		if next < 0 {
			next = v.next(best.d)
		}
		if next >= 0 {
			x := &v.list[next]
			if x.floor < best.d {
				if r, ok := s.between(&g.rivals[x.rival], g.touch, best.d); ok {
					best, at = r, next
				}
			}
			x.key, next = max(x.key, best.d), -1
			continue
		}
		if at >= 0 || g.whole >= g.cap {
			return best, at
		}
		g.gather(min(g.cap, gatherLarge*g.whole), nodeAlone, 0) // all that was seen is hidden, or out of reach
		*v = g.viewAll()
		g.bounds(s, v)
		for i := range v.list {
			if y := &g.rivals[v.list[i].rival]; !y.notch && g.isHidden(y.f) {
				v.list[i].key = math.Inf(1)
			}
		}
		best.d = g.whole
	}
}

// next is the place in the view with the least bound below best, or -1.
func (v *view) next(best float64) int {
	at := -1
	for i := range v.list {
		if k := v.list[i].key; k < best {
			best, at = k, i
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
