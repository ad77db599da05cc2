package rules

import (
	"slices"
	"strings"
	"testing"
)

// On a mesh with a defect, mesh tells of it, and each check either judges or
// says why not: those that need a closed surface where it is none. What was mended
// on reading keeps none from judging, as of the part without the defect.
func TestChecksOnDirtyMeshes(t *testing.T) {
	const part = "extrude 0 20 : 0 0 10 0 10 10 20 10 20 15 0 15\n"
	solid := []string{}
	for _, c := range Checks() {
		if c == Powder || len(c.Processes) > 0 && !slices.Contains(c.Processes, LaserPBF) {
			continue // not asked here
		}
		if c.Solid {
			solid = append(solid, c.Name)
		}
	}
	for name, c := range map[string]struct {
		recipe    string
		tells     string // in a message of the check mesh
		unchecked []string
		why       string
	}{
		"facet missing":     {part + "drop 3\n", "measured as closed", nil, ""},
		"open":              {part + "drop 3\ndrop 2\ndrop 1\ndrop 0\n", "open edges", solid, "inside from outside"},
		"flipped facet":     {part + "turnfacet 3\n", "wound against", nil, ""},
		"overlapping body":  {part + "box 5 5 5 12 12 30\n", "run into each other", nil, ""},
		"body in a body":    {part + "box 2 11 5 5 14 10\n", "turned inside out", solid, "inside from outside"},
		"body twice":        {part + part, "repeat others", nil, ""},
		"one of two turned": {part + "box 60 0 0 70 10 10\nflip\n", "turned inside out", nil, ""},
		"inside out":        {part + "flip\n", "turned inside out", nil, ""},
	} {
		b := newBench(t, Options{})
		b.mesh("part.stl", c.recipe)
		r := b.full()
		told := slices.ContainsFunc(r.Findings, func(f Finding) bool {
			return f.Check == Mesh.Name && strings.Contains(f.Message, strings.TrimSuffix(c.tells, "s"))
		})
		if !told {
			t.Errorf("%s: mesh does not tell of it: %v", name, checksOf(r))
		}
		var unchecked []string
		for _, f := range r.Failures {
			unchecked = append(unchecked, f.What)
			if !strings.Contains(f.Why, c.why) || !strings.Contains(f.Why, "the mesh") {
				t.Errorf("%s: %s", name, f.Why)
			}
		}
		for _, w := range c.unchecked {
			if !slices.Contains(unchecked, w) {
				t.Errorf("%s: %s was judged", name, w)
			}
		}
		if len(unchecked) != len(c.unchecked) {
			t.Errorf("%s: not checked were %v, want %v", name, unchecked, c.unchecked)
		}
	}
}
