package mesh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// A closed form: what droops into the air is a ledge, or sags in the middle a bridge,
// as far as what carries it tells, and rises alone as far as it droops. What nothing
// carries is held by nothing, however little it droops.
func TestOverhangThatDroopsIsHeld(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 2))
	arm := func(droop float64) *mesh.Mesh {
		return meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {22, 20 - droop}, {22, 25}, {0, 25}}, nil, 0, 8)
	}
	sag := meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {15, 19.93}, {20, 20}, {20, 0}, {30, 0}, {30, 25}, {0, 25}}, nil, 0, 8)
	flat := meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 20}, {22, 20}, {22, 25}, {0, 25}}, nil, 0, 8)
	free := meshtest.Join(flat, meshtest.Extrude([]mesh.Vec{{40, 10}, {50, 9.97}, {50, 15}, {40, 15}}, nil, 0, 8))
	for name, c := range map[string]struct {
		m            *mesh.Mesh
		low          float64 // of the region
		kind, held   mesh.OverhangKind
		alone, reach float64
	}{
		"level arm":                {flat, 20, mesh.Ledge, "", 0, 12},
		"arm that droops a little": {arm(0.08), 19.92, mesh.Free, mesh.Ledge, 0.08, 12},
		"arm that droops":          {arm(0.5), 19.5, mesh.Free, mesh.Ledge, 0.5, 12},
		"bridge that sags":         {sag, 19.93, mesh.Free, mesh.Bridge, 0.07, 5},
		"block in the air":         {free, 9.97, mesh.Free, "", mesh.StartAloneMost, 10},
	} {
		for turn := range 4 {
			m, up := c.m, mesh.Vec{0, 1, 0}
			if turn%2 == 1 {
				m = meshtest.Shuffle(meshtest.Refine(m, 2), rnd)
			}
			if turn > 1 {
				axis, a := meshtest.RandomDir(rnd), 6*rnd.Float64()
				m = meshtest.Turn(m, axis, a)
				up = meshtest.Turn(mesh.New([]mesh.Vec{up}, nil), axis, a).Verts[0]
			}
			f := mesh.NewFrame(up, 0, 0)
			o, err := mesh.MeasureOverhang(t.Context(), m, f, mesh.OverhangParams{AngleRad: math.Pi / 4})
			if err != nil {
				t.Fatal(err)
			}
			of := fmt.Sprintf("%s, turned %d", name, turn)
			found := false
			for _, r := range o.Regions {
				if math.Abs(r.LowMM-c.low) > 1e-6 {
					continue
				}
				found = true
				if r.Kind != c.kind || r.Held != c.held {
					t.Errorf("%s: %s, held as %q, want %s, %q", of, r.Kind, r.Held, c.kind, c.held)
				}
				wantNear(t, of+": alone", r.AloneMM, c.alone, 1e-6)
				want := c.reach
				if c.held == "" && c.kind == mesh.Free {
					want = math.Hypot(10, 8) // from one corner of where it starts
				}
				wantNear(t, of+": reach", r.ReachMM, want, 2e-4*want+o.ReachErr)
				if c.held != "" {
					rise := c.low - f.Turn(r.HeldAt)[2] + meshLow(m, f)
					wantNear(t, of+": height of the farthest place", rise, 0, 1e-3*c.alone+1e-6)
				}
			}
			if !found {
				t.Errorf("%s: no region %g mm up", of, c.low)
			}
		}
	}
}

// meshLow is the least height along the frame.
func meshLow(m *mesh.Mesh, f mesh.Frame) float64 {
	low := math.Inf(1)
	for _, v := range m.Verts {
		low = min(low, f.Turn(v)[2])
	}
	return low
}
