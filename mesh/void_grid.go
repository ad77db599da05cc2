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
	var xs [3]*gridCrossings
	for k := range xs {
		var err error
		if xs[k], err = g.cross(ctx, k); err != nil {
			return nil, err
		}
	}
	// Distances to the crossings of each axis are taken along that axis first,
	// then along the other two. What lies in one layer is done layer by layer,
	// where it fits into the processor's cache; crossings along the first two
	// axes, which have one axis left, go along it together.
	if err := g.acrossLayers(ctx, xs[0], xs[1]); err != nil {
		return nil, err
	}
	if err := g.throughLayers(ctx); err != nil {
		return nil, err
	}
	return g, g.finishLayers(ctx, xs[2])
}

// gridLeast is the clearance of an empty cell that lies on the surface.
const gridLeast = 1e-3

// A cell has three votes on whether it is material, of the lines along the three
// axes. They are counted beside the cuts until all are in.
const (
	gridVoteIn  = 1 << 3
	gridVoteOut = 1 << 5
	gridCuts    = gridVoteIn - 1
)

// gridScratch is what one goroutine needs to work on a layer.
type gridScratch struct {
	envelope
	layer  []float32
	next   []int32 // by line through the layers: the crossings passed so far
	inside []int32 // and their weights' sum
}

func (g *grid) scratch() *gridScratch {
	n := g.size[0] * g.size[1]
	return &gridScratch{newEnvelope(max(g.size[0], g.size[1], g.size[2])), make([]float32, n), make([]int32, n), make([]int32, n)}
}

// slab is how many layers are taken one after another: few enough for all cores
// to have some, and enough for what is prepared once a slab to cost little.
func (g *grid) slab() int { return min(max(g.size[2]/16, 1), 8) }

// byLayer works on the layers, slab by slab, the layers of a slab in order; a
// slab begins with no crossing passed. First is the number of a layer's first cell.
func (g *grid) byLayer(ctx context.Context, work func(w *gridScratch, z, first int)) error {
	free := spares[*gridScratch]{make: g.scratch}
	return parallel(ctx, g.size[2], g.slab(), func(from, to int) error {
		w := free.get()
		defer free.put(w)
		clear(w.next)
		clear(w.inside)
		for z := from; z < to; z++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			work(w, z, z*g.stride[2])
		}
		return nil
	})
}

// acrossLayers sets clear to the squared distance, within each layer, to the
// crossings along the first two axes.
func (g *grid) acrossLayers(ctx context.Context, x, y *gridCrossings) error {
	nx, ny := g.size[0], g.size[1]
	return g.byLayer(ctx, func(w *gridScratch, z, first int) {
		a := g.clear[first : first+nx*ny]
		for row := range ny {
			list, tells := x.line(z*ny + row)
			g.alongLine(list, tells, 0, first+row*nx, a[row*nx:])
		}
		w.spreadColumns(a, nx, ny, nx)
		for c := range nx {
			list, tells := y.line(c*g.size[2] + z)
			g.alongLine(list, tells, 1, first+c, w.layer[c:])
		}
		w.spreadRows(w.layer, nx)
		for i, d := range w.layer {
			a[i] = min(a[i], d)
		}
	})
}

// throughLayers takes the distances on from layer to layer.
func (g *grid) throughLayers(ctx context.Context) error {
	return parallel(ctx, g.size[1], 8, func(from, to int) error {
		e := newEnvelope(g.size[2])
		for row := from; row < to && ctx.Err() == nil; row++ {
			e.spreadColumns(g.clear[row*g.stride[1]:], g.size[0], g.size[2], g.stride[2])
		}
		return ctx.Err()
	})
}

// finishLayers joins the distances to the crossings through the layers, counts
// the votes and takes the roots.
func (g *grid) finishLayers(ctx context.Context, through *gridCrossings) error {
	nx, ny := g.size[0], g.size[1]
	return g.byLayer(ctx, func(w *gridScratch, z, first int) {
		cut := g.cut[first : first+nx*ny]
		w.through(through, z, cut)
		w.spreadRows(w.layer, nx)
		w.spreadColumns(w.layer, nx, ny, nx)
		a := g.clear[first : first+nx*ny]
		for i, d := range w.layer {
			if c := cut[i]; c/gridVoteIn&3 > c/gridVoteOut {
				a[i] = 0
			} else {
				a[i] = max(float32(math.Sqrt(float64(min(a[i], d)))), gridLeast)
			}
			cut[i] &= gridCuts
		}
	})
}

// at returns the centre of a cell.
func (g *grid) at(i int32) Vec {
	x, y, z := g.coords(i)
	return g.min.Add(Vec{float64(x), float64(y), float64(z)}.Scale(g.h))
}

// cellAt returns the cell around a point, if there is one.
func (g *grid) cellAt(p Vec) (int32, bool) {
	i := 0
	for k := range 3 {
		c := int(math.Round((p[k] - g.min[k]) / g.h))
		if c < 0 || c >= g.size[k] {
			return 0, false
		}
		i += c * g.stride[k]
	}
	return int32(i), true
}

