package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// TestUnevenFootRests: a foot that is uneven by less than the first layer lies on
// the platform, as it is built; one that is uneven by more hangs in part, however
// the part lies in its file.
func TestUnevenFootRests(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 6))
	const uneven = 0.03
	plate := meshtest.Map(meshtest.Refine(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 30, 10}), 4), func(p mesh.Vec) mesh.Vec {
		if p[2] == 0 && p != (mesh.Vec{}) {
			p[2] = uneven * rnd.Float64()
		}
		return p
	})
	up := mesh.Vec{1, 2, 3}.Unit()
	leaning := meshtest.Map(plate, mesh.NewFrame(up, 0.7, 0).Back)
	for _, c := range []struct {
		name  string
		layer float64
		lift  float64
		rests bool
	}{
		{"in a layer of 40 um", 0.04, 0, true},
		{"in a layer of 20 um", 0.02, 0, false},
		{"with no layer", 0, 0, false},
		{"lifted", 0.04, 2, false},
	} {
		for name, part := range map[string]struct {
			m  *mesh.Mesh
			up mesh.Vec
		}{"as it is": {plate, mesh.Vec{0, 0, 1}}, "leaning": {leaning, up}} {
			ctx := context.Background()
			f := mesh.NewFrame(part.up, 0, c.lift)
			f.Layer = c.layer
			over, err := mesh.MeasureOverhang(ctx, part.m, f, mesh.OverhangParams{AngleRad: math.Pi / 4})
			if err != nil {
				t.Fatal(err)
			}
			starts, err := mesh.MeasureFloatingStarts(ctx, part.m, f)
			if err != nil {
				t.Fatal(err)
			}
			stands, err := mesh.NewStands(ctx, part.m, mesh.StandParams{AngleRad: math.Pi / 4, LiftMM: c.lift, LayerMM: c.layer})
			if err != nil {
				t.Fatal(err)
			}
			all, err := stands.Measure(ctx, []mesh.Vec{part.up})
			if err != nil {
				t.Fatal(err)
			}
			if c.rests && (over.AreaMM2 != 0 || len(starts) != 0 || all[0].OverhangMM2 != 0 || all[0].SupportMM3 != 0) {
				t.Errorf("%s, %s: overhang of %g mm2, %d floating starts; of directions %+v", c.name, name, over.AreaMM2, len(starts), all[0])
			}
			if f.Lift == 0 {
				foot := mesh.FootOf(part.m, f)
				if c.rests && (math.Abs(foot.AreaMM2-1200) > 0.01*1200 || math.Abs(foot.WidthMM-30) > 0.01) {
					t.Errorf("%s, %s: a foot of %g mm2, %g mm wide", c.name, name, foot.AreaMM2, foot.WidthMM)
				}
				if !c.rests && foot.AreaMM2 > 1100 {
					t.Errorf("%s, %s: a foot of as much as %g mm2", c.name, name, foot.AreaMM2)
				}
			}
			if foot := 1200.0; c.rests && (math.Abs(over.RestMM2-foot) > 0.01*foot || math.Abs(all[0].ContactMM2-foot) > 0.01*foot) {
				t.Errorf("%s, %s: %g and %g mm2 rest, want %g", c.name, name, over.RestMM2, all[0].ContactMM2, foot)
			}
			if !c.rests && (over.AreaMM2 < 100 || c.layer == 0 && len(starts) == 0 || all[0].OverhangMM2 < 100) {
				t.Errorf("%s, %s: overhang of only %g mm2, %d floating starts; of directions %+v", c.name, name, over.AreaMM2, len(starts), all[0])
			}
		}
	}
}
