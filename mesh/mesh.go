package mesh

import (
	"context"
	"sync"
)

// Mesh is a welded triangle mesh: vertices in millimetres and facets as triples
// of vertex indices, counter-clockwise seen from outside. It is immutable;
// everything derived from it (topology, search tree) is built once when first
// asked for and may be asked for from many goroutines.
type Mesh struct {
	Verts  []Vec
	Facets [][3]int32
	Source Source

	collapsed int // facets left out on reading because two of their corners are one

	topo    func() *Topology
	bvh     func() *BVH
	normals func() []Vec
	box     func() Box
}

// Source says where a mesh came from.
type Source struct {
	File    string   // as given to Load; empty for a mesh made in memory
	SHA256  string   // of the file's bytes, hex
	Format  string   // "STL binary", "STL ASCII", "3MF", "OBJ", "PLY"
	Unit    string   // unit of the file's numbers: "mm", "in", ...
	UnitMM  float64  // that unit in millimetres
	Facets  int      // facets in the file, before anything was dropped
	Notes   []string // what was mended or left out on reading, a sentence each
	WeldTol float64  // mm: vertices nearer than this were made one; 0 = bit-identical only
}

// New makes a mesh from vertices and facets, which it keeps and which the
// caller must not change again. Indices must be in range.
func New(verts []Vec, facets [][3]int32) *Mesh {
	m := &Mesh{Verts: verts, Facets: facets}
	m.topo = sync.OnceValue(func() *Topology { return newTopology(m) })
	m.bvh = sync.OnceValue(func() *BVH { return newBVH(m) })
	m.normals = sync.OnceValue(m.newNormals)
	m.box = sync.OnceValue(m.newBox)
	return m
}

// Corners returns the three corners of a facet.
func (m *Mesh) Corners(f int32) (a, b, c Vec) {
	t := m.Facets[f]
	return m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]]
}

// Normal returns the outward unit normal of a facet; zero for a facet without area.
func (m *Mesh) Normal(f int32) Vec { return m.normals()[f] }

// Area returns the area of a facet in mm2.
func (m *Mesh) Area(f int32) float64 {
	a, b, c := m.Corners(f)
	return 0.5 * b.Sub(a).Cross(c.Sub(a)).Norm()
}

// Centre returns the centroid of a facet.
func (m *Mesh) Centre(f int32) Vec {
	a, b, c := m.Corners(f)
	return a.Add(b).Add(c).Scale(1.0 / 3)
}

// Box returns the box of the vertices that facets use, in mesh coordinates.
func (m *Mesh) Box() Box { return m.box() }

func (m *Mesh) newBox() Box {
	b := EmptyBox()
	for _, t := range m.Facets {
		for _, v := range t {
			b = b.Grow(m.Verts[v])
		}
	}
	return b
}

func (m *Mesh) newNormals() []Vec {
	ns := make([]Vec, len(m.Facets))
	_ = parallel(context.Background(), len(ns), 1<<14, func(from, to int) error {
		for f := from; f < to; f++ {
			a, b, c := m.Corners(int32(f))
			ns[f] = b.Sub(a).Cross(c.Sub(a)).Unit()
		}
		return nil
	})
	return ns
}

// Topology returns the mesh's adjacency, built on first use.
func (m *Mesh) Topology() *Topology { return m.topo() }

// BVH returns the mesh's search tree, built on first use.
func (m *Mesh) BVH() *BVH { return m.bvh() }
