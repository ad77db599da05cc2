package lsp

import (
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// hintsIn asks for all hints of a text: each with the line that it stands on.
func hintsIn(t *testing.T, e *lsptest.Editor, path string) []string {
	t.Helper()
	text := e.Content(path)
	params := &protocol.InlayHintParams{Range: lsptest.Range(text, 0, len(text), e.Unit)}
	params.TextDocument.URI = uriOf(path)
	var got []protocol.InlayHint
	if err := e.Call(protocol.MethodTextDocumentInlayHint, params, &got); err != nil {
		t.Fatal(err)
	}
	out := []string{}
	for _, h := range got {
		line := strings.Split(text, "\n")[h.Position.Line]
		if int(h.Position.Character) != len(line) {
			t.Errorf("hint %v stands inside its line", h.Label)
		}
		out = append(out, line+" | "+string(h.Label.(protocol.String)))
	}
	return out
}

func TestHintsSayWhatWasMeasured(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := openPlate(t, e)
	want := []string{
		`up = "+y" | 20.0 x 0.4 x 12.0 mm`,
		`diameter = "4 mm" | measured 4.00 mm`,
		`mass = "300 g" | estimated 0.243 g`,
		`cost = 400 | estimated`,
	}
	got := hintsIn(t, e, path)
	if len(got) != len(want) {
		t.Fatalf("hints are %q", got)
	}
	for i := range want {
		if !strings.HasPrefix(got[i], want[i]) {
			t.Errorf("hint is %q, want %q", got[i], want[i])
		}
	}
	e.Edit(path, len(plateText), len(plateText), "\n[limits]\nwall.thickness = \"0.7 mm\"\n")
	e.WaitShown(path, "findings", nil)
	if got := hintsIn(t, e, path); !slices.Contains(got, `wall.thickness = "0.7 mm" | instead of 0.6 mm`) {
		t.Errorf("hints are %q", got)
	}
	e.Rewrite(path, strings.Replace(plateText, "plate.obj", "none.obj", 1))
	e.WaitShown(path, "no mesh", func(ds []protocol.Diagnostic) bool { return has(ds, "none.obj") })
	if got := hintsIn(t, e, path); len(got) != 0 {
		t.Errorf("without a mesh the hints are %q", got)
	}
}

func TestLensCountsFindings(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := openPlate(t, e)
	params := &protocol.CodeLensParams{}
	params.TextDocument.URI = uriOf(path)
	var got []protocol.CodeLens
	if err := e.Call(protocol.MethodTextDocumentCodeLens, params, &got); err != nil {
		t.Fatal(err)
	}
	shown := e.Shown(path)
	found := shown[len(shown)-1].Diagnostics
	if len(got) != 2 || got[1].Command.Command != openReport || !strings.HasSuffix(got[0].Command.Title, "; 20.0 x 0.4 x 12.0 mm") || got[0].Command.Command != "" {
		t.Fatalf("lenses are %+v", got)
	}
	counts := strings.Split(got[0].Command.Title, ";")[0]
	if n := strings.Count(counts, "warning"); n != 1 || len(found) == 0 {
		t.Errorf("lens says %q of %q", counts, lsptest.Messages(found))
	}
}

// The editor is told to ask again once something was measured, and not again
// before it has answered.
func TestRefreshFollowsMeasuring(t *testing.T) {
	for name, manners := range map[string]lsptest.Manners{"answers": lsptest.Answers, "silent": lsptest.Silent} {
		t.Run(name, func(t *testing.T) {
			f := &fake{}
			e := startFake(t, f, Options{})
			e.Manners = manners
			yes := true
			e.Initialize(&protocol.ClientCapabilities{Workspace: &protocol.WorkspaceClientCapabilities{
				InlayHint: &protocol.InlayHintWorkspaceClientCapabilities{RefreshSupport: &yes},
			}})
			path := specPath(t)
			asked := func() int {
				n := 0
				for _, m := range e.AskedLocked() {
					if m == protocol.MethodWorkspaceInlayHintRefresh {
						n++
					}
				}
				return n
			}
			e.Open(path, "bad")
			e.WaitShown(path, "findings", nil)
			for range 5 {
				e.Edit(path, 0, 0, "thin ")
				e.WaitShown(path, "geometry", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
			}
			e.Wait("the editor to be asked to refresh", func() bool { return asked() > 0 })
			if manners == lsptest.Silent && len(e.Asked()) != 1 {
				t.Errorf("an editor that does not answer was asked %q", e.Asked())
			}
		})
	}
}
