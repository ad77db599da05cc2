package lsp

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
	"corbel/rules"
	"corbel/spec"
)

// completeAt asks for completions at the mark "|" of a text, which is opened,
// and returns the offers and the text without its mark.
func completeAt(t *testing.T, e *lsptest.Editor, path, marked string) ([]protocol.CompletionItem, string) {
	t.Helper()
	at := strings.IndexByte(marked, '|')
	text := strings.Replace(marked, "|", "", 1)
	if e.Opened(path) {
		e.Rewrite(path, text)
	} else {
		e.Open(path, text)
	}
	params := &protocol.CompletionParams{}
	params.TextDocument.URI = uriOf(path)
	params.Position = lsptest.Position(text, at, e.Unit)
	var list protocol.CompletionList
	if err := e.Call(protocol.MethodTextDocumentCompletion, params, &list); err != nil {
		t.Fatal(err)
	}
	return list.Items, text
}

func labels(items []protocol.CompletionItem) []string {
	out := make([]string, len(items))
	for i, item := range items {
		out[i] = item.Label
	}
	return out
}

// taken is the text after an offer was taken.
func taken(text string, item protocol.CompletionItem, unit protocol.PositionEncodingKind) string {
	edit := item.TextEdit.(*protocol.TextEdit)
	lines := newLineTable([]byte(text))
	return text[:lines.offset(edit.Range.Start, unit)] + edit.NewText + text[lines.offset(edit.Range.End, unit):]
}

