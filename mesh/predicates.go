package mesh

import (
	"math"
	"math/big"
)

// This file defines signs that are always right: which side of a plane or a
// line a point lies on. A floating-point filter decides nearly all of them; the
// rest is worked out in whole numbers. Coordinates may be any finite doubles
// whose differences and triple products do not overflow, which maxCoordMM
// ensures.

// Bounds of the filters, from Shewchuk (1997), "Adaptive Precision
// Floating-Point Arithmetic and Fast Robust Geometric Predicates": half a unit
// in the last place of 1 is 2^-53.
const (
	halfUlp      = 0x1p-53
	orient3Err   = (7 + 56*halfUlp) * halfUlp // times the sum of the absolute products
	orient2Err   = (3 + 16*halfUlp) * halfUlp // likewise
	underflowErr = 0x1p-900                   // far above what products can lose to underflow
)

// orient3 is the sign of (b-a) x (c-a) . (d-a): 1 if d lies on the side of the
// plane abc to which its normal points (from where a, b, c run
// counter-clockwise), -1 on the other side, 0 in the plane.
func orient3(a, b, c, d Vec) int {
	if s, sure := orient3Fast(a, b, c, d); sure {
		return s
	}
	if s, sure := orient3Expanded(a, b, c, d); sure {
		return s
	}
	return orient3Exact(a, b, c, d)
}

// orient3Fast is orient3 where double precision is enough to be sure.
func orient3Fast(a, b, c, d Vec) (sign int, sure bool) {
	px, py, pz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	qx, qy, qz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
	rx, ry, rz := d[0]-a[0], d[1]-a[1], d[2]-a[2]
	xy, yx := float64(px*qy), float64(py*qx)
	yz, zy := float64(py*qz), float64(pz*qy)
	zx, xz := float64(pz*qx), float64(px*qz)
	det := float64((yz-zy)*rx) + float64((zx-xz)*ry) + float64((xy-yx)*rz)
	all := (math.Abs(yz)+math.Abs(zy))*math.Abs(rx) + (math.Abs(zx)+math.Abs(xz))*math.Abs(ry) + (math.Abs(xy)+math.Abs(yx))*math.Abs(rz)
	err := orient3Err*all + underflowErr
	if det > err {
		return 1, true
	}
	if det < -err {
		return -1, true
	}
	// In a plane across an axis: common in CAD, and exact.
	return 0, px == 0 && qx == 0 && rx == 0 || py == 0 && qy == 0 && ry == 0 || pz == 0 && qz == 0 && rz == 0
}

// orient3Expanded is orient3 worked out as an exact sum of doubles: on flat faces
// four points in one plane, or next to it, are common. It is not sure where a
// product underflows.
func orient3Expanded(a, b, c, d Vec) (sign int, sure bool) {
	var by [3][3]difference // from a to b, c and d
	for i, p := range [3]*Vec{&b, &c, &d} {
		for k := range 3 {
			by[i][k] = newDifference(p[k], a[k])
		}
	}
	var sum expansion
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		if !sum.addTriple(&by[0][i], &by[1][j], &by[2][k], 1) || !sum.addTriple(&by[0][j], &by[1][i], &by[2][k], -1) {
			return 0, false
		}
	}
	return sum.sign(), true
}

func orient3Exact(a, b, c, d Vec) int {
	v := wholeNumbers(a, b, c, d)
	m := func(i, k int) *big.Int { return new(big.Int).Sub(&v[3*i+k], &v[k]) }
	minor := func(j, k int) *big.Int {
		x := new(big.Int).Mul(m(1, j), m(2, k))
		return x.Sub(x, new(big.Int).Mul(m(1, k), m(2, j)))
	}
	det := new(big.Int)
	for k := range 3 {
		det.Add(det, new(big.Int).Mul(minor((k+1)%3, (k+2)%3), m(3, k)))
	}
	return det.Sign()
}

