package mesh

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
)

// weldShare is the tolerance of welding the rims of holes, as a share of the
// diagonal: 3 um on a part of 300 mm. Exporters that compute a common vertex
// twice differ by less, and no process resolves it.
const weldShare = 1e-5

// weldRims closes cracks: where bit-identical welding left open edges, vertices
// on them that are nearer to each other than a tolerance become one. Vertices
// inside the surface stay as they are. The result is kept only if it leaves
// fewer open edges and no more edges of several facets, and says what it did in
// the notes.
func weldRims(ctx context.Context, m *Mesh) (*Mesh, error) {
	before, err := m.topo.get(ctx)
	if err != nil {
		return nil, err
	}
	if before.OpenEdges == 0 {
		return m, nil
	}
	box := m.Box()
	reach := 0.0
	for k := range 3 {
		reach = max(reach, math.Abs(box.Min[k]), math.Abs(box.Max[k]))
	}
	// STL stores single precision: two steps of it far from the origin.
	tol := max(weldShare*box.Diagonal(), 2*reach*0x1p-23)
	rim := rimVertices(m, before)
	to, err := nearestEarlier(ctx, m.Verts, rim, tol)
	if err != nil {
		return nil, err
	}
	w := mapVertices(m, rim, to)
	after, err := w.topo.get(ctx)
	if err != nil {
		return nil, err
	}
	if after.OpenEdges >= before.OpenEdges || after.NonmanifoldEdges > before.NonmanifoldEdges || len(w.Facets) == 0 {
		return m, nil
	}
	w.Source = m.Source
	w.collapsed = m.collapsed + len(m.Facets) - len(w.Facets)
	w.repeats = m.repeats
	w.Source.WeldTol = tol
	left := "none"
	if after.OpenEdges > 0 {
		left = fmt.Sprint(after.OpenEdges)
	}
	w.Source.Notes = append(slices.Clip(m.Source.Notes), fmt.Sprintf(
		"Vertices on open edges nearer than %.2g mm to each other were made one: of %s %s left.", tol, plural(int64(before.OpenEdges), "open edge"), left))
	return w, nil
}

// rimVertices lists the vertices of open edges, in order.
func rimVertices(m *Mesh, t *Topology) []int32 {
	var rim []int32
	for h, g := range t.Twin {
		if g == -1 {
			a, b := m.ends(int32(h))
			rim = append(rim, a, b)
		}
	}
	slices.Sort(rim)
	return slices.Compact(rim)
}

// nearestEarlier gives every vertex of the list the nearest one before it that
// stays and is nearer than tol; all others stay, and are given themselves. Cells
// eight tolerances wide hold the ones that stay, which are at least a tolerance
// apart. What is near a point lies in its cell, or in a neighbour that the point
// is near to, which is seldom. Cells that share a slot of the table cost no more
// than a few distances.
func nearestEarlier(ctx context.Context, verts []Vec, list []int32, tol float64) ([]int32, error) {
	bits := bits.Len(uint(len(list)))
	head := make([]int32, 2<<bits) // place in the list plus one
	next := make([]int32, len(list))
	seed := rand.Uint64()
	slot := func(c [3]int64) uint64 {
		h := seed
		for _, x := range c {
			h = (h ^ uint64(x)) * 0x9e3779b97f4a7c15
			h ^= h >> 29
		}
		return h >> (63 - bits)
	}
	to := make([]int32, len(list))
	for i, v := range list {
		if i%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		var home, side [3]int64
		sides := 0 // a bit for each axis along which a neighbour is near
		for k, x := range verts[v] {
			f := math.Floor(x / (8 * tol))
			home[k], side[k] = int64(f), int64(f)-1
			if x/(8*tol)-f > 0.5 {
				side[k] += 2
			}
			if d := x/(8*tol) - f; min(d, 1-d) < 0.13 {
				sides |= 1 << k
			}
		}
		best, least := v, tol
		for n := range 8 {
			if n&^sides != 0 {
				continue
			}
			c := home
			for k := range c {
				if n>>k&1 == 1 {
					c[k] = side[k]
				}
			}
			for j := head[slot(c)]; j > 0; j = next[j-1] {
				w := list[j-1]
				if d := verts[v].Sub(verts[w]).Norm(); d < least || d == least && best != v && w < best {
					best, least = w, d
				}
			}
		}
		if to[i] = best; best == v {
			s := slot(home)
			next[i], head[s] = head[s], int32(i)+1
		}
	}
	return to, nil
}

// mapVertices replaces the vertices of the list by others before them, and
// leaves out collapsed facets and vertices that are not used any more.
func mapVertices(m *Mesh, list, to []int32) *Mesh {
	number := make([]int32, len(m.Verts))
	for v := range number {
		number[v] = int32(v)
	}
	for i, v := range list {
		number[v] = to[i]
	}
	facets := make([][3]int32, 0, len(m.Facets))
	for _, f := range m.Facets {
		g := [3]int32{number[f[0]], number[f[1]], number[f[2]]}
		if !isCollapsed(g) {
			facets = append(facets, g)
		}
	}
	return New(dropUnused(slices.Clone(m.Verts), facets), facets)
}
