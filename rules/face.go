package rules

import (
	"math"
	"slices"

	"corbel/mesh"
	"corbel/spec"
)

// faceOnMesh is a declared face as the mesh has it: the flat around its place, or
// the whole of the hole or pin that the place lies on. On a free-form surface
// it is the piece around the place that is as flat as one facet.
type faceOnMesh struct {
	decl   *spec.Face
	facets []int32  // in order
	normal mesh.Vec // outward, at the place
	at     mesh.Vec // the place, on the mesh
	off    float64  // how far the declared place is from the mesh, mm
	rests  bool     // lies on the platform
	round  bool     // a hole or a pin
}

// faces returns the declared faces that have a place, in their order.
func (p *Subject) faces() []faceOnMesh {
	var out []faceOnMesh
	for i := range p.Spec.Faces {
		d := &p.Spec.Faces[i]
		if !d.At.Set || p.Mesh == nil {
			continue
		}
		near, ok := p.Mesh.BVH().Nearest(p.Point(d.At.V), math.Inf(1), nil)
		if !ok {
			continue
		}
		s := faceOnMesh{decl: d, at: near.Point, normal: p.Mesh.Normal(near.Facet), off: near.Dist}
		s.facets, s.round = p.surfaceOf(near.Facet)
		s.rests = p.rests(s.facets)
		out = append(out, s)
	}
	return out
}

// surfaceOf returns the surface that a facet belongs to, and whether it is a
// hole or a pin.
func (p *Subject) surfaceOf(seed int32) (facets []int32, round bool) {
	if c := p.Measured.Cylinders; c != nil {
		if h := c.HoleOf[seed]; h >= 0 {
			return c.Holes[h].Facets, true
		}
		for i := range c.Pins {
			if _, on := slices.BinarySearch(c.Pins[i].Facets, seed); on {
				return c.Pins[i].Facets, true
			}
		}
	}
	topo, n := p.Mesh.Topology(), p.Mesh.Normal(seed)
	flat := math.Cos(angleSlackRad)
	in := map[int32]bool{seed: true}
	facets = []int32{seed}
	for i := 0; i < len(facets); i++ {
		for k := range 3 {
			if g := topo.Neighbour(facets[i], k); g >= 0 && !in[g] && p.Mesh.Normal(g).Dot(n) >= flat {
				in[g] = true
				facets = append(facets, g)
			}
		}
	}
	slices.Sort(facets)
	return facets, false
}

// bottom reports whether a facet lies on the lowest plane of the part with all
// corners.
func (p *Subject) bottom(facet int32) bool {
	top := p.Measured.Box.Min[2] + p.Measured.Frame.RestMM(p.Mesh)
	a, b, c := p.Mesh.Corners(facet)
	z := p.Measured.Frame.Z
	return a.Dot(z) <= top && b.Dot(z) <= top && c.Dot(z) <= top
}

// rests reports whether facets lie on the platform.
func (p *Subject) rests(facets []int32) bool {
	if p.Measured.Box == nil || p.Measured.Frame.Lift > 0 {
		return false
	}
	for _, f := range facets {
		if !p.bottom(f) {
			return false
		}
	}
	return len(facets) > 0
}

// extent returns the area and the box of facets.
func (p *Subject) extent(facets []int32) (areaMM2 float64, box mesh.Box) {
	box = mesh.EmptyBox()
	for _, f := range facets {
		areaMM2 += p.Mesh.Area(f)
		a, b, c := p.Mesh.Corners(f)
		box = box.Grow(a).Grow(b).Grow(c)
	}
	return areaMM2, box
}

// put gives a finding the place of a surface and the table that declares it.
func (s *faceOnMesh) put(p *Subject, f *Finding, kind string) {
	area, box := p.extent(s.facets)
	f.place(s.at, box, area, s.facets)
	f.Where = Location{p.Spec.File, "face", s.decl.Table}
	f.feature = kind + " " + s.decl.Name.V
}

// Finishes that cut, and so take away what the build left.
func cuts(finish string) bool { return finish == "mill" || finish == "turn" || finish == "grind" }

// cutting says what the machinist does.
var cutting = map[string]string{"mill": "milled", "turn": "turned", "grind": "ground", "polish": "polished", "blast": "blasted",
	"drill": "drilled", "ream": "reamed", "bore": "bored", "tap": "tapped"}
