package spec

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"unicode/utf8"
)

// This file reads the part spec.

func (d *decoder) part(file string) *Part {
	p := &Part{File: file, Doc: d.doc}
	d.check(d.doc.Root, language(PartFile).root, nil)
	r := d.root()
	p.Schema = r.integer("schema")
	p.Name = r.text("part")
	p.Drawing = r.text("drawing")
	p.Process = r.text("process")
	p.Material = r.text("material")
	p.Machine = r.text("machine")
	p.Quantity = r.integer("quantity")
	p.Use = r.text("use")
	p.Shop = r.text("shop")
	d.mesh(p, r.sub("mesh"))

	o := r.sub("orientation")
	p.Orientation.Table = o.at()
	p.Orientation.Up = o.direction("up")
	p.Orientation.Turn = o.quantity("turn")
	p.Orientation.Lift = o.quantity("lift")

	d.features(p, r)

	route := r.sub("route")
	p.Route.Table = route.at()
	p.Route.Steps = route.texts("steps")
	d.steps(p.Route.Steps.V)

	b := r.sub("budget")
	p.Budget.Table = b.at()
	p.Budget.Cost = b.number("cost")
	p.Budget.Mass = b.quantity("mass")

	p.Limits = d.limits(r.sub("limits"))
	for _, s := range r.each("waiver") {
		p.Waivers = append(p.Waivers, d.waiver(s))
	}
	return p
}

func (d *decoder) features(p *Part, r scope) {
	names := map[string]Range{}
	for _, s := range r.each("hole") {
		h := Hole{
			Table: s.at(), Name: s.text("name"), At: s.position("at"), Diameter: s.quantity("diameter"),
			Finish: s.text("finish"), Tolerance: s.tolerance("tolerance"),
		}
		d.unique(h.Name, "hole", names)
		p.Holes = append(p.Holes, h)
	}
	names = map[string]Range{}
	for _, s := range r.each("face") {
		f := Face{
			Table: s.at(), Name: s.text("name"), At: s.position("at"), Finish: s.text("finish"),
			Stock: s.quantity("stock"), Roughness: s.quantity("roughness"),
		}
		d.unique(f.Name, "face", names)
		p.Faces = append(p.Faces, f)
	}
	names = map[string]Range{}
	for _, s := range r.each("void") {
		v := VoidDecl{Table: s.at(), Name: s.text("name"), At: s.position("at"), Sealed: s.boolean("sealed")}
		d.unique(v.Name, "void", names)
		p.Voids = append(p.Voids, v)
	}
}

// unique reports a name that was used before in the same list.
func (d *decoder) unique(name Value[string], list string, seen map[string]Range) {
	if !name.Set {
		return
	}
	if first, ok := seen[name.V]; ok {
		d.problem("error", name.At, list+".name", fmt.Sprintf("Two tables [[%s]] have the name %q.", list, short(name.V)),
			fmt.Sprintf("The other one is on line %d; give each a name of its own.", d.doc.LineOf(first.Start)))
		return
	}
	seen[name.V] = name.At
}

// meshFormats are the extensions of meshes, and whether the format carries its unit.
var meshFormats = map[string]bool{".stl": false, ".obj": false, ".ply": false, ".3mf": true}

// IsMeshName reports whether a path ends as that of a mesh does.
func IsMeshName(file string) bool {
	_, known := meshFormats[strings.ToLower(path.Ext(file))]
	return known
}

// cadFormats are exchange files of CAD, which hold exact surfaces and no facets.
var cadFormats = []string{".step", ".stp", ".iges", ".igs"}

// IsCADName reports whether a path ends as that of a CAD exchange file does.
func IsCADName(file string) bool {
	return slices.Contains(cadFormats, strings.ToLower(path.Ext(file)))
}