// wholeNumbers multiplies all coordinates by the power of two that makes them
// whole.
func wholeNumbers(ps ...Vec) []big.Int {
	least := math.MaxInt
	for _, p := range ps {
		for _, x := range p {
			if x != 0 {
				_, e := math.Frexp(x)
				least = min(least, e-53)
			}
		}
	}
	v := make([]big.Int, 3*len(ps))
	for i, p := range ps {
		for k, x := range p {
			if x != 0 {
				f, e := math.Frexp(x)
				v[3*i+k].SetInt64(int64(f * 0x1p53))
				v[3*i+k].Lsh(&v[3*i+k], uint(e-53-least))
			}
		}
	}
	return v
}

// orient2 is the sign of the turn from a over b to c, seen along axis k so that
// the axes after it, k+1 and k+2, are x and y.
func orient2(a, b, c Vec, k int) int {
	switch k {
	case 0:
		return turnSign(a[1], a[2], b[1], b[2], c[1], c[2])
	case 1:
		return turnSign(a[2], a[0], b[2], b[0], c[2], c[0])
	}
	return turnSign(a[0], a[1], b[0], b[1], c[0], c[1])
}

// sureSign is the sign of l - r, the products that a turn is the difference of; 0 where
// double precision is not enough to be sure.
func sureSign(l, r float64) int {
	err := orient2Err*(math.Abs(l)+math.Abs(r)) + underflowErr
	switch det := l - r; {
	case det > err:
		return 1
	case det < -err:
		return -1
	}
	return 0
}

// turnSign is 1 if the way from a over b to c turns left, -1 if right, 0 if the
// three lie in a line.
func turnSign(ax, ay, bx, by, cx, cy float64) int {
	px, py, qx, qy := bx-ax, by-ay, cx-ax, cy-ay
	l, r := float64(px*qy), float64(py*qx)
	if s := sureSign(l, r); s != 0 {
		return s
	}
	if l == 0 && r == 0 && (px == 0 || qy == 0) && (py == 0 || qx == 0) {
		return 0
	}
	if s, sure := turnSignExpanded(ax, ay, bx, by, cx, cy); sure {
		return s
	}
	v := wholeNumbers(Vec{ax, ay}, Vec{bx, by}, Vec{cx, cy})
	m := func(p, q int) *big.Int { return new(big.Int).Sub(&v[3*p+q], &v[q]) }
	x := new(big.Int).Mul(m(1, 0), m(2, 1))
	return x.Cmp(new(big.Int).Mul(m(1, 1), m(2, 0)))
}

// turnSignExpanded is turnSign worked out as an exact sum of doubles (Shewchuk
// 1997): points in a line are common on a grid. It is not sure where a product
// underflows.
func turnSignExpanded(ax, ay, bx, by, cx, cy float64) (sign int, sure bool) {
	px, py, qx, qy := newDifference(bx, ax), newDifference(by, ay), newDifference(cx, ax), newDifference(cy, ay)
	one := difference{1, 0}
	var sum expansion
	if !sum.addTriple(&px, &qy, &one, 1) || !sum.addTriple(&py, &qx, &one, -1) {
		return 0, false
	}
	return sum.sign(), true
}

// twoSum returns a+b rounded and what rounding left out (Knuth).
func twoSum(a, b float64) (s, rest float64) {
	s = a + b
	v := s - a
	return s, (a - (s - v)) + (b - v)
}

// difference is an exact one: rounded, and what rounding left out.
type difference [2]float64

func newDifference(a, b float64) (d difference) {
	d[0], d[1] = twoSum(a, -b)
	return d
}

// expansion is an exact sum of doubles that do not overlap, least first, after
// Shewchuk (1997), "Grow-Expansion".
type expansion struct {
	part [48]float64
	n    int
}

