package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
)

// Topology says which facets meet. Edge k of a facet runs from its corner k to
// corner (k+1)%3.
type Topology struct {
	// Twin[3*f+k] is 3*g+j for the half-edge that shares edge k of facet f, if
	// two facets share it, or if more do that pair up: those of a pair enclose
	// material. It is -1 for an open edge, -2 for another edge of more than two
	// facets.
	Twin []int32
	// Shell[f] numbers the connected pieces of surface, 0-based in order of
	// their first facet. Facets that share an edge are connected, unless they
	// belong to different pairs of it; facets that share no more than a vertex are
	// not.
	Shell  []int32
	Shells int
	// OpenEdges and NonmanifoldEdges count edges with one facet and with more
	// than two; PartedEdges those of more than two that pair up, FlippedEdges those
	// of two that run the same way.
	OpenEdges, NonmanifoldEdges, PartedEdges, FlippedEdges int

	crowded []int32 // the half-edges of edges of more than two facets, ascending
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

// isCrowded reports whether more than two facets share the edge of a half-edge.
func (t *Topology) isCrowded(h int32) bool {
	if len(t.crowded) == 0 {
		return false
	}
	_, ok := slices.BinarySearch(t.crowded, h)
	return ok
}

// Closed reports whether every edge is shared by two facets that run opposite
// ways, or by pairs of such.
func (t *Topology) Closed() bool {
	return t.OpenEdges == 0 && t.NonmanifoldEdges == t.PartedEdges && t.FlippedEdges == 0
}

// newTopology sorts the half-edges by their lower vertex (counting sort), then
// each vertex' few by the higher one; equal neighbours in that order are one
// edge. Those of more than two facets are paired once the shells that the others
// make are known. It takes no hash table and 24 bytes a half-edge while it runs. A
// collapsed facet has no edges: it is alone in its shell.
func newTopology(ctx context.Context, m *Mesh) (*Topology, error) {
	t := &Topology{Twin: make([]int32, 3*len(m.Facets))}
	start, half, err := t.sortHalfEdges(ctx, m)
	if err != nil {
		return nil, err
	}
	var mu sync.Mutex
	var crowds [][]int32
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
		crowds = append(crowds, p.crowds...)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if err := t.findShells(ctx, nil); err != nil || len(crowds) == 0 {
		return t, err
	}
	var joined [][]int32
	for i, c := range crowds {
		if i&(1<<12-1) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		t.crowded = append(t.crowded, c...)
		if !t.pair(m, c) {
			joined = append(joined, c)
		}
	}
	slices.Sort(t.crowded)
	t.PartedEdges = len(crowds) - len(joined)
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
	crowds                     [][]int32 // the half-edges of each edge of more than two facets
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
			var crowd []int32
			for _, e := range half[i:j] {
				t.Twin[int32(e)] = manyTwins
				crowd = append(crowd, int32(e))
			}
			p.crowds = append(p.crowds, crowd)
			p.nonmanifold++
		}
		i = j
	}
}

// crowdMost is how many facets around one edge are paired; more are no bodies that
// touch.
const crowdMost = 32

// pair makes twins of the half-edges of an edge of more than two facets, if as many
// run one way as the other: first those of one shell as far as other edges join it,
// then those that enclose the least material, then those that come first in the file. So bodies that share an edge stay bodies of their own.
func (t *Topology) pair(m *Mesh, crowd []int32) bool {
	if len(crowd)%2 != 0 || len(crowd) > crowdMost {
		return false
	}
	lo, hi := m.ends(crowd[0])
	lo, hi = min(lo, hi), max(lo, hi)
	f := NewFrame(m.Verts[hi].Sub(m.Verts[lo]), 0, 0)
	turn := func(h int32) float64 {
		d := m.Verts[m.Facets[h/3][(h+2)%3]].Sub(m.Verts[lo])
		return math.Atan2(d.Dot(f.Y), d.Dot(f.X))
	}
	type couple struct {
		apart    int // 0 in one shell
		material float64
		last     int32 // of the two, in the file
		up, down int32 // half-edges
	}
	var couples []couple
	for _, up := range crowd {
		if from, _ := m.ends(up); from != lo {
			continue
		}
		for _, down := range crowd {
			if from, _ := m.ends(down); from == lo {
				continue
			}
			// Material lies clockwise of a facet whose edge runs up. Two that lie on
			// each other hold all around or nothing: not nothing.
			c := couple{material: math.Mod(turn(up)-turn(down)+4*math.Pi, 2*math.Pi), last: max(up, down), up: up, down: down}
			if c.material < flatWedge {
				c.material = 2 * math.Pi
			}
			if t.Shell[up/3] != t.Shell[down/3] {
				c.apart = 1
			}
			couples = append(couples, c)
		}
	}
	if 4*len(couples) != len(crowd)*len(crowd) {
		return false
	}
	slices.SortFunc(couples, func(a, b couple) int {
		c := cmp.Compare(a.apart, b.apart)
		if math.Abs(a.material-b.material) > flatWedge {
			c = cmp.Or(c, cmp.Compare(a.material, b.material))
		}
		return cmp.Or(c, cmp.Compare(a.last, b.last), cmp.Compare(a.up, b.up), cmp.Compare(a.down, b.down))
	})
	for _, c := range couples {
		if t.Twin[c.up] < 0 && t.Twin[c.down] < 0 {
			t.Twin[c.up], t.Twin[c.down] = c.down, c.up
		}
	}
	return true
}

// flatWedge is an angle between facets that is none, in radians.
const flatWedge = 1e-4

// findShells numbers the connected pieces by union-find, where the root of a
// piece is its first facet. The facets of a crowd of half-edges are joined.
func (t *Topology) findShells(ctx context.Context, crowds [][]int32) error {
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
	for _, c := range crowds {
		for _, h := range c {
			join(c[0]/3, h/3)
		}
	}
	t.Shell, t.Shells = root, 0
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
