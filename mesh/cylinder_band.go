package mesh

// This file tells cylinders from bands of a curved surface: the equator of a
// ball, the inside of a ring, one strip of a barrel.

import "math"

const (
	// A band is no longer than this times the strip that goes on from it: a
	// tessellation makes strips of a curve about alike.
	cylBandLong = 1.5
	// A step of a bent tube may be this much longer than what is seen of the next
	// ones, of which the inner side is shorter than the outer.
	cylBendLong = 2
	// The mean of the squares of the lean at a step's ends, over the square of its
	// mean, is more than this: pi*pi/8 in the limit, 1 at the mouths of a bore.
	cylLeanVaries = 1.12
	// A surface that narrows beyond the band by no more than this may be a ball
	// of few strips. Where it widens, as at the mouth of a hole, it is taken for
	// a ring up to a lesser angle only: from there it is a countersink or a
	// chamfer.
	cylBandNarrows = 50 * degree
	cylBandWidens  = 40 * degree
	// A strip that goes on from a half band, as cut off at its middle, turns no
	// more than this.
	cylBandHalf = 31 * degree
)

// cylEnd is how the surface goes on beyond one end of a cylinder, as a turner
// sees its profile.
type cylEnd struct {
	arc   float64 // radians of the circle along which it goes on without a sharp turn
	turn  float64 // radians from the axis' direction to that of the strip beyond; positive where it narrows
	width float64 // mm: of that strip, along the profile
	next  float64 // radians from that strip to what is beyond it
}

// isBand reports a strip of a curved surface, round in itself. The profile of a
// curve turns at every strip by about as much as at the one before. The profile
// of a bore turns otherwise at its ends than beyond them: at a fillet by half of
// what it turns between the fillet's own strips (the bore is tangent to the
// fillet, of which each strip is a chord), at a chamfer or countersink by the
// cone's angle and then by what is left to the face.
func (w *cylWork) isBand(p *cylPiece) bool {
	long := w.length(p)
	if w.isBendStep(p, long) {
		return true
	}
	var curved float64
	for _, dir := range [2]float64{-1, 1} {
		e := w.beyond(p, dir)
		least, most, steep := 0.3, 1.9, cylBandNarrows
		if e.turn < 0 {
			least, most, steep = 0.6, 1.7, cylBandWidens
		}
		turn := math.Abs(e.turn)
		if turn == 0 || turn > steep || long > cylBandLong*e.width {
			continue
		}
		like := e.next / e.turn
		if like >= least && like <= most {
			curved += e.arc
		}
		if like >= 0.75 && like <= 1.33 && turn <= cylBandHalf && long <= e.width && e.arc > 1.2*math.Pi*p.Share {
			return true
		}
	}
	return curved > 0.6*4*math.Pi*p.Share
}

// isBendStep reports one step of a bent tube or of the segments of a ball: at
// most of both its ends, surface goes on smoothly in steps as long as this one,
// and how much it leans depends on the direction about the axis, to one side here
// and to the other there (a tube), or not at all at the ball's poles. Where the
// lean goes as the cosine, the mean of its squares is pi^2/8 of the square of its
// mean.
func (w *cylWork) isBendStep(p *cylPiece, long float64) bool {
	x, fit := w.x, &p.fit
	w.epoch++
	for _, f := range p.Facets {
		w.seen[f] = w.epoch
	}
	var smooth, tall float64         // radians of arc, and that times the height of what is beyond
	var lean, leanSum, lean2 float64 // times arc: towards one side, either way, and squared
	for _, f := range p.Facets {
		for k := range int32(3) {
			h := 3*f + k
			t := x.topo.Twin[h]
			if t < 0 || w.seen[t/3] == w.epoch || float64(x.turn[h]) >= cylSmoothEnd {
				continue
			}
			arc := x.arcOf(fit, h)
			smooth += arc
			tall += arc * x.flatHeight(t)
			_, _, own := fit.point(x.m.Centre(f))
			_, _, z := fit.point(x.m.Centre(t / 3))
			a, _, _ := x.leans(fit, t/3, math.Copysign(1, z-own))
			lean += arc * a
			leanSum += arc * math.Abs(a)
			lean2 += arc * a * a
		}
	}
	varies := math.Abs(lean) < 0.5*leanSum || lean2*smooth > cylLeanVaries*leanSum*leanSum
	return smooth > 0.6*4*math.Pi*p.Share && varies && long <= cylBendLong*tall/smooth
}

