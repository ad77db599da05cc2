package page

import (
	"math"
	"slices"

	"corbel/mesh"
)

// This file makes a mesh light enough for a browser.

// viewFacetsMax is the most facets that a page carries. It keeps a page within
// a few megabytes and a frame within what a tablet draws.
const viewFacetsMax = 200_000

// viewMesh is the mesh that a page shows, and how its facets stand for those of
// the mesh that was measured.
type viewMesh struct {
	*mesh.Mesh
	whole  *mesh.Mesh // what was measured
	cellMM float64    // 0 where both are one
	facing []mesh.Vec // per facet shown, the unit normal of what it stands for
	of     []int32    // per facet measured, the facet that stands for it; -1 where it shrank to nothing
	cell   []int32    // per vertex measured, the vertex that stands for it
	start  []int32    // per vertex shown, where its facets begin in at
	at     []int32
}

// newViewMesh returns the mesh itself, or one of at most most facets, made by
// drawing together all vertices within a cell of a grid (Rossignac and Borrel
// 1993, "Multi-resolution 3D approximations for rendering complex scenes").
func newViewMesh(m *mesh.Mesh, most int) *viewMesh {
	if len(m.Facets) <= most {
		v := &viewMesh{Mesh: m, whole: m, facing: make([]mesh.Vec, len(m.Facets))}
		for f := range v.facing {
			v.facing[f] = m.Normal(int32(f))
		}
		return v
	}
	area := 0.0
	for f := range m.Facets {
		area += m.Area(int32(f))
	}
	// Two facets a cell of surface, and somewhat more where it is crooked.
	cell := math.Sqrt(2.4 * area / float64(most))
	if !(cell > 0) {
		cell = m.Box().Diagonal() / 64
	}
	for {
		v := cluster(m, cell)
		if len(v.Facets) <= most {
			v.index()
			v.face()
			v.unfold()
			return v
		}
		cell *= max(1.1, math.Sqrt(float64(len(v.Facets))/float64(most)))
	}
}

// cluster draws the vertices of every cell together into the one nearest to
// their middle, so that corners stay corners.
func cluster(m *mesh.Mesh, cellMM float64) *viewMesh {
	v := &viewMesh{whole: m, cellMM: cellMM, of: make([]int32, len(m.Facets)), cell: make([]int32, len(m.Verts))}
	lo := m.Box().Min
	cells := map[[3]int32]int32{}
	var sum []mesh.Vec
	var count []float64
	for i, p := range m.Verts {
		var key [3]int32
		for k := range 3 {
			key[k] = int32(math.Floor((p[k] - lo[k]) / cellMM))
		}
		c, known := cells[key]
		if !known {
			c = int32(len(sum))
			cells[key] = c
			sum, count = append(sum, mesh.Vec{}), append(count, 0)
		}
		v.cell[i] = c
		sum[c] = sum[c].Add(p)
		count[c]++
	}
	verts := make([]mesh.Vec, len(sum))
	best := make([]float64, len(sum))
	for c := range best {
		sum[c] = sum[c].Scale(1 / count[c])
		best[c] = math.Inf(1)
	}
	for i, p := range m.Verts {
		c := v.cell[i]
		d := p.Sub(sum[c])
		if d := d.Dot(d); d < best[c] {
			best[c], verts[c] = d, p
		}
	}
	facets := v.facets(m)
	v.Mesh = mesh.New(verts, facets)
	return v
}

// facets keeps the facets whose corners lie in three cells, each once.
func (v *viewMesh) facets(m *mesh.Mesh) [][3]int32 {
	seen := map[[3]int32]int32{}
	var out [][3]int32
	for f, t := range m.Facets {
		a, b, c := v.cell[t[0]], v.cell[t[1]], v.cell[t[2]]
		if a == b || b == c || c == a {
			v.of[f] = -1
			continue
		}
		for a > b || a > c { // the lowest first, turning kept
			a, b, c = b, c, a
		}
		key := [3]int32{a, b, c}
		g, known := seen[key]
		if !known {
			g = int32(len(out))
			seen[key] = g
			out = append(out, key)
		}
		v.of[f] = g
	}
	return out
}

// index lists the facets around every vertex.
func (v *viewMesh) index() {
	v.start = make([]int32, len(v.Verts)+1)
	for _, t := range v.Facets {
		for _, i := range t {
			v.start[i+1]++
		}
	}
	for i := range v.Verts {
		v.start[i+1] += v.start[i]
	}
	next := append([]int32(nil), v.start...)
	v.at = make([]int32, v.start[len(v.Verts)])
	for f, t := range v.Facets {
		for _, i := range t {
			v.at[next[i]] = int32(f)
			next[i]++
		}
	}
}

// face sums the normals of the facets that were drawn together, so that colours
// by inclination and creases stay those of the part.
func (v *viewMesh) face() {
	v.facing = make([]mesh.Vec, len(v.Facets))
	for f, g := range v.of {
		if g >= 0 {
			v.facing[g] = v.facing[g].Add(v.whole.Normal(int32(f)).Scale(v.whole.Area(int32(f))))
		}
	}
	for g := range v.facing {
		v.facing[g] = v.facing[g].Unit()
	}
}

// unfold turns the facets that drawing together has folded over, so that they
// show their outside: on a flat face they lie upon their neighbours, and would
// be seen as material cut through.
func (v *viewMesh) unfold() {
	facets := slices.Clone(v.Facets)
	for g, t := range facets {
		if v.Normal(int32(g)).Dot(v.facing[g]) < 0 {
			facets[g] = [3]int32{t[0], t[2], t[1]}
		}
	}
	v.Mesh = mesh.New(v.Verts, facets)
}

// shown calls visit with the facets shown that stand for a facet measured: one,
// or all around the place that it shrank to, so that nothing small gets lost.
func (v *viewMesh) shown(f int32, visit func(g int32)) {
	switch {
	case v.cellMM == 0:
		visit(f)
	case v.of[f] >= 0:
		visit(v.of[f])
	default:
		c := v.cell[v.whole.Facets[f][0]]
		for _, g := range v.at[v.start[c]:v.start[c+1]] {
			visit(g)
		}
	}
}
