package mesh

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"sync/atomic"
)

// Integrity says how far the mesh is a closed, consistently wound surface.
type Integrity struct {
	// NonmanifoldEdges are those of more than two facets; PartedEdges of them are
	// edges along which bodies touch, each closed there.
	OpenEdges, NonmanifoldEdges, PartedEdges int
	// FlippedFacets are wound against the majority, by area, of the facets that
	// they are joined to by edges of exactly two. A surface that can't be wound
	// one way (a Moebius band) counts the smaller part of one attempt.
	FlippedFacets     int
	DegenerateFacets  int // no area (below 1e-14 of the squared diagonal), collapsed ones that were left out on reading included
	DuplicateFacets   int // same three vertices as an earlier facet, either way round; ones that were left out on reading included
	SelfIntersections int // pairs of facets that cross, overlap or touch elsewhere than at corners that they share; facets without area are not asked
	// MeetingShells are those that cross, overlap or touch others so, in that many
	// of the pairs; there are none where all but one enclose nothing.
	MeetingShells, MeetingPairs int
	// MoreIntersections is set where counting stopped: there are at least as
	// many as SelfIntersections says.
	MoreIntersections bool
	Shells            int // connected pieces of surface
	InvertedShells    int // closed shells whose sign of volume does not fit their nesting: outer ones hold material, those inside one a void, and so on; one that may lie inside an open shell, or encloses nothing, is not asked

	// What was mended on reading, so that all else is measured without it: Fins
	// are facets that hung on an edge of others, which no other number counts; of
	// OpenEdges, FlippedFacets and InvertedShells these are closed or turned.
	Fins, ClosedEdges, TurnedFacets, TurnedShells int

	// A few places of each kind, mesh coordinates: of open edges one for each
	// hole, longest rim first; of shells one on each; of the others the first in
	// facet order, IntersectAt within shells and MeetAt between them. What was
	// mended comes last.
	OpenAt, NonmanifoldAt, FlippedAt, IntersectAt, MeetAt, InvertedAt, FinAt []Vec
}

// maxPlaces bounds the lists of places.
const maxPlaces = 8

// Sound reports whether the surface that was measured is closed and wound one way.
func (i Integrity) Sound() bool {
	return i.OpenEdges == i.ClosedEdges && i.NonmanifoldEdges == i.PartedEdges && i.FlippedFacets == i.TurnedFacets
}

// Solid reports whether inside and outside have a meaning as measured: it is sound,
// and holds no shell that is inside out.
func (i Integrity) Solid() bool { return i.Sound() && i.InvertedShells == i.TurnedShells }

// MeasureIntegrity examines the mesh. All counts are exact: what floating point
// can't decide is decided in whole numbers, for the coordinates as stored.
func MeasureIntegrity(ctx context.Context, m *Mesh) (Integrity, error) {
	if err := m.Prepare(ctx); err != nil {
		return Integrity{}, err
	}
	// The search for intersections keeps all cores busy, and most of the rest one:
	// beside it, that one is.
	var x intersections
	var failed error
	var search sync.WaitGroup
	search.Go(func() { x, failed = selfIntersections(ctx, m) })
	r, shells, err := countDefects(ctx, m)
	search.Wait()
	if err = cmp.Or(err, failed); err != nil {
		return Integrity{}, err
	}
	r.SelfIntersections, r.MoreIntersections, r.IntersectAt = x.count(), x.more, x.within.at
	bodies := slices.DeleteFunc(x.shells, func(i int32) bool { return shells.closed[i] && shells.volume[i] == 0 })
	if len(bodies) > 1 {
		r.MeetingShells, r.MeetingPairs, r.MeetAt = len(bodies), x.between.count, x.between.at
	} else {
		r.IntersectAt = append(r.IntersectAt, x.between.at[:min(len(x.between.at), maxPlaces-len(r.IntersectAt))]...)
	}
	return r, nil
}

// countDefects is all of MeasureIntegrity but intersections, and what it knows of shells.
func countDefects(ctx context.Context, m *Mesh) (Integrity, *shells, error) {
	t := m.Topology()
	r := Integrity{
		OpenEdges:        t.OpenEdges,
		NonmanifoldEdges: t.NonmanifoldEdges,
		PartedEdges:      t.PartedEdges,
		DuplicateFacets:  countDuplicates(m, t) + m.repeats,
		Shells:           t.Shells,
	}
	r.OpenAt = openPlaces(m, t)
	r.NonmanifoldAt = nonmanifoldPlaces(m, t)
	flat, err := countFlat(ctx, m)
	if err != nil {
		return Integrity{}, nil, err
	}
	r.DegenerateFacets = flat + m.collapsed
	flipped := flippedFacets(m, t)
	r.FlippedFacets, r.FlippedAt = len(flipped), m.middles(flipped)
	s, err := newShells(ctx, m, t)
	if err != nil {
		return Integrity{}, nil, err
	}
	if r.InvertedShells, r.InvertedAt, err = s.inverted(ctx, m, t); err != nil {
		return Integrity{}, nil, err
	}
	w := m.mended
	r.Fins, r.ClosedEdges, r.TurnedFacets, r.TurnedShells = w.fins, w.closed, w.flipped, w.inverted
	r.OpenEdges, r.FlippedFacets, r.InvertedShells = r.OpenEdges+w.closed, r.FlippedFacets+w.flipped, r.InvertedShells+w.inverted
	add := func(at *[]Vec, more []Vec) { *at = append(*at, more[:min(len(more), maxPlaces-len(*at))]...) }
	add(&r.FinAt, w.finAt)
	add(&r.OpenAt, w.closedAt)
	add(&r.FlippedAt, w.flippedAt)
	add(&r.InvertedAt, w.invertedAt)
	return r, s, nil
}

