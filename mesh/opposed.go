package mesh

import (
	"math"
	"slices"
)

// This file defines the thickness between two pieces of surface that face each
// other through a medium: material for a wall, empty space for a gap.
//
// Let x be a point of surface with the unit normal n out of the medium, and y
// another surface point at the height h = (x-y).n > 0 below x's tangent plane.
// The ball that touches the surface at x from inside the medium and passes
// through y has the diameter
//
//	D(x, y) = |x-y|^2 / h = h + d^2 / h,
//
// d being the distance from x to y's foot in the tangent plane. The inward ray
// is the case d = 0. The thickness at x is the least D over opposing surface.
// For x on a flat convex patch, D after the best x is convex in y (quadratic
// over linear), so the least D between two facets stands at one of few points
// in closed form: no sampling, no iteration, nothing to miss.

// opposedCos is the cosine of the widest angle between a normal and the
// opposite of another at which two surfaces oppose: 60 degrees, less a tenth of
// a degree so that facets at 60 degrees (an equilateral prism, the corners of a
// hexagon) stay corners however they round: files that keep six digits turn a
// facet of 5 mm by a hundredth of a degree.
const opposedCos = 0.5015

var opposedRad = math.Acos(opposedCos)

// patch is a flat convex piece of surface in a frame of its own: u and v along
// it, h into the medium.
type patch struct {
	o, n, ax, ay Vec // n points out of the medium
	p            [maxCorners][2]float64
	k            int
}

// settleRounds is how often a patch is cut back (see gauge.settle).
const settleRounds = 4

// maxCorners bounds a plot's corners and one more for each of the cuts
// that settling, at most three edges a round, and the other facet's plane make.
const maxCorners = plotMost + 3*settleRounds + 1

// spot is a point in a patch's frame.
type spot struct{ u, v, h float64 }

// span is the thinnest place between a patch and another facet.
type span struct {
	d  float64    // mm, diameter of the touching ball
	x  [2]float64 // on the patch, in its frame
	y  spot       // on the other facet
	on uint8      // a bit for each edge of the other facet on which y lies

	slope spot // how d changes with y
	part  bool // only a part of the patch sees the other facet, for which the slope is
}

// spanSearch looks for the thinnest span from one patch.
type spanSearch struct {
	span
	from *patch
	at   uint8 // what on is to be if the next point is taken
}

func newPatch(a, b, c, n Vec) patch {
	t := plot{p: [plotMost]Vec{a, b, c}, k: 3}
	return t.patch(n)
}

// part is a plot in the patch's plane as a patch in the same frame.
func (s *patch) part(of *plot) patch {
	t := patch{o: s.o, n: s.n, ax: s.ax, ay: s.ay, k: of.k}
	for i := range of.k {
		q := t.local(of.p[i])
		t.p[i] = [2]float64{q.u, q.v}
	}
	if t.area() < 0 { // seen from the medium's other side
		slices.Reverse(t.p[1:t.k])
	}
	return t
}

func (s *patch) local(p Vec) spot {
	d := p.Sub(s.o)
	return spot{d.Dot(s.ax), d.Dot(s.ay), -d.Dot(s.n)}
}

func (s *patch) world(q spot) Vec {
	return s.o.Add(s.ax.Scale(q.u)).Add(s.ay.Scale(q.v)).Sub(s.n.Scale(q.h))
}

func (s *patch) area() float64 {
	var a float64
	for i := range s.k {
		p, q := s.p[i], s.p[(i+1)%s.k]
		a += p[0]*q[1] - p[1]*q[0]
	}
	return a / 2
}

