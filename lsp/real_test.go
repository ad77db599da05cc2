package lsp

import (
	"context"
	"fmt"
	"io"
	"io/fs"
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
	t.Cleanup(func() { goleak.VerifyNone(t) })
	return lsptest.Start(t, func(ctx context.Context, in io.Reader, out io.Writer) int {
		return Serve(ctx, in, out, o)
	})
}

// filesOf lists the texts of the testdata that the server has findings for.
func filesOf(t testing.TB, root string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && kindOf(path) != otherFile {
			out = append(out, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) == 0 {
		t.Fatalf("no texts below %s", root)
	}
	return out
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
	var found []rules.Finding
	if kindOf(path) == shopFile {
		found = engine.ShopFile(t.Context(), path).Findings
	} else {
		found = engine.Part(t.Context(), path, mode).Findings
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
	engine := rules.New(rules.Options{ReadFile: os.ReadFile})
	total := 0
	for _, path := range filesOf(t, demo) {
		path = absolute(t, path)
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
	t.Logf("%d findings", total)
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
		fresh := rules.New(rules.Options{ReadFile: func(p string) ([]byte, error) {
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
