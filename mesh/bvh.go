package mesh

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// BVH is a search tree over a mesh's facets: rays, nearest points, boxes.
//
// Nodes have eight children and leaves eight facets, so that one instruction
// tests all of them where the processor can (lanes.go). The walk is in single
// precision with boxes and tolerances wide enough for its rounding; whatever
// passes is tested again in double precision on the mesh's own vertices. The
// answers are therefore those of double precision, the same from every path.
//
// A facet takes about 70 bytes.
type BVH struct {
	m      *Mesh
	nodes  []wideNode // the first is the root; none if the root is a block
	cones  []wideCone // of the nodes
	blocks []block
	most   float64 // largest coordinate, for error bounds
	single bool    // all vertices are single-precision numbers: the blocks are exact
}

// wideNode holds the boxes of up to eight children, a row a side: least x,
// greatest x, and so on for y and z.
type wideNode struct {
	box [6][8]float32
	kid [8]int32 // a node's number, or ^ a block's, or noKid
}

// noKid stands for a child that a node has not: the root is nobody's.
const noKid = 0

// used returns a bit a child.
func (nd *wideNode) used() (mask uint32) {
	for i, k := range nd.kid {
		if k != noKid {
			mask |= 1 << i
		}
	}
	return mask
}

// wideCone bounds the normals below each child: an axis, and the cosine of the
// cone's half-angle plus 60 degrees (-1 if that is 180 or more), so that a dot
// product tells whether any may oppose.
type wideCone [4][8]float32

// block holds up to eight facets.
type block struct {
	v     [9][8]float32 // corners: ax ay az bx by bz cx cy cz
	n     [3][8]float32 // normals
	facet [8]int32      // -1 for none
}

// used returns a bit a facet.
func (b *block) used() (mask uint32) {
	for i, f := range b.facet {
		if f >= 0 {
			mask |= 1 << i
		}
	}
	return mask
}

// Hit is where a ray meets a facet.
type Hit struct {
	Facet int32
	T     float64 // along the direction as given, in its lengths
}

// Near is the nearest point of a mesh to a query point.
type Near struct {
	Facet int32
	Point Vec
	Dist  float64 // mm
}

// stackSize is what a walk may have to come back to in a tree of a million
// facets, seven children a level; deeper walks allocate.
const stackSize = 64

// waiting is a child that a walk comes back to, and how near it is.
type waiting struct {
	ref  int32
	near float32
}

// wait puts the children in mask on the stack, nearest on top.
func wait(stack []waiting, nd *wideNode, mask uint32, near *[8]float32) []waiting {
	if mask == 0 {
		return stack
	}
	base := len(stack)
	stack = slices.Grow(stack, 8)[:base+8]
	top := (*[8]waiting)(stack[base:])
	n := 0
	for ; mask != 0; mask &= mask - 1 {
		i := bits.TrailingZeros32(mask) & 7
		d := near[i]
		j := n & 7
		for ; j > 0 && top[(j-1)&7].near < d; j-- {
			top[j] = top[(j-1)&7]
		}
		top[j] = waiting{nd.kid[i], d}
		n++
	}
	return stack[:base+n]
}

// walkErr bounds the rounding of a coordinate seen from o in the walk: of the
// vertex, of o, of their difference and of what is made of it, in units of
// single precision's 2^-24, of the largest coordinate that occurs.
func (b *BVH) walkErr(o Vec) float64 {
	return 0x1p-21 * (b.most + max(math.Abs(o[0]), math.Abs(o[1]), math.Abs(o[2])))
}

// up and down round to single precision, away from and towards minus infinity.
func up(x float64) float32 {
	f := float32(x)
	if float64(f) < x {
		step := uint32(1)
		if f < 0 {
			step = ^uint32(0)
		}
		f = math.Float32frombits(math.Float32bits(f) + step)
	}
	return f
}

func down(x float64) float32 { return -up(-x) }

