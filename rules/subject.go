package rules

import "corbel/spec"

// Subject is everything a check may look at: the spec, the effective limits,
// the shop and the measurements it named in Needs.
type Subject struct {
	Spec     *spec.Part
	Shop     *Shop
	Limits   *Limits
	Measured *Measured
}
