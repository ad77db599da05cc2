package spec

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	gotoml "github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"
)

// small keeps a fuzzer's inputs quick to read.
const smallText = 8 << 10

// seeds are the texts that every fuzzer of a whole file starts from: the demo,
// the specs with problems, and half-typed lines.
func seeds(f *testing.F) {
	f.Helper()
	n := 0
	for _, glob := range []string{"../testdata/demo/parts/*.toml", "../testdata/demo/*.toml", "testdata/problems/*.toml"} {
		files, _ := filepath.Glob(glob)
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text)
			n++
		}
	}
	if n < 10 {
		f.Fatalf("only %d seeds were found", n)
	}
	for _, c := range halfTyped {
		f.Add([]byte(fmt.Sprintf("part = \"a\"\n%s\n[mesh]\nfile = \"b.stl\"\n", c.line)))
	}
	f.Add([]byte("\xef\xbb\xbfa = 1\r\nb = [[{\"\" = 2}]]\r\n"))
	f.Add([]byte("a = 1\rb = \"\xb5\"\x00\r"))
	f.Add([]byte("a.b = 1\n[a]\nc = 2\n[[a.d]]\n[a.d.e]\n'f.g'.\"h\" = { i = { j = 1.5 }, k = [1, [2, {l = 3}]] }\n"))
}

// FuzzIndex holds the index against both libraries: what both accept has no
// problem and the same leaves, what both refuse has one; and whatever the text
// is, ranges and places are sound.
func FuzzIndex(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > smallText {
			return
		}
		checkIndex(t, text)
	})
}

func checkIndex(t interface {
	Errorf(string, ...any)
	Fatalf(string, ...any)
}, text []byte) {
	bounds := DefaultBounds
	doc, problems := newDoc(text, PartFile, bounds)
	checkRanges(t, doc)
	if len(text) < 1<<10 {
		checkPlaces(t, doc)
	}
	for _, p := range problems.list {
		if strings.Contains(p.Message, "more than") {
			return // beyond our own bounds the libraries are not asked
		}
	}
	var a, b map[string]any
	_, errA := toml.Decode(string(text), &a)
	errB := gotoml.Unmarshal(text[len(bomOf(text)):], &b)
	switch whole := len(problems.list) == 0; {
	case whole && errA != nil:
		t.Errorf("accepted, but BurntSushi/toml says %v:\n%q", errA, text)
	case whole && errB != nil:
		t.Errorf("accepted, but go-toml says %v:\n%q", errB, text)
	case !whole && errA == nil && errB == nil && fmt.Sprint(plainGo(a)) == fmt.Sprint(plainGo(b)):
		t.Errorf("both libraries accept it, we say %v:\n%q", problems.list[0], text)
	case whole:
		have := fmt.Sprint(plainTree(doc.Root))
		if want := fmt.Sprint(plainGo(b)); want != have {
			t.Errorf("go-toml has %s\nwe have %s in\n%q", want, have, text)
		}
	}
}

// FuzzPart and FuzzShop read whole files: nothing panics, problems are sound,
// and what is read does not depend on what stands behind it.
func FuzzPart(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) <= smallText {
			checkFile(t, "x.part.toml", text)
		}
	})
}

func FuzzShop(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) <= smallText {
			checkFile(t, "shop.toml", text)
		}
	})
}

