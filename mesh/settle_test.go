package mesh_test

import (
	"fmt"
	"reflect"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// What is asked of a field does not show in its answers, be it said before or not,
// nor in what is kept of it.
func TestAnswersWhateverWasAsked(t *testing.T) {
	wedge := meshtest.Extrude([]mesh.Vec{{0, 0}, {8, -1.5}, {8, 1.5}}, nil, 0, 10)
	for i, m := range []*mesh.Mesh{meshtest.Struts(1, 4, 0.4, 12), meshtest.Gyroid(10, 1, 1, 8), meshtest.BoxAt(mesh.Vec{}, mesh.Vec{9, 7, 0.7}), wedge} {
		field := func(askedMM float64) *mesh.ThicknessField {
			f, err := mesh.MeasureThickness(t.Context(), m, mesh.ThicknessParams{CapMM: 2, PatchMM: 0.5, AskedMM: askedMM})
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		at := []float64{0.3, 0.8, 1, 1.9}
		var want [][]mesh.ThinRegion
		all := field(2)
		found := 0
		for _, l := range at {
			want = append(want, all.Regions(l))
			found += len(want[len(want)-1])
		}
		if found == 0 {
			t.Errorf("shape %d: no regions", i)
		}
		for _, asked := range []float64{0, 0.9} {
			f := field(asked)
			before := f.Keep()
			for _, k := range []int{2, 0, 3, 1} {
				if got := f.Regions(at[k]); !reflect.DeepEqual(got, want[k]) && len(got)+len(want[k]) > 0 {
					t.Errorf("shape %d, asked up to %v: regions below %v mm differ, %d and %d", i, asked, at[k], len(got), len(want[k]))
				}
			}
			if f.Min != all.Min || f.MinAt != all.MinAt {
				t.Errorf("shape %d, asked up to %v: %v at %v, want %v at %v", i, asked, f.Min, f.MinAt, all.Min, all.MinAt)
			}
			if after := f.Keep(); fmt.Sprint(after) != fmt.Sprint(before) {
				t.Errorf("shape %d, asked up to %v: another is kept after questions", i, asked)
			}
		}
	}
}
