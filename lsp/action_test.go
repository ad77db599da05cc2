package lsp

import (
	"slices"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
	"corbel/rules"
)

// actingEditor declares what an editor needs for code actions.
func actingEditor(versioned bool) *protocol.ClientCapabilities {
	return &protocol.ClientCapabilities{
		TextDocument: &protocol.TextDocumentClientCapabilities{CodeAction: &protocol.CodeActionClientCapabilities{
			CodeActionLiteralSupport: protocol.ClientCodeActionLiteralOptions{
				CodeActionKind: protocol.ClientCodeActionKindOptions{ValueSet: []protocol.CodeActionKind{protocol.CodeActionKindQuickFix}},
			},
		}},
		Workspace: &protocol.WorkspaceClientCapabilities{WorkspaceEdit: &protocol.WorkspaceEditClientCapabilities{DocumentChanges: &versioned}},
	}
}

// actionsOn asks for the actions at the first place of a piece of a text.
func actionsOn(t *testing.T, e *lsptest.Editor, path, piece string) []*protocol.CodeAction {
	t.Helper()
	at := strings.Index(e.Content(path), piece)
	if at < 0 {
		t.Fatalf("%s has no %q", path, piece)
	}
	params := &protocol.CodeActionParams{Context: protocol.CodeActionContext{Diagnostics: []protocol.Diagnostic{}}}
	params.TextDocument.URI = uriOf(path)
	params.Range = lsptest.Range(e.Content(path), at, at+len(piece), e.Unit)
	var out []protocol.CommandOrCodeAction
	if err := e.Call(protocol.MethodTextDocumentCodeAction, params, &out); err != nil {
		t.Fatal(err)
	}
	actions := make([]*protocol.CodeAction, len(out))
	for i, a := range out {
		actions[i] = a.(*protocol.CodeAction)
	}
	return actions
}

// pick returns the action whose title begins as said.
func pick(t *testing.T, actions []*protocol.CodeAction, title string) *protocol.CodeAction {
	t.Helper()
	i := slices.IndexFunc(actions, func(a *protocol.CodeAction) bool { return strings.HasPrefix(a.Title, title) })
	if i < 0 {
		var titles []string
		for _, a := range actions {
			titles = append(titles, a.Title)
		}
		t.Fatalf("no action %q among %q", title, titles)
	}
	return actions[i]
}

// acted is the text after an action's edits, which must fit its version.
func acted(t *testing.T, e *lsptest.Editor, path string, edit *protocol.WorkspaceEdit, versioned bool) string {
	t.Helper()
	var edits []protocol.TextEdit
	if versioned {
		change := edit.DocumentChanges[0].(*protocol.TextDocumentEdit)
		if v := change.TextDocument.Version; v == nil || *v != e.Version(path) {
			t.Fatalf("edit fits version %v, the text has %d", v, e.Version(path))
		}
		for _, x := range change.Edits {
			edits = append(edits, *x.(*protocol.TextEdit))
		}
	} else {
		edits = edit.Changes[uriOf(path)]
	}
	text := e.Content(path)
	lines := newLineTable([]byte(text))
	for _, x := range slices.Backward(edits) { // ours are in the order of the text
		text = text[:lines.offset(x.Range.Start, e.Unit)] + x.NewText + text[lines.offset(x.Range.End, e.Unit):]
	}
	return text
}

func TestFixesOfFindings(t *testing.T) {
	for _, versioned := range []bool{true, false} {
		t.Run(map[bool]string{true: "versioned", false: "plain"}[versioned], func(t *testing.T) {
			e := startReal(t, Options{})
			e.Initialize(actingEditor(versioned))
			path := workspace(t)
			for _, c := range []struct{ from, to, on string }{
				{"AlSi10Mg", "AlSi10Mgg", "AlSi10Mgg"},
				{"file  =", "fill  =", "fill"},
				{"\"4 mm\"", "4", "4\n"},
				{"\"bay 2\"", "\"bay2\"", "bay2"},
				{"plate.obj", "plates.stl", "plates.stl"},
			} {
				text := strings.Replace(plateText, c.from, c.to, 1)
				if e.Opened(path) {
					e.Rewrite(path, text)
				} else {
					e.Open(path, text)
				}
				e.WaitShown(path, "findings", func(ds []protocol.Diagnostic) bool { return len(ds) > 0 })
				actions := actionsOn(t, e, path, c.on)
				i := slices.IndexFunc(actions, func(a *protocol.CodeAction) bool { return a.IsPreferred != nil })
				if i < 0 {
					t.Errorf("%q: no fix is offered", c.to)
					continue
				}
				if got := acted(t, e, path, actions[i].Edit, versioned); got != plateText {
					t.Errorf("%q: %q leaves\n%s", c.to, actions[i].Title, got)
				}
				if len(actions[i].Diagnostics) != 1 {
					t.Errorf("%q: the action names no finding", c.to)
				}
			}
		})
	}
}

