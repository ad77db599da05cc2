package meshtest

import "corbel/mesh"

// Sheet is a closed slab over nx by ny square cells of the given side between
// two height functions, the corner at the origin.
func Sheet(nx, ny int, cell float64, heights func(x, y float64) (lo, hi float64)) *mesh.Mesh {
	w := nx + 1
	half := int32(w * (ny + 1))
	verts := make([]mesh.Vec, 2*half)
	for j := range ny + 1 {
		for i := range w {
			x, y := float64(i)*cell, float64(j)*cell
			lo, hi := heights(x, y)
			verts[j*w+i] = mesh.Vec{x, y, lo}
			verts[int(half)+j*w+i] = mesh.Vec{x, y, hi}
		}
	}
	var facets [][3]int32
	quad := func(a, b, c, d int32) { facets = append(facets, [3]int32{a, b, c}, [3]int32{a, c, d}) }
	for j := range ny {
		for i := range nx {
			a := int32(j*w + i)
			b, c, d := a+1, a+1+int32(w), a+int32(w)
			quad(d, c, b, a)
			quad(a+half, b+half, c+half, d+half)
		}
	}
	wall := func(a, b int32) { quad(a, b, b+half, a+half) }
	for i := range int32(nx) {
		wall(i, i+1)
		top := int32(ny * w)
		wall(top+i+1, top+i)
	}
	for j := range int32(ny) {
		wall((j+1)*int32(w), j*int32(w))
		wall(j*int32(w)+int32(nx), (j+1)*int32(w)+int32(nx))
	}
	return mesh.New(verts, facets)
}
