package rules

import (
	"slices"

	"corbel/mesh"
)

// HoleNumber returns which recognised hole a declared one means, by the number
// of the declaration; false where none is near or holes were not measured.
func (r *PartReport) HoleNumber(declared int) (int, bool) {
	if r.Info == nil || r.Measured.Cylinders == nil {
		return 0, false
	}
	p := r.subject()
	hole, ok := matchHoles(p)[declared]
	return hole, ok
}

// HoleOf returns the hole of the mesh that a declared hole means.
func (r *PartReport) HoleOf(declared int) (mesh.Cylinder, bool) {
	hole, ok := r.HoleNumber(declared)
	if !ok {
		return mesh.Cylinder{}, false
	}
	return r.Measured.Cylinders.Holes[hole], true
}

// Allows reports whether a part spec may waive findings of a check: any where
// no shop file names some, but never what is wrong with the text itself.
func (p Policy) Allows(check string) bool {
	return check != Spec.Name && (p.WaivableFrom.File == "" || slices.Contains(p.Waivable, check))
}
