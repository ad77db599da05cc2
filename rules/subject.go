package rules

import (
	"math"
	"slices"

	"corbel/mesh"
	"corbel/spec"
)

// Subject is everything a check may look at: the spec, the shop and its
// effective limits, and the measurements it named in Needs.
type Subject struct {
	Spec     *spec.Part
	Shop     *Shop
	Limits   *Limits
	Info     *MeshInfo  // nil only where there is no mesh
	Mesh     *mesh.Mesh // nil unless the part declares faces, or it had to be read anyway
	Measured *Measured
}

// subject is what the checks of a report looked at.
func (r *PartReport) subject() *Subject {
	return &Subject{Spec: r.Spec, Shop: r.Shop, Limits: r.Limits, Info: r.Info, Mesh: r.Mesh, Measured: r.Measured}
}

// Limit returns an effective limit; false where no layer gives it a value.
func (p *Subject) Limit(name string) (Limit, bool) {
	l, ok := p.Limits.Get(name)
	if l.Def != nil && l.Def.Dim == spec.Length {
		l.slack = p.lengthErr()
	}
	return l, ok && l.Set
}

// told reports whether a check speaks of this part at all.
func (p *Subject) told(c *Check) bool {
	return c.Applies(p.Spec.Process.V) && p.level(c) != Off
}

// level is how much the shop makes of a check.
func (p *Subject) level(c *Check) Level {
	level, _ := p.Shop.Level(c.Name)
	return level
}

// Material returns the part's material as the layers give it.
func (p *Subject) Material() (Material, bool) { return p.Shop.Material(p.Spec.Material.V) }

// Point turns a position of the spec (mesh units) into millimetres.
func (p *Subject) Point(v spec.Vec3) mesh.Vec {
	s := 1.0
	if p.Info != nil && p.Info.Source.UnitMM > 0 {
		s = p.Info.Source.UnitMM
	}
	return mesh.Vec(v).Scale(s)
}

// breach compares a measured value with a limit: a finding with the numbers
// filled in, in the unit that reports use, and whether the value is on the
// wrong side. Equal passes. A value on the wrong side by less than its band is
// a finding that says that it is too close to call.
func breach(l Limit, measured, band float64) (Finding, bool) {
	over := measured - l.V
	if l.Def.Tighter == spec.Higher {
		over = -over
	}
	if !(over > equalErr(l.V)+l.slack) {
		return Finding{}, false
	}
	scale, unit := outer(l.Def.Dim)
	origin := l.Origin
	return Finding{
		HasValue: true, Measured: measured * scale, Limit: l.V * scale, Unit: unit, Band: band * scale,
		Undecided: over < band, LimitFrom: &origin, Count: 1, limit: l.Def.Name,
	}, true
}

// trackMM is a narrow melt track, or two to three grains of powder: what is drawn
// narrower comes out as wide as that if at all, and a hollow no larger is molten shut
// (common practice, no source).
const trackMM = 0.1

// lengthErr is what the rounding of coordinates in the mesh's file may make of a length,
// mm: both ends of it lie on surfaces that it moves.
func (p *Subject) lengthErr() float64 {
	if p.Info == nil {
		return 0
	}
	return 4 * p.Info.Source.RoundMM
}

// equalErr is how far a value may lie past another and still count as equal, which
// passes. Measured lengths may lie farther past a limit, by the rounding of the
// coordinates in their file: see Subject.Limit.
func equalErr(limit float64) float64 { return 1e-6 + 1e-6*math.Abs(limit) }

// outer returns the factor and the unit that reports use for a dimension.
func outer(d spec.Dim) (float64, string) {
	switch d {
	case spec.Length:
		return 1, "mm"
	case spec.Angle:
		return 180 / math.Pi, "deg"
	case spec.Area:
		return 1, "mm2"
	case spec.Volume:
		return 1, "mm3"
	case spec.Mass:
		return 1, "g"
	case spec.Roughness:
		return 1000, "um"
	}
	return 1, ""
}

// place gives a finding its place.
func (f *Finding) place(at mesh.Vec, box mesh.Box, areaMM2 float64, facets []int32) {
	f.HasPlace, f.At, f.Box, f.AreaMM2 = true, at, box, areaMM2
	f.Places = []Place{{At: at, Box: box, Measured: f.Measured, AreaMM2: areaMM2, Facets: facets}}
}

// The text that decides a finding.

// whereMesh is the mesh file's name, or the [mesh] header, or the first line.
func (p *Subject) whereMesh() Location {
	if p.Spec.Mesh.File.Set {
		return Location{p.Spec.File, "mesh.file", p.Spec.Mesh.File.At}
	}
	return Location{p.Spec.File, "mesh", p.Spec.Mesh.Table}
}

// whereUp is the orientation, or the mesh where none is written.
func (p *Subject) whereUp() Location {
	switch o := &p.Spec.Orientation; {
	case o.Up.Set:
		return Location{p.Spec.File, "orientation.up", o.Up.At}
	case o.Table != (spec.Range{}):
		return Location{p.Spec.File, "orientation", o.Table}
	}
	return p.whereMesh()
}

// whereSurface is the declared face that a region lies in, or the mesh.
func (p *Subject) whereSurface(facets []int32) Location {
	for i := range p.Spec.Faces {
		face := &p.Spec.Faces[i]
		if !face.At.Set || p.Mesh == nil || len(p.Mesh.Facets) == 0 {
			continue
		}
		if slices.Contains(facets, p.facetAt(face.At.V)) {
			return Location{p.Spec.File, "face", face.Table}
		}
	}
	return p.whereMesh()
}

// facetAt returns the facet nearest to a position of the spec, -1 without any.
func (p *Subject) facetAt(at spec.Vec3) int32 {
	n, ok := p.Mesh.BVH().Nearest(p.Point(at), math.Inf(1), nil)
	if !ok {
		return -1
	}
	return n.Facet
}
