package mesh

import "math"

// This file defines the tests of eight boxes or facets at once. Each has a
// portable form here and, for amd64, one in lanes_amd64.s that uses AVX2; which
// is used is chosen at start. All of them err towards letting through; what
// they let through is tested again in double precision, so that rounding and
// fused operations can't show in an answer.
//
// What lanes_amd64.s does to cells of a grid (void_grid.go, void_flood.go) gives the
// same bits as the portable form beside it.

// rayLanes is a ray in the order in which lanes_amd64.s reads it.
type rayLanes struct {
	inv, near, far [3]float32 // 1/direction, and that times the origin for the near and far sides (widened)
	tMin, tMax     float32
	err6           float32   // 6 err
	nearAt, farAt  [3]uint64 // byte offsets of those sides in wideNode.box
	o              [3]float32
	sx, sy         float32
	err            float32
	axes           [3]uint64 // byte offsets of the sheared axes in block.v
}

// rayBoxesGo returns a bit for every child whose box the ray meets between tMin
// and tMax, and where it enters.
func rayBoxesGo(nd *wideNode, r *rayLanes, t *[8]float32) (mask uint32) {
	var nx, fx [3]*[8]float32
	for k := range 3 {
		nx[k], fx[k] = &nd.box[r.nearAt[k]/32], &nd.box[r.farAt[k]/32]
	}
	for i := range 8 {
		t0 := max(nx[0][i]*r.inv[0]-r.near[0], r.tMin)
		t1 := min(fx[0][i]*r.inv[0]-r.far[0], r.tMax)
		if !(t0 <= t1) {
			continue
		}
		t0 = max(nx[1][i]*r.inv[1]-r.near[1], t0)
		t1 = min(fx[1][i]*r.inv[1]-r.far[1], t1)
		if !(t0 <= t1) {
			continue
		}
		t0 = max(nx[2][i]*r.inv[2]-r.near[2], t0)
		t1 = min(fx[2][i]*r.inv[2]-r.far[2], t1)
		if t0 <= t1 {
			t[i] = t0
			mask |= 1 << i
		}
	}
	return mask
}

// rayFacetsGo returns a bit for every facet that the line of the ray may meet.
// After the shear the ray stands on the origin; the edge functions are twice
// the areas that it spans with the edges. Every sheared coordinate is off by
// err at most, so an edge function is off by 4 m err and its own rounding, m
// being the largest coordinate: 6 (m + err) err holds both.
func rayFacetsGo(b *block, r *rayLanes) (mask uint32) {
	kx, ky, kz := r.axes[0]/32, r.axes[1]/32, r.axes[2]/32
	for i := range 8 {
		az, bz, cz := b.v[kz][i]-r.o[2], b.v[kz+3][i]-r.o[2], b.v[kz+6][i]-r.o[2]
		ax, ay := b.v[kx][i]-r.o[0]-r.sx*az, b.v[ky][i]-r.o[1]-r.sy*az
		bx, by := b.v[kx+3][i]-r.o[0]-r.sx*bz, b.v[ky+3][i]-r.o[1]-r.sy*bz
		cx, cy := b.v[kx+6][i]-r.o[0]-r.sx*cz, b.v[ky+6][i]-r.o[1]-r.sy*cz
		u, v, w := cx*by-cy*bx, ax*cy-ay*cx, bx*ay-by*ax
		m := max(abs32(ax), abs32(ay), abs32(bx), abs32(by), abs32(cx), abs32(cy))
		e := r.err6 * (m + r.err)
		if min(u, v, w) >= -e || max(u, v, w) <= e {
			mask |= 1 << i
		}
	}
	return mask
}

func abs32(x float32) float32 { return math.Float32frombits(math.Float32bits(x) &^ (1 << 31)) }

// pointLanes is a query point with room for rounding.
type pointLanes struct {
	lo, hi [3]float32 // the point less and plus the walk's error
	d2     float32    // distance squared within which to look
}

