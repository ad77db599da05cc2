package mesh

import (
	"context"
	"math"
	"slices"
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
	xs, err := g.cross(ctx)
	if err != nil {
		return nil, err
	}
	g.cut = make([]uint8, cells)
	g.clear = make([]float32, cells)
	// Distances to the crossings of each axis are taken along that axis first,
	// then along the other two. What lies in one layer is done layer by layer,
	// where it fits into the processor's cache; crossings along the first two
	// axes, which have one axis left, go along it together.
	if err := g.acrossLayers(ctx, xs); err != nil {
		return nil, err
	}
	if err := g.throughLayers(ctx); err != nil {
		return nil, err
	}
	return g, g.finishLayers(ctx, xs[2])
}

// gridLeast is the clearance of an empty cell that lies on the surface.
const gridLeast = 1e-3

// gridPassed stands for the squared distance of a cell that is passed over.
const gridPassed = -1

// A cell has three votes on whether it is material, of the lines along the three
// axes. They are counted beside the cuts until all are in.
const (
	gridVoteIn  = 1 << 3
	gridVoteOut = 1 << 5
	gridCuts    = gridVoteIn - 1
	gridAllIn   = 3 * gridVoteIn
)

// gridScratch is what one goroutine needs to work on a layer.
type gridScratch struct {
	envelope
	layer       []float32
	up, through gridSweep // along the second axis and the third
}

func (g *grid) scratch() *gridScratch {
	n := g.size[0] * g.size[1]
	return &gridScratch{newEnvelope(max(g.size[0], g.size[1], g.size[2])), make([]float32, n), newGridSweep(g.size[0]), newGridSweep(n)}
}

// slab is how many layers are taken one after another: few enough for all cores
// to have some, and enough for what is prepared once a slab to cost little.
func (g *grid) slab() int { return min(max(g.size[2]/16, 1), 8) }

// byLayer works on the layers, slab by slab, the layers of a slab in order. First
// is the number of a layer's first cell.
func (g *grid) byLayer(ctx context.Context, through *gridCrossings, work func(w *gridScratch, z, first int)) error {
	free := spares[*gridScratch]{make: g.scratch}
	return parallel(ctx, g.size[2], g.slab(), func(from, to int) error {
		w := free.get()
		defer free.put(w)
		w.through.start(through, 0, 1)
		for z := from; z < to; z++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			work(w, z, z*g.stride[2])
		}
		return nil
	})
}

