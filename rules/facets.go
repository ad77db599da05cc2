package rules

import "slices"

// facetSet is a set of facets, a bit for each; checks use it to leave alone what
// another check explains.
type facetSet struct{ bits []uint64 }

func (s *facetSet) add(facets []int32) {
	for _, f := range facets {
		if n := int(f/64) + 1 - len(s.bits); n > 0 {
			s.bits = append(s.bits, make([]uint64, n)...)
		}
		s.bits[f/64] |= 1 << (f % 64)
	}
}

func (s *facetSet) has(f int32) bool { return int(f/64) < len(s.bits) && s.bits[f/64]>>(f%64)&1 != 0 }

func (s *facetSet) meets(facets []int32) bool {
	for _, f := range facets {
		if s.has(f) {
			return true
		}
	}
	return false
}

// share returns how much of facets lies in the set, 0 to 1.
func (s *facetSet) share(facets []int32) float64 {
	if len(facets) == 0 {
		return 0
	}
	n := 0
	for _, f := range facets {
		if s.has(f) {
			n++
		}
	}
	return float64(n) / float64(len(facets))
}

// common counts what two ascending lists of facets have in common.
func common(a, b []int32) int {
	if len(a) > len(b) {
		a, b = b, a
	}
	n := 0
	for _, f := range a {
		i, ok := slices.BinarySearch(b, f)
		if ok {
			n++
		}
		b = b[i:]
	}
	return n
}
