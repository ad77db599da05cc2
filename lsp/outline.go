package lsp

import (
	"context"
	"path/filepath"
	"slices"
	"strings"

	"go.lsp.dev/protocol"

	"corbel/rules"
	"corbel/spec"
)

// This file gives a text's outline: its tables with their keys, the lines that
// fold, and the names of a whole workspace.

// section is a table of a text: from its header to its last value.
type section struct {
	header *spec.Statement
	keys   []*spec.Statement
}

// sections cuts a text at its headers; the first has none.
func sections(p *parsed) []section {
	out := []section{{}}
	for i := range p.Statements {
		switch s := &p.Statements[i]; s.Kind {
		case spec.StatementTable, spec.StatementTables:
			out = append(out, section{header: s})
		case spec.StatementKey:
			last := &out[len(out)-1]
			last.keys = append(last.keys, s)
		}
	}
	return out
}

// at is the range of a section.
func (s section) at() spec.Range {
	r := s.header.At
	for _, k := range s.keys {
		r.End = max(r.End, k.At.End)
	}
	return r
}

// label is a section's header with the name that its table has.
func (s section) label(p *parsed) string {
	label := strings.TrimSpace(p.textOf(s.header.At))
	for _, k := range s.keys {
		if n := k.Node; n != nil && n.Name == "name" {
			if text, ok := n.Value.(string); ok {
				return label + " " + text
			}
		}
	}
	return label
}

// symbols is the outline.
func (s *session) symbols(_ context.Context, snap *snapshot, p *protocol.DocumentSymbolParams) (protocol.DocumentSymbolResult, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil {
		return protocol.DocumentSymbolSlice{}, err
	}
	var out protocol.DocumentSymbolSlice
	parsed := doc.parse()
	for _, sec := range sections(parsed) {
		keys := make([]protocol.DocumentSymbol, 0, len(sec.keys))
		for _, k := range sec.keys {
			keys = append(keys, keySymbol(doc, parsed, k))
		}
		if sec.header == nil {
			out = append(out, keys...)
			continue
		}
		out = append(out, protocol.DocumentSymbol{
			Name:           sec.label(parsed),
			Kind:           protocol.SymbolKindNamespace,
			Range:          doc.lines().rangeOf(sec.at(), doc.unit),
			SelectionRange: doc.lines().rangeOf(sec.header.At, doc.unit),
			Children:       keys,
		})
	}
	if snap.client.tree {
		return out, nil
	}
	return flat(doc, out, ""), nil
}

func keySymbol(doc *document, p *parsed, s *spec.Statement) protocol.DocumentSymbol {
	names := make([]string, len(s.Keys))
	for i, k := range s.Keys {
		names[i] = k.Name
	}
	value := firstLine(p.textOf(s.Value))
	symbol := protocol.DocumentSymbol{
		Name:           strings.Join(names, "."),
		Kind:           protocol.SymbolKindProperty,
		Range:          doc.lines().rangeOf(s.At, doc.unit),
		SelectionRange: doc.lines().rangeOf(spec.Range{Start: s.Keys[0].At.Start, End: s.Keys[len(s.Keys)-1].At.End}, doc.unit),
	}
	if symbol.Name == "" { // some editors refuse a symbol without a name
		symbol.Name = `""`
	}
	if value != "" {
		symbol.Detail = &value
	}
	return symbol
}

func firstLine(s string) string {
	line, rest, _ := strings.Cut(strings.ReplaceAll(s, "\r", "\n"), "\n")
	if rest != "" {
		line += " ..."
	}
	return line
}

// flat is the outline for editors that show no tree.
func flat(doc *document, tree []protocol.DocumentSymbol, container string) protocol.SymbolInformationSlice {
	var out protocol.SymbolInformationSlice
	for _, s := range tree {
		info := protocol.SymbolInformation{Location: protocol.Location{URI: doc.uri, Range: s.Range}}
		info.Name, info.Kind = s.Name, s.Kind
		if container != "" {
			info.ContainerName = &container
		}
		out = append(out, info)
		out = append(out, flat(doc, s.Children, s.Name)...)
	}
	return out
}

// folds are the tables, the values and the comments of more than one line.
func (s *session) folds(_ context.Context, snap *snapshot, p *protocol.FoldingRangeParams) ([]protocol.FoldingRange, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil {
		return nil, err
	}
	out := []protocol.FoldingRange{}
	parsed := doc.parse()
	add := func(r spec.Range, kind protocol.FoldingRangeKind) {
		at := doc.lines().rangeOf(r, doc.unit)
		if at.End.Line > at.Start.Line {
			out = append(out, protocol.FoldingRange{StartLine: at.Start.Line, EndLine: at.End.Line, Kind: kind})
		}
	}
	for _, sec := range sections(parsed) {
		if sec.header != nil {
			add(sec.at(), "")
		}
		for _, k := range sec.keys {
			add(k.At, "")
		}
	}
	for _, block := range commentBlocks(doc, parsed) {
		add(block, protocol.FoldingRangeKindComment)
	}
	slices.SortFunc(out, func(a, b protocol.FoldingRange) int { return int(a.StartLine) - int(b.StartLine) })
	return out, nil
}

// commentBlocks joins comments that stand alone on lines that follow each other.
func commentBlocks(doc *document, p *parsed) []spec.Range {
	var out []spec.Range
	last := -2
	for _, c := range p.Comments {
		line := int(doc.lines().position(c.Start, doc.unit).Line)
		start, _ := doc.lines().line(line)
		if strings.TrimSpace(string(p.Text[start:c.Start])) != "" {
			continue
		}
		if line == last+1 {
			out[len(out)-1].End = c.End
		} else {
			out = append(out, c)
		}
		last = line
	}
	return out
}

// workspaceSymbols finds parts, machines and materials by a piece of their name.
func (s *session) workspaceSymbols(ctx context.Context, snap *snapshot, p *protocol.WorkspaceSymbolParams) ([]protocol.SymbolInformation, error) {
	out := []protocol.SymbolInformation{}
	query := strings.ToLower(p.Query)
	shops := make(map[string]bool)
	places := s.places(snap)
	add := func(doc *document, container, label string, kind protocol.SymbolKind, at spec.Range) {
		if doc == nil || label == "" || !strings.Contains(strings.ToLower(label), query) {
			return
		}
		info := protocol.SymbolInformation{Location: protocol.Location{URI: doc.uri, Range: doc.lines().rangeOf(at, doc.unit)}}
		info.Name, info.Kind, info.ContainerName = label, kind, &container
		out = append(out, info)
	}
	for _, path := range s.specsAround(ctx, snap, nil, "") {
		r := s.rules().Part(ctx, path, rules.Text)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if r.Spec != nil {
			add(places.open(path), filepath.Base(path), r.Spec.Name.V, protocol.SymbolKindModule, r.Spec.Name.At)
		}
		for _, file := range r.Shop.Chain[1:] {
			if shop := absolutePath(file.File); !shops[shop] {
				shops[shop] = true
				for _, table := range []string{machineTable, materialTable} {
					for _, d := range declarationsIn(file, table, "") {
						label, _ := file.Doc.KeyAt(d.name.Start + 1).Node.Value.(string)
						add(places.open(shop), filepath.Base(shop), label, protocol.SymbolKindObject, d.name)
					}
				}
			}
		}
	}
	return out, nil
}
