package rules

import "fmt"

// Gap finds slots and gaps so narrow that they fuse.
var Gap = &Check{
	Name:    "gap",
	Summary: "Gaps and slots are wide enough to stay open.",
	Why:     "Half-molten powder sticks to both sides of a gap. Below a certain width the two sides meet; in binder jetting the powder between them cannot be brushed out.",
	Wrong:   "Parts that should move are welded together, slots are closed, and powder is locked in between.",
	Sources: []Source{
		{"0.3 mm: Thomas 2009, thesis, Univ. of Wales Institute Cardiff; Adam and Zimmer 2015, Rapid Prototyp J 21(6):662", "published, from memory"},
		{"0.8 to 1.5 mm where powder is sintered or must be brushed out", "common practice, no source"},
	},
	Limits: limits("gap.width"),
	Needs:  []Need{NeedGap, NeedCylinders},
	Judge:  judgeGap,
	Say:    sayGap,
}

// gapLeastMM2 is the smallest patch worth a finding (common practice, no source).
const gapLeastMM2 = 0.5

func judgeGap(p *Subject) []Finding {
	limit, _ := p.Limit("gap.width")
	bores := asThin(p.Measured.Cylinders.Holes, limit.V) // told by hole
	var out []Finding
	for _, r := range p.Measured.Gap.Regions(limit.V) {
		if r.AreaMM2 < gapLeastMM2 || bores.share(r.Facets) > 0.5 {
			continue
		}
		f, bad := breach(limit, r.MinMM, p.Measured.Gap.Err)
		if !bad {
			continue
		}
		f.place(r.At, r.Box, r.AreaMM2, r.Facets)
		f.Where, f.feature, f.like = p.whereSurface(r.Facets), "gap", "gap"
		out = append(out, f)
	}
	return out
}

func sayGap(p *Subject, f *Finding) {
	value, limit := pair(f.Measured, f.Limit, f.Band)
	f.Message = fmt.Sprintf("Gap is %s mm, narrower than %s mm for %s, so it may fuse, over %s mm2 %s%s.", value, limit, p.forWhat(),
		rounded(f.AreaMM2), p.where(f), closeCall(f))
	f.Help = fmt.Sprintf("Open it to %s mm, or close it on purpose.", limit)
}
