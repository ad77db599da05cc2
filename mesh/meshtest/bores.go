package meshtest

import (
	"math"
	"math/rand/v2"
	"slices"

	"corbel/mesh"
)

// This file makes holes, pins and lattices, and disturbs meshes without
// changing what they show.

// Turned makes a square block (edge 2*half, from z0 to z1, about the z axis)
// whose top face goes on as a surface of revolution: profile (x = radius, y =
// height) starts on the top face at (r, z1) and leads down into the block (a
// hole) or up from it (a pin). It ends on the axis, or, for a through hole, on
// the bottom face.
func Turned(half, z0, z1 float64, profile []mesh.Vec, n int) *mesh.Mesh {
	var b Builder
	square := []mesh.Vec{{-half, -half}, {half, -half}, {half, half}, {-half, half}}
	face := func(z, r float64, up bool) {
		var holes [][]mesh.Vec
		if r > 0 {
			holes = append(holes, Circle(0, 0, r, n))
		}
		for _, t := range Triangulate(square, holes) {
			for k := range t {
				t[k][2] = z
			}
			if !up {
				t[0], t[2] = t[2], t[0]
			}
			b.Tri(t[0], t[1], t[2])
		}
	}
	last := profile[len(profile)-1]
	face(z1, profile[0][0], true)
	face(z0, last[0], false)
	for i, p := range square {
		q := square[(i+1)%4]
		b.Quad(mesh.Vec{p[0], p[1], z0}, mesh.Vec{q[0], q[1], z0}, mesh.Vec{q[0], q[1], z1}, mesh.Vec{p[0], p[1], z1})
	}
	revolveInto(&b, profile, n, func(p mesh.Vec) mesh.Vec { return p })
	return b.Mesh()
}

// revolveInto adds the surface of revolution of an open profile about z, facing
// right of the profile's way (in the plane of radius and height), through place.
func revolveInto(b *Builder, profile []mesh.Vec, n int, place func(mesh.Vec) mesh.Vec) {
	ring := func(p mesh.Vec, i int) mesh.Vec {
		if p[0] == 0 {
			return place(mesh.Vec{0, 0, p[1]})
		}
		c := Circle(0, 0, p[0], n)[i%n]
		return place(mesh.Vec{c[0], c[1], p[1]})
	}
	for j := range profile[:len(profile)-1] {
		p, q := profile[j], profile[j+1]
		for i := range n {
			b.Quad(ring(p, i), ring(p, i+1), ring(q, i+1), ring(q, i))
		}
	}
}

// Arc returns the points of a circular arc in the plane of a profile, about
// (cx, cy) with radius r from angle a0 to a1 (degrees), both ends included.
func Arc(cx, cy, r, a0, a1 float64, steps int) []mesh.Vec {
	var ps []mesh.Vec
	for i := range steps + 1 {
		s, c := math.Sincos((a0 + (a1-a0)*float64(i)/float64(steps)) * math.Pi / 180)
		ps = append(ps, mesh.Vec{cx + r*c, cy + r*s})
	}
	return ps
}

// Woven is a tube whose bore has its vertices anywhere on the true cylinder:
// rows of n points, shifted at random by up to wander of a step along and
// around (rows at the mouths only around), and diagonals either way.
func Woven(ro, ri, h float64, n, rows int, wander float64, rnd *rand.Rand) *mesh.Mesh {
	var b Builder
	inner := make([][]mesh.Vec, rows+1)
	for j := range inner {
		for i := range n {
			a := 2 * math.Pi * (float64(i) + wander*(rnd.Float64()-0.5)) / float64(n)
			z := h * float64(j) / float64(rows)
			if j > 0 && j < rows {
				z += h / float64(rows) * wander * (rnd.Float64() - 0.5)
			}
			s, c := math.Sincos(a)
			inner[j] = append(inner[j], mesh.Vec{ri * c, ri * s, z})
		}
	}
	outer := Circle(0, 0, ro, n)
	at := func(p mesh.Vec, z float64) mesh.Vec { return mesh.Vec{p[0], p[1], z} }
	for i := range n {
		k := (i + 1) % n
		b.Quad(at(outer[i], 0), at(outer[k], 0), at(outer[k], h), at(outer[i], h))
		b.Quad(inner[rows][i], at(outer[i], h), at(outer[k], h), inner[rows][k])
		b.Quad(at(outer[i], 0), inner[0][i], inner[0][k], at(outer[k], 0))
		for j := range rows {
			p, q, r, s := inner[j][i], inner[j+1][i], inner[j+1][k], inner[j][k]
			if rnd.IntN(2) == 0 {
				p, q, r, s = q, r, s, p
			}
			b.Quad(p, q, r, s)
		}
	}
	return b.Mesh()
}

