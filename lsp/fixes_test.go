package lsp

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/spec"
)

// spoiled are parts of the demo with something wrong that has a fix.
var spoiled = []struct{ from, to, title string }{
	{"machine", "machin", "Write "},
	{"AlSi10Mg", "AlSi10Mgg", "Change to"},
	{"material = \"", "material = ", ""},
	{"[mesh]", "[mesh", "Close the header"},
	{"file", "fill", "Write "},
	{"process", "proces s", ""},
	{"\"remove powder\", ", "", "Add \"remove powder\""},
	{"\"stress relieve\", ", "", "Add \"stress relieve\""},
	{"\"mill\", ", "", "Add \"mill\" before \"ream\""},
	{"\"remove powder\", \"stress relieve\"", "\"stress relieve\", \"remove powder\"", "Move \"remove powder\" to before \"stress relieve\""},
	{"[route]", "[routes]", ""},
	{"at ", "at = at ", ""},
	{"units", "unit", "Write "},
	{" mm\"", "\"", ""},
	{" mm\"", " mn\"", ""},
	{"[[void]]", "[void]", "Write [[void]]"},
}

// Every action that is offered, on right texts and on spoiled ones, leaves a
// text with no more broken lines than before, edits nothing twice, and fits the
// version.
func TestActionsLeaveTextsThatParse(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(actingEditor(true))
	path := workspace(t)
	source, err := os.ReadFile(filepath.Join(demo, "parts", "distributor.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(string(source), "distributor.stl", "plate.obj")
	text = strings.Replace(text, "../shop.toml", "shop.toml", 1)
	e.Open(path, text)
	total := 0
	for _, c := range append([]struct{ from, to, title string }{{"", "", ""}}, spoiled...) {
		if !strings.Contains(text, c.from) {
			t.Errorf("the demo has no %q", c.from)
			continue
		}
		e.Rewrite(path, strings.Replace(text, c.from, c.to, 1))
		e.WaitShown(path, "findings", nil)
		total += everyAction(t, path, e.Content(path), c.title, func() []*protocol.CodeAction {
			return actionsOn(t, e, path, e.Content(path))
		}, func(a *protocol.CodeAction) string { return acted(t, e, path, a.Edit, true) })
	}
	if total < 40 {
		t.Errorf("only %d actions were tried", total)
	}
}

// everyAction applies each action that is offered on a whole text.
func everyAction(t *testing.T, path, text, title string, offered func() []*protocol.CodeAction, apply func(*protocol.CodeAction) string) (tried int) {
	t.Helper()
	before, _ := spec.ParsePart(path, []byte(text))
	found := title == ""
	for _, a := range offered() {
		found = found || strings.HasPrefix(a.Title, title)
		if a.Edit == nil {
			continue
		}
		tried++
		left := apply(a)
		after, _ := spec.ParsePart(path, []byte(left))
		if left == text {
			t.Errorf("%q changes nothing", a.Title)
		}
		if n, m := broken(&parsed{Doc: before.Doc}), broken(&parsed{Doc: after.Doc}); m > n {
			t.Errorf("%q leaves %d broken lines of %d:\n%s", a.Title, m, n, left)
		}
	}
	if !found {
		t.Errorf("no action %q is offered on\n%s", title, text)
	}
	return tried
}
