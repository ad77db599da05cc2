package lsp

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/lsp/lsptest"
	"corbel/rules"
)

// fullEditor declares all that actions and commands can use.
func fullEditor(snippets bool) *protocol.ClientCapabilities {
	yes := true
	c := actingEditor(true)
	c.Workspace.ApplyEdit = &yes
	c.Workspace.WorkspaceEdit.SnippetEditSupport = &snippets
	c.Window = &protocol.WindowClientCapabilities{ShowDocument: &protocol.ShowDocumentClientCapabilities{Support: true}}
	return c
}

func command(e *lsptest.Editor, name, path string) error {
	argument, _ := json.Marshal(string(uriOf(path)))
	return e.Call(protocol.MethodWorkspaceExecuteCommand, &protocol.ExecuteCommandParams{Command: name, Arguments: []protocol.LSPAny{argument}}, nil)
}

func TestCommandsRefuseWhatTheyCannotDo(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	path := specPath(t)
	if err := command(e, measureAgain, path); err == nil || !strings.Contains(err.Error(), "open") {
		t.Errorf("a closed text: %v", err)
	}
	e.Open(path, "bad")
	if err := command(e, "corbel.nonsense", path); err == nil {
		t.Error("an unknown command was taken")
	}
	if err := e.Call(protocol.MethodWorkspaceExecuteCommand, &protocol.ExecuteCommandParams{Command: measureAgain}, nil); err == nil {
		t.Error("a command about nothing was taken")
	}
	before := len(e.Shown(path))
	if err := command(e, measureAgain, path); err != nil {
		t.Error(err)
	}
	e.Wait("the findings once more", func() bool { return len(e.ShownLocked(path)) > before })
}

// A plate that stands on its edge is laid down.
func TestBetterOrientationIsTaken(t *testing.T) {
	e := startReal(t, Options{})
	var edit *protocol.ApplyWorkspaceEditParams
	e.Take = func(method string, params []byte) (any, bool) {
		if method != protocol.MethodWorkspaceApplyEdit {
			return nil, false
		}
		edit = new(protocol.ApplyWorkspaceEditParams)
		if err := protocol.Unmarshal(params, edit); err != nil {
			t.Error(err)
		}
		return &protocol.ApplyWorkspaceEditResult{Applied: true}, true
	}
	e.Initialize(fullEditor(false))
	path := openPlate(t, e)
	action := pick(t, actionsOn(t, e, path, "up = "), "Take the better orientation")
	if action.Command.Command != betterOrientation {
		t.Fatalf("the action is %+v", action)
	}
	if err := e.Call(protocol.MethodWorkspaceExecuteCommand, &protocol.ExecuteCommandParams{Command: action.Command.Command, Arguments: action.Command.Arguments}, nil); err != nil {
		t.Fatal(err)
	}
	if edit == nil {
		t.Fatalf("no edit; told %s", e.Told())
	}
	text := acted(t, e, path, &edit.Edit, true)
	if !strings.Contains(text, `up = "+z"`) && !strings.Contains(text, `up = "-z"`) {
		t.Errorf("the edit leaves\n%s", text)
	}
	e.Rewrite(path, text)
	edit = nil
	if err := command(e, betterOrientation, path); err != nil || edit != nil {
		t.Errorf("a part that stands well: %v, %v", err, edit)
	}
}

func TestReportIsOpened(t *testing.T) {
	cache := t.TempDir()
	e := startReal(t, Options{Cache: cache})
	var shown protocol.ShowDocumentParams
	e.Take = func(method string, params []byte) (any, bool) {
		if method != protocol.MethodWindowShowDocument {
			return nil, false
		}
		if err := protocol.Unmarshal(params, &shown); err != nil {
			t.Error(err)
		}
		return &protocol.ShowDocumentResult{Success: true}, true
	}
	e.Initialize(fullEditor(false))
	path := openPlate(t, e)
	if err := command(e, openReport, path); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(shown.URI.FsPath())
	if err != nil || !strings.Contains(string(page), "Wall is 0.40 mm") || !is(shown.External) {
		t.Errorf("shown %+v, %v", shown, err)
	}
	if filepath.Dir(shown.URI.FsPath()) != cache {
		t.Errorf("the page lies at %s", shown.URI)
	}
}

// Accepting leaves the reason to the user: by a place to fill in, or by showing
// where it is to be written.
func TestAcceptingAsksForAReason(t *testing.T) {
	for _, snippets := range []bool{true, false} {
		t.Run(fmt.Sprintf("snippets %v", snippets), func(t *testing.T) { acceptingAsks(t, snippets) })
	}
}

