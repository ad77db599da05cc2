package mesh_test

import (
	"context"
	"math/rand"
	"reflect"
	"sync"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Regions are kept for the last limits: what is asked again, in any order and
// from many goroutines, is what a fresh field gives, whatever a caller did to
// what it got.
func TestRegionsAreTheSameWhenAskedAgain(t *testing.T) {
	m := meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 0.3}), meshtest.BoxAt(mesh.Vec{20, 0, 0}, mesh.Vec{30, 10, 0.7}))
	field := func() *mesh.ThicknessField {
		f, err := mesh.MeasureThickness(context.Background(), m, mesh.ThicknessParams{CapMM: 2, PatchMM: 0.5})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	limits := []float64{0.1, 0.2, 0.4, 0.5, 0.6, 0.8, 1, 1.5}
	want := make([][]mesh.ThinRegion, len(limits))
	for i, l := range limits {
		want[i] = field().Regions(l)
	}
	if len(want[2]) != 1 || len(want[5]) != 2 {
		t.Fatalf("%d regions below %v mm and %d below %v mm, want 1 and 2", len(want[2]), limits[2], len(want[5]), limits[5])
	}
	asked := field()
	var all sync.WaitGroup
	for seed := range int64(4) {
		all.Go(func() {
			r := rand.New(rand.NewSource(seed))
			for range 60 {
				i := r.Intn(len(limits))
				got := asked.Regions(limits[i])
				if !reflect.DeepEqual(got, want[i]) && (len(got) > 0 || len(want[i]) > 0) {
					t.Errorf("regions below %v mm differ", limits[i])
				}
				for k := range got {
					got[k] = mesh.ThinRegion{}
				}
			}
		})
	}
	all.Wait()
}

// The mean thickness of a fin that tapers, of one with a chamfered tip, and of
// a plate: sections by hand. Cells of half a millimetre step through a chamfer.
func TestMeanOfAThinRegion(t *testing.T) {
	fin := func(ring ...mesh.Vec) *mesh.Mesh {
		foot := []mesh.Vec{{-8, 0}, {-8, -5}, {8, -5}, {8, 0}}
		return meshtest.Extrude(append(foot, ring...), nil, 0, 12)
	}
	for _, c := range []struct {
		name      string
		m         *mesh.Mesh
		least     float64
		mean, off float64
	}{
		{"plate", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 20, 0.5}), 0.5, 0.5, 1e-6},
		{"tapered", fin(mesh.Vec{0.4, 0}, mesh.Vec{0.1, 10}, mesh.Vec{-0.1, 10}, mesh.Vec{-0.4, 0}), 0.2, 0.5, 0.02},
		{"chamfered", fin(mesh.Vec{0.4, 0}, mesh.Vec{0.4, 7.25}, mesh.Vec{-0.35, 8}, mesh.Vec{-0.4, 8}, mesh.Vec{-0.4, 0}), 0.05, (0.8*7.25 + 0.425*0.75) / 8, 0.02},
	} {
		for _, m := range []*mesh.Mesh{c.m, meshtest.Turn(meshtest.Refine(c.m, 2), mesh.Vec{1, 2, 3}.Unit(), 1)} {
			f, err := mesh.MeasureThickness(context.Background(), m, mesh.ThicknessParams{CapMM: 2, PatchMM: 0.5})
			if err != nil {
				t.Fatal(err)
			}
			rs := f.Regions(1)
			if len(rs) != 1 {
				t.Errorf("%s: %d regions", c.name, len(rs))
				continue
			}
			t.Logf("%s: %.4f mm, mean %.4f", c.name, rs[0].MinMM, rs[0].MeanMM)
			wantNear(t, c.name+": mean", rs[0].MeanMM, c.mean, c.off)
		}
	}
}
