package lsp

import (
	"bytes"
	"context"
	"fmt"
	"math"
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

// world returns what the rules know about a text without measuring: the report
// that the editor was shown, if it is about this very text.
func (s *session) world(ctx context.Context, doc *document) *world {
	if r := s.reportOn(doc); r != nil {
		if r.shop != nil {
			return &world{shop: r.shop.Shop, found: r.findings}
		}
		return &world{shop: r.part.Shop, limits: r.part.Limits, report: r.part, found: r.findings}
	}
	if doc.kind == shopFile {
		r := s.rules().ShopFile(ctx, doc.path)
		return &world{shop: r.Shop, found: r.Findings}
	}
	r := s.judge(pass{ctx: ctx, doc: doc, state: s.stateOf(doc)}, rules.Known)
	w := &world{shop: r.Shop, limits: r.Limits}
	if r.Spec != nil && bytes.Equal(r.Spec.Doc.Text, doc.text) {
		w.report, w.found = r, r.Findings // else they are about a newer text
	}
	return w
}

// stateOf returns the state of the track of a text, -1 where it has moved on.
func (s *session) stateOf(doc *document) int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	if t := s.tracks[doc.path]; t != nil && t.doc == doc {
		return t.state
	}
	return -1
}

// reportOn returns the published report about a text, or nil.
func (s *session) reportOn(doc *document) *report {
	s.mu.Lock()
	defer s.mu.Unlock()
	t := s.tracks[doc.path]
	if t == nil || t.report == nil || t.report.doc != doc {
		return nil
	}
	r := t.report
	if r.shop == nil && (r.part == nil || r.part.Spec == nil) {
		return nil
	}
	return r
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
	for _, f := range out.findings(doc, w.found, offset) {
		if snap.client.pictures {
			out.picture(s.draw(w.report, f).wait(ctx))
		}
	}
	if place.Where != spec.OnBlank && place.Where != spec.OnComment {
		out.key(place, w)
	}
	if place.Where == spec.OnValue {
		out.value(place, w, doc)
	}
	if w.report != nil {
		out.measured(doc, place, offset, w)
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

// explainedAtOnce is how many findings at one place are explained in full; more
// are named, each in its own sentence.
const explainedAtOnce = 3

// findings says what was found at a place. It returns the first, which is worth a
// picture.
func (p *page) findings(doc *document, found []rules.Finding, offset int) []*rules.Finding {
	var here []*rules.Finding
	for i := range found {
		if f := &found[i]; f.Level != rules.Off && covers(doc, f.Where, offset) {
			here = append(here, f)
		}
	}
	for _, f := range here {
		p.finding(f, len(here) <= explainedAtOnce)
	}
	return here[:min(len(here), 1)]
}

// finding says what is known about a finding.
func (p *page) finding(f *rules.Finding, inFull bool) {
	state := string(f.Level)
	if f.Waived != nil {
		state = "waived"
	}
	p.title("%s: %s", f.Check, state)
	p.data(f.Message)
	if f.Waived != nil {
		p.data(fmt.Sprintf("Accepted until %s: %s", f.Waived.Until.V, f.Waived.Reason.V))
	}
	if c := rules.ByName(f.Check); inFull && c != nil {
		p.data(f.Help)
		p.data(c.Why)
	}
	p.data(f.Caution)
	if o := f.LimitFrom; inFull && o != nil {
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
	if !l.Set {
		return
	}
	p.data(fmt.Sprintf("In force: %s, from %s.", quantityText(l.Q), originName(&l.Origin)))
	for _, under := range slices.Backward(l.Under) {
		p.item("instead of %s, from %s", quantityText(under.Q), originName(&under.Origin))
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
	text, isText := textAt(place)
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
	if r == nil || r.Info == nil {
		return
	}
	from := r.Info.Source
	text := fmt.Sprintf("%s in %s, %d facets", from.Format, from.Unit, from.Facets)
	if m := r.Measured.Mass; m != nil {
		text += fmt.Sprintf(", volume %s cm3, surface %s cm2", spec.FormatNumber(round(m.VolumeMM3/1000, 3)), spec.FormatNumber(round(m.AreaMM2/100, 3)))
	}
	p.data(text + ".")
	for _, note := range from.Notes {
		p.data(note)
	}
}

// round keeps as many significant digits.
func round(v float64, digits int) float64 {
	if v == 0 {
		return 0
	}
	scale := math.Pow(10, float64(digits-1)-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*scale) / scale
}

// measured says what the mesh has to say about a key.
func (p *page) measured(doc *document, place spec.Place, offset int, w *world) {
	if len(place.Path) == 0 || place.Where == spec.OnBlank || place.Where == spec.OnComment {
		return
	}
	r := w.report
	switch place.Path[0] {
	case "orientation":
		p.data(standsText(r))
	case "hole":
		if i := holeAt(doc.parse(), r.Spec, offset); i >= 0 {
			p.data(holeText(r, i))
			if f, ok := r.FitOf(i); ok {
				sizes, made := f.SayFit()
				p.data(sizes + ".")
				p.data(made + ".")
			}
		}
	case "budget":
		p.data(massText(r))
		p.data(costText(r))
		for _, s := range costBasis(r) {
			p.data(s)
		}
	case "waiver":
		for i := range w.found {
			if f := &w.found[i]; f.Waived != nil && f.Waived.Table == tableAt(doc.parse(), offset) {
				p.data("Accepts: " + f.Message)
			}
		}
	}
}

// tableAt returns the header in force at an offset.
func tableAt(p *parsed, offset int) spec.Range {
	if s := p.TableAt(offset); s != nil {
		return s.At
	}
	return spec.Range{}
}

// holeAt returns the number of the declared hole at an offset, or -1.
func holeAt(p *parsed, part *spec.Part, offset int) int {
	at := tableAt(p, offset)
	return slices.IndexFunc(part.Holes, func(h spec.Hole) bool { return h.Table == at })
}

// standsText says how large a part is as it stands; empty where not measured.
func standsText(r *rules.PartReport) string {
	b := r.Measured.Box
	if b == nil {
		return ""
	}
	text := fmt.Sprintf("As it stands: %s x %s x %s mm", mm(b.Size[0]), mm(b.Size[1]), mm(b.Size[2]))
	if o := r.Measured.Overhang; o != nil {
		text += fmt.Sprintf(", %s mm2 of overhang", spec.FormatNumber(round(o.AreaMM2, 3)))
	}
	if n, ok := r.SupportNeed(); ok && n.ColumnMM3 > 0 {
		text += fmt.Sprintf(", %s mm3 of support columns under %s mm2", spec.FormatNumber(round(n.ColumnMM3, 3)), spec.FormatNumber(round(n.OverhangMM2, 3)))
		if n.FootMM2 > 0 {
			text += fmt.Sprintf(", %.0f %% of their foot on the part", 100*n.OnPartShare())
		}
	}
	return text + "."
}

// mm writes a length to a tenth of a millimetre.
func mm(v float64) string { return fmt.Sprintf("%.1f", v) }

// holeText says what hole of the mesh a declared one means.
func holeText(r *rules.PartReport, declared int) string {
	if r.Measured.Cylinders == nil {
		return ""
	}
	h, ok := r.HoleOf(declared)
	if !ok {
		return "The mesh has no round hole here."
	}
	return fmt.Sprintf("The mesh has %.2f mm here, %s, %s mm deep.", h.DiameterMM, rules.SayEnds(h.Through), mm(h.LengthMM))
}

// massText and costText say what a part is estimated to weigh and to cost.
func massText(r *rules.PartReport) string {
	e := r.Estimate()
	if e.MassG == 0 {
		return ""
	}
	return fmt.Sprintf("Estimated mass: %s g.", spec.FormatNumber(round(e.MassG, 3)))
}

func costText(r *rules.PartReport) string {
	e := r.Estimate()
	if !e.HasCost {
		return ""
	}
	say := func(v float64) string { return spec.FormatNumber(round(v, 3)) }
	cost := strings.TrimSpace(say(e.Cost) + " " + r.Shop.Currency())
	return fmt.Sprintf("Estimated cost: %s, %s to %s.", cost, say(e.Price.Low), say(e.Price.High))
}

// costBasis says what a cost is made of and which figures went in.
func costBasis(r *rules.PartReport) []string {
	e := r.Estimate()
	if !e.HasCost {
		return nil
	}
	given, usual, without := rules.SayInputs(e.Inputs)
	out := []string{"Made of " + rules.SayMade(e.Made) + ".", "Figures: " + given + "."}
	if usual != "" {
		out = append(out, "Taken as usual: "+usual+".")
	}
	if without != "" {
		out = append(out, "Left out: "+without+".")
	}
	return out
}

// shopFile names the shop file in force.
func (p *page) shopFile(path string, shop *rules.Shop) {
	for _, file := range shop.Chain {
		if sameFile(file.File, path) && file.Name.Set {
			p.data(strings.TrimSpace(file.Name.V + ", " + file.Revision.V))
		}
	}
}
