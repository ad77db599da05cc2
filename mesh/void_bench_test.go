package mesh_test

import (
	"fmt"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// BenchmarkVoids measures what a grid need not be made for (a ball), what has no
// room on it (a plate full of holes), what has one (a bottle) and what has very
// many that come to little (a gyroid). Topology and search tree, which every
// measurement shares, are built before.
func BenchmarkVoids(b *testing.B) {
	for _, s := range []struct {
		shape string
		size  [3]int // for about 10 thousand, 100 thousand and a million facets
		make  func(k int) *mesh.Mesh
	}{
		{"lumpy ball", [3]int{100, 316, 1000}, lumpyBall},
		{"grille", [3]int{12, 37, 118}, func(k int) *mesh.Mesh { return meshtest.Grille(k, k, 2, 0.6, 3, 16) }},
		{"bottle", [3]int{4, 6, 7}, func(k int) *mesh.Mesh { return meshtest.Refine(bottle(4, 10, 12), k-1) }},
		{"gyroid", [3]int{5, 15, 46}, func(k int) *mesh.Mesh { return meshtest.Gyroid(10, 1, 2, k) }},
	} {
		for i, name := range []string{"10k", "100k", "1M"} {
			b.Run(fmt.Sprintf("%s/%s", s.shape, name), func(b *testing.B) {
				m := s.make(s.size[i])
				if err := m.Prepare(b.Context()); err != nil {
					b.Fatal(err)
				}
				m.BVH()
				b.ReportAllocs()
				found := 0
				for b.Loop() {
					got, err := mesh.MeasureVoids(b.Context(), m, mesh.VoidParams{})
					if err != nil {
						b.Fatal(err)
					}
					found = len(got.Voids)
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(m.Facets)), "ns/facet")
				b.ReportMetric(float64(found), "found")
				b.ReportMetric(float64(len(m.Facets)), "facets")
			})
		}
	}
}
