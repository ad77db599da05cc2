package mesh

import (
	"context"
	"slices"
	"sync"
)

// Topology says which facets meet. Edge k of a facet runs from its corner k to
// corner (k+1)%3.
type Topology struct {
	// Twin[3*f+k] is 3*g+j for the half-edge that shares edge k of facet f, if
	// exactly two facets share it; -1 for an open edge, -2 for an edge of more
	// than two facets.
	Twin []int32
	// Shell[f] numbers the connected pieces of surface, 0-based in order of
	// their first facet. Facets that share an edge are connected, also where
	// more than two share it; facets that share no more than a vertex are not.
	Shell  []int32
	Shells int
	// OpenEdges and NonmanifoldEdges count edges with one facet and with more
	// than two; FlippedEdges those whose two facets run the same way.
	OpenEdges, NonmanifoldEdges, FlippedEdges int
}

// manyTwins is Topology.Twin of an edge of more than two facets.
const manyTwins = -2

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

// newTopology sorts the half-edges by their lower vertex (counting sort), then
// each vertex' few by the higher one; equal neighbours in that order are one
// edge. It takes no hash table and 24 bytes a half-edge while it runs. A
// collapsed facet has no edges: it is alone in its shell.
func newTopology(ctx context.Context, m *Mesh) (*Topology, error) {
	t := &Topology{Twin: make([]int32, 3*len(m.Facets))}
	start, half, err := t.sortHalfEdges(ctx, m)
	if err != nil {
		return nil, err
	}
	var mu sync.Mutex
	var joined [][2]int32 // facets that share an edge of more than two
	err = parallel(ctx, len(m.Verts), 1<<14, func(from, to int) error {
		var p edgePairs
		for v := from; v < to; v++ {
			p.vertex(t, m, half[start[v]:start[v+1]])
		}
		mu.Lock()
		defer mu.Unlock()
		t.OpenEdges += p.open
		t.NonmanifoldEdges += p.nonmanifold
		t.FlippedEdges += p.flipped
		joined = append(joined, p.joined...)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return t, t.findShells(ctx, joined)
}

// sortHalfEdges returns, for each vertex v, the half-edges whose lower vertex it
// is, as half[start[v]:start[v+1]], each as the higher vertex (upper 32 bits)
// and the half-edge's number. Those of collapsed facets it marks as open.
func (t *Topology) sortHalfEdges(ctx context.Context, m *Mesh) (start []int32, half []uint64, err error) {
	start = make([]int32, len(m.Verts)+2)
	each := func(do func(lo, hi, h int32)) error {
		for f, c := range m.Facets {
			if f&(1<<16-1) == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			if isCollapsed(c) {
				t.Twin[3*f], t.Twin[3*f+1], t.Twin[3*f+2] = -1, -1, -1
				continue
			}
			for k := range int32(3) {
				a, b := c[k], c[(k+1)%3]
				do(min(a, b), max(a, b), 3*int32(f)+k)
			}
		}
		return nil
	}
	if err := each(func(lo, _, _ int32) { start[lo+2]++ }); err != nil {
		return nil, nil, err
	}
	for v := 2; v < len(start); v++ {
		start[v] += start[v-1]
	}
	half = make([]uint64, start[len(start)-1])
	err = each(func(lo, hi, h int32) { // moves start[v+1] up to where v's end
		half[start[lo+1]] = uint64(hi)<<32 | uint64(h)
		start[lo+1]++
	})
	return start[:len(start)-1], half, err
}

func isCollapsed(c [3]int32) bool { return c[0] == c[1] || c[1] == c[2] || c[2] == c[0] }

// edgePairs gathers what one goroutine finds.
type edgePairs struct {
	open, nonmanifold, flipped int
	joined                     [][2]int32
}

// vertex pairs the half-edges of one lower vertex.
func (p *edgePairs) vertex(t *Topology, m *Mesh, half []uint64) {
	slices.Sort(half)
	for i := 0; i < len(half); {
		j := i + 1
		for j < len(half) && half[j]>>32 == half[i]>>32 {
			j++
		}
		h := int32(half[i])
		switch j - i {
		case 1:
			t.Twin[h] = -1
			p.open++
		case 2:
			g := int32(half[i+1])
			t.Twin[h], t.Twin[g] = g, h
			if m.Facets[h/3][h%3] == m.Facets[g/3][g%3] {
				p.flipped++
			}
		default:
			for _, e := range half[i:j] {
				t.Twin[int32(e)] = manyTwins
				p.joined = append(p.joined, [2]int32{h / 3, int32(e) / 3})
			}
			p.nonmanifold++
		}
		i = j
	}
}

// findShells numbers the connected pieces by union-find, where the root of a
// piece is its first facet.
func (t *Topology) findShells(ctx context.Context, joined [][2]int32) error {
	root := make([]int32, len(t.Twin)/3)
	for f := range root {
		root[f] = int32(f)
	}
	find := func(f int32) int32 {
		for root[f] != f {
			root[f] = root[root[f]]
			f = root[f]
		}
		return f
	}
	join := func(f, g int32) {
		f, g = find(f), find(g)
		root[max(f, g)] = min(f, g)
	}
	for h, g := range t.Twin {
		if h&(1<<16-1) == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if int32(h) < g {
			join(int32(h)/3, g/3)
		}
	}
	for _, p := range joined {
		join(p[0], p[1])
	}
	t.Shell = root
	for f := range root {
		if r := root[f]; r == int32(f) {
			root[f] = int32(t.Shells)
			t.Shells++
		} else {
			root[f] = root[r] // numbered already, and every facet points at one before it
		}
	}
	return nil
}
