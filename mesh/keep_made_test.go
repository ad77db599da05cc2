package mesh_test

import (
	"reflect"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

func TestKeptSectionsAreTheSame(t *testing.T) {
	m, err := meshtest.Recipe("box 0 0 0 5 5 10\nbox 1 1 10 4 4 12\nbox 0 0 12 5 5 20\n")
	if err != nil {
		t.Fatal(err)
	}
	frame := mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0)
	s, err := mesh.MeasureSections(t.Context(), m, frame, 0.25)
	if err != nil {
		t.Fatal(err)
	}
	want := s.Jumps(1, 1.01)
	if len(want) == 0 {
		t.Fatal("no jumps to compare")
	}
	k := s.Keep(1, 1.01)
	if got := k.Answers().Jumps(1, 1.01); !reflect.DeepEqual(got, want) {
		t.Errorf("answers %+v, want %+v", got, want)
	}
	if got := k.Sections(m, frame).Jumps(2, 1.02); !reflect.DeepEqual(got, s.Jumps(2, 1.02)) {
		t.Errorf("jumps %+v, want %+v", got, s.Jumps(2, 1.02))
	}
	defer func() {
		if recover() == nil {
			t.Error("answered for a ratio that was not asked")
		}
	}()
	k.Answers().Jumps(1, 1.3)
}