// addTriple adds x*y*z, by a sign; false if that can't be done exactly.
func (e *expansion) addTriple(x, y, z *difference, sign float64) bool {
	for _, a := range x {
		for _, b := range y {
			if a == 0 || b == 0 {
				continue
			}
			p := sign * a * b
			if math.Abs(p) < underflowErr {
				return false
			}
			rest := math.FMA(sign*a, b, -p)
			for _, c := range z {
				if !e.addProduct(rest, c) || !e.addProduct(p, c) {
					return false
				}
			}
		}
	}
	return true
}

// addProduct adds x*y; false if that is so small that its rounding may be lost,
// or the sum has too many parts.
func (e *expansion) addProduct(x, y float64) bool {
	if x == 0 || y == 0 {
		return true
	}
	p := x * y
	if math.Abs(p) < underflowErr || e.n+2 > len(e.part) {
		return false
	}
	if rest := math.FMA(x, y, -p); rest != 0 {
		e.add(rest)
	}
	e.add(p)
	return true
}

func (e *expansion) add(x float64) {
	n := 0
	for _, y := range e.part[:e.n] {
		s, rest := twoSum(x, y)
		if x = s; rest != 0 {
			e.part[n] = rest
			n++
		}
	}
	if x != 0 {
		e.part[n] = x
		n++
	}
	e.n = n
}

// sign is that of the largest part, which outweighs all others.
func (e *expansion) sign() int {
	switch {
	case e.n == 0:
		return 0
	case e.part[e.n-1] > 0:
		return 1
	}
	return -1
}

// hasArea reports whether a, b, c are not in a line.
func hasArea(a, b, c Vec) bool {
	for k := range 3 {
		if orient2(a, b, c, k) != 0 {
			return true
		}
	}
	return false
}

// segmentMeetsTriangle reports whether the closed segment pq meets the closed
// triangle abc, which must have an area.
func segmentMeetsTriangle(p, q, a, b, c Vec) bool {
	sp, sq := orient3(a, b, c, p), orient3(a, b, c, q)
	switch {
	case sp == 0 && sq == 0:
		return segmentMeetsTriangleFlat(p, q, a, b, c)
	case sp == sq:
		return false
	}
	// The line pq is not in the plane: it passes the three edges on one side.
	s1, s2, s3 := orient3(p, q, a, b), orient3(p, q, b, c), orient3(p, q, c, a)
	return s1 >= 0 && s2 >= 0 && s3 >= 0 || s1 <= 0 && s2 <= 0 && s3 <= 0
}

// segmentMeetsTriangleFlat is the same where all lie in one plane.
func segmentMeetsTriangleFlat(p, q, a, b, c Vec) bool {
	k := 0
	for k < 2 && orient2(a, b, c, k) == 0 {
		k++
	}
	s := orient2(a, b, c, k)
	inside := func(r Vec) bool {
		return s*orient2(a, b, r, k) >= 0 && s*orient2(b, c, r, k) >= 0 && s*orient2(c, a, r, k) >= 0
	}
	return inside(p) || inside(q) || segmentsMeetFlat(p, q, a, b, k) || segmentsMeetFlat(p, q, b, c, k) || segmentsMeetFlat(p, q, c, a, k)
}

// segmentsMeetFlat reports whether two closed segments of one plane meet, seen
// along axis k.
func segmentsMeetFlat(p, q, a, b Vec, k int) bool {
	s1, s2 := orient2(p, q, a, k), orient2(p, q, b, k)
	s3, s4 := orient2(a, b, p, k), orient2(a, b, q, k)
	if s1 != s2 && s3 != s4 {
		return true
	}
	return s1 == 0 && between(p, q, a, k) || s2 == 0 && between(p, q, b, k) ||
		s3 == 0 && between(a, b, p, k) || s4 == 0 && between(a, b, q, k)
}

// between reports whether r, on the line pq, lies within the segment.
func between(p, q, r Vec, k int) bool {
	i, j := (k+1)%3, (k+2)%3
	return min(p[i], q[i]) <= r[i] && r[i] <= max(p[i], q[i]) && min(p[j], q[j]) <= r[j] && r[j] <= max(p[j], q[j])
}
