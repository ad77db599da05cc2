package rules

import (
	"fmt"

	"corbel/mesh"
)

// Pin finds pins, posts and struts thinner than the process builds.
var Pin = &Check{
	Name:    "pin",
	Summary: "Pins and posts that stand free, and struts held at both ends, are thick enough to build.",
	Why:     "A round feature of a few melt tracks has little to hold it against the recoater, and a drawn pin comes out slightly larger and rougher than drawn. A stud no longer than twice its diameter is relief: it needs what a strut does.",
	Wrong:   "The pin is bent, broken off or missing, and the piece that came off is dragged across the layer.",
	Sources: []Source{
		{"4 mm pins +0.023 mm in one build, stainless steel: Moylan et al. 2014, J Res NIST 119:429", "published, read in part"},
		{"struts of 0.200, 0.839 and 1.250 mm came out 0.236, 0.919 and 1.286 mm: npj Adv. Manuf. 2025, s44334-025-00019-y, table 2", "published, read"},
		{"0.8 mm pins, 0.4 mm struts in laser powder bed fusion", "common practice, no source"},
	},
	Limits:   limits("pin.diameter", "pin.strut"),
	Needs:    []Need{NeedCylinders},
	Cautions: []Caution{cautionSharp},
	Judge:    judgePin,
	Say:      sayPin,
}

func judgePin(p *Subject) []Finding {
	var out []Finding
	for _, c := range p.Measured.Cylinders.Pins {
		name, kind := "pin.strut", "strut"
		if c.Free {
			name, kind = "pin.diameter", "pin"
			if c.LengthMM <= reliefMost*c.DiameterMM {
				name = "pin.strut"
			}
		}
		limit, ok := p.Limit(name)
		if !ok || c.Share < shareLeast {
			continue
		}
		f, bad := breach(limit, c.DiameterMM, c.ErrMM)
		if !bad {
			continue
		}
		f.place(c.At, cylinderBox(c), 0, c.Facets)
		f.Where, f.feature, f.like, f.detail = p.whereMesh(), kind, kind, c
		out = append(out, f)
	}
	return out
}

// cylinderBox is the box of a cylinder's axis.
func cylinderBox(c mesh.Cylinder) mesh.Box {
	half := c.Axis.Scale(c.LengthMM / 2)
	return mesh.EmptyBox().Grow(c.At.Sub(half)).Grow(c.At.Add(half))
}

func sayPin(p *Subject, f *Finding) {
	c := f.detail.(mesh.Cylinder)
	name := "Strut"
	if c.Free {
		name = "Pin"
	}
	value, limit := pair(f.Measured, f.Limit, f.Band)
	f.Message = fmt.Sprintf("%s is %s mm in diameter, thinner than %s mm for %s, over a length of %s mm %s%s.", name, value, limit, p.forWhat(),
		rounded(c.LengthMM), p.where(f), closeCall(f))
	f.Help = fmt.Sprintf("Make it %s mm or thicker, shorten it, or join its free end to the part.", limit)
}
