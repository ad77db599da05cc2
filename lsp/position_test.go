package lsp

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/lsp/lsptest"
	"corbel/spec"
)

var allUnits = []protocol.PositionEncodingKind{
	protocol.PositionEncodingKindUTF8, protocol.PositionEncodingKindUTF16, protocol.PositionEncodingKindUTF32,
}

// texts holds what positions go wrong on.
var texts = []string{
	"",
	"\n",
	"\r",
	"\r\n",
	"\r\r\n\n\r",
	"one line, no end",
	"a = \"0.4 mm\"\nb = \"12 µm\"\n",
	"dos\r\nlines\r\n\r\nlast",
	"old mac\rlines\rlast\r",
	"Ø12 µ\né combining e\u0301\n🔩 bolt 🔩\n\ttab",
	"🔩",
	"\ufeffwith a mark\n",
	"x\u2028no line end here\u0085nor here\n",
	"bad \xff bytes \xc3\n\xf0\x9f",
}

// inCharacter reports whether an offset splits a character or a CRLF.
func inside(text string, at int) bool {
	if at > 0 && at < len(text) && text[at-1] == '\r' && text[at] == '\n' {
		return true
	}
	for start := at; start > 0 && at-start < utf8.UTFMax; {
		start--
		if _, size := utf8.DecodeRuneInString(text[start:]); utf8.RuneStart(text[start]) {
			return start+size > at
		}
	}
	return false
}

func TestPositionsAgreeWithThePlainCount(t *testing.T) {
	for _, text := range texts {
		lines := newLineTable([]byte(text))
		for _, unit := range allUnits {
			for at := 0; at <= len(text); at++ {
				got := lines.position(at, unit)
				if inside(text, at) {
					if back := lines.offset(got, unit); back > at || at-back >= utf8.UTFMax {
						t.Errorf("%q: %d inside a character goes to %d", text, at, back)
					}
					continue
				}
				if want := lsptest.Position(text, at, unit); got != want {
					t.Errorf("%q: position of %d in %s is %v, want %v", text, at, unit, got, want)
				}
				if back := lines.offset(got, unit); back != at {
					t.Errorf("%q: %d in %s goes there and back to %d", text, at, unit, back)
				}
			}
		}
	}
}

func TestPositionsOutsideTheTextAreClamped(t *testing.T) {
	text := "ab\r\nµ🔩\rlast"
	lines := newLineTable([]byte(text))
	for _, c := range []struct {
		line, character uint32
		unit            protocol.PositionEncodingKind
		want            int
	}{
		{0, 2, protocol.PositionEncodingKindUTF16, 2},
		{0, 3, protocol.PositionEncodingKindUTF16, 2},          // past the end of a line
		{0, 1 << 31, protocol.PositionEncodingKindUTF8, 2},     // far past it
		{0, ^uint32(0), protocol.PositionEncodingKindUTF32, 2}, // as far as can be
		{1, 2, protocol.PositionEncodingKindUTF16, 6},          // between two halves
		{1, 3, protocol.PositionEncodingKindUTF16, 10},
		{1, 1, protocol.PositionEncodingKindUTF8, 4}, // inside µ
		{1, 2, protocol.PositionEncodingKindUTF8, 6},
		{1, 2, protocol.PositionEncodingKindUTF32, 10},
		{2, 99, protocol.PositionEncodingKindUTF16, len(text)},
		{3, 0, protocol.PositionEncodingKindUTF16, len(text)}, // past the last line
		{^uint32(0), ^uint32(0), protocol.PositionEncodingKindUTF16, len(text)},
	} {
		got := lines.offset(protocol.Position{Line: c.line, Character: c.character}, c.unit)
		if got != c.want {
			t.Errorf("%d:%d in %s is at %d, want %d", c.line, c.character, c.unit, got, c.want)
		}
	}
	for _, at := range []int{-5, len(text) + 5} {
		p := lines.position(at, protocol.PositionEncodingKindUTF16)
		if back := lines.offset(p, protocol.PositionEncodingKindUTF16); back != max(0, min(at, len(text))) {
			t.Errorf("offset %d goes to %d", at, back)
		}
	}
	r := lines.rangeOf(spec.Range{Start: 4, End: 2}, protocol.PositionEncodingKindUTF16)
	if r.Start != r.End {
		t.Errorf("a range that ends before it starts is %v", r)
	}
}