func newPointLanes(p Vec, e, maxDist float64) (l pointLanes) {
	for k := range 3 {
		l.lo[k], l.hi[k] = down(p[k]-e), up(p[k]+e)
	}
	l.within(maxDist)
	return l
}

// within narrows the search; a share of 2^-20 holds the rounding of squares and sums.
func (l *pointLanes) within(d float64) { l.d2 = up(d * d * (1 + 0x1p-20)) }

// nearBoxesGo returns a bit for every child whose box is within reach, and the
// distance squared.
func nearBoxesGo(nd *wideNode, l *pointLanes, d2 *[8]float32) (mask uint32) {
	for i := range 8 {
		x := max(nd.box[0][i]-l.hi[0], l.lo[0]-nd.box[1][i], 0)
		y := max(nd.box[2][i]-l.hi[1], l.lo[1]-nd.box[3][i], 0)
		z := max(nd.box[4][i]-l.hi[2], l.lo[2]-nd.box[5][i], 0)
		if d := x*x + y*y + z*z; d <= l.d2 {
			d2[i] = d
			mask |= 1 << i
		}
	}
	return mask
}

// nearFacetsGo returns a bit for every facet whose box is within reach.
func nearFacetsGo(b *block, l *pointLanes) (mask uint32) {
	v := &b.v
	for i := range 8 {
		x := max(min(v[0][i], v[3][i], v[6][i])-l.hi[0], l.lo[0]-max(v[0][i], v[3][i], v[6][i]), 0)
		y := max(min(v[1][i], v[4][i], v[7][i])-l.hi[1], l.lo[1]-max(v[1][i], v[4][i], v[7][i]), 0)
		z := max(min(v[2][i], v[5][i], v[8][i])-l.hi[2], l.lo[2]-max(v[2][i], v[5][i], v[8][i]), 0)
		if x*x+y*y+z*z <= l.d2 {
			mask |= 1 << i
		}
	}
	return mask
}

// nearLanes is a query for the nearest point, in the order in which lanes_amd64.s
// reads it. There, a facet is looked at as a whole and not by its box alone: its
// distance is that of its plane if the point lies above it, else that of its
// nearest side. In units of 2^-24 of the largest coordinate of its corners as
// seen from the point, the distance of a side is off by 44 at most. A plane is
// told apart from others by its normal, the product of two sides: its direction
// is off by 7 times the square of the longest side over twice the area, no more
// than 896 where that quotient is 128. So the height over a plane is off by 3100,
// and a side that the point is taken to be on the wrong side of is 1600 away:
// together less than 2^13. Facets that are thinner, slivers, are as near as
// their sides, less half their width. err is for the corners themselves, and for
// numbers so small that their squares vanish.
type nearLanes struct {
	pointLanes
	at   [3]float32 // the point
	dist float32    // how far to look, as d2
	err  float32
	any  uint32 // not 0 if any facet is looked for, so that none beyond another matters
}

func newNearLanes(p Vec, e, maxDist float64, any bool) (l nearLanes) {
	l.pointLanes = newPointLanes(p, e, maxDist)
	l.at = [3]float32{float32(p[0]), float32(p[1]), float32(p[2])}
	l.dist = up(maxDist * (1 + 0x1p-20))
	if l.err = up(e + 0x1p-30); e > 0x1p8 {
		l.err = float32(math.Inf(1)) // numbers so large that their squares have no room
	}
	if any {
		l.any = 1
	}
	return l
}

// within narrows the search, if it is not narrower already.
func (l *nearLanes) within(d float64) {
	if dist := up(d * (1 + 0x1p-20)); dist < l.dist {
		l.dist = dist
		l.pointLanes.within(d)
	}
}

// boxLanes is a query box, rounded outwards.
type boxLanes struct{ lo, hi [3]float32 }

