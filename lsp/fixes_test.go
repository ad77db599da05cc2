package lsp

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"go.lsp.dev/protocol"
	"golang.org/x/tools/txtar"

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
	// Once measured, what the mesh says is known at the first word on every text.
	e.WaitShown(path, "the wall", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
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
	t.Logf("%d actions", total)
	if total < 50 {
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

// everySpec are the part specs of the demo and of the archives, each with the
// plate for its mesh, which is measured once.
func everySpec(t *testing.T) []string {
	t.Helper()
	var out []string
	add := func(text []byte) {
		text = meshLine.ReplaceAll(text, []byte(`file = "plate.obj"`))
		out = append(out, string(shopLine.ReplaceAll(text, []byte(`shop = "shop.toml"`))))
	}
	parts, _ := filepath.Glob(filepath.Join(demo, "parts", "*.part.toml"))
	for _, path := range parts {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		add(text)
	}
	archives, _ := filepath.Glob("../testdata/checks/*.txtar")
	for _, path := range archives {
		a, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range a.Files {
			if strings.HasSuffix(f.Name, ".part.toml") {
				add(f.Data)
			}
		}
	}
	return out
}

var (
	meshLine = regexp.MustCompile(`(?m)^file *= *"[^"]*"`)
	shopLine = regexp.MustCompile(`(?m)^shop *= *"[^"]*"`)
)

// Every action on every spec, as it is and with a piece taken out of it or put
// into it anywhere, leaves a text with no more broken lines than before.
func TestActionsOnEverySpec(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(actingEditor(true))
	path := workspace(t)
	texts := everySpec(t)
	e.Open(path, plateText)
	e.WaitShown(path, "the wall", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	rng := rand.New(rand.NewPCG(51, 52))
	tried := 0
	for i, text := range texts {
		for _, spoil := range []bool{false, true} {
			if spoil {
				start, end, insert := randomEdit(rng, text)
				text = text[:start] + insert + text[end:]
			}
			e.Rewrite(path, text)
			e.WaitShown(path, "findings", nil)
			tried += everyAction(t, path, text, "", func() []*protocol.CodeAction {
				return actionsOn(t, e, path, text)
			}, func(a *protocol.CodeAction) string { return acted(t, e, path, a.Edit, true) })
			if t.Failed() {
				t.Fatalf("spec %d of %d, spoiled %v", i, len(texts), spoil)
			}
		}
	}
	if len(texts) < 100 || tried < 3*len(texts) {
		t.Errorf("only %d actions were tried on %d specs", tried, len(texts))
	}
	t.Logf("%d actions on %d specs", tried, len(texts))
}
