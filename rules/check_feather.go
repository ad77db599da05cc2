package rules

import (
	"fmt"
	"math"
	"slices"

	"corbel/mesh"
)

// FeatherEdge finds edges sharper than the process can fill.
var FeatherEdge = &Check{
	Name:    "feather-edge",
	Summary: "No convex edge is sharper than the process can fill.",
	Why:     "Towards a sharp edge the section becomes thinner than one melt track. What cannot be filled is left out, so the edge ends early and frays.",
	Wrong:   "The edge is ragged and too short; on sealing or flow edges the function is gone, and splinters come off in use or in cleaning.",
	Sources: []Source{
		{"external edges round to about the beam radius, 0.05 to 0.2 mm, on their own", "common practice, no source"},
	},
	Limits:   limits("feather-edge.angle"),
	Needs:    []Need{NeedFeather, NeedWall},
	Cautions: []Caution{cautionSharp},
	Judge:    judgeFeather,
	Say:      sayFeather,
}

// edgeLeastMM is the shortest edge worth a finding: a melt track or two
// (common practice, no source).
const edgeLeastMM = 0.5

// foldRad: two facets that close tighter than this are a fold of the mesh,
// which mesh tells, and no wedge of material.
const foldRad = 1 * math.Pi / 180

func judgeFeather(p *Subject) []Finding {
	limit, _ := p.Limit("feather-edge.angle")
	held, ok := p.Limit("wall.thickness")
	var walls []mesh.ThinRegion
	if ok {
		walls = slices.DeleteFunc(p.Measured.Wall.Regions(held.V), func(r mesh.ThinRegion) bool { return edgesExplain(p, r, held.V) })
	}
	var out []Finding
	for _, e := range p.Measured.Feather {
		// One that lies in a thin wall is told by wall.
		inWall := func(r mesh.ThinRegion) bool {
			return e.LengthIn(r.Box.Widened(stripMM(e, held.V))) > e.LengthMM/2 && common(r.Facets, e.Facets) > 0
		}
		if e.LengthMM < edgeLeastMM || e.AngleRad < foldRad || slices.ContainsFunc(walls, inWall) {
			continue
		}
		f, bad := breach(limit, e.AngleRad, 0)
		if !bad {
			continue
		}
		f.place(e.At, e.Box, 0, e.Facets)
		f.Where, f.feature, f.like, f.detail = p.whereSurface(e.Facets), "edge", "edge", e.LengthMM
		out = append(out, f)
	}
	return out
}

func sayFeather(p *Subject, f *Finding) {
	value, limit := pair(f.Measured, f.Limit, 0.05)
	f.Message = fmt.Sprintf("Edge of %s deg is sharper than %s deg for %s, along %s mm %s.", value, limit, p.forWhat(),
		rounded(f.detail.(float64)), p.where(f))
	f.Help = "Blunt it: end it in a small flat or radius as wide as the thinnest wall, or machine it sharp afterwards."
}