// Ray returns the nearest facet that the ray o + t*d meets for tMin < t < tMax.
// Of facets at the same t the lowest number wins. Rays meet the edges and
// corners of facets, so none slips between two facets that share an edge; a ray
// in a facet's plane misses it.
func (b *BVH) Ray(o, d Vec, tMin, tMax float64) (Hit, bool) {
	if h, ok := b.rayFirst(&o, &d, tMin, tMax); ok {
		return h, h.Facet >= 0
	}
	return b.rayFirstGo(o, d, tMin, tMax)
}

func (b *BVH) rayFirstGo(o, d Vec, tMin, tMax float64) (Hit, bool) {
	best := Hit{Facet: -1, T: tMax}
	b.rays(o, d, tMin, tMax, func(f int32, t float64) float64 {
		if t < best.T || t == best.T && best.Facet >= 0 && f < best.Facet {
			best = Hit{f, t}
		}
		return best.T
	})
	return best, best.Facet >= 0
}

// RayAll appends every facet that the ray meets for tMin < t < tMax to buf, in
// order of t, then facet. A ray through an edge meets both its facets.
func (b *BVH) RayAll(o, d Vec, tMin, tMax float64, buf []Hit) []Hit {
	n := len(buf)
	b.rays(o, d, tMin, tMax, func(f int32, t float64) float64 {
		if t < tMax {
			buf = append(buf, Hit{f, t})
		}
		return tMax
	})
	slices.SortFunc(buf[n:], func(a, b Hit) int {
		return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(a.Facet, b.Facet))
	})
	return buf
}

// rays calls hit for facets that the ray meets at t > tMin, near ones first as
// far as the boxes tell. The walk leaves out what lies beyond the t that hit
// last returned.
func (b *BVH) rays(o, d Vec, tMin, tMax float64, hit func(f int32, t float64) float64) {
	if len(b.blocks) == 0 {
		return
	}
	var w rayWalk
	if !w.start(b, o, d, tMin, tMax) {
		return
	}
	var buf [stackSize]waiting
	stack := append(buf[:0], waiting{b.root(), w.lanes.tMin})
	for {
		var leaf int32
		var mask uint32
		stack, leaf, mask = b.rayLeaf(&w.lanes, stack)
		if mask == 0 {
			return
		}
		bl := &b.blocks[leaf]
		for ; mask != 0; mask &= mask - 1 {
			i := bits.TrailingZeros32(mask) & 7
			if t, ok := w.facet(b.corners(bl, i)); ok && t > tMin {
				w.lanes.tMax = above(hit(bl.facet[i], t) * w.scale)
			}
		}
	}
}

// Along calls visit for every facet that the line o + t*d may meet and whose box
// it meets for 0 <= t <= tMax, in no promised order, until visit returns false.
// Some that the line passes closely may be among them.
func (b *BVH) Along(o, d Vec, tMax float64, visit func(f int32) bool) {
	var w rayWalk
	if len(b.blocks) == 0 || !w.start(b, o, d, 0, tMax) {
		return
	}
	var buf [stackSize]waiting
	stack := append(buf[:0], waiting{b.root(), w.lanes.tMin})
	for {
		var leaf int32
		var mask uint32
		if stack, leaf, mask = b.rayLeaf(&w.lanes, stack); mask == 0 {
			return
		}
		for ; mask != 0; mask &= mask - 1 {
			if !visit(b.blocks[leaf].facet[bits.TrailingZeros32(mask)&7]) {
				return
			}
		}
	}
}

// rayLeafGo goes on with a walk up to the next leaf with facets that the ray may
// meet: a bit each. It returns what is left of the stack, and no bit at the end.
func (b *BVH) rayLeafGo(l *rayLanes, stack []waiting) (rest []waiting, leaf int32, mask uint32) {
	var near [8]float32
	for len(stack) > 0 {
		top := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if top.near > l.tMax {
			continue
		}
		if top.ref >= 0 {
			nd := &b.nodes[top.ref]
			stack = wait(stack, nd, rayBoxesGo(nd, l, &near), &near)
			continue
		}
		bl := &b.blocks[^top.ref]
		if mask := rayFacetsGo(bl, l) & bl.used(); mask != 0 {
			return stack, ^top.ref, mask
		}
	}
	return stack, 0, 0
}

func (b *BVH) root() int32 {
	if len(b.nodes) == 0 {
		return ^0
	}
	return 0
}

