package mesh

// This file fits cylinders: an axis to normals, a circle to normals, and both
// to points.

import (
	"math"
	"slices"
)

// cylFit is a cylinder in the making.
type cylFit struct {
	a, u, v Vec     // unit: the axis and two directions across it
	c       Vec     // on the axis
	r       float64 // mm
	sign    float64 // +1 where the material is inside (a pin), -1 where it is outside (a hole)
	turn    float64 // radians: the angle between neighbouring sides, typically
	rms     float64 // mm: of the corners from the circle
	tolR    float64 // mm: how far off the circle a corner of the surface may be
	inside  float64 // mm: how far inside it a corner may be that lies on a chord
	wide    float64 // mm: how far apart across the axis a facet's corners may be
	tolT    float64 // sine of the angle that a facet may lean against the axis
}

// point returns p's coordinates in the fit's frame: across, across, along.
func (c *cylFit) point(p Vec) (x, y, z float64) {
	a, b, d := p[0]-c.c[0], p[1]-c.c[1], p[2]-c.c[2]
	return float64(a*c.u[0]) + float64(b*c.u[1]) + float64(d*c.u[2]),
		float64(a*c.v[0]) + float64(b*c.v[1]) + float64(d*c.v[2]),
		float64(a*c.a[0]) + float64(b*c.a[1]) + float64(d*c.a[2])
}

// across returns p's coordinates across the axis.
func (c *cylFit) across(p Vec) (x, y float64) {
	a, b, d := p[0]-c.c[0], p[1]-c.c[1], p[2]-c.c[2]
	return float64(a*c.u[0]) + float64(b*c.u[1]) + float64(d*c.u[2]),
		float64(a*c.v[0]) + float64(b*c.v[1]) + float64(d*c.v[2])
}

// setAxis turns the frame.
func (c *cylFit) setAxis(a Vec) {
	c.a = a
	k := 0
	for j := range 3 {
		if math.Abs(a[j]) < math.Abs(a[k]) {
			k = j
		}
	}
	var e Vec
	e[k] = 1
	c.u = a.Cross(e).Unit()
	c.v = a.Cross(c.u)
}

// eigenSym returns the eigenvalues, ascending, and unit eigenvectors of the
// symmetric matrix with rows (xx xy xz) (xy yy yz) (xz yz zz), by Jacobi
// rotations: the vector of a vanishing value is as exact as the others.
func eigenSym(xx, xy, xz, yy, yz, zz float64) (val [3]float64, vec [3]Vec) {
	m := [3][3]float64{{xx, xy, xz}, {xy, yy, yz}, {xz, yz, zz}}
	e := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	scale := math.Abs(xx) + math.Abs(yy) + math.Abs(zz)
	for range 12 {
		off := math.Abs(m[0][1]) + math.Abs(m[0][2]) + math.Abs(m[1][2])
		if off <= 1e-17*scale {
			break
		}
		for _, pq := range [3][2]int{{0, 1}, {0, 2}, {1, 2}} {
			p, q := pq[0], pq[1]
			if m[p][q] == 0 {
				continue
			}
			h := (m[q][q] - m[p][p]) / (2 * m[p][q])
			t := 1 / (math.Abs(h) + math.Sqrt(h*h+1))
			if h < 0 {
				t = -t
			}
			c := 1 / math.Sqrt(t*t+1)
			s := t * c
			for k := range 3 {
				a, b := m[k][p], m[k][q]
				m[k][p], m[k][q] = c*a-s*b, s*a+c*b
			}
			for k := range 3 {
				a, b := m[p][k], m[q][k]
				m[p][k], m[q][k] = c*a-s*b, s*a+c*b
			}
			for k := range 3 {
				a, b := e[k][p], e[k][q]
				e[k][p], e[k][q] = c*a-s*b, s*a+c*b
			}
		}
	}
	order := [3]int{0, 1, 2}
	slices.SortStableFunc(order[:], func(i, j int) int {
		switch {
		case m[i][i] < m[j][j]:
			return -1
		case m[i][i] > m[j][j]:
			return 1
		}
		return 0
	})
	for k, i := range order {
		val[k] = m[i][i]
		vec[k] = Vec{e[0][i], e[1][i], e[2][i]}
	}
	return val, vec
}

