package lsp

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
	"corbel/rules"
)

// initializeWith opens the conversation with settings.
func initializeWith(t *testing.T, e *lsptest.Editor, c *protocol.ClientCapabilities, chosen, folder string) *protocol.InitializeResult {
	t.Helper()
	params := &protocol.InitializeParams{InitializationOptions: protocol.LSPAny(chosen)}
	if c != nil {
		params.Capabilities = *c
	}
	if folder != "" {
		params.WorkspaceFolders = protocol.NewNullable([]protocol.WorkspaceFolder{{URI: uriOf(folder), Name: "w"}})
	}
	result := new(protocol.InitializeResult)
	if err := e.Call(protocol.MethodInitialize, params, result); err != nil {
		t.Fatal(err)
	}
	e.Notify(protocol.MethodInitialized, &protocol.InitializedParams{})
	return result
}

func TestSettingsAreRead(t *testing.T) {
	for raw, bad := range map[string]bool{
		``: false, `null`: false, `{}`: false, `{"jobs": 2, "memory": 512}`: false,
		`{"corbel": {"measure": "save", "onSave": ["wall"]}}`: false, `{"other": {"measure": 7}}`: false,
		`{"measure": "never"}`: true, `{"onSave": ["walls"]}`: true, `{"diagnostics": "both"}`: true,
		`{"jobs": "two"}`: true, `[]`: true, `{"corbel": 3}`: true,
	} {
		if _, err := readSettings([]byte(raw)); (err != nil) != bad {
			t.Errorf("%s: error %v", raw, err)
		}
	}
}

func TestWrongSettingsAreSaid(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	e.Notify(protocol.MethodWorkspaceDidChangeConfiguration, &protocol.DidChangeConfigurationParams{
		Settings: protocol.LSPAny(`{"corbel": {"onSave": ["walls"]}}`),
	})
	e.Wait("a message about the settings", func() bool {
		return slices.ContainsFunc(e.ToldLocked(), func(m lsptest.Message) bool {
			return m.Method == protocol.MethodWindowShowMessage && strings.Contains(string(m.Params), "walls")
		})
	})
	path := specPath(t)
	e.Open(path, "bad")
	e.WaitShown(path, "findings all the same", func(ds []protocol.Diagnostic) bool { return len(ds) == 1 })
}

func TestChecksThatWaitForSaving(t *testing.T) {
	e := startFake(t, nil, Options{})
	initializeWith(t, e, nil, `{"onSave": ["wall"]}`, "")
	path := specPath(t)
	e.Open(path, "bad")
	e.WaitShown(path, "the finding of an unchanged text", func(ds []protocol.Diagnostic) bool { return len(ds) == 1 })
	e.Edit(path, 0, 0, "bad ")
	e.WaitShown(path, "no finding while typing", func(ds []protocol.Diagnostic) bool { return len(ds) == 0 })
	e.Save(path)
	e.WaitShown(path, "the findings of the saved text", func(ds []protocol.Diagnostic) bool { return len(ds) == 2 })
}

func TestMeasuringThatWaitsForSaving(t *testing.T) {
	f := &fake{}
	e := startFake(t, f, Options{})
	initializeWith(t, e, nil, `{"measure": "save"}`, "")
	path := specPath(t)
	e.Open(path, "bad thin")
	e.WaitShown(path, "the findings of an opened text", func(ds []protocol.Diagnostic) bool { return len(ds) == 2 })
	before, _ := f.counts()
	e.Edit(path, 0, 0, "bad ")
	e.WaitShown(path, "the text's findings", func(ds []protocol.Diagnostic) bool { return len(ds) == 2 })
	e.Save(path)
	e.WaitShown(path, "the findings of the saved text", func(ds []protocol.Diagnostic) bool { return len(ds) == 3 })
	if after, _ := f.counts(); after != before+1 {
		t.Errorf("%d passes measured, want one after saving", after-before)
	}
}

func TestSettingsAreAskedFor(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Take = func(method string, _ []byte) (any, bool) {
		return []json.RawMessage{[]byte(`{"onSave": ["wall"]}`)}, method == protocol.MethodWorkspaceConfiguration
	}
	yes := true
	e.Initialize(&protocol.ClientCapabilities{Workspace: &protocol.WorkspaceClientCapabilities{Configuration: &yes}})
	path := specPath(t)
	e.Open(path, "bad")
	e.WaitShown(path, "the finding of an unchanged text", func(ds []protocol.Diagnostic) bool { return len(ds) == 1 })
	e.Edit(path, 0, 0, " ")
	e.WaitShown(path, "no finding while typing", func(ds []protocol.Diagnostic) bool { return len(ds) == 0 })
}

