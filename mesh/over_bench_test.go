package mesh_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// benchShapes are a ball, one large region and short columns, and a bed of
// cones, thousands of small regions, of about n facets.
func benchShapes(n int) map[string]*mesh.Mesh {
	around := int(math.Sqrt(float64(n)))
	return map[string]*mesh.Mesh{
		"ball":    meshtest.Sphere(50, around),
		"dimples": dimples(n),
	}
}

// dimples is a plate whose underside is a field of round dents, some 200 facets
// each, that stands on the ridges between them.
func dimples(n int) *mesh.Mesh {
	k := int(math.Sqrt(float64(n) / 4)) // cells along a side: two facets a cell, top and bottom
	const cell = 0.2
	return meshtest.Sheet(k, k, cell, func(x, y float64) (lo, hi float64) {
		return 0.4 * (2 + math.Sin(math.Pi*x)*math.Sin(math.Pi*y)), 3
	})
}

func benchOver(b *testing.B, work func(m *mesh.Mesh, f mesh.Frame) (int, error)) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		for _, name := range []string{"ball", "dimples"} {
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				m := benchShapes(n)[name]
				m.Topology()
				b.ReportAllocs()
				found := 0
				for i := 0; b.Loop(); i++ {
					// Another turn each time, so that no result is an old one.
					got, err := work(m, mesh.NewFrame(mesh.Vec{0, 0, 1}, 1e-3*float64(i), 0))
					if err != nil {
						b.Fatal(err)
					}
					found += got
				}
				if found == 0 {
					b.Fatal("nothing found")
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(m.Facets)), "ns/facet")
			})
		}
	}
}

func BenchmarkOverhang(b *testing.B) {
	benchOver(b, func(m *mesh.Mesh, f mesh.Frame) (int, error) {
		o, err := mesh.MeasureOverhang(context.Background(), m, f, mesh.OverhangParams{AngleRad: 45 * degree})
		return len(o.Regions), err
	})
}

func BenchmarkFloatingStarts(b *testing.B) {
	benchOver(b, func(m *mesh.Mesh, f mesh.Frame) (int, error) {
		f.Lift = 1
		s, err := mesh.MeasureFloatingStarts(context.Background(), m, f)
		return len(s), err
	})
}

// BenchmarkSections cuts layers of 0.04 mm: 2,500 of the ball, 75 of the plate.
func BenchmarkSections(b *testing.B) {
	benchOver(b, func(m *mesh.Mesh, f mesh.Frame) (int, error) {
		s, err := mesh.MeasureSections(context.Background(), m, f, 0.04)
		if err != nil {
			return 0, err
		}
		return len(s.Z), nil
	})
}

// BenchmarkSlenderness cuts every 0.2 mm.
func BenchmarkSlenderness(b *testing.B) {
	benchOver(b, func(m *mesh.Mesh, f mesh.Frame) (int, error) {
		s, err := mesh.MeasureSlenderness(context.Background(), m, f, 0.2)
		return len(s) + 1, err
	})
}

// BenchmarkSupport measures the columns of overhang found beforehand.
func BenchmarkSupport(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		for _, name := range []string{"ball", "dimples"} {
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				m := benchShapes(n)[name]
				o := overhangAt(b, m, plusZ, 45)
				b.ReportAllocs()
				sum := 0.0
				for i := 0; b.Loop(); i++ {
					s, err := mesh.MeasureSupport(context.Background(), m, mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, float64(i)), &o)
					if err != nil {
						b.Fatal(err)
					}
					sum += s.VolumeMM3
				}
				if sum <= 0 {
					b.Fatal("no volume")
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(m.Facets)), "ns/facet")
			})
		}
	}
}
