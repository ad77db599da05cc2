package meshtest

import "corbel/mesh"

// Blocks is the surface of the cells of a grid that are solid. Cell i, j, k lies
// between planes xs[i] and xs[i+1], and so on. Cells that touch along an edge
// only make it an edge of four facets.
func Blocks(xs, ys, zs []float64, solid func(i, j, k int) bool) *mesh.Mesh {
	nx, ny, nz := len(xs)-1, len(ys)-1, len(zs)-1
	in := func(i, j, k int) bool {
		return i >= 0 && j >= 0 && k >= 0 && i < nx && j < ny && k < nz && solid(i, j, k)
	}
	var b Builder
	for k := range nz {
		for j := range ny {
			for i := range nx {
				if !in(i, j, k) {
					continue
				}
				at := func(x, y, z int) mesh.Vec { return mesh.Vec{xs[i+x], ys[j+y], zs[k+z]} }
				if !in(i, j, k-1) {
					b.Quad(at(0, 1, 0), at(1, 1, 0), at(1, 0, 0), at(0, 0, 0))
				}
				if !in(i, j, k+1) {
					b.Quad(at(0, 0, 1), at(1, 0, 1), at(1, 1, 1), at(0, 1, 1))
				}
				if !in(i, j-1, k) {
					b.Quad(at(0, 0, 0), at(1, 0, 0), at(1, 0, 1), at(0, 0, 1))
				}
				if !in(i, j+1, k) {
					b.Quad(at(1, 1, 0), at(0, 1, 0), at(0, 1, 1), at(1, 1, 1))
				}
				if !in(i-1, j, k) {
					b.Quad(at(0, 1, 0), at(0, 0, 0), at(0, 0, 1), at(0, 1, 1))
				}
				if !in(i+1, j, k) {
					b.Quad(at(1, 0, 0), at(1, 1, 0), at(1, 1, 1), at(1, 0, 1))
				}
			}
		}
	}
	return b.Mesh()
}

// Steps returns n+1 values evenly spaced from a to b.
func Steps(a, b float64, n int) []float64 {
	out := make([]float64, n+1)
	for i := range out {
		out[i] = a + (b-a)*float64(i)/float64(n)
	}
	return out
}