func TestWaiverIsOffered(t *testing.T) {
	now := func() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }
	e := startReal(t, Options{Rules: rules.Options{Now: now}})
	e.Initialize(actingEditor(true))
	path := openPlate(t, e)
	waive := pick(t, actionsOn(t, e, path, "plate.obj"), "Waive this finding of wall")
	text := acted(t, e, path, waive.Edit, true)
	if !strings.HasPrefix(text, plateText+"\n[[waiver]]\ncheck  = \"wall\"\nnear   = [") || !strings.HasSuffix(text, "until  = 2027-11-25\n") {
		t.Fatalf("the waiver leaves\n%s", text)
	}
	// With a reason it does what it says.
	e.Rewrite(path, strings.Replace(text, `reason = ""`, `reason = "filed by hand"`, 1))
	e.WaitShown(path, "the finding to go", func(ds []protocol.Diagnostic) bool { return !has(ds, "Wall is") && !has(ds, "waiver") })
	if got := hoverOn(t, e, path, "filed by hand"); !strings.Contains(got, "Accepts: Wall is 0.40 mm") {
		t.Errorf("hover on the waiver is %q", got)
	}
	// The shop does not let findings of envelope be waived, nor does anything waive the text's own.
	e.Rewrite(path, strings.Replace(plateText, "AlSi10Mg", "nonsense", 1))
	e.WaitShown(path, "findings", func(ds []protocol.Diagnostic) bool { return has(ds, "nonsense") })
	for _, a := range actionsOn(t, e, path, "nonsense") {
		if strings.HasPrefix(a.Title, "Waive") {
			t.Errorf("offered to %s", a.Title)
		}
	}
}

func TestHoleIsOfferedToBeDeclared(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(actingEditor(true))
	path := openPlate(t, e)
	for _, a := range actionsOn(t, e, path, "[mesh]") {
		if strings.HasPrefix(a.Title, "Declare") {
			t.Errorf("offered to %s, which is declared", a.Title)
		}
	}
	e.Rewrite(path, strings.Replace(plateText, "[[hole]]\nname     = \"dowel\"\nat       = [10, 6, 0.2]\ndiameter = \"4 mm\"\n\n", "", 1))
	e.WaitShown(path, "findings", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	declare := pick(t, actionsOn(t, e, path, "[mesh]"), "Declare the hole of 4.00 mm at [10, 6, 0.2]")
	e.Rewrite(path, acted(t, e, path, declare.Edit, true))
	e.WaitShown(path, "findings", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	if got := hoverOn(t, e, path, "[[hole]]"); !strings.Contains(got, "The mesh has 4.00 mm here") {
		t.Errorf("hover on the declared hole is %q", got)
	}
}

func TestNoActionsForEditorsThatTakeNone(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := openPlate(t, e)
	if got := actionsOn(t, e, path, "plate.obj"); len(got) != 0 {
		t.Errorf("%d actions for an editor that takes none", len(got))
	}
}

// An edit at the end of a text follows the line ends that the text has.
func TestTableIsAppended(t *testing.T) {
	for text, want := range map[string]string{
		"":             "x\n",
		"a = 1":        "a = 1\n\nx\n",
		"a = 1\n":      "a = 1\n\nx\n",
		"a = 1\n\n":    "a = 1\n\nx\n",
		"a = 1\r\n":    "a = 1\r\n\r\nx\r\n",
		"a = 1\r\nb=2": "a = 1\r\nb=2\r\n\r\nx\r\n",
	} {
		a := actor{doc: newDocument("file:///w/a.part.toml", 1, []byte(text), protocol.PositionEncodingKindUTF16)}
		if got := text + a.append("x\n").Text; got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}