// Grille is a plate of nx by ny square cells, each with a round hole, from z = 0
// to thick, with a corner at the origin.
func Grille(nx, ny int, pitch, r, thick float64, n int) *mesh.Mesh {
	var b Builder
	h := pitch / 2
	cell := Triangulate([]mesh.Vec{{-h, -h}, {h, -h}, {h, h}, {-h, h}}, [][]mesh.Vec{Circle(0, 0, r, n)})
	circle := Circle(0, 0, r, n)
	corner := func(i, j int, z float64) mesh.Vec { return mesh.Vec{float64(i) * pitch, float64(j) * pitch, z} }
	// A cell's corners must be the same numbers as its neighbours'.
	at := func(i, j int, p mesh.Vec, z float64) mesh.Vec {
		if math.Abs(p[0]) == h && math.Abs(p[1]) == h {
			if p[0] > 0 {
				i++
			}
			if p[1] > 0 {
				j++
			}
			return corner(i, j, z)
		}
		return mesh.Vec{(float64(i)+0.5)*pitch + p[0], (float64(j)+0.5)*pitch + p[1], z}
	}
	for i := range nx {
		for j := range ny {
			for _, t := range cell {
				b.Tri(at(i, j, t[0], thick), at(i, j, t[1], thick), at(i, j, t[2], thick))
				b.Tri(at(i, j, t[2], 0), at(i, j, t[1], 0), at(i, j, t[0], 0))
			}
			for k, p := range circle {
				q := circle[(k+1)%n]
				b.Quad(at(i, j, q, 0), at(i, j, p, 0), at(i, j, p, thick), at(i, j, q, thick))
			}
		}
	}
	for i := range nx {
		b.Quad(corner(i, 0, 0), corner(i+1, 0, 0), corner(i+1, 0, thick), corner(i, 0, thick))
		b.Quad(corner(i+1, ny, 0), corner(i, ny, 0), corner(i, ny, thick), corner(i+1, ny, thick))
	}
	for j := range ny {
		b.Quad(corner(0, j+1, 0), corner(0, j, 0), corner(0, j, thick), corner(0, j+1, thick))
		b.Quad(corner(nx, j, 0), corner(nx, j+1, 0), corner(nx, j+1, thick), corner(nx, j, thick))
	}
	return b.Mesh()
}

// Lattice is a cubic lattice of k by k by k cube nodes (edge node) joined by
// round struts of radius r, n sides, with a fillet of radius fillet (0 for none)
// in fs steps where a strut meets a node. It has 3 k k (k-1) struts, each
// pitch-node-2*fillet long between its fillets.
func Lattice(k int, pitch, node, r, fillet float64, fs, n int) *mesh.Mesh {
	h := node / 2
	foot := r + fillet
	square := []mesh.Vec{{-h, -h}, {h, -h}, {h, h}, {-h, h}}
	closed := Triangulate(square, nil)
	holed := Triangulate(square, [][]mesh.Vec{Circle(0, 0, foot, n)})
	half := pitch / 2
	profile := []mesh.Vec{{foot, h}}
	if fillet > 0 {
		profile = Arc(foot, h+fillet, fillet, 270, 180, fs)
		profile[0] = mesh.Vec{foot, h}
		profile[fs] = mesh.Vec{r, h + fillet}
	}
	profile = append(profile, mesh.Vec{r, half})
	// One node with its half struts, by the set of faces that carry one.
	var b Builder
	for i := range k * k * k {
		at := [3]int{i % k, i / k % k, i / k / k}
		for face := range 6 {
			axis, up := face/2, face%2 == 1
			open := up && at[axis] < k-1 || !up && at[axis] > 0
			place := func(p mesh.Vec) mesh.Vec {
				var q mesh.Vec
				if !up {
					p[0], p[2] = -p[0], -p[2]
				}
				q[axis], q[(axis+1)%3], q[(axis+2)%3] = p[2], p[0], p[1]
				for d := range 3 {
					q[d] += float64(at[d]) * pitch
				}
				// The middle of a strut is reached from both nodes.
				if p[2] == half || p[2] == -half {
					q[axis] = (float64(at[axis]) + p[2]/pitch) * pitch
				}
				return roundTo(q, 1e-9)
			}
			tris := closed
			if open {
				tris = holed
				revolveInto(&b, profile, n, place)
			}
			for _, t := range tris {
				for d := range t {
					t[d][2] = h
				}
				b.Tri(place(t[0]), place(t[1]), place(t[2]))
			}
		}
	}
	return b.Mesh()
}

