package mesh_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func measureVoids(t *testing.T, m *mesh.Mesh) *mesh.Voids {
	t.Helper()
	v, err := mesh.MeasureVoids(context.Background(), m, mesh.VoidParams{})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Sealed voids have the volume of their shell less that of what lies in it.
// Rows 15 and 50 of the table of check values: a ball R 10 with a void r 8.
func TestSealedVoids(t *testing.T) {
	vol := func(m *mesh.Mesh) float64 {
		var v float64
		for f := range m.Facets {
			a, b, c := m.Corners(int32(f))
			v += a.Dot(b.Cross(c)) / 6
		}
		return v
	}
	ball := func(r float64) *mesh.Mesh { return meshtest.Sphere(r, 96) }
	row := accuracy.Of("sealed void", "volume of the void", "hollow balls and boxes, shells drawn inside out", accuracy.Share, 1e-9)
	two := meshtest.Join(
		meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 20, 20}),
		meshtest.Flip(meshtest.BoxAt(mesh.Vec{2, 2, 2}, mesh.Vec{18, 18, 18})),
		meshtest.Flip(meshtest.BoxAt(mesh.Vec{22, 2, 2}, mesh.Vec{38, 18, 4})))
	for name, c := range map[string]struct {
		m       *mesh.Mesh
		volumes []float64
		balls   []float64
	}{
		"solid":                   {ball(10), nil, nil},
		"a facet and its back":    {meshtest.Join(ball(10), mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, [][3]int32{{0, 1, 2}, {2, 1, 0}})), nil, nil},
		"hollow ball":             {hollow(10, 8, 96), []float64{vol(ball(8))}, []float64{16}},
		"drawn inside out":        {meshtest.Join(ball(10), ball(8)), []float64{vol(ball(8))}, []float64{16}},
		"all drawn inside out":    {meshtest.Flip(hollow(10, 8, 96)), []float64{vol(ball(8))}, []float64{16}},
		"ball in a void":          {meshtest.Join(hollow(10, 8, 96), ball(5)), []float64{vol(ball(8)) - vol(ball(5))}, []float64{3}},
		"hollow ball in a void":   {meshtest.Join(hollow(10, 8, 96), hollow(5, 4, 96)), []float64{vol(ball(8)) - vol(ball(5)), vol(ball(4))}, []float64{3, 8}},
		"two voids":               {two, []float64{16 * 16 * 16, 16 * 16 * 2}, []float64{16, 2}},
		"bodies that overlap":     {meshtest.Join(meshtest.Cube(10), meshtest.BoxAt(mesh.Vec{1, 1, 8}, mesh.Vec{9, 9, 13})), nil, nil},
		"small body beside large": {meshtest.Join(ball(10), meshtest.Move(ball(2), mesh.Vec{30, 0, 0})), nil, nil},
	} {
		for turn, m := range map[string]*mesh.Mesh{"": c.m, "tilted ": tilted(c.m)} {
			v := measureVoids(t, m)
			if len(v.Voids) != len(c.volumes) {
				t.Errorf("%s%s: %d voids, want %d: %+v", turn, name, len(v.Voids), len(c.volumes), v.Voids)
				continue
			}
			for i, w := range v.Voids {
				row.Near(w.VolumeMM3, c.volumes[i])
				if !w.Sealed || math.Abs(w.VolumeMM3-c.volumes[i]) > 1e-9*c.volumes[i] {
					t.Errorf("%s%s: volume %v, want %v", turn, name, w.VolumeMM3, c.volumes[i])
				}
				// 96-sided balls lose up to 0.2 % of their radius.
				if w.BallMM > c.balls[i]+0.02 || w.BallMM < 0.975*c.balls[i] {
					t.Errorf("%s%s: ball %v, want %v", turn, name, w.BallMM, c.balls[i])
				}
			}
		}
	}
	row.Hold(t)
	// Row 15: within the 0.3 % that 96 facets round take from a ball.
	if v := measureVoids(t, hollow(10, 8, 96)).Voids[0].VolumeMM3; math.Abs(v-2144.66) > 0.003*2144.66 {
		t.Errorf("void of r 8: %v mm3, want 2144.66", v)
	}
}

// bottle stands on its bottom: a chamber 20 wide and 18 high, a round neck of
// the given diameter and length.
func bottle(neck, length float64, n int) *mesh.Mesh {
	return meshtest.Revolve([]mesh.Vec{
		{0, 0}, {12, 0}, {12, 20 + length}, {neck / 2, 20 + length}, {neck / 2, 20}, {10, 20}, {10, 2}, {0, 2},
	}, n)
}

