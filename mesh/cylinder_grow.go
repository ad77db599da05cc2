package mesh

// This file gathers the facets of one cylinder: fit, gather, and fit again.

import (
	"math"
	"slices"
)

const (
	// cylTurnMax is the widest angle that one side of a circle may span.
	cylTurnMax = 62 * degree
	// cylSample is how many corners or facets fits and medians are taken of
	// while a piece grows, at most.
	cylSample = 1024
	// cylLeanAlike is the share of the variance of leans below which what differs
	// between neighbours is not noise.
	cylLeanAlike = 0.1
)

// Tolerances follow the scatter of the surface itself, between these bounds.
const (
	cylRadialLeast = 0.001 // of the radius
	cylRadialMost  = 0.15  // of the radius
	cylLeanLeast   = 0.2 * degree
	cylLeanMost    = 20 * degree
)

// cylBulgeLeast is the lean that half of a bulging surface exceeds: less is
// rounding, or a fillet beside a true cylinder. Where it was as much as facets
// may lean, a flat belt of a large ball grew to tens of thousands of facets
// before judge turned it away.
const cylBulgeLeast = cylLeanLeast / 4

// settle fits, gathers and fits again until the surface stays the same, and
// judges it. A patch may grow threefold between two fits, so that an axis from
// a narrow patch is not trusted far away.
func (w *cylWork) settle(fit cylFit, seeds []int32, limit int) (*cylPiece, bool) {
	members := append(w.gathered[:0], seeds...)
	defer func() { w.gathered = members }()
	for round := range 24 {
		if x := w.x; x.ended() || !w.refine(&fit, members) {
			return nil, false
		}
		// Give up on what bends away from a cylinder before it grows large, once
		// what does not belong has been left out.
		if round >= 1 && w.bends(&fit, members) ||
			round >= 3 && fit.rms > cylRoundEnough*fit.r && w.patterned(&fit, members) {
			return nil, false
		}
		next, cut := w.gather(&fit, members, limit)
		if len(next) < 4 {
			return nil, false
		}
		// Of many facets a few may go on changing.
		same := !cut && max(len(next)-len(members), len(members)-len(next)) <= len(members)/1000
		if same && len(next) <= 1000 {
			same = slices.Equal(next, members)
		}
		members = append(members[:0], next...)
		if same && round > 0 {
			break
		}
		limit = max(limit, 3*len(members))
	}
	// What looks like a sliver may be a narrow strip of a fillet at the end.
	own := len(members)
	members = w.absorb(&fit, members)
	p, ok := w.judge(fit, members)
	if !ok && len(members) > own {
		p, ok = w.judge(fit, members[:own])
	}
	return p, ok
}

// scatter returns the tolerance over the median deviation of n: 3.4 standard
// deviations of normal noise for many, and more for few, of which the median
// says less and of which none must be lost: eight sides less one are no circle.
func scatter(n int) float64 { return 5 * (1 + 4/math.Sqrt(float64(n))) }

// refine fits the cylinder to the corners at which the members turn, and sets
// the tolerances by their scatter.
func (w *cylWork) refine(fit *cylFit, members []int32) bool {
	x := w.x
	w.corners(fit, members)
	if len(w.points) < 5 || fit.turn <= 0 {
		return false
	}
	// A sample will do for now; judge fits to all.
	sample := w.sample[:0]
	for i := 0; i < len(w.points); i += 1 + len(w.points)/cylSample {
		sample = append(sample, w.points[i])
	}
	w.sample = sample
	fit.fitPoints(sample)
	if !(fit.r < 2*x.diagonal) {
		return false
	}
	w.vals = w.vals[:0]
	for _, p := range sample {
		px, py, _ := fit.point(p)
		w.vals = append(w.vals, math.Abs(math.Hypot(px, py)-fit.r))
	}
	fit.inside = fit.r * (1 - math.Cos(min(1.3*fit.turn, cylTurnMax)/2))
	fit.wide = 2 * fit.r * math.Sin(min(2.5*fit.turn+degree, cylTurnMax)/2)
	fit.tolR = min(max(scatter(len(w.vals))*median(w.vals), cylRadialLeast*fit.r, 4*x.coordTol), cylRadialMost*fit.r)
	lean := w.medianLean(fit, members)
	fit.tolT = min(max(scatter(len(w.pairs))*lean, math.Sin(cylLeanLeast)), math.Sin(cylLeanMost))
	return true
}

