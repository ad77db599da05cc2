package mesh_test

import (
	"context"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func slenderOf(t testing.TB, m *mesh.Mesh, f mesh.Frame, pitch float64) []mesh.Slender {
	t.Helper()
	s, err := mesh.MeasureSlenderness(context.Background(), m, f, pitch)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Struts of a lattice that overlap in their nodes are free from one node to the
// next and no further: none is as slender as the 3.46 mm between them over 0.8.
func TestStrutsThatOverlapHoldEachOther(t *testing.T) {
	base := meshtest.BoxAt(mesh.Vec{-0.5, -0.5, -1.5}, mesh.Vec{8.5, 8.5, 0.3})
	for _, s := range slenderOf(t, meshtest.Join(meshtest.Struts(2, 4, 0.4, 12), base), plusZ, 0.1) {
		if s.Ratio > 2*math.Sqrt(3)/0.8 {
			t.Errorf("%+v", s)
		}
	}
}

func TestSlenderness(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	// Grid of a block of 20 x 20 x 10 with things on it.
	on := func(xs, ys []float64, zs []float64, solid func(i, j, k int) bool) *mesh.Mesh {
		return meshtest.Blocks(xs, ys, zs, func(i, j, k int) bool { return k == 0 || solid(i, j, k) })
	}
	row := accuracy.Of("slenderness", "height", "walls, pins, tables, towers, hooks, in pitches", accuracy.OfBand, 1)
	// A stem of 4 mm by 20 on a ball of 20 mm.
	stem := []mesh.Vec{}
	for a := 0.0; a < math.Pi-math.Asin(0.2); a += math.Pi / 2000 {
		stem = append(stem, mesh.Vec{10 * math.Sin(a), 10 - 10*math.Cos(a)})
	}
	neck := 10 + 10*math.Sqrt(0.96)
	stem = append(stem, mesh.Vec{2, neck}, mesh.Vec{2, neck + 20}, mesh.Vec{0, neck + 20})
	type want struct {
		ratio, height, width float64
		kind                 string
		z                    float64
	}
	for _, c := range []struct {
		name  string
		m     *mesh.Mesh
		pitch float64
		want  []want
	}{
		// Row 48 of the check values (derived): 10 high over 0.5.
		{"48 wall on the platform", box(0, 0, 0, 0.5, 20, 10), 0.1, []want{{20, 10, 0.5, "wall", 0}}},
		{"wall on a block", on([]float64{0, 9.75, 10.25, 20}, []float64{0, 20}, []float64{0, 10, 20}, func(i, j, k int) bool { return i == 1 }), 0.1, []want{{20, 10, 0.5, "wall", 10}}},
		{"pin of 2 by 20", meshtest.Cylinder(0, 0, 1, 0, 20, 64), 0.1, []want{{10, 20, 2, "column", 0}}},
		{"two walls on a block", on([]float64{0, 1, 2, 18, 19, 20}, []float64{0, 20}, []float64{0, 10, 20, 25}, func(i, j, k int) bool { return i == 1 && k == 1 || i == 3 }), 0.1, []want{{15, 15, 1, "wall", 10}, {10, 10, 1, "wall", 10}}},
		{"wall between posts", on([]float64{0, 5, 15, 20}, []float64{0, 9.75, 10.25, 20}, []float64{0, 1, 21}, func(i, j, k int) bool { return i != 1 || j == 1 }), 0.1, nil},
		{"tube", meshtest.RingPrism(meshtest.Circle(0, 0, 10, 64), meshtest.Circle(0, 0, 9.5, 64), 0, 60), 0.1, []want{{3, 60, 20, "column", 0}}},
		// Legs of 2 x 2 by 30 are free until the top reaches over them.
		{"table", meshtest.Blocks([]float64{0, 2, 18, 20}, []float64{0, 2, 18, 20}, []float64{0, 30, 32}, func(i, j, k int) bool { return k == 1 || i != 1 && j != 1 }), 0.1,
			[]want{{15, 30, 2, "column", 0}, {15, 30, 2, "column", 0}, {15, 30, 2, "column", 0}, {15, 30, 2, "column", 0}}},
		// A thin spike on a slender tower: both show.
		{"spike on a tower", on([]float64{0, 4.75, 5.25, 10}, []float64{0, 4.75, 5.25, 10}, []float64{0, 100, 110}, func(i, j, k int) bool { return i == 1 && j == 1 }), 0.5,
			[]want{{20, 10, 0.5, "column", 100}, {11, 110, 10, "column", 0}}},
		{"cube", meshtest.Cube(20), 0.5, nil},
		{"cube with flaps", flapped(mesh.Vec{-3, -3, 10}), 0.5, nil},
		{"cone", meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 0}, {0, 10}}, 64), 0.1, nil},
		{"plate", box(0, 0, 0, 50, 50, 5), 0.1, nil},
		// A plug of the same height stands inside a ring, not connected.
		{"plug in a ring", meshtest.Join(meshtest.RingPrism(meshtest.Circle(0, 0, 10, 64), meshtest.Circle(0, 0, 8, 64), 0, 30), meshtest.Cylinder(0, 0, 1, 0, 30, 64)), 0.2,
			[]want{{15, 30, 2, "column", 0}}},
		// Bodies that overlap stand as one: two sheets as a wall as thick as both, a
		// sliver in a block and a rod that leaves it at the foot as the block.
		{"sheets in each other", meshtest.Join(box(0, 0, 0, 0.3, 20, 10), box(0.2, 1, 0, 0.5, 19, 10)), 0.1, []want{{20, 10, 0.5, "wall", 0}}},
		{"sliver in a block", meshtest.Join(meshtest.Cube(20), box(9, 9, 1, 9.1, 12, 19)), 0.5, nil},
		{"rod in a block", meshtest.Join(meshtest.Cube(20), meshtest.Cylinder(9, 8, 0.5, -0.2, 19, 16)), 0.5, nil},
		// Round undersides are no feet, however fine the pitch. The sides of the tube
		// are walls up to its roof, narrowest for their height at 13.8; the ball
		// stands from 45 degrees on, its stem on the ball. A point under sides of 60
		// degrees carries itself, and is one.
		{"tube that lies", meshtest.Turn(meshtest.Tube(25, 20, 0, 60, 180), mesh.Vec{1, 0, 0}, math.Pi/2), 0.02, []want{{5.4, 31.2, 5.78, "wall", 13.8}, {5.4, 31.2, 5.78, "wall", 13.8}}},
		{"stem on a ball", meshtest.Revolve(stem, 96), 0.02, []want{{5, 20, 4, "column", 19.8}, {2.607, 36.87, 14.14, "column", 2.93}}},
		{"cone on its tip", meshtest.Revolve([]mesh.Vec{{0, 0}, {0.5, 0}, {10.5, 17.32}, {0, 17.32}}, 64), 0.1, []want{{16.38, 17.32, 1.0577, "column", 0}}},
		// The hanging part joins the post at 30 and never stood on anything.
		{"hook", meshtest.Blocks([]float64{0, 4, 8, 12}, []float64{0, 4}, []float64{0, 20, 40, 44}, func(i, j, k int) bool { return i == 0 || k == 2 || i == 2 && k == 1 }), 0.2,
			[]want{{11, 44, 4, "column", 0}, {5, 20, 4, "column", 20}}},
	} {
		got := slenderOf(t, c.m, plusZ, c.pitch)
		if len(got) != len(c.want) {
			t.Errorf("%s: %d features, want %d: %+v", c.name, len(got), len(c.want), got)
			continue
		}
		for i, w := range c.want {
			g := got[i]
			row.Within(g.HeightMM, w.height, c.pitch)
			wantNear(t, c.name+": width", g.WidthMM, w.width, 0.003*w.width)
			wantNear(t, c.name+": height", g.HeightMM, w.height, c.pitch)
			wantNear(t, c.name+": ratio", g.Ratio, w.ratio, c.pitch/w.width+0.003*w.ratio)
			wantNear(t, c.name+": foot", g.Z, w.z, c.pitch)
			if g.Kind != w.kind {
				t.Errorf("%s: kind %s, want %s", c.name, g.Kind, w.kind)
			}
		}
	}
	row.Hold(t)
}
