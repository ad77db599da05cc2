package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file finds long narrow ways through or into the part, of whatever section,
// on the grid of empty space. What is found is measured in passage_way.go.
//
// Of a width D, what a ball of D finds no room in is narrow; the depth of a narrow
// place is the shortest way from there, inside empty space, to where the ball finds
// room, or out of the part's box. What lies deeper than a few D is a passage: corners
// and crevices are all around no deeper than D. Widths are tried in steps, from the
// narrowest that the grid can tell upwards, and a passage is told at the first that
// is wider than it.

// Passage is a channel, slit or hole much longer than it is wide.
type Passage struct {
	Through   bool    // open at both ends
	WidthMM   float64 // diameter of the largest ball that passes all of it
	NarrowAt  Vec     // where it is no wider than that
	LengthMM  float64 // along its middle, mouth to mouth or from the mouth to the end
	At        Vec     // the deepest place: the end, or as far from one mouth as from the other
	Way       []Vec   // points of its middle, in order, a mouth first
	VolumeMM3 float64
	Box       Box
	ErrMM     float64 // what LengthMM may be off by

	WidthErrMM float64 // what WidthMM may be off by
}

// Ratio is the length over the width.
func (p *Passage) Ratio() float64 { return p.LengthMM / max(p.WidthMM, 1e-9) }

// like reports whether a passage, deep enough, measures what another of the same piece
// does that leads elsewhere: one way up a long slot is as good as another.
func (p *Passage) like(o *Passage) bool {
	return p.Through == o.Through && !o.Passes(p.At) && p.deep() >= PassageLeast &&
		math.Abs(p.WidthMM-o.WidthMM) <= p.WidthErrMM+o.WidthErrMM && math.Abs(p.LengthMM-o.LengthMM) <= o.ErrMM
}

// deep is the ratio as a way to the nearest mouth: half of it where both ends are open.
func (p *Passage) deep() float64 {
	if p.Through {
		return p.Ratio() / 2
	}
	return p.Ratio()
}

const (
	// PassageLeast is the depth in widths from which a way into the part is a
	// Passage; one that is open at both ends is as deep as half its length.
	PassageLeast = 4
	// passageFirst is the radius in cells at which the search begins: a channel
	// just wide enough to be seen for certain (voidSeen) is narrower.
	passageFirst = 1.25
	// passageStep is the ratio of one width tried to the next.
	passageStep = 1.5
	// passageCoarse is the radius in cells from which on every other cell will do.
	passageCoarse = 8
	// passageOff is how much too small, in cells, a grid may have the clearance in
	// the middle of a passage.
	passageOff = 0.6
	// passageMouth is how far in, in widths tried, a passage begins to be one: deeper
	// than the corners of three walls (3 radii, counted in steps along the axes).
	passageMouth = 1.5
	// passageEven is the least mean depth of a passage's cells, beyond its mouth, over
	// the greatest. Where walls go alongside all the way it is 1/2; between two walls
	// that are open all round 1/3, as in a wedge; in a network open to all sides,
	// such as a lattice, 1/4. Of a cone half as wide at its end as at its mouth it
	// is 0.39.
	passageEven = 0.385
	// passageMore is how much deeper a passage has to be, at a greater width, than what
	// was measured of it already to be worth measuring again, as where it bulges.
	passageMore = 1.03
	// passageCrumb is how much deeper for its width a passage is than crumbs of it,
	// found at a lesser width.
	passageCrumb = 1.3
)

// passages looks for passages on a grid.
type passages struct {
	g     *grid
	r     float32  // radius in cells of the width tried
	depth []uint16 // by cell: steps along the axes to where there is room, plus one; 1 on the border, 0 unmet
	order []int32  // the narrow cells met, in order of depth
	taken []uint64 // bits by cell: in a candidate of the width tried
	found []*passageFound
}

