package mesh_test

import (
	"context"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func startsOf(t testing.TB, m *mesh.Mesh, f mesh.Frame) []mesh.FloatingStart {
	t.Helper()
	s, err := mesh.MeasureFloatingStarts(context.Background(), m, f)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestFloatingStarts(t *testing.T) {
	cube := meshtest.Cube(20)
	cone := meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 30}, {0, 30}}, 48)
	ball := meshtest.Sphere(10, 48)
	type want struct {
		kind   string
		area   float64
		height float64
	}
	found := accuracy.Of("floating start", "how many, and their kinds", "cubes, cones, hooks, cups, bodies on others", accuracy.Wrong, 0)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		f    mesh.Frame
		want []want
	}{
		{"cube on the platform", cube, plusZ, nil},
		{"cube raised", cube, upward(0, 0, 1, 5), []want{{"face", 400, 5}}},
		{"refined cube raised", meshtest.Refine(cube, 3), upward(0, 0, 1, 5), []want{{"face", 400, 5}}},
		{"cube raised on an edge", cube, upward(1, 1, 0, 5), []want{{"edge", 0, 5}}},
		{"cube raised on a corner", cube, upward(1, 1, 1, 5), []want{{"point", 0, 5}}},
		{"cone on its tip", cone, plusZ, nil},
		{"cone on its tip, raised", cone, upward(0, 0, 1, 2), []want{{"point", 0, 2}}},
		{"cone on its base", cone, upward(0, 0, -1, 0), nil},
		{"torus raised", meshtest.Torus(20, 5, 48, 24), upward(0, 0, 1, 3), []want{{"edge", 0, 3}}},
		{"torus upright", meshtest.Torus(20, 5, 48, 24), upward(1, 0, 0, 0), nil},
		{"ledge", ledge(10, 20), upward(0, 1, 0, 0), nil},
		{"bridge", bridge(10, 20, 20, 5, 20), upward(0, 1, 0, 0), nil},
		// The hook's tip hangs below the arm that holds it.
		{"hook", meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 30}, {20, 30}, {20, 10}, {25, 10}, {25, 40}, {0, 40}}, nil, 0, 20), upward(0, 1, 0, 0), []want{{"face", 100, 10}}},
		{"cup", meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {8, 20}, {8, 5}, {0, 5}}, 48), plusZ, nil},
		{"hollow ball", meshtest.Join(ball, meshtest.Flip(meshtest.Sphere(8, 48))), plusZ, nil},
		{"ball loose in a hollow cube", meshtest.Join(meshtest.BoxAt(mesh.Vec{-20, -20, -20}, mesh.Vec{20, 20, 20}), meshtest.Flip(meshtest.BoxAt(mesh.Vec{-15, -15, -15}, mesh.Vec{15, 15, 15})), ball), plusZ, []want{{"point", 0, 10}}},
		{"block in the air beside a tower", meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 50}), meshtest.BoxAt(mesh.Vec{20, 0, 30}, mesh.Vec{25, 10, 50})), plusZ, []want{{"face", 50, 30}}},
		{"block on another, no vertex shared", meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 50}), meshtest.BoxAt(mesh.Vec{2, 2, 50}, mesh.Vec{7, 7, 60})), plusZ, nil},
		{"block sunk in another", meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 50}), meshtest.BoxAt(mesh.Vec{2, 2, 40}, mesh.Vec{7, 7, 60})), plusZ, nil},
		{"block hardly above another", meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 50}), meshtest.BoxAt(mesh.Vec{2, 2, 50.1}, mesh.Vec{7, 7, 60})), plusZ, []want{{"face", 25, 50.1}}},
		{"two feet, one short", meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {20, 20}, {20, 5}, {30, 5}, {30, 30}, {0, 30}}, nil, 0, 10), upward(0, 1, 0, 0), []want{{"face", 100, 5}}},
	} {
		got := startsOf(t, c.m, c.f)
		found.Right(len(got) == len(c.want) && (len(got) == 0 || got[0].Kind == c.want[0].kind))
		if len(got) != len(c.want) {
			t.Errorf("%s: %d starts, want %d: %+v", c.name, len(got), len(c.want), got)
			continue
		}
		for i, w := range c.want {
			if got[i].Kind != w.kind {
				t.Errorf("%s: kind %s, want %s", c.name, got[i].Kind, w.kind)
			}
			wantNear(t, c.name+": area", got[i].AreaMM2, w.area, 1e-9)
			wantNear(t, c.name+": height", got[i].Height, w.height, 1e-9)
			wantNear(t, c.name+": alone", got[i].AloneMM, mesh.StartAloneMost, 0) // all hang by millimetres
			if len(got[i].Facets) == 0 {
				t.Errorf("%s: no facets", c.name)
			}
		}
	}
	// An arm droops by 0.03 mm: within a layer of more than that it is no island.
	arm := meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {20, 19.97}, {20, 25}, {0, 25}}, nil, 0, 8)
	for _, layer := range []float64{0.02, 0.029, 0.031, 0.05} {
		for _, m := range []*mesh.Mesh{arm, meshtest.Refine(arm, 3)} {
			f := upward(0, 1, 0, 0)
			f.Layer = layer
			got := startsOf(t, m, f)
			right := len(got) == 0
			if layer < 0.03 {
				right = len(got) == 1 && got[0].Kind == "edge" && max(got[0].AloneMM-0.03, 0.03-got[0].AloneMM) < 1e-9
			}
			if found.Right(right); !right {
				t.Errorf("arm that droops by 0.03 mm, layers of %g mm: %d starts: %+v", layer, len(got), got)
			}
		}
	}
	found.Hold(t)
}
