package rules

import "corbel/mesh"

// HoleOf returns the hole of the mesh that a declared hole means, by the number
// of the declaration; false where none is near or holes were not measured.
func (r *PartReport) HoleOf(declared int) (mesh.Cylinder, bool) {
	if r.Mesh == nil || r.Measured.Cylinders == nil {
		return mesh.Cylinder{}, false
	}
	p := &Subject{Spec: r.Spec, Shop: r.Shop, Limits: r.Limits, Mesh: r.Mesh, Measured: r.Measured}
	hole, ok := matchHoles(p)[declared]
	if !ok {
		return mesh.Cylinder{}, false
	}
	return r.Measured.Cylinders.Holes[hole], true
}
