package rules

import (
	"fmt"
	"strings"

	"corbel/rules/fit"
	"corbel/spec"
)

// Tolerance compares the tolerances that a spec asks with what the process
// holds as built.
var Tolerance = &Check{
	Name:    "tolerance",
	Summary: "A hole that is left as built asks for no finer tolerance than the process holds; a zone outside the tables is told.",
	Why: "Size as built follows the beam, the layers, the shrinkage and the place on the platform. A fit that is finer than that " +
		"is a matter of luck in every build, whatever the drawing says.",
	Wrong: "The pin does not go in, or falls out; each part is measured, sorted and reworked by hand.",
	Sources: []Source{
		{"IT 9 to 11 uncorrected along the build direction, AlSi10Mg: Brenner and Nedeljkovic-Groha 2025, Appl. Sci. 15(17):9756", "published, read"},
		{"4 mm holes -0.115 mm in one build, stainless steel: Moylan et al. 2014, J Res NIST 119:429", "published, read in part"},
		{"IT 8 to 13 in green binder-jetted parts: J. Manuf. Mater. Process. 2025, 9(11):363", "published, read"},
		{"as built +-0.1 mm or 0.2 % by laser, +-0.3 to 0.5 mm by electron beam", "common practice, no source"},
		{"widths of the grades and places of the zones: ISO 286-1, tables 1, 4 and 5", "published, from memory"},
		{"general tolerances: ISO 2768-1, table 1", "published, read"},
	},
	Limits: limits("tolerance.grade"),
	Needs:  []Need{NeedCylinders},
	Judge:  judgeTolerance,
	Say:    sayTolerance,
}

// tightHole is a declared hole whose tolerance is finer than the process holds.
type tightHole struct{ *spec.Hole }

// placeless is a declared hole with a tolerance that the tables do not place.
type placeless struct {
	*spec.Hole
	zone string // the hole's or the shaft's
}

func judgeTolerance(p *Subject) []Finding {
	limit, ok := p.Limit("tolerance.grade")
	if !ok {
		return nil
	}
	matched := matchHoles(p)
	var out []Finding
	for i := range p.Spec.Holes {
		d := &p.Spec.Holes[i]
		if !d.Tolerance.Set || !d.Diameter.Set {
			continue
		}
		f, bad := Finding{}, false
		if asked, ok := gradeAsked(d.Tolerance.V, d.Diameter.V.V); ok && !machined(d.Finish.V) {
			f, bad = breach(limit, float64(asked), 0)
		}
		zone := zoneOutside(d.Tolerance.V, d.Diameter.V.V)
		switch {
		case bad:
			f.detail, f.feature = tightHole{d}, d.Name.V
			f.Fixes = []spec.Fix{{Title: `Write finish = "ream"`, At: d.Finish.At, Text: `"ream"`}}
			if !d.Finish.Set {
				f.Fixes = addKey(p.Spec.Doc, d.Diameter, `finish = "ream"`)
			}
		case zone != "":
			f = Finding{Count: 1, shift: -1, feature: "no place, " + d.Name.V, detail: placeless{d, zone}}
		default:
			continue
		}
		f.Where = Location{p.Spec.File, "hole.tolerance", d.Tolerance.At}
		if h, found := matched[i]; found {
			hole := p.Measured.Cylinders.Holes[h]
			f.place(hole.At, cylinderBox(hole), 0, hole.Facets)
		}
		out = append(out, f)
	}
	return out
}

// zoneOutside returns the zone of a tolerance, of its hole or else of its shaft,
// that the tables here have no place for on a size; "" where there is none. A
// bare grade has no place and asks for none.
func zoneOutside(text string, sizeMM float64) string {
	t, err := spec.ParseTolerance(text)
	if err != nil || t.IsBand() || t.Letters == "" {
		return ""
	}
	hole, shaft, ok := zones(text, sizeMM)
	switch {
	case !ok:
		return fmt.Sprintf("%s%d", t.Letters, t.Grade)
	case t.Shaft != "" && hole.Known && !shaft.Known:
		return t.Shaft
	}
	return ""
}

