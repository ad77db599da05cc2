package mesh_test

import (
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Facets of micrometres, which rounding turns, make a round surface's overhang
// smaller by no more than AreaErr says, wherever the part lies. The truth is
// that of the same facets before they were moved and rounded.
func TestOverhangOfTinyFacets(t *testing.T) {
	worst := 0.0
	for _, steps := range []int{60, 1000, 6000} {
		m := meshtest.Revolve(meshtest.Arc(0, 10, 10, -90, 90, steps), 5)
		want := 0.0
		for f := range m.Facets {
			if a := m.Area(int32(f)); a > 0 && -m.Normal(int32(f))[2] > math.Cos(45*degree)+1e-9 {
				want += a
			}
		}
		for _, off := range []float64{0, 50, 200} {
			moved := meshtest.Single(meshtest.Move(m, mesh.Vec{off, off, off}))
			o, err := mesh.MeasureOverhang(t.Context(), moved, plusZ, mesh.OverhangParams{AngleRad: 45 * degree, EnoughMM: 1})
			if err != nil {
				t.Fatal(err)
			}
			e := (want - o.AreaMM2 - o.RestMM2) / want
			worst = max(worst, math.Abs(e))
			slack := 1e-5 * want // rounded facets are themselves a little larger or smaller
			if short := want - o.AreaMM2 - o.RestMM2; short < -slack || short > o.AreaErr+slack || o.AreaErr > 0.03*want {
				t.Errorf("%d rows at %g mm: %.6g mm2 of overhang, short by up to %.3g, want %.6g", steps, off, o.AreaMM2, o.AreaErr, want)
			}
		}
	}
	t.Logf("worst: overhang area of facets of 5 um: %.2g of itself, inside Overhang.AreaErr", worst)
}
