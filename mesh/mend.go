package mesh

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// This file mends on reading what can be mended in one way alone, so that the rest
// of the part is measured as if the file were whole. MeasureIntegrity tells of the
// file as it was.

// mended is what was mended on reading, with places as in Integrity.
type mended struct {
	fins     int // facets left out that hang on an edge of two others
	closed   int // open edges that facets were laid over
	laid     int // those facets, the last of the mesh
	flipped  int // facets turned that were wound against the others
	inverted int // shells turned that were inside out

	finAt, closedAt, flippedAt, invertedAt []Vec
}

const (
	// holeShare is the width up to which holes are closed, as a share of the
	// diagonal: twice the area over the rim's length, half the diameter of a round
	// one. Cracks beside a long edge, where other facets have a vertex on it, have none.
	holeShare = 0.005
	// holeSides bounds the edges of a rim; the search takes the cube of them.
	holeSides = 64
	// holeLeast is the share of a shell's surface above which a hole is its rim.
	holeLeast = 0.2
	// finRounds bounds how many facets deep fins are.
	finRounds = 8
)

// mend leaves out fins, turns what is wound the wrong way, and closes small holes.
// Each is kept only if the surface is the better for it.
func mend(ctx context.Context, m *Mesh) (*Mesh, error) {
	for _, step := range []func(context.Context, *Mesh, *Topology) (*Mesh, error){dropFins, turnFlipped, closeHoles, turnShells} {
		t, err := m.topo.get(ctx)
		if err != nil {
			return nil, err
		}
		better, err := step(ctx, m, t)
		if err != nil {
			return nil, err
		}
		if better != nil {
			m = better
		}
	}
	return m, nil
}

// with is the mesh with other facets.
func (m *Mesh) with(facets [][3]int32, note string) *Mesh {
	w := New(dropUnused(slices.Clone(m.Verts), facets), facets)
	w.Source, w.collapsed, w.repeats, w.mended = m.Source, m.collapsed, m.repeats, m.mended
	w.Source.Notes = append(slices.Clip(m.Source.Notes), note)
	return w
}

// middles are the centres of the first facets of a list.
func (m *Mesh) middles(list []int32) (at []Vec) {
	for _, f := range list[:min(len(list), maxPlaces)] {
		at = append(at, m.Centre(f))
	}
	return at
}

// dropFins leaves out facets that hang on an edge of two others by one edge, and end
// in the open: they enclose nothing.
func dropFins(ctx context.Context, m *Mesh, t *Topology) (*Mesh, error) {
	before := t
	at, w := []Vec(nil), m
	for range finRounds {
		if t.OpenEdges == 0 || t.NonmanifoldEdges == t.PartedEdges {
			break
		}
		var fins []int32
		facets := make([][3]int32, 0, len(w.Facets))
		for f, c := range w.Facets {
			twins := t.Twin[3*f : 3*f+3]
			if !isCollapsed(c) && slices.Contains(twins, -1) && slices.Contains(twins, manyTwins) {
				fins = append(fins, int32(f))
			} else {
				facets = append(facets, c)
			}
		}
		if len(fins) == 0 || len(facets) == 0 {
			break
		}
		at = append(at, w.middles(fins)...)
		w = New(w.Verts, facets)
		var err error
		if t, err = w.topo.get(ctx); err != nil {
			return nil, err
		}
	}
	n := len(m.Facets) - len(w.Facets)
	if n == 0 || t.OpenEdges >= before.OpenEdges || t.NonmanifoldEdges-t.PartedEdges >= before.NonmanifoldEdges-before.PartedEdges {
		return nil, nil
	}
	w = m.with(w.Facets, fmt.Sprintf("Fins on edges of other facets were left out: %s.", plural(int64(n), "facet")))
	w.mended.fins, w.mended.finAt = n, at[:min(len(at), maxPlaces)]
	return w, nil
}

// turnFlipped turns the facets that are wound against the others of their piece.
func turnFlipped(ctx context.Context, m *Mesh, t *Topology) (*Mesh, error) {
	list := flippedFacets(m, t)
	if len(list) == 0 {
		return nil, nil
	}
	facets := slices.Clone(m.Facets)
	for _, f := range list {
		facets[f][1], facets[f][2] = facets[f][2], facets[f][1]
	}
	w := m.with(facets, fmt.Sprintf("What is wound against its neighbours was turned: %s.", plural(int64(len(list)), "facet")))
	after, err := w.topo.get(ctx)
	if err != nil || after.FlippedEdges > 0 || after.NonmanifoldEdges-after.PartedEdges > t.NonmanifoldEdges-t.PartedEdges {
		return nil, err
	}
	w.mended.flipped, w.mended.flippedAt = len(list), m.middles(list)
	return w, nil
}

