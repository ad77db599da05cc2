package mesh_test

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// A part that is in its file twice, its facets in any order and begun at any
// corner, measures as once; a copy that is wound the other way bounds nothing
// and stays, with nothing between.
func TestBodyTwice(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	once := meshtest.Single(meshtest.Plate(mesh.Vec{}, mesh.Vec{30, 20, 6}, 32, [3]float64{10, 10, 3}))
	beside := meshtest.Single(meshtest.Move(meshtest.Sphere(4, 12), mesh.Vec{50, 0, 0}))
	load := func(m *mesh.Mesh) *mesh.Mesh {
		file := filepath.Join(t.TempDir(), "a.stl")
		if err := os.WriteFile(file, meshtest.BinarySTL(m, 1), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := mesh.Load(t.Context(), file, mesh.LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	want := massOf(t, load(meshtest.Join(once, beside)))
	for name, m := range map[string]*mesh.Mesh{
		"twice":        meshtest.Join(once, beside, once),
		"three times":  meshtest.Join(once, meshtest.Shuffle(once, rng), meshtest.Shuffle(once, rng), beside),
		"all of it":    meshtest.Shuffle(meshtest.Join(once, beside, once, beside), rng),
		"only in part": meshtest.Join(once, beside, mesh.New(once.Verts, once.Facets[:40])),
	} {
		got := load(m)
		i := integrityOf(t, got)
		dup := len(m.Facets) - len(once.Facets) - len(beside.Facets)
		if !i.Sound() || i.DuplicateFacets != dup || i.Shells != 2 || got.Source.Facets != len(m.Facets) || len(got.Source.Notes) != 1 {
			t.Errorf("%s: %+v, notes %q, want %d duplicates", name, i, got.Source.Notes, dup)
		}
		mass := massOf(t, got)
		if holes := cylindersOf(t, got).Holes; len(holes) != 1 || math.Abs(mass.VolumeMM3-want.VolumeMM3) > 1e-9*want.VolumeMM3 {
			t.Errorf("%s: holes %q, %g mm3, want %g", name, brief(holes), mass.VolumeMM3, want.VolumeMM3)
		}
	}
	sheet := load(meshtest.Join(once, meshtest.Flip(once)))
	if i := integrityOf(t, sheet); len(sheet.Facets) != 2*len(once.Facets) || i.DuplicateFacets != len(once.Facets) {
		t.Errorf("wound both ways: %+v", i)
	}
}
