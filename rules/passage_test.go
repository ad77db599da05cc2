package rules

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"corbel/mesh/meshtest"

	"corbel/mesh"
)

// A report says below which width channels may be missed, where some limit asks for
// them and gaps are not told as far as that.
func TestUnseen(t *testing.T) {
	block := meshtest.Carved(mesh.Vec{}, mesh.Vec{40, 40, 40}, [2]mesh.Vec{{10, 10, -1}, {30, 30, 35}})
	ball := meshtest.Sphere(20, 24)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		more string
		says bool
	}{
		{"cup", block, "", true},
		{"cup, gaps told as far", block, "[limits]\ngap.width = \"2 mm\"\n", false},
		{"nothing to hide in", ball, "", false},
	} {
		text := strings.Replace(ledgeSpec, "up = \"+z\"\n", "up = \"+z\"\n"+c.more, 1)
		path := filepath.Join(t.TempDir(), "part.part.toml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(filepath.Dir(path), "part.stl"), meshtest.BinarySTL(c.m, 1), 0o600); err != nil {
			t.Fatal(err)
		}
		r := New(Options{Now: testDay, Checks: map[string]bool{"powder": true, "gap": true}}).Part(context.Background(), path, Full)
		if r.Err != nil || len(r.Failures) > 0 {
			t.Fatal(c.name, r.Err, r.Failures)
		}
		if got := strings.HasPrefix(r.Unseen, "Channels, slits and ways out narrower than 0."); got != c.says || !c.says && r.Unseen != "" {
			t.Errorf("%s: %q", c.name, r.Unseen)
		}
	}
}