// corners returns a facet's corners in double precision.
func (b *BVH) corners(bl *block, i int) (p, q, r Vec) {
	if !b.single {
		return b.m.Corners(bl.facet[i])
	}
	v := &bl.v
	return Vec{float64(v[0][i]), float64(v[1][i]), float64(v[2][i])},
		Vec{float64(v[3][i]), float64(v[4][i]), float64(v[5][i])},
		Vec{float64(v[6][i]), float64(v[7][i]), float64(v[8][i])}
}

// rayWalk is a ray made ready: for the lanes, and for the test of Woop,
// Benthin and Wald (2013), "Watertight Ray/Triangle Intersection", which shears
// space so that the ray runs along an axis. Both facets of an edge compute the
// same numbers for it, so that a ray can't pass between them.
type rayWalk struct {
	lanes      rayLanes
	o, d       Vec
	kx, ky, kz int
	sx, sy, sz float64 // the shear; sz is 0 before it is asked for
	scale      float64 // lanes' t over t
}

// rayAxes are the axes that a ray is sheared along, by the one along which it
// goes furthest and whether it goes down it; then the others change places, to
// keep the winding.
var rayAxes = [6][3]int{{1, 2, 0}, {2, 1, 0}, {2, 0, 1}, {0, 2, 1}, {0, 1, 2}, {1, 0, 2}}

func (w *rayWalk) start(b *BVH, o, d Vec, tMin, tMax float64) bool {
	kz, scale := 0, math.Abs(d[0])
	for k := 1; k < 3; k++ {
		if x := math.Abs(d[k]); x > scale {
			kz, scale = k, x
		}
	}
	if !(scale > 0) || !(tMin <= tMax) {
		return false
	}
	w.o, w.d, w.scale = o, d, scale
	axes := &rayAxes[2*kz+int(math.Float64bits(d[kz])>>63)]
	w.kx, w.ky, w.kz = axes[0], axes[1], axes[2]

	// Of the 8 units of 2^-24 that walkErr is made of, a side of a box seen from
	// o in the lanes is off by 4: its own rounding, that of 1/direction, of the
	// product with o and of the difference.
	l := &w.lanes
	most := b.most + max(math.Abs(o[0]), math.Abs(o[1]), math.Abs(o[2]))
	e, far := 0x1p-21*most, 4*most
	for k := range 3 {
		// A ray that drifts along this axis by less than the boxes are widened
		// is taken for parallel: inside the slab for all t or for none. Any
		// large number in place of 1/0 says so without 0 times infinity.
		inv, wide := float32(scale/d[k]), e
		if math.Abs(d[k])*far <= e*scale {
			inv, wide = float32(0x1p60/max(far, 0x1p-60)), 2*e
		}
		sign := uint64(math.Float32bits(inv) >> 31)
		at, by := o[k]*float64(inv), math.Abs(wide*float64(inv))
		l.inv[k] = inv
		l.near[k], l.far[k] = float32(at+by), float32(at-by)
		l.nearAt[k], l.farAt[k] = uint64(64*k)+32*sign, uint64(64*k+32)-32*sign
	}
	l.tMin, l.tMax = -above(-tMin*scale), above(tMax*scale)
	by := 1 / d[w.kz]
	l.o = [3]float32{float32(o[w.kx]), float32(o[w.ky]), float32(o[w.kz])}
	l.sx, l.sy = float32(d[w.kx]*by), float32(d[w.ky]*by)
	l.axes = [3]uint64{uint64(32 * w.kx), uint64(32 * w.ky), uint64(32 * w.kz)}
	l.err, l.err6 = float32(e*(1+0x1p-20)), float32(6*e*(1+0x1p-20))
	return true
}

// above rounds to single precision, a little up.
func above(x float64) float32 { return float32(x + math.Abs(x)*0x1p-22) }

