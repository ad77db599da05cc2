package lsp

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// askAt fills in where a request is about: one byte into the first place of a
// piece of an open text.
func askAt(t *testing.T, e *lsptest.Editor, p *protocol.TextDocumentPositionParams, path, piece string) {
	t.Helper()
	at := strings.Index(e.Content(path), piece)
	if at < 0 {
		t.Fatalf("%s has no %q", path, piece)
	}
	p.TextDocument.URI = uriOf(path)
	p.Position = lsptest.Position(e.Content(path), at+1, e.Unit)
}

// lineAt names a location by file and line, with the text that it covers.
func lineAt(t *testing.T, l protocol.Location) string {
	t.Helper()
	path := l.URI.FsPath()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := newLineTable(text)
	covered := text[lines.offset(l.Range.Start, protocol.PositionEncodingKindUTF16):lines.offset(l.Range.End, protocol.PositionEncodingKindUTF16)]
	base := filepath.Base(path)
	if strings.HasPrefix(base, "builtin-") {
		return fmt.Sprintf("built-in %s", covered)
	}
	return fmt.Sprintf("%s:%d %s", base, l.Range.Start.Line+1, covered)
}

func linesAt(t *testing.T, ls []protocol.Location) []string {
	out := []string{}
	for _, l := range ls {
		out = append(out, lineAt(t, l))
	}
	return out
}

// declaredAt is where the demo's shop file declares a machine or a material, as
// lineAt has it.
func declaredAt(t *testing.T, shop, name string) string {
	t.Helper()
	for i, line := range strings.Split(shop, "\n") {
		if key, value, ok := strings.Cut(line, "="); ok && strings.TrimSpace(key) == "name" && strings.TrimSpace(value) == strconv.Quote(name) {
			return fmt.Sprintf("shop.toml:%d %q", i+1, name)
		}
	}
	t.Fatalf("the demo's shop file declares no %q", name)
	return ""
}

func TestDefinition(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := workspace(t)
	shop := filepath.Join(filepath.Dir(path), "shop.toml")
	text := plateText + "[limits]\nwall.thickness = \"0.7 mm\"\n"
	e.Open(path, text)
	shopText, err := os.ReadFile(shop)
	if err != nil {
		t.Fatal(err)
	}
	e.Open(shop, string(shopText))
	declared := func(name string) string { return declaredAt(t, string(shopText), name) }
	for _, c := range []struct {
		file, on string
		want     []string
	}{
		{path, "bay 2", []string{declared("bay 2")}},
		{path, "AlSi10Mg", []string{declared("AlSi10Mg"), `built-in "AlSi10Mg"`}},
		{path, "plate.obj", []string{"plate.obj:1 "}},
		{path, "thickness", []string{
			`shop.toml:14 thickness = { value = "0.6 mm"`,
			`shop.toml:9 thickness  = { value = "0.5 mm"`,
			`built-in thickness = { value = "0.5 mm"`,
		}},
		{path, "dowel", []string{}},
		{shop, `"bay 1"]`, []string{declared("bay 1")}},
		{shop, `AlSi10Mg]`, []string{declared("AlSi10Mg"), `built-in "AlSi10Mg"`}},
		{shop, `"IN718"]`, []string{declared("IN718"), `built-in "IN718"`}},
	} {
		params := &protocol.DefinitionParams{}
		askAt(t, e, &params.TextDocumentPositionParams, c.file, c.on)
		var got []protocol.Location
		if err := e.Call(protocol.MethodTextDocumentDefinition, params, &got); err != nil {
			t.Fatal(err)
		}
		lines := linesAt(t, got)
		if len(lines) != len(c.want) {
			t.Errorf("definition of %q is %q, want %q", c.on, lines, c.want)
			continue
		}
		for i := range lines {
			if !strings.HasPrefix(lines[i], c.want[i]) {
				t.Errorf("definition of %q is %q, want %q", c.on, lines[i], c.want[i])
			}
		}
	}
}

// sharedShop makes a workspace of two folders: two specs under one shop file
// and a third under another that has a machine of the same name.
func sharedShop(t *testing.T) (dir string) {
	dir = t.TempDir()
	const machine = "schema = 1\nshop = \"s\"\n[[machine]]\nname = \"mill\"\nprocess = \"PBF-LB/M\"\nmaterials = [\"Z1\"]\nbuild = { diameter = \"9 mm\", z = \"9 mm\" }\n"
	for name, text := range map[string]string{
		"a/shop.toml":        machine + "[limits.\"PBF-LB/M\".machine.mill]\n[[material]]\nname = 'Z1'\n",
		"a/x.part.toml":      "machine = \"mill\" # mill\nmaterial = \"Z1\"\n",
		"a/sub/y.part.toml":  "machine = 'mill'\npart = \"mill\"\n",
		"b/shop.toml":        machine,
		"b/z.part.toml":      "machine = \"mill\"\n",
		"a/.hid/w.part.toml": "machine = \"mill\"\n",
	} {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, path, text)
	}
	return dir
}

