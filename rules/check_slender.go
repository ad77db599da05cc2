package rules

import (
	"fmt"

	"corbel/mesh"
	"corbel/rules/estimate"
)

// Slenderness finds features that are tall for their width.
var Slenderness = &Check{
	Name:    "slenderness",
	Summary: "What stands free is not too tall for its width.",
	Why: "Under the same sideways push the top of a wall moves with the third power of height over thickness. " +
		"The recoater pushes at every layer, and heat buckles a thin wall on its own.",
	Wrong: "The feature leans, chatters under the recoater and gets thicker on one side, or is knocked over; in a sintering furnace it slumps or tips.",
	Sources: []Source{
		{"deflection F H^3 / (3 E I) with I = L t^3 / 12", "beam theory"},
		{"recoater contact with tall, open 1.0 mm walls: J. Manuf. Mater. Process. 2023, 7(2):64", "published, read"},
		{"8 to 10 as a warning, 20 as a stop, up to 40 only with ribs", "common practice, no source"},
	},
	Limits:   limits("slenderness.ratio", "slenderness.pin"),
	Needs:    []Need{NeedSlender},
	Cautions: []Caution{cautionSharp},
	Judge:    judgeSlender,
	Say:      saySlender,
}

// footLeastMM: what stands on the platform on less than two slices of width
// touches it along an edge or at a point. That it needs a foot is plain, and
// no word about what grows above.
const footLeastMM = 2 * sectionPitchMM

func judgeSlender(p *Subject) []Finding {
	var out []Finding
	for _, s := range p.Measured.Slender {
		limit := slenderLimit(p, s)
		if !limit.Set || s.Z <= sectionPitchMM && s.WidthMM <= footLeastMM {
			continue
		}
		f, bad := breach(limit, s.Ratio, sectionPitchMM/s.WidthMM) // heights are known to one pitch
		if _, tall := breach(limit, s.HeightMM/max(s.WidthMM, trackMM), 0); !bad || !tall {
			continue // what is too narrow, and short for a track, is told by wall and pin
		}
		f.place(s.At, s.Box, 0, nil)
		f.Where, f.feature, f.like, f.detail = p.whereUp(), s.Kind, s.Kind, s
		out = append(out, f)
	}
	return out
}

func slenderLimit(p *Subject, s mesh.Slender) Limit {
	name := "slenderness.ratio"
	if s.Kind == "column" {
		name = "slenderness.pin"
	}
	l, _ := p.Limit(name)
	return l
}

func saySlender(p *Subject, f *Finding) {
	s := f.detail.(mesh.Slender)
	name := "Wall"
	if s.Kind == "column" {
		name = "Column"
	}
	band, width := ratioBand, number(s.WidthMM, 0.005)
	if f.Measured >= 100 { // of a width that is next to nothing
		band, width = 10*ratioBand, rounded(s.WidthMM)
	}
	value, limit := pair(f.Measured, f.Limit, band)
	f.Message = fmt.Sprintf("%s stands %s mm high on a width of %s mm, %s times its width where %s is the most for %s, %s%s.",
		name, number(s.HeightMM, 0.05), width, value, limit, p.forWhat(), p.where(f), closeCall(f))
	f.Help = "Thicken it, shorten it, brace it with a rib or a buttress, or turn its long side towards the recoater's travel."
	if times := estimate.SwayTimes(f.Measured, f.Limit); s.Kind == "wall" && times >= tellTimes {
		f.Help += fmt.Sprintf(" As it is, its top gives way %s times as far as that of a wall of %s.", rounded(times), limit)
	}
}