func (g *grid) coords(i int32) (x, y, z int) {
	z, r := int(i)/g.stride[2], int(i)%g.stride[2]
	return r % g.stride[1], r / g.stride[1], z
}

// gridCrossings holds, line by line along one axis k, where the surface crosses.
// Lines are numbered by their places along the two other axes, k+1 first.
type gridCrossings struct {
	first []int32 // of each line; one more for the end
	list  []gridCrossing
	ends  []int32 // of each line: the sum of the weights
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
	lines := g.size[u] * g.size[v]
	xs := &gridCrossings{first: make([]int32, lines+1), ends: make([]int32, lines)}
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
	if err := scan(func(line int, c gridCrossing) { xs.list[atomic.AddInt32(&fill[line], 1)-1] = c }); err != nil {
		return nil, err
	}
	return xs, each(ctx, len(xs.ends), 4096, func(line int) {
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
		for _, c := range list {
			xs.ends[line] += c.weight
		}
	})
}

// line returns the crossings of a line, and whether it tells what is material:
// not if it slipped through an opening, so that its weights do not cancel.
func (xs *gridCrossings) line(i int) ([]gridCrossing, bool) {
	return xs.list[xs.first[i]:xs.first[i+1]], xs.ends[i] == 0
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

// alongLine marks the links that crossings along axis k cut, votes for the cells
// that they leave in material, and writes the squared distance along the line to
// the nearest of them to d. The line's first cell is base, and d begins there.
func (g *grid) alongLine(list []gridCrossing, tells bool, k, base int, d []float32) {
	s, n := g.stride[k], g.size[k]
	for _, x := range list {
		// A cell on the surface counts as past it, so the cut is before it.
		if i := int(math.Ceil(float64(x.at))) - 1; i >= 0 && i < n {
			g.cut[base+i*s] |= 1 << k
		}
	}
	i, inside, last := 0, int32(0), float32(math.Inf(-1))
	for k := range len(list) + 1 {
		end, next := n, float32(math.Inf(1))
		if k < len(list) {
			next = list[k].at
			end = min(n, int(math.Ceil(float64(next))))
		}
		for says := vote(tells, inside); i < end; i++ {
			d[i*s] = nearer(float32(i)-last, next-float32(i))
			g.cut[base+i*s] += says
		}
		if k < len(list) {
			last, inside = next, inside+list[k].weight
		}
	}
}

// nearer returns the square of the lesser of two distances.
func nearer(a, b float32) float32 {
	if b < a {
		a = b
	}
	return a * a
}

// vote is what a line says about a cell, by the weights of what it has passed.
func vote(tells bool, inside int32) uint8 {
	switch {
	case !tells:
		return 0
	case inside > 0:
		return gridVoteIn
	}
	return gridVoteOut
}

// through does for one layer what alongLine does for one line, with the lines
// through the layers. Layers are taken in order, from any one on.
func (w *gridScratch) through(xs *gridCrossings, z int, cut []uint8) {
	at := float32(z)
	for i := range w.layer {
		list, tells := xs.line(i)
		k := int(w.next[i])
		for k < len(list) && list[k].at <= at {
			w.inside[i] += list[k].weight
			k++
		}
		w.next[i] = int32(k)
		last, next := float32(math.Inf(-1)), float32(math.Inf(1))
		if k > 0 {
			last = list[k-1].at
		}
		if k < len(list) {
			next = list[k].at
		}
		w.layer[i] = nearer(at-last, next-at)
		cut[i] += vote(tells, w.inside[i])
		if next <= at+1 {
			cut[i] |= 1 << 2
		}
	}
}

// envelope is the lower envelope of parabolas along one line.
type envelope struct {
	vertex []int32
	height []float32
	from   []float32 // where each parabola starts to be the lowest
	block  []float32 // lines taken across memory
}

// lineBlock lines at a time are taken across memory, so that it is read in
// order.
const lineBlock = 16

func newEnvelope(n int) envelope {
	return envelope{make([]int32, n), make([]float32, n), make([]float32, n), make([]float32, lineBlock*n)}
}

// spreadRows spreads along rows of n values.
func (e *envelope) spreadRows(d []float32, n int) {
	for ; len(d) > 0; d = d[n:] {
		e.spread(d[:n])
	}
}

// spreadColumns spreads along columns of n values, of which those next to one
// another stand side by side, and those of one column stride apart.
func (e *envelope) spreadColumns(d []float32, columns, n, stride int) {
	in := e.block[:lineBlock*n]
	for c := 0; c < columns; c += lineBlock {
		lines := min(lineBlock, columns-c)
		for i := range n {
			for l, v := range d[c+i*stride:][:lines] {
				in[l*n+i] = v
			}
		}
		for l := range lines {
			e.spread(in[l*n : (l+1)*n])
		}
		for i := range n {
			row := d[c+i*stride:][:lines]
			for l := range row {
				row[l] = in[l*n+i]
			}
		}
	}
}

// spread replaces each value of a line by the least of value plus squared
// distance, the lower envelope of Felzenszwalb and Huttenlocher (2012),
// "Distance Transforms of Sampled Functions".
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
