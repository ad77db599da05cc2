package lsp

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"

	"corbel/rules"
	"corbel/spec"
)

// This file follows names: the machines and materials that a shop file declares
// and specs use, the limits and the checks.

// name is a word that stands in several places.
type name struct {
	table string // machineTable, materialTable, or one of the two below
	text  string
}

// The language's own names, which nobody declares.
const (
	limitName = "limit"
	checkName = "check"
)

// ours reports whether a name was given by the user and can be changed.
func (n name) ours() bool { return n.table == machineTable || n.table == materialTable }

// nameAt returns the name that stands at a place.
func nameAt(p *parsed, offset int) (n name, ok bool) {
	place := p.KeyAt(offset)
	if place.Info == nil {
		return n, false
	}
	table := tableOf(place.Info)
	switch {
	case place.Info.Limit != nil && (place.Where == spec.OnKey || place.Where == spec.OnValue):
		return name{limitName, place.Info.Limit.Name}, true
	case isLevel(place.Info) && place.Where == spec.OnKey:
		return name{checkName, place.Info.Name()}, true
	case table == "":
		return n, false
	case place.Where == spec.OnValue:
		text, isText := textAt(place)
		return name{table, text}, isText
	case place.Where == spec.OnHeader || place.Where == spec.OnKey:
		if last := len(place.Path) - 1; place.Info.Name() == "*" {
			return name{table, place.Path[last]}, true
		}
	}
	return n, false
}

// tableOf returns what a key's value, or a key of the user's choice, names.
func tableOf(info *spec.KeyInfo) string {
	switch path := strings.Join(info.Path, "."); {
	case info.Ref == spec.RefMachine || path == "machine.name":
		return machineTable
	case info.Ref == spec.RefMaterial || path == "material.name":
		return materialTable
	case info.Ref == spec.RefLimit:
		return limitName
	case info.Ref == spec.RefCheck:
		return checkName
	}
	return ""
}

// isLevel reports whether a key is the level of a check.
func isLevel(info *spec.KeyInfo) bool { return len(info.Path) == 2 && info.Path[0] == "levels" }

// occurrence is a place where a name stands.
type occurrence struct {
	at       spec.Range // with its quotes
	key      bool       // as a part of a key, not as a value
	declares bool
}

// occurrences finds a name in a text.
func occurrences(p *spec.Doc, n name) []occurrence {
	var out []occurrence
	p.Walk(func(path []string, node *spec.Node, info *spec.KeyInfo) bool {
		switch {
		case info == nil:
		case info.Limit != nil && n == name{limitName, info.Limit.Name}, isLevel(info) && n == name{checkName, info.Name()}:
			out = append(out, occurrence{at: node.Key, key: true})
			return false
		case tableOf(info) != n.table:
		case info.Name() == "*" && node.Name == n.text:
			out = append(out, occurrence{at: node.Key, key: true})
		case node.Kind == spec.KindString && node.Value == n.text:
			out = append(out, occurrence{at: node.At, declares: info.Name() == "name"})
		}
		return true
	})
	return out
}

// text is a text that may be open or not.
type text struct {
	doc  *document
	spec *spec.Doc
}

// filesMaxSearched bounds how many texts are read to find a name.
const filesMaxSearched = 5000

// users are the texts that the names of a text's shop stand in: the shop's own
// files, and the part specs that it is in force for.
func (s *session) users(ctx context.Context, snap *snapshot, doc *document) ([]text, error) {
	chain := s.world(ctx, doc).shop.Chain
	shop := chain[len(chain)-1].File
	places := s.places(snap)
	var out []text
	add := func(path string, d *spec.Doc) {
		if doc := places.open(path); doc != nil && !slices.ContainsFunc(out, func(t text) bool { return t.doc.path == doc.path }) {
			out = append(out, text{doc, d})
		}
	}
	for _, file := range chain[1:] { // all but the built-in one
		add(absolutePath(file.File), file.Doc)
	}
	for _, path := range s.specsAround(ctx, snap, doc, shop) {
		r := s.rules().Part(ctx, path, rules.Text)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if c := r.Shop.Chain; r.Spec != nil && (path == doc.path || sameFile(c[len(c)-1].File, shop)) {
			add(path, r.Spec.Doc)
		}
	}
	return out, nil
}

