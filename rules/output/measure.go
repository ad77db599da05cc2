package output

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"corbel/mesh"
	"corbel/rules"
)

// MeasureJSON writes the document of measure: the same names as check's,
// without judgement.
func MeasureJSON(w io.Writer, r *rules.PartReport) error {
	d := NewDocument([]Part{PartOf(r)})
	p := &d.Parts[0]
	p.Checks = nil
	var kept []Finding
	for _, f := range p.Findings { // why there is nothing to measure
		if f.Check == rules.Spec.Name || r.Info == nil {
			kept = append(kept, f)
		}
	}
	if p.Findings = kept; kept == nil {
		p.Findings = []Finding{}
	}
	return write(w, d)
}

// MeasureText writes the measurements for people.
func MeasureText(w io.Writer, r *rules.PartReport) error {
	t := &measureText{w: w}
	t.row("file", clean(r.Path))
	if r.Info == nil {
		return t.err
	}
	m, doc := r.Info, PartOf(r).Measured
	t.row("mesh", fmt.Sprintf("%s, %d facets, unit %s", m.Source.Format, m.Facets, m.Source.Unit))
	for _, n := range m.Source.Notes {
		t.row("", clean(n))
	}
	t.number("volume", doc.Volume, "mm3")
	t.number("area", doc.Area, "mm2")
	t.number("mass", doc.Mass, "g")
	if doc.Box != nil {
		t.row("box", fmt.Sprintf("%s to %s mm", vec(doc.Box.Min), vec(doc.Box.Max)))
	}
	if doc.OrientedBox != nil {
		t.row("as it stands", vec(doc.OrientedBox.Size)+" mm")
	}
	t.integrity(doc.Integrity)
	t.standing(doc)
	t.features(doc)
	for i, f := range r.Fits() {
		sizes, made := f.SayFit()
		t.row(pickWord(i+1, "tolerances", ""), fmt.Sprintf("hole %s, %s", strconv.Quote(clean(f.Decl.Name.V)), sizes))
		t.row("", made)
	}
	t.planned("time", doc.Time, doc.TimeBand, "h")
	t.planned("cost", doc.Cost, doc.CostBand, r.Shop.Currency())
	if e := r.Estimate(); e.HasTime {
		if e.HasCost {
			t.row("", fmt.Sprintf("made of %s; %s in %s", rules.SayMade(e.Made), count(e.PerJob, "part"), pickWord(e.Jobs, "one job", fmt.Sprintf("each of %d jobs", e.Jobs))))
		}
		for _, l := range inputLines(e.Inputs) {
			t.row("", l)
		}
	}
	return t.err
}

type measureText struct {
	w   io.Writer
	err error
}

func (t *measureText) row(name, text string) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, "%-16s%s\n", name, text)
	}
}

func (t *measureText) number(name string, v *float64, unit string) {
	if v != nil {
		t.row(name, figure(*v)+" "+unit)
	}
}

// planned says a number no finer than a plan is: JSON has it whole.
func (t *measureText) planned(name string, v *float64, may *Span, unit string) {
	if v != nil {
		t.row(name, fmt.Sprintf("about %s %s, %s to %s (planning figure, not an offer)", figures(*v, 2), unit, figures(may.Low, 2), figures(may.High, 2)))
	}
}

// figure says a measured number to four figures: JSON has it whole.
func figure(v float64) string { return figures(v, 4) }

func figures(v float64, n int) string {
	return strconv.FormatFloat(mustParse(strconv.FormatFloat(v, 'g', n, 64)), 'f', -1, 64)
}

// angle says degrees to a thousandth: a flat roof that was turned lies at 0.
func angle(deg float64) string { return figure(math.Round(1000*deg) / 1000) }

func mustParse(s string) float64 {
	v, _ := strconv.ParseFloat(s, 64)
	return v
}

func vec(v mesh.Vec) string {
	return "(" + place(v[0]) + ", " + place(v[1]) + ", " + place(v[2]) + ")"
}

// place says a coordinate to a hundredth of a millimetre.
func place(v float64) string {
	return strconv.FormatFloat(mustParse(strconv.FormatFloat(v, 'f', 2, 64))+0, 'f', -1, 64) // +0: no minus zero
}

