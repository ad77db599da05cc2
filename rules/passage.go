package rules

import (
	"fmt"
	"math"
	"slices"

	"corbel/mesh"
	"corbel/spec"
)

// This file judges passages, for Powder: channels, slits and holes of any section
// are held to what Hole holds round bores to, each told of once.

type passageDetail struct {
	kind    string // channel: too narrow; deep: too long for its width
	passage mesh.Passage
	decl    *spec.VoidDecl
	powder  float64 // g; 0 where unknown or none
}

// boreShare is the share of a passage's way inside a straight round hole from which
// the two are the same, unless what stands in the hole leaves it narrower than
// boreWidth of its diameter.
const (
	boreShare = 0.9
	boreWidth = 0.5
)

// judgePassages tells the passages that are too narrow or too long for their width,
// but for round bores, which Hole judges, and for ways out of spaces that told says
// something of.
func judgePassages(p *Subject, told []Finding) []Finding {
	var out []Finding
	for _, w := range p.Measured.Voids.Passages {
		kind, f := judgePassage(p, &w)
		if kind == "" || p.boreOf(&w) || leadsToTold(&w, told) {
			continue
		}
		d := passageDetail{kind: kind, passage: w, decl: passageDecl(p, &w), powder: trappedPowder(p, w.VolumeMM3)}
		f.place(w.At, w.Box, 0, nil)
		f.Where, f.feature, f.like, f.detail = p.whereMesh(), "passage", kind, d
		if !w.Through {
			f.like += " blind"
		}
		if d.decl != nil {
			f.Where = Location{p.Spec.File, "void", d.decl.Table}
			f.feature += " " + d.decl.Name.V
			f.like = ""
		}
		out = append(out, f)
	}
	return out
}

// judgePassage tells the first thing that is wrong with a passage; "" if nothing is.
func judgePassage(p *Subject, w *mesh.Passage) (kind string, f Finding) {
	try := func(limit string, v, band float64) (bad bool) {
		if l, ok := p.Limit(limit); ok {
			f, bad = breach(l, v, band)
		}
		return bad
	}
	ratio := "hole.depth-ratio"
	if !w.Through {
		ratio = "hole.blind-ratio"
	}
	switch {
	case try("hole.channel", w.WidthMM, w.WidthErrMM):
		return "channel", f
	case try(ratio, w.Ratio(), w.Ratio()*(w.ErrMM/w.LengthMM+w.WidthErrMM/w.WidthMM)):
		return "deep", f
	}
	return "", f
}

// boreOf reports whether a passage is a straight round hole, or one of its legs is
// such a hole that Hole tells keeps powder.
func (p *Subject) boreOf(w *mesh.Passage) bool {
	if !p.told(Hole) {
		return false
	}
	for _, h := range p.Measured.Cylinders.Holes {
		if h.Share < shareLeast {
			continue
		}
		if in := inBore(&h, w); in >= boreShare || in > 0 && boreTold(p, h, "channel", "deep") {
			return true
		}
	}
	return false
}

// Passages are the passages of a part that are no straight round holes.
func (r *PartReport) Passages() []mesh.Passage {
	var out []mesh.Passage
	for _, w := range r.Measured.Voids.Passages {
		round := func(h mesh.Cylinder) bool { return h.Share >= shareLeast && inBore(&h, &w) >= boreShare }
		if r.Measured.Cylinders == nil || !slices.ContainsFunc(r.Measured.Cylinders.Holes, round) {
			out = append(out, w)
		}
	}
	return out
}

// inBore is the share of a passage's way that lies in a hole, or as near to its
// mouths as it is wide; 0 for a gap about a core in it.
func inBore(h *mesh.Cylinder, w *mesh.Passage) float64 {
	if w.WidthMM < boreWidth*h.DiameterMM {
		return 0
	}
	in := 0
	for _, at := range w.Way {
		v := at.Sub(h.At)
		along := v.Dot(h.Axis)
		if math.Abs(along) <= h.LengthMM/2+h.DiameterMM && v.Sub(h.Axis.Scale(along)).Norm() <= h.DiameterMM/2 {
			in++
		}
	}
	return float64(in) / float64(len(w.Way))
}

// boreTold reports whether Hole tells something of some kinds of a hole.
func boreTold(p *Subject, h mesh.Cylinder, kinds ...string) bool {
	return slices.ContainsFunc(judgeBore(p, h, nil), func(f Finding) bool {
		return slices.Contains(kinds, f.detail.(holeDetail).kind)
	})
}

// leadsToTold reports whether a passage is the way out of a space that is told of.
func leadsToTold(w *mesh.Passage, told []Finding) bool {
	for _, f := range told {
		if v := f.detail.(voidDetail).void; !v.Sealed && w.Passes(v.EscapeAt) {
			return true
		}
	}
	return false
}

// passageDecl finds the [[void]] that means a passage: one with a point in it.
func passageDecl(p *Subject, w *mesh.Passage) *spec.VoidDecl {
	for i := range p.Spec.Voids {
		if d := &p.Spec.Voids[i]; d.At.Set && w.Passes(p.Point(d.At.V)) {
			return d
		}
	}
	return nil
}

// unseen says what judgePassages and judgeVoid may have missed: what is narrower than
// the grid of empty space tells, but not as narrow as what Gap tells. It is empty
// where that is nothing, or no limit asks for it.
func unseen(p *Subject, judged map[string]bool) string {
	asked := slices.ContainsFunc(Powder.Limits, func(d *LimitDef) bool {
		_, ok := p.Limit(d.Name)
		return ok
	})
	from := p.Measured.Voids.SeenMM
	gap := 0.0
	if judged[Gap.Name] {
		l, _ := p.Limit("gap.width")
		gap = l.V
	}
	if !asked || from <= gap {
		return ""
	}
	return fmt.Sprintf("Channels, slits and ways out narrower than %s mm may be missed, but for round holes.", rounded(from))
}

func sayPassage(p *Subject, f *Finding, d passageDetail) {
	w := &d.passage
	name := "Channel or slit"
	if d.decl != nil && d.decl.Name.Set {
		name = fmt.Sprintf("Channel %q", d.decl.Name.V)
	}
	held := " powder"
	if d.powder > 0 {
		held = fmt.Sprintf(" %s g of %s powder", rounded(d.powder), p.Spec.Material.V)
	}
	if d.kind == "channel" {
		value, limit := pair(f.Measured, f.Limit, f.Band)
		f.Message = fmt.Sprintf("%s is %s mm wide where it is narrowest and %s mm long, narrower than the %s mm that can be cleared of powder in %s, and may trap%s, %s%s.", name,
			value, number(w.LengthMM, w.ErrMM), limit, p.forWhat(), held, p.where(f), closeCall(f))
		f.Help = "Widen it, shorten it, or open it on the way."
		return
	}
	value, limit := pair(f.Measured, f.Limit, max(f.Band, ratioBand))
	f.Message = fmt.Sprintf("%s, %s mm wide where it is narrowest, is %s mm long and %s, %s times its width where powder comes out of %s at most in %s, and may trap%s, %s%s.", name,
		rounded(w.WidthMM), number(w.LengthMM, w.ErrMM), SayEnds(w.Through), value, limit, p.forWhat(), held, p.where(f), closeCall(f))
	f.Help = "Widen it, shorten it, or " + openIt(w.Through) + "; keep a way for air or liquid to push through."
}