func roundTo(p mesh.Vec, step float64) mesh.Vec {
	for k := range p {
		p[k] = math.Round(p[k]/step) * step
	}
	return p
}

// Scatter moves every vertex by a normally distributed error in each
// coordinate.
func Scatter(m *mesh.Mesh, sigma float64, rnd *rand.Rand) *mesh.Mesh {
	return Map(m, func(p mesh.Vec) mesh.Vec {
		for k := range p {
			p[k] += sigma * rnd.NormFloat64()
		}
		return p
	})
}

// Single rounds all coordinates to single precision, as STL does.
func Single(m *mesh.Mesh) *mesh.Mesh {
	return Map(m, single)
}

func single(p mesh.Vec) mesh.Vec {
	for k := range p {
		p[k] = float64(float32(p[k]))
	}
	return p
}

// Mirror reflects a mesh in the plane x = 0; the surface still faces outward.
func Mirror(m *mesh.Mesh) *mesh.Mesh {
	return Flip(Map(m, func(p mesh.Vec) mesh.Vec { return mesh.Vec{-p[0], p[1], p[2]} }))
}

// FlipFlat turns diagonals of flat convex quads the other way, each with even
// odds: another triangulation of the same surface.
func FlipFlat(m *mesh.Mesh, rnd *rand.Rand) *mesh.Mesh {
	twin := m.Topology().Twin
	fs := append([][3]int32(nil), m.Facets...)
	done := make([]bool, len(fs))
	edges := map[[2]int32]bool{}
	for _, f := range fs {
		for k := range 3 {
			edges[[2]int32{f[k], f[(k+1)%3]}] = true
		}
	}
	for h, t := range twin {
		f, g := h/3, int(t)/3
		if t < int32(h) || done[f] || done[g] || rnd.IntN(2) == 0 {
			continue
		}
		a, b := m.Facets[f][h%3], m.Facets[f][(h%3+1)%3]
		c, d := m.Facets[f][(h%3+2)%3], m.Facets[g][(t%3+2)%3]
		if edges[[2]int32{c, d}] || edges[[2]int32{d, c}] || m.Normal(int32(f)).Dot(m.Normal(int32(g))) < 1-1e-12 {
			continue
		}
		p, q := [3]int32{c, a, d}, [3]int32{c, d, b}
		n := m.Normal(int32(f))
		if area(m, p).Dot(n) <= 1e-6*area(m, m.Facets[f]).Norm() || area(m, q).Dot(n) <= 1e-6*area(m, m.Facets[f]).Norm() {
			continue
		}
		fs[f], fs[g] = p, q
		done[f], done[g] = true, true
		edges[[2]int32{c, d}], edges[[2]int32{d, c}] = true, true
	}
	return mesh.New(append([]mesh.Vec(nil), m.Verts...), fs)
}

func area(m *mesh.Mesh, f [3]int32) mesh.Vec {
	p := m.Verts[f[0]]
	return m.Verts[f[1]].Sub(p).Cross(m.Verts[f[2]].Sub(p))
}

// DropFacing drops pairs of facets that have the same corners and face each
// other: the walls between blocks that were put side by side.
func DropFacing(m *mesh.Mesh) *mesh.Mesh {
	seen := map[[3]int32]int{}
	drop := make([]bool, len(m.Facets))
	for i, f := range m.Facets {
		k := f
		slices.Sort(k[:])
		if j, ok := seen[k]; ok {
			drop[i], drop[j] = true, true
			delete(seen, k)
		} else {
			seen[k] = i
		}
	}
	var b Builder
	for i := range m.Facets {
		if !drop[i] {
			p, q, r := m.Corners(int32(i))
			b.Tri(p, q, r)
		}
	}
	return b.Mesh()
}
