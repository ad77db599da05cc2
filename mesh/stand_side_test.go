package mesh_test

import (
	"context"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Closed forms of the surface that outlines sweep: a box 2 (a + b) h, a ball
// pi^2 R^2, an upright cylinder 2 pi R h, a lying one 4 R L + 2 pi R^2, a tube
// both walls.
func TestSidesOfKnownShapes(t *testing.T) {
	ctx := context.Background()
	x := mesh.Vec{1, 0, 0}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		up   mesh.Vec
		want float64
		tol  float64 // share: chords of round shapes
	}{
		{"box", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 10, 30}), mesh.Vec{0, 0, 1}, 1800, 1e-12},
		{"box on its side", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 10, 30}), x, 1600, 1e-12},
		{"cube on an edge", meshtest.Cube(10), mesh.Vec{1, 1, 0}, 4*100*math.Sqrt(0.5) + 200, 1e-12},
		{"ball", meshtest.Sphere(10, 128), mesh.Vec{1, 2, 3}, math.Pi * math.Pi * 100, 2e-3},
		{"upright", meshtest.Cylinder(0, 0, 5, 0, 40, 256), mesh.Vec{0, 0, -1}, 2 * math.Pi * 5 * 40, 1e-4},
		{"lying", meshtest.Cylinder(0, 0, 5, 0, 40, 256), x, 4*5*40 + 2*math.Pi*25, 1e-4},
		{"tube", meshtest.Tube(10, 8, 0, 30, 256), mesh.Vec{0, 0, 1}, 2 * math.Pi * 18 * 30, 1e-4},
	} {
		b, err := mesh.MeasureBox(ctx, c.m, mesh.NewFrame(c.up, 0.3, 2))
		if err != nil || math.Abs(b.SideMM2/c.want-1) > c.tol {
			t.Errorf("%s: %g, want %g (%v)", c.name, b.SideMM2, c.want, err)
		}
		s, err := mesh.NewStands(ctx, c.m, mesh.StandParams{AngleRad: math.Pi / 4})
		if err != nil {
			t.Fatal(err)
		}
		total := 0.0
		for f := range c.m.Facets {
			total += c.m.Area(int32(f))
		}
		for _, up := range append(mesh.SphereDirections(50), c.up.Unit()) {
			exact, err := mesh.MeasureBox(ctx, c.m, mesh.NewFrame(up, 0, 0))
			if got := s.SideMM2(up); err != nil || math.Abs(got-exact.SideMM2) > 1e-3*total {
				t.Errorf("%s along %v: %g by the quick sum, %g by facets (%v)", c.name, up, got, exact.SideMM2, err)
			}
		}
	}
}