// specsAround lists the part specs of the workspace: those below its folders
// and below the shop file's, and the open ones.
func (s *session) specsAround(ctx context.Context, snap *snapshot, doc *document, shop string) []string {
	roots := slices.Clone(snap.client.folders)
	switch {
	case shop != "" && shop != rules.BuiltinFile:
		roots = append(roots, filepath.Dir(absolutePath(shop)))
	case doc != nil:
		roots = append(roots, filepath.Dir(doc.path))
	}
	var out []string
	for path, d := range snap.docs {
		if d.kind == partFile {
			out = append(out, path)
		}
	}
	for _, root := range roots {
		filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			switch {
			case ctx.Err() != nil || len(out) >= filesMaxSearched:
				return fs.SkipAll
			case err != nil:
				return nil
			case d.IsDir() && path != root && strings.HasPrefix(d.Name(), "."):
				return fs.SkipDir
			case d.Type().IsRegular() && kindOf(path) == partFile:
				out = append(out, path)
			}
			return nil
		})
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// definition returns where a name is declared, a limit set, or a file is.
func (s *session) definition(ctx context.Context, snap *snapshot, p *protocol.DefinitionParams) ([]protocol.Location, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	w := s.world(ctx, doc)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	out := []protocol.Location{}
	places := s.places(snap)
	add := func(file string, at spec.Range) {
		if l, ok := places.location(rules.Location{File: file, At: at}); ok {
			out = append(out, l)
		}
	}
	parsed := doc.parse()
	if n, ok := nameAt(parsed, offset); ok && n.ours() {
		for _, d := range declarations(w.shop, n.table, n.text) {
			add(d.file.File, d.name)
		}
		return out, nil
	}
	place := parsed.KeyAt(offset)
	if place.Info != nil && place.Info.Limit != nil && w.limits != nil {
		if l, ok := w.limits.Get(place.Info.Limit.Name); ok {
			for _, o := range origins(l) {
				if !sameFile(o.File, doc.path) {
					add(o.File, o.At)
				}
			}
		}
	}
	if place.Info != nil && place.Path[0] == "waiver" && w.report != nil {
		for i := range w.found {
			if f := &w.found[i]; f.Waived != nil && f.Waived.Table == tableAt(parsed, offset) {
				add(f.Where.File, f.Where.At)
			}
		}
	}
	if path := linkTarget(doc, place); path != "" {
		if _, err := os.Stat(path); err == nil { // a mesh is opened by the editor, never read as a text
			out = append(out, protocol.Location{URI: uriOfFile(path)})
		}
	}
	return out, nil
}

// origins lists where a limit is set, the strongest layer first.
func origins(l rules.Limit) []rules.Origin {
	if !l.Set {
		return nil
	}
	out := []rules.Origin{l.Origin}
	for _, under := range slices.Backward(l.Under) {
		out = append(out, under.Origin)
	}
	return out
}

// linkTarget returns the path that a value names, empty where it names none.
func linkTarget(doc *document, place spec.Place) string {
	if place.Info == nil || place.Node == nil || place.Where != spec.OnValue {
		return ""
	}
	if r := place.Info.Ref; r != spec.RefMeshFile && r != spec.RefShopFile {
		return ""
	}
	file, _ := textAt(place)
	if file == "" {
		return ""
	}
	return rules.Beside(doc.path, file)
}

// highlights marks where the name at a place stands in the same text.
func (s *session) highlights(_ context.Context, snap *snapshot, p *protocol.DocumentHighlightParams) ([]protocol.DocumentHighlight, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	out := []protocol.DocumentHighlight{}
	n, ok := nameAt(doc.parse(), offset)
	if !ok {
		return out, nil
	}
	for _, o := range occurrences(doc.parse().Doc, n) {
		kind := protocol.DocumentHighlightKindRead
		if o.declares || o.key && n.table == limitName {
			kind = protocol.DocumentHighlightKindWrite
		}
		out = append(out, protocol.DocumentHighlight{Range: doc.lines().rangeOf(o.at, doc.unit), Kind: kind})
	}
	return out, nil
}

