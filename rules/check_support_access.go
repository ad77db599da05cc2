package rules

import (
	"fmt"

	"corbel/mesh"
)

// SupportAccess finds supports that nobody can take off again.
var SupportAccess = &Check{
	Name:    "support-access",
	Summary: "A straight tool reaches the supports from outside, where they hang and where they stand.",
	Why: "Support is cut, broken and ground off by tools that are straight and have a hand behind them. " +
		"What stands inside a bent channel or deep in a slot stays there, unless it is dissolved or was never needed.",
	Wrong: "Support stays in the part: it throttles flow, keeps powder, comes loose in service; or the part is scrapped at the bench.",
	Sources: []Source{
		{"a chisel or burr of 6 mm that reaches 60 mm, with a hand of 30 mm behind it; a tenth may be out of reach and is broken off with the rest", "common practice, no source"},
		{"supports can be minimised, orientation decides: Calignano 2014, Mater Des 64:203", "published, read"},
		{"the tool is walked by balls along its line: Hart 1996, Sphere tracing, The Visual Computer 12:527", "published, from memory"},
	},
	Limits:    limits("support-access.share", "support-access.diameter", "support-access.length"),
	Needs:     []Need{NeedCylinders, NeedOverhang, NeedAccess},
	Processes: []string{LaserPBF, BeamPBF, Extrusion},
	Elsewhere: "the powder bed carries the part, so there are no supports to take off",
	Solid:     true,
	Cautions:  []Caution{cautionSharp},
	Judge:     judgeSupportAccess,
	Say:       saySupportAccess,
}

// holderOver is how many times wider than the tool its holder is: a hand or a
// spindle (common practice, no source).
const holderOver = 5

func judgeSupportAccess(p *Subject) []Finding {
	limit, ok := p.Limit("support-access.share")
	if !ok {
		return nil
	}
	var out []Finding
	for i, r := range p.Measured.Overhang.Regions {
		if !needsSupport(p, r) {
			continue
		}
		a := p.Measured.Access[i]
		f, bad := breach(limit, 1-a.Share, a.ShareErr)
		if !bad || a.Samples == 0 {
			continue
		}
		f.place(a.At, a.Missed, r.AreaMM2, r.Facets)
		f.Where, f.feature, f.like, f.detail = p.whereUp(), "support", "support", a
		f.caution = []Caution{cautionSharp}
		out = append(out, f)
	}
	return out
}

func saySupportAccess(p *Subject, f *Finding) {
	a := f.detail.(mesh.Access)
	diameter, _ := p.Limit("support-access.diameter")
	length, _ := p.Limit("support-access.length")
	value, limit := pair(100*f.Measured, 100*f.Limit, 5)
	percent := Finding{Undecided: f.Undecided, Band: 100 * f.Band, Unit: "%"}
	share := value + " %"
	if a.Share == 0 {
		share = "all"
	}
	support := fmt.Sprintf("%s of the support under %s mm2 is out of reach of", upperFirst(share), rounded(f.AreaMM2))
	worst := ""
	if f.Count > 1 {
		support = fmt.Sprintf("Support under %s mm2 in %d places is out of reach of", rounded(f.AreaMM2), f.Count)
		worst = fmt.Sprintf(", %s of it in the worst", share)
	}
	f.Message = fmt.Sprintf("%s a straight tool %s mm wide and %s mm long%s, %s%s.",
		support, plain(diameter.V), plain(length.V), worst, p.near(f.At), closeCall(&percent))
	f.Help = fmt.Sprintf("Open a way for the tool, turn the part, or shape the roof so that it carries itself; %s %% may be out of reach.", limit)
}