// closeHoles lays facets over holes of one facet and over narrow ones, those of the
// least area (Barequet and Sharir 1995, "Filling gaps in the boundary of a
// polyhedron").
func closeHoles(ctx context.Context, m *Mesh, t *Topology) (*Mesh, error) {
	if t.OpenEdges == 0 {
		return nil, nil
	}
	areas := make([]float64, t.Shells)
	for f := range m.Facets {
		areas[t.Shell[f]] += m.Area(int32(f))
	}
	width := holeShare * m.Box().Diagonal()
	var holes []hole
	seen := make([]bool, len(t.Twin))
	for h, g := range t.Twin {
		if g != -1 || seen[h] || isCollapsed(m.Facets[h/3]) {
			continue
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for _, rim := range m.rimsOf(t, int32(h), seen) {
			most := holeLeast * areas[t.Shell[h/3]]
			if len(rim) > 3 {
				most = min(most, width*m.around(rim)/2)
			}
			if m.vectorArea(rim) > most {
				continue
			}
			if patch, area := m.leastArea(rim); area <= most {
				holes = append(holes, hole{rim, patch})
			}
		}
	}
	facets := slices.Clone(m.Facets)
	closed, at := 0, []Vec(nil)
	for _, x := range m.closable(holes) {
		facets = append(facets, x.patch...)
		closed += len(x.rim)
		if len(at) < maxPlaces {
			at = append(at, m.Verts[x.rim[0]].Add(m.Verts[x.rim[1]]).Scale(.5))
		}
	}
	if closed == 0 {
		return nil, nil
	}
	laid := len(facets) - len(m.Facets)
	w := m.with(facets, fmt.Sprintf("Small holes were closed: %s by %s.", plural(int64(closed), "open edge"), plural(int64(laid), "facet")))
	after, err := w.topo.get(ctx)
	if err != nil || after.OpenEdges != t.OpenEdges-closed || after.NonmanifoldEdges > t.NonmanifoldEdges || after.FlippedEdges > t.FlippedEdges {
		return nil, err
	}
	w.mended.closed, w.mended.laid, w.mended.closedAt = closed, laid, at
	return w, nil
}

// hole is a rim and the facets that close it.
type hole struct {
	rim   []int32
	patch [][3]int32
}

// closable are the holes whose facets have no edge between them that the surface or
// another hole has already.
func (m *Mesh) closable(holes []hole) []hole {
	between := map[[2]int32]int{} // of an edge between facets of a patch, its hole
	bad := make([]bool, len(holes))
	edge := func(f [3]int32, k int) [2]int32 {
		a, b := f[k], f[(k+1)%3]
		return [2]int32{min(a, b), max(a, b)}
	}
	for i, x := range holes {
		once := map[[2]int32]bool{}
		for _, f := range x.patch {
			for k := range 3 {
				e := edge(f, k)
				if !once[e] {
					once[e] = true
					continue
				}
				if j, ok := between[e]; ok {
					bad[i], bad[j] = true, true
				}
				between[e] = i
			}
		}
	}
	if len(between) > 0 {
		for _, f := range m.Facets {
			for k := range 3 {
				if i, ok := between[edge(f, k)]; ok {
					bad[i] = true
				}
			}
		}
	}
	var out []hole
	for i, x := range holes {
		if !bad[i] {
			out = append(out, x)
		}
	}
	return out
}

// rimsOf follows the rim of a hole from an open half-edge on, and parts it where it
// meets itself, as where two holes have a corner in common. It returns the vertices of
// each in the order of a facet that closes it; none of more than holeSides edges, nor
// once it meets an edge of several facets or facets wound both ways.
func (m *Mesh) rimsOf(t *Topology, first int32, seen []bool) (rims [][]int32) {
	next := func(h int32) int32 { return h - h%3 + (h+1)%3 }
	end := func(rim []int32) {
		if len(rim) >= 3 && len(rim) <= holeSides {
			rim = slices.Clone(rim)
			slices.Reverse(rim)
			rims = append(rims, rim)
		}
	}
	var rim []int32
	for h := first; ; {
		seen[h] = true
		a, b := m.ends(h)
		if i := slices.Index(rim, a); i >= 0 && len(rim) <= holeSides {
			end(rim[i:])
			rim = rim[:i]
		}
		if len(rim) <= holeSides {
			rim = append(rim, a)
		}
		for h = next(h); t.Twin[h] >= 0; h = next(t.Twin[h]) {
			if from, _ := m.ends(t.Twin[h]); from == b {
				return nil
			}
		}
		switch {
		case h == first:
			end(rim)
			return rims
		case t.Twin[h] != -1 || seen[h]:
			return nil
		}
	}
}

// around is the length of a rim, mm.
func (m *Mesh) around(rim []int32) (long float64) {
	last := rim[len(rim)-1]
	for _, v := range rim {
		long += m.Verts[v].Sub(m.Verts[last]).Norm()
		last = v
	}
	return long
}

// vectorArea is half the length of the sum of cross products round a rim: no surface
// over it has less, mm2.
func (m *Mesh) vectorArea(rim []int32) float64 {
	var sum Vec
	o := m.Verts[rim[0]]
	for i := 1; i+1 < len(rim); i++ {
		sum = sum.Add(m.Verts[rim[i]].Sub(o).Cross(m.Verts[rim[i+1]].Sub(o)))
	}
	return sum.Norm() / 2
}

// leastArea is the triangulation of a rim with the least area, in mm2.
func (m *Mesh) leastArea(rim []int32) (facets [][3]int32, area float64) {
	n := len(rim)
	cost := make([]float64, n*n)
	via := make([]int, n*n)
	for span := 2; span < n; span++ {
		for i := 0; i+span < n; i++ {
			k := i + span
			best := math.Inf(1)
			for j := i + 1; j < k; j++ {
				a, b, c := m.Verts[rim[i]], m.Verts[rim[j]], m.Verts[rim[k]]
				if s := cost[i*n+j] + cost[j*n+k] + b.Sub(a).Cross(c.Sub(a)).Norm()/2; s < best {
					best, via[i*n+k] = s, j
				}
			}
			cost[i*n+k] = best
		}
	}
	var lay func(i, k int)
	lay = func(i, k int) {
		if k < i+2 {
			return
		}
		j := via[i*n+k]
		facets = append(facets, [3]int32{rim[i], rim[j], rim[k]})
		lay(i, j)
		lay(j, k)
	}
	lay(0, n-1)
	return facets, cost[n-1]
}

// turnShells turns closed shells that lie in no other and hold air inside, with what
// lies in them the wrong way round.
func turnShells(ctx context.Context, m *Mesh, t *Topology) (*Mesh, error) {
	if t.Shells == 1 { // most are, and right
		if v, err := m.enclosed(ctx); err != nil || v >= 0 {
			return nil, err
		}
	}
	s, err := newShells(ctx, m, t)
	if err != nil {
		return nil, err
	}
	open := s.openBoxes()
	around := make([][]int32, t.Shells)
	outer := make([]bool, t.Shells)
	look := func(which func(i int) bool) error {
		for i := range s.closed {
			if s.closed[i] && which(i) && !s.inOpen(i, open) {
				if ctx.Err() != nil {
					return ctx.Err()
				}
				around[i] = s.holders(m, t, int32(i))
			}
		}
		return nil
	}
	if err := look(func(i int) bool { return s.volume[i] < 0 }); err != nil {
		return nil, err
	}
	for i, v := range s.volume {
		outer[i] = s.closed[i] && v < 0 && len(around[i]) == 0 && !s.inOpen(i, open)
	}
	if !slices.Contains(outer, true) {
		return nil, nil
	}
	if err := look(func(i int) bool { return s.volume[i] > 0 }); err != nil {
		return nil, err
	}
	turn := make([]bool, t.Shells)
	n, at := 0, []Vec(nil)
	for i, list := range around {
		wrong := (len(list)%2 == 0) != (s.volume[i] > 0)
		if turn[i] = outer[i] || wrong && slices.ContainsFunc(list, func(j int32) bool { return outer[j] }); turn[i] {
			if n++; len(at) < maxPlaces {
				at = append(at, m.Centre(s.largest[i]))
			}
		}
	}
	facets := slices.Clone(m.Facets)
	for f := range facets {
		if turn[t.Shell[f]] {
			facets[f][1], facets[f][2] = facets[f][2], facets[f][1]
		}
	}
	w := m.with(facets, fmt.Sprintf("What is inside out was turned: %s.", plural(int64(n), "shell")))
	w.mended.inverted, w.mended.invertedAt = n, at
	return w, nil
}

// enclosed is the signed volume that the surface encloses, mm3, for its sign.
func (m *Mesh) enclosed(ctx context.Context) (float64, error) {
	const step = 1 << 14
	box := m.Box()
	mid := box.Min.Add(box.Max).Scale(.5)
	parts := make([]float64, (len(m.Facets)+step-1)/step)
	err := parallel(ctx, len(m.Facets), step, func(from, to int) error {
		for f := from; f < to; f++ {
			a, b, c := m.Corners(int32(f))
			parts[from/step] += a.Sub(mid).Dot(b.Sub(mid).Cross(c.Sub(mid)))
		}
		return nil
	})
	all := 0.0
	for _, p := range parts {
		all += p
	}
	return all / 6, err
}