// passageFound is a passage as measured, with how deep it is in mm along the axes.
type passageFound struct {
	Passage
	depth float64
}

// findPassages measures all passages that the grid can see, the deepest for its
// width first.
func findPassages(ctx context.Context, g *grid) ([]Passage, error) {
	p := &passages{}
	p.on(g)
	most := passageStep * g.h * float64(max(g.size[0], g.size[1], g.size[2])) / (2 * PassageLeast)
	var radii []float64 // on one grid, in cells
	for r := passageFirst * g.h; r < most; r *= passageStep {
		if r > passageCoarse*p.g.h {
			if err := p.tryAll(ctx, radii); err != nil {
				return nil, err
			}
			p.on(p.g.coarse())
			radii = nil
		}
		radii = append(radii, r/p.g.h)
	}
	if err := p.tryAll(ctx, radii); err != nil {
		return nil, err
	}
	var out []Passage
	for _, f := range p.found {
		if f.deep() >= PassageLeast {
			out = append(out, f.Passage)
		}
	}
	slices.SortStableFunc(out, func(a, b Passage) int { return cmp.Compare(b.deep(), a.deep()) })
	return out, ctx.Err()
}

// on begins with a grid.
func (p *passages) on(g *grid) { *p = passages{g: g, found: p.found} }

// eachBorder visits the cells of the grid's border.
func (g *grid) eachBorder(visit func(i int32)) {
	for z := range g.size[2] {
		for y := range g.size[1] {
			row := z*g.stride[2] + y*g.stride[1]
			step := g.size[0] - 1
			if z == 0 || z == g.size[2]-1 || y == 0 || y == g.size[1]-1 {
				step = 1
			}
			for i := row; i < row+g.size[0]; i += step {
				visit(int32(i))
			}
		}
	}
}

// coarse returns every other cell of a grid along each axis, and its rim.
func (g *grid) coarse() *grid {
	c := &grid{n: g.n, h: 2 * g.h, min: g.min}
	cells := 1
	for k := range c.size {
		c.size[k] = (g.size[k] + 2) / 2
		c.stride[k] = cells
		cells *= c.size[k]
	}
	c.cut, c.clear = make([]uint8, cells), make([]float32, cells)
	for z := range c.size[2] {
		for y := range c.size[1] {
			for x := range c.size[0] {
				i := z*c.stride[2] + y*c.stride[1] + x
				from := [3]int{2 * x, 2 * y, 2 * z}
				if from[0] >= g.size[0] || from[1] >= g.size[1] || from[2] >= g.size[2] {
					c.clear[i] = float32(gridMargin) // beyond the rim there is nothing
					continue
				}
				j := from[2]*g.stride[2] + from[1]*g.stride[1] + from[0]
				c.clear[i] = g.clear[j] / 2
				for k, s := range g.stride {
					if from[k]+1 < g.size[k] && (g.cut[j]|g.cut[j+s])&(1<<k) != 0 {
						c.cut[i] |= 1 << k
					}
				}
			}
		}
	}
	return c
}

// tryAll tries radii, but for those at which nothing is deep enough: what is narrow
// for a ball is no deeper than for a larger one.
func (p *passages) tryAll(ctx context.Context, radii []float64) error {
	d, err := newDeepness(ctx, p.g)
	if err != nil {
		return err
	}
	deepest := math.MaxInt
	var worth []float64
	for _, r := range slices.Backward(radii) {
		least := passageSteps(r)
		if least >= deepest {
			continue
		}
		deep, err := d.deepest(ctx, float32(r), least)
		if err != nil {
			return err
		}
		if deep <= least {
			deepest = deep
			continue
		}
		worth = append(worth, r)
	}
	for _, r := range slices.Backward(worth) {
		if err := p.try(ctx, r); err != nil {
			return err
		}
	}
	return nil
}