// solveSym solves the positive definite n by n system m x = b in place by
// Cholesky's method and reports whether it is one.
func solveSym(m *[5][5]float64, b *[5]float64, n int) bool {
	for i := range n {
		for j := range i + 1 {
			s := m[i][j]
			for k := range j {
				s -= m[i][k] * m[j][k]
			}
			if i == j {
				if !(s > 1e-14*m[i][i]) {
					return false
				}
				m[i][i] = math.Sqrt(s)
			} else {
				m[i][j] = s / m[j][j]
			}
		}
	}
	for i := range n {
		for k := range i {
			b[i] -= m[i][k] * b[k]
		}
		b[i] /= m[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			b[i] -= m[k][i] * b[k]
		}
		b[i] /= m[i][i]
	}
	return true
}

// leanSteps are the sines of the angles to the axis beyond which a facet no
// longer counts, step by step, when a seed's axis is sought: the first axis is
// pulled off by chamfers and fillets beside the round surface, the last is not.
var leanSteps = [...]float64{1, 0.42, 0.17, 0.09}

// start finds the cylinder that the normals of some facets suggest, and the
// facets that agree. The axis is the direction that the normals avoid (smallest
// eigenvector of their area-weighted second moments). A facet's centre is the
// axis plus the radius times its normal, which gives centre and radius by
// linear least squares and, by the radius' sign, the side of the material.
//
// With a hint (not zero), the axis is sought from there: facets that lean
// against it don't count from the start. A radius outside radii won't do.
func (w *cylWork) start(fs []int32, hint Vec, radii extent) (fit cylFit, members []int32, ok bool) {
	x := w.x
	members = append(w.members[:0], fs...)
	faces := w.faces[:0]
	if len(fs) <= cylFacesMost {
		for _, f := range fs {
			n, s := x.face(f)
			faces = append(faces, cylFace{n, s})
		}
	}
	w.faces = faces
	first := 0
	if hint != (Vec{}) {
		fit.setAxis(hint)
		first = 1
	}
	least := 0.0
	for i, lean := range leanSteps[first:] {
		var xx, xy, xz, yy, yz, zz, area float64
		k := 0
		for j, f := range members {
			face := w.faceOf(faces, members, j)
			n, s := &face.normal, face.area
			if lean < 1 && !(math.Abs(n.Dot(fit.a)) <= lean) {
				continue
			}
			area += s
			xx += s * n[0] * n[0]
			xy += s * n[0] * n[1]
			xz += s * n[0] * n[2]
			yy += s * n[1] * n[1]
			yz += s * n[1] * n[2]
			zz += s * n[2] * n[2]
			members[k] = f
			if len(faces) > 0 {
				faces[k] = *face
			}
			k++
		}
		if lean < 1 && k == len(members) && i > 0 {
			continue
		}
		members, faces = members[:k], faces[:min(k, len(faces))]
		if lean == 1 {
			least = 0.2 * area
		}
		if !(area > least) || len(members) < 4 {
			w.members = members
			return fit, nil, false
		}
		val, vec := eigenSym(xx, xy, xz, yy, yz, zz)
		// The normals must spread over a plane, and stay nearer to it than they
		// spread: flat surface fails the first, a ball or a saddle the second.
		if val[1] < 1e-4*area || val[0] > 0.25*val[1] {
			w.members = members
			return fit, nil, false
		}
		fit.setAxis(vec[0])
	}
	w.members = members
	return fit, members, w.circleOfNormals(&fit, members, faces, radii)
}

// cylFace is what a facet says of a cylinder.
type cylFace struct {
	normal Vec
	area   float64 // mm2
}

// cylFacesMost is up to how many facets what they say is kept while they are
// looked at again and again. What is larger is rarely worth a second look.
const cylFacesMost = 1 << 12

// faceOf returns what a facet of a list says, from faces if they are kept; else
// it is overwritten by the next one.
func (w *cylWork) faceOf(faces []cylFace, facets []int32, i int) *cylFace {
	if i < len(faces) {
		return &faces[i]
	}
	w.face.normal, w.face.area = w.x.face(facets[i])
	return &w.face
}

