package mesh_test

import (
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

func TestFoot(t *testing.T) {
	table := meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{2, 2, 10}), meshtest.BoxAt(mesh.Vec{30, 0, 0}, mesh.Vec{32, 2, 10}),
		meshtest.BoxAt(mesh.Vec{0, 18, 0}, mesh.Vec{2, 20, 10}), meshtest.BoxAt(mesh.Vec{-10, -10, 10}, mesh.Vec{42, 30, 12}))
	prism := meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {5, 5 * math.Sqrt(3)}}, nil, 0, 4)
	for _, c := range []struct {
		name        string
		m           *mesh.Mesh
		f           mesh.Frame
		area, width float64
	}{
		{"plate", meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 3}), plusZ, 800, 20},
		{"plate, turned and lifted", meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 3}), mesh.NewFrame(mesh.Vec{0, 0, 1}, 0.7, 5), 800, 20},
		{"plate on its side", meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 3}), upward(1, 0, 0, 0), 60, 3},
		// The height of an equilateral triangle of side 10.
		{"triangle", prism, plusZ, 25 * math.Sqrt(3), 5 * math.Sqrt(3)},
		{"table", table, plusZ, 12, math.NaN()},
		{"ball", meshtest.Sphere(10, 48), plusZ, 0, 0},
		{"cube on an edge", meshtest.Cube(20), upward(1, 0, 1, 0), 0, 0},
		{"nothing", mesh.New(nil, nil), plusZ, 0, 0},
	} {
		got := mesh.FootOf(c.m, c.f)
		if c.name == "table" {
			// The outline is 0 0, 32 0, 32 2, 2 20, 0 20: from the long side to 0 0.
			n := mesh.Vec{18, 30}.Unit()
			c.width = mesh.Vec{32, 2}.Dot(n)
		}
		wantNear(t, c.name+": area", got.AreaMM2, c.area, 1e-9*c.area)
		wantNear(t, c.name+": width", got.WidthMM, c.width, 1e-9*c.width)
	}
}
