package spec

import (
	"bytes"
	"sort"
	"unicode/utf8"
)

// This file defines places in a text: byte offsets inside, lines and columns
// for people. The line table is built when first asked for.

// Position is a 1-based line and a 1-based column in Unicode code points.
type Position struct{ Line, Column int }

// bom is the byte order mark that some editors put before UTF-8 text. It is no
// character of the text: the first column begins after it.
var bom = []byte{0xEF, 0xBB, 0xBF}

// lines returns the offset at which each line starts. Lines end at LF, CRLF or
// a lone CR, as editors count them; a text without a last line end still has a
// last line, and an empty text has one.
func (d *Doc) lines() []int32 {
	d.linesOnce.Do(func() {
		starts := make([]int32, 1, 1+bytes.Count(d.Text, []byte{'\n'}))
		if bytes.HasPrefix(d.Text, bom) {
			starts[0] = int32(len(bom))
		}
		for i := 0; i < len(d.Text); i++ {
			switch d.Text[i] {
			case '\r':
				if i+1 < len(d.Text) && d.Text[i+1] == '\n' {
					i++
				}
				starts = append(starts, int32(i+1))
			case '\n':
				starts = append(starts, int32(i+1))
			}
		}
		d.lineStarts = starts
	})
	return d.lineStarts
}

// LineCount returns the number of lines, at least 1.
func (d *Doc) LineCount() int { return len(d.lines()) }

// LineOf returns the 1-based line that holds a byte offset. A line end belongs
// to the line that it ends. Offsets outside the text are clamped.
func (d *Doc) LineOf(offset int) int {
	starts := d.lines()
	line := sort.Search(len(starts), func(i int) bool { return int(starts[i]) > offset })
	return max(line, 1)
}

// LineRange returns the bytes of a 1-based line without its line end. Lines
// outside the text are clamped.
func (d *Doc) LineRange(line int) Range {
	starts := d.lines()
	line = min(max(line, 1), len(starts))
	start, end := int(starts[line-1]), len(d.Text)
	if line < len(starts) {
		end = int(starts[line])
		if end > start && d.Text[end-1] == '\n' {
			end--
		}
		if end > start && d.Text[end-1] == '\r' {
			end--
		}
	}
	return Range{start, end}
}

// Position returns the line and column of a byte offset. An offset inside a
// character counts as its start, one inside a line end as the end of its line,
// and one outside the text is clamped.
func (d *Doc) Position(offset int) Position {
	offset = min(max(offset, 0), len(d.Text))
	line := d.LineOf(offset)
	r := d.LineRange(line)
	offset = min(max(offset, r.Start), r.End)
	if offset < r.End {
		offset = runeStart(d.Text, r.Start, offset)
	}
	return Position{line, utf8.RuneCount(d.Text[r.Start:offset]) + 1}
}

// Offset returns the byte offset of a line and column in code points. A column
// past the end of its line is the end of the line; a line past the end of the
// text is the end of the text.
func (d *Doc) Offset(p Position) int {
	if p.Line > d.LineCount() {
		return len(d.Text)
	}
	r := d.LineRange(p.Line)
	if p.Line < 1 {
		return r.Start
	}
	i := r.Start
	for n := 1; n < p.Column && i < r.End; n++ {
		_, size := utf8.DecodeRune(d.Text[i:r.End])
		i += size
	}
	return i
}

// runeStart moves offset back to the start of the character that holds it,
// never before low. Bytes that are no UTF-8 stand for themselves.
func runeStart(text []byte, low, offset int) int {
	for back := 1; back < utf8.UTFMax && offset-back >= low; back++ {
		if utf8.RuneStart(text[offset-back]) {
			if _, size := utf8.DecodeRune(text[offset-back:]); size > back {
				return offset - back
			}
			break
		}
	}
	return offset
}
