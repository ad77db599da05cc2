package mesh

import (
	"context"
	"math"
	"slices"
	"sync/atomic"
)

// This file defines the grid of empty space: which cells are empty, which
// neighbours no surface parts, and how far the surface is.

// grid holds cells with their centres at min + h*(i, j, k). Its outermost cells
// all lie outside the part's box.
type grid struct {
	n      *nest
	min    Vec
	h      float64 // pitch, mm
	size   [3]int
	stride [3]int
	// cut has bit k set where the surface crosses between a cell's centre and
	// that of its neighbour along axis k, so that walls thinner than a cell
	// still part.
	cut []uint8
	// clear is the distance from an empty cell's centre to the surface, in
	// cells; 0 in material. It is measured to where lines through the cell
	// centres along the three axes cross the surface, so it is never too small
	// and, at a distance d, too large by 0.5/d at most; right across a face
	// that lies along the axes.
	clear []float32
}

// gridMargin cells lie between the part's box and the border of the grid.
const gridMargin = 2

// gridOff keeps the planes of cells off the round numbers that faces are drawn at.
const gridOff = 0.3819660112501051

// gridPitch returns the pitch at which a box takes at most maxCells.
func gridPitch(box Box, maxCells int64) float64 {
	s := box.Size()
	lo, hi := 0.0, max(s[0], s[1], s[2])
	for range 60 {
		h := (lo + hi) / 2
		cells := 1.0
		for k := range 3 {
			cells *= math.Ceil(s[k]/h) + 1 + 2*gridMargin
		}
		if cells > float64(maxCells) {
			lo = h
		} else {
			hi = h
		}
	}
	return hi
}

func newGrid(ctx context.Context, n *nest, box Box, h float64) (*grid, error) {
	g := &grid{n: n, h: h}
	cells := 1
	for k := range 3 {
		g.size[k] = int(math.Ceil(box.Size()[k]/h)) + 1 + 2*gridMargin
		g.min[k] = box.Min[k] - h*(gridMargin+1-gridOff)
		g.stride[k] = cells
		cells *= g.size[k]
	}
	g.cut = make([]uint8, cells)
	g.clear = make([]float32, cells)
	other := make([]float32, cells)
	votes := make([]int8, cells)
	// Distances to the crossings of each axis are taken along that axis first,
	// then along the other two; where two families have one axis left, they go
	// along it together.
	for _, step := range []struct {
		cross  int // axis of the lines whose crossings are used
		passes []int
		all    []int // passes along these after joining what was found before
	}{{0, []int{1}, nil}, {1, []int{0}, []int{2}}, {2, []int{0, 1}, nil}} {
		xs, err := g.cross(ctx, step.cross)
		if err != nil {
			return nil, err
		}
		d := g.clear
		if step.cross > 0 {
			d = other
		}
		if err := g.alongLines(ctx, xs, d, votes); err != nil {
			return nil, err
		}
		for _, k := range step.passes {
			if err := g.spread(ctx, d, k); err != nil {
				return nil, err
			}
		}
		if step.cross > 0 {
			if err := each(ctx, g.size[2], 4, func(z int) {
				a, b := g.layer(g.clear, z), g.layer(other, z)
				for i := range a {
					a[i] = min(a[i], b[i])
				}
			}); err != nil {
				return nil, err
			}
		}
		for _, k := range step.all {
			if err := g.spread(ctx, g.clear, k); err != nil {
				return nil, err
			}
		}
	}
	err := each(ctx, g.size[2], 4, func(z int) {
		a := g.layer(g.clear, z)
		v := votes[z*g.stride[2]:][:len(a)]
		for i := range a {
			if v[i] > 0 {
				a[i] = 0
			} else {
				a[i] = max(float32(math.Sqrt(float64(a[i]))), gridLeast)
			}
		}
	})
	return g, err
}

// gridLeast is the clearance of an empty cell that lies on the surface.
const gridLeast = 1e-3

func (g *grid) layer(a []float32, z int) []float32 {
	return a[z*g.stride[2] : (z+1)*g.stride[2]]
}

// at returns the centre of a cell.
func (g *grid) at(i int32) Vec {
	x, y, z := g.coords(i)
	return g.min.Add(Vec{float64(x), float64(y), float64(z)}.Scale(g.h))
}

