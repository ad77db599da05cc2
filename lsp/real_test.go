package lsp

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.lsp.dev/protocol"
	"go.uber.org/goleak"

	"corbel/lsp/lsptest"
	"corbel/rules"
	"corbel/spec"
)

// These tests run the server with the real rules.

func startReal(t testing.TB, o Options) *lsptest.Editor {
	t.Helper()
	if o.Wait == 0 {
		o.Wait = 1
	}
	if o.Cache == "" {
		o.Cache = t.TempDir()
	}
	if _, test := t.(*testing.T); test { // benchmarks start many at once
		t.Cleanup(func() { goleak.VerifyNone(t) })
	}
	return lsptest.Start(t, func(ctx context.Context, in io.Reader, out io.Writer) int {
		return Serve(ctx, in, out, o)
	})
}

func absolute(t testing.TB, path string) string {
	t.Helper()
	abs, err := filepath.Abs(path)
	if err != nil {
		t.Fatal(err)
	}
	return abs
}

const demo = "../testdata/demo"

// findingLine is a finding in a form that both ways of asking can be brought
// to: lines and columns from 1, columns in code points. A place without length
// is shown to the end of its line.
func findingLine(text []byte, f *rules.Finding) string {
	at := f.Where.At
	if at.End > 0 && at.End < len(text) && text[at.End-1] == '\r' && text[at.End] == '\n' {
		at.End-- // no editor has a place inside a line end
	}
	if at.Start >= at.End {
		end := at.Start
		for end < len(text) && text[end] != '\n' && text[end] != '\r' {
			end++
		}
		at.End = end
		for end == at.Start && at.Start > 0 && text[at.Start-1] != '\n' && text[at.Start-1] != '\r' {
			at.Start--
			end--
		}
	}
	start := lsptest.Position(string(text), at.Start, protocol.PositionEncodingKindUTF32)
	end := lsptest.Position(string(text), at.End, protocol.PositionEncodingKindUTF32)
	severity := map[rules.Level]int{rules.Error: 1, rules.Warning: 2, rules.Note: 3}[f.Level]
	return fmt.Sprintf("%d:%d-%d:%d %d %s %s", start.Line+1, start.Character+1, end.Line+1, end.Character+1, severity, f.Check, sentence(f))
}

func shownLine(d protocol.Diagnostic) string {
	code, _ := d.Code.(protocol.String)
	message, _ := d.Message.(protocol.String)
	return fmt.Sprintf("%d:%d-%d:%d %d %s %s", d.Range.Start.Line+1, d.Range.Start.Character+1,
		d.Range.End.Line+1, d.Range.End.Character+1, int(d.Severity), string(code), string(message))
}

// checked asks the rules directly, as the command line does.
func checked(t testing.TB, engine *rules.Engine, path string, text []byte, mode rules.Mode) []string {
	t.Helper()
	doc := newDocument(uriOf(path), 0, text, protocol.PositionEncodingKindUTF32)
	var found []rules.Finding
	if doc.kind == shopFile {
		r := engine.ShopFile(t.Context(), path)
		found = append(r.Findings, failures(doc, r.Findings, r.Failures)...)
	} else {
		r := engine.Part(t.Context(), path, mode)
		found = append(r.Findings, failures(doc, r.Findings, r.Failures)...)
	}
	out := []string{}
	for i := range found {
		if found[i].Waived == nil && found[i].Level != rules.Off {
			out = append(out, findingLine(text, &found[i]))
		}
	}
	return out
}

