package spec

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
)

// repeatf writes a numbered line n times.
func repeatf(n int, format string) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, format, i)
	}
	return b.String()
}

// hostile is texts that make a TOML library hang, overflow its stack or take
// gigabytes when they reach it, and others that would fill our own lists. Each
// names what the first problem says.
var hostile = []struct{ name, text, says string }{
	{"dotted key", strings.Repeat("a.", 20_000) + "a=1", "The key has more than 8 parts."},
	{"dotted key with blanks", strings.Repeat("a . ", 20_000) + "a=1", "The key has more than 8 parts."},
	{"dotted header", "[" + strings.Repeat("a.", 20_000) + "a]", "The key has more than 8 parts."},
	{"dotted list header", "[[" + strings.Repeat("a.", 20_000) + "a]]", "The key has more than 8 parts."},
	{"dotted key in inline table", "part={" + strings.Repeat("a.", 20_000) + "a=1}", "The key has more than 8 parts."},
	{"open brackets", strings.Repeat("[", 40_000), "The table header has no name."},
	{"open lists", "part=" + strings.Repeat("[", 40_000), "Lists or tables are nested more than 8 deep."},
	{"nested lists", "part=" + strings.Repeat("[", 20_000) + strings.Repeat("]", 20_000), "Lists or tables are nested more than 8 deep."},
	{"nested inline tables", "part=" + strings.Repeat("{a=", 20_000) + "1" + strings.Repeat("}", 20_000), "Lists or tables are nested more than 8 deep."},
	{"inline tables without key", strings.Repeat("{a=", 20_000), "Lists or tables are nested more than 8 deep."},
	{"inline tables on lines", strings.Repeat("a={\n", 20_000), "Lists or tables are nested more than 8 deep."},
	{"lists on lines", strings.Repeat("a=[\n", 200_000), "Lists or tables are nested more than 8 deep."},
	{"lists of open tables on lines", strings.Repeat("a=[{\n", 100_000), "Lists or tables are nested more than 8 deep."},
	{"list headers", strings.Repeat("[[hole]]\n", 100_000), "The file has more than 10000 keys and headers; what follows is not read."},
	{"headers in headers", strings.Repeat("[[a]]\n[[a.b]]\n[a.b.c]\n", 40_000), "The file has more than 10000 keys and headers; what follows is not read."},
	{"headers", repeatf(60_000, "[t%d]\n"), "The file has more than 10000 keys and headers; what follows is not read."},
	{"keys", repeatf(60_000, "k%d=1\n"), "The file has more than 10000 keys and headers; what follows is not read."},
	{"repeated keys", strings.Repeat("part=\"a\"\n", 90_000), "is set twice"},
	{"dates that do not exist", repeatf(9_000, "k%d=2020-13-01\n"), "2020-13-01 is no date that exists."},
	{"large numbers", repeatf(9_000, "k%d=99999999999999999999\n"), "99999999999999999999 is too large for a whole number."},
	{"list entries", "part=[" + strings.Repeat("1,", 500_000) + "]", "The file has more than 20000 list entries; what follows is not read."},
	{"inline tables in a list", "part=[" + strings.Repeat("{a=1},", 100_000) + "]", "The file has more than 20000 list entries; what follows is not read."},
	{"repeated inline keys", "part={" + strings.Repeat("a=1,", 19_000) + "}", "is set twice"},
	{"words", strings.Repeat("a\n", 500_000), `"a" has no value.`},
	{"quotes", strings.Repeat("\"\n", 500_000), `The key that starts with "" is not finished.`},
	{"equals signs", strings.Repeat("=\n", 500_000), `A line can't start with "=".`},
	{"closing brackets", "part=" + strings.Repeat("]", 1<<20-10), `The value of "part" can't be read`},
	{"long texts open", strings.Repeat("a=\"\"\"\n", 100_000), "is set twice"},
	{"long texts in turn", strings.Repeat("a='''\nb=\"\"\"\n", 50_000), "is set twice"},
	{"open list over closed ones", "part=[\n" + strings.Repeat("a=[\n]\n", 100_000), `The list of "part" is not closed.`},
	{"one long word", strings.Repeat("x", 1<<20), `has no value.`},
	{"one long text", `part="` + strings.Repeat("x", 1<<20-10), `The text of "part" is not closed.`},
	{"backslashes", `part="` + strings.Repeat(`\`, 1<<20-10), `The text of "part" is not closed.`},
	{"conflict markers", strings.Repeat("<<<<<<<\n", 100_000), "A merge conflict is left in the file."},
	{"comments", strings.Repeat("#\n", 500_000), "The part spec is empty."},
	{"line ends", strings.Repeat("\n", 1<<20), "The part spec is empty."},
	{"carriage returns", strings.Repeat("\r", 1<<20), "A line ends with a lone carriage return"},
	{"zeros", strings.Repeat("\x00", 1<<20), "UTF-16 or another encoding"},
	{"bytes that are no UTF-8", strings.Repeat("\xb5", 1<<20), "Byte 0xB5 is not UTF-8"},
	{"one line of 50 MB", strings.Repeat("x", 50<<20), "The file has 52428800 bytes, more than the 1048576 that are read."},
}

// hostileBytesMax is what reading any of the texts may allocate, all garbage
// counted: a spec of a hundred lines takes 0.2 MB, and no text may take a
// thousand times as much.
const hostileBytesMax = 256 << 20

func TestHostileTexts(t *testing.T) {
	for _, h := range hostile {
		t.Run(h.name, func(t *testing.T) {
			text := []byte(h.text)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			part, problems := ParsePart("x.part.toml", text)
			runtime.ReadMemStats(&after)
			if n := after.TotalAlloc - before.TotalAlloc; n > hostileBytesMax {
				t.Errorf("%d MB were allocated", n>>20)
			}
			if part == nil || part.Doc == nil || part.Doc.Root == nil {
				t.Fatal("no part")
			}
			if len(problems) == 0 || len(problems) > DefaultBounds.Problems+1 {
				t.Fatalf("%d problems", len(problems))
			}
			said := false
			for _, p := range problems {
				said = said || strings.Contains(p.Message, h.says)
				if p.At.Start < 0 || p.At.End < p.At.Start || p.At.End > len(text) {
					t.Errorf("%v is outside the text", p.At)
				}
				if len(p.Message) > 500 || len(p.Help) > 1000 || strings.ContainsAny(p.Message, "\n\r") {
					t.Errorf("the message is no readable line: %.500q", p.Message)
				}
			}
			if !said {
				t.Errorf("nothing says %q; the first is %q", h.says, problems[0].Message)
			}
		})
	}
}

func TestWrongEncodings(t *testing.T) {
	for _, c := range []struct{ name, text, says, help string }{
		{"UTF-16 little end first", "\xff\xfes\x00c\x00h\x00e\x00m\x00a\x00", "The file is written in UTF-16 (little end first), not in UTF-8.", "Save the file as UTF-8."},
		{"UTF-16 big end first", "\xfe\xff\x00s\x00c\x00h\x00e\x00m\x00a", "The file is written in UTF-16 (big end first), not in UTF-8.", "Save the file as UTF-8."},
		{"UTF-16 without a mark", "s\x00c\x00h\x00e\x00m\x00a\x00", "The file is written in UTF-16 or another encoding with wide characters, not in UTF-8.", "Save the file as UTF-8."},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, problems := ParsePart("x.part.toml", []byte(c.text))
			if len(problems) != 1 || problems[0].Message != c.says || problems[0].Help != c.help || problems[0].At != (Range{0, 2}) {
				t.Errorf("got %+v", problems)
			}
		})
	}
}

// What is damaged in a few bytes is one finding with a place, and everything
// else of the file is read.
func TestDamagedBytes(t *testing.T) {
	const good = "schema = 1\npart = \"%s\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\n[mesh]\nfile = \"a.3mf\"\n"
	for _, c := range []struct{ name, bytes, says string }{
		{"Latin-1", "10 \xb5m", "Byte 0xB5 is not UTF-8; the file seems to be saved in another encoding, such as Latin-1."},
		{"Latin-1 twice", "\xd8 10 \xb5m", "Byte 0xD8 is not UTF-8; the file seems to be saved in another encoding, such as Latin-1."},
		{"NUL", "a\x00b", "The file holds a NUL byte, which no text has."},
		{"cut character", "a\xe2\x82", "Byte 0xE2 is not UTF-8; the file seems to be saved in another encoding, such as Latin-1."},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := fmt.Sprintf(good, c.bytes)
			p, problems := ParsePart("x.part.toml", []byte(text))
			if len(problems) != 1 || problems[0].Message != c.says || problems[0].Help == "" {
				t.Fatalf("got %+v", problems)
			}
			at := problems[0].At
			if b := text[at.Start:at.End]; len(b) != 1 || b[0] < 0x80 && b[0] != 0 {
				t.Errorf("the place is %q", b)
			}
			if !p.Name.Set || p.Mesh.File.V != "a.3mf" || text[p.Mesh.File.At.Start:p.Mesh.File.At.End] != `"a.3mf"` {
				t.Errorf("not everything was read: %+v", p)
			}
		})
	}
}

// A byte order mark is no part of the text, and moves no place.
func TestByteOrderMark(t *testing.T) {
	text := "\xef\xbb\xbfschema = 1\npart = \"a\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\n[mesh]\nfile = \"a.3mf\"\n"
	p, problems := ParsePart("x.part.toml", []byte(text))
	if len(problems) != 0 {
		t.Fatalf("got %+v", problems)
	}
	for _, v := range []Range{p.Schema.Key, p.Name.Key, p.Mesh.File.Key} {
		if got := text[v.Start:v.End]; got != "schema" && got != "part" && got != "file" {
			t.Errorf("a key is %q", got)
		}
	}
	if got := p.Doc.Position(p.Schema.Key.Start); got != (Position{1, 1}) {
		t.Errorf("schema is at %v", got)
	}
}

// A lone carriage return ends a line for editors, so it does here too, beside
// one finding.
func TestLoneCarriageReturns(t *testing.T) {
	text := "schema = 1\rpart = \"a\"\rprocess = \"PBF-LB/M\"\rmaterial = \"316L\"\r[mesh]\rfile = \"a.3mf\"\r"
	p, problems := ParsePart("x.part.toml", []byte(text))
	if len(problems) != 1 || problems[0].At != (Range{10, 11}) {
		t.Fatalf("got %+v", problems)
	}
	if !p.Mesh.File.Set || p.Doc.Position(p.Mesh.File.At.Start) != (Position{6, 8}) {
		t.Errorf("not everything was read: %+v", p)
	}
}

func TestBoundsAreOptions(t *testing.T) {
	b := DefaultBounds
	b.Bytes = 10
	if _, problems := b.ParseShop("shop.toml", []byte("schema = 1\n")); len(problems) != 1 || !strings.Contains(problems[0].Message, "11 bytes, more than the 10") {
		t.Errorf("got %+v", problems)
	}
	b = DefaultBounds
	b.Problems = 2
	_, problems := b.ParsePart("x.part.toml", []byte("a\nb\nc\nd\n"))
	// Two of the four lines; the keys that every spec has are not asked for yet.
	if len(problems) != 3 || problems[2].Message != "2 more problems of this file are not listed." {
		t.Errorf("got %+v", problems)
	}
}

// Two hundred lines of one kind of nonsense are told of a few times and counted.
func TestProblemsAlikeAreCounted(t *testing.T) {
	_, problems := ParsePart("x.part.toml", []byte("schema = 1\n"+strings.Repeat("[a.a.a.a.a.a.a.a.a]\n", 200)))
	alike := 0
	for _, p := range problems {
		if strings.HasPrefix(p.Message, "The key has more than") {
			alike++
		}
	}
	last := problems[len(problems)-1].Message
	if alike != 5 || last != "195 more problems of this file are not listed." {
		t.Errorf("%d are listed, and the last says %q", alike, last)
	}
}