func checkFile(t *testing.T, name string, text []byte) {
	before := string(text)
	doc, problems := parseAny(name, text)
	if string(text) != before {
		t.Fatal("the text was changed")
	}
	for i, p := range problems {
		if p.At.Start < 0 || p.At.End < p.At.Start || p.At.End > len(text) {
			t.Fatalf("%s: %v is outside %d bytes", p.Message, p.At, len(text))
		}
		if i > 0 && p.At.Start < problems[i-1].At.Start {
			t.Fatalf("problem %d is out of order", i)
		}
		if p.Message == "" || p.Help == "" || p.Level == "" || strings.ContainsAny(p.Message, "\n\r") {
			t.Fatalf("incomplete problem %+v", p)
		}
		for _, f := range p.Fixes {
			if f.At.Start < 0 || f.At.End < f.At.Start || f.At.End > len(text) || f.Title == "" {
				t.Fatalf("unsound fix %+v", f)
			}
		}
	}
	if len(problems) > DefaultBounds.Problems+1 {
		t.Fatalf("%d problems", len(problems))
	}
	doc.Walk(func(path []string, n *Node, _ *KeyInfo) bool {
		if len(path) == 0 {
			t.Fatalf("a node without a path: %+v", n)
		}
		return true
	})
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"0.4 mm", "45°", "-1e3um", "0,4 mm", "4 MM", "", "+-0.05 mm", "H7", "1e999 m", "7.2 mm3/s", "20 %", "\u03bcm", ".5in"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for d := None; d <= Temperature; d++ {
			q, err := ParseQuantity(s, d)
			if err == nil {
				again, err := ParseQuantity(q.String(), d)
				if err != nil || FormatNumber(again.Num) != FormatNumber(q.Num) || again.Unit != q.Unit {
					t.Fatalf("%q is %v, written %q, read as %v, %v", s, q, q.String(), again, err)
				}
				continue
			}
			qe := err.(*QuantityError)
			if qe.Reason == "" || qe.Help == "" {
				t.Fatalf("%q: %+v", s, qe)
			}
			if qe.Mended != "" {
				if _, err := ParseQuantity(qe.Mended, d); err != nil && qe.Mended == s {
					t.Fatalf("%q is mended to itself: %v", s, err)
				}
			}
		}
		if tol, err := ParseTolerance(s); err == nil && tol.Grade == 0 && tol.Upper.V <= tol.Lower.V {
			t.Fatalf("%q is %+v", s, tol)
		}
		if _, ok := ParseDate(s); ok && len(s) != 10 {
			t.Fatalf("%q is a date", s)
		}
	})
}

func FuzzPosition(f *testing.F) {
	for _, s := range []string{"", "ab\ncd", "a\r\nb\rc", "µØ🔧e\u0301\n", "\xb5\xe2\x82", "\xef\xbb\xbfa\n\xef\xbb\xbf"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) <= 1<<10 {
			checkPositions(t, s)
		}
	})
}

// TestCutAnywhere cuts whole files at every byte, as if the rest were not typed
// yet: what stands in whole statements before the cut is kept.
func TestCutAnywhere(t *testing.T) {
	text, err := os.ReadFile("../testdata/demo/parts/distributor.part.toml")
	if err != nil {
		t.Fatal(err)
	}
	whole, _ := newDoc(text, PartFile, DefaultBounds)
	for cut := 0; cut <= len(text); cut++ {
		doc, _ := newDoc(text[:cut:cut], PartFile, DefaultBounds)
		checkRanges(t, doc)
		for i, s := range whole.Statements {
			if s.At.End >= cut {
				break
			}
			if i >= len(doc.Statements) || doc.Statements[i].At != s.At || doc.Statements[i].Broken || dotted(doc.Statements[i].Path) != dotted(s.Path) {
				t.Fatalf("cut at %d: statement %d %q is lost", cut, i, text[s.At.Start:s.At.End])
			}
			if a, b := plainTree(s.Node), plainTree(doc.Statements[i].Node); s.Kind == StatementKey && fmt.Sprint(a) != fmt.Sprint(b) {
				t.Fatalf("cut at %d: %v is %v", cut, s.Path, b)
			}
		}
	}
}

// TestMutations changes texts at random and holds the index against the
// libraries.
func TestMutations(t *testing.T) {
	text, err := os.ReadFile("testdata/problems/part-shape.part.toml")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	pieces := []string{"\"", "'", "[", "]", "{", "}", "=", ".", ",", "#", "\n", "\r", " ", "\"\"\"", "1", "a", "\\", "µ", "\x00", "\xff", "[[", "]]", "[mesh]\n", "a = 1\n"}
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.IntRange(0, len(lines)-6).Draw(t, "line")
		s := strings.Join(lines[start:start+6], "")
		for range rapid.IntRange(1, 4).Draw(t, "changes") {
			at := rapid.IntRange(0, len(s)).Draw(t, "at")
			gone := rapid.IntRange(0, min(6, len(s)-at)).Draw(t, "gone")
			s = s[:at] + rapid.SampledFrom(pieces).Draw(t, "piece") + s[at+gone:]
		}
		checkIndex(t, []byte(s))
	})
}
