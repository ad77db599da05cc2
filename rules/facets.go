package rules

// facetSet is a set of facets; checks use it to leave alone what another check
// explains.
type facetSet map[int32]bool

func (s facetSet) add(facets []int32) {
	for _, f := range facets {
		s[f] = true
	}
}

func (s facetSet) meets(facets []int32) bool {
	for _, f := range facets {
		if s[f] {
			return true
		}
	}
	return false
}

// share returns how much of facets lies in the set, 0 to 1.
func (s facetSet) share(facets []int32) float64 {
	if len(facets) == 0 {
		return 0
	}
	n := 0
	for _, f := range facets {
		if s[f] {
			n++
		}
	}
	return float64(n) / float64(len(facets))
}
