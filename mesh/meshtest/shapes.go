// Package meshtest makes meshes whose measurements are known in closed form.
package meshtest

import (
	"math"

	"corbel/mesh"
)

// Builder collects facets; equal points (bit for bit) become one vertex.
type Builder struct {
	verts  []mesh.Vec
	facets [][3]int32
	index  map[mesh.Vec]int32
}

// Vert returns the number of the vertex at p.
func (b *Builder) Vert(p mesh.Vec) int32 {
	for k := range p {
		p[k] += 0 // -0 becomes 0
	}
	if b.index == nil {
		b.index = map[mesh.Vec]int32{}
	}
	if i, ok := b.index[p]; ok {
		return i
	}
	i := int32(len(b.verts))
	b.verts = append(b.verts, p)
	b.index[p] = i
	return i
}

// Tri adds a facet, counter-clockwise from outside; collapsed ones are dropped.
func (b *Builder) Tri(p, q, r mesh.Vec) {
	i, j, k := b.Vert(p), b.Vert(q), b.Vert(r)
	if i != j && j != k && k != i {
		b.facets = append(b.facets, [3]int32{i, j, k})
	}
}

// Quad adds p q r s as two facets.
func (b *Builder) Quad(p, q, r, s mesh.Vec) { b.Tri(p, q, r); b.Tri(p, r, s) }

// Add adds another mesh as it is (its vertices are welded to equal ones).
func (b *Builder) Add(m *mesh.Mesh) {
	for f := range m.Facets {
		p, q, r := m.Corners(int32(f))
		b.Tri(p, q, r)
	}
}

// Mesh returns what was collected.
func (b *Builder) Mesh() *mesh.Mesh { return mesh.New(b.verts, b.facets) }

// Join puts meshes into one; touching vertices become one.
func Join(ms ...*mesh.Mesh) *mesh.Mesh {
	var b Builder
	for _, m := range ms {
		b.Add(m)
	}
	return b.Mesh()
}

// Map moves every vertex.
func Map(m *mesh.Mesh, f func(mesh.Vec) mesh.Vec) *mesh.Mesh {
	vs := make([]mesh.Vec, len(m.Verts))
	for i, v := range m.Verts {
		vs[i] = f(v)
	}
	return mesh.New(vs, append([][3]int32(nil), m.Facets...))
}

// Move shifts a mesh.
func Move(m *mesh.Mesh, d mesh.Vec) *mesh.Mesh {
	return Map(m, func(p mesh.Vec) mesh.Vec { return p.Add(d) })
}

// Turn turns a mesh about an axis through the origin by an angle in radians.
func Turn(m *mesh.Mesh, axis mesh.Vec, a float64) *mesh.Mesh {
	u := axis.Unit()
	c, s := math.Cos(a), math.Sin(a)
	return Map(m, func(p mesh.Vec) mesh.Vec {
		return p.Scale(c).Add(u.Cross(p).Scale(s)).Add(u.Scale(u.Dot(p) * (1 - c)))
	})
}

// Flip turns a mesh inside out.
func Flip(m *mesh.Mesh) *mesh.Mesh {
	fs := make([][3]int32, len(m.Facets))
	for i, f := range m.Facets {
		fs[i] = [3]int32{f[0], f[2], f[1]}
	}
	return mesh.New(append([]mesh.Vec(nil), m.Verts...), fs)
}

// Refine splits every facet in four, n times; the shape stays.
func Refine(m *mesh.Mesh, n int) *mesh.Mesh {
	for range n {
		var b Builder
		for f := range m.Facets {
			p, q, r := m.Corners(int32(f))
			pq, qr, rp := p.Add(q).Scale(.5), q.Add(r).Scale(.5), r.Add(p).Scale(.5)
			b.Tri(p, pq, rp)
			b.Tri(pq, q, qr)
			b.Tri(rp, qr, r)
			b.Tri(pq, qr, rp)
		}
		m = b.Mesh()
	}
	return m
}

