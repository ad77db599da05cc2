package lsp

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/spec"
)

// laid is a text after it was laid out.
func laid(kind kind, text string) string {
	edits := layout(parse("x", kind, []byte(text)))
	for _, e := range slices.Backward(edits) {
		text = text[:e.At.Start] + e.Text + text[e.At.End:]
	}
	return text
}

func TestLayout(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", ""},
		{"a=1", "a = 1\n"},
		{"part=\"x\"\nschema =  1 # why  \n", "part   = \"x\"\nschema = 1 # why\n"},
		{"\n\n  schema = 1\n\n\n\n[mesh]   \n\tfile=\"a\"\n\n\n", "schema = 1\n\n[mesh]\nfile = \"a\"\n"},
		{"a = 1\n[b]\n", "a = 1\n\n[b]\n"},
		{"a = 1\n# about b\n# more\n[b]\n", "a = 1\n\n# about b\n# more\n[b]\n"},
		{"a = 1\n# the end\n\n[b]\n", "a = 1\n# the end\n\n[b]\n"},
		{"# first\n[b]\n", "# first\n[b]\n"},
		{"a = 1\n\nlonger = 2\n", "a = 1\n\nlonger = 2\n"},
		{"µ = 1\nab = 2\n", "µ = 1\nab = 2\n"}, // not TOML: left alone
		{"\"µ\" = 1\nabcd = 2\n", "\"µ\"  = 1\nabcd = 2\n"},
		{"a = [\n   1,  \n\n 2 ]  \nbb=3\n", "a  = [\n   1,  \n\n 2 ]\nbb = 3\n"}, // what stands inside a value stays
		{"a = \"\"\"\n  keep  \n\n\n# no comment\n\"\"\"\n", "a = \"\"\"\n  keep  \n\n\n# no comment\n\"\"\"\n"},
		{"a=1\r\n[b]\r\nc=2", "a = 1\r\n\r\n[b]\r\nc = 2\r\n"},
		{"\ufeffa=1\n", "\ufeffa = 1\n"},
		{"wall.thickness=1\nwall . free = 2\n", "wall.thickness = 1\nwall . free    = 2\n"},
		{"a = \n b=1\n", "a = \n b=1\n"}, // broken: left alone
		{"# only\n\n\n# comments", "# only\n\n# comments\n"},
	} {
		if got := laid(partFile, c.text); got != c.want {
			t.Errorf("%q is laid out as %q, want %q", c.text, got, c.want)
		}
	}
}

// content is everything in a text that must not change: values with their
// paths, and comments, in order.
func content(kind kind, text string) string {
	p := parse("x", kind, []byte(text))
	var b strings.Builder
	p.Walk(func(path []string, n *spec.Node, _ *spec.KeyInfo) bool {
		fmt.Fprintf(&b, "%q %v %v\n", path, n.Kind, n.Value)
		return true
	})
	for _, c := range p.Comments {
		fmt.Fprintf(&b, "%s\n", bytes.TrimRight(p.Text[c.Start:c.End], " \t"))
	}
	return b.String()
}

func TestLayoutChangesNothingButBlanks(t *testing.T) {
	specText, err := os.ReadFile(filepath.Join(demo, "parts", "distributor.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	shopText, err := os.ReadFile(filepath.Join(demo, "shop.toml"))
	if err != nil {
		t.Fatal(err)
	}
	changed := 0
	for seed := range uint64(400) {
		rng := rand.New(rand.NewPCG(seed, 21))
		kind, text := partFile, string(specText)
		if seed%2 == 1 {
			kind, text = shopFile, string(shopText)
		}
		text = looser(rng, text)
		got := laid(kind, text)
		if got != text {
			changed++
		}
		if again := laid(kind, got); again != got {
			t.Fatalf("seed %d: laid out twice it is\n%s\nonce it is\n%s", seed, again, got)
		}
		if before, after := content(kind, text), content(kind, got); before != after {
			t.Fatalf("seed %d: layout changed\n%s\nto\n%s", seed, before, after)
		}
		if strings.Join(strings.Fields(text), "") != strings.Join(strings.Fields(got), "") {
			t.Fatalf("seed %d: layout changed more than blanks:\n%s", seed, got)
		}
	}
	if changed < 300 {
		t.Errorf("only %d texts were changed at all", changed)
	}
	for kind, text := range map[kind]string{partFile: string(specText), shopFile: string(shopText)} {
		if got := laid(kind, text); got != text {
			t.Errorf("the demo is not laid out as it should be:\n%s", got)
		}
	}
}

// looser puts blanks, comments and blank lines where TOML allows them, or takes
// blanks away.
func looser(rng *rand.Rand, text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(line, "\n")
		if i := strings.Index(line, " = "); i > 0 && !strings.Contains(line[:i], "#") && rng.IntN(3) == 0 {
			line = strings.TrimRight(line[:i], " ") + strings.Repeat(" ", rng.IntN(4)) + "=" + strings.Repeat("\t", rng.IntN(2)) + line[i+3:]
		}
		switch rng.IntN(12) {
		case 0:
			line = "  " + line
		case 1:
			line += "  \t"
		case 2:
			line += "\n\n"
		case 3:
			line += "\n# a comment" + strings.Repeat(" ", rng.IntN(3))
		case 4:
			line += " # 🔩"
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}

// FuzzLayout holds the layout of any text to changing nothing but blanks: no
// value, no comment, no order.
func FuzzLayout(f *testing.F) {
	f.Add(plateText, true)
	f.Add("a=[ 1,\n 2 ] # x\n\n\n[b]\nc={d=1}", false)
	f.Add("a = \"\"\"\n x \n\"\"\"\r\nb=1", true)
	f.Fuzz(func(t *testing.T, text string, part bool) {
		kind := shopFile
		if part {
			kind = partFile
		}
		got := laid(kind, text)
		if before, after := content(kind, text), content(kind, got); before != after {
			t.Fatalf("layout changed\n%s\nto\n%s", before, after)
		}
		if again := laid(kind, got); again != got {
			t.Fatalf("laid out twice %q is %q, once %q", text, again, got)
		}
		if strings.Join(strings.Fields(text), "") != strings.Join(strings.Fields(got), "") {
			t.Fatalf("layout of %q changed more than blanks: %q", text, got)
		}
	})
}

func TestFormattingIsServed(t *testing.T) {
	e := startReal(t, Options{})
	e.Initialize(nil)
	path := specPath(t)
	text := "part=\"🔩\" # µ  \nschema =  1\n[mesh]\n"
	e.Open(path, text)
	params := &protocol.DocumentFormattingParams{}
	params.TextDocument.URI = uriOf(path)
	var got []protocol.TextEdit
	if err := e.Call(protocol.MethodTextDocumentFormatting, params, &got); err != nil {
		t.Fatal(err)
	}
	lines := newLineTable([]byte(text))
	for _, x := range slices.Backward(got) {
		text = text[:lines.offset(x.Range.Start, e.Unit)] + x.NewText + text[lines.offset(x.Range.End, e.Unit):]
	}
	if want := "part   = \"🔩\" # µ\nschema = 1\n\n[mesh]\n"; text != want {
		t.Errorf("formatted text is %q, want %q", text, want)
	}
}
