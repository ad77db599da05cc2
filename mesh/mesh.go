package mesh

import (
	"context"
	"sync/atomic"
)

// Mesh is a welded triangle mesh: vertices in millimetres and facets as triples
// of vertex indices, counter-clockwise seen from outside. It is immutable;
// everything derived from it (topology, search tree) is built once when first
// asked for and may be asked for from many goroutines.
type Mesh struct {
	Verts  []Vec
	Facets [][3]int32
	Source Source

	repeats   int // facets left out on reading because an earlier one is the same
	collapsed int // facets left out on reading because two of their corners are one
	mended    mended

	topo    derived[*Topology]
	bvh     derived[*BVH]
	box     derived[Box]
	nested  derived[*nest]
	skinned derived[*skin]
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
	RoundMM float64  // what a coordinate may be off by, as the file's numbers are rounded
}

// New makes a mesh from vertices and facets, which it keeps and which the
// caller must not change again. Indices must be in range.
func New(verts []Vec, facets [][3]int32) *Mesh {
	m := &Mesh{Verts: verts, Facets: facets}
	m.topo.make = func(ctx context.Context) (*Topology, error) { return newTopology(ctx, m) }
	m.bvh.make = func(ctx context.Context) (*BVH, error) { return newBVH(ctx, m) }
	m.box.make = m.newBox
	m.nested.make = func(ctx context.Context) (*nest, error) { return newNest(ctx, m) }
	m.skinned.make = func(ctx context.Context) (*skin, error) { return newSkin(ctx, m, coordErr(m)) }
	m.skinned.turn = make(chan struct{}, 1)
	m.topo.turn, m.bvh.turn = make(chan struct{}, 1), make(chan struct{}, 1)
	m.box.turn, m.nested.turn = make(chan struct{}, 1), make(chan struct{}, 1)
	return m
}

// Prepare builds the topology and the search tree of the mesh, which then are
// there at once. Every measurement begins with it, so that what takes long can
// be stopped; what was not built to its end is built anew when next asked for.
func (m *Mesh) Prepare(ctx context.Context) error {
	if _, err := m.topo.get(ctx); err != nil {
		return err
	}
	_, err := m.bvh.get(ctx)
	return err
}

// derived is a value that is made once, when first asked for.
type derived[T any] struct {
	make func(ctx context.Context) (T, error) // fails only when ctx is over
	turn chan struct{}                        // a place for the one who makes it
	done atomic.Pointer[T]
}

// get returns the value. Who asks while it is made waits, and makes it if the
// one who did was stopped.
func (d *derived[T]) get(ctx context.Context) (T, error) {
	var none T
	select {
	case d.turn <- struct{}{}:
	case <-ctx.Done():
		return none, ctx.Err()
	}
	defer func() { <-d.turn }()
	if v := d.done.Load(); v != nil {
		return *v, nil
	}
	v, err := d.make(ctx)
	if err != nil {
		return none, err
	}
	d.done.Store(&v)
	return v, nil
}

// now is get for those that can't be stopped.
func (d *derived[T]) now() T {
	if v := d.done.Load(); v != nil {
		return *v
	}
	v, _ := d.get(context.Background())
	return v
}

// Corners returns the three corners of a facet.
func (m *Mesh) Corners(f int32) (a, b, c Vec) {
	t := m.Facets[f]
	return m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]]
}

// Normal returns the outward unit normal of a facet; zero for a facet without
// area. It is worked out each time: that costs little beside the corners, which
// nearly all who ask look at too, and kept normals would be a sixth of what a
// mesh with its search tree takes.
func (m *Mesh) Normal(f int32) Vec {
	x, y, z := m.normal(f)
	return Vec{x, y, z}
}

// normal is Normal in numbers.
func (m *Mesh) normal(f int32) (x, y, z float64) {
	x, y, z = m.cross(f)
	l := norm(x, y, z)
	if l == 0 {
		return 0, 0, 0
	}
	s := 1 / l
	return s * x, s * y, s * z
}

// cross is the vector product of two sides of a facet: its normal, twice its
// area long.
func (m *Mesh) cross(f int32) (x, y, z float64) {
	t := &m.Facets[f]
	a, b, c := &m.Verts[t[0]], &m.Verts[t[1]], &m.Verts[t[2]]
	return cross3(b[0]-a[0], b[1]-a[1], b[2]-a[2], c[0]-a[0], c[1]-a[1], c[2]-a[2])
}

// Area returns the area of a facet in mm2.
func (m *Mesh) Area(f int32) float64 {
	return 0.5 * norm(m.cross(f))
}

// Centre returns the centroid of a facet.
func (m *Mesh) Centre(f int32) Vec {
	t := &m.Facets[f]
	a, b, c := &m.Verts[t[0]], &m.Verts[t[1]], &m.Verts[t[2]]
	return Vec{1.0 / 3 * (a[0] + b[0] + c[0]), 1.0 / 3 * (a[1] + b[1] + c[1]), 1.0 / 3 * (a[2] + b[2] + c[2])}
}

// Box returns the box of the vertices that facets use, in mesh coordinates.
func (m *Mesh) Box() Box { return m.box.now() }

func (m *Mesh) newBox(ctx context.Context) (Box, error) {
	const step = 1 << 16
	parts := make([]Box, (len(m.Facets)+step-1)/step)
	err := parallel(ctx, len(m.Facets), step, func(from, to int) error {
		b := EmptyBox()
		for _, t := range m.Facets[from:to] {
			for _, v := range t {
				b.add(&m.Verts[v])
			}
		}
		parts[from/step] = b
		return nil
	})
	all := EmptyBox()
	for _, b := range parts {
		all = all.Join(b)
	}
	return all, err
}

// Topology returns the mesh's adjacency, built on first use.
func (m *Mesh) Topology() *Topology { return m.topo.now() }

// BVH returns the mesh's search tree, built on first use.
func (m *Mesh) BVH() *BVH { return m.bvh.now() }
