package rules

import (
	"fmt"
	"math"

	"corbel/mesh"
)

// Overhang compares downskin regions with the angle, reach and span that a
// process carries without support.
var Overhang = &Check{
	Name:    "overhang",
	Summary: "Downskin lies steep enough, or reaches no further than the process carries it without support.",
	Why: "Each layer needs something below it to carry it and to take its heat away. Downskin below the angle has only powder there, " +
		"so it needs support: material that is built, paid for, and cut off again where a tool can reach. What droops so little that its start in mid-air is passed over is a ledge or a bridge.",
	Wrong: "The free end curls up into the recoater, or sags into the powder and hangs full of dross; the surface is rough and out of place.",
	Sources: []Source{
		{"45 degrees as the angle that carries itself, 316L: Thomas 2009, thesis, Univ. of Wales Institute Cardiff; Wang, Yang, Yi, Su 2013, Int J Adv Manuf Technol 65:1471", "published, from memory"},
		{"below 30 degrees not feasible, rougher as the angle falls: Proc. Des. Soc., Computational analysis of overhang surface roughness effects on self-supporting channels, citing Han et al. 2018", "published, read"},
		{"an arch is held to the roof of a round hole, of which 2 R sin a lies below the angle a", "geometry"},
		{"longer ledges warp more, dross under all: Appl. Sci. 2023, 13(6):3460", "published, read"},
		{"how little was published on the limits: Patterson, Messimer, Farrington 2017, Technologies 5(2):15", "published, read"},
	},
	Limits:    limits("overhang.angle", "overhang.ledge", "overhang.bridge", "overhang.area", "hole.roof", "pin.strut-angle", "floating-start.height"),
	Needs:     []Need{NeedCylinders, NeedOverhang, NeedStarts},
	Processes: []string{LaserPBF, BeamPBF, Extrusion},
	Elsewhere: "the powder bed carries every overhang in the print; spans that sag in the furnace belong to sinter",
	Cautions:  []Caution{cautionSharp},
	Judge:     judgeOverhang,
	Say:       sayOverhang,
}

func judgeOverhang(p *Subject) []Finding {
	started := facetSet{}
	for _, s := range p.Measured.Starts {
		if startCounts(p, s) {
			started.add(s.Facets)
		}
	}
	var out []Finding
	for _, r := range p.Measured.Overhang.Regions {
		r = asHeld(p, r)
		if r.Hole >= 0 || r.Kind == mesh.Free && started.meets(r.Facets) {
			continue // told by hole, by floating-start
		}
		f, bad := judgeRegion(p, r)
		if !bad {
			continue
		}
		f.place(r.At, r.Box, r.AreaMM2, r.Facets)
		_, unsure := tolerated(p, r)
		f.Where, f.feature, f.like, f.detail = p.whereUp(), string(r.Kind), string(r.Kind), overhangDetail{r, unsure}
		f.Undecided = f.Undecided || unsure
		f.caution = []Caution{cautionSharp} // it will need support
		out = append(out, f)
	}
	return out
}

// asHeld is a region as it is held, where its start in the air joins the part soon
// enough to be passed over: an arm that droops a little is a ledge.
func asHeld(p *Subject, r mesh.OverhangRegion) mesh.OverhangRegion {
	if r.Held != "" && joins(p, r.AloneMM) {
		r.Kind, r.At = r.Held, r.HeldAt
	}
	return r
}

type overhangDetail struct {
	mesh.OverhangRegion
	unsure bool // whether it is small enough to be tolerated
}

// tolerated reports whether a region, but for steep struts, is no larger than what
// may hang over, and whether that is unsure: its area may be short, and not small
// enough.
func tolerated(p *Subject, r mesh.OverhangRegion) (yes, unsure bool) {
	area, ok := p.Limit("overhang.area")
	most := area.V + equalErr(area.V)
	left := r.AreaMM2 - onStruts(p, r)
	if !ok || left > most {
		return false, false
	}
	unsure = left+areaErr(p, r) > most
	return !unsure, unsure
}

// onStruts is the area of a region on struts that build without support: no flatter
// than pin.strut-angle, and no wider than what bridges.
func onStruts(p *Subject, r mesh.OverhangRegion) (mm2 float64) {
	angle, ok := p.Limit("pin.strut-angle")
	bridge, wide := p.Limit("overhang.bridge")
	if !ok || !wide {
		return 0
	}
	for _, on := range r.Pins {
		c := p.Measured.Cylinders.Pins[on.Pin]
		lean := math.Asin(min(1, math.Abs(c.Axis.Dot(p.Measured.Frame.Z))))
		if lean >= angle.V-equalErr(angle.V) && c.DiameterMM <= bridge.V+equalErr(bridge.V) {
			mm2 += on.AreaMM2
		}
	}
	return mm2
}

// areaErr is what a region's area may be short of. The measurement says so of
// all regions together: on facets of micrometres, whose direction rounding
// hides, it is some per mille of every round surface. Where it is far more, a
// flat face lies at just the angle, and that passes.
func areaErr(p *Subject, r mesh.OverhangRegion) float64 {
	const round = 0.05
	if o := p.Measured.Overhang; o.AreaErr <= round*o.AreaMM2 {
		return r.AreaMM2 * o.AreaErr / o.AreaMM2
	}
	return 0
}

