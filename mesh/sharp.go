package mesh

import (
	"math"
	"slices"
)

// This file finds sharp edges and tips: places where two sheets of surface meet
// at less than an angle, with material between them (a wedge) or empty space (a
// notch). Thickness falls to zero at a wedge and gaps do at a notch, in every
// part that has one; and a notch's bottom stops a wall's ball although its
// flanks are too steep to oppose.

// sharpFeature is an edge, or a tip if both vertices are the same.
type sharpFeature struct {
	a, b  int32   // vertices
	f, g  int32   // the two facets that meet there
	angle float64 // between the sheets, radians
	notch bool    // empty space between them, else material
	edge  int8    // edge of f; -1 for a tip
}

// findSharp returns the edges and tips sharper than the angle, edges first, in
// order of their first facet, then tips by vertex.
//
// A tip is a vertex on no sharp edge at which two facets that share only that
// vertex face each other at less than the angle, such as a cone's apex.
func findSharp(m *Mesh, angle float64) []sharpFeature {
	var out []sharpFeature
	top := m.Topology()
	least := math.Cos(angle)
	onEdge := map[int32]bool{}
	for h, t := range top.Twin {
		if int(t) <= h {
			continue
		}
		f, g := int32(h/3), t/3
		nf, ng := m.Normal(f), m.Normal(g)
		if -nf.Dot(ng) <= least || nf == (Vec{}) || ng == (Vec{}) {
			continue
		}
		a, b := m.Facets[f][h%3], m.Facets[f][(h+1)%3]
		if m.Facets[g][t%3] != b {
			continue // wound against each other: neither side is known
		}
		apex := m.Verts[m.Facets[g][(t+2)%3]]
		s := sharpFeature{a: a, b: b, f: f, g: g, angle: angleBetween(nf, ng.Scale(-1)), edge: int8(h % 3)}
		s.notch = apex.Sub(m.Verts[a]).Dot(nf) > 0
		out = append(out, s)
		onEdge[a], onEdge[b] = true, true
	}
	return append(out, findTips(m, least, onEdge)...)
}

// angleBetween returns the angle between unit vectors, right near 0 and pi too.
func angleBetween(a, b Vec) float64 {
	return 2 * math.Atan2(a.Sub(b).Norm(), a.Add(b).Norm())
}

// findTips looks at vertices whose normals spread by 60 degrees or more from
// one of them, which two opposing ones need.
func findTips(m *Mesh, least float64, onEdge map[int32]bool) []sharpFeature {
	ref := make([]int32, len(m.Verts))
	for f, c := range m.Facets {
		for _, v := range c {
			if ref[v] == 0 && m.Normal(int32(f)) != (Vec{}) {
				ref[v] = int32(f) + 1
			}
		}
	}
	wide := map[int32][]int32{}
	for f, c := range m.Facets {
		n := m.Normal(int32(f))
		for _, v := range c {
			if ref[v] > 0 && n.Dot(m.Normal(ref[v]-1)) < 0.5 && !onEdge[v] {
				wide[v] = nil
			}
		}
	}
	if len(wide) == 0 {
		return nil
	}
	for f, c := range m.Facets {
		for _, v := range c {
			if fs, ok := wide[v]; ok {
				wide[v] = append(fs, int32(f))
			}
		}
	}
	var out []sharpFeature
	for v, fs := range wide {
		if s, ok := tipAt(m, v, fs, least); ok {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b sharpFeature) int { return int(a.a - b.a) })
	return out
}

// tipAt returns the sharpest pair of facets about a vertex.
func tipAt(m *Mesh, v int32, fs []int32, least float64) (sharpFeature, bool) {
	best := sharpFeature{angle: math.Inf(1)}
	for i, f := range fs {
		for _, g := range fs[i+1:] {
			nf, ng := m.Normal(f), m.Normal(g)
			if -nf.Dot(ng) <= least {
				continue
			}
			a := angleBetween(nf, ng.Scale(-1))
			sf, sg := sideOf(m, f, g, v), sideOf(m, g, f, v)
			if sf == 0 || sf != sg || a >= best.angle {
				continue
			}
			best = sharpFeature{a: v, b: v, f: f, g: g, angle: a, notch: sf > 0, edge: -1}
		}
	}
	return best, !math.IsInf(best.angle, 1)
}

// sideOf says on which side of f's plane g's other two corners lie: 1 both
// outside, -1 both inside, 0 across or in the plane.
func sideOf(m *Mesh, f, g, v int32) int {
	n, o := m.Normal(f), m.Verts[v]
	in, out := 0, 0
	for _, w := range m.Facets[g] {
		if w == v {
			continue
		}
		if d := m.Verts[w].Sub(o).Dot(n); d > 0 {
			out++
		} else if d < 0 {
			in++
		}
	}
	switch {
	case in == 2:
		return -1
	case out == 2:
		return 1
	}
	return 0
}

// sharpTree searches sharp features by place.
type sharpTree struct {
	list []sharpFeature
	mesh *Mesh // a facet a b b for each
}

func newSharpTree(m *Mesh, list []sharpFeature) *sharpTree {
	if len(list) == 0 {
		return nil
	}
	fs := make([][3]int32, len(list))
	for i, s := range list {
		fs[i] = [3]int32{s.a, s.b, s.b}
	}
	return &sharpTree{list, New(m.Verts, fs)}
}

// wedgeShare is the share of its own taper down to which a sharp edge explains
// a small thickness beside it: flanks that curve towards each other, as on a
// lens, are a little thinner than straight ones.
const wedgeShare = 0.8

// explains returns the feature that makes a span of diameter d at the point x
// thin: one nearer than within whose taper alone is as thin.
func (t *sharpTree) explains(x Vec, d, within float64) (feature int32, foot Vec, ok bool) {
	if t == nil {
		return 0, Vec{}, false
	}
	near, ok := t.mesh.BVH().Nearest(x, within, func(f int32, q Vec) bool {
		return d >= wedgeShare*2*q.Sub(x).Norm()*math.Tan(t.list[f].angle/2)
	})
	return near.Facet, near.Point, ok && near.Dist < within
}