// The command line and the editor show the same findings, one for one.
func TestServeAgreesWithCheck(t *testing.T) {
	e := startReal(t, Options{})
	utf32 := protocol.PositionEncodingKindUTF32
	e.Initialize(&protocol.ClientCapabilities{General: &protocol.GeneralClientCapabilities{
		PositionEncodings: []protocol.PositionEncodingKind{utf32},
	}})
	engine := rules.New(rules.Options{})
	total := 0
	for _, name := range agreeing {
		path := absolute(t, filepath.Join(demo, name))
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		want := checked(t, engine, path, text, rules.Full)
		total += len(want)
		e.Open(path, string(text))
		var got []string
		e.WaitShown(path, fmt.Sprintf("the %d findings of %s", len(want), filepath.Base(path)), func(ds []protocol.Diagnostic) bool {
			got = got[:0]
			for _, d := range ds {
				got = append(got, shownLine(d))
			}
			return strings.Join(got, "\n") == strings.Join(want, "\n")
		})
	}
	if total < 3*len(agreeing) {
		t.Errorf("%d findings in all: too few to say that the two agree", total)
	}
}

// agreeing are files of the demo that are measured in a second or two and have
// findings of the text, of limits and of geometry.
var agreeing = []string{
	"shop.toml", "parts/distributor.part.toml", "parts/latch.part.toml", "parts/spray-nozzle.part.toml",
}

