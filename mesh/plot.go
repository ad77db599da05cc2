package mesh

import "math"

// This file cuts flat convex pieces of surface in two, again and again.

// plot is a flat convex piece of surface: a tile of the skin, or a cell of one.
type plot struct {
	p    [plotMost]Vec
	on   [plotMost]int8 // where the edge from each corner lies: on a side of the tile or, from onCut, on a cut
	k    int
	cuts int8 // that made it of its tile; the first is onCut
}

const (
	tileMost = 6 // corners of a tile
	plotMost = tileMost + 1
	onCut    = tileMost
)

func (c *plot) add(p Vec, on int8) {
	c.p[c.k], c.on[c.k] = p, on
	c.k++
}

// length is how long the plot is.
func (c *plot) length() float64 {
	most := 0.0
	for i := range c.k {
		for j := i + 1; j < c.k; j++ {
			d := c.p[i].Sub(c.p[j])
			most = max(most, d.Dot(d))
		}
	}
	return math.Sqrt(most)
}

// longest is the longest edge.
func (c *plot) longest() (e int) {
	edge := 0.0
	for i := range c.k {
		if l := c.p[i].Sub(c.p[(i+1)%c.k]).Norm(); l > edge {
			e, edge = i, l
		}
	}
	return e
}

// cutToCorner is how near to a corner, as a share of the edge that it starts from,
// a cut ends there.
const cutToCorner = 0.1

// halves cuts a plot in the middle of its longest edge, straight across or to a
// corner. First comes the part with the edge's start: there the cut runs from
// corner 1 to 2, in the other from the last corner to the first. Both begin on
// the edge.
func (c *plot) halves() (l, r plot) {
	e := c.longest()
	at := func(i int) int { return (e + i) % c.k }
	a, b := c.p[e], c.p[at(1)]
	mid, u := a.Add(b).Scale(0.5), b.Sub(a)
	beyond := func(i int) float64 { return c.p[at(i)].Sub(mid).Dot(u) }
	end, off := 2, math.Inf(1) // the corner that is nearest to the cut
	for i := 2; i < c.k; i++ {
		if d := math.Abs(beyond(i)); d < off {
			end, off = i, d
		}
	}
	x := c.p[at(end)]
	first := end // of the first part's corners, after x or there
	if c.k > 3 && c.k < plotMost && off > cutToCorner*u.Dot(u) {
		for first = 2; beyond(first) > 0; {
			first++
		}
		p, q := c.p[at(first-1)], c.p[at(first)]
		d, f := beyond(first-1), beyond(first)
		x = p.Add(q.Sub(p).Scale(d / (d - f)))
		end = first - 1
	}
	cut := onCut + c.cuts
	l.cuts, r.cuts = c.cuts+1, c.cuts+1
	l.add(a, c.on[e])
	l.add(mid, cut)
	r.add(mid, c.on[e])
	for i := 1; i < first; i++ {
		r.add(c.p[at(i)], c.on[at(i)])
	}
	r.add(x, cut)
	l.add(x, c.on[at(end)])
	if end == first {
		first++
	}
	for i := first; i < c.k; i++ {
		l.add(c.p[at(i)], c.on[at(i)])
	}
	return l, r
}

// side is the edge that lies on a side of the tile, or on a cut; -1 if none does.
func (c *plot) side(on int8) int {
	for i := range c.k {
		if c.on[i] == on {
			return i
		}
	}
	return -1
}

// middle is the mean of the corners.
func (c *plot) middle() Vec {
	sum := c.p[0]
	for _, p := range c.p[1:c.k] {
		sum = sum.Add(p)
	}
	return sum.Scale(1 / float64(c.k))
}

func (c *plot) area() (sum float64) {
	for i := 2; i < c.k; i++ {
		sum += c.p[i-1].Sub(c.p[0]).Cross(c.p[i].Sub(c.p[0])).Norm() / 2
	}
	return sum
}

// patch is a plot in a frame of its own, n being its normal.
func (c *plot) patch(n Vec) patch {
	ax := c.p[1].Sub(c.p[0])
	for i := 2; i < c.k; i++ {
		if l := c.p[i].Sub(c.p[i-1]); l.Dot(l) > ax.Dot(ax) {
			ax = l
		}
	}
	ax = ax.Sub(n.Scale(ax.Dot(n))).Unit()
	s := patch{o: c.p[0], n: n, ax: ax, ay: n.Cross(ax)}
	return s.part(c)
}

// line runs along an edge, from its start.
type line struct{ from, along Vec }

func (c *plot) line(k int) line {
	a, b := c.p[k], c.p[(k+1)%c.k]
	return line{a, b.Sub(a).Unit()}
}

func (l *line) place(p Vec) float64 { return p.Sub(l.from).Dot(l.along) }

func (l *line) world(x float64) Vec { return l.from.Add(l.along.Scale(x)) }