// gradeAsked returns the ISO 286 grade that a tolerance asks: the number of a
// grade, or the finest grade that fits into a band.
func gradeAsked(text string, sizeMM float64) (int, bool) {
	t, err := spec.ParseTolerance(text)
	if err != nil {
		return 0, false
	}
	if !t.IsBand() {
		return t.Grade, true
	}
	return fit.GradeOf(1000*(t.Upper.V-t.Lower.V), sizeMM)
}

// generalClass is the class of ISO 2768-1 that a process holds as built
// (common practice, no source); sintered parts have none, they hold a share of
// their size.
var generalClass = map[string]byte{LaserPBF: 'm', BeamPBF: 'c'}

func sayTolerance(p *Subject, f *Finding) {
	at := ""
	if f.HasPlace {
		at = ", " + p.near(f.At)
	}
	switch d := f.detail.(type) {
	case placeless:
		d.say(f, at)
	case tightHole:
		d.say(p, f, at)
	}
}

func (d placeless) say(f *Finding, at string) {
	what, mend := "the sizes it allows, its fit and the diameter to draw are", "Write the limits of its drawing as a band such as \"+0.03/+0.01 mm\", or name a zone that they hold."
	if strings.HasSuffix(d.Tolerance.V, "/"+d.zone) {
		what, mend = "what the shaft leaves in it is", "Take the limits of the shaft from its drawing, and hold them against the hole's; or name a zone that they hold."
	}
	f.Message = fmt.Sprintf("Hole %q asks for %s on %s mm, and the tables here have no place for %s, so %s not told%s.", d.Name.V, d.Tolerance.V, plain(d.Diameter.V.V), d.zone, what, at)
	f.Help = "The tables here hold " + fit.Holds + ", where ISO 286-1 has them. " + mend
}

func (d tightHole) say(p *Subject, f *Finding, at string) {
	size := d.Diameter.V.V
	zone := ""
	if hole, _, ok := zones(d.Tolerance.V, size); ok {
		zone = fmt.Sprintf(", %s to %s mm", number3(size+hole.LowerMM), number3(size+hole.UpperMM))
	} else if w, ok := fit.Grade(int(f.Measured), size); ok {
		zone = fmt.Sprintf(", %s mm wide", number3(w/1000))
	}
	holds := fmt.Sprintf("IT%d", int(f.Limit))
	if w, ok := fit.Grade(int(f.Limit), size); ok {
		holds += fmt.Sprintf(", %s mm wide,", number3(w/1000))
	}
	f.Message = fmt.Sprintf("Hole %q asks for %s on %s mm%s, finer than the %s that %s holds as built%s.", d.Name.V, d.Tolerance.V, plain(size), zone, holds, p.Spec.Process.V, at)
	f.Help = fmt.Sprintf("Name a finish that holds it, such as \"ream\" or \"bore\" with stock, or allow IT%d.", int(f.Limit))
	if h, ok := p.fitOf(d.Hole); ok {
		if h.HasFit {
			f.Help += fmt.Sprintf(" With a shaft %s it is to leave %s; as built it leaves %s.", h.Shaft.Text, sayClearance(h.Fit.LeastMM, h.Fit.MostMM, 3), sayClearance(h.Built.Low, h.Built.High, builtDecimals))
		}
		if h.StockMM > 0 {
			f.Help += fmt.Sprintf(" Draw it %s mm, which leaves %s mm a side to cut.", plain(roundTo(h.DrawMM, 3)), plain(h.StockMM))
		}
	}
	if zone := zoneOutside(d.Tolerance.V, size); zone != "" {
		f.Help += fmt.Sprintf(" The tables here have no place for %s.", zone)
	}
	if class, ok := generalClass[p.Spec.Process.V]; ok {
		if dev, ok := fit.General(class, size); ok {
			f.Help += fmt.Sprintf(" Sizes without a tolerance come out to ISO 2768-%c, +-%s mm here.", class, plain(dev))
		}
	}
}

// number3 says a length to the micrometre, as drawings do.
func number3(mm float64) string { return fmt.Sprintf("%.3f", mm) }