func (g *grid) coords(i int32) (x, y, z int) {
	z, r := int(i)/g.stride[2], int(i)%g.stride[2]
	return r % g.stride[1], r / g.stride[1], z
}

// gridCrossings holds, line by line along one axis, where the surface crosses.
type gridCrossings struct {
	axis  int
	first []int32 // of each line; one more for the end
	list  []gridCrossing
}

type gridCrossing struct {
	at     float32 // along the line, in cells
	weight int32   // what passing it upwards adds to the material around
}

// cross finds where the lines through cell centres along axis k cross facets.
// Facets that share an edge decide about a line on that edge by the same
// numbers, so that a closed surface is entered as often as it is left.
func (g *grid) cross(ctx context.Context, k int) (*gridCrossings, error) {
	u, v := (k+1)%3, (k+2)%3
	m := g.n.m
	xs := &gridCrossings{axis: k, first: make([]int32, g.size[u]*g.size[v]+1)}
	scan := func(visit func(line int, c gridCrossing)) error {
		return each(ctx, len(m.Facets), 1024, func(f int) { g.crossFacet(int32(f), k, visit) })
	}
	if err := scan(func(line int, _ gridCrossing) { atomic.AddInt32(&xs.first[line+1], 1) }); err != nil {
		return nil, err
	}
	for i := range xs.first[1:] {
		xs.first[i+1] += xs.first[i]
	}
	xs.list = make([]gridCrossing, xs.first[len(xs.first)-1])
	fill := slices.Clone(xs.first)
	err := scan(func(line int, c gridCrossing) { xs.list[atomic.AddInt32(&fill[line], 1)-1] = c })
	return xs, err
}

// crossFacet visits the lines along axis k that cross a facet. Line numbers
// count axis k+1 first.
func (g *grid) crossFacet(f int32, k int, visit func(line int, c gridCrossing)) {
	u, v := (k+1)%3, (k+2)%3
	t := g.n.m.Facets[f]
	var p [3]Vec
	for i, w := range t {
		p[i] = g.n.m.Verts[w].Sub(g.min).Scale(1 / g.h)
	}
	lo, hi := min(p[0][v], p[1][v], p[2][v]), max(p[0][v], p[1][v], p[2][v])
	from, to := max(0, int(math.Ceil(lo))), min(g.size[v]-1, int(math.Floor(hi)))
	if from > to {
		return
	}
	e1, e2 := p[1].Sub(p[0]), p[2].Sub(p[0])
	normal := e1.Cross(e2)
	low, high := min(p[0][k], p[1][k], p[2][k]), max(p[0][k], p[1][k], p[2][k])
	weight := int32(g.n.weight(f))
	for row := from; row <= to; row++ {
		up, down, ok := rowSpan(t, p, u, v, float64(row))
		if !ok {
			continue
		}
		w := weight // facing up along the axis: passing it upwards leaves
		if down < up {
			w = -weight
		} else {
			up, down = down, up
		}
		for c := max(0, int(math.Ceil(down))); c < min(g.size[u], int(math.Ceil(up))); c++ {
			at := p[0][k]
			if normal[k] != 0 {
				at -= (normal[u]*(float64(c)-p[0][u]) + normal[v]*(float64(row)-p[0][v])) / normal[k]
			}
			visit(row*g.size[u]+c, gridCrossing{float32(max(low, min(high, at))), w})
		}
	}
}

// rowSpan returns where a facet's upward and its downward edge pass the row.
// Edges are worked out from their lower vertex number to their higher, so that
// both facets of an edge get the same bits.
func rowSpan(t [3]int32, p [3]Vec, u, v int, row float64) (up, down float64, ok bool) {
	for i := range 3 {
		j := (i + 1) % 3
		rises := p[i][v] <= row && row < p[j][v]
		falls := p[j][v] <= row && row < p[i][v]
		if !rises && !falls {
			continue
		}
		a, b := p[i], p[j]
		if t[i] > t[j] {
			a, b = b, a
		}
		x := a[u] + (row-a[v])/(b[v]-a[v])*(b[u]-a[u])
		if rises {
			up = x
		} else {
			down = x
		}
		ok = true
	}
	return up, down, ok
}