func TestFindingsArePulledWhereChosen(t *testing.T) {
	e := startFake(t, nil, Options{})
	if p := initializeWith(t, e, nil, `{"diagnostics": "pull"}`, "").Capabilities.DiagnosticProvider; p == nil {
		t.Fatal("no diagnostic provider is announced")
	}
	path := specPath(t)
	e.Open(path, "bad")
	params := &protocol.DocumentDiagnosticParams{}
	params.TextDocument.URI = uriOf(path)
	var got protocol.RelatedFullDocumentDiagnosticReport
	if err := e.Call(protocol.MethodTextDocumentDiagnostic, params, &got); err != nil || len(got.Items) != 1 || got.Kind != "full" {
		t.Fatalf("pulled %+v, %v", got, err)
	}
	params.PreviousResultID = got.ResultID
	var same protocol.RelatedUnchangedDocumentDiagnosticReport
	if err := e.Call(protocol.MethodTextDocumentDiagnostic, params, &same); err != nil || same.Kind != "unchanged" {
		t.Fatalf("pulled again %+v, %v", same, err)
	}
	// A request for the workspace is held until there is something to tell.
	all := &protocol.WorkspaceDiagnosticParams{PreviousResultIds: []protocol.PreviousResultId{{URI: uriOf(path), Value: *got.ResultID}}}
	answer := make(chan protocol.WorkspaceDiagnosticReport, 1)
	go func() {
		var r protocol.WorkspaceDiagnosticReport
		if err := e.Call(protocol.MethodWorkspaceDiagnostic, all, &r); err != nil {
			t.Error(err)
		}
		answer <- r
	}()
	e.Edit(path, 0, 0, "bad ")
	r := <-answer
	item := r.Items[0].(*protocol.WorkspaceFullDocumentDiagnosticReport)
	if len(r.Items) != 1 || len(item.Items) != 2 || item.Version == nil || *item.Version != 2 {
		t.Errorf("the workspace has %+v", r)
	}
	if n := len(e.Shown(path)); n != 0 {
		t.Errorf("%d sets were pushed besides", n)
	}
}

// Specs that are not open are checked too, and follow the files they rest on.
func TestClosedSpecsAreFollowed(t *testing.T) {
	dir := t.TempDir()
	closed, other := filepath.Join(dir, "sub", "x.part.toml"), filepath.Join(dir, "y.part.toml")
	if err := os.Mkdir(filepath.Dir(closed), 0o755); err != nil {
		t.Fatal(err)
	}
	write(t, closed, "bad bad thin")
	e := startFake(t, nil, Options{})
	initializeWith(t, e, nil, `{"workspace": true}`, dir)
	shows := func(path string, n int) {
		t.Helper()
		e.Wait("the findings of "+filepath.Base(path), func() bool {
			sets := e.ShownLocked(path)
			return len(sets) > 0 && len(sets[len(sets)-1].Diagnostics) == n
		})
	}
	shows(closed, 3)
	if _, has := e.Shown(closed)[0].Version.Get(); has {
		t.Error("a text that is not open was published with a version")
	}
	touched := func(path string) {
		e.Notify(protocol.MethodWorkspaceDidChangeWatchedFiles, &protocol.DidChangeWatchedFilesParams{
			Changes: []protocol.FileEvent{{URI: uriOf(path), Type: protocol.FileChangeTypeChanged}},
		})
	}
	write(t, closed, "bad")
	touched(closed)
	shows(closed, 1)
	write(t, other, "bad bad")
	touched(other)
	shows(other, 2)
	e.Open(closed, "bad bad bad bad")
	shows(closed, 4)
	e.Close(closed)
	shows(closed, 1)
	if err := os.Remove(other); err != nil {
		t.Fatal(err)
	}
	touched(other)
	shows(other, 0)
	e.Notify(protocol.MethodWorkspaceDidChangeConfiguration, &protocol.DidChangeConfigurationParams{Settings: protocol.LSPAny(`{"workspace": false}`)})
	shows(closed, 0)
}

