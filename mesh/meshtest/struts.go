package meshtest

import (
	"math"

	"corbel/mesh"
)

// Struts is a body-centred lattice of k by k by k cells: from the middle of each
// cell a strut runs to each of its corners, 8 k k k in all. Every strut is a
// closed prism of its own, of n sides and radius r, that runs half a radius past
// its nodes, so that struts overlap there, as software that does not unite them
// writes a lattice. Each is turned about its axis by another angle.
func Struts(k int, pitch, r float64, n int) *mesh.Mesh {
	var b Builder
	turn := 0.0
	for i := range k * k * k {
		mid := mesh.Vec{float64(i%k) + 0.5, float64(i/k%k) + 0.5, float64(i/k/k) + 0.5}.Scale(pitch)
		for corner := range 8 {
			var along mesh.Vec
			for d := range 3 {
				along[d] = float64(2*(corner>>d&1)-1) / math.Sqrt(3)
			}
			turn += math.Pi * (3 - math.Sqrt(5))
			from, to := mid.Sub(along.Scale(r/2)), mid.Add(along.Scale(pitch*math.Sqrt(3)/2+r/2))
			strut(&b, from, to, r, turn, n)
		}
	}
	return b.Mesh()
}

// strut adds a closed prism of n sides about the line between two points.
func strut(b *Builder, from, to mesh.Vec, r, turn float64, n int) {
	along := to.Sub(from).Unit()
	u := along.Cross(mesh.Vec{0, 0, 1}).Unit()
	v := along.Cross(u)
	ring := make([]mesh.Vec, n)
	for i := range ring {
		s, c := math.Sincos(turn + 2*math.Pi*float64(i)/float64(n))
		ring[i] = u.Scale(r * c).Add(v.Scale(r * s))
	}
	for i, p := range ring {
		q := ring[(i+1)%n]
		b.Quad(from.Add(p), from.Add(q), to.Add(q), to.Add(p))
		if i > 0 && i < n-1 {
			b.Tri(from.Add(ring[0]), from.Add(q), from.Add(p))
			b.Tri(to.Add(ring[0]), to.Add(p), to.Add(q))
		}
	}
}