// cut keeps the part of the patch where a*u + b*v + c >= 0.
func (s *patch) cut(a, b, c float64) {
	var out [maxCorners][2]float64
	n := 0
	for i := range s.k {
		p, q := s.p[i], s.p[(i+1)%s.k]
		fp, fq := a*p[0]+b*p[1]+c, a*q[0]+b*q[1]+c
		if fp >= 0 && n < maxCorners {
			out[n] = p
			n++
		}
		if (fp < 0) != (fq < 0) && n < maxCorners {
			t := fp / (fp - fq)
			out[n] = [2]float64{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
			n++
		}
	}
	s.p, s.k = out, n
}

// foot returns the patch's point nearest to (u, v) and the distance squared. The
// patch may have shrunk to a segment or a point.
func (s *patch) foot(u, v float64) (x, y, d2 float64) {
	inside, point := true, true
	d2 = math.Inf(1)
	corners := s.p[:s.k]
	pu, pv := corners[len(corners)-1][0], corners[len(corners)-1][1]
	for i := range corners {
		qu, qv := corners[i][0], corners[i][1]
		ex, ey := qu-pu, qv-pv
		wx, wy := u-pu, v-pv
		l := ex*ex + ey*ey
		if l != 0 {
			point = false
			if ex*wy-ey*wx <= 0 {
				inside = false
				t := (wx*ex + wy*ey) / l
				switch {
				case t < 0:
					t = 0
				case t > 1:
					t = 1
				}
				dx, dy := wx-t*ex, wy-t*ey
				if d := dx*dx + dy*dy; d < d2 {
					x, y, d2 = pu+t*ex, pv+t*ey, d
				}
			}
		}
		pu, pv = qu, qv
	}
	switch {
	case point:
		dx, dy := u-pu, v-pv
		return pu, pv, dx*dx + dy*dy
	case inside:
		return u, v, 0
	}
	return x, y, d2
}

// try takes y as a contact if that makes the span thinner. It returns the ball's
// diameter and how it changes with y: diameters are convex in y, so they grow from
// here at least as this says.
func (r *spanSearch) try(y spot) (d float64, slope spot) {
	if y.h <= 0 {
		return math.Inf(1), spot{}
	}
	xu, xv, d2 := r.from.foot(y.u, y.v)
	l := d2 / y.h
	d = y.h + l
	by := 1 / y.h
	slope = spot{2 * (y.u - xu) * by, 2 * (y.v - xv) * by, 1 - l*by}
	if d < r.d {
		r.d, r.x, r.y, r.on, r.slope = d, [2]float64{xu, xv}, y, r.at, slope
	}
	return d, slope
}

// rival is a facet that may be the nearest opposing one, or a notch, in the
// frame of the facet in hand.
type rival struct {
	f      int32 // the facet, or one beside the notch
	notch  bool
	sliver bool // it has no side and stops nothing
	g      [3]spot
	m      spot // the facet's normal out of the medium
	q0     float64
	lo, hi spot // of the corners
	// No ball from the facet in hand is smaller than either (see sight).
	key, floor float64
}

// newRival takes a facet a b c whose normal out of the medium is n into the
// patch's frame. A zero normal stands for a sharp notch, then a b c may be a
// segment or a point.
func (s *patch) newRival(f int32, a, b, c, n Vec) (r rival) {
	s.place(&r, f, &a, &b, &c)
	s.turn(&r, &n)
	return r
}

// place is the part of newRival that asks for no normal, in place. It is written
// out in numbers: millions of facets pass here that face a patch but stop no
// small ball.
func (s *patch) place(r *rival, f int32, a, b, c *Vec) {
	o0, o1, o2 := s.o[0], s.o[1], s.o[2]
	x0, x1, x2 := s.ax[0], s.ax[1], s.ax[2]
	y0, y1, y2 := s.ay[0], s.ay[1], s.ay[2]
	n0, n1, n2 := s.n[0], s.n[1], s.n[2]
	d0, d1, d2 := a[0]-o0, a[1]-o1, a[2]-o2
	au, av, ah := dot3(d0, d1, d2, x0, x1, x2), dot3(d0, d1, d2, y0, y1, y2), -dot3(d0, d1, d2, n0, n1, n2)
	d0, d1, d2 = b[0]-o0, b[1]-o1, b[2]-o2
	bu, bv, bh := dot3(d0, d1, d2, x0, x1, x2), dot3(d0, d1, d2, y0, y1, y2), -dot3(d0, d1, d2, n0, n1, n2)
	d0, d1, d2 = c[0]-o0, c[1]-o1, c[2]-o2
	cu, cv, ch := dot3(d0, d1, d2, x0, x1, x2), dot3(d0, d1, d2, y0, y1, y2), -dot3(d0, d1, d2, n0, n1, n2)
	r.f, r.sliver, r.notch, r.m = f, false, true, spot{}
	r.g = [3]spot{{au, av, ah}, {bu, bv, bh}, {cu, cv, ch}}
	r.lo = spot{min(au, bu, cu), min(av, bv, cv), min(ah, bh, ch)}
	r.hi = spot{max(au, bu, cu), max(av, bv, cv), max(ah, bh, ch)}
}

// turn gives a rival its normal.
func (s *patch) turn(r *rival, n *Vec) {
	m0, m1, m2 := n[0], n[1], n[2]
	r.notch = m0 == 0 && m1 == 0 && m2 == 0
	r.m = spot{dot3(m0, m1, m2, s.ax[0], s.ax[1], s.ax[2]), dot3(m0, m1, m2, s.ay[0], s.ay[1], s.ay[2]), -dot3(m0, m1, m2, s.n[0], s.n[1], s.n[2])}
	r.q0 = r.g[0].u*r.m.u + r.g[0].v*r.m.v + r.g[0].h*r.m.h
}

// depths returns how deep the patch's corners lie below the rival's plane, at
// least and at most.
func (s *patch) depths(r *rival) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for i := range s.k {
		q := r.q0 - r.m.u*s.p[i][0] - r.m.v*s.p[i][1]
		least, most = min(least, q), max(most, q)
	}
	return least, most
}