// The bounds of the engine are the user's, from the start and after a change;
// settings that change nothing about it leave it as it is.
func TestEngineTakesTheUsersBounds(t *testing.T) {
	made := make(chan rules.Options, 10)
	e := startReal(t, Options{Rules: rules.Options{Jobs: 3}, engine: func(o rules.Options) checker {
		made <- o
		return rules.New(o)
	}})
	initializeWith(t, e, nil, `{"memory": 512}`, "")
	for _, raw := range []string{`{"memory": 512, "delay": 7}`, `{"jobs": 1, "memory": 64}`, `{}`} {
		e.Notify(protocol.MethodWorkspaceDidChangeConfiguration, &protocol.DidChangeConfigurationParams{Settings: protocol.LSPAny(`{"corbel": ` + raw + `}`)})
	}
	for i, want := range [][2]int64{{3, 0}, {3, 512 << 20}, {1, 64 << 20}, {3, 0}} {
		if o := <-made; int64(o.Jobs) != want[0] || o.Memory != want[1] {
			t.Errorf("engine %d has %d jobs and %d bytes, want %v", i, o.Jobs, o.Memory, want)
		}
	}
	path := openPlate(t, e)
	if len(made) != 0 || len(e.Shown(path)) == 0 {
		t.Errorf("%d engines more", len(made))
	}
}

// What is switched off is not there, and is again when it is switched on.
func TestFeaturesCanBeSwitchedOff(t *testing.T) {
	e := startReal(t, Options{})
	initializeWith(t, e, nil, `{"hints": false, "lenses": false, "format": false}`, "")
	path := openPlate(t, e)
	e.Edit(path, 0, 0, "\n\n")
	e.WaitShown(path, "the thin wall", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	count := func() (hints, lenses, edits int) {
		var l []protocol.CodeLens
		var f []protocol.TextEdit
		lens, layout := &protocol.CodeLensParams{}, &protocol.DocumentFormattingParams{}
		lens.TextDocument.URI, layout.TextDocument.URI = uriOf(path), uriOf(path)
		if err := errors.Join(e.Call(protocol.MethodTextDocumentCodeLens, lens, &l), e.Call(protocol.MethodTextDocumentFormatting, layout, &f)); err != nil {
			t.Fatal(err)
		}
		return len(hintsIn(t, e, path)), len(l), len(f)
	}
	if h, l, f := count(); h+l+f != 0 {
		t.Errorf("%d hints, %d lenses, %d edits of a layout are switched off", h, l, f)
	}
	e.Notify(protocol.MethodWorkspaceDidChangeConfiguration, &protocol.DidChangeConfigurationParams{Settings: protocol.LSPAny(`{"corbel": {}}`)})
	e.Eventually("hints, lenses and layout", func() bool { h, l, f := count(); return h > 0 && l > 0 && f > 0 })
}

// A workspace may have several folders, which come and go.
func TestSeveralFoldersAreFollowed(t *testing.T) {
	one, two, three := t.TempDir(), t.TempDir(), t.TempDir()
	for dir, text := range map[string]string{one: "bad", two: "bad bad", three: "bad bad bad"} {
		write(t, filepath.Join(dir, "x.part.toml"), text)
	}
	e := startFake(t, nil, Options{})
	folder := func(dir string) protocol.WorkspaceFolder {
		return protocol.WorkspaceFolder{URI: uriOf(dir), Name: filepath.Base(dir)}
	}
	params := &protocol.InitializeParams{InitializationOptions: protocol.LSPAny(`{"workspace": true}`)}
	params.WorkspaceFolders = protocol.NewNullable([]protocol.WorkspaceFolder{folder(one), folder(two)})
	if err := e.Call(protocol.MethodInitialize, params, nil); err != nil {
		t.Fatal(err)
	}
	e.Notify(protocol.MethodInitialized, &protocol.InitializedParams{})
	shows := func(dir string, n int) {
		t.Helper()
		e.Wait(fmt.Sprintf("%d findings in %s", n, dir), func() bool {
			sets := e.ShownLocked(filepath.Join(dir, "x.part.toml"))
			return len(sets) > 0 && len(sets[len(sets)-1].Diagnostics) == n
		})
	}
	shows(one, 1)
	shows(two, 2)
	e.Notify(protocol.MethodWorkspaceDidChangeWorkspaceFolders, &protocol.DidChangeWorkspaceFoldersParams{
		Event: protocol.WorkspaceFoldersChangeEvent{Removed: []protocol.WorkspaceFolder{folder(one)}, Added: []protocol.WorkspaceFolder{folder(three)}},
	})
	shows(three, 3)
	shows(one, 0)
	shows(two, 2)
}