func TestReferencesStayWithinTheShop(t *testing.T) {
	dir := sharedShop(t)
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := filepath.Join(dir, "a", "x.part.toml")
	text, _ := os.ReadFile(path)
	e.Open(path, string(text))
	for _, declared := range []bool{true, false} {
		params := &protocol.ReferenceParams{Context: protocol.ReferenceContext{IncludeDeclaration: declared}}
		askAt(t, e, &params.TextDocumentPositionParams, path, "mill")
		var got []protocol.Location
		if err := e.Call(protocol.MethodTextDocumentReferences, params, &got); err != nil {
			t.Fatal(err)
		}
		lines := linesAt(t, got)
		slices.Sort(lines)
		want := []string{`shop.toml:4 "mill"`, "shop.toml:8 mill", `x.part.toml:1 "mill"`, "y.part.toml:1 'mill'"}
		if !declared {
			want = want[1:]
		}
		if !slices.Equal(lines, want) {
			t.Errorf("references are %q, want %q", lines, want)
		}
	}
}

func TestRename(t *testing.T) {
	dir := sharedShop(t)
	e := startReal(t, Options{})
	e.Initialize(actingEditor(true))
	path := filepath.Join(dir, "a", "x.part.toml")
	text, _ := os.ReadFile(path)
	e.Open(path, string(text))
	e.Edit(path, 0, 0, "# typed\n") // the open text counts, not the one on disk
	prepare := &protocol.PrepareRenameParams{}
	askAt(t, e, &prepare.TextDocumentPositionParams, path, "\"mill\"")
	var can protocol.PrepareRenamePlaceholder
	if err := e.Call(protocol.MethodTextDocumentPrepareRename, prepare, &can); err != nil || can.Placeholder != "mill" {
		t.Fatalf("prepare: %+v, %v", can, err)
	}
	rename := func(to string) (map[string]string, error) {
		params := &protocol.RenameParams{NewName: to}
		askAt(t, e, &params.TextDocumentPositionParams, path, "\"mill\"")
		var edit protocol.WorkspaceEdit
		if err := e.Call(protocol.MethodTextDocumentRename, params, &edit); err != nil {
			return nil, err
		}
		out := make(map[string]string)
		for _, c := range edit.DocumentChanges {
			change := c.(*protocol.TextDocumentEdit)
			file := change.TextDocument.URI.FsPath()
			text := e.Content(path)
			if file != path {
				if change.TextDocument.Version != nil {
					t.Errorf("%s is not open but has version %d", file, *change.TextDocument.Version)
				}
				b, _ := os.ReadFile(file)
				text = string(b)
			}
			lines := newLineTable([]byte(text))
			for _, x := range slices.Backward(change.Edits) {
				x := x.(*protocol.TextEdit)
				text = text[:lines.offset(x.Range.Start, e.Unit)] + x.NewText + text[lines.offset(x.Range.End, e.Unit):]
			}
			rel, _ := filepath.Rel(dir, file)
			out[rel] = text
		}
		return out, nil
	}
	got, err := rename("5-axis \"mill\"")
	if err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{
		"a/x.part.toml":     "# typed\nmachine = \"5-axis \\\"mill\\\"\" # mill\nmaterial = \"Z1\"\n",
		"a/sub/y.part.toml": "machine = '5-axis \"mill\"'\npart = \"mill\"\n",
	} {
		if got[file] != want {
			t.Errorf("%s becomes\n%s\nwant\n%s", file, got[file], want)
		}
	}
	if s := got["a/shop.toml"]; !strings.Contains(s, `name = "5-axis \"mill\""`) || !strings.Contains(s, `.machine."5-axis \"mill\""]`) || len(got) != 3 {
		t.Errorf("edits are %q", got)
	}
	for _, bad := range []string{"", " ", "a\nb", "mill"} {
		if _, err := rename(bad); err == nil {
			t.Errorf("%q is taken as a name", bad)
		}
	}
	params := &protocol.RenameParams{NewName: "x"}
	askAt(t, e, &params.TextDocumentPositionParams, path, "typed")
	if err := e.Call(protocol.MethodTextDocumentRename, params, nil); err == nil {
		t.Error("a comment is renamed")
	}
}