// bound returns two lower bounds for the diameter of a ball that touches the patch
// and is stopped by the rival, cheap to compute: +Inf where there is none. Surface
// nearer than touch counts as touching and bounds no medium. The floor is the higher
// one; the key tells better which of several rivals stops the smallest.
//
// The ball that is stopped by the rival's whole plane is no larger than one that
// is stopped by the rival.
func (s *patch) bound(r *rival, own *patchBox, touch float64) (key, floor float64) {
	plane, place := s.planeBounds(r, own)
	key = max(s.boxBound(r, own, touch), plane)
	return key, max(key, place)
}

// planeBounds are a bound by the rival's plane alone and one by where on it, too.
// A ball that touches the patch at x and is stopped by the plane, of the diameter
// D0, touches that at a point c; one that goes through another point y of the
// plane has the diameter D0 + |y-c|^2/h, since |y-c|^2 is the power of y with
// regard to the first. For |y-c| stands the distance of the boxes of all c and
// all y.
func (s *patch) planeBounds(r *rival, own *patchBox) (plane, place float64) {
	if r.notch {
		return 0, 0
	}
	least, most := s.depths(r)
	if most <= 0 {
		return math.Inf(1), math.Inf(1)
	}
	plane = 2 * least / (1 + r.m.h)
	least = max(least, 0)
	lo, hi := least/(1+r.m.h), most/(1+r.m.h) // radii
	du := max(r.lo.u-own.u1-max(lo*r.m.u, hi*r.m.u), own.u0+min(lo*r.m.u, hi*r.m.u)-r.hi.u, 0)
	dv := max(r.lo.v-own.v1-max(lo*r.m.v, hi*r.m.v), own.v0+min(lo*r.m.v, hi*r.m.v)-r.hi.v, 0)
	dh := max(r.lo.h-most, least-r.hi.h, 0)
	return plane, 2*lo + (float64(du*du)+float64(dv*dv)+float64(dh*dh))*(1-slopeErr)/r.hi.h
}

// boxBound is bound by where the rival stands alone: the ball through a point at
// the height h and the distance l beside the patch has the diameter h + l^2/h; for
// l stands the distance of the boxes in the plane, and h is the best of the
// rival's.
func (s *patch) boxBound(r *rival, own *patchBox, touch float64) float64 {
	if r.hi.h <= touch {
		return math.Inf(1)
	}
	du := max(r.lo.u-own.u1, own.u0-r.hi.u, 0)
	dv := max(r.lo.v-own.v1, own.v0-r.hi.v, 0)
	l2, h := float64(du*du)+float64(dv*dv), max(r.lo.h, touch)
	switch {
	case l2 <= h*h:
	case l2 >= r.hi.h*r.hi.h:
		h = r.hi.h
	default:
		return 2 * math.Sqrt(l2)
	}
	return h + l2/h
}

// patchBox is what a patch covers in its frame.
type patchBox struct{ u0, u1, v0, v1 float64 }

