package lsp

import (
	"cmp"
	"context"
	"slices"

	"go.lsp.dev/protocol"

	"corbel/spec"
)

// This file grows a selection: from a word to its value, its line, its table
// and the whole text.

func (s *session) selections(_ context.Context, snap *snapshot, p *protocol.SelectionRangeParams) ([]protocol.SelectionRange, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil {
		return nil, err
	}
	parsed := doc.parse()
	out := make([]protocol.SelectionRange, 0, len(p.Positions)) // the protocol wants one for each position
	for _, position := range p.Positions {
		var outer *protocol.SelectionRange
		for _, r := range slices.Backward(around(parsed, doc.lines().offset(position, doc.unit))) {
			outer = &protocol.SelectionRange{Range: doc.lines().rangeOf(r, doc.unit), Parent: outer}
		}
		out = append(out, *outer)
	}
	return out, nil
}

// around lists what stands around an offset, the smallest first; each contains
// the one before it, and the last is the whole text.
func around(p *parsed, offset int) []spec.Range {
	place := p.KeyAt(offset)
	all := []spec.Range{place.Word, place.Key, place.Value}
	p.Walk(func(_ []string, n *spec.Node, _ *spec.KeyInfo) bool {
		all = append(all, n.At)
		if n.Key.Start < n.At.Start {
			all = append(all, spec.Range{Start: n.Key.Start, End: n.At.End})
		}
		return true
	})
	for i := range p.Statements {
		all = append(all, p.Statements[i].At)
	}
	for _, sec := range sections(p) {
		if sec.header != nil {
			all = append(all, sec.at())
		}
	}
	all = append(all, spec.Range{End: len(p.Text)})
	all = slices.DeleteFunc(all, func(r spec.Range) bool { return r.Start > offset || r.End < offset || r.End < r.Start })
	slices.SortStableFunc(all, func(a, b spec.Range) int { return cmp.Compare(a.End-a.Start, b.End-b.Start) })
	out := all[:0]
	for _, r := range all {
		if n := len(out); n == 0 || r != out[n-1] && r.Start <= out[n-1].Start && out[n-1].End <= r.End {
			out = append(out, r)
		}
	}
	return out
}
