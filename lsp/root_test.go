package lsp

import (
	"os"
	"path/filepath"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/mesh/meshtest"
	"corbel/rules"
)

// A mesh outside the workspace is not read, until the folder that holds both is
// opened.
func TestFoldersBoundWhatIsRead(t *testing.T) {
	dir := t.TempDir()
	m, err := meshtest.Recipe("box 0 0 0 9 9 9")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "m.stl"), meshtest.BinarySTL(m, 1), 0o666); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "parts", "x.part.toml")
	if err := os.Mkdir(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	e := startReal(t, Options{Rules: rules.Options{RootOf: filepath.Dir}})
	e.Initialize(nil)
	e.Open(path, "schema = 1\npart = \"P\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\n[mesh]\nfile = \"../m.stl\"\nunits = \"mm\"\n")
	outside := func(ds []protocol.Diagnostic) bool { return has(ds, "lies outside the workspace") }
	e.WaitShown(path, "that the mesh is outside", outside)
	e.Notify(protocol.MethodWorkspaceDidChangeWorkspaceFolders, &protocol.DidChangeWorkspaceFoldersParams{
		Event: protocol.WorkspaceFoldersChangeEvent{Added: []protocol.WorkspaceFolder{{URI: uriOf(dir), Name: "all"}}, Removed: []protocol.WorkspaceFolder{}}})
	e.WaitShown(path, "that it no longer is", func(ds []protocol.Diagnostic) bool { return !outside(ds) })
}

// What a text may name is bounded by what bounds it for check, or by the folder
// of the workspace that holds that: never by a folder beside it.
func TestWidestBound(t *testing.T) {
	at := func(p string) string { return filepath.FromSlash(p) }
	for _, c := range []struct {
		bound   string
		folders []string
		want    string
	}{
		{"/w/parts", nil, "/w/parts"},
		{"/w/parts", []string{"/w"}, "/w"},
		{"/w/parts", []string{"/w/parts/a"}, "/w/parts"},
		{"/w/parts", []string{"/w/par", "/x"}, "/w/parts"},
		{"/w/parts", []string{"/w/parts", "/w", "/"}, "/"},
	} {
		var folders []string
		for _, f := range c.folders {
			folders = append(folders, at(f))
		}
		if got := widest(at(c.bound), folders); got != at(c.want) {
			t.Errorf("widest(%q, %q) is %q, want %q", c.bound, c.folders, got, c.want)
		}
	}
}
