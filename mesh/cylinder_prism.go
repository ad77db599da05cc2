package mesh

// This file finds coarse circles by their flat sides: a chain of sides that
// parallel edges part is a prism, whatever stands at its ends.

import (
	"cmp"
	"context"
	"math"
	"slices"
)

const (
	// cylParallel is the angle up to which two edges are parallel: the taper
	// that a cylinder may have.
	cylParallel = 0.5 * degree
	// Of this many of its longest edges each is tried as the direction of a
	// side.
	cylSideTries = 4
	// The edges that bound a side lie at its rims, to this share of its width.
	cylSideRim = 0.02
)

// cylEdge is an edge of a flat piece at which the surface bends.
type cylEdge struct {
	half int32
	vec  Vec     // along it
	long float64 // mm
}

// cylSides lists flat sides, without pointers: freeform surface may have one for
// every five facets.
type cylSides struct {
	order []int32 // the facets of flat pieces, piece by piece
	list  []cylSide
	edges []int32 // half-edges, of the sides' own facets, that make up their lines
}

// cylSide is a flat side between two lines that are parallel.
type cylSide struct {
	along      int32 // a half-edge along the lines
	first, end int32 // of its facets in the order
	edge, past int32 // of its edges
}

func (s *cylSides) facetsOf(i int32) []int32 { return s.order[s.list[i].first:s.list[i].end] }

// dir is the direction of a side's lines.
func (x *cylFinder) dir(s cylSide) Vec { return x.edge(s.along).Unit() }

func (s *cylSides) edgesOf(i int) []int32 { return s.edges[s.list[i].edge:s.list[i].past] }

// cylChain is a closed chain of flat sides.
type cylChain struct {
	dir    Vec
	facets []int32
}

