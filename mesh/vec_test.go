package mesh

import "testing"

func TestJoinBoxes(t *testing.T) {
	a, b := Box{Vec{0, 0, 0}, Vec{1, 2, 3}}, Box{Vec{-1, 1, 1}, Vec{0, 5, 2}}
	if got := a.Join(b); got != (Box{Vec{-1, 0, 0}, Vec{1, 5, 3}}) {
		t.Error(got)
	}
	if a.Join(EmptyBox()) != a || EmptyBox().Join(a) != a {
		t.Error("an empty box adds something")
	}
}