func TestBuiltinMaterialKeepsItsName(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := workspace(t)
	e.Open(path, plateText)
	params := &protocol.RenameParams{NewName: "alloy"}
	askAt(t, e, &params.TextDocumentPositionParams, path, "AlSi10Mg")
	if err := e.Call(protocol.MethodTextDocumentRename, params, nil); err == nil || !strings.Contains(err.Error(), "built-in") {
		t.Errorf("renamed: %v", err)
	}
}

func TestLinks(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := workspace(t)
	e.Open(path, "shop = \"../s/shop.toml\"\n"+plateText)
	params := &protocol.DocumentLinkParams{}
	params.TextDocument.URI = uriOf(path)
	var got []protocol.DocumentLink
	if err := e.Call(protocol.MethodTextDocumentDocumentLink, params, &got); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Dir(path)
	want := []string{filepath.Join(filepath.Dir(dir), "s", "shop.toml"), filepath.Join(dir, "plate.obj")}
	if len(got) != 2 || got[0].Target.FsPath() != want[0] || got[1].Target.FsPath() != want[1] {
		t.Errorf("links are %v, want %q", got, want)
	}
}

func TestOutlineAndFolds(t *testing.T) {
	const text = "# one\n# two\nschema = 1 # three\n\n[mesh]\nfile = \"a.stl\"\n\n[[hole]]\nname = \"µ inlet\"\n\n[route]\nsteps = [\n  \"mill\",\n]\n[limits]\nwall.thickness = \"1 mm\"\n[bro"
	for _, tree := range []bool{true, false} {
		t.Run(fmt.Sprint(tree), func(t *testing.T) {
			e := startReal(t, Options{})
			e.Initialize(&protocol.ClientCapabilities{TextDocument: &protocol.TextDocumentClientCapabilities{
				DocumentSymbol: &protocol.DocumentSymbolClientCapabilities{HierarchicalDocumentSymbolSupport: &tree},
			}})
			path := specPath(t)
			e.Open(path, text)
			params := &protocol.DocumentSymbolParams{}
			params.TextDocument.URI = uriOf(path)
			var got []string
			if tree {
				var out []protocol.DocumentSymbol
				if err := e.Call(protocol.MethodTextDocumentDocumentSymbol, params, &out); err != nil {
					t.Fatal(err)
				}
				for _, s := range out {
					got = append(got, s.Name)
					for _, k := range s.Children {
						got = append(got, "  "+k.Name)
					}
				}
			} else {
				var out []protocol.SymbolInformation
				if err := e.Call(protocol.MethodTextDocumentDocumentSymbol, params, &out); err != nil {
					t.Fatal(err)
				}
				for _, s := range out {
					name := s.Name
					if s.ContainerName != nil {
						name = "  " + name
					}
					got = append(got, name)
				}
			}
			want := []string{"schema", "[mesh]", "  file", "[[hole]] µ inlet", "  name", "[route]", "  steps", "[limits]", "  wall.thickness", "[bro"}
			if !slices.Equal(got, want) {
				t.Errorf("outline is %q, want %q", got, want)
			}
			var folds []protocol.FoldingRange
			if err := e.Call(protocol.MethodTextDocumentFoldingRange, &protocol.FoldingRangeParams{TextDocument: params.TextDocument}, &folds); err != nil {
				t.Fatal(err)
			}
			var lines []string
			for _, f := range folds {
				lines = append(lines, fmt.Sprintf("%d-%d%s", f.StartLine, f.EndLine, f.Kind))
			}
			if want := []string{"0-1comment", "4-5", "7-8", "10-13", "11-13", "14-15"}; !slices.Equal(lines, want) {
				t.Errorf("folds are %q, want %q", lines, want)
			}
		})
	}
}

