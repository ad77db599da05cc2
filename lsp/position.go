package lsp

import (
	"sort"
	"unicode/utf8"

	"go.lsp.dev/protocol"

	"corbel/spec"
)

// This file turns byte offsets into the editor's positions and back.
//
//	offset    0-based byte offset into a text; what everything inside uses
//	position  0-based line and character, counted in the unit that was agreed
//	          with the editor: UTF-16 units, bytes, or code points
//
// Lines end at LF, CRLF or a lone CR, as the protocol says.

// lineTable finds lines in a text.
type lineTable struct {
	text   []byte
	starts []int // offset of each line's first byte
}

func newLineTable(text []byte) *lineTable {
	starts := make([]int, 1, 1+len(text)/24)
	for i, b := range text {
		if b == '\n' || b == '\r' && (i+1 == len(text) || text[i+1] != '\n') {
			starts = append(starts, i+1)
		}
	}
	return &lineTable{text, starts}
}

// line returns the offsets of a line without its end.
func (t *lineTable) line(n int) (start, end int) {
	start, end = t.starts[n], len(t.text)
	if n+1 < len(t.starts) {
		end = t.starts[n+1]
	}
	if end > start && t.text[end-1] == '\n' {
		end--
	}
	if end > start && t.text[end-1] == '\r' {
		end--
	}
	return start, end
}

// offset returns the byte offset of a position. A line past the last means the
// end of the text, a character past the end of its line means that end, and one
// inside a character means its start.
func (t *lineTable) offset(p protocol.Position, unit protocol.PositionEncodingKind) int {
	if uint64(p.Line) >= uint64(len(t.starts)) {
		return len(t.text)
	}
	start, end := t.line(int(p.Line))
	at, left := start, int64(p.Character)
	for at < end {
		r, size := utf8.DecodeRune(t.text[at:end])
		if left -= int64(units(r, size, unit)); left < 0 {
			return at
		}
		at += size
	}
	return end
}

// position returns the position of a byte offset. Offsets outside the text are
// moved to its nearer end, one inside a character to its start, and one inside
// a line end to the end of its line.
func (t *lineTable) position(offset int, unit protocol.PositionEncodingKind) protocol.Position {
	offset = max(0, min(offset, len(t.text)))
	n := sort.SearchInts(t.starts, offset+1) - 1
	at, end := t.line(n)
	character := 0
	for at < min(end, offset) {
		r, size := utf8.DecodeRune(t.text[at:end])
		if at+size > offset {
			break
		}
		character += units(r, size, unit)
		at += size
	}
	return protocol.Position{Line: uint32(n), Character: uint32(character)}
}

// rangeOf returns the editor's range of a byte range. An end inside a character
// is moved behind it.
func (t *lineTable) rangeOf(r spec.Range, unit protocol.PositionEncodingKind) protocol.Range {
	end := max(r.Start, r.End)
	for end > r.Start && end < len(t.text) && !utf8.RuneStart(t.text[end]) {
		end++
	}
	return protocol.Range{Start: t.position(r.Start, unit), End: t.position(end, unit)}
}

// units is the length of a character in the agreed unit.
func units(r rune, size int, unit protocol.PositionEncodingKind) int {
	switch {
	case unit == protocol.PositionEncodingKindUTF8:
		return size
	case unit == protocol.PositionEncodingKindUTF32 || r < 0x10000:
		return 1
	}
	return 2
}

// agreeUnit picks the editor's first unit that is known here; an editor that
// names none counts in UTF-16.
func agreeUnit(offered []protocol.PositionEncodingKind) protocol.PositionEncodingKind {
	for _, unit := range offered {
		switch unit {
		case protocol.PositionEncodingKindUTF8, protocol.PositionEncodingKindUTF16, protocol.PositionEncodingKindUTF32:
			return unit
		}
	}
	return protocol.PositionEncodingKindUTF16
}