// references returns where a name stands in the shop's files and the specs
// that use them.
func (s *session) references(ctx context.Context, snap *snapshot, p *protocol.ReferenceParams) ([]protocol.Location, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	n, ok := nameAt(doc.parse(), offset)
	if !ok {
		return nil, nil
	}
	texts, err := s.users(ctx, snap, doc)
	if err != nil {
		return nil, err
	}
	out := []protocol.Location{}
	if builtin := s.places(snap); n.table == limitName && p.Context.IncludeDeclaration {
		chain := s.world(ctx, doc).shop.Chain
		for _, o := range occurrences(chain[0].Doc, n) {
			if l, ok := builtin.location(rules.Location{File: rules.BuiltinFile, At: o.at}); ok {
				out = append(out, l)
			}
		}
	}
	for _, t := range texts {
		for _, o := range occurrences(t.spec, n) {
			if !o.declares || p.Context.IncludeDeclaration {
				out = append(out, protocol.Location{URI: t.doc.uri, Range: t.doc.lines().rangeOf(o.at, t.doc.unit)})
			}
		}
	}
	return out, nil
}

// prepareRename says whether a name can be given another, and which text is it.
func (s *session) prepareRename(_ context.Context, snap *snapshot, p *protocol.PrepareRenameParams) (*protocol.PrepareRenamePlaceholder, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	n, ok := nameAt(doc.parse(), offset)
	if !ok || !n.ours() {
		return nil, nil
	}
	for _, o := range occurrences(doc.parse().Doc, n) {
		if o.at.Start <= offset && offset <= o.at.End {
			return &protocol.PrepareRenamePlaceholder{Range: doc.lines().rangeOf(o.at, doc.unit), Placeholder: n.text}, nil
		}
	}
	return nil, nil
}

// rename gives a machine or a material another name, in the shop's files and in
// the specs that use them.
func (s *session) rename(ctx context.Context, snap *snapshot, p *protocol.RenameParams) (*protocol.WorkspaceEdit, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	n, ok := nameAt(doc.parse(), offset)
	if !ok || !n.ours() {
		return nil, jsonrpc2.Errorf(jsonrpc2.InvalidRequest, "only machines and materials can be renamed")
	}
	if err := s.mayRename(ctx, doc, n, p.NewName); err != nil {
		return nil, err
	}
	texts, err := s.users(ctx, snap, doc)
	if err != nil {
		return nil, err
	}
	edits := make(map[*document][]spec.Fix)
	for _, t := range texts {
		for _, o := range occurrences(t.spec, n) {
			edits[t.doc] = append(edits[t.doc], spec.Fix{At: o.at, Text: written(t.doc.text, o, p.NewName)})
		}
	}
	return workspaceEdit(snap.client, edits), nil
}

// mayRename refuses names that would say something else than before.
func (s *session) mayRename(ctx context.Context, doc *document, n name, to string) error {
	refuse := func(format string, args ...any) error {
		return jsonrpc2.Errorf(jsonrpc2.InvalidParams, format, args...)
	}
	if strings.TrimSpace(to) == "" || strings.ContainsFunc(to, unicode.IsControl) || !utf8.ValidString(to) {
		return refuse("%q is no name", to)
	}
	shop := s.world(ctx, doc).shop
	if len(declarations(shop, n.table, to)) > 0 {
		return refuse("there is a %s %q already", n.table, to)
	}
	for _, d := range declarations(shop, n.table, n.text) {
		if d.file.File == rules.BuiltinFile {
			return refuse("%q is a built-in %s, whose name stays", n.text, n.table)
		}
	}
	return nil
}

// written is a new name as it is written in place of an occurrence, in the
// quotes that stand there.
func written(text []byte, o occurrence, to string) string {
	switch quote := text[o.at.Start]; {
	case quote == '\'' && !strings.Contains(to, "'"):
		return "'" + to + "'"
	case o.key && quote != '"':
		return bareName(to)
	}
	return spec.Quote(to)
}

// links are the files that a text names.
func (s *session) links(_ context.Context, snap *snapshot, p *protocol.DocumentLinkParams) ([]protocol.DocumentLink, error) {
	doc, _, err := snap.at(p.TextDocument.URI, protocol.Position{})
	if doc == nil {
		return nil, err
	}
	out := []protocol.DocumentLink{}
	doc.parse().Walk(func(path []string, n *spec.Node, info *spec.KeyInfo) bool {
		place := spec.Place{Where: spec.OnValue, Info: info, Node: n}
		if target := linkTarget(doc, place); target != "" && n.Kind == spec.KindString {
			u := uriOfFile(target)
			out = append(out, protocol.DocumentLink{Range: doc.lines().rangeOf(n.At, doc.unit), Target: &u})
		}
		return true
	})
	return out, nil
}