func (t *measureText) integrity(i *Integrity) {
	if i == nil {
		return
	}
	t.row("surface", fmt.Sprintf("%s, %s, %s, %s, %s",
		count(i.Shells, "shell"), count(i.OpenEdges, "open edge"), count(i.NonmanifoldEdges, "edge")+" with more than two facets",
		count(i.FlippedFacets, "flipped facet"), count(i.SelfIntersections, "crossing")))
}

func (t *measureText) standing(d *Measured) {
	if o := d.Overhang; o != nil {
		t.row("overhang", fmt.Sprintf("%s mm2 in %s", figure(o.Area), count(len(o.Regions), "region")))
		for _, r := range firstN(o.Regions, rowsMax) {
			t.row("", fmt.Sprintf("%s of %s mm2 at %s deg, reach %s mm, near %s", r.Kind, figure(r.Area), angle(r.Inclination), figure(r.Reach), vec(r.At)))
		}
	}
	if s := d.Support; s != nil {
		t.row("support", supportText(s))
	}
	if s := d.FloatingStarts; s != nil {
		t.row("floating starts", strconv.Itoa(len(*s)))
		for _, x := range firstN(*s, rowsMax) {
			t.row("", fmt.Sprintf("%s at %s mm of height near %s", x.Kind, figure(x.Height), vec(x.At)))
		}
	}
}

// supportText says what has to stand under a part.
func supportText(s *Support) string {
	if s.Volume == 0 {
		return "none needed"
	}
	text := fmt.Sprintf("%s mm3 of columns, %s mm3 of it solid, under %s mm2 that needs it; touches %s mm2", figure(s.Volume), figure(s.Solid), figure(s.Overhang), figure(s.Touch))
	if s.Area > 0 {
		text += fmt.Sprintf("; %.0f %% of its foot lands on the part", 100*s.Share)
	}
	return text
}

func (t *measureText) features(d *Measured) {
	t.thickness("thinnest wall", d.Wall)
	t.thickness("narrowest gap", d.Gap)
	if b := d.LargestBall; b != nil {
		t.row("largest ball", fmt.Sprintf("%s mm near %s", figure(b.Diameter), vec(b.At)))
	}
	if d.Holes != nil {
		t.row("holes", strconv.Itoa(len(*d.Holes)))
		for _, h := range firstN(*d.Holes, rowsMax) {
			t.row("", fmt.Sprintf("%s mm %s, %s mm deep, tilt %s deg, near %s", figure(h.Diameter), rules.SayEnds(h.Through), figure(h.Depth), angle(h.Tilt), vec(h.At)))
		}
	}
	if d.Pins != nil {
		t.row("pins", strconv.Itoa(len(*d.Pins)))
		for _, p := range firstN(*d.Pins, rowsMax) {
			t.row("", fmt.Sprintf("%s mm, %s mm long, near %s", figure(p.Diameter), figure(p.Length), vec(p.At)))
		}
	}
	if d.Voids != nil {
		t.row("inner spaces", strconv.Itoa(len(*d.Voids)))
		for _, v := range firstN(*d.Voids, rowsMax) {
			way := "sealed"
			if !v.Sealed {
				way = fmt.Sprintf("%s, lets out %s mm", count(v.Openings, "opening"), figure(v.Escape))
			}
			t.row("", fmt.Sprintf("%s mm3, %s, near %s", figure(v.Volume), way, vec(v.At)))
		}
	}
	if d.Passages != nil && len(*d.Passages) > 0 {
		t.row("passages", strconv.Itoa(len(*d.Passages)))
		for _, w := range firstN(*d.Passages, rowsMax) {
			t.row("", fmt.Sprintf("%s mm wide, %s mm long, %s, near %s", figure(w.Width), figure(w.Length), rules.SayEnds(w.Through), vec(w.At)))
		}
	}
}

func (t *measureText) thickness(name string, x *Thickness) {
	switch {
	case x == nil:
	case x.Min == nil:
		t.row(name, fmt.Sprintf("more than %s mm", figure(x.Cap)))
	default:
		t.row(name, fmt.Sprintf("%s mm near %s", figure(*x.Min), vec(*x.At)))
	}
}

// rowsMax bounds the lists of the text; JSON has them all.
const rowsMax = 20

func firstN[T any](list []T, n int) []T { return list[:min(n, len(list))] }
