package lsp

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
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
