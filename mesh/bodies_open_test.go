package mesh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// A closed form: a post with an arm that runs into it, and a foot that touches the
// arm from below. Shells that are open change none of their measures, wherever they
// stand, and however the part is turned, mirrored and numbered.
func TestOpenShellsLeaveBodiesThatMeetAsTheyAre(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	sheet := func(o, u, v mesh.Vec) *mesh.Mesh {
		return mesh.New([]mesh.Vec{o, o.Add(u), o.Add(u).Add(v), o.Add(v)}, [][3]int32{{0, 1, 2}, {0, 2, 3}})
	}
	bodies := meshtest.Join(box(0, 0, 0, 10, 10, 30), box(5, 2, 25, 40, 8, 30), box(30, 2, 0, 36, 8, 25))
	const area, bridge, ledge, volume = 2660, 120, 24, 4800
	open := box(60, 0, 0, 70, 10, 10)
	open.Facets = slices.DeleteFunc(open.Facets, func(f [3]int32) bool { return open.Verts[f[0]][2]+open.Verts[f[1]][2]+open.Verts[f[2]][2] > 29 })
	rnd := rand.New(rand.NewPCG(11, 5))
	for name, c := range map[string]struct {
		m      *mesh.Mesh
		beside bool // what it holds counts for itself, nowhere near the bodies
	}{
		"no open shell":             {mesh.New(nil, nil), true},
		"sheet far off":             {sheet(mesh.Vec{60, 0, 0}, mesh.Vec{0, 0, 20}, mesh.Vec{0, 20, 0}), true},
		"box without a top":         {open, true},
		"sheet above, facing up":    {sheet(mesh.Vec{-10, -10, 60}, mesh.Vec{100, 0, 0}, mesh.Vec{0, 100, 0}), true},
		"sheet above, facing down":  {sheet(mesh.Vec{-10, -10, 60}, mesh.Vec{0, 100, 0}, mesh.Vec{100, 0, 0}), true},
		"sheet through the post":    {sheet(mesh.Vec{-10, -10, 12}, mesh.Vec{30, 0, 0}, mesh.Vec{0, 30, 0}), false},
		"sheet on the arm":          {sheet(mesh.Vec{12, 2, 30}, mesh.Vec{5, 0, 0}, mesh.Vec{0, 6, 0}), false},
		"sheet inside, facing down": {sheet(mesh.Vec{2, 2, 12}, mesh.Vec{0, 5, 0}, mesh.Vec{5, 0, 0}), false},
	} {
		for turn := range 4 {
			m, up := meshtest.Join(bodies, c.m), mesh.Vec{0, 0, 1}
			own := func(p mesh.Vec) bool { return p[0] > -1 && p[0] < 41 && p[2] < 31 } // in it, unturned
			back := func(p mesh.Vec) mesh.Vec { return p }
			if turn%2 == 1 {
				m = meshtest.Mirror(m)
				own = func(p mesh.Vec) bool { return p[0] < 1 && p[0] > -41 && p[2] < 31 }
				if p := meshtest.Mirror(mesh.New([]mesh.Vec{{1, 0, 0}}, nil)).Verts[0]; p[0] != -1 {
					t.Fatal("mirrored otherwise")
				}
			}
			if turn > 1 {
				axis, a := meshtest.RandomDir(rnd), 6*rnd.Float64()
				one := func(p mesh.Vec, a float64) mesh.Vec {
					return meshtest.Turn(mesh.New([]mesh.Vec{p}, nil), axis, a).Verts[0]
				}
				m, up = meshtest.Shuffle(meshtest.Turn(m, axis, a), rnd), one(up, a)
				back = func(p mesh.Vec) mesh.Vec { return one(p, -a) }
			}
			of := func(what string) string { return fmt.Sprintf("%s, turned %d: %s", name, turn, what) }
			f := mesh.NewFrame(up, 0, 0)

			mass, err := mesh.MeasureMass(t.Context(), m)
			if err != nil {
				t.Fatal(err)
			}
			alone, sheets := 0.0, 0.0 // of the open shells, from the middle of the box
			mid := m.Box().Min.Add(m.Box().Max).Scale(0.5)
			shell, closed := m.Topology().Shell, make([]bool, m.Topology().Shells)
			for i := range closed {
				closed[i] = true
			}
			for h, twin := range m.Topology().Twin {
				closed[shell[h/3]] = closed[shell[h/3]] && twin >= 0
			}
			for i := range m.Facets {
				if f := int32(i); !closed[shell[f]] {
					p, q, r := m.Corners(f)
					alone += p.Sub(mid).Dot(q.Sub(mid).Cross(r.Sub(mid))) / 6
					sheets += m.Area(f)
				}
			}
			wantNear(t, of("area"), mass.AreaMM2, area+sheets, 1e-3*area)
			wantNear(t, of("volume"), mass.VolumeMM3, volume+alone, 1e-3*volume)

			o, err := mesh.MeasureOverhang(t.Context(), m, f, mesh.OverhangParams{AngleRad: math.Pi / 4})
			if err != nil {
				t.Fatal(err)
			}
			u, err := mesh.MeasureSupport(t.Context(), m, f, &o)
			if err != nil {
				t.Fatal(err)
			}
			var areas []float64
			for i, r := range o.Regions {
				if p := back(r.At); !own(p) || math.Abs(p[2]-25) > 1e-6 {
					continue
				}
				areas = append(areas, r.AreaMM2)
				want := map[mesh.OverhangKind][2]float64{mesh.Bridge: {bridge, 10}, mesh.Ledge: {ledge, 4}}[r.Kind]
				wantNear(t, of(string(r.Kind)), r.AreaMM2, want[0], 1e-3*want[0])
				wantNear(t, of("reach"), r.ReachMM, want[1], 1e-3*want[1]+o.ReachErr)
				if c.beside {
					wantNear(t, of("column"), u.Columns[i].VolumeMM3, 25*want[0], 0.025*want[0])
				}
			}
			if len(areas) != 2 {
				t.Errorf("%s: regions of %v mm2, want a bridge and a ledge", name, areas)
			}
			starts, err := mesh.MeasureFloatingStarts(t.Context(), m, f)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range starts {
				if own(back(s.At)) && c.beside {
					t.Errorf("%s, turned %d: a start at %v", name, turn, back(s.At))
				}
			}
			if !c.beside {
				continue
			}
			walls, err := mesh.MeasureThickness(t.Context(), m, mesh.ThicknessParams{CapMM: 9, PatchMM: 1})
			if err != nil {
				t.Fatal(err)
			}
			least := math.Inf(1) // the arm is 5 mm high
			for i, x := range walls.FacetMM {
				if closed[shell[i]] {
					least = min(least, float64(x))
				}
			}
			if math.Abs(least-5) > 2*walls.Err {
				t.Errorf("%s, turned %d: walls of %g mm, want 5", name, turn, least)
			}
		}
	}
}