// flatHeight returns how far the flat side that half-edge h bounds reaches from
// it, square to h.
func (x *cylFinder) flatHeight(h int32) float64 {
	n := x.normal(h / 3)
	t := x.m.Facets[h/3]
	a := x.m.Verts[t[h%3]]
	along := x.m.Verts[t[(h%3+1)%3]].Sub(a).Unit()
	in := n.Cross(along)
	far := 0.0
	side := make([]int32, 0, 16)
	for side = append(side, h/3); len(side) > 0; {
		f := side[len(side)-1]
		side = side[:len(side)-1]
		before := far
		for _, v := range x.m.Facets[f] {
			far = max(far, x.m.Verts[v].Sub(a).Dot(in))
		}
		if far == before {
			continue // it reaches no further: nor do those beyond it
		}
		for k := range int32(3) {
			if g := x.topo.Twin[3*f+k]; g >= 0 && float64(x.turn[3*f+k]) < cylFlat {
				side = append(side, g/3)
			}
		}
	}
	return far
}

// length returns the mean length of a piece that measure has been at.
func (w *cylWork) length(p *cylPiece) float64 {
	var area float64
	for _, f := range p.Facets {
		area += w.x.m.Area(f)
	}
	return area / (2 * math.Pi * p.fit.r * p.Share)
}

// beyond looks at the strip beyond the end of a piece in the direction dir (1 or
// -1) of its axis.
func (w *cylWork) beyond(p *cylPiece, dir float64) (e cylEnd) {
	x, fit := w.x, &p.fit
	w.epoch++
	inside := w.epoch
	for _, f := range p.Facets {
		w.seen[f] = inside
	}
	// The strip begins with what stands beside the border.
	w.epoch++
	strip := w.queue[:0]
	w.leaning = w.leaning[:0]
	defer func() { w.queue = strip }()
	var lean float64
	for _, f := range p.Facets {
		for k := range int32(3) {
			t := x.topo.Twin[3*f+k]
			if t < 0 || w.seen[t/3] == inside {
				continue
			}
			g := t / 3
			a, rho, z := x.leans(fit, g, dir)
			_, _, own := fit.point(x.m.Centre(f))
			if dir*(z-own) <= 0 || math.Abs(a) > cylBandNarrows {
				continue
			}
			arc := x.arcOf(fit, 3*f+k)
			e.arc += arc
			lean += arc * a
			if w.seen[g] != w.epoch {
				w.seen[g] = w.epoch
				strip, w.leaning = append(strip, g), append(w.leaning, cylLean{a, rho})
			}
		}
	}
	if e.arc == 0 {
		return e
	}
	e.turn = lean / e.arc
	w.strip(p, &e, &strip, inside, dir)
	return e
}

// strip gathers the facets that lean as the strip beyond an end does, and fills
// in its width and what it meets.
func (w *cylWork) strip(p *cylPiece, e *cylEnd, strip *[]int32, inside int32, dir float64) {
	x, fit := w.x, &p.fit
	alike := func(a float64) bool { return math.Abs(a-e.turn) <= 0.3*math.Abs(e.turn)+0.2*degree }
	var area, moment float64
	w.pairs = w.pairs[:0]
	q := *strip
	for i := 0; i < len(q); i++ {
		f, lean := q[i], w.leaning[i]
		if !alike(lean.angle) {
			continue
		}
		s := x.m.Area(f)
		area += s
		moment += s * lean.rho
		for k := range int32(3) {
			t := x.topo.Twin[3*f+k]
			if t < 0 || w.seen[t/3] == inside || w.seen[t/3] == w.epoch {
				continue
			}
			g := t / 3
			a, rho, _ := x.leans(fit, g, dir)
			if !alike(a) {
				w.pairs = append(w.pairs, [2]float64{a, x.arcOf(fit, 3*f+k)})
				continue
			}
			w.seen[g] = w.epoch
			q, w.leaning = append(q, g), append(w.leaning, cylLean{a, rho})
		}
	}
	*strip = q
	if area > 0 {
		e.width = area * area / (e.arc * moment)
		e.next = medianWeighted(w.pairs) - e.turn
	}
}

// cylLean is what leans tells of a facet of a strip.
type cylLean struct{ angle, rho float64 }

// leans returns the angle by which a facet leans from the axis' direction, more
// than 0 where the surface narrows towards dir, and its centre's distance from
// the axis and place along it.
func (x *cylFinder) leans(fit *cylFit, f int32, dir float64) (angle, rho, z float64) {
	px, py, z := fit.point(x.m.Centre(f))
	rho = math.Hypot(px, py)
	n := x.normal(f)
	out := (n.Dot(fit.u)*px + n.Dot(fit.v)*py) / max(rho, math.SmallestNonzeroFloat64)
	return math.Atan2(fit.sign*dir*n.Dot(fit.a), fit.sign*out), rho, z
}

// arcOf returns the angle that a half-edge spans about the axis.
func (x *cylFinder) arcOf(fit *cylFit, h int32) float64 {
	t := x.m.Facets[h/3]
	px, py, _ := fit.point(x.m.Verts[t[h%3]])
	qx, qy, _ := fit.point(x.m.Verts[t[(h%3+1)%3]])
	return math.Abs(math.Atan2(px*qy-py*qx, px*qx+py*qy))
}
