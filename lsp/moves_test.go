package lsp

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// renamingEditor asks before it renames files.
func renamingEditor() *protocol.ClientCapabilities {
	yes := true
	c := actingEditor(true)
	c.Workspace.FileOperations = &protocol.FileOperationClientCapabilities{WillRename: &yes}
	return c
}

// movedTexts asks what a rename of files would change and returns the texts
// that it leaves, by their old paths below dir.
func movedTexts(t *testing.T, e *lsptest.Editor, dir string, files ...[2]string) map[string]string {
	t.Helper()
	params := &protocol.RenameFilesParams{}
	for _, f := range files {
		params.Files = append(params.Files, protocol.FileRename{
			OldURI: string(uriOf(filepath.Join(dir, f[0]))), NewURI: string(uriOf(filepath.Join(dir, f[1]))),
		})
	}
	var edit protocol.WorkspaceEdit
	if err := e.Call(protocol.MethodWorkspaceWillRenameFiles, params, &edit); err != nil {
		t.Fatal(err)
	}
	out := make(map[string]string)
	for _, c := range edit.DocumentChanges {
		change := c.(*protocol.TextDocumentEdit)
		path := change.TextDocument.URI.FsPath()
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		text := string(b)
		if v := change.TextDocument.Version; e.Opened(path) != (v != nil) {
			t.Errorf("%s: version %v", path, v)
		} else if v != nil {
			text = e.Content(path)
		}
		lines := newLineTable([]byte(text))
		for _, x := range slices.Backward(change.Edits) {
			x := x.(*protocol.TextEdit)
			text = text[:lines.offset(x.Range.Start, e.Unit)] + x.NewText + text[lines.offset(x.Range.End, e.Unit):]
		}
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = text
	}
	return out
}

// Specs go on naming the same files when an editor renames a mesh, a shop file,
// a spec or a folder.
func TestPathsFollowRenamedFiles(t *testing.T) {
	dir := t.TempDir()
	for _, sub := range []string{"a/sub", "b"} {
		if err := os.MkdirAll(filepath.Join(dir, filepath.FromSlash(sub)), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range map[string]string{
		"a/x.part.toml":     "shop = \"../shop.toml\"\n[mesh]\nfile = 'x.stl' # here\n",
		"a/sub/y.part.toml": "[mesh]\nfile = \"../x.stl\"\n",
		"b/z.part.toml":     "[mesh]\nfile = \"z.stl\"\n",
		"b/abs.part.toml":   "[mesh]\nfile = \"" + filepath.ToSlash(filepath.Join(dir, "a", "x.stl")) + "\"\n",
		"shop.toml":         "schema = 1\n",
	} {
		write(t, filepath.Join(dir, filepath.FromSlash(name)), text)
	}
	e := startReal(t, Options{})
	result := initializeWith(t, e, renamingEditor(), "{}", dir)
	if o := result.Capabilities.Workspace.FileOperations; o == nil || len(o.WillRename.Filters) != 3 {
		t.Fatalf("announced %+v", o)
	}
	open := filepath.Join(dir, "a", "x.part.toml")
	e.Open(open, "# typed\n[mesh]\nfile = 'x.stl'\nshop = 1\n")
	abs := func(name string) string {
		return "[mesh]\nfile = \"" + filepath.ToSlash(filepath.Join(dir, filepath.FromSlash(name))) + "\"\n"
	}
	for _, c := range []struct {
		files [][2]string
		want  map[string]string
	}{
		{[][2]string{{"a/x.stl", "a/it's µ.stl"}}, map[string]string{
			"a/x.part.toml":     "# typed\n[mesh]\nfile = \"it's µ.stl\"\nshop = 1\n",
			"a/sub/y.part.toml": "[mesh]\nfile = \"../it's µ.stl\"\n",
			"b/abs.part.toml":   abs("a/it's µ.stl"),
		}},
		{[][2]string{{"a", "c/d"}}, map[string]string{ // what moves together keeps its words
			"b/abs.part.toml": abs("c/d/x.stl"),
		}},
		{[][2]string{{"a/sub/y.part.toml", "y.part.toml"}}, map[string]string{
			"a/sub/y.part.toml": "[mesh]\nfile = \"a/x.stl\"\n",
		}},
		{[][2]string{{"b/z.part.toml", "a/z.part.toml"}, {"b/z.stl", "a/z.stl"}}, map[string]string{}},
		{[][2]string{{"nothing", "else"}, {"a/x", "a/y"}}, map[string]string{}},
	} {
		got := movedTexts(t, e, dir, c.files...)
		for name, want := range c.want {
			if got[name] != want {
				t.Errorf("%v: %s becomes\n%s\nwant\n%s", c.files, name, got[name], want)
			}
		}
		if len(got) != len(c.want) {
			t.Errorf("%v: edits are %q", c.files, got)
		}
	}
	e.Rewrite(open, "shop = \"../shop.toml\"\n")
	if got := movedTexts(t, e, dir, [2]string{"shop.toml", "site/site.shop.toml"}); got["a/x.part.toml"] != "shop = \"../site/site.shop.toml\"\n" || len(got) != 1 {
		t.Errorf("a shop file's rename leaves %q", got)
	}
}

// An editor that does not ask is not told to.
func TestRenamesAreAskedForWhereTheEditorCan(t *testing.T) {
	e := startFake(t, nil, Options{})
	if o := e.Initialize(nil).Capabilities.Workspace.FileOperations; o != nil {
		t.Errorf("announced %+v", o)
	}
}

// A new name that a text could not hold is refused; any other reads back as it
// was given.
func TestRenamedTextsReadBack(t *testing.T) {
	dir := sharedShop(t)
	e := startReal(t, Options{})
	e.Initialize(actingEditor(true))
	path := filepath.Join(dir, "b", "z.part.toml")
	text, _ := os.ReadFile(path)
	e.Open(path, string(text))
	for _, to := range []string{"a'b\"c\\", "µ 🔩", "a\u200bb", "x.y", "#", "a\x7fb", "tab\t", "\x1b"} {
		params := &protocol.RenameParams{NewName: to}
		askAt(t, e, &params.TextDocumentPositionParams, path, "\"mill\"")
		var edit protocol.WorkspaceEdit
		err := e.Call(protocol.MethodTextDocumentRename, params, &edit)
		if control := strings.ContainsAny(to, "\x7f\t\x1b"); control != (err != nil) {
			t.Errorf("%q: error %v", to, err)
		}
		if err != nil {
			continue
		}
		only := &protocol.WorkspaceEdit{}
		for _, c := range edit.DocumentChanges {
			if c.(*protocol.TextDocumentEdit).TextDocument.URI == uriOf(path) {
				only.DocumentChanges = append(only.DocumentChanges, c)
			}
		}
		left := acted(t, e, path, only, true)
		if got := parse(path, partFile, []byte(left)).part.Machine.V; got != to {
			t.Errorf("%q reads back as %q from %s", to, got, left)
		}
	}
}
