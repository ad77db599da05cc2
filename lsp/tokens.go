package lsp

import (
	"bytes"
	"cmp"
	"context"
	"regexp"
	"slices"
	"strconv"

	"go.lsp.dev/protocol"

	"corbel/spec"
)

// This file says what each word of a text is, so that an editor colours a
// machine's name apart from free text, and a number apart from its unit.

// The kinds of words, by their number in the legend.
const (
	tokenHeader = iota
	tokenKey
	tokenName // of a machine or a material
	tokenChoice
	tokenText
	tokenNumber
	tokenUnit
	tokenWord // true, false
	tokenComment
)

// tokenTypes and tokenModifiers are the legend. All are the protocol's own, for
// which every theme has a colour.
var (
	tokenTypes     = []string{"namespace", "property", "variable", "enumMember", "string", "number", "type", "keyword", "comment"}
	tokenModifiers = []string{"declaration"}
)

// declares is the modifier of the place that a name comes from.
const declares = 1

// token is one word. It stands on one line.
type token struct {
	at       spec.Range
	kind     uint32
	modifier uint32
}

func (s *session) tokens(_ context.Context, snap *snapshot, p *protocol.SemanticTokensParams) (*protocol.SemanticTokens, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil {
		return nil, err
	}
	out := encodeTokens(doc, spec.Range{End: len(doc.text)})
	if snap.client.deltas {
		out.ResultID = s.paint(doc, out.Data)
	}
	return out, nil
}

// painted are the tokens that an editor has for a text.
type painted struct {
	id   string
	data []uint32
}

// paint keeps the newest tokens of an open text, so that the next answer can be
// what has changed among them. It returns their name.
func (s *session) paint(doc *document, data []uint32) *string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.now.docs[doc.path] == nil {
		return nil // closed meanwhile
	}
	s.paints++
	id := strconv.FormatInt(s.paints, 10)
	s.painted[doc.path] = painted{id, data}
	return &id
}

// tokensSince returns what has changed since the tokens that the editor has, or
// all of them where those are not known.
func (s *session) tokensSince(_ context.Context, snap *snapshot, p *protocol.SemanticTokensDeltaParams) (any, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil {
		return nil, err
	}
	s.mu.Lock()
	old, known := s.painted[doc.path]
	s.mu.Unlock()
	out := encodeTokens(doc, spec.Range{End: len(doc.text)})
	out.ResultID = s.paint(doc, out.Data)
	if !known || old.id != p.PreviousResultID {
		return out, nil
	}
	return &protocol.SemanticTokensDelta{ResultID: out.ResultID, Edits: tokenEdits(old.data, out.Data)}, nil
}

// tokenEdits is the one edit between two lists of numbers: what stands between
// the beginning and the end that they share. Places are counted from the token
// before, so an edit of a text changes few numbers behind it.
func tokenEdits(old, now []uint32) []protocol.SemanticTokensEdit {
	start, end := 0, 0
	for start < min(len(old), len(now)) && old[start] == now[start] {
		start++
	}
	for end < min(len(old), len(now))-start && old[len(old)-1-end] == now[len(now)-1-end] {
		end++
	}
	if start+end == len(old) && start+end == len(now) {
		return []protocol.SemanticTokensEdit{}
	}
	return []protocol.SemanticTokensEdit{{Start: uint32(start), DeleteCount: uint32(len(old) - start - end), Data: now[start : len(now)-end]}}
}

func (s *session) tokensIn(_ context.Context, snap *snapshot, p *protocol.SemanticTokensRangeParams) (*protocol.SemanticTokens, error) {
	doc, from, err := snap.at(p.TextDocument.URI, p.Range.Start)
	if doc == nil {
		return nil, err
	}
	return encodeTokens(doc, spec.Range{Start: from, End: doc.lines().offset(p.Range.End, doc.unit)}), nil
}

