package mesh

// This file measures a gathered round surface and decides whether it is a
// cylinder at all.

import (
	"math"
	"slices"
)

const (
	// A surface whose corners scatter by more than this share of the radius is
	// no cylinder, however noisy the mesh.
	cylRoughMost = 0.08
	// Below this share of the radius a shape is round, whatever its pattern: an
	// ellipse whose axes differ by one per cent.
	cylRoundEnough = 0.005
	// Where a surface is not that round, creases must say where it ends, on all
	// but this share of its border.
	cylBorderSmooth = 0.2
	// A piece of less than this share of the circle says too little about it to
	// be put together with others.
	cylPieceLeast = 0.04
	// A wall that leans more than this is a cone.
	cylTaperMost = 0.5 * degree
	// Facets that meet the end of a round surface at less than this angle go on
	// from it smoothly.
	cylSmoothEnd = 25 * degree
)

// judge measures what was gathered; false if it is no cylinder. A piece of less
// than a full circle is returned too: others may complete it.
func (w *cylWork) judge(fit cylFit, members []int32) (*cylPiece, bool) {
	w.corners(&fit, members)
	if len(w.points) < 6 {
		return nil, false
	}
	fit.fitPoints(w.points)
	p := &cylPiece{fit: fit}
	p.Facets = slices.Clone(members)
	p.Concave = fit.sign < 0
	switch {
	case fit.rms > cylRoughMost*fit.r, w.tapers(&fit), w.bulges(&fit, p.Facets):
		return nil, false
	case fit.rms > cylRoundEnough*fit.r && (w.patterned(&fit, members) || !w.bounded(members)):
		return nil, false
	}
	w.measure(p)
	return p, p.LengthMM > 0 && p.Share >= cylPieceLeast && p.Share*2*math.Pi >= 2*fit.turn && !w.isBand(p)
}

// measure fills in what the facets of a piece say. w.points hold its corners.
func (w *cylWork) measure(p *cylPiece) {
	x, fit := w.x, &p.fit
	lo, hi := math.Inf(1), math.Inf(-1)
	inscribed := math.Inf(1)
	var angle, density, rho2 float64
	arcs := w.pairs[:0]
	for _, f := range p.Facets {
		c := x.chord(fit, f)
		arcs = append(arcs, [2]float64{math.Mod(c.from+4*math.Pi, 2*math.Pi), c.wide})
		lo, hi = min(lo, c.low), max(hi, c.high)
		inscribed = min(inscribed, c.near)
		p.widest = max(p.widest, c.wide)
		if c.wide > 0 && c.long > 0 {
			high := x.m.Area(f) / c.long // half of what the facet measures along the axis
			angle += high * c.wide
			density += high
			rho2 += high * c.wide * c.square
		}
	}
	w.pairs = arcs
	p.Share = coveredShare(arcs, 0.25*fit.turn)
	if p.Share >= cylShareMin && !w.surrounds(p) {
		p.Share = w.shareAtBest(fit, x.m, p.Facets, lo, hi)
	}
	fine := 2 * math.Pi * density / angle // sides of a full circle
	p.Sides = min(int(math.Round(fine*p.Share)), w.distinctAngles(fit, 0.3*2*math.Pi/fine))
	p.LengthMM = hi - lo
	p.Axis = fit.a
	p.At = fit.c.Add(fit.a.Scale((lo + hi) / 2))
	p.fit.c = p.At
	p.DiameterMM = 2 * fit.r
	p.InscribedMM = 2 * inscribed
	p.AreaMM = 2 * math.Sqrt(rho2/angle)
	p.ErrMM = max(p.DiameterMM-p.InscribedMM, 0) + 2*2*fit.rms/math.Sqrt(float64(len(w.points))/5)
}

// cylChord is a facet seen along the axis.
type cylChord struct {
	from, wide float64 // the angles that it spans: from, and how many
	low, high  float64 // along the axis
	near       float64 // how near it comes to the axis
	square     float64 // the mean of its squared distance from the axis, over angle
	long       float64 // its length
}