// judgeRegion compares what decides a region of its kind: the reach of a
// ledge, the span of a bridge, the angle of what nothing carries.
func judgeRegion(p *Subject, r mesh.OverhangRegion) (Finding, bool) {
	if yes, _ := tolerated(p, r); yes {
		return Finding{}, false
	}
	band := p.Measured.Overhang.ReachErr
	switch r.Kind {
	case mesh.Ledge:
		if l, ok := p.Limit("overhang.ledge"); ok {
			return breach(l, r.ReachMM, band)
		}
	case mesh.Bridge:
		if l, s, ok := archLimit(p, &r); ok {
			return breach(l, 2*r.ReachMM/s, 2*band/s)
		}
		if l, ok := p.Limit("overhang.bridge"); ok {
			return breach(l, 2*r.ReachMM, 2*band)
		}
	}
	angle, _ := p.Limit("overhang.angle")
	return breach(angle, r.InclinationRad, 0)
}

// arched reports whether a bridge is the crown of an arch about as round as a
// circle, as in a bent channel or below a dome: whether it is as much smaller seen
// along the build direction as what of a circle lies lower than an angle a, and
// rises, where it reaches farthest, at least half as much. Where a circle's crown is
// inclined by t, that spans the angle f to either side, cos f = cos a / cos t, is
// seen as cos t sin f / f of itself, and rises by (1 - cos f) / (cos t sin f) of what
// it reaches. For a stands the middle between the limit and the steepest facet:
// about there, facets end that stand for a round. An ellipse half as high as wide is
// no arch, nor is a ceiling with corners rounded half the way to its middle.
func arched(r *mesh.OverhangRegion, limitRad float64) bool {
	const round, rise = 0.8, 0.5
	c := &r.Whole
	cosT := math.Cos(c.InclinationRad)
	f := math.Acos(min(1, math.Cos((limitRad+c.SteepestRad)/2)/cosT))
	seen := cosT * math.Sin(f) / f
	return f > 0 && cosT*c.AreaMM2-c.ProjectedMM2 >= round*(cosT-seen)*c.AreaMM2 &&
		r.RiseMM*cosT*math.Sin(f) >= rise*r.ReachMM*(1-math.Cos(f))
}

// archLimit is the widest round hole whose roof carries itself, to which a bridge is held
// that is an arch, and how far that roof spans, as a share of the hole's width.
func archLimit(p *Subject, r *mesh.OverhangRegion) (roof Limit, span float64, ok bool) {
	angle, angled := p.Limit("overhang.angle")
	bridge, bridges := p.Limit("overhang.bridge")
	roof, roofed := p.Limit("hole.roof")
	span = math.Sin(angle.V)
	return roof, span, angled && roofed && !(bridges && roof.V*span <= bridge.V) && arched(r, angle.V)
}

// needsSupport reports whether a region needs support: one that breaks its
// limits, or the roof of a hole too wide to carry itself.
func needsSupport(p *Subject, r mesh.OverhangRegion) bool {
	if r.Hole < 0 {
		_, bad := judgeRegion(p, asHeld(p, r))
		return bad
	}
	h := p.Measured.Cylinders.Holes[r.Hole]
	return roofTooWide(p, h, tiltOf(p, h))
}

func sayOverhang(p *Subject, f *Finding) {
	r := f.detail.(overhangDetail)
	angle, _ := p.Limit("overhang.angle")
	lie, least := pair(degrees(r.InclinationRad), degrees(angle.V), 0.5)
	lies := fmt.Sprintf("lies at %s deg, below %s deg", lie, least)
	over := fmt.Sprintf("over %s mm2 %s", rounded(f.AreaMM2), p.where(f))
	value, limit := pair(f.Measured, f.Limit, f.Band)
	close := closeCall(f)
	if area, _ := p.Limit("overhang.area"); r.unsure {
		close = fmt.Sprintf(" (too close to call: it may be %s mm2 larger, and %s mm2 are tolerated)", rounded(areaErr(p, r.OverhangRegion)), plain(area.V))
	}
	switch {
	case f.Unit == "mm" && r.Kind == mesh.Ledge:
		f.Message = fmt.Sprintf("Ledge %s, and reaches %s mm, further than %s mm for %s, %s%s.", lies, value, limit, p.forWhat(), over, close)
	case f.limit == "hole.roof":
		f.Message = fmt.Sprintf("Arch %s, and is as wide as the roof of a round hole of %s mm, where one of %s mm at most carries itself in %s, %s%s.", lies, value, limit, p.forWhat(), over, close)
	case f.Unit == "mm":
		f.Message = fmt.Sprintf("Bridge %s, and spans %s mm, further than %s mm for %s, %s%s.", lies, value, limit, p.forWhat(), over, close)
	default:
		f.Message = fmt.Sprintf("Downskin %s for %s, with nothing below to carry it, %s%s.", lies, p.forWhat(), over, close)
	}
	f.Help = fmt.Sprintf("Turn the part so that this face stands at %s deg or more, carry it on a chamfer or a rib, or plan support and its removal.", least)
}
