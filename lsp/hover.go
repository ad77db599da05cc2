package lsp

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
	"corbel/spec"
)

// at finds what a request is about: the document and the offset in it. Nil
// means that the server has nothing to say about the file.
func (snap *snapshot) at(u uri.URI, p protocol.Position) (*document, int, error) {
	if u == "" {
		return nil, 0, jsonrpc2.Errorf(jsonrpc2.InvalidParams, "no document is named")
	}
	doc := snap.docs[pathOf(u)]
	if doc == nil || doc.kind == otherFile {
		return nil, 0, nil
	}
	return doc, doc.lines().offset(p, doc.unit), nil
}

// world asks the rules for what they know about a text without measuring.
func (s *session) world(ctx context.Context, doc *document) *world {
	if doc.kind == shopFile {
		r := s.check.ShopFile(ctx, doc.path)
		return &world{shop: r.Shop, found: r.Findings}
	}
	r := s.check.Part(ctx, doc.path, rules.Known)
	w := &world{shop: r.Shop, limits: r.Limits, report: r}
	if r.Spec != nil && bytes.Equal(r.Spec.Doc.Text, doc.text) {
		w.found = r.Findings // else they are about a newer text
	}
	return w
}

// hover says what stands at a place: findings first, then what the key means,
// then what the value is.
func (s *session) hover(ctx context.Context, snap *snapshot, p *protocol.HoverParams) (*protocol.Hover, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	w := s.world(ctx, doc)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	place := doc.parse().KeyAt(offset)
	var out page
	for i := range w.found {
		if f := &w.found[i]; f.Level != rules.Off && covers(doc, f.Where, offset) {
			out.finding(f)
		}
	}
	if place.Where != spec.OnBlank && place.Where != spec.OnComment {
		out.key(place, w)
	}
	if place.Where == spec.OnValue {
		out.value(place, w, doc)
	}
	contents := out.contents(snap.client.markdown)
	if contents == nil {
		return nil, nil
	}
	return &protocol.Hover{Contents: contents, Range: hoverRange(doc, place)}, nil
}

// covers reports whether a finding stands at an offset of a text.
func covers(doc *document, where rules.Location, offset int) bool {
	return sameFile(where.File, doc.path) && where.At.Start <= offset && offset <= where.At.End && where.At.Start < where.At.End
}

func hoverRange(doc *document, place spec.Place) *protocol.Range {
	at := place.Key
	if place.Where == spec.OnValue {
		at = place.Value
	}
	if at.Start >= at.End {
		return nil
	}
	r := doc.lines().rangeOf(at, doc.unit)
	return &r
}

// finding says everything that is known about a finding.
func (p *page) finding(f *rules.Finding) {
	state := string(f.Level)
	if f.Waived != nil {
		state = "waived"
	}
	p.title("%s: %s", f.Check, state)
	p.data(f.Message)
	if f.Waived != nil {
		p.data(fmt.Sprintf("Accepted until %s: %s", f.Waived.Until.V, f.Waived.Reason.V))
	}
	if f.Help != "" {
		p.data(f.Help)
	}
	if c := rules.ByName(f.Check); c != nil {
		p.data(c.Why)
	}
	if f.Caution != "" {
		p.data(f.Caution)
	}
	if o := f.LimitFrom; o != nil {
		p.data("Limit from " + originName(o) + ".")
	}
}

// originName says where a limit came from.
func originName(o *rules.Origin) string {
	name := o.Layer
	if o.File != rules.BuiltinFile {
		name += ", " + placeName(o.File, o.Line)
	}
	if o.Source != "" {
		name += ": " + o.Source
	}
	return name
}

// typeNames are the types in a user's words.
var typeNames = map[spec.Type]string{
	spec.TypeTable: "table", spec.TypeTables: "table, may be repeated", spec.TypeInline: "inline table", spec.TypeText: "text",
	spec.TypeInteger: "whole number", spec.TypeNumber: "number", spec.TypeBoolean: "true or false", spec.TypeQuantity: "quantity",
	spec.TypePosition: "position [x, y, z]", spec.TypeDirection: "direction", spec.TypeDate: "date", spec.TypeTexts: "list of texts",
	spec.TypeTolerance: "tolerance", spec.TypeLimit: "limit",
}