func (x *cylFinder) chord(fit *cylFit, f int32) (c cylChord) {
	var px, py, pz [3]float64
	for k, v := range x.m.Facets[f] {
		px[k], py[k], pz[k] = fit.point(x.m.Verts[v])
	}
	c.low, c.high = min(pz[0], pz[1], pz[2]), max(pz[0], pz[1], pz[2])
	// The corner furthest clockwise, and the one furthest the other way: a
	// facet spans less than half a turn.
	a, b := 0, 0
	for k := 1; k < 3; k++ {
		if px[a]*py[k]-py[a]*px[k] < 0 {
			a = k
		}
		if px[b]*py[k]-py[b]*px[k] > 0 {
			b = k
		}
	}
	c.from = math.Atan2(py[a], px[a])
	c.wide = math.Atan2(px[a]*py[b]-py[a]*px[b], px[a]*px[b]+py[a]*py[b])
	ra, rb := math.Hypot(px[a], py[a]), math.Hypot(px[b], py[b])
	c.near, c.square = min(ra, rb), ra*rb
	ex, ey := px[b]-px[a], py[b]-py[a]
	l := ex*ex + ey*ey
	c.long = math.Sqrt(l)
	if c.wide > 0 && l > 0 {
		c.square *= math.Sin(c.wide) / c.wide
		// The foot of the perpendicular from the axis, if it is on the chord.
		if t := -(px[a]*ex + py[a]*ey) / l; t > 0 && t < 1 {
			c.near = math.Abs(px[a]*ey-py[a]*ex) / c.long
		}
	}
	return c
}

// coveredShare returns the share of the circle that arcs (start, width) cover;
// gaps up to gap count as covered. It sorts the arcs.
func coveredShare(arcs [][2]float64, gap float64) float64 {
	if len(arcs) == 0 {
		return 0
	}
	sortPairs(arcs)
	reach := arcs[0][0]
	for _, a := range arcs { // what reaches over the start covers its beginning
		reach = max(reach, a[0]+a[1]-2*math.Pi)
	}
	first := arcs[0][0]
	var open float64
	for _, a := range arcs {
		if a[0]-reach > gap {
			open += a[0] - reach
		}
		reach = max(reach, a[0]+a[1])
	}
	if last := first + 2*math.Pi - reach; last > gap {
		open += last
	}
	return max(0, 1-open/(2*math.Pi))
}

// surrounds reports whether the facets, as they hang together, close a loop
// about the axis. What goes round without doing so is a helix or a ring that a
// keyway opens.
func (w *cylWork) surrounds(p *cylPiece) bool {
	x, fit := w.x, &p.fit
	if w.angle == nil {
		w.angle = make([]float32, len(x.m.Facets))
	}
	polar := func(f int32) float64 {
		px, py, _ := fit.point(x.m.Centre(f))
		return math.Atan2(py, px)
	}
	w.epoch++
	inside := w.epoch
	for _, f := range p.Facets {
		w.seen[f] = inside
	}
	w.epoch++
	for _, s := range p.Facets {
		if w.seen[s] == w.epoch {
			continue
		}
		w.seen[s] = w.epoch
		w.angle[s] = float32(polar(s))
		q := append(w.queue[:0], s)
		for i := 0; i < len(q); i++ {
			f := q[i]
			for k := range int32(3) {
				g := x.topo.Twin[3*f+k]
				if g < 0 {
					continue
				}
				g /= 3
				if w.seen[g] != inside && w.seen[g] != w.epoch {
					continue
				}
				// The neighbour's angle, counted on from this one's.
				a := float64(w.angle[f]) + math.Remainder(polar(g)-float64(w.angle[f]), 2*math.Pi)
				if w.seen[g] == w.epoch {
					if math.Abs(a-float64(w.angle[g])) > math.Pi {
						w.queue = q
						return true
					}
					continue
				}
				w.seen[g] = w.epoch
				w.angle[g] = float32(a)
				q = append(q, g)
			}
		}
		w.queue = q
	}
	return false
}

