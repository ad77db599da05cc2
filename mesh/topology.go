package mesh

// Topology says which facets meet. Edge k of a facet runs from its corner k to
// corner (k+1)%3.
type Topology struct {
	// Twin[3*f+k] is 3*g+j for the half-edge that shares edge k of facet f, if
	// exactly two facets share it; -1 for an open edge, -2 for an edge of more
	// than two facets.
	Twin []int32
	// Shell[f] numbers the connected pieces of surface, 0-based in order of
	// their first facet.
	Shell  []int32
	Shells int
	// OpenEdges and NonmanifoldEdges count edges with one facet and with more
	// than two; Flipped counts edges whose two facets run the same way.
	OpenEdges, NonmanifoldEdges, FlippedEdges int
}

// Neighbour returns the facet across edge k of facet f, or -1.
func (t *Topology) Neighbour(f int32, k int) int32 {
	h := t.Twin[3*f+int32(k)]
	if h < 0 {
		return -1
	}
	return h / 3
}

// Closed reports whether every edge is shared by exactly two facets that run
// opposite ways.
func (t *Topology) Closed() bool {
	return t.OpenEdges == 0 && t.NonmanifoldEdges == 0 && t.FlippedEdges == 0
}

func newTopology(m *Mesh) *Topology {
	n := len(m.Facets)
	t := &Topology{Twin: make([]int32, 3*n), Shell: make([]int32, n)}
	edges := make(map[[2]int32][]int32, 3*n/2)
	for f, c := range m.Facets {
		for k := range 3 {
			a, b := c[k], c[(k+1)%3]
			key := [2]int32{min(a, b), max(a, b)}
			edges[key] = append(edges[key], int32(3*f+k))
		}
	}
	for _, hs := range edges {
		switch len(hs) {
		case 1:
			t.Twin[hs[0]] = -1
			t.OpenEdges++
		case 2:
			t.Twin[hs[0]], t.Twin[hs[1]] = hs[1], hs[0]
			if m.Facets[hs[0]/3][hs[0]%3] == m.Facets[hs[1]/3][hs[1]%3] {
				t.FlippedEdges++
			}
		default:
			for _, h := range hs {
				t.Twin[h] = -2
			}
			t.NonmanifoldEdges++
		}
	}
	for f := range t.Shell {
		t.Shell[f] = -1
	}
	var stack []int32
	for f := range n {
		if t.Shell[f] >= 0 {
			continue
		}
		id := int32(t.Shells)
		t.Shells++
		t.Shell[f] = id
		stack = append(stack[:0], int32(f))
		for len(stack) > 0 {
			g := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for k := range 3 {
				if h := t.Neighbour(g, k); h >= 0 && t.Shell[h] < 0 {
					t.Shell[h] = id
					stack = append(stack, h)
				}
			}
		}
	}
	return t
}