// acrossLayers marks the cuts, counts the votes, and sets clear to the squared
// distance, within each layer, to the crossings along the first two axes. Where
// every shell is closed, cells are passed over that all votes have in material: a
// line from an empty cell to one of these crosses the surface on its way, and that
// crossing is nearer than any that could be found from there.
func (g *grid) acrossLayers(ctx context.Context, xs [3]*gridCrossings) error {
	nx, ny := g.size[0], g.size[1]
	return g.byLayer(ctx, xs[2], func(w *gridScratch, z, first int) {
		a, cut := g.clear[first:first+nx*ny], g.cut[first:first+nx*ny]
		w.through.mark(float32(z), 1<<2, cut)
		w.up.start(xs[1], z, g.size[2])
		for y := range ny {
			from, to := y*nx, y*nx+nx
			list, tells := xs[0].line(z*ny + y)
			alongRow(list, tells, cut[from:to], a[from:to])
			w.up.mark(float32(y), 1<<1, cut[from:to])
			w.up.squares(float32(y), w.layer[from:to])
		}
		if g.n.sound {
			for i, c := range cut {
				if c&^gridCuts == gridAllIn {
					a[i], w.layer[i] = gridPassed, gridPassed
				}
			}
		}
		w.spreadColumns(a, nx, ny, nx)
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

// finishLayers joins the distances to the crossings through the layers, decides
// by the votes and takes the roots.
func (g *grid) finishLayers(ctx context.Context, through *gridCrossings) error {
	nx, ny := g.size[0], g.size[1]
	return g.byLayer(ctx, through, func(w *gridScratch, z, first int) {
		a, cut := g.clear[first:first+nx*ny], g.cut[first:first+nx*ny]
		w.through.squares(float32(z), w.layer)
		for i, d := range a {
			if d == gridPassed {
				w.layer[i] = d
			}
		}
		w.spreadRows(w.layer, nx)
		w.spreadColumns(w.layer, nx, ny, nx)
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
	return g.centre(g.coords(i))
}

func (g *grid) centre(x, y, z int) Vec {
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

// cross finds where the lines through cell centres along the axes cross facets.
// Facets that share an edge decide about a line on that edge by the same
// numbers, so that a closed surface is entered as often as it is left.
func (g *grid) cross(ctx context.Context) (xs [3]*gridCrossings, err error) {
	const step = 1024
	facets := len(g.n.m.Facets)
	found := make([][3][]lineCrossing, (facets+step-1)/step)
	err = parallel(ctx, facets, step, func(from, to int) error {
		for f := from; f < to; f++ {
			g.crossFacet(int32(f), &found[from/step])
		}
		return ctx.Err()
	})
	for k := 0; k < len(xs) && err == nil; k++ {
		xs[k], err = g.sortCrossings(ctx, k, found)
	}
	return xs, err
}

// lineCrossing is a crossing with the number of its line.
type lineCrossing struct {
	line int32
	gridCrossing
}

// sortCrossings sorts what was found along axis k by line.
func (g *grid) sortCrossings(ctx context.Context, k int, found [][3][]lineCrossing) (*gridCrossings, error) {
	lines := g.size[(k+1)%3] * g.size[(k+2)%3]
	xs := &gridCrossings{first: make([]int32, lines+1), ends: make([]int32, lines)}
	for _, part := range found {
		for _, c := range part[k] {
			xs.first[c.line+1]++
			xs.ends[c.line] += c.weight
		}
	}
	for i := range xs.first[1:] {
		xs.first[i+1] += xs.first[i]
	}
	xs.list = make([]gridCrossing, xs.first[lines])
	fill := slices.Clone(xs.first)
	for i := range found {
		for _, c := range found[i][k] {
			xs.list[fill[c.line]] = c.gridCrossing
			fill[c.line]++
		}
		found[i][k] = nil
	}
	return xs, each(ctx, lines, 4096, func(line int) {
		slices.SortFunc(xs.list[xs.first[line]:xs.first[line+1]], func(a, b gridCrossing) int {
			if a.at != b.at {
				if a.at < b.at {
					return -1
				}
				return 1
			}
			return int(a.weight - b.weight)
		})
	})
}

// line returns the crossings of a line, and whether it tells what is material:
// not if it slipped through an opening, so that its weights do not cancel.
func (xs *gridCrossings) line(i int) ([]gridCrossing, bool) {
	return xs.list[xs.first[i]:xs.first[i+1]], xs.ends[i] == 0
}

// crossFacet adds the crossings of a facet to those of the three axes. Line
// numbers count axis k+1 first.
func (g *grid) crossFacet(f int32, found *[3][]lineCrossing) {
	t := &g.n.m.Facets[f]
	var p [3]Vec
	by := 1 / g.h
	for i, w := range t {
		v := &g.n.m.Verts[w]
		p[i][0], p[i][1], p[i][2] = by*(v[0]-g.min[0]), by*(v[1]-g.min[1]), by*(v[2]-g.min[2])
	}
	var low, high Vec
	var from, to [3]int // the planes of cells that it crosses
	for k := range 3 {
		low[k], high[k] = min(p[0][k], p[1][k], p[2][k]), max(p[0][k], p[1][k], p[2][k])
		from[k], to[k] = max(0, int(math.Ceil(low[k]))), min(g.size[k]-1, int(math.Floor(high[k])))
	}
	var normal Vec
	normal[0], normal[1], normal[2] = crossOf(&p[0], &p[1], &p[2])
	weight := int32(g.n.weight(f))
	for k := range 3 {
		u, v := (k+1)%3, (k+2)%3
		if from[u] > to[u] {
			continue
		}
		for row := from[v]; row <= to[v]; row++ {
			up, down, ok := rowSpan(t, &p, u, v, float64(row))
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
				found[k] = append(found[k], lineCrossing{int32(row*g.size[u] + c), gridCrossing{float32(max(low[k], min(high[k], at))), w}})
			}
		}
	}
}

// rowSpan returns where a facet's upward and its downward edge pass the row.
// Edges are worked out from their lower vertex number to their higher, so that
// both facets of an edge get the same bits.
func rowSpan(t *[3]int32, p *[3]Vec, u, v int, row float64) (up, down float64, ok bool) {
	for i := range 3 {
		j := (i + 1) % 3
		rises := p[i][v] <= row && row < p[j][v]
		falls := p[j][v] <= row && row < p[i][v]
		if !rises && !falls {
			continue
		}
		a, b := &p[i], &p[j]
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

// alongRow marks the links that crossings along the first axis cut, votes for the
// cells that they leave in material, and writes the squared distance along the row
// to the nearest of them to d.
func alongRow(list []gridCrossing, tells bool, cut []uint8, d []float32) {
	for _, x := range list {
		// A cell on the surface counts as past it, so the cut is before it.
		if i := int(math.Ceil(float64(x.at))) - 1; i >= 0 && i < len(cut) {
			cut[i] |= 1
		}
	}
	i, inside, last := 0, int32(0), float32(math.Inf(-1))
	for k := range len(list) + 1 {
		end, next := len(d), float32(math.Inf(1))
		if k < len(list) {
			next = list[k].at
			end = min(end, int(math.Ceil(float64(next))))
		}
		for says := vote(tells, inside); i < end; i++ {
			d[i] = nearer(float32(i)-last, next-float32(i))
			cut[i] += says
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

// gridSweep goes along lines side by side, cell by cell.
type gridSweep struct {
	xs          *gridCrossings
	first, step int       // the lines' numbers
	last, next  []float32 // by line: the crossings before and after
	at          []int32   // the number of the crossing after
	inside      []int32   // the sum of the weights passed
	says        []uint8   // what it votes by that
}

func newGridSweep(n int) gridSweep {
	return gridSweep{last: make([]float32, n), next: make([]float32, n), at: make([]int32, n), inside: make([]int32, n), says: make([]uint8, n)}
}

// start begins at the lower ends of lines, of which first has the lowest number and
// each of the others one that is larger by step.
func (s *gridSweep) start(xs *gridCrossings, first, step int) {
	s.xs, s.first, s.step = xs, first, step
	for i := range s.at {
		s.last[i], s.at[i], s.inside[i] = float32(math.Inf(-1)), xs.first[first+i*step], 0
		s.between(i)
	}
}

// between tells of a line what holds up to its next crossing.
func (s *gridSweep) between(i int) {
	line := s.first + i*s.step
	s.next[i] = float32(math.Inf(1))
	if s.at[i] < s.xs.first[line+1] {
		s.next[i] = s.xs.list[s.at[i]].at
	}
	s.says[i] = vote(s.xs.ends[line] == 0, s.inside[i])
}

// pass goes on along a line past the crossings up to a cell.
func (s *gridSweep) pass(i int, at float32) {
	for s.next[i] <= at {
		s.last[i] = s.next[i]
		s.inside[i] += s.xs.list[s.at[i]].weight
		s.at[i]++
		s.between(i)
	}
}

// squares writes the squared distance along each line to its nearest crossing. Cells
// are asked for in order, of squares as of mark.
func (s *gridSweep) squares(at float32, d []float32) {
	last, next := s.last[:len(d)], s.next[:len(d)]
	for i := range d {
		if next[i] <= at {
			s.pass(i, at)
		}
		d[i] = nearer(at-last[i], next[i]-at)
	}
}

// mark votes for the cells and marks the links that are cut.
func (s *gridSweep) mark(at float32, bit uint8, cut []uint8) {
	next, says := s.next[:len(cut)], s.says[:len(cut)]
	for i := range cut {
		if next[i] <= at {
			s.pass(i, at)
		}
		cut[i] += says[i]
		if next[i] <= at+1 {
			cut[i] |= bit
		}
	}
}

// envelope is the lower envelope of parabolas along one line.
type envelope struct {
	low   []parabola
	lines []float32 // lines taken across memory
	// near is room for eight lines side by side, or one, with nothing for nearReach
	// cells on either side.
	near []float32
}

type parabola struct {
	at, height float64
	from       float64 // where it starts to be the lowest
}

// lineBlock lines at a time are taken across memory, so that it is read in
// order.
const lineBlock = 8

const (
	// nearReach is how far, in cells, it pays to look at all cells around one for the
	// least of value plus squared distance.
	nearReach = 60
	// nearFrom is where lines begin in envelope.near.
	nearFrom = lineBlock * (nearReach + 2)
)

func newEnvelope(n int) envelope {
	e := envelope{make([]parabola, n), make([]float32, lineBlock*n), make([]float32, 2*nearFrom+lineBlock*n)}
	for i := range nearFrom {
		e.near[i] = float32(math.Inf(1))
	}
	return e
}

// spreadRows spreads along rows of n values.
func (e *envelope) spreadRows(d []float32, n int) {
	for ; len(d) > 0; d = d[n:] {
		if !e.nearRow(d[:n]) {
			e.spread(d[:n])
		}
	}
}

// spreadColumns spreads along columns of n values, of which those next to one
// another stand side by side, and those of one column stride apart.
func (e *envelope) spreadColumns(d []float32, columns, n, stride int) {
	in := e.lines[:lineBlock*n]
	for c := 0; c < columns; c += lineBlock {
		lines := min(lineBlock, columns-c)
		if e.nearColumns(d, c, lines, n, stride) {
			continue
		}
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
// "Distance Transforms of Sampled Functions". Cells that are passed over stay so,
// and nothing is taken across them. Where envelopes cross is worked out in double
// precision, so that what is least is least to the last bit.
func (e *envelope) spread(f []float32) {
	inf := float32(math.Inf(1))
	low, n, from := e.low, 0, 0
	var topAt, topHeight, topFrom float64 // of the last of low
	for q, v := range f {
		if v == inf {
			continue
		}
		if v == gridPassed {
			lowest(f[:q], from, low[:n])
			n, from = 0, q+1
			continue
		}
		x, h, start := float64(q), float64(v), math.Inf(-1)
		for n > 0 {
			if d := x - topAt; d == 1 {
				start = ((h - topHeight) + (x + topAt)) / 2
			} else {
				start = ((h - topHeight) + d*(x+topAt)) / (2 * d)
			}
			if start > topFrom {
				break
			}
			start = math.Inf(-1)
			if n--; n > 0 {
				p := &low[n-1]
				topAt, topHeight, topFrom = p.at, p.height, p.from
			}
		}
		p := &low[n]
		p.at, p.height, p.from = x, h, start
		topAt, topHeight, topFrom = x, h, start
		n++
	}
	lowest(f, from, low[:n])
}

// lowest writes what an envelope, if there is any, has at the cells from one on.
func lowest(f []float32, q int, low []parabola) {
	for i := range low {
		end := len(f)
		if i+1 < len(low) {
			end = min(end, int(math.Ceil(low[i+1].from)))
		}
		at, height := float32(low[i].at), float32(low[i].height)
		for ; q < end; q++ {
			r := float32(q) - at
			f[q] = r*r + height
		}
	}
}