func newBoxLanes(b Box) (l boxLanes) {
	for k := range 3 {
		l.lo[k], l.hi[k] = down(b.Min[k]), up(b.Max[k])
	}
	return l
}

// boxBoxesGo returns a bit for every child whose box meets the query's.
func boxBoxesGo(nd *wideNode, l *boxLanes) (mask uint32) {
	for i := range 8 {
		if nd.box[0][i] <= l.hi[0] && nd.box[1][i] >= l.lo[0] &&
			nd.box[2][i] <= l.hi[1] && nd.box[3][i] >= l.lo[1] &&
			nd.box[4][i] <= l.hi[2] && nd.box[5][i] >= l.lo[2] {
			mask |= 1 << i
		}
	}
	return mask
}

// boxFacetsGo returns a bit for every facet whose box, rounded to nearest and
// so one step of single precision too small, meets the query's (which is
// widened by that step).
func boxFacetsGo(b *block, l *boxLanes) (mask uint32) {
	v := &b.v
	for i := range 8 {
		if min(v[0][i], v[3][i], v[6][i]) <= l.hi[0] && max(v[0][i], v[3][i], v[6][i]) >= l.lo[0] &&
			min(v[1][i], v[4][i], v[7][i]) <= l.hi[1] && max(v[1][i], v[4][i], v[7][i]) >= l.lo[1] &&
			min(v[2][i], v[5][i], v[8][i]) <= l.hi[2] && max(v[2][i], v[5][i], v[8][i]) >= l.lo[2] {
			mask |= 1 << i
		}
	}
	return mask
}

// sideLanes are four directions from the first corner of a facet, square to its
// three sides outwards and to its plane, and how far along each something must
// lie to be surely beyond the facet by a margin; below the plane it must lie under low.
type sideLanes struct {
	o   [3]float32
	far [4]float32
	n   [4][3]float32
	low float32
}

// newSideLanes makes those of a facet.
func (b *BVH) newSideLanes(f int32, margin float64) sideLanes {
	t := &b.m.Facets[f]
	p, q, r := &b.m.Verts[t[0]], &b.m.Verts[t[1]], &b.m.Verts[t[2]]
	nx, ny, nz := b.m.normal(f)
	ux, uy, uz := q[0]-p[0], q[1]-p[1], q[2]-p[2]
	vx, vy, vz := r[0]-p[0], r[1]-p[1], r[2]-p[2]
	u, v, out := Vec{ux, uy, uz}, Vec{vx, vy, vz}, [4]Vec{3: {nx, ny, nz}}
	out[0][0], out[0][1], out[0][2] = cross3(ux, uy, uz, nx, ny, nz)
	out[1][0], out[1][1], out[1][2] = cross3(vx-ux, vy-uy, vz-uz, nx, ny, nz)
	out[2][0], out[2][1], out[2][2] = cross3(nx, ny, nz, vx, vy, vz)
	return b.sidesFrom(p, &u, &v, &out, margin)
}

// sidesFrom makes those of a triangle with a corner o, from which the others lie
// along u and v. Any directions do, for its own corners tell how far it reaches
// along them. In units of 2^-24 of what walkErr is made of, which is 8 of them, a
// coordinate seen from the corner is off by two; rounding the direction, the
// products, their sums and the bound adds less than ten: 3 walkErr hold all. The
// last term stands for underflow.
func (b *BVH) sidesFrom(o, u, v *Vec, out *[4]Vec, margin float64) (l sideLanes) {
	err := 3 * b.walkErr(*o)
	l.o = [3]float32{float32(o[0]), float32(o[1]), float32(o[2])}
	for k := range out {
		d := &out[k]
		x, y := dot3(d[0], d[1], d[2], u[0], u[1], u[2]), dot3(d[0], d[1], d[2], v[0], v[1], v[2])
		wide := err * (math.Abs(d[0]) + math.Abs(d[1]) + math.Abs(d[2]))
		if margin != 0 {
			wide += margin * d.Norm()
		}
		wide += 0x1p-120
		l.far[k] = float32(max(0, x, y) + wide)
		l.low = float32(min(0, x, y) - wide)
		l.n[k] = [3]float32{float32(d[0]), float32(d[1]), float32(d[2])}
	}
	return l
}