func TestCompletionInHalfTypedText(t *testing.T) {
	path := workspace(t)
	if err := os.Mkdir(filepath.Join(filepath.Dir(path), "meshes"), 0o755); err != nil {
		t.Fatal(err)
	}
	now := func() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }
	e := startReal(t, Options{Rules: rules.Options{Now: now}})
	e.Initialize(nil)
	const head = "schema = 1\nprocess = \"PBF-LB/M\"\nmaterial = \"AlSi10Mg\"\nmachine = \"bay 2\"\n"
	for _, c := range []struct {
		text  string
		take  string // the label that is taken
		want  string // the line of the mark after that
		lacks string // a label that is not offered
	}{
		{"|", "schema", "schema = ", ""},
		{"ma|", "material", "material = ", ""},
		{head + "|", "[mesh]", "[mesh]", "schema"},
		{"[mesh]\n|", "file", "file = ", "part"},
		{"[mesh]\nfi|", "file", "file = ", "part"},
		{"[mesh]\nfi| = \"x.stl\"", "file", "file = \"x.stl\"", ""},
		{"[mesh]\nunits = \"mm\"\n|", "[[hole]]", "[[hole]]", "units"},
		{"[me|", "[mesh]", "[mesh]", "[limits.\"PBF-LB/M\"]"},
		{"[[ho|", "[[hole]]", "[[hole]]", ""},
		{"process = |", "PBF-EB/M", "process = \"PBF-EB/M\"", ""},
		{"process = P|", "MEX/M", "process = \"MEX/M\"", ""},
		{"process = \"|", "BJT/M", "process = \"BJT/M\"", ""},
		{"process = \"PB|F-LB\" # how", "PBF-LB/M", "process = \"PBF-LB/M\" # how", ""},
		{"process = '|'", "PBF-LB/M", "process = 'PBF-LB/M'", ""},
		{"process = \"PBF-LB/M\" |", "", "", "PBF-EB/M"},
		{head + "machine = |", "bay 1", "machine = \"bay 1\"", "bay 3"},
		{"machine = |", "bay 3", "machine = \"bay 3\"", ""},
		{"machine = \"bay 2\"\nmaterial = \"|\"", "AlSi10Mg", "material = \"AlSi10Mg\"", ""},
		{"use = |", "flight", "use = \"flight\"", ""},
		{"[mesh]\nfile = \"|\"", "plate.obj", "file = \"plate.obj\"", "shop.toml"},
		{"[mesh]\nfile = \"../|\"", "../" + filepath.Base(filepath.Dir(path)) + "/", "file = \"../" + filepath.Base(filepath.Dir(path)) + "/\"", "plate.obj"},
		{"shop = |", "shop.toml", "shop = \"shop.toml\"", "plate.obj"},
		{"[orientation]\nup = |", "+y", "up = \"+y\"", ""},
		{"[orientation]\nturn = \"30|\"", "30 deg", "turn = \"30 deg\"", "30 mm"},
		{"[[hole]]\ndiameter = 0.4|", "0.4 mm", "diameter = \"0.4 mm\"", "0.4 deg"},
		{"[[hole]]\ndiameter = \"0.4 m|\"", "0.4 um", "diameter = \"0.4 um\"", ""},
		{"[[hole]]\ndiameter = |", "10 mm", "diameter = \"10 mm\"", ""},
		{"[[void]]\nsealed = |", "true", "sealed = true", ""},
		{"[route]\nsteps = [\"mill\", |]", "ream", "steps = [\"mill\", \"ream\"]", "mill"},
		{"[route]\nsteps = [\"mill\", \"re|", "remove powder", "steps = [\"mill\", \"remove powder\"", "mill"},
		{"[route]\nsteps = [\n  \"mill\",\n  |\n]", "ream", "  \"ream\"", "mill"},
		{"[limits]\n|", "wall.thickness", "wall.thickness = ", "wall"},
		{"[limits]\nwa|", "wall.free", "wall.free = ", ""},
		{"[limits]\nwall.|", "thickness", "wall.thickness = ", ""},
		{"[limits]\nwall.th|", "thickness", "wall.thickness = ", ""},
		{head + "[limits]\nwall.thickness = |", "0.6 mm", "wall.thickness = \"0.6 mm\"", ""},
		{"[limits]\nwall.thickness = { |", "value", "wall.thickness = { value = ", ""},
		{"[limits]\nwall.thickness = { value = \"1|", "1 mm", "wall.thickness = { value = \"1 mm\"", ""},
		{"[[waiver]]\ncheck = |", "overhang", "check = \"overhang\"", ""},
		{"[[waiver]]\nuntil = |", "2027-11-25", "until = 2027-11-25", ""},
		{"# me|", "", "", "[mesh]"},
		{"[mesh] |", "", "", "file"},
		{"part = \"|\"", "", "", "schema"},
		{"\ufeffma|", "material", "\ufeffmaterial = ", ""},
		{"part = \"🔩 µ\"\r\nma|", "material", "material = ", ""},
	} {
		items, text := completeAt(t, e, path, c.text)
		if c.lacks != "" && slices.Contains(labels(items), c.lacks) {
			t.Errorf("%q: %q is offered", c.text, c.lacks)
		}
		if c.take == "" {
			continue
		}
		i := slices.Index(labels(items), c.take)
		if i < 0 {
			t.Errorf("%q: offers are %q, want %q", c.text, labels(items), c.take)
			continue
		}
		line := strings.Count(c.text[:strings.IndexByte(c.text, '|')], "\n")
		if got := strings.TrimSuffix(strings.Split(taken(text, items[i], e.Unit), "\n")[line], "\r"); got != c.want {
			t.Errorf("%q: taking %q leaves %q, want %q", c.text, c.take, got, c.want)
		}
	}
}

func TestCompletionInTheShopFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop.toml")
	e := startReal(t, Options{})
	e.Initialize(nil)
	const machines = "[[machine]]\nname = \"bay 2\"\nprocess = \"PBF-LB/M\"\n[[material]]\nname = \"Al 6061.5\"\n"
	for _, c := range []struct{ text, take, want string }{
		{"|", "[limits.\"PBF-LB/M\"]", "[limits.\"PBF-LB/M\"]"},
		{machines + "[limits.|", "[limits.\"PBF-LB/M\".machine.\"bay 2\"]", "[limits.\"PBF-LB/M\".machine.\"bay 2\"]"},
		{machines + "[limits.\"PBF|", "[limits.\"PBF-LB/M\".material.\"Al 6061.5\"]", "[limits.\"PBF-LB/M\".material.\"Al 6061.5\"]"},
		{"[limits.\"BJT/M\"]\nsin|", "sinter.size", "sinter.size = "},
		{"[levels]\nslen|", "slenderness", "slenderness = "},
		{"[levels]\nwall = |", "off", "wall = \"off\""},
		{"[policy]\nwaivable = [\"wall\", \"|\"]", "overhang", "waivable = [\"wall\", \"overhang\"]"},
		{"[policy]\nloosen = [|]", "overhang.ledge", "loosen = [\"overhang.ledge\"]"},
		{machines + "[[machine]]\nmaterials = [|]", "Al 6061.5", "materials = [\"Al 6061.5\"]"},
		{"[[machine]]\nbuild = { |", "x", "build = { x = "},
		{"[[material]]\ndensity = \"2.7|\"", "2.7 g/cm3", "density = \"2.7 g/cm3\""},
	} {
		items, text := completeAt(t, e, path, c.text)
		i := slices.Index(labels(items), c.take)
		if i < 0 {
			t.Errorf("%q: offers are %q, want %q", c.text, labels(items), c.take)
			continue
		}
		line := strings.Count(c.text[:strings.IndexByte(c.text, '|')], "\n")
		if got := strings.Split(taken(text, items[i], e.Unit), "\n")[line]; got != c.want {
			t.Errorf("%q: taking %q leaves %q, want %q", c.text, c.take, got, c.want)
		}
	}
}