// medianLean returns the lean (a sine) that half the surface exceeds; w.pairs
// holds the sample that it was taken of.
func (w *cylWork) medianLean(fit *cylFit, facets []int32) float64 {
	w.pairs = w.pairs[:0]
	for i := 0; i < len(facets); i += 1 + len(facets)/cylSample {
		n, area := w.x.face(facets[i])
		w.pairs = append(w.pairs, [2]float64{math.Abs(n.Dot(fit.a)), area})
	}
	return medianWeighted(w.pairs)
}

// bends reports, of surface that still grows, that it bulges all over: half of
// it leans by more than rounding, steadily more from one end to the other, or by
// more than a taper and as smoothly as freeform surface. A few rows of a fillet
// at the end of a cylinder are no reason to give up.
func (w *cylWork) bends(fit *cylFit, facets []int32) bool {
	lean := w.medianLean(fit, facets)
	return lean > math.Sin(cylTaperMost) && w.x.leansSmoothly(fit, facets) ||
		lean > math.Sin(cylBulgeLeast) && w.bulges(fit, facets)
}

// leansSmoothly reports that facets lean as their neighbours do, though not all
// alike: half the mean squared difference across edges, over the variance, is 1
// for noise and small for the shape of a surface (Geary 1954, as in patterned).
func (x *cylFinder) leansSmoothly(fit *cylFit, facets []int32) bool {
	var n, sum, sum2, edges, diff float64
	for i := 0; i < len(facets); i += 1 + len(facets)/cylSample {
		f := facets[i]
		lean := x.normal(f).Dot(fit.a)
		n++
		sum += lean
		sum2 += lean * lean
		for k := range 3 {
			if g := x.topo.Neighbour(f, k); g >= 0 {
				d := x.normal(g).Dot(fit.a) - lean
				diff += d * d
				edges++
			}
		}
	}
	variance := sum2/n - sum*sum/(n*n)
	return diff < cylLeanAlike*2*edges*variance
}

// corners collects into points (and ids) the members' corners at which the
// surface turns: corners inside a flat side lie off the circle and say nothing
// about it. It sets the typical turn: the mean over the edges between members,
// weighted by length and by the turn itself, so that flat edges don't count.
func (w *cylWork) corners(fit *cylFit, members []int32) {
	x := w.x
	w.epoch++
	w.epochV++
	w.ids, w.points = w.ids[:0], w.points[:0]
	for _, f := range members {
		w.seen[f] = w.epoch
	}
	var s1, s2 float64
	for _, f := range members {
		t := x.m.Facets[f]
		for _, v := range t {
			if w.seenV[v] != w.epochV {
				w.seenV[v] = w.epochV
				w.bend[v] = 0
				w.ids = append(w.ids, v)
			}
		}
		for k := range int32(3) {
			h := 3*f + k
			g := x.topo.Twin[h]
			if g < 0 || w.seen[g/3] != w.epoch || x.turn[h] > cylTurnMax {
				continue
			}
			a, b := t[k], t[(k+1)%3]
			l := math.Sqrt(apart2(&x.m.Verts[a], &x.m.Verts[b])) * float64(x.turn[h])
			s1 += l
			s2 += l * float64(x.turn[h])
			for _, v := range [2]int32{a, b} {
				if w.seenV[v] != w.epochV {
					w.seenV[v] = w.epochV
					w.bend[v] = 0
					w.ids = append(w.ids, v)
				}
				w.bend[v] = max(w.bend[v], x.turn[h])
			}
		}
	}
	if s1 > 0 {
		fit.turn = s2 / s1
	}
	n := 0
	for _, v := range w.ids {
		if float64(w.bend[v]) >= 0.25*fit.turn {
			w.ids[n] = v
			n++
			w.points = append(w.points, x.m.Verts[v])
		}
	}
	w.ids = w.ids[:n]
}