// facet returns where the ray meets the facet. An edge function of 0 counts as
// inside on both sides of the edge.
func (w *rayWalk) facet(p, q, r Vec) (float64, bool) {
	if w.sz == 0 {
		d := w.d[w.kz]
		w.sx, w.sy, w.sz = w.d[w.kx]/d, w.d[w.ky]/d, 1/d
	}
	o := w.o
	az, bz, cz := p[w.kz]-o[w.kz], q[w.kz]-o[w.kz], r[w.kz]-o[w.kz]
	ax, ay := p[w.kx]-o[w.kx]-float64(w.sx*az), p[w.ky]-o[w.ky]-float64(w.sy*az)
	bx, by := q[w.kx]-o[w.kx]-float64(w.sx*bz), q[w.ky]-o[w.ky]-float64(w.sy*bz)
	cx, cy := r[w.kx]-o[w.kx]-float64(w.sx*cz), r[w.ky]-o[w.ky]-float64(w.sy*cz)
	u := float64(cx*by) - float64(cy*bx)
	v := float64(ax*cy) - float64(ay*cx)
	t := float64(bx*ay) - float64(by*ax)
	if (u < 0 || v < 0 || t < 0) && (u > 0 || v > 0 || t > 0) {
		return 0, false
	}
	det := u + v + t
	if det == 0 {
		return 0, false
	}
	return w.sz * (float64(u*az) + float64(v*bz) + float64(t*cz)) / det, true
}

// Nearest returns the point of the mesh nearest to p, no further than maxDist,
// over the facets that keep accepts (nil accepts all); keep is asked for facets
// that would be nearer than any before. Of facets at the same distance the
// lowest number wins.
func (b *BVH) Nearest(p Vec, maxDist float64, keep func(f int32, q Vec) bool) (Near, bool) {
	best := Near{Facet: -1, Dist: maxDist}
	if len(b.blocks) == 0 || !(maxDist >= 0) {
		return best, false
	}
	var buf [stackSize]waiting
	stack := append(buf[:0], waiting{b.root(), 0})
	l := newNearLanes(p, b.walkErr(p), maxDist, keep == nil)
	if keep == nil {
		// Most of a walk that starts from a near leaf is left out.
		stack = append(stack, waiting{b.nearFirst(&l), 0})
	}
	for {
		var leaf int32
		var mask uint32
		if stack, leaf, mask = b.nearLeaf(&l, stack); mask == 0 {
			return best, best.Facet >= 0
		}
		bl := &b.blocks[leaf]
		for ; mask != 0; mask &= mask - 1 {
			i := bits.TrailingZeros32(mask) & 7
			f := bl.facet[i]
			if f == best.Facet {
				continue // the first leaf is met again
			}
			x, y, z := b.corners(bl, i)
			q := nearestOnFacet(p, x, y, z)
			d := q.Sub(p).Norm()
			if (d < best.Dist || d == best.Dist && (best.Facet < 0 || f < best.Facet)) && (keep == nil || keep(f, q)) {
				best = Near{f, q, d}
				l.within(d)
			}
		}
	}
}

// nearFirstGo returns a leaf, or what it is under, that is likely near: on the
// way to it the nearest child is taken, and nothing is put in order.
func (b *BVH) nearFirstGo(l *nearLanes) int32 {
	at := b.root()
	var d2 [8]float32
	for at >= 0 {
		nd := &b.nodes[at]
		mask := nearBoxes(nd, &l.pointLanes, &d2)
		if mask == 0 {
			break
		}
		least := bits.TrailingZeros32(mask) & 7
		for mask &= mask - 1; mask != 0; mask &= mask - 1 {
			if i := bits.TrailingZeros32(mask) & 7; d2[i] < d2[least] {
				least = i
			}
		}
		at = nd.kid[least]
	}
	return at
}

// nearLeafGo goes on with a walk up to the next leaf with facets that may be
// within reach: a bit each. It returns what is left of the stack, and no bit at
// the end.
func (b *BVH) nearLeafGo(l *nearLanes, stack []waiting) (rest []waiting, leaf int32, mask uint32) {
	var d2 [8]float32
	for len(stack) > 0 {
		top := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if top.near > l.d2 {
			continue
		}
		if top.ref >= 0 {
			nd := &b.nodes[top.ref]
			stack = wait(stack, nd, nearBoxesGo(nd, &l.pointLanes, &d2)&nd.used(), &d2)
			continue
		}
		bl := &b.blocks[^top.ref]
		if mask := nearFacetsGo(bl, &l.pointLanes) & bl.used(); mask != 0 {
			return stack, ^top.ref, mask
		}
	}
	return stack, 0, 0
}