// A hole of the mesh can be named by its place.
func TestCompletionOffersPlacesOnTheMesh(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := openPlate(t, e)
	e.Replace(path, "at       = [10, 6, 0.2]", "at       = ")
	e.WaitShown(path, "findings", nil)
	items, text := completeAt(t, e, path, strings.Replace(e.Content(path), "at       = ", "at       = |", 1))
	i := slices.Index(labels(items), "[10, 6, 0.2]")
	if i < 0 {
		t.Fatalf("offers are %q", labels(items))
	}
	if got := taken(text, items[i], e.Unit); got != plateText {
		t.Errorf("taking it leaves\n%s", got)
	}
}

func TestSnippetsAreSentToEditorsThatTakeThem(t *testing.T) {
	for _, takes := range []bool{true, false} {
		t.Run(map[bool]string{true: "takes", false: "does not"}[takes], func(t *testing.T) {
			e := startReal(t, Options{})
			e.Initialize(&protocol.ClientCapabilities{TextDocument: &protocol.TextDocumentClientCapabilities{
				Completion: &protocol.CompletionClientCapabilities{CompletionItem: &protocol.ClientCompletionItemOptions{SnippetSupport: &takes}},
			}})
			items, _ := completeAt(t, e, workspace(t), "[[ho|")
			want := "[[hole]]"
			if takes {
				want = "[[hole]]\nname = \"${1:inlet}\"\nat = [${2:12, 0, 30}]\ndiameter = \"${3:10 mm}\""
			}
			i := slices.Index(labels(items), "[[hole]]")
			if got := items[i].TextEdit.(*protocol.TextEdit).NewText; got != want {
				t.Errorf("inserted %q, want %q", got, want)
			}
			if snippet := items[i].InsertTextFormat == protocol.InsertTextFormatSnippet; snippet != takes {
				t.Errorf("snippet is %v", snippet)
			}
		})
	}
}

// Whatever is offered anywhere in a text, also in one cut short there, leaves a
// text with no more broken lines than before.
func TestNoOfferBreaksTheText(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	shop, err := os.ReadFile(filepath.Join(demo, "shop.toml"))
	if err != nil {
		t.Fatal(err)
	}
	offered := 0
	for path, whole := range map[string]string{workspace(t): plateText, filepath.Join(t.TempDir(), "shop.toml"): string(shop)} {
		kind := kindOf(path)
		for at := 0; at <= len(whole); at += 17 {
			for _, rest := range []string{whole[at:], ""} {
				items, text := completeAt(t, e, path, whole[:at]+"|"+rest)
				before := broken(parse(path, kind, []byte(text)))
				for _, item := range items {
					if strings.HasSuffix(item.TextEdit.(*protocol.TextEdit).NewText, "= ") {
						continue // the value is still to be typed
					}
					offered++
					after := taken(text, item, e.Unit)
					if n := broken(parse(path, kind, []byte(after))); n > before {
						t.Fatalf("offer %q at %d leaves %d broken lines in place of %d:\n%s", item.Label, at, n, before, after)
					}
				}
			}
		}
	}
	if offered < 1000 {
		t.Errorf("only %d offers were tried", offered)
	}
}

func broken(p *parsed) int {
	n := 0
	for _, s := range p.Statements {
		if s.Broken || s.Kind == spec.StatementBroken {
			n++
		}
	}
	return n
}