// circleOfNormals fits centre, radius and sign, axis given.
func (w *cylWork) circleOfNormals(fit *cylFit, fs []int32, faces []cylFace, radii extent) bool {
	x := w.x
	// Sums of weights; of place and normal; of their products.
	var area, cx, cy, nx, ny, cn, nn float64
	fit.c = x.m.Centre(fs[0])
	for i, f := range fs {
		px, py := fit.across(x.m.Centre(f))
		face := w.faceOf(faces, fs, i)
		s := face.area
		u, v := face.normal.Dot(fit.u), face.normal.Dot(fit.v)
		area += s
		cx += s * px
		cy += s * py
		nx += s * u
		ny += s * v
		cn += s * (px*u + py*v)
		nn += s * (u*u + v*v)
	}
	cn -= (cx*nx + cy*ny) / area
	nn -= (nx*nx + ny*ny) / area
	r := cn / nn
	if !(math.Abs(r) > 0) || math.Abs(r) < radii.lo || math.Abs(r) > radii.hi {
		return false
	}
	fit.c = fit.c.Add(fit.u.Scale((cx - r*nx) / area)).Add(fit.v.Scale((cy - r*ny) / area))
	fit.r, fit.sign = math.Abs(r), math.Copysign(1, r)
	// What the normals say must hold for most of the facets.
	var bad float64
	for i, f := range fs {
		px, py := fit.across(x.m.Centre(f))
		face := w.faceOf(faces, fs, i)
		dx, dy := px-r*face.normal.Dot(fit.u), py-r*face.normal.Dot(fit.v)
		if dx*dx+dy*dy > 0.09*r*r {
			bad += face.area
		}
	}
	return bad < 0.5*area
}

// fitPoints moves axis and circle to the least sum of squared distances of the
// points (at least five) from the cylinder: Gauss-Newton steps with
// Levenberg's damping in axis (2), centre (2) and radius (1). It leaves the fit
// alone where that leads nowhere, and sets the root mean square either way.
func (c *cylFit) fitPoints(ps []Vec) {
	// Rotating about the middle of the points parts axis from centre.
	var z0, z2 float64
	for _, p := range ps {
		_, _, z := c.point(p)
		z0 += z
		z2 += z * z
	}
	n := float64(len(ps))
	z0 /= n
	c.c = c.c.Add(c.a.Scale(z0))
	h := math.Sqrt(max(z2/n-z0*z0, 0)) + 1e-3*c.r // makes all five unknowns lengths
	m, b, best := c.normalEquations(ps, h)
	damp := 1e-9
	for range 30 {
		damped, step := m, b
		for k := range 5 {
			damped[k][k] += damp*damped[k][k] + 1e-15*n
		}
		if !solveSym(&damped, &step, 5) {
			if damp = max(10*damp, 1e-6); damp > 1e3 {
				break
			}
			continue
		}
		if slices.Max(step[:])-slices.Min(step[:]) <= 1e-12*(c.r+h) {
			break
		}
		next := *c
		next.setAxis(c.a.Add(c.u.Scale(step[0] / h)).Add(c.v.Scale(step[1] / h)).Unit())
		next.c = c.c.Add(c.u.Scale(step[2])).Add(c.v.Scale(step[3]))
		next.r += step[4]
		nm, nb, s := next.normalEquations(ps, h)
		if !(s < best) || next.r <= 0 {
			if damp *= 10; damp > 1e3 || s-best <= 1e-9*best {
				break
			}
			continue
		}
		done := best-s <= 1e-6*best
		*c, m, b, best = next, nm, nb, s
		if done {
			break
		}
		damp = max(damp/10, 1e-9)
	}
	c.rms = math.Sqrt(best / n)
}

// normalEquations linearises the distances of the points about the fit, and
// sums up their squares.
func (c *cylFit) normalEquations(ps []Vec, h float64) (m [5][5]float64, b [5]float64, sum float64) {
	for _, p := range ps {
		x, y, z := c.point(p)
		rho := math.Sqrt(x*x + y*y)
		d := rho - c.r
		sum += d * d
		if rho == 0 {
			continue
		}
		x, y, z = -x/rho, -y/rho, z/h
		j := [5]float64{z * x, z * y, x, y, -1}
		for i := range 5 {
			b[i] -= j[i] * d
			for k := range i + 1 {
				m[i][k] += j[i] * j[k]
			}
		}
	}
	for i := range 5 {
		for k := range i {
			m[k][i] = m[i][k]
		}
	}
	return m, b, sum
}

// median returns the median of v, which it sorts; 0 of nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// medianWeighted returns the value below which half the weight lies. It sorts v
// (pairs of value and weight).
func medianWeighted(v [][2]float64) float64 {
	sortPairs(v)
	var total, sum float64
	for _, p := range v {
		total += p[1]
	}
	for _, p := range v {
		if sum += p[1]; 2*sum >= total {
			return p[0]
		}
	}
	return 0
}
