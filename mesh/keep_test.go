package mesh

import (
	"context"
	"reflect"
	"testing"
)

// A step that is added to these types must be kept too.
func TestKeptTypesHoldAll(t *testing.T) {
	for _, c := range []struct {
		of     any
		fields int
	}{{node{}, 4}, {ThicknessField{}, 14}, {Sections{}, 9}} {
		if n := reflect.TypeOf(c.of).NumField(); n != c.fields {
			t.Errorf("%T has %d fields, and keep.go knows %d: see whether the new ones must be kept", c.of, n, c.fields)
		}
	}
}

func TestKeptThicknessIsTheSame(t *testing.T) {
	m := loadAsIs(t, "parts/feature_block.ply")
	for _, k := range []struct {
		measure func(context.Context, *Mesh, ThicknessParams) (*ThicknessField, error)
		back    func(*KeptThickness, context.Context, *Mesh) (*ThicknessField, error)
	}{{MeasureThickness, (*KeptThickness).Thickness}, {MeasureGap, (*KeptThickness).Gap}} {
		f, err := k.measure(t.Context(), m, ThicknessParams{CapMM: 4, PatchMM: 1})
		if err != nil {
			t.Fatal(err)
		}
		kept := f.Keep()
		g, err := k.back(&kept, t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		some := f.KeepAnswers(0.5, 3)
		for _, limit := range []float64{0.2, 0.5, 1, 3, 4} {
			want := f.Regions(limit)
			if got := g.Regions(limit); !reflect.DeepEqual(got, want) {
				t.Errorf("below %v mm: %d regions, want %d", limit, len(got), len(want))
			}
			if limit == 0.5 || limit == 3 {
				if got := some.Answers().Regions(limit); !reflect.DeepEqual(got, want) {
					t.Errorf("answers below %v mm: %d regions, want %d", limit, len(got), len(want))
				}
			}
		}
		if !reflect.DeepEqual(f.FacetMM, g.FacetMM) || f.Min != g.Min || f.MinAt != g.MinAt {
			t.Error("the map or the least value is another")
		}
		kept.NodeLo = kept.NodeLo[1:]
		if _, err := k.back(&kept, t.Context(), m); err == nil {
			t.Error("a field of another mesh was taken")
		}
		if !panics(func() { some.Answers().Regions(2) }) {
			t.Error("answered for a limit that was not asked")
		}
	}
}

func panics(f func()) (did bool) {
	defer func() { did = recover() != nil }()
	f()
	return false
}
