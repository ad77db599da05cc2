package meshtest

import (
	"math"
	"math/rand/v2"

	"corbel/mesh"
)

// This file holds slow answers that owe nothing to the search tree: every facet
// is looked at, with other formulas.

// BruteRay returns the nearest hit of a ray over all facets: where it meets the
// facet's plane, inside if the three corners' areas say so. Rays within about
// 1e-12 of an edge may go either way.
func BruteRay(m *mesh.Mesh, o, d mesh.Vec, tMin, tMax float64) (mesh.Hit, bool) {
	best := mesh.Hit{Facet: -1, T: tMax}
	for f := range m.Facets {
		a, b, c := m.Corners(int32(f))
		n := b.Sub(a).Cross(c.Sub(a))
		den := n.Dot(d)
		if den == 0 {
			continue
		}
		t := n.Dot(a.Sub(o)) / den
		if t <= tMin || t >= best.T {
			continue
		}
		p := o.Add(d.Scale(t))
		if b.Sub(a).Cross(p.Sub(a)).Dot(n) >= 0 && c.Sub(b).Cross(p.Sub(b)).Dot(n) >= 0 && a.Sub(c).Cross(p.Sub(c)).Dot(n) >= 0 {
			best = mesh.Hit{Facet: int32(f), T: t}
		}
	}
	return best, best.Facet >= 0
}

// BruteDist returns the distance from p to a mesh: to each facet's plane where
// the foot lies inside, else to its edges.
func BruteDist(m *mesh.Mesh, p mesh.Vec) float64 {
	best := math.Inf(1)
	for f := range m.Facets {
		best = min(best, FacetDist(m, int32(f), p))
	}
	return best
}

// FacetDist returns the distance from p to one facet.
func FacetDist(m *mesh.Mesh, f int32, p mesh.Vec) float64 {
	a, b, c := m.Corners(f)
	d := min(segmentDist(p, a, b), segmentDist(p, b, c), segmentDist(p, c, a))
	n := b.Sub(a).Cross(c.Sub(a))
	if n == (mesh.Vec{}) {
		return d
	}
	u := n.Unit()
	h := u.Dot(p.Sub(a))
	q := p.Sub(u.Scale(h))
	if b.Sub(a).Cross(q.Sub(a)).Dot(n) >= 0 && c.Sub(b).Cross(q.Sub(b)).Dot(n) >= 0 && a.Sub(c).Cross(q.Sub(c)).Dot(n) >= 0 {
		d = min(d, math.Abs(h))
	}
	return d
}

func segmentDist(p, a, b mesh.Vec) float64 {
	e := b.Sub(a)
	t := 0.0
	if l := e.Dot(e); l > 0 {
		t = min(1, max(0, p.Sub(a).Dot(e)/l))
	}
	return p.Sub(a.Add(e.Scale(t))).Norm()
}

// Soup is n unrelated facets of about the given size in a cube of edge 10.
func Soup(r *rand.Rand, n int, size float64) *mesh.Mesh {
	var b Builder
	for range n {
		p := RandomPoint(r).Scale(10)
		b.Tri(p, p.Add(RandomDir(r).Scale(size)), p.Add(RandomDir(r).Scale(size)))
	}
	return b.Mesh()
}

// RandomPoint is in the unit cube.
func RandomPoint(r *rand.Rand) mesh.Vec {
	return mesh.Vec{r.Float64(), r.Float64(), r.Float64()}
}

// RandomDir is a unit vector, evenly spread.
func RandomDir(r *rand.Rand) mesh.Vec {
	return mesh.Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}.Unit()
}

// Shuffle renumbers vertices and facets, and turns the corners of each facet.
func Shuffle(m *mesh.Mesh, r *rand.Rand) *mesh.Mesh {
	pv, pf := r.Perm(len(m.Verts)), r.Perm(len(m.Facets))
	vs := make([]mesh.Vec, len(m.Verts))
	for i, v := range m.Verts {
		vs[pv[i]] = v
	}
	fs := make([][3]int32, len(m.Facets))
	for i, f := range m.Facets {
		k := r.IntN(3)
		for j := range 3 {
			fs[pf[i]][j] = int32(pv[f[(j+k)%3]])
		}
	}
	return mesh.New(vs, fs)
}

