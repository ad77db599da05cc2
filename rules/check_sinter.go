package rules

import (
	"fmt"

	"corbel/mesh"
	"corbel/rules/estimate"
)

// Sinter looks at what happens to a green part in the furnace. Whether the
// green part fits the machine belongs to envelope, and whether binder finds its
// way out to massive-section.
var Sinter = &Check{
	Name:    "sinter",
	Summary: "A part that is sintered keeps its shape: it is not too long, spans no gap that sags, stands on a foot that carries it, and its material is known to sinter.",
	Why: "In the furnace the part is soft, shrinks by a sixth, and drags over the setter on its own weight. Sag grows with the fourth power " +
		"of a span, and every error of shrinkage grows with the size.",
	Wrong: "Roofs and arms hang through, tall parts lean or tip over, long ones come out bent or out of size; nothing but a new part mends it.",
	Sources: []Source{
		{"errors grow with size, users favour small parts: Diegel and Wohlers 2020, Metal AM 6(2)", "published, read"},
		{"sag grows with L^4/h^2", "beam theory"},
		{"gravity bends binder-jetted parts in the furnace: Rapid Prototyp J 30(11):369", "published, read"},
		{"shrinkage up to 0.20, 15 % more along the build direction, 316L: Cabo Rios et al. 2022, Powder Metall 65(4):273", "published, read"},
		{"span 5 to 20 mm, ledge 5 mm, height over foot 8; a flat foot; aluminium keeps its oxide skin", "common practice, no source"},
	},
	Limits:    limits("sinter.size", "sinter.span", "sinter.ledge", "sinter.aspect", "sinter.shrinkage-xy", "sinter.shrinkage-z"),
	Needs:     []Need{NeedBox, NeedCylinders, NeedOverhang, NeedSlender, NeedFoot},
	Processes: []string{BinderJet, Extrusion},
	Elsewhere: "nothing is sintered",
	Judge:     judgeSinter,
	Say:       saySinter,
}

// sinterDetail is what the words about the furnace need.
type sinterDetail struct {
	kind   string // material, size, span, ledge, aspect, foot
	upward bool   // size: along the build direction
	height float64
	foot   float64
	region mesh.OverhangRegion
}

func judgeSinter(p *Subject) []Finding {
	var out []Finding
	add := func(f Finding, at Location, d sinterDetail) *Finding {
		f.Count, f.Where, f.feature, f.detail = 1, at, d.kind, d
		out = append(out, f)
		return &out[len(out)-1]
	}
	if p.Spec.Material.V == "AlSi10Mg" {
		add(Finding{}, Location{p.Spec.File, "material", p.Spec.Material.At}, sinterDetail{kind: "material"})
	}
	b := p.Measured.Box
	if l, ok := p.Limit("sinter.size"); ok {
		longest, upward := b.FootSize[0], false
		if b.Size[2] > longest {
			longest, upward = b.Size[2], true
		}
		if f, bad := breach(l, longest, 0); bad {
			add(f, p.whereMesh(), sinterDetail{kind: "size", upward: upward})
		}
	}
	for _, r := range p.Measured.Overhang.Regions {
		r = asHeld(p, r)
		if f, kind, bad := p.sags(r); bad {
			f := add(f, p.whereUp(), sinterDetail{kind: kind, region: r})
			f.place(r.At, r.Box, r.AreaMM2, r.Facets)
			f.like = kind
		}
	}
	foot := p.Measured.Foot
	at := foot.At
	if foot.WidthMM == 0 {
		f := add(Finding{}, p.whereUp(), sinterDetail{kind: "foot"})
		f.place(at, mesh.Box{Min: at, Max: at}, 0, nil)
		return out
	}
	if l, ok := p.Limit("sinter.aspect"); ok && !p.toldSlender() {
		if f, bad := breach(l, b.Size[2]/foot.WidthMM, 0); bad {
			f := add(f, p.whereUp(), sinterDetail{kind: "aspect", height: b.Size[2], foot: foot.WidthMM})
			f.place(at, mesh.Box{Min: at, Max: at}, 0, nil)
		}
	}
	return out
}