// key says what a key means.
func (p *page) key(place spec.Place, w *world) {
	info := place.Info
	if info == nil {
		return
	}
	kind := typeNames[info.Type]
	if info.Dim != spec.None {
		kind = info.Dim.String()
	}
	if info.Required {
		kind += ", required"
	}
	p.title("%s: %s", strings.Join(place.Path, "."), kind)
	p.say("%s", info.Doc)
	if info.Default != "" {
		p.say("Without it: %s.", strings.TrimSuffix(info.Default, "."))
	}
	if n := len(info.Values); n > 0 && n <= 8 {
		p.say("One of %s.", strings.Join(choiceNames(info.Values), ", "))
	}
	if info.Limit != nil && w.limits != nil {
		p.limit(info.Limit.Name, w.limits)
	}
}

func choiceNames(choices []spec.Choice) []string {
	names := make([]string, len(choices))
	for i, c := range choices {
		names[i] = inCode(c.Value)
	}
	return names
}

// limit says which value of a limit is in force, and why.
func (p *page) limit(name string, limits *rules.Limits) {
	l, ok := limits.Get(name)
	if !ok {
		return
	}
	if l.Silent != "" {
		p.data("Not used here: " + l.Silent + ".")
	}
	if l.Set {
		p.data(fmt.Sprintf("In force: %s, from %s.", quantityText(l.Q), originName(&l.Origin)))
	}
}

func quantityText(q spec.Quantity) string {
	if q.Dim == spec.None {
		return spec.FormatNumber(q.V)
	}
	return q.String()
}

// value says what a value is: a quantity in other units, a name's own data.
func (p *page) value(place spec.Place, w *world, doc *document) {
	info := place.Info
	if info == nil || place.Node == nil {
		return
	}
	text, isText := place.Node.Value.(string)
	if info.Dim != spec.None && isText {
		if q, err := spec.ParseQuantity(text, info.Dim); err == nil {
			if others := q.Others(); len(others) > 0 {
				p.data(q.String() + " = " + strings.Join(others, " = "))
			}
		}
	}
	for _, c := range slices.Concat(info.Values, info.Known) {
		if c.Value == text && c.Doc != "" {
			p.data(text + ": " + c.Doc + ".")
		}
	}
	switch info.Ref {
	case spec.RefMachine:
		p.declared(declarations(w.shop, machineTable, text))
	case spec.RefMaterial:
		p.declared(declarations(w.shop, materialTable, text))
	case spec.RefCheck:
		p.check(text)
	case spec.RefLimit:
		if l := spec.FindLimit(text); l != nil {
			p.say("%s", l.Doc)
		}
	case spec.RefMeshFile:
		p.mesh(w.report)
	case spec.RefShopFile:
		p.shopFile(filepath.Join(filepath.Dir(doc.path), filepath.FromSlash(text)), w.shop)
	}
}

// declared shows what the shop's files say about a name, the strongest first.
func (p *page) declared(ds []declaration) {
	for _, d := range ds {
		p.data(d.where())
		p.code(d.text())
	}
}

func (p *page) check(name string) {
	if c := rules.ByName(name); c != nil {
		p.data(c.Summary)
		p.data(c.Why)
	}
}

// mesh says what was read from a part's mesh.
func (p *page) mesh(r *rules.PartReport) {
	if r == nil || r.Mesh == nil {
		return
	}
	from := r.Mesh.Source
	p.data(fmt.Sprintf("%s in %s, %d facets.", from.Format, from.Unit, len(r.Mesh.Facets)))
	for _, note := range from.Notes {
		p.data(note)
	}
}

// shopFile names the shop file in force.
func (p *page) shopFile(path string, shop *rules.Shop) {
	for _, file := range shop.Chain {
		if sameFile(file.File, path) && file.Name.Set {
			p.data(strings.TrimSpace(file.Name.V + ", " + file.Revision.V))
		}
	}
}
