package lsp

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"unicode/utf8"

	"go.lsp.dev/protocol"

	"corbel/spec"
)

// This file lays a text out: equals signs under each other, one blank line
// before a header, no blanks at the ends of lines. It only ever replaces blanks
// and line ends between what is written, so that no comment, no value and no
// order can change.

func (s *session) format(_ context.Context, snap *snapshot, p *protocol.DocumentFormattingParams) ([]protocol.TextEdit, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil || !wanted(s.settings().Format) {
		return nil, err
	}
	out := []protocol.TextEdit{}
	for _, e := range layout(doc.parse()) {
		out = append(out, protocol.TextEdit{Range: doc.lines().rangeOf(e.At, doc.unit), NewText: e.Text})
	}
	return out, nil
}

// layout returns the edits that lay a text out, in its order. A text with a
// broken line is left alone: what belongs together is not known then. So is one
// with zero bytes, of which a little more or less text tells whether it is read
// as UTF-8 at all.
func layout(p *parsed) []spec.Fix {
	if p.Partial || bytes.IndexByte(p.Text, 0) >= 0 || bytes.IndexByte(bytes.ReplaceAll(p.Text, []byte("\r\n"), nil), '\r') >= 0 {
		return nil
	}
	for _, s := range p.Statements {
		if s.Broken || s.Kind == spec.StatementBroken {
			return nil
		}
	}
	l := layouter{p: p, newline: "\n"}
	if bytes.Contains(p.Text, []byte("\r\n")) {
		l.newline = "\r\n"
	}
	l.align()
	l.trimLines()
	l.spaceLines()
	slices.SortStableFunc(l.out, func(a, b spec.Fix) int { return a.At.Start - b.At.Start })
	return l.out
}

type layouter struct {
	p       *parsed
	newline string
	out     []spec.Fix
}

// put replaces blanks by other blanks, if they differ.
func (l *layouter) put(at spec.Range, text string) {
	if string(l.p.Text[at.Start:at.End]) != text {
		l.out = append(l.out, spec.Fix{At: at, Text: text})
	}
}

// align takes away indentation and puts the equals signs of keys that follow
// each other, line by line, under each other.
func (l *layouter) align() {
	var group []*spec.Statement
	flush := func() {
		widest := 0
		for _, s := range group {
			widest = max(widest, l.keyWidth(s))
		}
		for _, s := range group {
			l.assign(s, widest)
		}
		group = group[:0]
	}
	for i := range l.p.Statements {
		s := &l.p.Statements[i]
		start := l.lineStart(s.At.Start)
		if len(bytes.Trim(l.p.Text[start:s.At.Start], " \t")) == 0 {
			l.put(spec.Range{Start: start, End: s.At.Start}, "")
		}
		if n := len(group); n > 0 && (s.Kind != spec.StatementKey || l.p.LineOf(s.At.Start) != l.p.LineOf(group[n-1].At.End)+1) {
			flush()
		}
		if s.Kind == spec.StatementKey {
			group = append(group, s)
		}
	}
	flush()
}

func (l *layouter) lineStart(offset int) int { return l.p.LineRange(l.p.LineOf(offset)).Start }

// keyWidth is the width of a key as it is written, in characters.
func (l *layouter) keyWidth(s *spec.Statement) int {
	return utf8.RuneCount(l.p.Text[s.Keys[0].At.Start:s.Keys[len(s.Keys)-1].At.End])
}

// assign puts one blank on either side of an equals sign, and as many more
// before it as the widest key of the group asks.
func (l *layouter) assign(s *spec.Statement, widest int) {
	end := s.Keys[len(s.Keys)-1].At.End
	equals := end + bytes.IndexByte(l.p.Text[end:s.Value.Start], '=')
	if equals < end {
		return
	}
	l.put(spec.Range{Start: end, End: equals}, strings.Repeat(" ", widest-l.keyWidth(s)+1))
	l.put(spec.Range{Start: equals + 1, End: s.Value.Start}, " ")
}

// trimLines takes blanks off the ends of lines that do not end inside a value.
func (l *layouter) trimLines() {
	for n := 1; n <= l.p.LineCount(); n++ {
		line := l.p.LineRange(n)
		end := line.Start + len(bytes.TrimRight(l.p.Text[line.Start:line.End], " \t"))
		if end < line.End && end > line.Start && !l.inValue(line.End) {
			l.put(spec.Range{Start: end, End: line.End}, "")
		}
	}
}

// inValue reports whether an offset lies inside a value.
func (l *layouter) inValue(offset int) bool {
	for i := range l.p.Statements {
		if v := l.p.Statements[i].Value; v.Start < offset && offset < v.End {
			return true
		}
	}
	return false
}

// spaceLines leaves one blank line where there are more, puts one before a
// header with its comments, none at the start, and ends the last line.
func (l *layouter) spaceLines() {
	type row struct {
		at     spec.Range
		header bool
		alone  bool // a comment on a line of its own
	}
	var rows []row
	for n := 1; n <= l.p.LineCount(); n++ {
		line := l.p.LineRange(n)
		text, inside := bytes.TrimSpace(l.p.Text[line.Start:line.End]), l.inValue(line.Start)
		if len(text) > 0 || inside {
			rows = append(rows, row{line, !inside && text[0] == '[', !inside && text[0] == '#'})
		}
	}
	if len(rows) == 0 {
		return
	}
	l.put(spec.Range{Start: bom(l.p.Text), End: rows[0].at.Start}, "")
	for i := 1; i < len(rows); i++ {
		if l.inValue(rows[i].at.Start) {
			continue
		}
		gap := spec.Range{Start: rows[i-1].at.End, End: rows[i].at.Start}
		blanks := min(1, bytes.Count(l.p.Text[gap.Start:gap.End], []byte("\n"))-1)
		if blanks == 0 && !rows[i-1].alone {
			// A header, or the comments right above one, wants air before it.
			k := i
			for k < len(rows)-1 && rows[k].alone && bytes.Count(l.p.Text[rows[k].at.End:rows[k+1].at.Start], []byte("\n")) == 1 {
				k++
			}
			if rows[k].header {
				blanks = 1
			}
		}
		l.put(gap, strings.Repeat(l.newline, blanks+1))
	}
	l.put(spec.Range{Start: rows[len(rows)-1].at.End, End: len(l.p.Text)}, l.newline)
}

// bom is the length of a byte order mark at the start.
func bom(text []byte) int {
	if bytes.HasPrefix(text, []byte("\ufeff")) {
		return 3
	}
	return 0
}
