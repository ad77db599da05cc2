package mesh

import (
	"fmt"
	"math"
	"testing"
)

// slivers is a tilted rod of n long thin facets, whose boxes all overlap.
func slivers(n int) *Mesh {
	k := n / 4
	var vs []Vec
	var fs [][3]int32
	for i := range k {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(k))
		for _, z := range []float64{0, 100} {
			x, y := 10*c, 10*s
			vs = append(vs, Vec{(x + z) * math.Sqrt(.5), y, (z - x) * math.Sqrt(.5)})
		}
	}
	for i := range int32(k) {
		a, b, c, d := 2*i, 2*i+1, (2*i+2)%int32(2*k), (2*i+3)%int32(2*k)
		fs = append(fs, [3]int32{a, c, d}, [3]int32{a, d, b})
		if i > 0 && i < int32(k)-1 {
			fs = append(fs, [3]int32{0, c, a}, [3]int32{1, b, d})
		}
	}
	return New(vs, fs)
}

func BenchmarkIntegrity(b *testing.B) {
	for _, s := range []struct {
		name string
		make func(int) *Mesh
	}{{"wavy", wavy}, {"slivers", slivers}} {
		for _, n := range benchSizes {
			if s.name == "slivers" && n > 10_000 {
				continue // every box meets every other: the square of the number
			}
			b.Run(fmt.Sprintf("%s/%d", s.name, n), func(b *testing.B) {
				m := s.make(n)
				m.Topology()
				m.BVH()
				b.ReportAllocs()
				for b.Loop() {
					if r, err := MeasureIntegrity(b.Context(), m); err != nil || r.OpenEdges+r.SelfIntersections+r.FlippedFacets != 0 {
						b.Fatal(r, err)
					}
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Facets)), "ns/facet")
			})
		}
	}
}