// passageSteps is how deep, in steps along the axes plus one, a passage has to be at a
// radius tried: such steps are no fewer than the way is long, and what is told may
// be narrower by a step of widths.
func passageSteps(r float64) int { return int(2*r*PassageLeast/passageStep) + 1 }

// passagePiece is a piece that may hold a passage, with those that were found in it at
// lesser widths.
type passagePiece struct {
	cells []int32
	depth float64 // mm along the axes
	known []*passageFound
}

// try looks for passages narrower than a ball of r cells.
func (p *passages) try(ctx context.Context, r float64) error {
	if err := p.spread(ctx, float32(r)); err != nil {
		return err
	}
	least := passageSteps(r)
	mouth := int(math.Ceil(2*r*passageMouth)) + 1
	clear(p.taken)
	var pieces []passagePiece
	for i := len(p.order) - 1; i >= 0 && int(p.depth[p.order[i]]) > least; i-- {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		c := p.order[i]
		if bit(p.taken, c) {
			continue
		}
		before := p.known(nil)
		cells := p.piece(c, mouth)
		if !p.wide(cells, r) || !p.even(cells, mouth) || p.g.n.sealed(p.g.at(c)) {
			continue
		}
		known := p.known(before)
		depth := float64(p.depth[c]) * p.g.h
		if slices.ContainsFunc(known, func(k *passageFound) bool { return depth <= passageMore*k.depth }) {
			continue
		}
		pieces = append(pieces, passagePiece{cells, depth, known})
	}
	measured := make([]*Passage, len(pieces)) // nil: none
	marks := spares[*frontMarks]{make: func() *frontMarks {
		return &frontMarks{make([]uint64, len(p.taken)), make([]int32, len(p.taken))}
	}}
	err := parallel(ctx, len(pieces), 1, func(i, _ int) error {
		w := marks.get()
		defer marks.put(w)
		f, ok, err := p.measure(ctx, w, pieces[i].cells, mouth, r)
		if ok {
			measured[i] = &f
		}
		return err
	})
	if err != nil {
		return err
	}
	for i, f := range measured {
		if f != nil {
			p.keep(f, &pieces[i])
		}
	}
	return ctx.Err()
}

// keep keeps a passage as measured, instead of what was known of its piece, unless that
// tells as much.
func (p *passages) keep(f *Passage, of *passagePiece) {
	if slices.ContainsFunc(of.known, func(k *passageFound) bool { return k.like(f) }) {
		return
	}
	less := slices.DeleteFunc(of.known, func(k *passageFound) bool {
		return !f.Passes(k.At) && passageCrumb*k.deep() > f.deep()
	})
	if slices.ContainsFunc(less, func(k *passageFound) bool { return k.deep() >= f.deep() }) {
		return
	}
	p.found = slices.DeleteFunc(p.found, func(k *passageFound) bool { return slices.Contains(less, k) })
	p.found = append(p.found, &passageFound{*f, of.depth})
}

// roomy reports whether a ball has room with its centre in an empty cell, or the cell
// is one of the grid's border.
func (p *passages) roomy(c int32) bool { return p.g.clear[c] >= p.r || p.depth[c] == 1 }

// besideRoom reports whether a step along an axis leads from an empty cell to one that
// is roomy, as most do not.
func (p *passages) besideRoom(c int) bool {
	g := p.g
	for k, s := range g.stride {
		down, up := c-s, c+s
		if p.roomy(int32(down)) && g.clear[down] > 0 && g.cut[down]&(1<<k) == 0 ||
			p.roomy(int32(up)) && g.clear[up] > 0 && g.cut[c]&(1<<k) == 0 {
			return true
		}
	}
	return false
}

