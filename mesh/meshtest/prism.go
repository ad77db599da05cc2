package meshtest

import (
	"math"

	"corbel/mesh"
)

// Prism raises a convex polygon (counter-clockwise) from z0 to z1, in time
// linear in its corners, where Extrude takes any polygon.
func Prism(ps []mesh.Vec, z0, z1 float64) *mesh.Mesh {
	var b Builder
	lo, hi := lift(ps, z0), lift(ps, z1)
	for i := 1; i+1 < len(ps); i++ {
		b.Tri(hi[0], hi[i], hi[i+1])
		b.Tri(lo[0], lo[i+1], lo[i])
	}
	for i := range ps {
		j := (i + 1) % len(ps)
		b.Quad(lo[i], lo[j], hi[j], hi[i])
	}
	return b.Mesh()
}

// RingPrism raises the ring between two polygons of equally many corners, both
// counter-clockwise, corner i of one beside corner i of the other.
func RingPrism(outer, inner []mesh.Vec, z0, z1 float64) *mesh.Mesh {
	var b Builder
	ol, oh, il, ih := lift(outer, z0), lift(outer, z1), lift(inner, z0), lift(inner, z1)
	for i := range outer {
		j := (i + 1) % len(outer)
		b.Quad(oh[i], oh[j], ih[j], ih[i])
		b.Quad(ol[j], ol[i], il[i], il[j])
		b.Quad(ol[i], ol[j], oh[j], oh[i])
		b.Quad(il[j], il[i], ih[i], ih[j])
	}
	return b.Mesh()
}

// Square returns n points (a multiple of 8) around a square of half side a, in
// the directions of Circle's points.
func Square(a float64, n int) []mesh.Vec {
	ps := Circle(0, 0, 1, n)
	for i, p := range ps {
		k := a / max(math.Abs(p[0]), math.Abs(p[1]))
		ps[i] = mesh.Vec{k * p[0], k * p[1]}
	}
	return ps
}

func lift(ps []mesh.Vec, z float64) []mesh.Vec {
	out := make([]mesh.Vec, len(ps))
	for i, p := range ps {
		out[i] = mesh.Vec{p[0], p[1], z}
	}
	return out
}
