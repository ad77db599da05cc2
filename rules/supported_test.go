package rules

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Check and measure, orient and compare say the same of the way a spec stands
// its part: support, share on the part, parts in a job, time and cost. A table
// on one leg hangs over the platform and itself, a lying tube has a roof in its
// bore, and a demo part in an order of many is set by its shadow.
func TestOneNumberForOneThing(t *testing.T) {
	ctx := context.Background()
	lying := meshtest.Turn(meshtest.Tube(12, 9, 0, 30, 48), mesh.Vec{1, 0, 0}, math.Pi/2)
	for name, m := range map[string]*mesh.Mesh{"mushroom": mushroom(), "turned": meshtest.Turn(mushroom(), mesh.Vec{3, 1, -1}, 0.6), "tube": lying,
		"slab": meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 40, 5})} {
		b := orientBench(t, m, "")
		b.text[b.path("part.part.toml")] = strings.Replace(orientSpec, "machine =", "quantity = 40\nmachine =", 1)
		sameNumbers(t, name, b.Part(ctx, b.path("part.part.toml"), Full), orientOf(t, b).Now)
	}
	path := filepath.Join("..", "testdata", "demo", "parts", "clamp-ring.part.toml")
	c, err := New(Options{}).Compare(ctx, path)
	if err != nil || !c.Options[0].IsNow {
		t.Fatal(err)
	}
	sameNumbers(t, "compare", New(Options{}).Part(ctx, path, Full), &c.Options[0].Standing)
}

func sameNumbers(t *testing.T, name string, r *PartReport, s *Standing) {
	t.Helper()
	need, ok := r.SupportNeed()
	if r.Err != nil || !ok {
		t.Fatal(name, r.Err, r.Failures)
	}
	est := r.Estimate()
	for what, v := range map[string][2]float64{
		"overhang": {need.OverhangMM2, s.OverhangMM2}, "columns": {need.ColumnMM3, s.ColumnMM3}, "solid": {need.SolidMM3, s.SupportMM3},
		"solid of the estimate": {est.Support, s.SupportMM3}, "foot": {need.FootMM2, s.FootMM2}, "on the part": {need.OnPartMM2, s.OnPartMM2},
		"touch": {need.TouchMM2, s.TouchMM2}, "parts in a job": {float64(est.PerJob), float64(s.PerJob)},
		"hours": {est.Hours.Value, s.Hours.Value}, "cost": {est.Price.Value, s.Cost.Value}, "highest cost": {est.Price.High, s.Cost.High},
	} {
		if math.Abs(v[0]-v[1]) > 1e-9*max(1, math.Abs(v[0])) {
			t.Errorf("%s: %s is %g by check and %g otherwise", name, what, v[0], v[1])
		}
	}
	if len(est.Inputs) == 0 || !est.HasCost {
		t.Errorf("%s: no cost, or none of the figures behind it: %+v", name, est)
	}
}

// A closed form: a plate of 40 x 20 mm on a foot of 10 x 20 mm and 30 mm high, a
// shelf of 20 x 20 mm under half of its ledge. 30 x 20 mm hang free; 10 x 20 of
// that over the platform at 30 mm, 20 x 20 over the shelf at 20 mm: 14000 mm3,
// two thirds of the foot on the part. 15 % of it is solid (common practice).
func TestSupportNeedOnThePart(t *testing.T) {
	m := meshtest.Extrude([]mesh.Vec{{0, 0, 0}, {30, 0, 0}, {30, 10, 0}, {10, 10, 0}, {10, 30, 0}, {40, 30, 0}, {40, 35, 0}, {0, 35, 0}}, nil, 0, 20)
	m = meshtest.Turn(m, mesh.Vec{1, 0, 0}, math.Pi/2) // y becomes z
	b := orientBench(t, m, "")
	b.text[b.path("part.part.toml")] = orientSpec
	n, ok := b.Part(context.Background(), b.path("part.part.toml"), Full).SupportNeed()
	if !ok || math.Abs(n.ColumnMM3-14000) > 1e-3 || math.Abs(n.FootMM2-600) > 1e-4 || math.Abs(n.OnPartMM2-400) > 1e-4 ||
		math.Abs(n.OnPartShare()-2./3) > 1e-6 || math.Abs(n.TouchMM2-1000) > 1e-4 || math.Abs(n.SolidMM3-2100) > 1e-3 || n.Anchored {
		t.Errorf("%+v", n)
	}
}
