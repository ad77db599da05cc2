package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// dirtyPart is a part with something for every measurement: a bore of 6, a fin
// of 0.5, a slot of 0.4, a ledge, a sealed void of 3 x 3 x 2.
func dirtyPart() *mesh.Mesh {
	outline := []mesh.Vec{{0, 0}, {40, 0}, {40, 12}, {44, 12}, {44, 15}, {20.4, 15}, {20.4, 4}, {20, 4}, {20, 15}, {5, 15}, {5, 25}, {4.5, 25}, {4.5, 15}, {0, 15}}
	body := meshtest.Extrude(outline, [][]mesh.Vec{meshtest.Circle(12, 7, 3, 32)}, 0, 10)
	return meshtest.Join(body, meshtest.Flip(meshtest.BoxAt(mesh.Vec{28, 4, 4}, mesh.Vec{31, 7, 6})))
}

var dirtyFrame = mesh.NewFrame(mesh.Vec{0, 1, 0}, 0, 0)

// dirtyValues are what the measurements say of a part, by name.
func dirtyValues(t *testing.T, m *mesh.Mesh) map[string]float64 {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute) // hours would be a hang
	defer stop()
	v := map[string]float64{}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	mass, err := mesh.MeasureMass(ctx, m)
	must(err)
	v["area"], v["volume"] = mass.AreaMM2, mass.VolumeMM3
	box, err := mesh.MeasureBox(ctx, m, dirtyFrame)
	must(err)
	v["height"] = box.Size[2]
	cs, err := mesh.MeasureCylinders(ctx, m)
	must(err)
	if len(cs.Holes) > 0 {
		v["hole"] = cs.Holes[0].DiameterMM
	}
	wall, err := mesh.MeasureThickness(ctx, m, mesh.ThicknessParams{CapMM: 2, PatchMM: 0.5})
	must(err)
	gap, err := mesh.MeasureGap(ctx, m, mesh.ThicknessParams{CapMM: 2, PatchMM: 0.5})
	must(err)
	v["wall"], v["gap"] = wall.Min, gap.Min
	o, err := mesh.MeasureOverhang(ctx, m, dirtyFrame, mesh.OverhangParams{AngleRad: 45 * degree})
	must(err)
	v["overhang"] = o.AreaMM2
	for _, r := range o.Regions {
		v["reach"] = max(v["reach"], r.ReachMM)
	}
	sup, err := mesh.MeasureSupport(ctx, m, dirtyFrame, &o)
	must(err)
	v["columns"] = sup.VolumeMM3
	starts, err := mesh.MeasureFloatingStarts(ctx, m, dirtyFrame)
	must(err)
	v["starts"] = float64(len(starts))
	cuts, err := mesh.MeasureSections(ctx, m, dirtyFrame, 0.5)
	must(err)
	if len(cuts.AreaMM2) > 2 {
		v["section"] = cuts.AreaMM2[2]
	}
	slender, err := mesh.MeasureSlenderness(ctx, m, dirtyFrame, 0.5)
	must(err)
	if len(slender) > 0 {
		v["slender"] = slender[0].Ratio
	}
	ball, err := mesh.MeasureLargestBall(ctx, m)
	must(err)
	v["ball"] = ball.DiameterMM
	voids, err := mesh.MeasureVoids(ctx, m, mesh.VoidParams{MaxCells: 1 << 15})
	must(err)
	for _, x := range voids.Voids {
		if x.Sealed {
			v["void"] += x.VolumeMM3
		}
	}
	edges, err := mesh.MeasureFeatherEdges(ctx, m, 30*degree)
	must(err)
	v["feather"] = float64(len(edges))
	incl, err := mesh.MeasureInclination(ctx, m, dirtyFrame, 90)
	must(err)
	v["incline"] = incl.DownMM2[0]
	return v
}

