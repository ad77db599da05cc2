package mesh_test

import (
	"context"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// hollow is a ball with a smaller ball of empty space in it.
func hollow(r, void float64, n int) *mesh.Mesh {
	return meshtest.Join(meshtest.Sphere(r, n), meshtest.Flip(meshtest.Sphere(void, n)))
}

// tilted turns a mesh so that nothing lies along an axis any more.
func tilted(m *mesh.Mesh) *mesh.Mesh {
	return meshtest.Move(meshtest.Turn(m, mesh.Vec{1, 2, 3}, 0.7), mesh.Vec{31, -17, 5})
}

func lBracket() *mesh.Mesh {
	return meshtest.Extrude([]mesh.Vec{{0, 0}, {40, 0}, {40, 10}, {10, 10}, {10, 40}, {0, 40}}, nil, 0, 20)
}

// Closed forms; numbered ones are rows of the table of check values.
func TestLargestBall(t *testing.T) {
	root2 := math.Sqrt2
	row := accuracy.Of("largest ball", "diameter", "balls, bars, tubes, shells, bodies that overlap", accuracy.OfBand, 1)
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		want float64 // of the exact shape
		tol  float64 // what facets take from a round shape
	}{
		"42 ball R 10":          {meshtest.Sphere(10, 64), 20, 0.05},
		"43 hollow ball 10/8":   {hollow(10, 8, 64), 2, 0.024},
		"44 square bar 5x5":     {meshtest.BoxAt(mesh.Vec{}, mesh.Vec{5, 5, 60}), 5, 0},
		"39 plate 40x20x1.5":    {meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 20, 1.5}), 1.5, 0},
		"plate in small facets": {meshtest.Refine(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 20, 1.5}), 5), 1.5, 0},
		"cube":                  {meshtest.Cube(20), 20, 0},
		"40 rod 3x30":           {meshtest.Cylinder(0, 0, 1.5, 0, 30, 96), 3 * math.Cos(math.Pi/96), 0},
		"41 tube 10/8":          {meshtest.Tube(10, 8, 0, 30, 96), 2, 0.012},
		"torus 20/5":            {meshtest.Torus(20, 5, 64, 48), 10, 0.05},
		// The ball in the corner of the L touches both outer faces and the inner
		// edge: r + r*sqrt2... = distance of the edge, 10*sqrt2 = r(1+sqrt2).
		"17 L bracket":          {lBracket(), 2 * 10 * root2 / (1 + root2), 0},
		"plate with a boss":     {meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{100, 100, 1}), meshtest.Cylinder(150, 50, 4, 0, 8, 96)), 8 * math.Cos(math.Pi/96), 0},
		"void drawn inside out": {meshtest.Join(meshtest.Sphere(10, 64), meshtest.Sphere(8, 64)), 2, 0.024},
		"ball loose in a void":  {meshtest.Join(hollow(10, 8, 64), meshtest.Sphere(5, 64)), 10, 0.05},
		// A facet inside another body is no surface of both.
		"bodies that overlap": {meshtest.Join(meshtest.Cube(10), meshtest.BoxAt(mesh.Vec{1, 1, 8}, mesh.Vec{9, 9, 13})), 10, 0},
		// Touches three faces of the outer cube and a corner of the inner one.
		"small cube in a large one": {meshtest.Join(meshtest.Cube(20), meshtest.BoxAt(mesh.Vec{8, 8, 8}, mesh.Vec{12, 12, 12})), 16 * math.Sqrt(3) / (1 + math.Sqrt(3)), 0},
	} {
		for turn, m := range map[string]*mesh.Mesh{"": c.m, "tilted ": tilted(c.m)} {
			b, err := mesh.MeasureLargestBall(context.Background(), m)
			if err != nil {
				t.Fatal(err)
			}
			row.Add(max(b.DiameterMM-c.want-1e-9, (c.want-c.tol-b.DiameterMM-1e-9)/(b.ErrMM+1e-9), 0))
			t.Logf("%s%s: %.4f (err %.4f) want %.4f at %.3f", turn, name, b.DiameterMM, b.ErrMM, c.want, b.At)
			if b.DiameterMM > c.want+1e-9 || b.DiameterMM+b.ErrMM < c.want-c.tol {
				t.Errorf("%s%s: ball of %v (+%v), want %v (-%v)", turn, name, b.DiameterMM, b.ErrMM, c.want, c.tol)
			}
		}
	}
	row.Hold(t)
}
