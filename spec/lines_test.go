package spec

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestPosition(t *testing.T) {
	for _, c := range []struct {
		name, text string
		offset     int
		want       Position
		back       int // the offset of that position
	}{
		{"empty", "", 0, Position{1, 1}, 0},
		{"past the end of nothing", "", 9, Position{1, 1}, 0},
		{"before the start", "ab", -1, Position{1, 1}, 0},
		{"first", "ab\ncd", 0, Position{1, 1}, 0},
		{"line end", "ab\ncd", 2, Position{1, 3}, 2},
		{"second line", "ab\ncd", 3, Position{2, 1}, 3},
		{"end without a line end", "ab\ncd", 5, Position{2, 3}, 5},
		{"past the end", "ab\ncd", 99, Position{2, 3}, 5},
		{"end with a line end", "ab\n", 3, Position{2, 1}, 3},
		{"CR of a CRLF", "ab\r\ncd", 2, Position{1, 3}, 2},
		{"LF of a CRLF", "ab\r\ncd", 3, Position{1, 3}, 2},
		{"behind a CRLF", "ab\r\ncd", 4, Position{2, 1}, 4},
		{"behind a lone CR", "ab\rcd", 3, Position{2, 1}, 3},
		{"between CR CR", "a\r\rb", 2, Position{2, 1}, 2},
		{"between LF CR", "a\n\rb", 2, Position{2, 1}, 2},
		{"CR at the end", "a\r", 2, Position{2, 1}, 2},
		{"behind µ", "µm", 2, Position{1, 2}, 2},
		{"inside µ", "aµm", 2, Position{1, 2}, 1},
		{"behind Ø", "Ø 10", 3, Position{1, 3}, 3},
		{"behind an emoji", "🔧x", 4, Position{1, 2}, 4},
		{"inside an emoji", "🔧x", 3, Position{1, 1}, 0},
		{"behind a combining mark", "e\u0301x", 3, Position{1, 3}, 3}, // two code points, one shape
		{"inside a combining mark", "e\u0301x", 2, Position{1, 2}, 1},
		{"behind a byte that is no UTF-8", "\xb5m", 1, Position{1, 2}, 1},
		{"between two such bytes", "\xb5\xb5m", 2, Position{1, 3}, 2},
		{"in a cut character", "\xe2\x82", 1, Position{1, 2}, 1},
		{"byte order mark", "\xef\xbb\xbfab", 0, Position{1, 1}, 3},
		{"behind a byte order mark", "\xef\xbb\xbfab", 4, Position{1, 2}, 4},
		{"line behind a byte order mark", "\xef\xbb\xbfab\nc", 6, Position{2, 1}, 6},
	} {
		d := &Doc{Text: []byte(c.text)}
		got := d.Position(c.offset)
		if got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		if back := d.Offset(got); back != c.back {
			t.Errorf("%s: %v is at %d, want %d", c.name, got, back, c.back)
		}
	}
}

func TestOffset(t *testing.T) {
	d := &Doc{Text: []byte("aµ\r\nb\n")}
	for _, c := range []struct {
		at   Position
		want int
	}{
		{Position{1, 1}, 0}, {Position{1, 2}, 1}, {Position{1, 3}, 3}, {Position{1, 9}, 3}, {Position{1, 0}, 0}, {Position{1, -4}, 0},
		{Position{0, 1}, 0}, {Position{-1, 5}, 0}, {Position{2, 2}, 6}, {Position{2, 99}, 6}, {Position{3, 1}, 7}, {Position{3, 2}, 7}, {Position{99, 1}, 7},
	} {
		if got := d.Offset(c.at); got != c.want {
			t.Errorf("%v is at %d, want %d", c.at, got, c.want)
		}
	}
}

func TestLineRange(t *testing.T) {
	for _, c := range []struct {
		text  string
		lines []string
	}{
		{"", []string{""}},
		{"a", []string{"a"}},
		{"a\n", []string{"a", ""}},
		{"a\nb", []string{"a", "b"}},
		{"a\r\nb\rc\n\r\n", []string{"a", "b", "c", "", ""}},
		{"\n\n", []string{"", "", ""}},
		{"\xef\xbb\xbfa\nb", []string{"a", "b"}},
	} {
		d := &Doc{Text: []byte(c.text)}
		var got []string
		for i := range d.LineCount() {
			r := d.LineRange(i + 1)
			got = append(got, c.text[r.Start:r.End])
			if line := d.LineOf(r.Start); line != i+1 {
				t.Errorf("%q: line %d starts in line %d", c.text, i+1, line)
			}
		}
		if strings.Join(got, "|") != strings.Join(c.lines, "|") {
			t.Errorf("%q has the lines %q, want %q", c.text, got, c.lines)
		}
	}
	d := &Doc{Text: []byte("a\nb")}
	if d.LineRange(0) != d.LineRange(1) || d.LineRange(9) != d.LineRange(2) {
		t.Error("lines outside the text are not clamped")
	}
}

// slowPosition counts from the start, the obvious way.
func slowPosition(text string, offset int) Position {
	p := Position{1, 1}
	for i := 0; i < offset; {
		r, size := utf8.DecodeRuneInString(text[i:])
		switch {
		case r == '\r' && i+1 < len(text) && text[i+1] == '\n':
			if offset == i+1 {
				return p // on the LF: still the end of the line
			}
			size = 2
			p = Position{p.Line + 1, 1}
		case r == '\r' || r == '\n':
			p = Position{p.Line + 1, 1}
		case i+size <= offset:
			p.Column++
		}
		i += size
	}
	return p
}

func checkPositions(t interface{ Fatalf(string, ...any) }, text string) {
	d := &Doc{Text: []byte(text)}
	for offset := 0; offset <= len(text); offset++ {
		got := d.Position(offset)
		if !strings.HasPrefix(text, string(bom)) {
			if want := slowPosition(text, offset); got != want {
				t.Fatalf("offset %d of %q is %v, want %v", offset, text, got, want)
			}
		}
		back := d.Offset(got)
		if d.Position(back) != got {
			t.Fatalf("offset %d of %q is %v, which is offset %d, which is %v", offset, text, got, back, d.Position(back))
		}
		if back > offset && offset >= d.LineRange(1).Start {
			t.Fatalf("offset %d of %q moved forward to %d", offset, text, back)
		}
	}
}

func TestPositionAgainstCounting(t *testing.T) {
	pieces := []string{"a", "bc", "µ", "Ø", "🔧", "e\u0301", "\n", "\r\n", "\r", "\t", "\xb5", "\xe2\x82", "\xef\xbb\xbf", ""}
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 0, 30).Draw(t, "pieces"), "")
		checkPositions(t, text)
	})
}
