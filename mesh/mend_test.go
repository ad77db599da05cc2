package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

func mendedOf(t *testing.T, m *mesh.Mesh) (*mesh.Mesh, mesh.Integrity) {
	t.Helper()
	w, err := mesh.Mend(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	return w, integrityOf(t, w)
}

// A part with defects that can be mended in one way alone measures as the part
// without them, and integrity still tells of the file.
func TestMendedMeasuresAsWhole(t *testing.T) {
	clean := dirtyPart()
	want := dirtyValues(t, clean)
	rows := dirtyRows(clean)
	side := slices.IndexFunc(clean.Facets, func(f [3]int32) bool {
		return clean.Verts[f[0]][0] == 0 && clean.Verts[f[1]][0] == 0 && clean.Verts[f[2]][0] == 0
	})
	// A vertex on the long edge of a facet that its neighbour has not: a crack
	// without width.
	f := clean.Facets[side]
	n := int32(len(clean.Verts))
	cracked := slices.Clone(clean.Facets)
	cracked[side] = [3]int32{f[0], n, f[2]}
	cracked = append(cracked, [3]int32{n, f[1], f[2]})
	crack := mesh.New(append(slices.Clone(clean.Verts), clean.Verts[f[0]].Add(clean.Verts[f[1]]).Scale(.5)), cracked)
	all := make([]int, len(clean.Facets))
	for i := range all {
		all[i] = i
	}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		told mesh.Integrity
	}{
		{"a facet missing", rows["open"].m, mesh.Integrity{OpenEdges: 3, ClosedEdges: 3}},
		{"a facet turned", rows["flipped facet"].m, mesh.Integrity{FlippedFacets: 1, TurnedFacets: 1}},
		{"a fin", rows["flap"].m, mesh.Integrity{Fins: 1}},
		{"a crack", crack, mesh.Integrity{OpenEdges: 3, ClosedEdges: 3}},
		{"inside out, its void too", rows["inside out"].m, mesh.Integrity{InvertedShells: 2, TurnedShells: 2}},
		{"inside out, a facet missing", without(meshtest.Flip(clean), side), mesh.Integrity{OpenEdges: 3, ClosedEdges: 3, InvertedShells: 2, TurnedShells: 2}},
		{"inside out, a facet turned", flipped(meshtest.Flip(clean), side), mesh.Integrity{FlippedFacets: 1, TurnedFacets: 1, InvertedShells: 2, TurnedShells: 2}},
	} {
		w, i := mendedOf(t, c.m)
		if !i.Solid() || i.OpenEdges != c.told.OpenEdges || i.ClosedEdges != c.told.ClosedEdges || i.FlippedFacets != c.told.FlippedFacets || i.TurnedFacets != c.told.TurnedFacets ||
			i.InvertedShells != c.told.InvertedShells || i.TurnedShells != c.told.TurnedShells || i.Fins != c.told.Fins || i.DegenerateFacets != 0 {
			t.Errorf("%s: %+v, want %+v", c.name, i, c.told)
		}
		if len(i.OpenAt) > 0 != (i.OpenEdges > 0) || len(i.FlippedAt) > 0 != (i.FlippedFacets > 0) || len(i.FinAt) != i.Fins || len(i.InvertedAt) != i.InvertedShells {
			t.Errorf("%s: places are missing: %+v", c.name, i)
		}
		for what, got := range dirtyValues(t, w) {
			near := 1e-9 * (1 + want[what])
			if what == "ball" {
				near = 1e-3 * want[what] // its band
			}
			if math.Abs(got-want[what]) > near {
				t.Errorf("%s: %s is %.9g, %.9g of the whole part", c.name, what, got, want[what])
			}
		}
	}
}

// Small holes of any outline are closed, and the volume is that without them but for
// what bulges out there.
func TestMendClosesSmallHoles(t *testing.T) {
	ball := meshtest.Sphere(10, 200)
	whole := mesh.New(ball.Verts, ball.Facets)
	m, err := mesh.MeasureMass(context.Background(), whole)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(3, 3))
	for range 20 {
		at, radius := ball.Verts[len(ball.Verts)/4+rng.IntN(len(ball.Verts)/2)], 0.02+0.08*rng.Float64()
		kept := slices.DeleteFunc(slices.Clone(ball.Facets), func(f [3]int32) bool {
			return ball.Verts[f[0]].Add(ball.Verts[f[1]]).Add(ball.Verts[f[2]]).Scale(1./3).Sub(at).Norm() < radius
		})
		w, i := mendedOf(t, mesh.New(ball.Verts, kept))
		if len(kept) == len(ball.Facets) {
			continue
		}
		if !i.Solid() || i.OpenEdges == 0 {
			t.Fatalf("hole of radius %.3f: %s", radius, counts(i))
		}
		got, err := mesh.MeasureMass(context.Background(), w)
		if err != nil {
			t.Fatal(err)
		}
		wantNear(t, "volume", got.VolumeMM3, m.VolumeMM3, 0.01*m.VolumeMM3*1e-3)
	}
}

// What could be meant in more ways than one stays as it is: wide holes, sheets, a
// band with half a turn, a body in another, walls that hang on edges.
func TestMendLeavesWhatIsNotPlain(t *testing.T) {
	clean := dirtyPart()
	rows := dirtyRows(clean)
	sheet := mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {1, 1, 0}}, [][3]int32{{0, 1, 2}, {1, 3, 2}})
	for name, m := range map[string]*mesh.Mesh{
		"whole": clean, "sheet": sheet, "triangle": without(sheet, 1), "band": moebius(12), "soup": meshtest.Soup(rand.New(rand.NewPCG(4, 4)), 60, 3),
		"wide hole":  mesh.New(clean.Verts, clean.Facets[:len(clean.Facets)-2]),
		"inner wall": rows["inner wall"].m, "body in a body": rows["body in a body"].m, "facet and its back": rows["facet and its back"].m,
		"bodies on one edge": rows["bodies on one edge"].m,
	} {
		w, i := mendedOf(t, m)
		if w != m {
			t.Errorf("%s: %v, %s", name, w.Source.Notes, counts(i))
		}
	}
}