// Halved splits edges at their middles until none is longer than most. Corners
// are in single precision, as a file of triangles has them.
func Halved(m *mesh.Mesh, most float64) *mesh.Mesh {
	for {
		var b Builder
		long := false
		for f := range m.Facets {
			var p, q [3]mesh.Vec // corners, and the middles of the edges after them
			var split [3]bool
			n := 0
			p[0], p[1], p[2] = m.Corners(int32(f))
			for k := range 3 {
				q[k] = single(p[k].Add(p[(k+1)%3]).Scale(0.5))
				if split[k] = p[(k+1)%3].Sub(p[k]).Norm() > most; split[k] {
					n++
				}
			}
			long = long || n > 0
			k := 0 // the first edge to be split, or of two
			for n > 0 && n < 3 && !(split[k] && (n == 1 || split[(k+1)%3])) {
				k++
			}
			u, v, w := p[k%3], p[(k+1)%3], p[(k+2)%3]
			switch n {
			case 0:
				b.Tri(u, v, w)
			case 1:
				b.Tri(u, q[k], w)
				b.Tri(q[k], v, w)
			case 2:
				b.Tri(q[k], v, q[(k+1)%3])
				b.Tri(u, q[k], q[(k+1)%3])
				b.Tri(u, q[(k+1)%3], w)
			case 3:
				b.Tri(u, q[0], q[2])
				b.Tri(q[0], v, q[1])
				b.Tri(q[2], q[1], w)
				b.Tri(q[0], q[1], q[2])
			}
		}
		if !long {
			return m
		}
		m = b.Mesh()
	}
}

// BoxAt is the box from lo to hi.
func BoxAt(lo, hi mesh.Vec) *mesh.Mesh {
	return Extrude([]mesh.Vec{{lo[0], lo[1]}, {hi[0], lo[1]}, {hi[0], hi[1]}, {lo[0], hi[1]}}, nil, lo[2], hi[2])
}

// Cube has edge a and one corner at the origin.
func Cube(a float64) *mesh.Mesh { return BoxAt(mesh.Vec{}, mesh.Vec{a, a, a}) }

// Circle returns n points on a circle, counter-clockwise, in the xy plane.
func Circle(x, y, r float64, n int) []mesh.Vec {
	ps := make([]mesh.Vec, n)
	for i := range ps {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		ps[i] = mesh.Vec{x + r*c, y + r*s}
	}
	return ps
}

// Extrude raises a simple polygon (counter-clockwise, z ignored) with holes
// (either way round) from z0 to z1.
func Extrude(outer []mesh.Vec, holes [][]mesh.Vec, z0, z1 float64) *mesh.Mesh {
	var b Builder
	at := func(p mesh.Vec, z float64) mesh.Vec { return mesh.Vec{p[0], p[1], z} }
	for _, t := range Triangulate(outer, holes) {
		b.Tri(at(t[0], z1), at(t[1], z1), at(t[2], z1))
		b.Tri(at(t[2], z0), at(t[1], z0), at(t[0], z0))
	}
	side := func(ps []mesh.Vec) {
		for i, p := range ps {
			q := ps[(i+1)%len(ps)]
			b.Quad(at(p, z0), at(q, z0), at(q, z1), at(p, z1))
		}
	}
	side(turned(outer, true))
	for _, h := range holes {
		side(turned(h, false))
	}
	return b.Mesh()
}

func signedArea(ps []mesh.Vec) float64 {
	var s float64
	for i, p := range ps {
		q := ps[(i+1)%len(ps)]
		s += p[0]*q[1] - p[1]*q[0]
	}
	return s / 2
}

func turned(ps []mesh.Vec, ccw bool) []mesh.Vec {
	if (signedArea(ps) > 0) == ccw {
		return ps
	}
	out := make([]mesh.Vec, len(ps))
	for i, p := range ps {
		out[len(ps)-1-i] = p
	}
	return out
}