func TestWorkspaceSymbols(t *testing.T) {
	dir := sharedShop(t)
	e := startReal(t, Options{})
	folder := protocol.WorkspaceFolder{URI: uriOf(filepath.Join(dir, "a")), Name: "a"}
	params := &protocol.InitializeParams{}
	params.WorkspaceFolders = protocol.NewNullable([]protocol.WorkspaceFolder{folder})
	if err := e.Call("initialize", params, nil); err != nil {
		t.Fatal(err)
	}
	ask := func(query string) (out []string) {
		var got []protocol.SymbolInformation
		if err := e.Call(protocol.MethodWorkspaceSymbol, &protocol.WorkspaceSymbolParams{Query: query}, &got); err != nil {
			t.Fatal(err)
		}
		for _, s := range got {
			out = append(out, lineAt(t, s.Location))
		}
		slices.Sort(out)
		return out
	}
	if got, want := ask("MIL"), []string{`shop.toml:4 "mill"`, `y.part.toml:2 "mill"`}; !slices.Equal(got, want) {
		t.Errorf("symbols are %q, want %q", got, want)
	}
	if got := ask(""); len(got) != 3 {
		t.Errorf("all symbols are %q", got)
	}
	e.Notify(protocol.MethodWorkspaceDidChangeWorkspaceFolders, &protocol.DidChangeWorkspaceFoldersParams{
		Event: protocol.WorkspaceFoldersChangeEvent{Removed: []protocol.WorkspaceFolder{folder}, Added: []protocol.WorkspaceFolder{{URI: uriOf(filepath.Join(dir, "b")), Name: "b"}}},
	})
	if got, want := ask("mill"), []string{`shop.toml:4 "mill"`}; !slices.Equal(got, want) {
		t.Errorf("symbols of the other folder are %q, want %q", got, want)
	}
}

func TestHighlightsAndReferencesOfLimitsAndChecks(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := workspace(t)
	text := plateText + "[limits]\nwall.thickness = \"0.7 mm\"\n[[waiver]]\ncheck = \"wall\"\n[[waiver]]\ncheck = 'wall'\n[[waiver]]\ncheck = \"gap\"\n"
	e.Open(path, text)
	shop := filepath.Join(filepath.Dir(path), "shop.toml")
	shopText, _ := os.ReadFile(shop)
	e.Open(shop, string(shopText))
	for _, c := range []struct {
		file, on string
		want     []string
	}{
		{path, "bay 2", []string{`"bay 2" read`}},
		{path, "thickness", []string{"thickness write"}},
		{path, "wall\"", []string{`"wall" read`, "'wall' read"}},
		{path, "Plate", []string{}},
		{shop, "wall.thickness  =", []string{}},
		{shop, "thickness  =", []string{"thickness write", "thickness write"}},
		{shop, `"wall", "gap"`, []string{`"wall" read`}},
		{shop, "slenderness  =", []string{"slenderness read", `"slenderness" read`}},
		{shop, `"bay 2"`, []string{`"bay 2" write`}},
	} {
		params := &protocol.DocumentHighlightParams{}
		askAt(t, e, &params.TextDocumentPositionParams, c.file, c.on)
		var marks []protocol.DocumentHighlight
		if err := e.Call(protocol.MethodTextDocumentDocumentHighlight, params, &marks); err != nil {
			t.Fatal(err)
		}
		got := []string{}
		content := e.Content(c.file)
		lines := newLineTable([]byte(content))
		for _, m := range marks {
			kind := map[protocol.DocumentHighlightKind]string{protocol.DocumentHighlightKindRead: "read", protocol.DocumentHighlightKindWrite: "write"}[m.Kind]
			got = append(got, content[lines.offset(m.Range.Start, e.Unit):lines.offset(m.Range.End, e.Unit)]+" "+kind)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("highlights of %q are %q, want %q", c.on, got, c.want)
		}
	}
	params := &protocol.ReferenceParams{Context: protocol.ReferenceContext{IncludeDeclaration: true}}
	askAt(t, e, &params.TextDocumentPositionParams, shop, "thickness  =")
	var got []protocol.Location
	if err := e.Call(protocol.MethodTextDocumentReferences, params, &got); err != nil {
		t.Fatal(err)
	}
	if len(got) < 4 || !strings.Contains(string(got[0].URI), "builtin-") {
		t.Errorf("references of wall.thickness are %v", got)
	}
	for _, l := range got[len(got)-3:] {
		if !strings.HasSuffix(string(l.URI), "shop.toml") && !strings.HasSuffix(string(l.URI), "plate.part.toml") {
			t.Errorf("reference in %s", l.URI)
		}
	}
}

// From a waiver one goes to the text that the accepted finding stands on.
func TestDefinitionOfAWaiver(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := workspace(t)
	e.Open(path, plateText+"\n[[waiver]]\ncheck = \"wall\"\nreason = \"filed by hand\"\nuntil = 2027-01-01\n")
	params := &protocol.DefinitionParams{}
	askAt(t, e, &params.TextDocumentPositionParams, path, "filed by hand")
	e.Eventually("the waiver to lead to the mesh", func() bool {
		var got []protocol.Location
		if err := e.Call(protocol.MethodTextDocumentDefinition, params, &got); err != nil {
			t.Fatal(err)
		}
		return len(got) == 1 && lineAt(t, got[0]) == `plate.part.toml:8 "plate.obj"`
	})
}
