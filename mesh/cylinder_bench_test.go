package mesh_test

import (
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// lumpyBall is a ball of 60 mm with dents and humps, of k by k facets: smooth,
// and nowhere a cylinder.
func lumpyBall(k int) *mesh.Mesh {
	return meshtest.Map(meshtest.Sphere(30, k), func(v mesh.Vec) mesh.Vec {
		return v.Scale(1 + 0.08*math.Sin(v[0]/4)*math.Sin(v[1]/5)*math.Cos(v[2]/6))
	})
}

// grown is a part as a search for the lightest shape leaves it: eight legs of 8 mm
// that run into one another smoothly, cut out of cubes of 68/k mm.
func grown(k int) *mesh.Mesh {
	return meshtest.Isosurface(meshtest.Legs, mesh.Vec{-34, -34, -34}, 68/float64(k), k)
}

// BenchmarkCylinders measures on a plate full of holes, on lattices of round
// struts with sharp and with rounded nodes, and on a gyroid and a lumpy ball,
// where there is nothing to be found but every facet is curved, and on rough rods
// that end nowhere. Topology and search tree, which every measurement shares, are
// built before.
func BenchmarkCylinders(b *testing.B) {
	for _, s := range []struct {
		shape string
		size  [3]int // for about 10 thousand, 100 thousand and a million facets
		make  func(k int) *mesh.Mesh
	}{
		{"grille", [3]int{12, 37, 118}, func(k int) *mesh.Mesh { return meshtest.Grille(k, k, 2, 0.6, 3, 16) }},
		{"lattice", [3]int{4, 8, 16}, func(k int) *mesh.Mesh { return meshtest.Lattice(k, 8, 2, 0.4, 0, 0, 12) }},
		{"lattice with fillets", [3]int{3, 5, 11}, func(k int) *mesh.Mesh { return meshtest.Lattice(k, 8, 2, 0.4, 0.4, 4, 12) }},
		{"gyroid", [3]int{5, 15, 46}, func(k int) *mesh.Mesh { return meshtest.Gyroid(10, 1, 2, k) }},
		{"grown legs", [3]int{31, 98, 310}, grown},
		{"lumpy ball", [3]int{100, 316, 1000}, lumpyBall},
	} {
		for i, name := range []string{"10k", "100k", "1M"} {
			b.Run(fmt.Sprintf("%s/%s", s.shape, name), func(b *testing.B) {
				m := s.make(s.size[i])
				m.Topology()
				m.BVH()
				b.ReportAllocs()
				found := 0
				busy := -processSeconds()
				for b.Loop() {
					got, err := mesh.MeasureCylinders(b.Context(), m)
					if err != nil {
						b.Fatal(err)
					}
					found = len(got.Holes) + len(got.Pins)
				}
				busy += processSeconds()
				b.ReportMetric(1e9*busy/float64(b.N)/float64(len(m.Facets)), "cpu-ns/facet")
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(m.Facets)), "ns/facet")
				b.ReportMetric(float64(found), "found")
			})
		}
	}
}