// gather walks from the members that lie on the fit to all facets that do, nearest first, up to limit (cut says that there were more).
// The facets come in ascending order.
func (w *cylWork) gather(fit *cylFit, members []int32, limit int) (got []int32, cut bool) {
	x := w.x
	w.epoch++
	q := w.queue[:0]
	for _, f := range members {
		if x.on(fit, f, fit.tolT) {
			w.seen[f] = w.epoch
			q = append(q, f)
		}
	}
	for i := 0; i < len(q); i++ {
		if len(q) >= limit || i&0xfff == 0 && x.ended() {
			cut = true
			break
		}
		for k := range int32(3) {
			h := x.topo.Twin[3*q[i]+k]
			if h < 0 {
				continue
			}
			g := h / 3
			if w.seen[g] == w.epoch || x.taken[g] || w.label != nil && w.label[g] != w.only {
				continue
			}
			w.seen[g] = w.epoch
			if x.on(fit, g, fit.tolT) {
				q = append(q, g)
			}
		}
	}
	w.queue = q
	slices.Sort(q)
	return q, cut
}

// on reports whether a facet belongs to the fitted surface: it leans no more
// than lean (a sine) against the axis, faces the right way, spans no more than
// a few sides, and its corners lie between the circle and the middle of a chord.
func (x *cylFinder) on(fit *cylFit, f int32, lean float64) bool {
	nx, ny, nz := x.normalOf(f)
	if math.Abs(dot3(nx, ny, nz, fit.a[0], fit.a[1], fit.a[2])) > lean {
		return false
	}
	var px, py [3]float64
	lo, hi := fit.r-fit.inside-fit.tolR, fit.r+fit.tolR
	for k, v := range x.m.Facets[f] {
		px[k], py[k] = fit.across(x.m.Verts[v])
		if rho := px[k]*px[k] + py[k]*py[k]; rho > hi*hi || lo > 0 && rho < lo*lo {
			return false
		}
	}
	cx, cy := px[0]+px[1]+px[2], py[0]+py[1]+py[2]
	nu, nv := dot3(nx, ny, nz, fit.u[0], fit.u[1], fit.u[2]), dot3(nx, ny, nz, fit.v[0], fit.v[1], fit.v[2])
	if fit.sign*(nu*cx+nv*cy) < 0.7*math.Sqrt(cx*cx+cy*cy) {
		return false
	}
	for k := range 3 {
		j := (k + 1) % 3
		if dx, dy := px[j]-px[k], py[j]-py[k]; dx*dx+dy*dy > fit.wide*fit.wide {
			return false
		}
	}
	return true
}

// absorb adds the slivers that lie on the surface but whose normals say
// nothing: their corners are on the circle, and they lean by less than 45
// degrees. They come after the members.
func (w *cylWork) absorb(fit *cylFit, members []int32) []int32 {
	x := w.x
	w.epoch++
	for _, f := range members {
		w.seen[f] = w.epoch
	}
	round := *fit
	round.inside = 0
	for i := 0; i < len(members); i++ {
		f := members[i]
		for k := range int32(3) {
			t := x.topo.Twin[3*f+k]
			if t < 0 || w.seen[t/3] == w.epoch {
				continue
			}
			g := t / 3
			w.seen[g] = w.epoch
			if x.taken[g] || w.label != nil && w.label[g] != w.only {
				continue
			}
			if x.on(&round, g, math.Sqrt2/2) && x.thin(fit, g) {
				members = append(members, g)
			}
		}
	}
	return members
}

// thin reports whether a facet's height is so small that the scatter of its
// corners may turn its normal.
func (x *cylFinder) thin(fit *cylFit, f int32) bool {
	a, b, c := x.m.Corners(f)
	long := max(b.Sub(a).Norm(), c.Sub(b).Norm(), a.Sub(c).Norm())
	sag := fit.r * (1 - math.Cos(min(fit.turn, cylTurnMax)/2))
	return 2*x.m.Area(f) <= 4*(fit.tolR+sag)*long
}