// besideFacetsGo returns a bit for every facet that does not lie beyond one side
// of the facet that l belongs to, as a whole and surely: the others have nothing
// in common with it.
func besideFacetsGo(b *block, l *sideLanes) (mask uint32) {
	for i := range 8 {
		var d [9]float32
		for c := range d {
			d[c] = b.v[c][i] - l.o[c%3]
		}
		beside := false
		for k, n := range l.n {
			p := d[0]*n[0] + d[1]*n[1] + d[2]*n[2]
			q := d[3]*n[0] + d[4]*n[1] + d[5]*n[2]
			r := d[6]*n[0] + d[7]*n[1] + d[8]*n[2]
			beside = beside || min(p, q, r) > l.far[k] || k == 3 && max(p, q, r) < l.low
		}
		if !beside {
			mask |= 1 << i
		}
	}
	return mask
}

// facingLanes is a flat piece of surface from which a ball is to be stopped (see
// BVH.Facing), in the order in which lanes_amd64.s reads it.
type facingLanes struct {
	point pointLanes // the flat's box, and how near a facet must come
	in    [3]float32 // into the medium
	to    [3]float32 // what a facet's normal must be within 60 degrees of
	at    float32    // how far along in the flat lies, less room for rounding
	dist  float32    // the diameter that balls must be smaller than
	side  float32
	err2  float32       // twice the room for rounding
	p     [3][3]float32 // corners
	cos   float32       // facingCos
	place uint32        // not 0 if it counts where on its plane a facet lies
	// Two directions square to in, and how far along them the flat lies, with
	// room for rounding.
	across [2][3]float32
	extent [2][2]float32
	meets  boxLanes // what boxes must meet
}

func newFacingLanes(from *flat, reach Box, e, dist float64) (l facingLanes) {
	l.meets = newBoxLanes(reach)
	for k := range 3 {
		l.point.lo[k], l.point.hi[k] = down(from.box.Min[k]-e), up(from.box.Max[k]+e)
		l.in[k], l.to[k] = float32(from.in[k]), float32(from.in[k]*from.side)
		for i, p := range from.corners {
			l.p[i][k] = float32(p[k])
		}
		for i, d := range from.across {
			l.across[i][k] = float32(d[k])
		}
	}
	for i, x := range from.extent {
		l.extent[i] = [2]float32{down(x[0] - 2*e), up(x[1] + 2*e)}
	}
	l.at, l.side, l.err2, l.cos = down(from.at-2*e), float32(from.side), up(2*e), facingCos
	l.within(dist)
	return l
}

// within narrows the search; a share of 2^-20 holds the rounding of products.
func (l *facingLanes) within(dist float64) {
	l.point.within(dist)
	l.dist = up(dist * (1 + 0x1p-20))
}

// facingBoxesGo returns a bit for every child in which a facet may oppose the
// flat and stop a ball, and the distance squared of each. Heights are as sure as
// those of facets.
func facingBoxesGo(nd *wideNode, c *wideCone, l *facingLanes, d2 *[8]float32) uint32 {
	mask := c.facing(nearBoxesGo(nd, &l.point, d2)&boxBoxesGo(nd, &l.meets), &l.to)
	return nd.stopping(mask, l, d2)
}

