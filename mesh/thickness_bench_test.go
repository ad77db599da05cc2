package mesh_test

import (
	"context"
	"fmt"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// thickShapes are a smooth ball, a plate with bores whose large flat faces are
// cut into even triangles, and a gyroid, strongly curved with walls everywhere.
var thickShapes = []struct {
	name   string
	facets int
	make   func() *mesh.Mesh
}{
	{"ball", 10_000, func() *mesh.Mesh { return meshtest.Sphere(30, 100) }},
	{"ball", 100_000, func() *mesh.Mesh { return meshtest.Sphere(30, 316) }},
	{"ball", 1_000_000, func() *mesh.Mesh { return meshtest.Sphere(30, 1000) }},
	{"bracket", 15_000, func() *mesh.Mesh { return bracket(32, 1) }},
	{"bracket", 60_000, func() *mesh.Mesh { return bracket(32, 2) }},
	{"bracket", 1_000_000, func() *mesh.Mesh { return bracket(32, 4) }},
	{"gyroid", 10_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 1, 13) }},
	{"gyroid", 100_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 2, 15) }},
	{"gyroid", 1_000_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 3, 25) }},
}

func benchThick(b *testing.B, measure func(*mesh.Mesh) error) {
	for _, s := range thickShapes {
		b.Run(fmt.Sprintf("%s/%d", s.name, s.facets), func(b *testing.B) {
			m := single(s.make())
			m.BVH()
			b.ReportAllocs()
			for b.Loop() {
				if err := measure(m); err != nil {
					b.Fatal(err)
				}
			}
			perFacet(b, m)
		})
	}
}

func BenchmarkThickness(b *testing.B) {
	benchThick(b, func(m *mesh.Mesh) error {
		_, err := mesh.MeasureThickness(context.Background(), m, mesh.ThicknessParams{CapMM: 2, PatchMM: 1})
		return err
	})
}

func BenchmarkGap(b *testing.B) {
	benchThick(b, func(m *mesh.Mesh) error {
		_, err := mesh.MeasureGap(context.Background(), m, mesh.ThicknessParams{CapMM: 2, PatchMM: 1})
		return err
	})
}

func BenchmarkLargestBall(b *testing.B) {
	benchThick(b, func(m *mesh.Mesh) error {
		_, err := mesh.MeasureLargestBall(context.Background(), m)
		return err
	})
}
