package mesh_test

import (
	"fmt"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// A ball is the worst of shapes: all its corners matter and no direction says
// anything of the next. 0.5 % too large it is searched to the bound of the work.
func BenchmarkFitTilted(b *testing.B) {
	for _, facets := range []int{10_000, 100_000, 1_000_000} {
		n := 4
		for n*n < facets {
			n += 2
		}
		ball := meshtest.Sphere(50, n)
		for _, c := range []struct {
			name string
			of   *mesh.Mesh
			room mesh.Room
		}{{"ball that fits", ball, block(101, 101, 101)}, {"ball 5 % too large", ball, block(95, 200, 200)}, {"ball 0.5 % too large", ball, block(99.5, 99.5, 99.5)}} {
			b.Run(fmt.Sprintf("%s/%d", c.name, len(c.of.Facets)), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if _, err := mesh.FitTilted(b.Context(), c.of, c.room); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