// dirtyRows are that part with one defect each. The facet in hand is on a plain
// side, away from what is measured; all else is as told without it.
func dirtyRows(clean *mesh.Mesh) map[string]dirtyRow {
	side := int(slices.IndexFunc(clean.Facets, func(f [3]int32) bool {
		return clean.Verts[f[0]][0] == 0 && clean.Verts[f[1]][0] == 0 && clean.Verts[f[2]][0] == 0
	}))
	with := func(verts []mesh.Vec, facets ...[3]int32) *mesh.Mesh {
		return mesh.New(append(slices.Clone(clean.Verts), verts...), append(slices.Clone(clean.Facets), facets...))
	}
	f, n := clean.Facets[side], int32(len(clean.Verts))
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	sums := []string{"area", "volume", "section", "ball", "void"} // need a closed surface
	return map[string]dirtyRow{
		"open":               {without(clean, side), sums, false},
		"flipped facet":      {flipped(clean, side), sums, false},
		"facet and its back": {with(nil, [3]int32{f[1], f[0], f[2]}), sums, false},
		"facet three times":  {with(nil, f, f), sums, false},
		"inner wall": {with([]mesh.Vec{{34, 0, 0}, {34, 15, 0}, {34, 15, 10}, {34, 0, 10}}, [3]int32{n, n + 1, n + 2}, [3]int32{n, n + 2, n + 3}),
			sums, false},
		// Sheets that hang on an edge make wedges, which are measured as such.
		"flap": {with([]mesh.Vec{{50, 3, 5}}, [3]int32{f[0], f[1], n}), append([]string{"wall", "gap", "columns"}, sums...), false},
		// Bodies count one by one where sums are asked, as one where walls are.
		"overlapping body": {both(clean, box(33, 3, -2, 38, 8, 12)), []string{"area", "volume", "overhang", "columns", "incline", "ball"}, true},
		"body in a body":   {both(clean, box(33, 3, 3, 38, 8, 7)), []string{"area", "volume", "overhang", "columns", "incline", "ball", "void"}, true},
		"bodies on one edge": {meshtest.Join(clean, box(40, -5, 0, 45, 0, 10)),
			[]string{"area", "volume", "height", "overhang", "reach", "columns", "section", "incline"}, true},
		// All edges have four facets, which pair up. A sealed void that bodies share
		// is in none of them alone.
		"body twice": {meshtest.Join(clean, clean), []string{"area", "volume", "overhang", "columns", "incline", "void"}, true},
		// Air reads as material: nothing holds but what has no sides.
		"inside out": {meshtest.Flip(clean), []string{"volume", "hole", "wall", "gap", "overhang", "reach", "columns", "starts", "section", "slender", "incline"}, true},
	}
}

type dirtyRow struct {
	m      *mesh.Mesh
	others []string // measurements that may say something else than of the clean part
	sound  bool     // every edge has two facets, wound alike, or pairs of such
}

// Of a part with one defect everything is measured that the defect leaves
// alone, to the same values; integrity tells of it; nothing hangs or panics.
func TestDirtyMatrix(t *testing.T) {
	clean := dirtyPart()
	want := dirtyValues(t, clean)
	for name, w := range map[string]float64{"hole": 6, "wall": 0.5, "gap": 0.4, "height": 25, "reach": 4, "void": 18, "slender": 20, "section": 400} {
		wantNear(t, name, want[name], w, 1e-9*w)
	}
	for name, row := range dirtyRows(clean) {
		i := integrityOf(t, row.m)
		if i.Sound() != row.sound || i.Sound() && i.SelfIntersections+i.InvertedShells+i.PartedEdges == 0 || !i.Sound() && i.InvertedShells > 0 {
			t.Errorf("%s: integrity says %s", name, counts(i))
		}
		got := dirtyValues(t, row.m)
		kept := 0
		for what, w := range want {
			if slices.Contains(row.others, what) {
				continue
			}
			kept++
			near := 1e-9 * (1 + w)
			if what == "ball" {
				near = 1e-3 * w // any that its band (Ball.ErrMM) allows, which is wider
			}
			if !(math.Abs(got[what]-w) <= near) {
				t.Errorf("%s: %s is %.9g, %.9g without the defect", name, what, got[what], w)
			}
		}
		t.Logf("%s: %d of %d measurements as without it", name, kept, len(want))
	}
}

// Triangles without any order, and committed meshes with all kinds of defects,
// are measured to the end.
func TestDirtyMeshesEnd(t *testing.T) {
	rows := map[string]*mesh.Mesh{"soup": meshtest.Soup(rand.New(rand.NewPCG(4, 4)), 60, 3), "band with half a turn": moebius(12)}
	for _, f := range []string{"cube_no_bottom.obj", "not_manifold.obj", "sphere_with_hole_ascii.stl", "triangle_soup.stl", "two_cubes_shared_edge.stl", "two_solids_ascii.stl"} {
		m, err := mesh.Load(t.Context(), filepath.Join("../testdata/meshes/dirty", f), mesh.LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		rows[f] = m
	}
	for name, m := range rows {
		for what, v := range dirtyValues(t, m) {
			if math.IsNaN(v) {
				t.Errorf("%s: %s is no number", name, what)
			}
		}
	}
}