// shareAtBest returns the largest share of the circle that facets of a mesh cover
// at one height, of sixteen heights between lo and hi.
func (w *cylWork) shareAtBest(fit *cylFit, m *Mesh, facets []int32, lo, hi float64) float64 {
	const heights = 16
	best := 0.0
	tall := make([]extent, len(facets))
	for i, f := range facets {
		tall[i] = emptyExtent()
		for _, v := range m.Facets[f] {
			_, _, z := fit.point(m.Verts[v])
			tall[i].add(z)
		}
	}
	for i := range heights {
		z := lo + (hi-lo)*(float64(i)+0.5)/heights
		w.pairs = w.pairs[:0]
		for j, f := range facets {
			if tall[j].lo >= z || tall[j].hi < z {
				continue
			}
			var c [3]Vec
			for k, v := range m.Facets[f] {
				c[k][0], c[k][1], c[k][2] = fit.point(m.Verts[v])
			}
			var cut [2]Vec
			n := 0
			for k := range 3 {
				a, b := c[k], c[(k+1)%3]
				if (a[2] < z) != (b[2] < z) {
					cut[n] = a.Add(b.Sub(a).Scale((z - a[2]) / (b[2] - a[2])))
					n++
				}
			}
			from := math.Atan2(cut[0][1], cut[0][0])
			wide := math.Remainder(math.Atan2(cut[1][1], cut[1][0])-from, 2*math.Pi)
			if wide < 0 {
				from, wide = from+wide, -wide
			}
			w.pairs = append(w.pairs, [2]float64{math.Mod(from+4*math.Pi, 2*math.Pi), wide})
		}
		best = max(best, coveredShare(w.pairs, 0.25*fit.turn))
	}
	return best
}

// distinctAngles counts the angles at which corners stand: angles within gap
// are one. Corners anywhere on the circle count once a gap.
func (w *cylWork) distinctAngles(fit *cylFit, gap float64) int {
	w.vals = w.vals[:0]
	for _, p := range w.points {
		px, py, _ := fit.point(p)
		w.vals = append(w.vals, math.Atan2(py, px))
	}
	slices.Sort(w.vals)
	n := 1
	from := w.vals[0]
	for _, a := range w.vals {
		if a-from > gap {
			n++
			from = a
		}
	}
	if n > 1 && w.vals[0]+2*math.Pi-from <= gap {
		n--
	}
	return n
}

// tapers reports a cone: the corners' distance from the axis grows along it by
// more than its scatter explains, and by more than the taper allowed or by one
// per cent of the diameter from end to end.
func (w *cylWork) tapers(fit *cylFit) bool {
	lo, hi := math.Inf(1), math.Inf(-1)
	var n, sz, sd, szz, szd, sdd float64
	for _, q := range w.points {
		px, py, z := fit.point(q)
		lo, hi = min(lo, z), max(hi, z)
		d := math.Hypot(px, py) - fit.r
		n++
		sz += z
		sd += d
		szz += z * z
		szd += z * d
		sdd += d * d
	}
	szz -= sz * sz / n
	szd -= sz * sd / n
	sdd -= sd * sd / n
	if szz <= 0 {
		return false
	}
	slope := szd / szz
	left := max(sdd-slope*szd, 0) / max(n-6, 1)
	if math.Abs(slope) <= 3*math.Sqrt(left/szz) {
		return false
	}
	return math.Abs(slope) > math.Tan(cylTaperMost) || math.Abs(slope)*(hi-lo) > 0.02*fit.r
}

// patterned reports that the corners' distances from the circle follow a
// pattern (an ellipse, a rounded polygon, a barrel, a bend), where noise would
// scatter them: the mean squared difference of corners that an edge joins over
// twice the variance (Geary 1954, "The contiguity ratio and statistical
// mapping") is 1 for noise and small for a pattern.
func (w *cylWork) patterned(fit *cylFit, facets []int32) bool {
	x := w.x
	var sum float64
	w.epochV++
	for i, v := range w.ids {
		px, py, _ := fit.point(w.points[i])
		d := math.Hypot(px, py) - fit.r
		sum += d * d
		w.seenV[v], w.bend[v] = w.epochV, float32(d)
	}
	var diff, edges float64
	for _, f := range facets {
		t := x.m.Facets[f]
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if w.seenV[a] == w.epochV && w.seenV[b] == w.epochV {
				d := float64(w.bend[a] - w.bend[b])
				diff += d * d
				edges++
			}
		}
	}
	n := float64(len(w.ids))
	// The standard deviation is some 1/sqrt(n); three of them stay admissible.
	return edges > 0 && diff/(2*edges) < min(0.5, 1-3.3/math.Sqrt(n))*sum/n
}