// The escape diameter of a bottle is its neck's, measured across the flats of
// the polygon that stands for the circle. It has to be right within 5 % and
// never larger by more, whatever the width, the tilt and the facets.
func TestEscapeBottle(t *testing.T) {
	necks := accuracy.Of("vented void", "escape diameter", "bottles, necks 0.5 to 6 mm, beyond what each says itself", accuracy.OfBand, 1)
	above := accuracy.Of("vented void", "escape diameter above the truth", "bottles", accuracy.Share, 0.05)
	rooms := accuracy.Of("vented void", "volume of the chamber", "bottles", accuracy.Share, 0.03)
	lengths := accuracy.Of("vented void", "length of the way out", "bottles", accuracy.Share, 0.15)
	t.Log("  neck sides tilt  pitch  escape   error  way")
	for _, neck := range []float64{0.5, 1, 1.5, 2.5, 4, 6} {
		for _, sides := range []int{12, 48} {
			for _, tilt := range []bool{false, true} {
				m := bottle(neck, 10, sides)
				if tilt {
					m = tilted(m)
				}
				vs, err := mesh.MeasureVoids(context.Background(), m, mesh.VoidParams{MaxCells: 1 << 20})
				if err != nil {
					t.Fatal(err)
				}
				if len(vs.Voids) != 1 {
					t.Errorf("neck %v: %d voids: %+v", neck, len(vs.Voids), vs.Voids)
					continue
				}
				v, want := vs.Voids[0], neck*math.Cos(math.Pi/float64(sides))
				e := v.EscapeMM/want - 1
				t.Logf("%6.2f %4d %5v %6.3f %7.4f %+6.2f%% %6.2f", neck, sides, tilt, vs.PitchMM, v.EscapeMM, 100*e, v.WayMM)
				necks.Within(v.EscapeMM, want, v.ErrMM)
				above.Add(max(0, e))
				lengths.Near(v.WayMM, 10)
				if math.Abs(e) > 0.05 || math.Abs(v.EscapeMM-want) > v.ErrMM {
					t.Errorf("neck %v with %d sides, tilted %v: escape %v +-%v, want %v", neck, sides, tilt, v.EscapeMM, v.ErrMM, want)
				}
				if v.Sealed || v.Openings != 1 {
					t.Errorf("neck %v: sealed %v, %d openings", neck, v.Sealed, v.Openings)
				}
				if math.Abs(v.WayMM-10) > 0.25*neck {
					t.Errorf("neck %v: way out is %v long, want 10", neck, v.WayMM)
				}
				room := math.Pi / 4 * 400 * 18 * math.Sin(2*math.Pi/float64(sides)) / (2 * math.Pi / float64(sides))
				rooms.Near(max(v.VolumeMM3-math.Pi/4*neck*neck*10, min(v.VolumeMM3, room)), room) // the neck may count as chamber
				if math.Abs(v.VolumeMM3-room) > 0.03*room+math.Pi/4*neck*neck*10 {
					t.Errorf("neck %v: volume %v, want %v", neck, v.VolumeMM3, room)
				}
			}
		}
	}
	for _, row := range []*accuracy.Family{necks, above, rooms, lengths} {
		row.Hold(t)
	}
}

// The cells of a lattice, as wide as their ways out but for their middles, are no
// rooms, however many the grid makes one; at this pitch it makes them so.
func TestLatticeHasNoRooms(t *testing.T) {
	m := meshtest.Lattice(6, 4, 1.6, 0.5, 0, 0, 8)
	v, err := mesh.MeasureVoids(t.Context(), m, mesh.VoidParams{MaxCells: 72 * 72 * 72})
	if err != nil || len(v.Voids) > 0 {
		t.Errorf("%d rooms, want none (%v)", len(v.Voids), err)
	}
}

// cupped is a cup of 20 by 20 by 10 mm with walls of some width, its mouth up, with
// a slot of some width through its floor.
func cupped(wall, slot float64) *mesh.Mesh {
	xs := []float64{0, wall, 10 - slot/2, 10 + slot/2, 20 - wall, 20}
	if slot == 0 {
		xs = []float64{0, wall, 20 - wall, 20}
	}
	return meshtest.Blocks(xs, []float64{0, wall, 9, 11, 20 - wall, 20}, []float64{0, 2, 10}, func(i, j, k int) bool {
		switch {
		case i == 0 || i == len(xs)-2 || j == 0 || j == 4:
			return true
		case k == 0:
			return slot == 0 || i != 2 || j != 2
		}
		return false
	})
}

