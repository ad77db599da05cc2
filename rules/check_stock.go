package rules

import (
	"fmt"
	"math"

	"corbel/spec"
)

// Stock looks at faces that are machined: is there enough to cut, and do
// supports keep off the faces that are not cut after them. Holes carry their
// stock in the diameter, so they belong to hole.
var Stock = &Check{
	Name:    "stock",
	Summary: "Faces that are cut carry enough stock, more where the saw goes through, and no support stands on a face whose finish matters and that nothing cuts.",
	Why: "A cutter has to get below the roughness, the error of size and the distortion everywhere, or it leaves islands of as-built surface. " +
		"The face on the platform also loses the width and the wander of the saw. And where support stood there is a scar until something cuts it away.",
	Wrong: "The face does not clean up, or comes out under size; the part is scrapped after all the work; a sealing face shows the marks of support teeth.",
	Sources: []Source{
		{"stock = roughness depth + half the tolerance + distortion + clamping error; 0.3 to 1.0 mm in laser powder bed fusion, 2 to 5 mm for a band saw", "common practice, no source"},
		{"machining allowance grades of castings, the nearest published scheme: ISO 8062-3", "published, from memory"},
		{"parts are often finished by machining, grinding or polishing: ASTM F2924, F3001, scope", "published, read"},
	},
	Limits: limits("stock.thickness", "stock.platform"),
	Needs:  []Need{NeedBox, NeedCylinders, NeedOverhang, NeedSupport},
	Judge:  judgeStock,
	Say:    sayStock,
}

// stockDetail is what the words about a face need.
type stockDetail struct {
	faceOnMesh
	kind string // astray, unsaid, thin, through, scar
	tie  string // "stands on" or "hangs from"
}

// strayMM is how far a declared face may be from the mesh besides its stock:
// places are written to whole millimetres.
const strayMM = 1.0

func judgeStock(p *Subject) []Finding {
	var out []Finding
	add := func(f Finding, s faceOnMesh, kind, tie string) {
		f.Count = 1
		s.put(p, &f, kind)
		f.detail = stockDetail{s, kind, tie}
		out = append(out, f)
	}
	supports := p.supportMarks()
	for _, s := range p.faces() {
		d := s.decl
		allowed := strayMM
		if d.Stock.Set {
			allowed += d.Stock.V.V
		}
		switch {
		case s.off > allowed:
			add(Finding{HasValue: true, Measured: s.off, Limit: allowed, Unit: "mm"}, s, "astray", "")
		case cuts(d.Finish.V):
			if f, kind := p.judgeCut(&s); kind != "" {
				add(f, s, kind, "")
			}
		case d.Finish.Set || d.Roughness.Set:
			if tie := supports.on(s.facets); tie != "" {
				add(Finding{}, s, "scar", tie)
			}
		}
	}
	return out
}

// judgeCut holds the stock of a face that is cut against what it needs.
func (p *Subject) judgeCut(s *faceOnMesh) (Finding, string) {
	name := "stock.thickness"
	if s.rests && p.supported() {
		name = "stock.platform"
	}
	l, ok := p.Limit(name)
	stock := s.decl.Stock
	switch {
	case !ok || !stock.Set && l.V == 0:
		return Finding{}, ""
	case !stock.Set:
		f, _ := breach(l, -1, 0)
		f.Measured, f.HasValue = 0, false
		f.Fixes = addKey(p.Spec.Doc, s.decl.Finish, fmt.Sprintf("stock = %q", plain(l.V)+" mm"))
		return f, "unsaid"
	}
	if f, bad := breach(l, stock.V.V, 0); bad {
		return f, "thin"
	}
	// Is there anything behind the stock?
	skin := 1e-6 * p.Mesh.Box().Diagonal()
	hit, ok := p.Mesh.BVH().Ray(s.at, s.normal.Scale(-1), skin, math.Inf(1))
	if ok && hit.T <= stock.V.V+equalErr(stock.V.V) {
		return Finding{HasValue: true, Measured: hit.T, Limit: stock.V.V, Unit: "mm"}, "through"
	}
	return Finding{}, ""
}

// addKey offers to write a key on a line of its own after a value.
func addKey[T any](doc *spec.Doc, after spec.Value[T], line string) []spec.Fix {
	if doc == nil || !after.Set {
		return nil
	}
	end := doc.LineRange(doc.LineOf(after.At.End)).End
	return []spec.Fix{{Title: "Add " + line, At: spec.Range{Start: end, End: end}, Text: "\n" + line}}
}

// marks are the facets that supports touch.
type marks struct{ below, above facetSet }

// supportMarks returns where the supports of what needs support touch the part.
func (p *Subject) supportMarks() *marks {
	m := &marks{}
	if !p.supported() {
		return m
	}
	for i, r := range p.Measured.Overhang.Regions {
		if needsSupport(p, r) {
			m.above.add(r.Facets)
			m.below.add(p.Measured.Support.Columns[i].Stands)
		}
	}
	return m
}

func (m *marks) on(facets []int32) string {
	switch {
	case m.above.meets(facets):
		return "hangs from"
	case m.below.meets(facets):
		return "stands on"
	}
	return ""
}

func sayStock(p *Subject, f *Finding) {
	d := f.detail.(stockDetail)
	name, place, finish := fmt.Sprintf("Face %q", d.decl.Name.V), p.near(f.At), d.decl.Finish.V
	where := ""
	if d.rests && p.supported() {
		where = " and stands on the platform, where the saw takes its share"
	}
	switch d.kind {
	case "astray":
		f.Message = fmt.Sprintf("%s is declared %s mm off the surface of the mesh, whose nearest point is %s.", name, number(f.Measured, 0.05), place)
		f.Help = "Correct the position (mesh coordinates, mesh units), or the model."
	case "unsaid":
		f.Message = fmt.Sprintf("%s is %s%s, and no stock is declared; it needs %s mm, %s.", name, cutting[finish], where, plain(f.Limit), place)
		f.Help = "Draw the stock in the model, and declare it here."
	case "thin":
		value, limit := pair(f.Measured, f.Limit, 0.005)
		f.Message = fmt.Sprintf("%s is %s%s, and carries %s mm of stock where %s mm is asked, %s.", name, cutting[finish], where, value, limit, place)
		f.Help = fmt.Sprintf("Draw %s mm of stock on it, and declare it here.", limit)
		if where != "" {
			f.Help = fmt.Sprintf("Draw %s mm of stock on it, or stand the part on another face.", limit)
		}
	case "through":
		f.Message = fmt.Sprintf("%s is %s by %s mm, and the material there is only %s mm thick, %s.", name, cutting[finish], plain(f.Limit), number(f.Measured, 0.005), place)
		f.Help = "Thicken the part behind it, or correct the stock or the position."
	case "scar":
		f.Message = fmt.Sprintf("Support %s face %q, whose surface matters and which nothing cuts afterwards, %s.", d.tie, d.decl.Name.V, place)
		f.Help = "Turn the part so that support keeps off it, or draw stock on it and mill it."
	}
}