// A body that starts in the air does so under a sheet and beside one as well; what
// another one carries does not.
func TestOpenShellsCarryNoStart(t *testing.T) {
	post, arm := meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 20}), meshtest.BoxAt(mesh.Vec{10, 0, 5}, mesh.Vec{20, 10, 25})
	bar := meshtest.BoxAt(mesh.Vec{30, 0, 8}, mesh.Vec{40, 10, 12})
	top := func(z float64, up bool) *mesh.Mesh {
		s := mesh.New([]mesh.Vec{{-99, -99, z}, {99, -99, z}, {99, 99, z}, {-99, 99, z}}, [][3]int32{{0, 1, 2}, {0, 2, 3}})
		if !up {
			s = meshtest.Flip(s)
		}
		return s
	}
	for _, up := range []bool{true, false} {
		m := meshtest.Join(post, arm, bar, top(60, up))
		starts, err := mesh.MeasureFloatingStarts(t.Context(), m, plusZ)
		if err != nil {
			t.Fatal(err)
		}
		var heights []float64
		for _, s := range starts {
			if s.Height < 50 {
				heights = append(heights, s.Height)
			}
		}
		if !slices.Equal(heights, []float64{8}) {
			t.Errorf("sheet facing up %t: starts at %v mm, want 8", up, heights)
		}
	}
}

// A void in a body with a hole stays a void where other bodies meet.
func TestVoidInAnOpenShellStays(t *testing.T) {
	shell := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 20, 20})
	shell.Facets = shell.Facets[1:]
	void := meshtest.Flip(meshtest.BoxAt(mesh.Vec{5, 5, 5}, mesh.Vec{15, 15, 15}))
	meet := meshtest.Join(meshtest.BoxAt(mesh.Vec{40, 0, 0}, mesh.Vec{50, 10, 10}), meshtest.BoxAt(mesh.Vec{45, 2, 5}, mesh.Vec{60, 8, 10}))
	o := overhangAt(t, meshtest.Join(shell, void, meet), plusZ, 45)
	for _, r := range o.Regions {
		if math.Abs(r.LowMM-15) < 1e-9 {
			wantNear(t, "roof of the void", r.AreaMM2, 100, 1e-6)
			return
		}
	}
	t.Error("the void has no roof")
}