// nearestOnFacet follows Ericson (2004), "Real-Time Collision Detection", 5.1.5.
// Segments and points pass as facets too. It is most of the work of nearest
// points, so it is written out in numbers: the compiler keeps those in registers
// and arrays in memory.
func nearestOnFacet(p, a, b, c Vec) Vec {
	px, py, pz := p[0]-a[0], p[1]-a[1], p[2]-a[2]
	ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2] // a to b
	vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2] // a to c
	d1 := float64(ux*px) + float64(uy*py) + float64(uz*pz)
	d2 := float64(vx*px) + float64(vy*py) + float64(vz*pz)
	if d1 <= 0 && d2 <= 0 {
		return a
	}
	qx, qy, qz := p[0]-b[0], p[1]-b[1], p[2]-b[2]
	d3 := float64(ux*qx) + float64(uy*qy) + float64(uz*qz)
	d4 := float64(vx*qx) + float64(vy*qy) + float64(vz*qz)
	if d3 >= 0 && d4 <= d3 {
		return b
	}
	vc := float64(d1*d4) - float64(d3*d2)
	if vc <= 0 && d1 >= 0 && d3 <= 0 && d1 > d3 { // else a and b are the same
		s := d1 / (d1 - d3)
		return Vec{a[0] + float64(ux*s), a[1] + float64(uy*s), a[2] + float64(uz*s)}
	}
	rx, ry, rz := p[0]-c[0], p[1]-c[1], p[2]-c[2]
	d5 := float64(ux*rx) + float64(uy*ry) + float64(uz*rz)
	d6 := float64(vx*rx) + float64(vy*ry) + float64(vz*rz)
	if d6 >= 0 && d5 <= d6 {
		return c
	}
	vb := float64(d5*d2) - float64(d1*d6)
	if vb <= 0 && d2 >= 0 && d6 <= 0 {
		s := d2 / (d2 - d6)
		return Vec{a[0] + float64(vx*s), a[1] + float64(vy*s), a[2] + float64(vz*s)}
	}
	va := float64(d3*d6) - float64(d5*d4)
	if va <= 0 && d4-d3 >= 0 && d5-d6 >= 0 {
		s := (d4 - d3) / ((d4 - d3) + (d5 - d6))
		return Vec{b[0] + float64((c[0]-b[0])*s), b[1] + float64((c[1]-b[1])*s), b[2] + float64((c[2]-b[2])*s)}
	}
	n := va + vb + vc // the square of twice the area
	s := 1 / n
	v, w := vb*s, vc*s
	q := Vec{a[0] + float64(ux*v) + float64(vx*w), a[1] + float64(uy*v) + float64(vy*w), a[2] + float64(uz*v) + float64(vz*w)}
	long := float64(ux*ux) + float64(uy*uy) + float64(uz*uz) + float64(vx*vx) + float64(vy*vy) + float64(vz*vz)
	if far := float64(px*px) + float64(py*py) + float64(pz*pz); n > needleShare*long*far {
		return q
	}
	if !(v >= 0 && w >= 0 && v+w <= 1) {
		q = a
	}
	return nearestOnSides(p, q, a, b, c)
}

// nearestOnSides is the point of a facet's sides nearest to p, or q if it is nearer.
func nearestOnSides(p, q, a, b, c Vec) Vec {
	for _, x := range [3]Vec{nearestOnSegment(p, a, b), nearestOnSegment(p, b, c), nearestOnSegment(p, c, a)} {
		if x.Sub(p).Norm() < q.Sub(p).Norm() {
			q = x
		}
	}
	return q
}

// needleShare bounds facets so narrow, beside their distance from the point, that
// rounding may put the foot anywhere along them: the square of the width over that
// of the distance. Their sides are looked at as well.
const needleShare = 1e-9