// Gyroid is a closed sheet of even thickness t around the surface
// sin x cos y + sin y cos z + sin z cos x = 0 of the given period, in a cube of
// cells^3 periods, on a grid of n steps a period: a thin-walled, strongly curved
// part with many facets (about 12 n^2 a cell). The walls are cut off flat by
// the cube's faces.
func Gyroid(period, t float64, cells, n int) *mesh.Mesh {
	k := 2 * math.Pi / period
	f := func(p mesh.Vec) float64 {
		x, y, z := k*p[0], k*p[1], k*p[2]
		g := math.Sin(x)*math.Cos(y) + math.Sin(y)*math.Cos(z) + math.Sin(z)*math.Cos(x)
		gx := math.Cos(x)*math.Cos(y) - math.Sin(z)*math.Sin(x)
		gy := -math.Sin(x)*math.Sin(y) + math.Cos(y)*math.Cos(z)
		gz := -math.Sin(y)*math.Sin(z) + math.Cos(z)*math.Cos(x)
		d := math.Abs(g) / (k * math.Sqrt(gx*gx+gy*gy+gz*gz)) // about the distance
		l := float64(cells) * period
		return max(d-t/2, -p[0], -p[1], -p[2], p[0]-l, p[1]-l, p[2]-l)
	}
	h := period / float64(n)
	return Isosurface(f, mesh.Vec{-h * 0.7, -h * 0.7, -h * 0.7}, h, cells*n+2)
}

// Legs is below zero in eight round legs of 8 mm that lead from the middle towards
// the corners of a cube of 48 mm and run into one another smoothly.
func Legs(p mesh.Vec) float64 {
	const blend = 6
	d := math.Inf(1)
	for i := range 8 {
		end := mesh.Vec{24, 24, 24}
		for k := range 3 {
			if i>>k&1 == 1 {
				end[k] = -end[k]
			}
		}
		leg := segmentDist(p, mesh.Vec{}, end) - 4
		h := max(blend-math.Abs(d-leg), 0) / blend
		d = min(d, leg) - h*h*blend/4
	}
	return d
}

// Isosurface is the closed surface f = 0 (f < 0 inside) on a grid of n^3 cubes
// of edge h from lo, each cut into six tetrahedra. f must be positive on the
// grid's border.
func Isosurface(f func(mesh.Vec) float64, lo mesh.Vec, h float64, n int) *mesh.Mesh {
	w := n + 1
	at := func(i int) mesh.Vec {
		return lo.Add(mesh.Vec{float64(i % w), float64(i / w % w), float64(i / (w * w))}.Scale(h))
	}
	val := make([]float64, w*w*w)
	for i := range val {
		val[i] = f(at(i))
	}
	var verts []mesh.Vec
	var facets [][3]int32
	index := map[[2]int32]int32{}
	cross := func(i, j int) int32 {
		key := [2]int32{int32(min(i, j)), int32(max(i, j))}
		if v, ok := index[key]; ok {
			return v
		}
		p, q := at(int(key[0])), at(int(key[1]))
		a, b := val[key[0]], val[key[1]]
		t := min(0.999, max(0.001, a/(a-b)))
		index[key] = int32(len(verts))
		verts = append(verts, p.Add(q.Sub(p).Scale(t)))
		return index[key]
	}
	tri := func(a, b, c int32, out mesh.Vec) {
		p, q, r := verts[a], verts[b], verts[c]
		if q.Sub(p).Cross(r.Sub(p)).Dot(out) < 0 {
			b, c = c, b
		}
		facets = append(facets, [3]int32{a, b, c})
	}
	for z := range n {
		for y := range n {
			for x := range n {
				base := x + w*(y+w*z)
				// The six paths from corner 000 to 111 along the axes.
				for _, s := range [6][2]int{{1, 1 + w}, {1, 1 + w*w}, {w, 1 + w}, {w, w + w*w}, {w * w, 1 + w*w}, {w * w, w + w*w}} {
					t := [4]int{base, base + s[0], base + s[1], base + 1 + w + w*w}
					var in, out []int
					for _, i := range t {
						if val[i] < 0 {
							in = append(in, i)
						} else {
							out = append(out, i)
						}
					}
					if len(in) == 0 || len(out) == 0 {
						continue
					}
					var dir mesh.Vec
					for _, i := range out {
						dir = dir.Add(at(i).Scale(1 / float64(len(out))))
					}
					for _, i := range in {
						dir = dir.Sub(at(i).Scale(1 / float64(len(in))))
					}
					switch len(in) {
					case 1:
						tri(cross(in[0], out[0]), cross(in[0], out[1]), cross(in[0], out[2]), dir)
					case 3:
						tri(cross(in[0], out[0]), cross(in[1], out[0]), cross(in[2], out[0]), dir)
					default:
						a, b := cross(in[0], out[0]), cross(in[0], out[1])
						c, d := cross(in[1], out[1]), cross(in[1], out[0])
						tri(a, b, c, dir)
						tri(a, c, d, dir)
					}
				}
			}
		}
	}
	return mesh.New(verts, facets)
}