// spread finds how deep each cell is where a ball of r cells has no room.
func (p *passages) spread(ctx context.Context, r float32) error {
	g := p.g
	if p.depth == nil {
		p.depth, p.taken = make([]uint16, len(g.clear)), make([]uint64, (len(g.clear)+63)/64)
		g.eachBorder(func(i int32) { p.depth[i] = 1 })
	}
	for _, c := range p.order {
		p.depth[c] = 0
	}
	p.order, p.r = p.order[:0], r
	layers := make([][]int32, g.size[2])
	err := each(ctx, g.size[2]-2, 4, func(layer int) {
		z := layer + 1
		for y := 1; y < g.size[1]-1; y++ {
			row := z*g.stride[2] + y*g.stride[1]
			for i, c := range g.clear[row+1 : row+g.size[0]-1] {
				if c > 0 && c < r && p.besideRoom(row+1+i) {
					layers[z] = append(layers[z], int32(row+1+i))
				}
			}
		}
	})
	if err != nil {
		return err
	}
	for _, l := range layers {
		p.order = append(p.order, l...)
	}
	for _, c := range p.order {
		p.depth[c] = 2
	}
	for i := 0; i < len(p.order); i++ {
		if i&0xffff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		c := p.order[i]
		d := min(p.depth[c], math.MaxUint16-1) + 1
		for k, s := range g.stride { // as besides, but most were met
			down, up := c-int32(s), c+int32(s)
			if p.depth[down] == 0 && g.clear[down] < r && g.clear[down] > 0 && g.cut[down]&(1<<k) == 0 {
				p.depth[down] = d
				p.order = append(p.order, down)
			}
			if p.depth[up] == 0 && g.clear[up] < r && g.clear[up] > 0 && g.cut[c]&(1<<k) == 0 {
				p.depth[up] = d
				p.order = append(p.order, up)
			}
		}
	}
	return nil
}

// besides lists the empty cells that a step along an axis leads to.
func (g *grid) besides(c int32, list *[6]int32) []int32 {
	n := 0
	for k, s := range g.stride {
		if b := c - int32(s); g.clear[b] > 0 && g.cut[b]&(1<<k) == 0 {
			list[n] = b
			n++
		}
		if b := c + int32(s); g.clear[b] > 0 && g.cut[c]&(1<<k) == 0 {
			list[n] = b
			n++
		}
	}
	return list[:n]
}

// piece returns the cells deeper than a mouth that hang together with one.
func (p *passages) piece(c int32, mouth int) []int32 {
	cells := []int32{c}
	setBit(p.taken, c)
	var near [6]int32
	for i := 0; i < len(cells); i++ {
		for _, n := range p.g.besides(cells[i], &near) {
			if int(p.depth[n]) > mouth && !bit(p.taken, n) {
				setBit(p.taken, n)
				cells = append(cells, n)
			}
		}
	}
	return cells
}

// wide reports whether a piece is wide enough somewhere not to have been told at a
// lesser width than r.
func (p *passages) wide(cells []int32, r float64) bool {
	return slices.ContainsFunc(cells, func(c int32) bool { return float64(p.g.clear[c]) >= r/passageStep-passageOff })
}

// even reports whether a piece is about as wide all the way. Its first cell is a deepest.
func (p *passages) even(cells []int32, mouth int) bool {
	sum := 0
	for _, c := range cells {
		sum += int(p.depth[c]) - mouth
	}
	return float64(sum) >= passageEven*float64(len(cells))*float64(int(p.depth[cells[0]])-mouth)
}

// known lists what was found already that lies in a piece that is taken, without some.
func (p *passages) known(without []*passageFound) (out []*passageFound) {
	for _, k := range p.found {
		if c, ok := p.g.cellAt(k.At); ok && bit(p.taken, c) && !slices.Contains(without, k) {
			out = append(out, k)
		}
	}
	return out
}

// Passes reports whether a passage leads through a place, or no farther by than it is
// wide.
func (p *Passage) Passes(at Vec) bool {
	for i := 1; i < len(p.Way); i++ {
		if segmentGap(at, p.Way[i-1], p.Way[i]) <= p.WidthMM {
			return true
		}
	}
	return false
}
