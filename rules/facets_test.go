package rules

import (
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
)

// Sharp edges are found by their facets as if each were compared.
func TestEdgesBeside(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 5))
	some := func(n int) (out []int32) {
		for range n {
			out = append(out, r.Int32N(200))
		}
		slices.Sort(out)
		return slices.Compact(out)
	}
	for round := range 200 {
		edges := make([]mesh.FeatherEdge, r.IntN(20))
		for i := range edges {
			edges[i].Facets = some(r.IntN(1 + round))
		}
		facets := some(r.IntN(40))
		var want []int32
		for i, e := range edges {
			if common(facets, e.Facets) > 0 {
				want = append(want, int32(i))
			}
		}
		if got := edgesBeside(edges).meet(facets); !slices.Equal(got, want) {
			t.Fatalf("facets %v meet edges %v, want %v of %v", facets, got, want, edges)
		}
	}
}
