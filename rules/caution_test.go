package rules

import (
	"slices"
	"testing"

	"corbel/spec"
)

// A part without a use is for general use, as the manual says; any other use,
// one that is not known included, is treated as one that can hurt someone.
func TestCriticalUseCaution(t *testing.T) {
	for use, want := range map[string]bool{"": false, "use = \"general\"\n": false, "use = \"flight\"\n": true, "use = \"pressure\"\n": true, "use = \"medical\"\n": true, "use = \"diving\"\n": true} {
		part, _ := spec.ParsePart("x.part.toml", []byte("schema = 1\npart = \"x\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\n"+use))
		r := newReport("x.part.toml")
		r.Spec = part
		if got := slices.ContainsFunc(cautionsOf(r), func(c Caution) bool { return c.Name == cautionCriticalUse.Name }); got != want {
			t.Errorf("%q: caution %v, want %v", use, got, want)
		}
	}
}