// bulges reports that the facets lean steadily more from one end to the other,
// all round as on a ball or a ring's inside, or on opposite sides as on a bent
// tube, and not as noise makes them lean: a regression of the lean on the height
// and on height times cosine and sine of the angle explains half of it or more.
// Of few sides, whose two facets each lean against one another, three terms
// explain much by chance: there it must explain more, what an F-test with a
// chance of one in a thousand asks (0.05 unexplained of 8 sides, 0.25 of 16).
//
// A band that runs askew round a ring leans by the cosine of the angle besides:
// with many sides, five terms are tried too.
func (w *cylWork) bulges(fit *cylFit, facets []int32) bool {
	x := w.x
	lo, hi := math.Inf(1), math.Inf(-1)
	var m, skew [5][5]float64
	var b, skewB [5]float64
	var s, s1, s2 float64
	for _, f := range facets {
		px, py, z := fit.point(x.m.Centre(f))
		lo, hi = min(lo, z), max(hi, z)
		rho := math.Hypot(px, py)
		z, px, py = z/fit.r, px/rho, py/rho
		n, a := x.face(f)
		t := n.Dot(fit.a)
		s += a
		s1 += a * t
		s2 += a * t * t
		addRow(&m, &b, [5]float64{1, z, z * px, z * py, 0}, t, a)
		addRow(&skew, &skewB, [5]float64{px, z, z * px, z * py, py}, t, a)
	}
	sides := min(2*math.Pi/fit.turn, float64(len(facets))/2)
	most := math.Sin(cylLeanLeast) * fit.r / (hi - lo)
	mean := s1 * s1 / s // the lean common to all facets is not steady growth
	if bulgesBy(m, b, 4, mean, s2-mean, most, min(max((sides-6)/40, 0.02), 0.5)) {
		return true
	}
	return sides >= 16 && bulgesBy(skew, skewB, 5, 0, s2, most, min((sides-10)/40, 0.5))
}

// addRow adds an observation of weight a to the normal equations.
func addRow(m *[5][5]float64, b *[5]float64, row [5]float64, value, a float64) {
	for i := range row {
		b[i] += a * row[i] * value
		for k := range row {
			m[i][k] += a * row[i] * row[k]
		}
	}
}

// bulgesBy solves the first n of the normal equations, of which the second to
// fourth term are those of the height. It reports that the height's slope is more
// than most and that no more than a share unexplained of all is left; known was
// explained before.
func bulgesBy(m [5][5]float64, b [5]float64, n int, known, all, most, unexplained float64) bool {
	r := b
	if all <= 0 || !solveSym(&m, &r, n) {
		return false
	}
	explained := -known
	for i := range n {
		explained += r[i] * b[i]
	}
	return math.Abs(r[1])+math.Hypot(r[2], r[3]) > most && explained > (1-unexplained)*all
}

// bounded reports whether creases bound the facets.
func (w *cylWork) bounded(facets []int32) bool {
	all, smooth := w.border(facets)
	return smooth <= cylBorderSmooth*all
}

// border returns the length of the border of some facets, and the length of those
// of its edges at which the surface goes on smoothly.
func (w *cylWork) border(facets []int32) (all, smooth float64) {
	x := w.x
	w.epoch++
	for _, f := range facets {
		w.seen[f] = w.epoch
	}
	for _, f := range facets {
		t := x.m.Facets[f]
		for k := range int32(3) {
			h := 3*f + k
			g := x.topo.Twin[h]
			if g >= 0 && w.seen[g/3] == w.epoch {
				continue
			}
			l := x.m.Verts[t[(k+1)%3]].Sub(x.m.Verts[t[k]]).Norm()
			all += l
			if g >= 0 && float64(x.turn[h]) < cylSmoothEnd && l > 0 {
				smooth += l
			}
		}
	}
	return all, smooth
}

func sortPairs(v [][2]float64) {
	slices.SortFunc(v, func(a, b [2]float64) int {
		switch {
		case a[0] < b[0]:
			return -1
		case a[0] > b[0]:
			return 1
		}
		return 0
	})
}