func FuzzPositions(f *testing.F) {
	for _, text := range texts {
		f.Add(text, 3, uint32(1), uint32(2))
	}
	f.Fuzz(func(t *testing.T, text string, at int, line, character uint32) {
		lines := newLineTable([]byte(text))
		for _, unit := range allUnits {
			p := protocol.Position{Line: line, Character: character}
			offset := lines.offset(p, unit)
			if offset < 0 || offset > len(text) {
				t.Fatalf("offset %d outside a text of %d bytes", offset, len(text))
			}
			if q := lines.position(offset, unit); lines.offset(q, unit) != offset {
				t.Fatalf("offset %d is not kept", offset)
			}
			q := lines.position(at, unit)
			if r := lines.position(lines.offset(q, unit), unit); r != q {
				t.Fatalf("position %v becomes %v", q, r)
			}
		}
	})
}

// randomEdit picks two offsets that split nothing, and a piece of text.
func randomEdit(rng *rand.Rand, text string) (start, end int, insert string) {
	pick := func() int {
		for {
			if at := rng.IntN(len(text) + 1); !inside(text, at) {
				return at
			}
		}
	}
	start, end = pick(), pick()
	if start > end {
		start, end = end, start
	}
	if end-start > 20 {
		end = start
	}
	pieces := []string{"", "x", "bad", "thin", "\n", "\r\n", "\r", "µ", "🔩", "e\u0301", "= ", "\"0.4 mm\"", "[", "]]", "#"}
	return start, end, pieces[rng.IntN(len(pieces))]
}

func TestIncrementalEditsGiveTheEditorsText(t *testing.T) {
	for _, unit := range allUnits {
		for seed := range uint64(40) {
			rng := rand.New(rand.NewPCG(seed, 7))
			text := texts[int(seed)%(len(texts)-1)] // the last is not UTF-8, no editor sends it
			doc := newDocument(uri.File("/w/x.part.toml"), 1, []byte(text), unit)
			for range 60 {
				// Several changes in one message, each in the text before it.
				var changes []protocol.TextDocumentContentChangeEvent
				for range 1 + rng.IntN(3) {
					start, end, insert := randomEdit(rng, text)
					changes = append(changes, &protocol.TextDocumentContentChangePartial{
						Range: lsptest.Range(text, start, end, unit), Text: insert,
					})
					text = text[:start] + insert + text[end:]
				}
				doc = doc.edited(doc.version+1, changes)
				if string(doc.text) != text {
					t.Fatalf("seed %d, %s: text is %q, the editor's %q", seed, unit, doc.text, text)
				}
			}
		}
	}
}

func TestURISpellings(t *testing.T) {
	same := []uri.URI{"file:///w/a%20b/x%3A1.part.toml", "file:///w/a b/x:1.part.toml", "file:///w/c/../a%20b/x%3a1.part.toml"}
	for _, u := range same {
		if got := pathOf(u); got != "/w/a b/x:1.part.toml" {
			t.Errorf("path of %s is %q", u, got)
		}
	}
	for path, want := range map[string]kind{
		"/w/x.part.toml": partFile, "/w/.part.toml": partFile, "/w/shop.toml": shopFile, "/w/site.shop.toml": shopFile,
		"/w/x.toml": otherFile, "/w/part.toml": otherFile, "/w/workshop.toml": otherFile, "untitled:Untitled-1": otherFile,
	} {
		if got := kindOf(path); got != want {
			t.Errorf("kind of %s is %d, want %d", path, got, want)
		}
	}
}