// sags reports whether a span or a ledge sags in the furnace. What hole or
// overhang tells already is left to them.
func (p *Subject) sags(r mesh.OverhangRegion) (Finding, string, bool) {
	if r.Hole >= 0 || p.told(Overhang) {
		if r.Hole >= 0 {
			return Finding{}, "", false
		}
		if _, bad := judgeRegion(p, r); bad {
			return Finding{}, "", false
		}
	}
	name, v, band := "sinter.span", 2*r.ReachMM, 2*p.Measured.Overhang.ReachErr
	switch r.Kind {
	case mesh.Ledge:
		name, v, band = "sinter.ledge", r.ReachMM, p.Measured.Overhang.ReachErr
	case mesh.Free:
		return Finding{}, "", false // it rests on no setter at all: told by foot, or a body apart
	}
	l, ok := p.Limit(name)
	if !ok {
		return Finding{}, "", false
	}
	f, bad := breach(l, v, band)
	return f, name[len("sinter."):], bad
}

// toldSlender reports whether slenderness finds what stands on the setter too
// tall already.
func (p *Subject) toldSlender() bool {
	if !p.told(Slenderness) {
		return false
	}
	for _, f := range judgeSlender(p) {
		if f.detail.(mesh.Slender).Z <= sectionPitchMM {
			return true
		}
	}
	return false
}

func saySinter(p *Subject, f *Finding) {
	d := f.detail.(sinterDetail)
	what, place := p.forWhat(), ""
	if f.HasPlace {
		place = p.where(f)
	}
	value, limit := pair(f.Measured, f.Limit, max(f.Band, 0.05))
	switch d.kind {
	case "material":
		f.Message = fmt.Sprintf("%s is not established in %s: its oxide skin keeps it from sintering dense.", what, p.Spec.Process.V)
		f.Help = "Take a material that sinters, such as 316L or 17-4PH, or build it by powder bed fusion."
	case "size":
		xy, z := p.Shrinkage()
		s, along := xy, "long"
		if d.upward {
			s, along = z, "high"
		}
		f.Message = fmt.Sprintf("Part is %s mm %s, more than the %s mm that sinters true in %s; it is built %s mm %s.", value, along, limit, what,
			number(estimate.Green(f.Measured, s), 0.05), along)
		f.Help = "Split it, or trial the shrinkage of this part and leave stock where its size matters."
	case "span":
		f.Message = fmt.Sprintf("Bridge spans %s mm, and sags in the furnace beyond %s mm in %s, over %s mm2 %s%s.", value, limit, what, rounded(f.AreaMM2), place, closeCall(f))
		f.Help = "Lay it on another face, rib it from below, or plan a setter that carries it; half the span sags a sixteenth."
		if times := estimate.SagTimes(f.Measured, f.Limit); times >= tellTimes {
			f.Help += fmt.Sprintf(" As it is, it sags %s times as far as %s mm would.", rounded(times), limit)
		}
	case "ledge":
		f.Message = fmt.Sprintf("Ledge reaches %s mm, and sags in the furnace beyond %s mm in %s, over %s mm2 %s%s.", value, limit, what, rounded(f.AreaMM2), place, closeCall(f))
		f.Help = "Lay it on another face, carry its end, or plan a setter that carries it."
	case "aspect":
		value, limit := pair(f.Measured, f.Limit, ratioBand)
		f.Message = fmt.Sprintf("Part stands %s mm high on a foot of %s mm, %s times its width where %s is the most in the furnace for %s.", number(d.height, 0.05), number(d.foot, 0.05), value, limit, what)
		f.Help = "Lay it down, widen its foot, or plan a setter that holds it."
	case "foot":
		f.Message = fmt.Sprintf("Part has no flat to stand on in the furnace, lowest %s.", p.near(f.At))
		f.Help = "Stand it on a flat face, or plan a setter of its shape."
	}
}
