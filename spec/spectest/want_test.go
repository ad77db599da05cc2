package spectest

import (
	"reflect"
	"testing"
)

func TestWants(t *testing.T) {
	text := "a = 1\nb = 2 # want wall \"thin\" `0\\.5` hole \"Ø 10\"\n\n# want spec \"x\"\n"
	wants, err := Wants([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	var got [][3]any
	for _, w := range wants {
		got = append(got, [3]any{w.Line, w.Check, w.Message.String()})
	}
	want := [][3]any{{2, "wall", "thin"}, {2, "wall", `0\.5`}, {2, "hole", "Ø 10"}, {4, "spec", "x"}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestWantsRefuses(t *testing.T) {
	for _, text := range []string{"# want ", "# want wall", `# want "x"`, `# want wall x`, `# want wall "x`, `# want wall "("`} {
		if wants, err := Wants([]byte(text)); err == nil {
			t.Errorf("%s gives %v", text, wants)
		}
	}
}

func TestDiff(t *testing.T) {
	wants, err := Wants([]byte("a # want wall \"thin\" \"thin\"\nb # want hole \"big\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if left := Diff(wants, []Got{{1, "wall", "too thin"}, {1, "wall", "thin too"}, {2, "hole", "big"}}); left != nil {
		t.Errorf("left over: %q", left)
	}
	left := Diff(wants, []Got{{1, "wall", "too thin"}, {1, "wall", "thin"}, {1, "wall", "thin"}, {2, "wall", "big"}, {2, "hole", "small"}})
	want := []string{
		"line 1: unexpected wall: thin", "line 2: unexpected wall: big", "line 2: unexpected hole: small", `line 2: no hole that matches "big"`,
	}
	if !reflect.DeepEqual(left, want) {
		t.Errorf("left over: %q", left)
	}
}
