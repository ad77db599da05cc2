package mesh

import (
	"context"
	"math"
	"math/bits"
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
	vague bool    // a tip where the facets lie across each other's planes: either
	edge  int8    // edge of f; -1 for a tip
	along Vec     // of a tip: unit, the line in which its facets' planes meet; zero of an edge
}

// findSharp returns the edges and tips sharper than the angle, edges first, in
// order of their first facet, then tips by vertex.
//
// A tip is a vertex at which two facets that share only that vertex face each
// other at less than the angle, such as a cone's apex. Where sheets cross there,
// or the vertex stands on a sharp edge, the tip is vague: thickness falls to
// zero, but whether of material or of empty space depends on the way.
//
// It also tells which facets have a side: are no slivers for what is known of
// their corners.
func findSharp(ctx context.Context, m *Mesh, angle float64) (sharp []sharpFeature, side []bool, err error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, nil, err
	}
	least, width := math.Cos(angle), sureSide*coordErr(m)
	side = make([]bool, len(m.Facets))
	err = parallel(ctx, len(side), sharpStep, func(from, to int) error {
		for f := from; f < to; f++ {
			side[f] = m.hasSide(int32(f), width)
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	parts := make([][]sharpFeature, (len(m.Facets)+sharpStep-1)/sharpStep)
	err = parallel(ctx, len(m.Facets), sharpStep, func(from, to int) error {
		for h := int32(3 * from); h < int32(3*to); h++ {
			if s, ok := m.sharpEdge(h, side, least); ok {
				parts[from/sharpStep] = append(parts[from/sharpStep], s)
			}
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	out := slices.Concat(parts...)
	onEdge := make([]bool, len(m.Verts))
	for _, s := range out {
		onEdge[s.a], onEdge[s.b] = true, true
	}
	tips, err := findTips(ctx, m, side, least, onEdge)
	return append(out, tips...), side, err
}

// sharpStep is how many facets are looked at between two questions whether to
// go on.
const sharpStep = 1 << 14

// sharpEdge is the edge of a half-edge that is the first of its pair, if it is
// sharp.
func (m *Mesh) sharpEdge(h int32, side []bool, least float64) (sharpFeature, bool) {
	t := m.Topology().Twin[h]
	if t <= h {
		return sharpFeature{}, false
	}
	f, g := m.standIn(h, side), m.standIn(t, side)
	if f < 0 || g < 0 {
		return sharpFeature{}, false
	}
	fx, fy, fz := m.normal(f)
	gx, gy, gz := m.normal(g)
	if -dot3(fx, fy, fz, gx, gy, gz) <= least || f == g {
		return sharpFeature{}, false
	}
	nf, ng := Vec{fx, fy, fz}, Vec{gx, gy, gz}
	a, b := m.Facets[h/3][h%3], m.Facets[h/3][(h+1)%3]
	if m.Facets[t/3][t%3] != b {
		return sharpFeature{}, false // wound against each other: neither side is known
	}
	s := sharpFeature{a: a, b: b, f: f, g: g, angle: angleBetween(nf, ng.Scale(-1)), edge: int8(h % 3)}
	s.notch = m.Centre(g).Sub(m.Verts[a]).Dot(nf) > 0
	return s, true
}

// sureSide is how many times the doubt about its corners a facet must be wide
// for its normal to tell where opposing surface stands: rounding by an eighth of
// Err then turns it by 2 degrees at most.
const sureSide = 8

// sliver reports whether a facet is narrower than width, the doubt about where
// its corners are: then rounding turns it any way, and it has no side. Its
// neighbours over its long edges stand for it.
func sliver(a, b, c Vec, width float64) bool {
	ab, ac, bc := b.Sub(a), c.Sub(a), c.Sub(b)
	x := ab.Cross(ac)
	return x.Dot(x) <= width*width*max(ab.Dot(ab), ac.Dot(ac), bc.Dot(bc))
}

// hasSide reports whether a facet is no sliver.
func (m *Mesh) hasSide(f int32, width float64) bool {
	a, b, c := m.Corners(f)
	return !sliver(a, b, c, width)
}

// standIn returns the facet that stands for that of a half-edge: itself, or if
// it is a sliver the first that is none over the longest other edges; -1 if there
// is none near.
func (m *Mesh) standIn(h int32, side []bool) int32 {
	twins := m.Topology().Twin
	for range 4 {
		f := h / 3
		if side[f] {
			return f
		}
		next, long := int32(-1), -1.0
		for k := range int32(3) {
			a, b := m.Verts[m.Facets[f][k]], m.Verts[m.Facets[f][(k+1)%3]]
			if l := b.Sub(a).Norm(); 3*f+k != h && l > long {
				next, long = twins[3*f+k], l
			}
		}
		if next < 0 {
			return -1
		}
		h = next
	}
	return -1
}

// angleBetween returns the angle between unit vectors, right near 0 and pi too.
func angleBetween(a, b Vec) float64 {
	return 2 * math.Atan2(a.Sub(b).Norm(), a.Add(b).Norm())
}

// findTips looks at vertices whose normals spread by 60 degrees or more from
// one of them, which two opposing ones need.
func findTips(ctx context.Context, m *Mesh, side []bool, least float64, onEdge []bool) ([]sharpFeature, error) {
	ref := make([]int32, len(m.Verts)) // the first facet with a normal, plus one
	for f, c := range m.Facets {
		if f%sharpStep == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for _, v := range c {
			if ref[v] == 0 && norm(m.cross(int32(f))) != 0 {
				ref[v] = int32(f) + 1
			}
		}
	}
	parts := make([][]int32, (len(m.Facets)+sharpStep-1)/sharpStep)
	err := parallel(ctx, len(m.Facets), sharpStep, func(from, to int) error {
		for f := from; f < to; f++ {
			x, y, z := m.normal(int32(f))
			for _, v := range m.Facets[f] {
				if ref[v] == 0 || ref[v]-1 == int32(f) {
					continue
				}
				if rx, ry, rz := m.normal(ref[v] - 1); dot3(x, y, z, rx, ry, rz) < 0.5 {
					parts[from/sharpStep] = append(parts[from/sharpStep], v)
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	wide := sortedSet(slices.Concat(parts...))
	if len(wide) == 0 {
		return nil, nil
	}
	clear(ref) // from here on the number of a wide vertex, plus one
	for i, v := range wide {
		ref[v] = int32(i) + 1
	}
	about := make([][]int32, len(wide)) // their facets
	for f, c := range m.Facets {
		if f%sharpStep == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for _, v := range c {
			if i := ref[v] - 1; i >= 0 && side[f] {
				about[i] = append(about[i], int32(f))
			}
		}
	}
	tips := make([][]sharpFeature, len(wide))
	err = parallel(ctx, len(wide), 1<<6, func(from, to int) error {
		for i := from; i < to; i++ {
			v := wide[i]
			side := func(f, g int32) int { return sideOf(m, f, g, v) }
			var err error
			if tips[i], err = tipsAt(ctx, v, about[i], m.Normal, side, least, onEdge[v]); err != nil {
				return err
			}
		}
		return nil
	})
	return slices.Concat(tips...), err
}

// rank orders the kinds of tips of one vertex.
func rank(s sharpFeature) int {
	switch {
	case s.vague:
		return 2
	case s.notch:
		return 1
	}
	return 0
}

// tipStep is how many pairs of facets about a vertex are compared between two
// questions whether to go on.
const tipStep = 1 << 18

// tipsAt returns the sharpest pair of facets about a vertex of each kind, in order of
// rank; side is sideOf them. On a sharp edge, which says what tapers there, all are vague.
func tipsAt(ctx context.Context, v int32, fs []int32, normal func(f int32) Vec, side func(f, g int32) int, least float64, onEdge bool) ([]sharpFeature, error) {
	var best [3]sharpFeature
	for i := range best {
		best[i].angle = math.Inf(1)
	}
	pairs := 0
	normals := make([]Vec, len(fs))
	for i, f := range fs {
		normals[i] = normal(f)
	}
	for i, f := range fs {
		if pairs += len(fs) - i; pairs > tipStep {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			pairs = 0
		}
		nf := normals[i]
		for j := i + 1; j < len(fs); j++ {
			n := &normals[j]
			if -dot3(nf[0], nf[1], nf[2], n[0], n[1], n[2]) <= least {
				continue
			}
			g, ng := fs[j], *n
			a := angleBetween(nf, ng.Scale(-1))
			sf, sg := side(f, g), side(g, f)
			s := sharpFeature{a: v, b: v, f: f, g: g, angle: a, notch: sf > 0, edge: -1, vague: onEdge || sf == 0 || sf != sg, along: nf.Cross(ng).Unit()}
			if k := rank(s); a < best[k].angle {
				best[k] = s
			}
		}
	}
	return slices.DeleteFunc(best[:], func(s sharpFeature) bool { return math.IsInf(s.angle, 1) }), nil
}

// sideOf says on which side of f's plane g's other two corners lie: 1 both
// outside, -1 both inside, 0 across or in the plane.
func sideOf(m *Mesh, f, g, v int32) int {
	n, o := m.Normal(f), m.Verts[v]
	var sides sideCount
	for _, w := range m.Facets[g] {
		if w != v {
			sides.add(m.Verts[w].Sub(o).Dot(n), 0)
		}
	}
	return sides.all()
}

// sideCount says on which sides of a plane points lie.
type sideCount struct{ in, out, on bool }

// add takes a point at a height that is off by doubt at most.
func (c *sideCount) add(height, doubt float64) {
	c.in, c.out, c.on = c.in || height < -doubt, c.out || height > doubt, c.on || math.Abs(height) <= doubt
}

// all is 1 if all points lie outside, -1 if all lie inside, else 0.
func (c *sideCount) all() int {
	switch {
	case c.in && !c.out && !c.on:
		return -1
	case c.out && !c.in && !c.on:
		return 1
	}
	return 0
}

// sharpTree searches sharp features by place.
type sharpTree struct {
	list []sharpFeature
	mesh *Mesh // a facet a b b for each
	// What explains asks first, if it is asked at all.
	tapers []taper
}

func newSharpTree(verts []Vec, list []sharpFeature) *sharpTree {
	if len(list) == 0 {
		return nil
	}
	fs := make([][3]int32, len(list))
	for i, s := range list {
		fs[i] = [3]int32{s.a, s.b, s.b}
	}
	return &sharpTree{list: list, mesh: New(verts, fs)}
}

// wedgeShare is the share of its own taper down to which a sharp edge explains
// a small thickness beside it: flanks that curve towards each other, as on a
// lens, are a little thinner than straight ones.
const wedgeShare = 0.8

// edgeDoubt is how many touch the difference of two lengths is off by, at most.
const edgeDoubt = 4

// explains returns the feature that makes the span of diameter d between x and y
// thin: one nearer to x than within whose taper alone is as thin, and from which
// y is not much farther than x, as surface across from a sharp edge may be that
// has nothing to do with it. A tip's taper is that of its facets' planes, from the
// line in which they meet: a blade's tip is wide along it. Lengths are sure by a few touch, which is all of the
// thickness at the very edge: what is so thin there is its taper, however the
// flanks lean beside it.
func (t *sharpTree) explains(x, y Vec, d, within, touch float64) (feature int32, foot Vec, ok bool) {
	if t == nil {
		return 0, Vec{}, false
	}
	thick, apart := d+edgeDoubt*touch, y.Sub(x).Norm()
	most := thick * thick * (1 + taperErr)
	near, b := Near{Facet: -1, Dist: within}, t.mesh.BVH()
	var buf [stackSize]waiting
	stack, l := append(buf[:0], waiting{b.root(), 0}), newNearLanes(x, b.walkErr(x), within, false)
	for {
		var leaf int32
		var mask uint32
		if stack, leaf, mask = b.nearLeaf(&l, stack); mask == 0 {
			return near.Facet, near.Point, near.Facet >= 0
		}
		for ; mask != 0; mask &= mask - 1 {
			f := b.blocks[leaf].facet[bits.TrailingZeros32(mask)&7]
			s := &t.tapers[f]
			u, v, w := x[0]-s.a[0], x[1]-s.a[1], x[2]-s.a[2]
			beside := dot3(u, v, w, s.line[0], s.line[1], s.line[2])
			if dot3(u, v, w, u, v, w)*(1-taperErr)-beside*beside > most*s.most {
				continue // as is nearly all that is looked at
			}
			q := s.a
			if s.edge {
				b := t.mesh.Verts[t.list[f].b]
				q = nearestOnFacet(x, q, b, b)
			}
			off := x.Sub(q)
			dist := off.Norm()
			taper := dist
			if !s.edge {
				taper = off.Sub(s.line.Scale(off.Dot(s.line))).Norm()
			}
			if (dist < near.Dist || dist == near.Dist && near.Facet >= 0 && f < near.Facet) &&
				thick >= wedgeShare*2*taper*s.tan && apart <= 2*dist+edgeDoubt*touch*max(1, 1/s.tan) {
				near = Near{f, q, dist}
				l.within(dist)
			}
		}
	}
}

// taper is what tells of most features at once that they explain nothing.
type taper struct {
	a, line Vec     // of the feature: its start, and its direction, unit; of a tip that of its line
	tan     float64 // of half the angle
	most    float64 // how far it tapers, squared, for the thickness squared
	edge    bool    // not a tip
}

// taperErr is far more than rounding, as a share of a distance squared.
const taperErr = 1e-9

// newWedges is newSharpTree of features that are asked what they explain.
func newWedges(verts []Vec, list []sharpFeature) *sharpTree {
	t := newSharpTree(verts, list)
	if t != nil {
		t.tapers = make([]taper, len(list))
		for i, s := range list {
			tan := math.Tan(s.angle / 2)
			slope := wedgeShare * 2 * tan
			line := s.along
			if s.a != s.b {
				line = verts[s.b].Sub(verts[s.a]).Unit()
			}
			t.tapers[i] = taper{verts[s.a], line, tan, 1 / (slope * slope), s.a != s.b}
		}
	}
	return t
}
