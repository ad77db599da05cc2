package rules

import (
	"fmt"
	"math"
	"slices"

	"corbel/mesh"
)

// Wall finds walls thinner than the process builds whole.
var Wall = &Check{
	Name:    "wall",
	Summary: "Every wall is at least as thick as the process builds it whole, thicker where it stands free.",
	Why: "A wall of a few melt tracks has no core: its edges are rough on both sides, pores go through, and it bends under the recoater or in the furnace. " +
		"A wall held along one edge only needs more than one held on two; what stands out no further than twice its thickness, such as raised letters, does not count as one. " +
		"Nor does a wedge with a blunt tip count as a wall, if its angle passes feather-edge.",
	Wrong: "The wall is missing in places, leaks, warps out of plane, or is knocked over and spoils the build above it.",
	Sources: []Source{
		{"0.4 mm: Thomas 2009, thesis, Univ. of Wales Institute Cardiff; Kranz, Herzog, Emmelmann 2015, J Laser Appl 27:S14001", "published, from memory"},
		{"0.2 mm at 25 um layers, 1.0 mm at 50 um layers: Metals 2026, 16(1):32", "published, read"},
		{"1.0 mm walls warped or failed by recoater contact when tall and open: J. Manuf. Mater. Process. 2023, 7(2):64", "published, read"},
		{"2 beads in extrusion, green strength in binder jetting", "common practice, no source"},
	},
	Limits:   limits("wall.thickness", "wall.free", "wall.area"),
	Needs:    []Need{NeedWall, NeedFeather, NeedCylinders},
	Cautions: []Caution{cautionLeak},
	Judge:    judgeWall,
	Say:      sayWall,
}

func judgeWall(p *Subject) []Finding {
	held, hasHeld := p.Limit("wall.thickness")
	free, hasFree := p.Limit("wall.free")
	area, _ := p.Limit("wall.area")
	beside := edgesBeside(p.Measured.Feather)
	var out []Finding
	var told []mesh.ThinRegion
	judge := func(l Limit, regions []mesh.ThinRegion, kind string) {
		pins := asThin(p.Measured.Cylinders.Pins, l.V) // told by pin
		for _, r := range regions {
			if r.AreaMM2 <= area.V || pins.share(r.Facets) > 0.5 || slices.ContainsFunc(told, func(t mesh.ThinRegion) bool { return partOf(r, t) }) || edgesExplain(p, beside, &r, l.V) ||
				kind == "free" && r.StandsMM <= reliefMost*r.MinMM {
				continue
			}
			f, bad := breach(l, r.MinMM, p.Measured.Wall.Err)
			if !bad {
				continue
			}
			told = append(told, r)
			f.place(r.At, r.Box, r.AreaMM2, r.Facets)
			f.Where, f.feature, f.like = p.whereSurface(r.Facets), kind, kind
			f.detail = r.MeanMM
			if p.Spec.Use.V == "pressure" {
				f.caution = []Caution{cautionLeak}
			}
			out = append(out, f)
		}
	}
	if hasFree {
		judge(free, onlyFree(p.Measured.Wall.Regions(free.V)), "free")
	}
	if hasHeld {
		judge(held, p.Measured.Wall.Regions(held.V), "wall")
	}
	return out
}

// asThin are the facets of the cylinders that are themselves no wider than what
// is told: a pin's thickness is its diameter, a bore's width likewise. The wall
// of a tube, and the space around a pin in a bore, are not.
func asThin(cs []mesh.Cylinder, limitMM float64) facetSet {
	out := facetSet{}
	for _, c := range cs {
		if c.InscribedMM <= limitMM+equalErr(limitMM) {
			out.add(c.Facets)
		}
	}
	return out
}

// reliefMost: what stands out no further than twice its thickness, such as
// raised letters, is relief on its carrier, and no wall or pin that a recoater
// could bend (common practice, no source).
const reliefMost = 2

func onlyFree(rs []mesh.ThinRegion) []mesh.ThinRegion {
	var out []mesh.ThinRegion
	for _, r := range rs {
		if r.Free {
			out = append(out, r)
		}
	}
	return out
}

// partOf reports whether a region is part of one below a higher limit. Facets
// alone don't say so: on one large flat facet there may be many.
func partOf(r, whole mesh.ThinRegion) bool {
	return whole.Box.Join(r.Box) == whole.Box && common(r.Facets, whole.Facets) == len(r.Facets)
}

// edgesExplain reports whether a thin region is no more than the strip beside
// sharp edges. feather-edge judges those; an edge inside a wall that is thin
// anyway explains only its own strip. A wedge that feather-edge would pass with
// a sharp tip passes with a blunt one.
func edgesExplain(p *Subject, beside facetEdges, r *mesh.ThinRegion, limitMM float64) bool {
	if edge, ok := p.Limit("feather-edge.angle"); ok && r.WedgeRad > 0 && r.WedgeRad >= edge.V {
		return true
	}
	strip := 0.0
	for _, i := range beside.meet(r.Facets) {
		e := &p.Measured.Feather[i]
		width := stripMM(e, limitMM)
		strip += e.LengthIn(r.Box.Widened(width)) * width
	}
	return strip > 0 && r.AreaMM2 <= stripSlack*strip
}

// stripMM is how far from a sharp edge material is thinner than the limit t:
// t/(2 sin(a/2)) where the wedge is a.
func stripMM(e *mesh.FeatherEdge, limitMM float64) float64 {
	return limitMM / (2 * math.Sin(e.AngleRad/2))
}

// stripSlack covers the ends of an edge and the spread of samples beside it.
const stripSlack = 1.5

// tellMean: a wall whose mean thickness is this many times its least or more, such
// as one with a chamfered tip, is told by both.
const tellMean = 1.5

func sayWall(p *Subject, f *Finding) {
	name, remedy := "Wall", "or hold it on two edges with a rib"
	if f.feature == "free" {
		name = "Free-standing wall"
	} else {
		remedy = "or close the space beside it"
	}
	value, limit := pair(f.Measured, f.Limit, f.Band)
	mean := ""
	if m := f.detail.(float64); m >= tellMean*f.Measured {
		mean = fmt.Sprintf(" at its thinnest and %s mm on average", rounded(m))
	}
	f.Message = fmt.Sprintf("%s is %s mm%s, thinner than %s mm for %s, over %s mm2 %s%s.", name, value, mean, limit, p.forWhat(),
		rounded(f.AreaMM2), p.where(f), closeCall(f))
	f.Help = fmt.Sprintf("Thicken it to %s mm, %s.", limit, remedy)
}
