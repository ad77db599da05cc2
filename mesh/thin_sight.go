package mesh

import (
	"math"
	"slices"
)

// This file asks whether the two ends of a span face each other through the
// medium: opposed normals alone don't tell. Surface that stands between them, a
// neighbour that turns away for one, hides one from the other.

// hiddenMost is for how many facets that are hidden from a cell the search for
// one in sight goes on; then the ray from the cell's middle must do.
const hiddenMost = 12

// leastSeen is least among what the patch sees. hidden reports whether anything
// nearer was set aside.
func (g *gauge) leastSeen(s *patch, v *view, guess int32) (r span, with int32, hidden bool) {
	for {
		r, at := g.least(s, v, guess)
		if at < 0 {
			return r, nodeAlone, hidden
		}
		y := &g.rivals[v.list[at].rival]
		if y.notch || r.d <= 4*g.touch {
			return r, y.f, hidden
		}
		if g.sees(s, &r) {
			return r, y.f, hidden
		}
		if r, ok := s.across(y, r.d, g.touch); ok && g.sees(s, &r) {
			return r, y.f, hidden
		}
		hidden = true
		g.hidden = append(g.hidden, y.f)
		v.list[at].key, v.least.at = math.Inf(1), -1
		if len(g.hidden) > hiddenMost {
			return g.straight(s)
		}
		guess = nodeAlone
	}
}

// sees reports whether the two ends of a span from a patch see each other. From
// the patch's rim the way may lead along the surface beyond it; the one beside
// it, from a little off the rim, is as good.
func (g *gauge) sees(s *patch, r *span) bool {
	from, to := s.world(spot{r.x[0], r.x[1], 0}), s.world(r.y)
	return g.clear(from, to) || g.clear(towards(from, s.middle(), 4*g.touch), to)
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
func (g *gauge) straight(s *patch) (span, int32, bool) {
	x := s.middle()
	d, with := g.ray(x, s.n)
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

// clear reports whether the way from x to y runs through the medium. Surface
// within twice the touching distance of its ends belongs to them.
func (g *gauge) clear(x, y Vec) bool {
	d := y.Sub(x)
	l := d.Norm()
	_, hit := g.bvh.Ray(x, d.Scale(1/l), 2*g.touch, l-2*g.touch)
	return !hit
}

// towards is the point by l on the way from p to q, or q if it is nearer.
func towards(p, q Vec, l float64) Vec {
	d := q.Sub(p)
	if n := d.Norm(); n > l {
		return p.Add(d.Scale(l / n))
	}
	return q
}