// InBox calls visit for every facet whose box meets box, in no promised order,
// until visit returns false.
func (b *BVH) InBox(box Box, visit func(f int32) bool) {
	l := newBoxLanes(box)
	b.leavesIn(&l, func(leaf int32) bool {
		bl := &b.blocks[leaf]
		for mask := boxFacets(bl, &l); mask != 0; mask &= mask - 1 {
			i := bits.TrailingZeros32(mask) & 7
			p, q, r := b.corners(bl, i)
			if boxesMeet(EmptyBox().Grow(p).Grow(q).Grow(r), box) && !visit(bl.facet[i]) {
				return false
			}
		}
		return true
	})
}

// leavesIn calls visit for every leaf whose box meets that of l, until visit
// returns false.
func (b *BVH) leavesIn(l *boxLanes, visit func(leaf int32) bool) {
	if len(b.blocks) == 0 {
		return
	}
	var buf [stackSize]int32
	stack := append(buf[:0], b.root())
	for len(stack) > 0 {
		ref := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if ref < 0 {
			if !visit(^ref) {
				return
			}
			continue
		}
		nd := &b.nodes[ref]
		for mask := boxBoxes(nd, l); mask != 0; mask &= mask - 1 {
			stack = append(stack, nd.kid[bits.TrailingZeros32(mask)&7])
		}
	}
}

// flat is a flat piece of surface, from which a ball is to be stopped: the
// corners of its triangle, their box, the direction from it into the medium, how
// far along that it lies, and two directions square to that, with how far along
// them it lies at least and at most. side is 1 where the medium is the material
// and -1 where it is the space outside.
type flat struct {
	corners [3]Vec
	box     Box
	in      Vec
	at      float64
	across  [2]Vec
	extent  [2][2]float64
	side    float64
}

// Facing calls visit for every facet, as a place in a block, that opposes a flat by more than 120
// degrees, whose box meets reach, and that may stop a ball of a diameter below
// dist that touches the flat; others may be among them. What visit returns is
// dist for the rest of the walk, which takes near facets first as far as boxes
// tell. So on a surface of many small facets a query sees neither its own side
// nor much more than the nearest of the other.
//
// A ball that touches the flat at p and passes through q has the diameter
// |q-p|^2/h, h being the height of q over the flat: no less than the square of
// the distance of two boxes over the greatest height. Nor is it less than that
// of the ball that is stopped by the whole plane of the facet.
//
// If placed is set, that ball must come near the facet, too: then fewer are
// visited that lie beside what stops the smallest ball.
func (b *BVH) Facing(from *flat, reach Box, dist float64, placed bool, visit func(bl *block, i int) float64) {
	if len(b.blocks) == 0 {
		return
	}
	e := b.walkErr(from.box.Min) + b.walkErr(from.box.Max)
	l := newFacingLanes(from, reach, e, dist)
	if placed {
		l.place = 1
	}
	var buf [stackSize]waiting
	stack := append(buf[:0], waiting{b.root(), 0})
	var d2 [8]float32
	for len(stack) > 0 {
		top := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if top.near > l.point.d2 {
			continue
		}
		if top.ref >= 0 {
			nd := &b.nodes[top.ref]
			stack = wait(stack, nd, facingBoxes(nd, &b.cones[top.ref], &l, &d2), &d2)
			continue
		}
		bl := &b.blocks[^top.ref]
		for mask := facingFacets(bl, &l); mask != 0; mask &= mask - 1 {
			i := bits.TrailingZeros32(mask) & 7
			if d := visit(bl, i); d != dist {
				dist = d
				l.within(dist)
			}
		}
	}
}

// stopping takes out of mask the children in which nothing stops a ball as small
// as l asks for.
func (nd *wideNode) stopping(mask uint32, l *facingLanes, d2 *[8]float32) uint32 {
	for m := mask; m != 0; m &= m - 1 {
		i := bits.TrailingZeros32(m) & 7
		h := -l.at
		for k, x := range l.in {
			h += max(x*nd.box[2*k][i], x*nd.box[2*k+1][i])
		}
		if !(h > 0) || d2[i] > l.dist*h {
			mask &^= 1 << i
		}
	}
	return mask
}