func acceptingAsks(t *testing.T, snippets bool) {
	e := startReal(t, Options{})
	var shown *protocol.ShowDocumentParams
	e.Take = func(method string, params []byte) (any, bool) {
		if method != protocol.MethodWindowShowDocument {
			return nil, false
		}
		shown = new(protocol.ShowDocumentParams)
		if err := protocol.Unmarshal(params, shown); err != nil {
			t.Error(err)
		}
		return &protocol.ShowDocumentResult{Success: true}, true
	}
	e.Initialize(fullEditor(snippets))
	path := openPlate(t, e)
	params := &protocol.CodeActionParams{Context: protocol.CodeActionContext{Only: []protocol.CodeActionKind{"source"}}}
	params.TextDocument.URI = uriOf(path)
	var out []protocol.CommandOrCodeAction
	if err := e.Call(protocol.MethodTextDocumentCodeAction, params, &out); err != nil {
		t.Fatal(err)
	}
	if len(out) != 1 {
		t.Fatalf("%d source actions", len(out))
	}
	action := out[0].(*protocol.CodeAction)
	change := action.Edit.DocumentChanges[0].(*protocol.TextDocumentEdit)
	if snippets {
		x := change.Edits[0].(*protocol.SnippetTextEdit)
		if !strings.Contains(x.Snippet.Value, `reason = "${1:reason}"`) || action.Command.Command != "" {
			t.Errorf("with snippets: %+v, %+v", x.Snippet, action.Command)
		}
		return
	}
	e.Rewrite(path, acted(t, e, path, action.Edit, true))
	if err := e.Call(protocol.MethodWorkspaceExecuteCommand, &protocol.ExecuteCommandParams{Command: action.Command.Command, Arguments: action.Command.Arguments}, nil); err != nil {
		t.Fatal(err)
	}
	at := strings.LastIndex(e.Content(path), `reason = ""`) + len(`reason = "`)
	if want := lsptest.Range(e.Content(path), at, at, e.Unit); shown == nil || shown.Selection == nil || *shown.Selection != want {
		t.Errorf("shown %+v, want %v", shown, want)
	}
}

// A definition in the built-in limits lands in a text of our own scheme where
// the editor asks for such texts, and a finding leads to its check's page.
func TestBuiltinTextsAreServed(t *testing.T) {
	for _, asks := range []bool{true, false} {
		t.Run(fmt.Sprintf("asks %v", asks), func(t *testing.T) { builtinTexts(t, asks) })
	}
}

func builtinTexts(t *testing.T, asks bool) {
	e := startReal(t, Options{})
	yes := true
	c := &protocol.ClientCapabilities{TextDocument: &protocol.TextDocumentClientCapabilities{
		PublishDiagnostics: &protocol.PublishDiagnosticsClientCapabilities{},
	}}
	c.TextDocument.PublishDiagnostics.CodeDescriptionSupport = &yes
	if asks {
		c.Workspace = &protocol.WorkspaceClientCapabilities{TextDocumentContent: &protocol.TextDocumentContentClientCapabilities{}}
	}
	e.Initialize(c)
	path := workspace(t)
	e.Open(path, plateText+"[limits]\nwall.thickness = \"0.7 mm\"\n")
	ds := e.WaitShown(path, "the wall", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	read := func(u uri.URI) string {
		if u.IsFile() {
			text, _ := os.ReadFile(u.FsPath())
			return string(text)
		}
		var got protocol.TextDocumentContentResult
		if err := e.Call(protocol.MethodWorkspaceTextDocumentContent, &protocol.TextDocumentContentParams{URI: u}, &got); err != nil {
			t.Errorf("%s: %v", u, err)
		}
		return got.Text
	}
	i := slices.IndexFunc(ds, func(d protocol.Diagnostic) bool { return has([]protocol.Diagnostic{d}, "Wall is") })
	href := ds[i].CodeDescription.Href
	if text := read(href); !strings.Contains(strings.Join(strings.Fields(text), " "), rules.ByName("wall").Summary) || asks == href.IsFile() {
		t.Errorf("the wall's page %s holds %q", href, text)
	}
	params := &protocol.DefinitionParams{}
	askAt(t, e, &params.TextDocumentPositionParams, path, "thickness")
	var got []protocol.Location
	if err := e.Call(protocol.MethodTextDocumentDefinition, params, &got); err != nil {
		t.Fatal(err)
	}
	last := got[len(got)-1]
	text := read(last.URI)
	if line := strings.Split(text, "\n")[last.Range.Start.Line]; !strings.Contains(line, "thickness") || asks == last.URI.IsFile() {
		t.Errorf("the built-in limit is at %s, %q", last.URI, line)
	}
}

func TestOtherTextsAreNotServed(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	for _, u := range []uri.URI{"corbel:/check/nonsense.txt", "corbel:/../etc/passwd", "file:///etc/passwd"} {
		if err := e.Call(protocol.MethodWorkspaceTextDocumentContent, &protocol.TextDocumentContentParams{URI: u}, nil); err == nil {
			t.Errorf("%s is served", u)
		}
	}
}

// A request that does not look whether it was cancelled is answered all the same.
func TestCancelledRequestIsAnsweredAtOnce(t *testing.T) {
	hold := make(chan struct{})
	stubborn := func(_ context.Context, _ *snapshot, _ jsonrpc2.RawMessage) (any, error) { <-hold; return "late", nil }
	e := startFake(t, nil, Options{calls: map[string]call{"test/stubborn": stubborn}})
	e.Initialize(nil)
	answered := make(chan error, 1)
	go func() { answered <- e.Call("test/stubborn", map[string]int{}, nil) }()
	e.Wait("the request to leave", func() bool {
		return slices.ContainsFunc(e.LogLocked(), func(line string) bool { return strings.Contains(line, "test/stubborn") })
	})
	e.Notify(protocol.MethodCancelRequest, &protocol.CancelParams{ID: protocol.Integer(2)})
	if err := <-answered; err == nil || !strings.Contains(err.Error(), "cancel") {
		t.Errorf("answered %v", err)
	}
	close(hold)
}