// encodeTokens writes tokens as the protocol has them: five numbers each, places
// counted from the token before.
func encodeTokens(doc *document, asked spec.Range) *protocol.SemanticTokens {
	out := &protocol.SemanticTokens{Data: []uint32{}}
	last := protocol.Position{}
	for _, t := range tokensOf(doc.parse()) {
		if !meet(t.at, asked) {
			continue
		}
		r := doc.lines().rangeOf(t.at, doc.unit)
		character := r.Start.Character
		if r.Start.Line == last.Line {
			character -= last.Character
		}
		out.Data = append(out.Data, r.Start.Line-last.Line, character, r.End.Character-r.Start.Character, t.kind, t.modifier)
		last = r.Start
	}
	return out
}

// tokensOf lists the words of a text in its order; none overlap.
func tokensOf(p *parsed) []token {
	c := tokenizer{p: p}
	for _, at := range p.Comments {
		c.add(at, tokenComment, 0)
	}
	for i := range p.Statements {
		s := &p.Statements[i]
		kind := uint32(tokenKey)
		if s.Kind != spec.StatementKey {
			kind = tokenHeader
		}
		for _, k := range s.Keys {
			c.add(k.At, kind, 0)
		}
	}
	p.Walk(func(_ []string, n *spec.Node, info *spec.KeyInfo) bool {
		c.node(n, info)
		return true
	})
	slices.SortStableFunc(c.out, func(a, b token) int { return cmp.Compare(a.at.Start, b.at.Start) })
	out := c.out[:0]
	for _, t := range c.out {
		if n := len(out); n == 0 || out[n-1].at.End <= t.at.Start {
			out = append(out, t)
		}
	}
	return out
}

type tokenizer struct {
	p   *parsed
	out []token
}

// add adds a word, cut at line ends.
func (c *tokenizer) add(at spec.Range, kind, modifier uint32) {
	for at.Start < at.End {
		line := at
		if i := bytes.IndexAny(c.p.Text[at.Start:at.End], "\r\n"); i >= 0 {
			line.End = at.Start + i
		}
		if line.Start < line.End {
			c.out = append(c.out, token{line, kind, modifier})
		}
		at.Start = line.End + 1
	}
}

// quantityParts are the number and the unit of a quantity in quotes.
var quantityParts = regexp.MustCompile(`^["']\s*(\+?-?[0-9.]+(?:[eE][+-]?[0-9]+)?)\s*(\S*)\s*["']$`)

// node adds the words of a value.
func (c *tokenizer) node(n *spec.Node, info *spec.KeyInfo) {
	c.add(n.Key, tokenKey, 0) // counts inside inline tables; others are there already
	switch n.Kind {
	case spec.KindString:
		c.text(n, info)
	case spec.KindBoolean:
		c.add(n.At, tokenWord, 0)
	case spec.KindInteger, spec.KindFloat, spec.KindDate:
		c.add(n.At, tokenNumber, 0)
	}
}

// text adds a text by what it means.
func (c *tokenizer) text(n *spec.Node, info *spec.KeyInfo) {
	switch {
	case info == nil:
		c.add(n.At, tokenText, 0)
	case name{table: tableOf(info)}.ours():
		modifier := uint32(0)
		if info.Name() == "name" {
			modifier = declares
		}
		c.add(n.At, tokenName, modifier)
	case slices.ContainsFunc(slices.Concat(info.Values, info.Known), func(v spec.Choice) bool { return v.Value == n.Value }):
		c.add(n.At, tokenChoice, 0)
	default:
		m := quantityParts.FindSubmatchIndex(c.p.Text[n.At.Start:n.At.End])
		if m == nil || info.Dim == spec.None && info.Limit == nil && info.Type != spec.TypeLimit {
			c.add(n.At, tokenText, 0)
			return
		}
		c.add(spec.Range{Start: n.At.Start + m[2], End: n.At.Start + m[3]}, tokenNumber, 0)
		c.add(spec.Range{Start: n.At.Start + m[4], End: n.At.Start + m[5]}, tokenUnit, 0)
	}
}
