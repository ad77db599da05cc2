package mesh

import "context"

// ReadSTLFile reads a file and nothing more: the corners of its facets, not
// welded. It returns how many facets there are and how to weld them, as often
// as asked.
func ReadSTLFile(ctx context.Context, file string) (facets int, weld func() (*Mesh, error), err error) {
	in := &input{file: file, max: LoadOptions{}.WithDefaults()}
	if err := in.read(ctx); err != nil {
		return 0, nil, err
	}
	r, err := readSTL(ctx, in)
	if err != nil {
		return 0, nil, err
	}
	bodies := r.bodies
	return r.facets, func() (*Mesh, error) {
		r.bodies = append([]body(nil), bodies...)
		return build(ctx, r, 1)
	}, nil
}

// NewTopology finds the topology of a mesh anew.
func NewTopology(ctx context.Context, m *Mesh) (*Topology, error) { return newTopology(ctx, m) }

// PassWidth is the width of a way as measured on the mesh, given the clearances
// that a grid of pitch h would give its points.
func PassWidth(ctx context.Context, m *Mesh, at []Vec, clear []float64, h float64) (float64, error) {
	way := make([]wayPoint, len(at))
	for i := range way {
		way[i] = wayPoint{at[i], clear[i]}
	}
	s, err := narrowestPass(ctx, m, way, h)
	return s.width(), err
}

// AwayFrom is the shortest vector in the hull of the directions to p.
func AwayFrom(p, normal Vec, touch []Vec) Vec { return awayFrom(p, normal, touch) }

// Regrown is a mesh with the same facets whose search tree was made of them in
// another order.
func Regrown(m *Mesh, order []int) *Mesh {
	shuffled := New(m.Verts, make([][3]int32, len(m.Facets)))
	for i, f := range order {
		shuffled.Facets[i] = m.Facets[f]
	}
	tree := shuffled.BVH()
	for i := range tree.blocks {
		for k, f := range tree.blocks[i].facet {
			if f >= 0 {
				tree.blocks[i].facet[k] = int32(order[f])
			}
		}
	}
	out := New(m.Verts, m.Facets)
	tree.m = out
	out.bvh.done.Store(&tree)
	return out
}

// GrownCylinders finds cylinders by growing them from seeds alone.
func GrownCylinders(ctx context.Context, m *Mesh) (*Cylinders, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	x, err := newCylFinder(ctx, m)
	if err != nil {
		return nil, err
	}
	return x.growRest(ctx)
}

// Cells is how many cells and facets a field was measured on.
func Cells(t *ThicknessField) int { return len(t.nodes) }

// NotFoundAgain counts the leaves of a field that read differently when they are
// measured again from scratch: as they do before they are settled, and settled.
func NotFoundAgain(t *ThicknessField) (n int) {
	gauges := t.settlers(context.Background())
	g, again := gauges.make(), gauges.make()
	for i, nd := range t.nodes {
		if nd.kids != leafRaw {
			continue
		}
		late := g.settleLate(int32(i))
		_, s := g.leaf(int32(i))
		v := g.look(&s, 0, nodeAlone, nodeAlone)
		r, with, _ := g.leastSeen(&s, &v, nodeAlone)
		if float32(r.d) != nd.lo || with != nd.with {
			n++
		}
		r, with = g.settle(&s, &v, r, with)
		if d, _ := again.thinnest(int32(i)); float32(r.d) != late.lo || with != late.with || d != r.d {
			n++
		}
	}
	return n
}

// Mend is what reading does to a mesh with defects.
func Mend(ctx context.Context, m *Mesh) (*Mesh, error) { return mend(ctx, m) }

// loadUnmended loads a file and mends nothing.
func loadUnmended(ctx context.Context, file string, o LoadOptions) (*Mesh, error) {
	in := &input{file: file, max: o.WithDefaults()}
	if err := in.read(ctx); err != nil {
		return nil, err
	}
	return in.mesh(ctx, o.Unit)
}

// SeedsGrown is from how many places cylinders may grow, if nothing is told from
// creases, and how many of them were let grow.
func SeedsGrown(ctx context.Context, m *Mesh) (seeds, grew int, err error) {
	x, err := newCylFinder(ctx, m)
	if err != nil {
		return 0, 0, err
	}
	all, err := x.seeds(ctx)
	if err != nil {
		return 0, 0, err
	}
	err = x.findGrown(ctx)
	return len(all), x.grew, err
}