func (s *patch) extent() patchBox {
	b := patchBox{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for i := range s.k {
		b.u0, b.u1 = min(b.u0, s.p[i][0]), max(b.u1, s.p[i][0])
		b.v0, b.v1 = min(b.v0, s.p[i][1]), max(b.v1, s.p[i][1])
	}
	return b
}

// between returns the thinnest span between the patch and a rival, if its
// diameter is less than below.
func (s *patch) between(v *rival, touch, below float64) (span, bool) {
	if v.hi.h <= touch || v.lo.h >= below {
		return span{}, false
	}
	from := s
	if !v.notch {
		least, most := s.depths(v)
		if most <= 0 || 2*least >= below*(1+v.m.h) {
			return span{}, false
		}
		if least < 0 { // points behind the plane don't see the facet's inner side
			cutting := *s
			cutting.cut(-v.m.u, -v.m.v, v.q0)
			if cutting.k == 0 {
				return span{}, false
			}
			from = &cutting
		}
	}
	g, k := [4]spot{v.g[0], v.g[1], v.g[2]}, 3
	if v.lo.h < touch {
		k = cutAbove(&g, touch)
	}
	r := spanSearch{span: span{d: below}, from: from}
	r.inside(g[:k], v)
	r.part = from != s
	return r.span, r.d < below
}

// inside looks for the thinnest span that ends on the rival, of which g is left
// above what touches: at its corners first. Whatever their slopes say can't
// become thinner is left out.
func (r *spanSearch) inside(g []spot, v *rival) {
	var d, least [4]float64
	var rise [4][4]float64 // from corner to corner, at least
	for i := range g {
		var slope spot
		r.at = onCorner(i, len(g))
		d[i], slope = r.try(g[i])
		for j := range g {
			rise[i][j] = slope.rise(g[i], g[j])
			least[i] = min(least[i], rise[i][j])
		}
		if d[i]+least[i]-slopeErr*(d[i]-least[i]) > r.d {
			return
		}
	}
	for i := range g {
		if d[i]+least[i] >= r.d {
			return
		}
	}
	if !v.notch {
		r.at = 0
		r.corners(g, v.m)
	}
	for i := range g {
		j := (i + 1) % len(g)
		a, b := rise[i][j], rise[j][i]
		if a >= 0 || b >= 0 {
			continue // thinnest at the end
		}
		if t := (d[j] + b - d[i]) / (a + b); d[i]+a*t < r.d {
			r.at = onCorner(i, len(g)) & onCorner(j, len(g))
			r.edge(g[i], g[j], tangents{d[i], d[j], a, b})
		}
	}
}

// onCorner has a bit for each edge that meets corner i of a facet of n corners;
// of one that was cut, all.
func onCorner(i, n int) uint8 {
	if n != 3 {
		return 7
	}
	return 7 &^ (1 << ((i + 1) % 3))
}

// slopeErr is far more than rounding, so that what slopes leave out early is
// never by rounding the thinnest of places as thin.
const slopeErr = 1e-9

// rise is the slope's from p to q.
func (s spot) rise(p, q spot) float64 {
	return s.u*(q.u-p.u) + s.v*(q.v-p.v) + s.h*(q.h-p.h)
}

// cutAbove keeps the part of the facet with h >= touch, in place.
func cutAbove(g *[4]spot, touch float64) int {
	var out [4]spot
	n := 0
	for i := range 3 {
		p, q := g[i], g[(i+1)%3]
		if p.h >= touch {
			out[n] = p
			n++
		}
		if (p.h < touch) != (q.h < touch) {
			t := (touch - p.h) / (q.h - p.h)
			out[n] = spot{p.u + t*(q.u-p.u), p.v + t*(q.v-p.v), touch}
			n++
		}
	}
	*g = out
	return n
}

// corners tries the balls that touch the patch at a corner and the other facet
// inside.
func (r *spanSearch) corners(g []spot, m spot) {
	for i := range r.from.k {
		x := r.from.p[i]
		q := (g[0].u-x[0])*m.u + (g[0].v-x[1])*m.v + g[0].h*m.h
		rad := q / (1 + m.h)
		if 2*rad >= r.d || rad <= 0 {
			continue
		}
		y := spot{x[0] + rad*m.u, x[1] + rad*m.v, rad + rad*m.h}
		if holds(g, y.u, y.v) {
			r.try(y)
		}
	}
}

// holds reports whether the polygon's shadow on the patch's plane holds (u, v).
func holds(g []spot, u, v float64) bool {
	left, right := false, false
	for i, p := range g {
		q := g[(i+1)%len(g)]
		c := (q.u-p.u)*(v-p.v) - (q.v-p.v)*(u-p.u)
		left, right = left || c > 0, right || c < 0
	}
	return !(left && right)
}

// tangents bound the diameter along a segment: what it is at the start and the
// end, and how it goes from there towards the other at least.
type tangents struct{ start, end, onward, back float64 }

// exceed reports whether the diameter at b of the segment is surely more than d.
func (t *tangents) exceed(b, d float64) bool {
	return t.start+t.onward*b-slopeErr*(t.start-t.onward) > d || t.end+t.back*(1-b)-slopeErr*(t.end-t.back) > d
}

// edge tries the best point of the segment p q. Against an edge or a corner of the patch the diameter is a
// quadratic over a linear function of the place along the segment, so its minimum
// is the root of a quadratic; as the whole is convex, a minimum that has its foot
// on what it was sought for is the one, and the slope at any other place says on
// which side that lies.
func (r *spanSearch) edge(p, q spot, t tangents) {
	s := along{r: r, p: p, du: q.u - p.u, dv: q.v - p.v, dh: q.h - p.h, t: t, hi: 1}
	s.c = s.du*s.du + s.dv*s.dv + s.dh*s.dh
	if s.c == 0 {
		return
	}
	for i := range r.from.k {
		if s.corner(i) || s.side(i) {
			return
		}
	}
}

// along is a search for the best point of the segment from p by du, dv and dh.
type along struct {
	r          *spanSearch
	p          spot
	du, dv, dh float64
	c          float64 // length squared
	t          tangents
	lo, hi     float64 // it lies between
}

// at tries the point b of the segment and reports whether it is the best.
func (s *along) at(b float64) bool {
	if !(b > s.lo && b < s.hi) || s.t.exceed(b, s.r.d) {
		return false
	}
	_, slope := s.r.try(spot{s.p.u + b*s.du, s.p.v + b*s.dv, s.p.h + b*s.dh})
	u, v, h := slope.u*s.du, slope.v*s.dv, slope.h*s.dh
	rise := u + v + h
	if rise > 0 {
		s.hi = b
	} else {
		s.lo = b
	}
	return math.Abs(rise) <= levelErr*(math.Abs(u)+math.Abs(v)+math.Abs(h))
}

// levelErr is how level it is at a minimum, as a share of what cancels there.
const levelErr = 1e-12

// corner tries the best point against corner i of the patch, side that against
// the line of the edge from there. Both report whether it is the best of the whole
// segment.
func (s *along) corner(i int) bool { // (A + B b + C b^2) / (h + dh b)
	p, x := &s.p, &s.r.from.p[i]
	wu, wv := p.u-x[0], p.v-x[1]
	ca, cb := wu*wu+wv*wv+p.h*p.h, 2*(wu*s.du+wv*s.dv+p.h*s.dh)
	k2, k1, k0 := s.c*s.dh, 2*s.c*p.h, cb*p.h-s.dh*ca
	if math.Abs(k2) < 1e-12*k1 {
		return s.at(-k0 / k1)
	}
	disc := k1*k1 - 4*k2*k0
	if disc < 0 {
		return false
	}
	w := -0.5 * (k1 + math.Sqrt(disc)) // k1 > 0
	return s.at(w/k2) || s.at(k0/w)
}

func (s *along) side(i int) bool { // h + e^2/h, with e the distance beyond the line
	f, p := s.r.from, &s.p
	next := i + 1
	if next == f.k {
		next = 0
	}
	x, x2 := &f.p[i], &f.p[next]
	ex, ey := x2[0]-x[0], x2[1]-x[1]
	l := math.Sqrt(ex*ex + ey*ey)
	if l == 0 {
		return false
	}
	mx, my := ey/l, -ex/l
	e0, e1 := (p.u-x[0])*mx+(p.v-x[1])*my, s.du*mx+s.dv*my
	if math.Abs(s.dh) < 1e-12*math.Abs(e1) {
		return s.at(-e0 / e1)
	}
	if s.dh == 0 {
		return false
	}
	w := e1 / s.dh
	rho := w + math.Sqrt(w*w+1) // e = rho h at the minimum
	if w < 0 {
		rho = 1 / (math.Sqrt(w*w+1) - w)
	}
	den := e1 - rho*s.dh
	return den != 0 && s.at((rho*p.h-e0)/den)
}