// alongLines sorts each line's crossings, marks the links they cut, votes for
// the cells that they leave in material, and writes the squared distance along
// the line to the nearest crossing.
func (g *grid) alongLines(ctx context.Context, xs *gridCrossings, d []float32, votes []int8) error {
	k := xs.axis
	u, v := (k+1)%3, (k+2)%3
	return each(ctx, g.size[v], 1, func(row int) {
		for c := range g.size[u] {
			line := row*g.size[u] + c
			list := xs.list[xs.first[line]:xs.first[line+1]]
			slices.SortFunc(list, func(a, b gridCrossing) int {
				if a.at != b.at {
					if a.at < b.at {
						return -1
					}
					return 1
				}
				return int(a.weight - b.weight)
			})
			g.alongLine(k, row*g.stride[v]+c*g.stride[u], list, d, votes)
		}
	})
}

func (g *grid) alongLine(k, base int, list []gridCrossing, d []float32, votes []int8) {
	s := g.stride[k]
	end := int32(0)
	for _, x := range list {
		end += x.weight
		// A cell on the surface counts as past it, so the cut is before it.
		if i := int(math.Ceil(float64(x.at))) - 1; i >= 0 && i < g.size[k] {
			g.cut[base+i*s] |= 1 << k
		}
	}
	if len(list) == 0 {
		for i := range g.size[k] {
			d[base+i*s] = float32(math.Inf(1))
			votes[base+i*s]--
		}
		return
	}
	next, inside := 0, int32(0)
	last := float32(math.Inf(-1))
	for i := range g.size[k] {
		x := float32(i)
		for next < len(list) && list[next].at <= x {
			inside += list[next].weight
			last = list[next].at
			next++
		}
		near := x - last
		if next < len(list) {
			near = min(near, list[next].at-x)
		}
		d[base+i*s] = near * near
		if end != 0 { // the line slipped through an opening: it can't tell
			continue
		}
		if inside > 0 {
			votes[base+i*s]++
		} else {
			votes[base+i*s]--
		}
	}
}

// spread replaces each value along lines of axis k by the least of value plus
// squared distance, the lower envelope of Felzenszwalb and Huttenlocher (2012),
// "Distance Transforms of Sampled Functions". It takes several lines at a time
// so that memory is read in order.
func (g *grid) spread(ctx context.Context, d []float32, k int) error {
	const together = 16
	n, s := g.size[k], g.stride[k]
	fast, slow := 0, 2 // the axes of the lines' starts, the fast one first
	switch k {
	case 0:
		fast = 1
	case 2:
		slow = 1
	}
	return each(ctx, g.size[slow], 1, func(row int) {
		e := newEnvelope(n)
		in := make([]float32, together*n)
		for c := 0; c < g.size[fast]; c += together {
			lines := min(together, g.size[fast]-c)
			base := row*g.stride[slow] + c*g.stride[fast]
			for i := range n {
				for l := range lines {
					in[l*n+i] = d[base+l*g.stride[fast]+i*s]
				}
			}
			for l := range lines {
				e.spread(in[l*n : (l+1)*n])
			}
			for i := range n {
				for l := range lines {
					d[base+l*g.stride[fast]+i*s] = in[l*n+i]
				}
			}
		}
	})
}

// envelope is the lower envelope of parabolas along one line.
type envelope struct {
	vertex []int32
	height []float32
	from   []float32 // where each parabola starts to be the lowest
}

func newEnvelope(n int) *envelope {
	return &envelope{make([]int32, n), make([]float32, n), make([]float32, n)}
}

func (e *envelope) spread(f []float32) {
	k := -1
	inf := float32(math.Inf(1))
	for q, h := range f {
		if h == inf {
			continue
		}
		start := -inf
		for k >= 0 {
			r := float32(e.vertex[k])
			x := float32(q)
			start = ((h - e.height[k]) + (x-r)*(x+r)) / (2 * (x - r))
			if start > e.from[k] {
				break
			}
			k--
			start = -inf
		}
		k++
		e.vertex[k], e.height[k], e.from[k] = int32(q), h, start
	}
	if k < 0 {
		return
	}
	j := 0
	for q := range f {
		x := float32(q)
		for j < k && e.from[j+1] <= x {
			j++
		}
		r := x - float32(e.vertex[j])
		f[q] = r*r + e.height[j]
	}
}