// findPrisms takes the closed chains of flat sides. The mouths of a bore say
// nothing about where its sides are parallel, so that it does not matter how
// short the bore is between them; what remains to be judged is whether the
// prism is round, and whether it is a band of a curved surface.
//
// Surface of which no two facets make a flat side (most of what was meshed
// anew) has no chains. Freeform surface cut along parallels and meridians has
// many sides that are flat but for rounding, which takes about 100 bytes a facet.
func (x *cylFinder) findPrisms(ctx context.Context, scratch []int32) error {
	n := len(x.m.Facets)
	sides, err := x.sides(ctx, scratch[3*n:4*n], scratch[:3*n])
	if err != nil {
		return err
	}
	chains, err := x.chains(ctx, sides, scratch[:3*n])
	if err != nil {
		return err
	}
	found := make([]*cylPiece, len(chains))
	err = parallel(ctx, len(chains), 4, func(from, to int) error {
		w := x.worker()
		defer x.release(w)
		for i := from; i < to; i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			fit, members, ok := w.start(chains[i].facets, chains[i].dir, x.radii())
			if !ok {
				continue
			}
			if p, ok := w.settle(fit, members, 3*len(members)); ok && p.Share >= cylShareMin {
				found[i] = p
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, p := range found {
		if p != nil && !slices.ContainsFunc(p.Facets, func(f int32) bool { return x.taken[f] }) {
			x.take(p)
		}
	}
	return nil
}

// sides lists the flat sides of what is not yet taken that two parallel lines
// bound at which the surface bends. A side that four such lines bound comes
// twice.
func (x *cylFinder) sides(ctx context.Context, order, scratch []int32) (*cylSides, error) {
	n := len(x.m.Facets)
	parent := scratch[:n]
	for f := range parent {
		parent[f] = int32(f)
	}
	if _, err := x.join(ctx, parent, -1, cylFlat); err != nil {
		return nil, err
	}
	starts := x.flats(parent, order, scratch[n:2*n], scratch[2*n:])
	const step = 1 << 10
	flats := len(starts) - 1
	parts := make([]cylSides, (flats+step-1)/step)
	err := parallel(ctx, flats, step, func(from, to int) error {
		var edges []cylEdge
		for i := from; i < to; i++ {
			if i&63 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			edges = edges[:0]
			for _, f := range order[starts[i]:starts[i+1]] {
				for h := 3 * f; h < 3*f+3; h++ {
					if t := float64(x.turn[h]); t > cylFlat && t <= cylTurnMax && !x.taken[x.topo.Twin[h]/3] {
						v := x.edge(h)
						edges = append(edges, cylEdge{h, v, v.Norm()})
					}
				}
			}
			part := &parts[from/step]
			part.order = order
			x.sidesOf(part, starts[i], starts[i+1], edges)
		}
		return nil
	})
	var list, sideEdges int
	for _, p := range parts {
		list += len(p.list)
		sideEdges += len(p.edges)
	}
	all := &cylSides{order, make([]cylSide, 0, list), make([]int32, 0, sideEdges)}
	for i, p := range parts {
		parts[i] = cylSides{}
		for _, s := range p.list {
			s.edge += int32(len(all.edges))
			s.past += int32(len(all.edges))
			all.list = append(all.list, s)
		}
		all.edges = append(all.edges, p.edges...)
	}
	return all, err
}

// flats puts the facets of each flat piece of two or more into order, for a
// single triangle has no parallel edges. It returns where each piece begins and
// where the last one ends; count and at are scratch.
func (x *cylFinder) flats(parent, order, count, at []int32) (starts []int32) {
	clear(count)
	for f := range parent {
		count[root(parent, int32(f))]++
	}
	pieces := 0
	for _, c := range count {
		if c > 1 {
			pieces++
		}
	}
	starts = make([]int32, 1, pieces+1)
	for f, c := range count {
		if c > 1 {
			at[f] = starts[len(starts)-1]
			starts = append(starts, at[f]+c)
		}
	}
	for f := range parent {
		if r := root(parent, int32(f)); count[r] > 1 {
			order[at[r]] = int32(f)
			at[r]++
		}
	}
	return starts
}

// sidesOf adds the sides that a flat piece with its bending edges makes: facets
// first to end of the order.
func (x *cylFinder) sidesOf(out *cylSides, first, end int32, edges []cylEdge) {
	if len(edges) < 2 {
		return
	}
	slices.SortFunc(edges, func(a, b cylEdge) int {
		if a.long != b.long {
			return cmp.Compare(b.long, a.long)
		}
		return cmp.Compare(a.half, b.half)
	})
	var done [cylSideTries]Vec
	tries := 0
	for _, e := range edges {
		dir := e.vec.Unit()
		if slices.ContainsFunc(done[:tries], func(d Vec) bool { return d.Cross(dir).Norm() < cylParallel }) {
			continue
		}
		if along, ok := x.side(out.edges, out.order[first:end], edges, dir); ok {
			out.list = append(out.list, cylSide{e.half, first, end, int32(len(out.edges)), int32(len(along))})
			out.edges = along
		}
		done[tries] = dir
		if tries++; tries == cylSideTries {
			break
		}
	}
}

// side appends the edges along dir to out, and reports whether they make up both rims
// of the flat piece, from end to end, and nothing between. (Opposite edges of a
// ball's flat cap are parallel too, but it is wider than they are long.)
func (x *cylFinder) side(out, facets []int32, edges []cylEdge, dir Vec) ([]int32, bool) {
	across := x.normal(facets[0]).Cross(dir)
	whole := emptyExtent()
	width := emptyExtent()
	for _, f := range facets {
		for _, v := range x.m.Facets[f] {
			whole.add(dir.Dot(x.m.Verts[v]))
			width.add(across.Dot(x.m.Verts[v]))
		}
	}
	var low, high bool
	lines := emptyExtent()
	rim := cylSideRim * width.size()
	for _, e := range edges {
		if e.vec.Cross(dir).Norm() > cylParallel*e.long {
			continue
		}
		from := x.m.Verts[x.m.Facets[e.half/3][e.half%3]]
		switch at := across.Dot(from); {
		case at < width.lo+rim:
			low = true
		case at > width.hi-rim:
			high = true
		default:
			return nil, false
		}
		lines.add(dir.Dot(from))
		lines.add(dir.Dot(from.Add(e.vec)))
		out = append(out, e.half)
	}
	return out, low && high && lines.size() > (1-cylSideRim)*whole.size()
}

// extent is a part of a line.
type extent struct{ lo, hi float64 }

func emptyExtent() extent { return extent{math.Inf(1), math.Inf(-1)} }

func (s *extent) add(v float64) { s.lo, s.hi = min(s.lo, v), max(s.hi, v) }

func (s extent) size() float64 { return s.hi - s.lo }

// edge returns the vector along a half-edge.
func (x *cylFinder) edge(h int32) Vec {
	t := x.m.Facets[h/3]
	return x.m.Verts[t[(h%3+1)%3]].Sub(x.m.Verts[t[h%3]])
}

// chains joins sides that have an edge in common and one direction, and returns
// those that go round: from one side's normal to the next, nowhere is more left
// out than a hole may lack of its circle and a side may turn.
func (x *cylFinder) chains(ctx context.Context, sides *cylSides, scratch []int32) ([]cylChain, error) {
	parent, err := x.joinSides(ctx, sides, scratch)
	if err != nil {
		return nil, err
	}
	count := make([]int32, len(sides.list)+1) // of a root: its members; where they end; then where they begin
	for i := range sides.list {
		count[root(parent, int32(i))]++
	}
	for i := range sides.list {
		count[i+1] += count[i]
	}
	order := make([]int32, len(sides.list))
	for i := len(sides.list) - 1; i >= 0; i-- {
		r := root(parent, int32(i))
		count[r]--
		order[count[r]] = int32(i)
	}
	var out []cylChain
	var angles []float64
	for r := range sides.list { // a root is the first of its members
		members := order[count[r]:count[r+1]]
		if r&0xfff == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if len(members) < cylSidesMin {
			continue
		}
		fit := cylFit{}
		dir := x.dir(sides.list[r])
		fit.setAxis(dir)
		angles = angles[:0]
		facets := 0
		for _, i := range members {
			n := x.normal(sides.facetsOf(i)[0])
			angles = append(angles, math.Atan2(n.Dot(fit.v), n.Dot(fit.u)))
			facets += len(sides.facetsOf(i))
		}
		if widestGap(angles) > 2*math.Pi*(1-cylShareMin)+cylTurnMax {
			continue
		}
		chain := cylChain{dir: dir, facets: make([]int32, 0, facets)}
		for _, i := range members {
			chain.facets = append(chain.facets, sides.facetsOf(i)...)
		}
		out = append(out, chain)
	}
	return out, nil
}

// joinSides returns the union-find of sides that have an edge in common. Of two
// sides with the same half-edge the later one has it. of is scratch, a number a half-edge.
func (x *cylFinder) joinSides(ctx context.Context, sides *cylSides, of []int32) ([]int32, error) {
	clear(of) // of each half-edge the last side that has it, plus one
	parent := make([]int32, len(sides.list))
	for i := range sides.list {
		parent[i] = int32(i)
		for _, h := range sides.edgesOf(i) {
			of[h] = int32(i) + 1
		}
	}
	for i := range sides.list {
		if i&0xfff == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for _, h := range sides.edgesOf(i) {
			if t := x.topo.Twin[h]; t >= 0 && of[t] > 0 {
				a, b := root(parent, int32(i)), root(parent, of[t]-1)
				parent[max(a, b)] = min(a, b)
			}
		}
	}
	return parent, nil
}

// widestGap returns the widest part of the circle between two neighbouring
// angles, which it sorts.
func widestGap(angles []float64) float64 {
	slices.Sort(angles)
	gap := angles[0] + 2*math.Pi - angles[len(angles)-1]
	for i, a := range angles[1:] {
		gap = max(gap, a-angles[i])
	}
	return gap
}
