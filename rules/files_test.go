package rules

import (
	"os"
	"path/filepath"
	"testing"
)

// A name that leads nowhere means the mesh of nearly its name, in whatever format, or the
// only one beside it, but that of another spec.
func TestOtherMesh(t *testing.T) {
	for _, c := range []struct {
		beside     []string
		name, want string
	}{
		{[]string{"clevis.stl", "hub.stl"}, "clevs.stl", "clevis.stl"},
		{[]string{"clevis.3mf", "hub.stl"}, "clevis.stl", "clevis.3mf"},
		{[]string{"clevis.stl", "hub.stl"}, "nothing.stl", ""},
		{[]string{"export_17.stl", "notes.txt"}, "clevis.stl", "export_17.stl"},
		{[]string{"hub.stl", "hub.part.toml"}, "clevis.stl", ""},
		{[]string{"hub.stl", "a.part.toml"}, "clevis.stl", "hub.stl"},
		{[]string{"meshes/hub.stl", "other.stl"}, "meshes/huub.stl", "meshes/hub.stl"},
		{[]string{"meshes/hub.stl"}, "hub.stl", ""},
		{[]string{"hub.stl/", "hub.txt"}, "hubs.stl", ""},
		{nil, "gone/hub.stl", ""},
		{nil, "../outside.stl", ""},
	} {
		dir := filepath.Join(t.TempDir(), "work")
		for _, name := range append(c.beside, "../outsider.stl") {
			path := filepath.Join(dir, name)
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				t.Fatal(err)
			}
			if name[len(name)-1] == '/' {
				path = filepath.Join(path, "in it")
				os.Mkdir(filepath.Dir(path), 0o777)
			}
			if err := os.WriteFile(path, nil, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		if got := New(Options{Root: dir}).otherMesh(filepath.Join(dir, "a.part.toml"), c.name); got != c.want {
			t.Errorf("%q beside %q: %q, want %q", c.name, c.beside, got, c.want)
		}
	}
}
