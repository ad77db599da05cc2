package output

import (
	"corbel/mesh"
	"corbel/rules"
	"corbel/spec"
)

// SayOrigin says where a limit came from, as every format says it. Text from
// input is not cleaned.
func SayOrigin(o *rules.Origin) string { return sayOrigin(o) }

// Figure says a number to the figures that people read.
func Figure(v float64) string { return figure(v) }

// Vector says a position.
func Vector(v mesh.Vec) string { return vec(v) }

// TextOf is the text that a finding points into; nil for a bare mesh.
func TextOf(r *rules.PartReport, f *rules.Finding) *spec.Doc { return docOf(r, f) }
