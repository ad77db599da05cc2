package mesh

// This file looks at what is beyond the ends of a round surface.

import (
	"cmp"
	"math"
	"slices"
)

// cylBins is the number of directions about the axis in which ends are looked at.
const cylBins = 64

// ends says which ends are open, how long the full ring is, and which way the
// axis points.
//
// At each end, the surface beyond is walked, starting at the outermost border
// of the round surface in 64 directions and never crossing the round surface.
// Where it stays within the cylinder's radius it is a bottom, a drill point, a
// shoulder or a smaller hole (or, of a pin, its cap or a smaller pin); where it
// leaves the radius, the end is open (or the pin is held by what it stands on).
func (w *cylWork) ends(p *cylPiece) {
	x, fit := w.x, &p.fit
	w.epoch++
	for _, f := range p.Facets {
		w.seen[f] = w.epoch
	}
	var edge [2][cylBins]int32
	var at [2][cylBins]float64
	for e := range edge {
		for i := range edge[e] {
			edge[e][i] = -1
		}
	}
	for _, f := range p.Facets {
		for k := range int32(3) {
			h := 3*f + k
			if g := x.topo.Twin[h]; g >= 0 && w.seen[g/3] == w.epoch {
				continue
			}
			w.borderBins(fit, h, func(i int, z float64) {
				for e, sign := range [2]float64{-1, 1} {
					if edge[e][i] < 0 || sign*z > sign*at[e][i] {
						edge[e][i], at[e][i] = h, z
					}
				}
			})
		}
	}
	bottom, top := math.Inf(-1), math.Inf(1)
	for i := range cylBins {
		if edge[0][i] >= 0 {
			bottom, top = max(bottom, at[0][i]), min(top, at[1][i])
		}
	}
	p.RingMM = min(max(0, top-bottom), p.LengthMM)
	w.tested = append(w.tested[:0], p.Facets...)
	var open [2]bool
	for e := range edge {
		open[e] = w.leaves(fit, edge[e][:])
		if w.closedByBody(p, e) {
			open[e] = !p.Concave // a pin is held
		}
		if open[e] {
			p.OpenEnds++
		}
	}
	p.Through = p.Concave && p.OpenEnds == 2
	p.Free = !p.Concave && p.OpenEnds < 2
	p.Axis = p.Axis.canonical()
	if open[0] != open[1] {
		p.Axis = fit.a
		if open[1] != p.Concave { // a hole's axis points to its open end, a post's to its free one
			p.Axis = fit.a.Scale(-1)
		}
	}
}

// canonical turns a direction so that its largest component is positive.
func (a Vec) canonical() Vec {
	k := 0
	for j := range 3 {
		if math.Abs(a[j]) > math.Abs(a[k])+1e-9 {
			k = j
		}
	}
	if a[k] < 0 {
		return a.Scale(-1)
	}
	return a
}

// borderBins calls visit for each direction in which a border edge is seen from
// the axis, with the edge's height there.
func (w *cylWork) borderBins(fit *cylFit, h int32, visit func(bin int, z float64)) {
	t := w.x.m.Facets[h/3]
	px, py, pz := fit.point(w.x.m.Verts[t[h%3]])
	qx, qy, qz := fit.point(w.x.m.Verts[t[(h%3+1)%3]])
	from := math.Atan2(py, px)
	turn := math.Atan2(px*qy-py*qx, px*qx+py*qy)
	if turn < 0 {
		from, turn, pz, qz = from+turn, -turn, qz, pz
	}
	if turn == 0 {
		return
	}
	const wide = 2 * math.Pi / cylBins
	for i := math.Ceil(from/wide - 0.5); (i+0.5)*wide <= from+turn; i++ {
		s := ((i+0.5)*wide - from) / turn
		visit((int(i)+4*cylBins)%cylBins, pz+s*(qz-pz))
	}
}

// leaves walks the surface beyond some border edges and reports whether it
// leaves the cylinder's radius. An open border counts as leaving.
func (w *cylWork) leaves(fit *cylFit, border []int32) bool {
	x := w.x
	limit := fit.r + max(0.02*fit.r, 2*fit.tolR)
	w.epoch++
	for _, f := range w.tested {
		w.seen[f] = w.epoch
	}
	q := w.queue[:0]
	defer func() { w.queue = q }()
	step := func(h int32) bool {
		t := x.topo.Twin[h]
		if t < 0 {
			return true
		}
		g := t / 3
		if w.seen[g] == w.epoch {
			return false
		}
		w.seen[g] = w.epoch
		q = append(q, g)
		for _, v := range x.m.Facets[g] {
			px, py, _ := fit.point(x.m.Verts[v])
			if px*px+py*py > limit*limit {
				return true
			}
		}
		return false
	}
	for _, h := range border {
		if h >= 0 && step(h) {
			return true
		}
	}
	for i := 0; i < len(q); i++ {
		for k := range int32(3) {
			if step(3*q[i] + k) {
				return true
			}
		}
	}
	return false
}