// Triangulate cuts a polygon with holes into triangles, counter-clockwise, by
// bridging holes and clipping ears.
func Triangulate(outer []mesh.Vec, holes [][]mesh.Vec) [][3]mesh.Vec {
	poly := append([]mesh.Vec(nil), turned(outer, true)...)
	hs := append([][]mesh.Vec(nil), holes...)
	for len(hs) > 0 {
		// The hole with the point furthest right goes first.
		best, bi := 0, 0
		for i, h := range hs {
			for j, p := range h {
				if p[0] > hs[best][bi][0] {
					best, bi = i, j
				}
			}
		}
		h := turned(hs[best], false)
		if signedArea(hs[best]) >= 0 {
			bi = len(h) - 1 - bi
		}
		p := h[bi]
		to := -1
		for i, q := range poly {
			if to >= 0 && q.Sub(p).Norm() >= poly[to].Sub(p).Norm() {
				continue
			}
			if visible(p, q, poly, h) {
				to = i
			}
		}
		if to < 0 {
			panic("meshtest: a hole sees no point of the outline")
		}
		ring := append(append([]mesh.Vec(nil), h[bi:]...), h[:bi+1]...)
		next := append([]mesh.Vec(nil), poly[:to+1]...)
		next = append(next, ring...)
		next = append(next, poly[to:]...)
		poly = next
		hs = append(hs[:best:best], hs[best+1:]...)
	}
	var out [][3]mesh.Vec
	for len(poly) > 3 {
		n := len(poly)
		cut, quality := -1, -1.0
		for i := range poly {
			a, b, c := poly[(i+n-1)%n], poly[i], poly[(i+1)%n]
			area := cross2(a, b, c)
			if area <= 0 {
				continue
			}
			ok := true
			for _, p := range poly {
				if p != a && p != b && p != c && cross2(a, b, p) >= 0 && cross2(b, c, p) >= 0 && cross2(c, a, p) >= 0 {
					ok = false
					break
				}
			}
			if !ok {
				continue
			}
			l := max(a.Sub(b).Norm(), b.Sub(c).Norm(), c.Sub(a).Norm())
			if q := area / (l * l); q > quality {
				cut, quality = i, q
			}
		}
		if cut < 0 {
			panic("meshtest: polygon can't be triangulated")
		}
		out = append(out, [3]mesh.Vec{poly[(cut+n-1)%n], poly[cut], poly[(cut+1)%n]})
		poly = append(poly[:cut:cut], poly[cut+1:]...)
	}
	return append(out, [3]mesh.Vec{poly[0], poly[1], poly[2]})
}

func cross2(a, b, c mesh.Vec) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

func visible(p, q mesh.Vec, rings ...[]mesh.Vec) bool {
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if a == p || b == p || a == q || b == q {
				continue
			}
			if cross2(p, q, a)*cross2(p, q, b) <= 0 && cross2(a, b, p)*cross2(a, b, q) <= 0 {
				return false
			}
		}
	}
	return true
}

// Revolve turns a closed profile (x = radius >= 0, y = height, counter-clockwise
// in that plane) about the z axis in n steps. Points with radius 0 become poles.
func Revolve(profile []mesh.Vec, n int) *mesh.Mesh {
	var b Builder
	at := func(p mesh.Vec, i int) mesh.Vec {
		if p[0] == 0 {
			return mesh.Vec{0, 0, p[1]}
		}
		s, c := math.Sincos(2 * math.Pi * float64(i%n) / float64(n))
		return mesh.Vec{p[0] * c, p[0] * s, p[1]}
	}
	for j, p := range profile {
		q := profile[(j+1)%len(profile)]
		if p[0] == 0 && q[0] == 0 {
			continue
		}
		for i := range n {
			b.Quad(at(p, i), at(p, i+1), at(q, i+1), at(q, i))
		}
	}
	return b.Mesh()
}

// Cylinder stands on z0 with its axis along z.
func Cylinder(x, y, r, z0, z1 float64, n int) *mesh.Mesh {
	return Extrude(Circle(x, y, r, n), nil, z0, z1)
}

// Tube is a cylinder with a bore.
func Tube(ro, ri, z0, z1 float64, n int) *mesh.Mesh {
	return Extrude(Circle(0, 0, ro, n), [][]mesh.Vec{Circle(0, 0, ri, n)}, z0, z1)
}

// Sphere has its vertices on the sphere: n steps around, n/2 from pole to pole.
func Sphere(r float64, n int) *mesh.Mesh {
	k := n / 2
	ps := make([]mesh.Vec, 0, k+1)
	for i := range k + 1 {
		s, c := math.Sincos(math.Pi * float64(i) / float64(k))
		if i == 0 || i == k {
			s = 0
		}
		ps = append(ps, mesh.Vec{r * s, -r * c})
	}
	return Revolve(ps, n)
}

// Torus lies about the z axis: ring radius R, tube radius r.
func Torus(R, r float64, n, k int) *mesh.Mesh {
	ps := Circle(R, 0, r, k)
	return Revolve(ps, n)
}

// Plate is a box with round through holes along z.
func Plate(lo, hi mesh.Vec, n int, holes ...[3]float64) *mesh.Mesh {
	var hs [][]mesh.Vec
	for _, h := range holes {
		hs = append(hs, Circle(h[0], h[1], h[2], n))
	}
	return Extrude([]mesh.Vec{{lo[0], lo[1]}, {hi[0], lo[1]}, {hi[0], hi[1]}, {lo[0], hi[1]}}, hs, lo[2], hi[2])
}