// AnyFacing reports whether Facing would visit anything for one of some flats,
// given as one that has no corners: its box holds theirs, and their directions
// into the medium lie within spread of its own, less than 30 degrees. It may say
// so where there is nothing.
//
// A height over one of the flats is no more than that over the lowest place of the
// box along its direction and what the spread adds over dist.
func (b *BVH) AnyFacing(from flat, spread, dist float64) bool {
	if len(b.blocks) == 0 {
		return false
	}
	from.at = 0
	for k, x := range from.in {
		from.at += min(x*from.box.Min[k], x*from.box.Max[k])
	}
	from.at -= 2 * math.Sin(spread/2) * dist
	e := b.walkErr(from.box.Min) + b.walkErr(from.box.Max)
	l := newFacingLanes(&from, from.box.Widened(dist), e, dist)
	cos, sin := float32(math.Cos(spread)), float32(math.Sin(spread))
	least := float32(math.Cos(spread+math.Pi/3)) - 1e-6
	var buf [stackSize]int32
	stack := append(buf[:0], b.root())
	var d2 [8]float32
	for len(stack) > 0 {
		ref := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if ref >= 0 {
			nd := &b.nodes[ref]
			mask := b.cones[ref].near(nearBoxes(nd, &l.point, &d2), &l.to, cos, sin)
			for mask = nd.stopping(mask, &l, &d2); mask != 0; mask &= mask - 1 {
				stack = append(stack, nd.kid[bits.TrailingZeros32(mask)&7])
			}
			continue
		}
		bl := &b.blocks[^ref]
		for mask := boxFacets(bl, &l.meets); mask != 0; mask &= mask - 1 {
			i := bits.TrailingZeros32(mask) & 7
			if bl.n[0][i]*l.to[0]+bl.n[1][i]*l.to[1]+bl.n[2][i]*l.to[2] < least {
				continue
			}
			for c := 0; c < 9; c += 3 {
				if bl.v[c][i]*l.in[0]+bl.v[c+1][i]*l.in[1]+bl.v[c+2][i]*l.in[2] > l.at {
					return true
				}
			}
		}
	}
	return false
}

// near is facing for directions within an angle of d, given by its cosine and
// sine.
func (c *wideCone) near(mask uint32, d *[3]float32, cos, sin float32) uint32 {
	for m := mask; m != 0; m &= m - 1 {
		i := bits.TrailingZeros32(m) & 7
		most := c[3][i]
		if most <= -cos {
			continue // 180 degrees in all
		}
		if most <= 1 {
			most = most*cos - float32(math.Sqrt(float64(1-most*most)))*sin - 1e-6
		}
		if c[0][i]*d[0]+c[1][i]*d[1]+c[2][i]*d[2] < most {
			mask &^= 1 << i
		}
	}
	return mask
}

// facingCos is the cosine of 60 degrees, less what single precision may be off by.
const facingCos = 0.5 - 1e-6

// facing takes out of mask the children below which no normal is within 60
// degrees of d.
func (c *wideCone) facing(mask uint32, d *[3]float32) uint32 {
	for m := mask; m != 0; m &= m - 1 {
		i := bits.TrailingZeros32(m) & 7
		if c[0][i]*d[0]+c[1][i]*d[1]+c[2][i]*d[2] < c[3][i] {
			mask &^= 1 << i
		}
	}
	return mask
}

// Pairs calls visit for every pair f < g of facets whose boxes come within
// margin of each other along every axis, by f, until visit returns false.
func (b *BVH) Pairs(margin float64, visit func(f, g int32) bool) {
	var near []int32
	for f := range int32(len(b.m.Facets)) {
		near = near[:0]
		b.InBox(b.m.facetBox(f).Widened(margin), func(g int32) bool {
			if g > f {
				near = append(near, g)
			}
			return true
		})
		slices.Sort(near)
		for _, g := range near {
			if !visit(f, g) {
				return
			}
		}
	}
}

func boxesMeet(a, b Box) bool {
	for k := range 3 {
		if a.Min[k] > b.Max[k] || b.Min[k] > a.Max[k] {
			return false
		}
	}
	return true
}