// A hollow that two bodies close is sealed, whether they touch or overlap, however
// they lie and through a file that rounds them; and vented where one of them has a way
// out, too narrow for the grid to see.
func TestVoidBetweenHalves(t *testing.T) {
	over := func(m *mesh.Mesh, h float64) *mesh.Mesh {
		return meshtest.Flip(meshtest.Map(m, func(p mesh.Vec) mesh.Vec { return mesh.Vec{p[0], p[1], h - p[2]} }))
	}
	right := accuracy.Of("sealed void", "hollow between two bodies", "cups that touch or overlap, lids, plugs", accuracy.Wrong, 0)
	room := accuracy.Of("sealed void", "volume of a hollow between two bodies", "cups that touch or overlap, lids, plugs", accuracy.Share, 0.06)
	half := meshtest.Revolve([]mesh.Vec{{9, 0}, {9, -8}, {12, -8}, {12, 0}}, 64)
	for _, c := range []struct {
		name   string
		m      *mesh.Mesh
		volume float64
		escape float64
	}{
		{"cups that touch", meshtest.Join(cupped(2, 0), over(cupped(2, 0), 20)), 16 * 16 * 16, 0},
		{"cups that overlap", meshtest.Join(cupped(2, 0), over(cupped(2, 0), 19)), 16 * 16 * 15, 0},
		{"cups of thin walls that touch", meshtest.Join(cupped(0.2, 0), over(cupped(0.2, 0), 20)), 19.6 * 19.6 * 16, 0},
		{"a cup in a wider one", meshtest.Join(cupped(2, 0), over(cupped(3, 0), 19)), 16*16*8 + 14*14*7, 0},
		{"a lid that lies on", meshtest.Join(cupped(2, 0), meshtest.BoxAt(mesh.Vec{0, 0, 10}, mesh.Vec{20, 20, 12})), 16 * 16 * 8, 0},
		{"a lid that runs in", meshtest.Join(cupped(2, 0), meshtest.BoxAt(mesh.Vec{-1, -1, 9}, mesh.Vec{21, 21, 12})), 16 * 16 * 7, 0},
		{"a plug in a mouth", meshtest.Join(cupped(2, 0), meshtest.BoxAt(mesh.Vec{1.5, 1.5, 7}, mesh.Vec{18.5, 18.5, 12})), 16 * 16 * 5, 0},
		{"a ring and two lids", meshtest.Join(half, meshtest.BoxAt(mesh.Vec{-12, -12, -9}, mesh.Vec{12, 12, -7.5}), meshtest.BoxAt(mesh.Vec{-12, -12, -1}, mesh.Vec{12, 12, 2})), 32 * math.Sin(2*math.Pi/64) * 81 * 6.5, 0},
		{"cups that touch, one with a slot", meshtest.Join(cupped(2, 0.05), over(cupped(2, 0), 20)), 16 * 16 * 16, 0.05},
		{"cups that overlap, one with a slot", meshtest.Join(cupped(2, 0), over(cupped(2, 0.05), 19)), 16 * 16 * 15, 0.05},
		{"cups a hair apart", meshtest.Join(cupped(2, 0), over(cupped(2, 0), 20.02)), 16 * 16 * 16, 0.02},
	} {
		file := filepath.Join(t.TempDir(), "halves.stl")
		if err := os.WriteFile(file, meshtest.BinarySTL(tilted(c.m), 1), 0o600); err != nil {
			t.Fatal(err)
		}
		read, err := mesh.Load(t.Context(), file, mesh.LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		for how, m := range map[string]*mesh.Mesh{"as drawn": c.m, "from a file": read} {
			v, err := mesh.MeasureVoids(t.Context(), m, mesh.VoidParams{MaxCells: 1 << 18})
			if err != nil {
				t.Fatal(err)
			}
			ok := len(v.Voids) == 1 && v.Voids[0].Sealed == (c.escape == 0) && math.Abs(v.Voids[0].EscapeMM-c.escape) <= 0.05*c.escape
			if right.Right(ok); !ok {
				t.Errorf("%s, %s: %+v", c.name, how, v.Voids)
				continue
			}
			room.Near(v.Voids[0].VolumeMM3, c.volume)
		}
	}
	right.Hold(t)
	room.Hold(t)
}