// facingFacetsGo returns a bit for every facet that opposes the flat and may
// stop a ball: by its box, by its plane, and by the box of its heights and of how
// far it lies across (see patch.boxBound). A height is off by a few roundings of the largest coordinate,
// which the room for rounding is eight of at least; so is the depth of a corner
// of the flat below a facet's plane, since both ends are taken with one normal.
func facingFacetsGo(b *block, l *facingLanes) (mask uint32) {
	v, n := &b.v, &b.n
	near := nearFacetsGo(b, &l.point) & boxFacetsGo(b, &l.meets)
	for i := range 8 {
		cos := n[0][i]*l.to[0] + n[1][i]*l.to[1] + n[2][i]*l.to[2]
		if near>>i&1 == 0 || !(cos > l.cos) {
			continue
		}
		_, h := extentAlong(v, i, &l.in)
		h -= l.at
		x := max(min(v[0][i], v[3][i], v[6][i])-l.point.hi[0], l.point.lo[0]-max(v[0][i], v[3][i], v[6][i]), 0)
		y := max(min(v[1][i], v[4][i], v[7][i])-l.point.hi[1], l.point.lo[1]-max(v[1][i], v[4][i], v[7][i]), 0)
		z := max(min(v[2][i], v[5][i], v[8][i])-l.point.hi[2], l.point.lo[2]-max(v[2][i], v[5][i], v[8][i]), 0)
		if !(h > 0) || x*x+y*y+z*z > l.dist*h {
			continue
		}
		q := n[0][i]*v[0][i] + n[1][i]*v[1][i] + n[2][i]*v[2][i]
		least, most := float32(math.Inf(1)), float32(math.Inf(-1))
		for _, p := range l.p {
			d := (q - (n[0][i]*p[0] + n[1][i]*p[1] + n[2][i]*p[2])) * l.side
			least, most = min(least, d), max(most, d)
		}
		if !(most+l.err2 > 0 && 2*(least-l.err2) <= l.dist*(1+cos)) || !l.beside(v, i) {
			continue
		}
		if l.place == 0 || l.placed(b, i, cos, h, least, most) {
			mask |= 1 << i
		}
	}
	return mask
}

// placed reports whether a facet lies where it may stop a ball (see
// patch.planeBounds), h being its greatest height and least and most the depths
// of the flat's corners below its plane. The places at which balls touch the
// plane are off by less than the room for rounding once more.
func (l *facingLanes) placed(b *block, i int, cos, h, least, most float32) bool {
	lo, hi := max(least-l.err2, 0)/(1+cos), (most+l.err2)/(1+cos)
	var far float32
	for k := range 3 {
		to := l.in[k] + l.side*b.n[k][i]
		p, q, r := b.v[k][i], b.v[k+3][i], b.v[k+6][i]
		d := max(min(p, q, r)-(l.point.hi[k]+max(lo*to, hi*to)), l.point.lo[k]+min(lo*to, hi*to)-max(p, q, r))
		d = max(d-l.err2, 0)
		far += d * d
	}
	return far <= h*l.dist-h*(2*lo)
}

// beside reports whether a facet may stop a ball by the box of its heights and of
// how far it lies across (see patch.boxBound).
func (l *facingLanes) beside(v *[9][8]float32, i int) bool {
	lo, hi := extentAlong(v, i, &l.in)
	lo, hi = max(lo-l.at-2*l.err2, 0), hi-l.at
	var d2 float32
	for k := range l.across {
		least, most := extentAlong(v, i, &l.across[k])
		d := max(least-l.extent[k][1], l.extent[k][0]-most, 0)
		d2 += d * d
	}
	h := min(max(float32(math.Sqrt(float64(d2))), lo), hi)
	return h*h+d2 <= l.dist*h
}

// extentAlong is how far a facet of a block lies along a direction.
func extentAlong(v *[9][8]float32, i int, d *[3]float32) (least, most float32) {
	p := v[0][i]*d[0] + v[1][i]*d[1] + v[2][i]*d[2]
	q := v[3][i]*d[0] + v[4][i]*d[1] + v[5][i]*d[2]
	r := v[6][i]*d[0] + v[7][i]*d[1] + v[8][i]*d[2]
	return min(p, q, r), max(p, q, r)
}