// countFlat counts the facets of the file without area.
func countFlat(ctx context.Context, m *Mesh) (int, error) {
	d := m.Box().Diagonal()
	least := 1e-14 * d * d
	var flat atomic.Int64
	err := parallel(ctx, len(m.Facets)-m.mended.laid, 1<<14, func(from, to int) error {
		n := int64(0)
		for f := from; f < to; f++ {
			if !(m.Area(int32(f)) > least) {
				n++
			}
		}
		flat.Add(n)
		return nil
	})
	return int(flat.Load()), err
}

// countDuplicates counts the facets that have the vertices of an earlier one.
// Such a pair shares all its edges, so each edge has either these two facets
// alone or more than two: few facets have to be compared.
func countDuplicates(m *Mesh, t *Topology) int {
	var suspects [][3]int32
	for f, c := range m.Facets {
		twin := int32(-2) // the one facet across its edges of two
		ok := !isCollapsed(c)
		for k := range 3 {
			switch h := t.Twin[3*f+k]; {
			case t.isCrowded(int32(3*f + k)):
			case h == -1 || twin >= 0 && h/3 != twin:
				ok = false
			default:
				twin = h / 3
			}
		}
		if ok {
			slices.Sort(c[:])
			suspects = append(suspects, c)
		}
	}
	n := len(suspects)
	slices.SortFunc(suspects, func(a, b [3]int32) int { return slices.Compare(a[:], b[:]) })
	return n - len(slices.Compact(suspects))
}

// openPlaces returns a point on the rim of each hole, longest rim first. A rim
// is what open edges joined by vertices form.
func openPlaces(m *Mesh, t *Topology) []Vec {
	if t.OpenEdges == 0 {
		return nil
	}
	type rim struct {
		half   int32 // its first open half-edge
		length float64
	}
	var halves []int32
	for h, g := range t.Twin {
		if g == -1 && !isCollapsed(m.Facets[h/3]) {
			halves = append(halves, int32(h))
		}
	}
	root := make([]int32, len(m.Verts))
	for v := range root {
		root[v] = int32(v)
	}
	find := func(v int32) int32 {
		for root[v] != v {
			root[v] = root[root[v]]
			v = root[v]
		}
		return v
	}
	for _, h := range halves {
		a, b := m.ends(h)
		a, b = find(a), find(b)
		root[max(a, b)] = min(a, b)
	}
	number := make([]int32, len(m.Verts)) // of the rim, plus one, by its root
	var rims []rim
	for _, h := range halves {
		a, b := m.ends(h)
		v := find(a)
		if number[v] == 0 {
			rims = append(rims, rim{half: h})
			number[v] = int32(len(rims))
		}
		rims[number[v]-1].length += m.Verts[a].Sub(m.Verts[b]).Norm()
	}
	slices.SortStableFunc(rims, func(a, b rim) int { return cmp.Compare(b.length, a.length) })
	var at []Vec
	for _, r := range rims[:min(len(rims), maxPlaces)] {
		at = append(at, m.edgeMiddle(r.half))
	}
	return at
}

// ends returns the vertices of a half-edge.
func (m *Mesh) ends(h int32) (a, b int32) {
	c := m.Facets[h/3]
	return c[h%3], c[(h+1)%3]
}

func (m *Mesh) edgeMiddle(h int32) Vec {
	a, b := m.ends(h)
	return m.Verts[a].Add(m.Verts[b]).Scale(.5)
}

// nonmanifoldPlaces returns the middles of the first edges of more than two
// facets: of those that do not pair up, if there are any.
func nonmanifoldPlaces(m *Mesh, t *Topology) []Vec {
	var at []Vec
	seen := map[[2]int32]bool{}
	for _, h := range t.crowded {
		if t.Twin[h] != manyTwins && t.PartedEdges < t.NonmanifoldEdges {
			continue
		}
		a, b := m.ends(h)
		if e := [2]int32{min(a, b), max(a, b)}; !seen[e] {
			seen[e] = true
			if at = append(at, m.edgeMiddle(h)); len(at) == maxPlaces {
				break
			}
		}
	}
	return at
}

// flippedFacets lists the facets wound against the majority. Where the topology
// finds no edge whose facets run the same way there are none.
func flippedFacets(m *Mesh, t *Topology) (flipped []int32) {
	if t.FlippedEdges == 0 {
		return nil
	}
	// side 1 is wound like the piece's first facet, 2 against it.
	side := make([]uint8, len(m.Facets))
	var piece []int32
	for f := range m.Facets {
		if side[f] != 0 {
			continue
		}
		side[f] = 1
		piece = append(piece[:0], int32(f))
		var area, number [3]float64
		for i := 0; i < len(piece); i++ {
			g := piece[i]
			area[side[g]] += m.Area(g)
			number[side[g]]++
			for k := range int32(3) {
				h := t.Twin[3*g+k]
				if h < 0 || side[h/3] != 0 {
					continue
				}
				side[h/3] = side[g]
				if m.Facets[g][k] == m.Facets[h/3][h%3] {
					side[h/3] = 3 - side[g]
				}
				piece = append(piece, h/3)
			}
		}
		minor := uint8(2)
		if area[2] > area[1] || area[2] == area[1] && number[2] > number[1] {
			minor = 1
		}
		for _, g := range piece {
			if side[g] == minor {
				flipped = append(flipped, g)
			}
		}
	}
	slices.Sort(flipped)
	return flipped
}
