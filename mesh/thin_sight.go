package mesh

import (
	"math"
	"slices"
)

// This file asks whether the two ends of a span face each other through the
// medium: opposed normals alone don't tell. Surface that stands between them, a
// neighbour that turns away for one, hides one from the other; and where bodies
// run into each other, surface that lies inside a body bounds nothing.

// hiddenMost is for how many facets that are hidden from a cell the search for
// one in sight goes on; then the ray from the cell's middle must do.
const hiddenMost = 12

// leastSeen is least among what the patch, of facet f, sees. hidden reports
// whether anything nearer was set aside.
func (g *gauge) leastSeen(f int32, s *patch, v *view, guess int32) (r span, with int32, hidden bool) {
	for {
		r, at := g.least(s, v, guess)
		if at < 0 {
			return r, nodeAlone, hidden
		}
		y := &g.rivals[v.list[at].rival]
		if y.notch || r.d <= 4*g.touch {
			return r, y.f, hidden
		}
		// A little off the rim, where bodies may share a face and none is buried.
		if g.buried(f, towards(s.world(spot{r.x[0], r.x[1], 0}), s.middle(), 4*g.touch), s.n) {
			return span{d: g.cap}, nodeAlone, true
		}
		if g.sees(f, s, &r, y.f) {
			return r, y.f, hidden
		}
		if r, ok := s.across(y, r.d, g.touch); ok && g.sees(f, s, &r, y.f) {
			return r, y.f, hidden
		}
		hidden = true
		g.hidden = append(g.hidden, y.f)
		v.list[at].key, v.least.at = math.Inf(1), -1
		if len(g.hidden) > hiddenMost {
			return g.straight(f, s)
		}
		guess = nodeAlone
	}
}

// sees reports whether the two ends of a span from a patch of facet f to facet o
// see each other, and no body lies over the other end.
func (g *gauge) sees(f int32, s *patch, r *span, o int32) bool {
	from, to := s.world(spot{r.x[0], r.x[1], 0}), s.world(r.y)
	return !g.buried(o, towards(to, g.t.m.Centre(o), 4*g.touch), g.t.m.Normal(o).Scale(g.t.side)) && g.clear(f, from, to)
}

// across is a span from a patch straight to the middle of what faces it of a
// rival, if that is as thin as d. Where a wall is as thin everywhere, the place
// that was found may stand at a rim, where something hides it.
func (s *patch) across(y *rival, d, touch float64) (span, bool) {
	var buf [maxCorners + 5]spot
	g := s.shade(y.g[0], y.g[1], y.g[2], touch, buf[:0])
	var at spot
	for _, p := range g {
		k := 1 / float64(len(g))
		at.u, at.v, at.h = at.u+k*p.u, at.v+k*p.v, at.h+k*p.h
	}
	return span{d: at.h, x: [2]float64{at.u, at.v}, y: at}, len(g) > 2 && at.h <= d*(1+evenErr)
}

// evenErr is the share by which walls of one thickness may differ by rounding.
const evenErr = 1e-9

// straight is the ray from the patch's middle as a span.
func (g *gauge) straight(f int32, s *patch) (span, int32, bool) {
	x := s.middle()
	d, with := g.ray(x, s.n)
	if with >= 0 && (g.buried(f, x, s.n) || g.buried(with, x.Sub(s.n.Scale(d)), g.t.m.Normal(with).Scale(g.t.side))) {
		return span{d: g.cap}, nodeAlone, true
	}
	at := s.local(x)
	return span{d: d, x: [2]float64{at.u, at.v}, y: spot{at.u, at.v, d}}, with, true
}

// middle is the mean of the patch's corners.
func (s *patch) middle() Vec {
	var u, v float64
	for i := range s.k {
		u += s.p[i][0] / float64(s.k)
		v += s.p[i][1] / float64(s.k)
	}
	return s.world(spot{u, v, 0})
}

// isHidden reports whether a rival was set aside.
func (g *gauge) isHidden(y *rival) bool {
	return len(g.hidden) > 0 && !y.notch && slices.Contains(g.hidden, y.f)
}

// buried reports whether surface at p on facet f with the normal n out of the
// medium has the medium on both sides: another body lies over it.
func (g *gauge) buried(f int32, p, n Vec) bool {
	if g.bodies == nil {
		return false
	}
	switch s := g.bodies.side[f]; {
	case s == sideMixed:
		return g.medium(p.Add(n.Scale(2 * g.touch)))
	case g.t.side > 0:
		return s&solidAhead != 0
	default:
		return s&solidBehind == 0
	}
}

// medium reports whether a point lies in the medium, where bodies overlap.
func (g *gauge) medium(p Vec) bool { return g.bodies.nest.solid(p) == (g.t.side > 0) }

// clear reports whether the way from x on facet f to y runs through the medium.
// Surface within twice the touching distance of its ends belongs to them.
func (g *gauge) clear(f int32, x, y Vec) bool {
	d := y.Sub(x)
	l := d.Norm()
	d = d.Scale(1 / l)
	from, to := 2*g.touch, l-2*g.touch
	if g.bodies == nil {
		_, hit := g.bvh.Ray(x, d, from, to)
		return !hit
	}
	g.hits = g.bvh.RayAll(x, d, from, to, g.hits[:0])
	for _, h := range g.hits {
		// Passing from one body into another that it runs into stays inside.
		if !g.passes(h.Facet, x.Add(d.Scale(h.T-g.touch)), x.Add(d.Scale(h.T+g.touch))) {
			return false
		}
	}
	// Where it crossed no surface it may still run from a buried end to another.
	switch s := g.bodies.side[f]; {
	case s == sideMixed:
		return g.medium(x.Add(d.Scale(l / 2)))
	case g.t.side > 0:
		return s&solidBehind != 0
	default:
		return s&solidAhead == 0
	}
}

// passes reports whether the medium is on both sides of a facet, at points
// before and after it.
func (g *gauge) passes(f int32, before, after Vec) bool {
	switch s := g.bodies.side[f]; {
	case s == sideMixed:
		return g.medium(before) && g.medium(after)
	case g.t.side > 0:
		return s == solidAhead|solidBehind
	default:
		return s == 0
	}
}

// towards is the point by l on the way from p to q, or q if it is nearer.
func towards(p, q Vec, l float64) Vec {
	d := q.Sub(p)
	if n := d.Norm(); n > l {
		return p.Add(d.Scale(l / n))
	}
	return q
}