// After any edits the findings are those of a fresh start on the same text.
func TestEditsLeaveTheFindingsOfAFreshStart(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(&protocol.ClientCapabilities{General: &protocol.GeneralClientCapabilities{
		PositionEncodings: []protocol.PositionEncodingKind{protocol.PositionEncodingKindUTF32},
	}})
	source, err := os.ReadFile(filepath.Join(demo, "parts", "distributor.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	// Beside no mesh the geometry is cheap: this is about texts.
	path := filepath.Join(t.TempDir(), "distributor.part.toml")
	e.Open(path, string(source))
	rng := rand.New(rand.NewPCG(11, 12))
	var last string
	t.Cleanup(func() {
		if t.Failed() {
			t.Log(last)
		}
	})
	for round := range 30 {
		for range 100 {
			start, end, insert := randomEdit(rng, e.Content(path))
			e.Edit(path, start, end, insert)
		}
		if round%5 == 4 { // back to a text that means something
			e.Rewrite(path, string(source))
		}
		text := []byte(e.Content(path))
		fresh := rules.New(rules.Options{ReadFile: func(_, p string) ([]byte, error) {
			if p == path {
				return text, nil
			}
			return os.ReadFile(p)
		}})
		want := strings.Join(checked(t, fresh, path, text, rules.Full), "\n")
		e.WaitShown(path, "the findings of a fresh start", func(ds []protocol.Diagnostic) bool {
			var got []string
			for _, d := range ds {
				got = append(got, shownLine(d))
			}
			last = "shown:\n" + strings.Join(got, "\n") + "\nfresh:\n" + want
			return strings.Join(got, "\n") == want
		})
	}
}

// hoverOn asks about the first place where a piece of an open text stands.
func hoverOn(t *testing.T, e *lsptest.Editor, path, piece string) string {
	t.Helper()
	at := strings.Index(e.Content(path), piece)
	if at < 0 {
		t.Fatalf("%s has no %q", path, piece)
	}
	var h *protocol.Hover
	params := &protocol.HoverParams{}
	params.TextDocument.URI = uriOf(path)
	params.Position = lsptest.Position(e.Content(path), at+1, e.Unit)
	if err := e.Call(protocol.MethodTextDocumentHover, params, &h); err != nil {
		t.Fatal(err)
	}
	if h == nil {
		return ""
	}
	return h.Contents.(*protocol.MarkupContent).Value
}

func TestHover(t *testing.T) {
	const text = "schema = 1\nprocess = \"PBF-LB/M\"\n\n[[hole]]\nname = \"µ 🔩\" # a comment\ndiameter = \"0.4 mm\"\nfinish = \"ream\"\nnonsense = 1\n\n[limits]\nwall.thickness = \"0.5 mm\"\n"
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, text)
	diameter := spec.Lookup(spec.PartFile, "hole", "diameter").Doc
	for _, c := range []struct {
		on   string
		want []string
	}{
		{"diameter", []string{"hole.diameter: length, required", diameter}},
		{"0.4 mm", []string{"0.4 mm = 400 um", diameter}},
		{"ream", []string{"ream: reamed to size: a close fit."}},
		{"[[hole]]", []string{"hole: table", spec.Lookup(spec.PartFile, "hole").Doc}},
		{"PBF-LB", []string{"PBF-LB/M: powder bed fusion"}},
		{"finish", []string{"Without it: as-built.", "One of `as-built`"}},
		{"thickness", []string{"limits.wall.thickness: length"}},
		{"nonsense", []string{"spec: error"}},
	} {
		got := hoverOn(t, e, path, c.on)
		for _, w := range c.want {
			if !strings.Contains(got, w) {
				t.Errorf("hover on %q is %q, want it to hold %q", c.on, got, w)
			}
		}
	}
	for _, on := range []string{"\n\n[[hole]]", "comment"} {
		if got := hoverOn(t, e, path, on); got != "" {
			t.Errorf("hover on %q is %q, want none", on, got)
		}
	}
}

func TestHoverTakesTheEditorsForm(t *testing.T) {
	for _, c := range []struct {
		formats []protocol.MarkupKind
		want    protocol.MarkupKind
	}{
		{nil, protocol.MarkupKindPlainText},
		{[]protocol.MarkupKind{protocol.MarkupKindMarkdown, protocol.MarkupKindPlainText}, protocol.MarkupKindMarkdown},
		{[]protocol.MarkupKind{protocol.MarkupKindPlainText}, protocol.MarkupKindPlainText},
	} {
		t.Run(fmt.Sprint(c.formats), func(t *testing.T) {
			e := startReal(t, Options{})
			e.Initialize(&protocol.ClientCapabilities{TextDocument: &protocol.TextDocumentClientCapabilities{
				Hover: &protocol.HoverClientCapabilities{ContentFormat: c.formats},
			}})
			path := specPath(t)
			e.Open(path, "part = \"x\"\n")
			var h protocol.Hover
			params := &protocol.HoverParams{}
			params.TextDocument.URI = uriOf(path)
			if err := e.Call(protocol.MethodTextDocumentHover, params, &h); err != nil {
				t.Fatal(err)
			}
			m := h.Contents.(*protocol.MarkupContent)
			if m.Kind != c.want || strings.Contains(m.Value, "**") != (c.want == protocol.MarkupKindMarkdown) {
				t.Errorf("%v: hover is %s %q", c.formats, m.Kind, m.Value)
			}
		})
	}
}

// Words from files must not become links, pictures or code.
func TestHoverEscapesWhatIsInFiles(t *testing.T) {
	var p page
	p.data("![x](http://example.com/x.png) <img src=x> [a](command:b) `c` *d* &lt;\n# e")
	p.code("a = \"```\"")
	p.title("%s", "*_*")
	got := p.contents(true).Value
	want := "!\\[x\\](http://example.com/x.png) \\<img src=x\\> \\[a\\](command:b) \\`c\\` \\*d\\* \\&lt; \\# e\n\n````toml\na = \"```\"\n````\n\n**\\*\\_\\***"
	if got != want {
		t.Errorf("page is\n%s\nwant\n%s", got, want)
	}
	if got := p.contents(false).Value; strings.Contains(got, "\\") {
		t.Errorf("plain page has escapes: %s", got)
	}
	if got := inCode("a`b"); got != "`a'b`" {
		t.Errorf("code is %s", got)
	}
	if (&page{}).contents(true) != nil {
		t.Error("an empty page is shown")
	}
}

// openPlate opens the spec of a workspace and waits until its mesh is measured.
func openPlate(t *testing.T, e *lsptest.Editor) string {
	t.Helper()
	path := workspace(t)
	e.Open(path, plateText)
	e.WaitShown(path, "the thin wall", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	return path
}

func TestHoverOnNamesAndMeasurements(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := openPlate(t, e)
	for _, c := range []struct {
		on   string
		want []string
	}{
		{"bay 2", []string{"shop.toml:", "[[machine]]", `rate      = 95.0`}},
		{"AlSi10Mg", []string{"shop.toml:", "price      = 62.0", "built-in"}},
		{"plate.obj", []string{"OBJ in mm", "facets", "volume", "Wall is", "Limit from material, shop.toml:14: test comb TW-34"}},
		{"[[hole]]", []string{"The mesh has 4.00 mm here, through, 0.4 mm deep."}},
		{"up = ", []string{"As it stands: 20.0 x 0.4 x 12.0 mm", "mm2 of overhang"}},
		{"300 g", []string{"Estimated mass: ", " g."}},
		{"cost", []string{"Estimated cost: ", " EUR, ", "Made of machine ", "Figures: quantity ", "set-up "}},
	} {
		got := hoverOn(t, e, path, c.on)
		for _, w := range c.want {
			if !strings.Contains(got, w) {
				t.Errorf("hover on %q is\n%s\nwant it to hold %q", c.on, got, w)
			}
		}
	}
	// What a tolerance means, at once where it is written: ISO 286-1, from memory.
	end := strings.Index(e.Content(path), "[budget]")
	e.Edit(path, end, end, "tolerance = \"H7/g6\"\n\n")
	for _, w := range []string{"hole 4.000 to 4.012 mm, shaft 3.988 to 3.996 mm, 0.004 to 0.024 mm of clearance (clearance fit).", "As built to IT12, ", "draw it "} {
		if got := hoverOn(t, e, path, "H7/g6"); !strings.Contains(got, w) {
			t.Errorf("hover on a fit is\n%s\nwant it to hold %q", got, w)
		}
	}
	// A tighter limit of the part's own, over the material's, the shop's and the built-in one.
	e.Edit(path, len(e.Content(path)), len(e.Content(path)), "[limits]\nwall.thickness = \"0.7 mm\"\n")
	got := hoverOn(t, e, path, "thickness")
	for _, w := range []string{"In force: 0.7 mm, from part", "instead of 0.6 mm, from material", "test comb TW-34", "instead of 0.5 mm, from shop", "built-in"} {
		if !strings.Contains(got, w) {
			t.Errorf("hover on a limit is\n%s\nwant it to hold %q", got, w)
		}
	}
}

// A finding that a limit decides points at the line that set the limit.
func TestRelatedInformationNamesTheLimitsLine(t *testing.T) {
	for _, shows := range []bool{true, false} {
		t.Run(fmt.Sprint(shows), func(t *testing.T) {
			cache := t.TempDir()
			e := startReal(t, Options{Cache: cache})
			e.Initialize(&protocol.ClientCapabilities{TextDocument: &protocol.TextDocumentClientCapabilities{
				PublishDiagnostics: &protocol.PublishDiagnosticsClientCapabilities{
					DiagnosticsCapabilities: protocol.DiagnosticsCapabilities{RelatedInformation: &shows},
				},
			}})
			path := openPlate(t, e)
			sets := e.Shown(path)
			targets := map[string]string{} // the line pointed at, by file
			for _, d := range sets[len(sets)-1].Diagnostics {
				for _, r := range d.RelatedInformation {
					file := r.Location.URI.FsPath()
					text, err := os.ReadFile(file)
					if err != nil {
						t.Fatal(err)
					}
					lines := strings.Split(string(text), "\n")
					targets[filepath.Base(file)] += lines[r.Location.Range.Start.Line] + "\n"
				}
			}
			if !shows {
				if len(targets) != 0 {
					t.Errorf("an editor that shows none was told of %q", targets)
				}
				return
			}
			if got := targets["shop.toml"]; !strings.Contains(got, "wall.thickness = { value = \"0.6 mm\"") {
				t.Errorf("lines of the shop file pointed at: %q", got)
			}
			laid, _ := filepath.Glob(filepath.Join(cache, "builtin-*.shop.toml"))
			if len(laid) != 1 {
				t.Fatalf("the built-in file was laid as %q", laid)
			}
			if info, err := os.Stat(laid[0]); err != nil || info.Mode().Perm() != 0o444 {
				t.Errorf("the built-in file is %v, %v", info, err)
			}
		})
	}
}

func TestBuiltinFileIsLaidWhole(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "a", "b")
	first := layBuiltin(folder)
	text, err := os.ReadFile(first)
	if err != nil || string(text) != string(rules.BuiltinText()) {
		t.Fatalf("laid %d bytes, %v", len(text), err)
	}
	if again := layBuiltin(folder); again != first {
		t.Errorf("laid again at %s", again)
	}
	if left, _ := filepath.Glob(filepath.Join(folder, "*")); len(left) != 1 {
		t.Errorf("left behind: %q", left)
	}
	if path := layBuiltin(filepath.Join(first, "below a file")); path != "" {
		t.Errorf("laid below a file: %s", path)
	}
}

// What a long day of typing leaves behind is bounded: old texts, their parses
// and their findings go.
func TestEditsLeaveNoMemoryBehind(t *testing.T) {
	const edits, growthMB = 1500, 48.0
	path := workspace(t)
	e := startReal(t, Options{})
	e.Initialize(nil)
	e.Open(path, longSpec())
	thin := func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") }
	e.WaitShown(path, "all findings", thin)
	before := heapMB()
	for i := range edits {
		e.Replace(path, "# "+fmt.Sprint(i)+" end", "# "+fmt.Sprint(i+1)+" end")
		e.WaitShown(path, "the findings of an edit", thin)
	}
	if grown := heapMB() - before; grown > growthMB {
		t.Errorf("memory grew by %.0f MB in %d edits, at most %.0f are allowed", grown, edits, growthMB)
	} else {
		t.Logf("memory grew by %.1f MB", grown)
	}
}

// A mesh that is read while it is being written is spoken of as it is at that
// moment, and in the end as it is in the end: nothing of a half file stays.
func TestHalfWrittenMesh(t *testing.T) {
	path := workspace(t)
	mesh := filepath.Join(filepath.Dir(path), "plate.obj")
	whole, err := os.ReadFile(mesh)
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Join(checked(t, rules.New(rules.Options{}), path, []byte(plateText), rules.Full), "\n")
	e := startReal(t, Options{})
	e.Initialize(&protocol.ClientCapabilities{General: &protocol.GeneralClientCapabilities{
		PositionEncodings: []protocol.PositionEncodingKind{protocol.PositionEncodingKindUTF32},
	}})
	shows := func(what string, same bool) {
		t.Helper()
		e.WaitShown(path, what, func(ds []protocol.Diagnostic) bool {
			var got []string
			for _, d := range ds {
				got = append(got, shownLine(d))
			}
			return len(ds) > 0 && (strings.Join(got, "\n") == want) == same
		})
	}
	e.Open(path, plateText)
	shows("the findings", true)
	// A half file that stays for a while is seen as such; then the rest comes.
	for _, share := range []float64{0, 0.5, 0.97} {
		write(t, mesh, string(whole[:int(share*float64(len(whole)))]))
		touched(e, mesh)
		shows("the findings of a part of the mesh", false)
		write(t, mesh, string(whole))
		touched(e, mesh)
		shows("the findings of the whole mesh again", true)
	}
	// Pieces that follow each other at once, each told by the editor.
	rng := rand.New(rand.NewPCG(41, 42))
	for range 5 {
		f, err := os.Create(mesh)
		if err != nil {
			t.Fatal(err)
		}
		for rest := whole; len(rest) > 0; {
			n := min(len(rest), 1+rng.IntN(len(whole)/4))
			if _, err := f.Write(rest[:n]); err != nil {
				t.Fatal(err)
			}
			touched(e, mesh)
			rest = rest[n:]
		}
		f.Close()
		touched(e, mesh)
	}
	shows("the findings of the mesh that was written last", true)
}