func TestEditorsUnitIsTaken(t *testing.T) {
	e16, e8, e32 := protocol.PositionEncodingKindUTF16, protocol.PositionEncodingKindUTF8, protocol.PositionEncodingKindUTF32
	for _, c := range []struct {
		offered []protocol.PositionEncodingKind
		want    protocol.PositionEncodingKind
	}{
		{nil, e16},
		{[]protocol.PositionEncodingKind{"utf-7"}, e16},
		{[]protocol.PositionEncodingKind{"utf-7", e8}, e8},
		{[]protocol.PositionEncodingKind{e32, e8, e16}, e32},
		{[]protocol.PositionEncodingKind{e16}, e16},
	} {
		t.Run(fmt.Sprint(c.offered), func(t *testing.T) {
			e := startFake(t, nil, Options{})
			caps := &protocol.ClientCapabilities{}
			if c.offered != nil {
				caps.General = &protocol.GeneralClientCapabilities{PositionEncodings: c.offered}
			}
			e.Initialize(caps)
			if e.Unit != c.want {
				t.Fatalf("unit is %s, want %s", e.Unit, c.want)
			}
			path := specPath(t)
			text := "🔩 µ bad\n"
			e.Open(path, text)
			got := e.WaitShown(path, "findings", nil)
			at := strings.Index(text, "bad")
			if want := lsptest.Range(text, at, at+3, c.want); len(got) != 1 || got[0].Range != want {
				t.Errorf("findings %v, want one at %v", got, want)
			}
			e.Edit(path, 0, strings.Index(text, "bad"), "")
			e.WaitShown(path, "the finding to move", func(ds []protocol.Diagnostic) bool {
				return len(ds) == 1 && ds[0].Range.Start.Character == 0
			})
		})
	}
}

// An edit past the end of a line ends there, a lone carriage return ends a line,
// and a range that runs backwards is read forwards.
func TestEditsOutsideTheTextAreClamped(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "good\rgood\r\ngood")
	for i, c := range []struct {
		r      [4]uint32 // start line and character, end line and character
		insert string
		at     [][2]uint32 // of the word then
	}{
		{[4]uint32{0, 99, 0, 4294967295}, " bad", [][2]uint32{{0, 5}}},
		{[4]uint32{1, 99, 1, 99}, " bad", [][2]uint32{{0, 5}, {1, 5}}},
		{[4]uint32{9, 9, 9, 9}, "\rbad", [][2]uint32{{0, 5}, {1, 5}, {3, 0}}},
		{[4]uint32{3, 99, 1, 0}, "bad", [][2]uint32{{0, 5}, {1, 0}}},
	} {
		version := int32(i + 2)
		e.Notify(protocol.MethodTextDocumentDidChange, &protocol.DidChangeTextDocumentParams{
			TextDocument: protocol.VersionedTextDocumentIdentifier{TextDocumentIdentifier: protocol.TextDocumentIdentifier{URI: uriOf(path)}, Version: version},
			ContentChanges: []protocol.TextDocumentContentChangeEvent{&protocol.TextDocumentContentChangePartial{
				Range: protocol.Range{Start: protocol.Position{Line: c.r[0], Character: c.r[1]}, End: protocol.Position{Line: c.r[2], Character: c.r[3]}},
				Text:  c.insert,
			}},
		})
		e.Wait("the findings of an edit", func() bool {
			sets := e.ShownLocked(path)
			if len(sets) == 0 {
				return false
			}
			last := sets[len(sets)-1]
			if v, _ := last.Version.Get(); v != version {
				return false
			}
			var at [][2]uint32
			for _, d := range last.Diagnostics {
				at = append(at, [2]uint32{d.Range.Start.Line, d.Range.Start.Character})
			}
			if !slices.Equal(at, c.at) {
				t.Errorf("after edit %d the findings are at %v, want %v", i, at, c.at)
			}
			return true
		})
	}
}
