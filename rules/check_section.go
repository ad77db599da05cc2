package rules

import (
	"fmt"

	"corbel/mesh"
)

// SectionJump finds heights where the melted section grows suddenly.
var SectionJump = &Check{
	Name:    "section-jump",
	Summary: "The melted section grows gradually from layer to layer.",
	Why:     "A large section on top of a small one brings in far more heat and shrinks far more than what is below can take up.",
	Wrong:   "A witness line or a step shows at the jump, the edge lifts, or the part tears off its supports.",
	Sources: []Source{
		{"warn when a layer's solid area grows more than 4 times within 1 mm of height", "common practice, no source"},
		{"residual stress follows the melted section: Mercelis and Kruth 2006, Rapid Prototyp J 12(5):254", "published, from memory"},
	},
	Limits:    limits("section-jump.ratio", "section-jump.height"),
	Needs:     []Need{NeedSections},
	Processes: []string{LaserPBF, BeamPBF},
	Elsewhere: "nothing is melted, so a growing section brings in no heat",
	Solid:     true,
	Judge:     judgeSection,
	Say:       saySection,
}

func judgeSection(p *Subject) []Finding {
	limit, _ := p.Limit("section-jump.ratio")
	within, ok := p.Limit("section-jump.height")
	if !ok {
		return nil
	}
	var out []Finding
	for _, j := range p.Measured.Sections.Jumps(within.V, limit.V) {
		f, bad := breach(limit, j.Ratio, 0)
		if !bad {
			continue
		}
		f.place(j.At, mesh.Box{Min: j.At, Max: j.At}, j.To, nil)
		f.Where, f.feature, f.like, f.detail = p.whereUp(), "jump", "jump", j
		out = append(out, f)
	}
	return out
}

func saySection(p *Subject, f *Finding) {
	j := f.detail.(mesh.SectionJump)
	within, _ := p.Limit("section-jump.height")
	value, limit := pair(f.Measured, f.Limit, ratioBand)
	f.Message = fmt.Sprintf("Section grows from %s to %s mm2 within %s mm, %s times where %s is the most for %s, at %s mm of height %s.",
		rounded(j.From), rounded(j.To), plain(within.V), value, limit, p.forWhat(), number(j.Z, 0.05), p.where(f))
	f.Help = "Taper the transition, or turn the part so that large sections come first or come slowly."
}
