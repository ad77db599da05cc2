package rules

import (
	"cmp"
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
	beside := edgesBeside(p.Measured.Feather)
	inWall := make([]bool, len(p.Measured.Feather)) // most of the edge: told by wall
	if held, ok := p.Limit("wall.thickness"); ok {
		for _, r := range p.Measured.Wall.Regions(held.V) {
			if edgesExplain(p, beside, &r, held.V) {
				continue
			}
			for _, i := range beside.meet(r.Facets) {
				e := &p.Measured.Feather[i]
				inWall[i] = inWall[i] || e.LengthIn(r.Box.Widened(stripMM(e, held.V))) > e.LengthMM/2
			}
		}
	}
	var out []Finding
	for i := range p.Measured.Feather {
		e := &p.Measured.Feather[i]
		if e.LengthMM < edgeLeastMM || e.AngleRad < foldRad || inWall[i] {
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

// facetEdges are sharp edges by the facets beside them, in order of both.
type facetEdges []facetEdge

type facetEdge struct{ facet, edge int32 }

func edgesBeside(edges []mesh.FeatherEdge) facetEdges {
	var out facetEdges
	for i := range edges {
		for _, f := range edges[i].Facets {
			out = append(out, facetEdge{f, int32(i)})
		}
	}
	slices.SortFunc(out, func(a, b facetEdge) int {
		return cmp.Or(cmp.Compare(a.facet, b.facet), cmp.Compare(a.edge, b.edge))
	})
	return out
}

// meet lists the edges that have a facet of an ascending list beside them, in order.
func (l facetEdges) meet(facets []int32) []int32 {
	var out []int32
	for len(l) > 0 && len(facets) > 0 {
		i, _ := slices.BinarySearchFunc(l, facets[0], func(o facetEdge, f int32) int { return cmp.Compare(o.facet, f) })
		l = l[i:]
		for len(l) > 0 && l[0].facet == facets[0] {
			out, l = append(out, l[0].edge), l[1:]
		}
		if len(l) > 0 {
			i, _ = slices.BinarySearch(facets, l[0].facet)
			facets = facets[i:]
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func sayFeather(p *Subject, f *Finding) {
	value, limit := pair(f.Measured, f.Limit, 0.05)
	f.Message = fmt.Sprintf("Edge of %s deg is sharper than %s deg for %s, along %s mm %s.", value, limit, p.forWhat(),
		rounded(f.detail.(float64)), p.where(f))
	f.Help = "Blunt it: end it in a small flat or radius as wide as the thinnest wall, or machine it sharp afterwards."
}