func (d *decoder) mesh(p *Part, s scope) {
	p.Mesh.Table = s.at()
	p.Mesh.File = s.text("file")
	p.Mesh.Units = s.text("units")
	file := p.Mesh.File
	if !file.Set {
		return
	}
	if strings.Contains(file.V, `\`) {
		slashes := strings.ReplaceAll(file.V, `\`, "/")
		d.problem("warning", file.At, "mesh.file", fmt.Sprintf("The path %q has backslashes, which only some systems read as folders.", short(file.V)),
			"Write / between folders.", Fix{"Write /", file.At, quoteText(slashes)})
	}
	ext := strings.ToLower(path.Ext(file.V))
	carries, known := meshFormats[ext]
	if !known {
		what := fmt.Sprintf("%q is no mesh that can be read.", short(file.V))
		d.problem("error", file.At, "mesh.file", what, "Export the part as .stl, .3mf, .obj or .ply.")
		return
	}
	if !carries && s.node.Child("units") == nil && !s.node.Partial {
		fix := d.insert(s.node, s.e.child("units"))
		d.problem("error", file.At, "mesh.units", fmt.Sprintf("%q does not say its unit, and \"units\" is missing in [mesh].", short(file.V)),
			`Write units = "mm".`, fix...)
	}
}

// steps points out steps that are nearly ones that the checks know.
func (d *decoder) steps(steps []Value[string]) {
	known := values(Steps)
	for _, s := range steps {
		if !s.Set || slices.Contains(known, s.V) {
			continue
		}
		near := nearest(s.V, known)
		if near == "" || fold(near) != fold(s.V) && (utf8.RuneCountInString(s.V) < 6 || slips(fold(near), fold(s.V), 3) > 2) {
			continue
		}
		d.problem("warning", s.At, "route.steps", fmt.Sprintf("The step %q is nearly %q, which the checks know.", short(s.V), near),
			fmt.Sprintf("Write %q if that is meant.", near), Fix{fmt.Sprintf("Write %q", near), s.At, quoteText(near)})
	}
}

func (d *decoder) waiver(s scope) Waiver {
	w := Waiver{
		Table: s.at(), Check: s.text("check"), Near: s.position("near"), Within: s.quantity("within"),
		Reason: s.text("reason"), Until: s.date("until"),
	}
	near, within := s.node.Child("near"), s.node.Child("within")
	if s.node.Partial {
		return w
	}
	switch {
	case near != nil && within == nil:
		d.problem("error", near.Key, "waiver.within", `"near" says a place, but "within" is missing in [[waiver]].`,
			`Say how far from the place a finding may lie: within = "6 mm".`, d.insert(s.node, s.e.child("within"))...)
	case near == nil && within != nil:
		d.problem("error", within.Key, "waiver.near", `"within" says a distance, but "near" is missing in [[waiver]].`,
			`Say the place: near = [4, 18, 22].`)
	}
	return w
}

// limits reads a table of limits, in the order of the text.
func (d *decoder) limits(s scope) []LimitEntry {
	if s.node == nil {
		return nil
	}
	var list []LimitEntry
	for _, group := range s.node.Kids {
		g := s.e.child(group.Name)
		if g == nil || g == s.e.star || !limitGroup(group.Name) || group.Kind != KindTable && group.Kind != KindInline {
			continue
		}
		d.ask(g)
		for _, n := range group.Kids {
			if k := g.child(n.Name); k != nil {
				list = append(list, scope{d, group, g, s.under(group.Name)}.limit(n, k))
			}
		}
	}
	return list
}

// limit reads one limit: a value, or a value and its source.
func (s scope) limit(n *Node, e *entry) LimitEntry {
	d := s.d
	d.ask(e)
	l := LimitEntry{Name: e.info.Limit.Name, Key: n.Key, Value: Value[Quantity]{Key: n.Key, At: n.At}}
	f := field{d, n, e.info, s.path}
	switch {
	case n.Kind == KindInline || n.Kind == KindTable:
		if n.Kind == KindInline {
			d.check(n, e, s.under(n.Name))
		}
		inner := scope{d, n, e, s.under(n.Name)}
		l.Value, l.Source = inner.quantity("value"), inner.text("source")
		f.n, f.path = n.Child("value"), inner.path
	case n.readable():
		l.Value.V, l.Value.Set = f.quantity()
	}
	if l.Value.Set {
		f.sensible(l.Value.V)
	}
	return l
}

// sensible points out a limit that nobody is likely to mean.
func (f field) sensible(q Quantity) {
	info := f.k.Limit
	v, unit := q.V, ""
	if info.Dim != None {
		v, _ = q.In(info.Unit)
		unit = " " + info.Unit
	}
	if info.Sensible.Holds(roundOff(v)) {
		return
	}
	f.problem("warning", fmt.Sprintf("%q is %s%s; values %s%s are usual.", info.Name, FormatNumber(v), unit, info.Sensible, unit),
		"Check the number and its unit. "+info.Doc)
}