// solid reports whether material reaches across a pin: rays from its surface
// through the axis must not leave the material before the far side. From a twelfth
// of the surface they may, where a hole crosses.
func (w *cylWork) solid(p *cylPiece) bool {
	const rays = 64
	x := w.x
	n := len(p.Facets)
	w.pairs = w.pairs[:0] // heights and numbers in the list
	for i, f := range p.Facets {
		_, _, z := p.fit.point(x.m.Centre(f))
		w.pairs = append(w.pairs, [2]float64{z, float64(i)})
	}
	if n > rays { // even over the length, however they are numbered
		slices.SortFunc(w.pairs, func(a, b [2]float64) int {
			if a[0] != b[0] {
				return cmp.Compare(a[0], b[0])
			}
			return cmp.Compare(a[1], b[1])
		})
	}
	var short, cast float64 // mm2
	for i := range min(rays, n) {
		f := p.Facets[int(w.pairs[(2*i+1)*n/(2*min(rays, n))][1])]
		area := x.m.Area(f)
		o := x.m.Centre(f)
		px, py, _ := p.fit.point(o)
		d := p.fit.u.Scale(-px).Add(p.fit.v.Scale(-py))
		l := d.Norm()
		if l == 0 {
			continue
		}
		cast += area
		far := 2 * p.fit.r
		d = d.Scale(1 / l)
		across := 0.9 * min(far, p.InscribedMM)
		if x.skin.share == nil {
			if _, ok := x.m.BVH().Ray(o, d, 1e-3*far, across); ok {
				short += area
			}
		} else if slices.ContainsFunc(x.m.BVH().RayAll(o, d, 1e-3*far, across, nil), func(h Hit) bool {
			return !x.m.inside(o.Add(d.Scale(h.T + 1e-3*far)))
		}) {
			short += area
		}
	}
	return 12*short <= cast
}

const (
	// A step of a bent channel is no longer than this, in diameters. What is longer is a
	// straight stretch of it.
	cylStepLong = 1.5
	// A channel is followed beyond an end for so many cuts, so many radii apart.
	cylStepCuts, cylStepPitch = 4, 0.15
	// About as wide as the step is a channel of this share of its radius on the average,
	// and of no more than that in any direction.
	cylStepLeast, cylStepMost, cylStepReach = 0.45, 1.4, 2.2
	// A channel turned less than this goes straight on.
	cylStepTurn = 1.5 * degree
)

// isChannelStep reports that a short round surface is a straight step of a bent channel,
// as a row of cylinders makes it: beyond both ends the channel goes on about as wide, but
// turned. A bore between a wider and a narrower one of its axis is none, nor is what opens
// on one side at least into anything but a channel.
func (x *cylFinder) isChannelStep(p *cylPiece) bool {
	return p.Concave && p.LengthMM <= cylStepLong*p.DiameterMM && x.turnsBeyond(p, 1) && x.turnsBeyond(p, -1)
}

// turnsBeyond reports whether beyond an end, the first for -1, a channel about as wide
// goes on turned. It follows the middle of what is cut across.
func (x *cylFinder) turnsBeyond(p *cylPiece, end float64) bool {
	dir := p.fit.a.Scale(end)
	from := p.At.Add(dir.Scale((p.RingMM + p.LengthMM) / 4)) // where a cut askew passes the axis
	at := from
	for range cylStepCuts {
		next, ok := x.channelMiddle(at, at.Add(dir.Scale(cylStepPitch*p.fit.r)), NewFrame(dir, 0, 0), p.fit.r)
		if !ok {
			return false
		}
		dir, at = dir.Add(next.Sub(at).Unit()).Unit(), next
	}
	return at.Sub(from).Unit().Dot(p.fit.a.Scale(end)) < math.Cos(cylStepTurn)
}

// channelMiddle is the middle of a channel of about a radius, cut across square to a frame's
// Z at a place that is seen from another one.
func (x *cylFinder) channelMiddle(from, at Vec, f Frame, r float64) (mid Vec, ok bool) {
	const rays = 61 // like no polygon's corners
	bvh := x.skin.m.BVH()
	if _, hit := bvh.Ray(from, at.Sub(from), 0, 1); hit {
		return mid, false
	}
	wide := 0.0
	mid = at
	for i := range rays {
		s, c := math.Sincos(2 * math.Pi * float64(i) / rays)
		d := f.X.Scale(c).Add(f.Y.Scale(s))
		h, hit := bvh.Ray(at, d, 0, cylStepReach*r)
		if !hit {
			return mid, false
		}
		wide += h.T / rays
		mid = mid.Add(d.Scale(2 * h.T / rays)) // the first term of a Fourier series
	}
	return mid, wide >= cylStepLeast*r && wide <= cylStepMost*r
}
