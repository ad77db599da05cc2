package mesh

import (
	"context"
	"math"
	"slices"
)

// This file measures how far a region reaches from where it is carried, in the
// plane of the platform.

const (
	// reachTol is the share of the reach to which it is found; reachSplits
	// bounds the work on one region, what is left open is reported.
	reachTol    = 2e-5
	reachSplits = 100_000
	// nearShare widens the circle around the farthest point in which holds
	// count as the nearest ones, and bridgeSpanRad is the angle that these must
	// span for a bridge. Two opposite walls span 180 degrees, two walls of a
	// corner 90, the one wall of a ledge up to 50: 135 stands between.
	nearShare     = 1.1
	bridgeSpanRad = 3 * math.Pi / 4
)

// point is a place in the platform's plane.
type point [2]float64

func flatten(p Vec) point { return point{p[0], p[1]} }

func (p point) sub(q point) point { return point{p[0] - q[0], p[1] - q[1]} }
func (p point) dot(q point) float64 {
	return float64(p[0]*q[0]) + float64(p[1]*q[1])
}
func (p point) cross(q point) float64 {
	return float64(p[0]*q[1]) - float64(p[1]*q[0])
}
func (p point) norm() float64 { return math.Sqrt(p.dot(p)) }
func (p point) mid(q point) point {
	return point{(p[0] + q[0]) / 2, (p[1] + q[1]) / 2}
}

// hold is where a region is carried from below.
type hold struct {
	pieces  []carrier
	heights [][2]float64   // of the ends of each
	verts   map[int32]bool // vertices of the mesh that pieces end at
}

func newHold() *hold { return &hold{verts: map[int32]bool{}} }

func (h *hold) add(a, b Vec) {
	h.pieces = append(h.pieces, carrier{a: flatten(a), b: flatten(b)})
	h.heights = append(h.heights, [2]float64{a[2], b[2]})
}

// below is how far the place of the hold that is nearest, seen along the build
// direction, lies below p; of several the highest. Places to which the slope from p is
// steeper than slope hold another storey of the region, as of a coil; 0 where all do.
func (h *hold) below(p Vec, slope float64) float64 {
	at := flatten(p)
	near, rise := math.Inf(1), 0.0
	for i := range h.pieces {
		if far := h.pieces[i].from(at); far < near && math.Abs(h.drop(i, p)) <= slope*far {
			near = far
		}
	}
	for i, first := 0, true; i < len(h.pieces); i++ {
		far, drop := h.pieces[i].from(at), h.drop(i, p)
		if far <= near*(1+1e-3) && math.Abs(drop) <= slope*far && (first || drop < rise) {
			rise, first = drop, false
		}
	}
	return rise
}

// drop is how far the place of a piece that is nearest to p lies below it.
func (h *hold) drop(i int, p Vec) float64 {
	c, up := &h.pieces[i], h.heights[i][0]
	if long := c.b.sub(c.a).norm(); long > 0 {
		up += (h.heights[i][1] - up) * c.nearest(flatten(p)).sub(c.a).norm() / long
	}
	return p[2] - up
}

// carrier is a piece of a region's hold: a segment, or a point where a = b.
// base is the length of the way from there on, if it is only a corner that the
// way bends around.
type carrier struct {
	a, b point
	base float64
}

// nearest returns the carrier's point nearest to p.
func (c *carrier) nearest(p point) point {
	x, y := c.foot(p[0], p[1])
	return point{x, y}
}

// foot is nearest in numbers, which the compiler keeps in registers.
func (c *carrier) foot(x, y float64) (float64, float64) {
	dx, dy := c.b[0]-c.a[0], c.b[1]-c.a[1]
	l := float64(dx*dx) + float64(dy*dy)
	if l == 0 {
		return c.a[0], c.a[1]
	}
	t := min(1, max(0, (float64((x-c.a[0])*dx)+float64((y-c.a[1])*dy))/l))
	return c.a[0] + t*dx, c.a[1] + t*dy
}

// from returns the length of the way from p, a convex function of p.
func (c *carrier) from(p point) float64 {
	x, y := c.foot(p[0], p[1])
	x, y = p[0]-x, p[1]-y
	return c.base + math.Sqrt(float64(x*x)+float64(y*y))
}

// isPast reports whether p lies past the end that a carrier is drawn out from.
func (c *carrier) isPast(p point) bool { return p.sub(c.a).dot(c.b.sub(c.a)) > 0 }

// reach is how far a region reaches.
type reach struct {
	dist    float64
	at      Vec     // machine coordinates
	spanRad float64 // of the directions from there to the nearest holds
	err     float64
}

// reach finds the point of a region farthest from its hold, on the shortest way
// inside its ceiling. Where every nearest hold lies in sight, ways are straight
// and the result is exact to reachTol; where a way must bend around a corner it
// is found on the region's mesh, refined to fineShare of it, and what that may
// miss is part of the error.
func (o *overhang) reach(ctx context.Context, c *ceiling, h *hold) (reach, error) {
	p := o.underside(c, h.verts)
	tree := newCarrierTree(h.pieces)
	n, err := tree.nearestOf(ctx, p.verts)
	if err != nil {
		return reach{}, err
	}
	b := newFarthest(tree, p, n)
	enough := func() bool { return o.p.EnoughMM > 0 && b.best > o.p.EnoughMM }
	if !enough() {
		if err := b.run(ctx); err != nil {
			return reach{}, err
		}
	}
	out := reach{dist: b.best, at: b.at, err: max(0, b.bound-b.best)}
	out.spanRad = spanAround(flatten(b.at), b.best*nearShare, h.pieces)
	straight, bent := out, false
	if p.corners && !enough() {
		if out, bent, err = o.reachAround(ctx, p, tree, b, straight, nil); err != nil {
			return reach{}, err
		}
	}
	if out.spanRad <= bridgeSpanRad {
		return out, nil
	}
	// The roof of a bridge may bulge past the ends of what carries it, as over a window
	// in a round wall: what spans there is as far apart as the sides are drawn.
	var past []carrier
	for range pastEndsMost {
		pieces := slices.Concat(h.pieces, past)
		more := pastEnds(flatten(out.at), out.dist, pieces)
		if len(more) == 0 {
			break
		}
		past = append(past, more...)
		if bent {
			around, _, err := o.reachAround(ctx, p, tree, b, straight, past)
			if err != nil {
				return reach{}, err
			}
			out.dist, out.at, out.err = around.dist, around.at, around.err
			continue
		}
		tree := newCarrierTree(append(pieces, more...))
		if n, err = tree.nearestOf(ctx, p.verts); err != nil {
			return reach{}, err
		}
		if b = newFarthest(tree, p, n); !enough() {
			if err := b.run(ctx); err != nil {
				return reach{}, err
			}
		}
		out.dist, out.at, out.err = b.best, b.at, max(0, b.bound-b.best)
	}
	return out, nil
}

// runsStraight reports whether holds run straight to an end q, the way u, for so long.
func runsStraight(q, u point, long float64, hold []carrier) bool {
	at := q
	for range hold {
		next, far := at, 0.0
		for i := range hold {
			for _, e := range [2][2]point{{hold[i].a, hold[i].b}, {hold[i].b, hold[i].a}} {
				d := at.sub(e[1])
				if l := d.norm(); l > far && e[0].sub(at).norm() <= 1e-9*l && d.dot(u) >= (1-1e-6)*l {
					next, far = e[1], l
				}
			}
		}
		if at = next; far == 0 || q.sub(at).dot(u) >= long {
			break
		}
	}
	return q.sub(at).dot(u) >= long
}

// pastEndsMost bounds how often ends of holds are drawn out: what bulges past more
// of them, or farther, is measured from the ends.
const pastEndsMost = 32

// pastEnds draws out the free ends of holds past which p, the farthest place of a
// region, lies, up to where p is across from them: no farther than they run straight.
// There are none where the nearest
// holds lie around p, as where it is between the ends of four walls.
func pastEnds(p point, dist float64, hold []carrier) (past []carrier) {
	var nearest []carrier
	for i := range hold {
		c := &hold[i]
		q := c.nearest(p)
		d := p.sub(q).norm()
		if d > dist*nearShare {
			continue
		}
		if d <= dist*(1+1e-3) {
			nearest = append(nearest, carrier{a: q, b: q})
		}
		u := q.sub(c.a)
		if q == c.a {
			u = q.sub(c.b)
		}
		long := u.norm()
		if q != c.a && q != c.b || long == 0 || p.sub(q).dot(u) <= 1e-9*dist*long {
			continue
		}
		if slices.ContainsFunc(hold, func(e carrier) bool { return e != *c && e.from(q) <= 1e-6*dist }) {
			continue
		}
		u = point{u[0] / long, u[1] / long}
		if along := p.sub(q).dot(u); runsStraight(q, u, along, hold) {
			past = append(past, carrier{a: q, b: point{q[0] + along*u[0], q[1] + along*u[1]}})
		}
	}
	if spanAround(p, math.Inf(1), nearest) >= math.Pi-1e-3 {
		return nil
	}
	return past
}

const (
	// seenShare is the share of the straight reach to which edges are halved to
	// see whether ways bend, fineShare to follow those that do, where the region
	// may reach farthest.
	seenShare = 0.5
	fineShare = 0.05
	// finePieces is the number of triangles at which halving ends.
	finePieces = 1 << 13
)

// reachAround looks whether the straight ways of a region stay inside it, and
// if not, finds the bent ones: on coarse triangles first, then on finer ones
// where the coarse ways leave room for a larger reach than any corner has. It tells
// whether any is bent. past are holds that are drawn out past their ends.
func (o *overhang) reachAround(ctx context.Context, p *underside, tree *carrierTree, b *farthest, straight reach, past []carrier) (_ reach, bent bool, _ error) {
	at := flatten(b.at)
	k, _ := tree.nearest(at)
	g := newGround(p, o.levelTol)
	plain := g.seesFrom(b.atTri, at, tree.hold[k].nearest(at))
	all := func(int) bool { return true }
	for p := g.underside; p != nil; p = g.halved(max(seenShare*b.best, o.platformTol), all) {
		g = newGround(p, o.levelTol)
	}
	w := &ways{}
	if err := g.straightWays(ctx, w, tree); err != nil || plain && w.dark == 0 {
		return straight, false, err
	}
	if err := g.bentWays(ctx, w); err != nil {
		return reach{}, false, err
	}
	// halved finds the ways of what is open in halves, until its edges are short.
	fine := max(fineShare*b.best, o.platformTol)
	halved := func(open func(tri int) bool) (bool, error) {
		p := g.halved(fine, open)
		if p == nil {
			return false, nil
		}
		g = newGround(p, o.levelTol)
		if err := g.straightWays(ctx, w, tree); err != nil {
			return false, err
		}
		return true, g.bentWays(ctx, w)
	}
	for {
		f := newFarthestBent(g, w, past)
		if more, err := halved(f.open()); err != nil {
			return reach{}, false, err
		} else if more {
			continue
		}
		long := min(g.longest(all), max(fine, g.longest(f.open())))
		if err := f.run(ctx); err != nil {
			return reach{}, false, err
		}
		// A way that no corner knows of is at most as much longer as one over the
		// nearest corner, an edge's length aside.
		out := reach{dist: f.best, at: f.at, err: max(0, f.bound-f.best) + long*long/max(f.best, long)}
		at, hold := flatten(f.at), tree.hold
		if _, d := tree.nearest(at); d < f.best-out.err {
			within := f.best * (nearShare - 1)
			if more, err := halved(func(i int) bool { return g.comesWithin(i, at, within) }); err != nil {
				return reach{}, false, err
			} else if more {
				continue
			}
			hold = g.waysNear(w, f.atTri, within)
		}
		out.spanRad = spanAround(at, f.best*nearShare, hold)
		return out, true, nil
	}
}

// farthest looks for the largest distance over a underside. Pieces whose bound lies
// within the tolerance of the best point are dropped.
type farthest struct {
	tree  *carrierTree
	hold  [][]carrier // per triangle, where ways bend: the ways that its corners know
	best  float64
	at    Vec
	atTri int32   // the triangle of the underside that at lies in
	bound float64 // nothing lies farther
	heap  []piece
}

// piece is a part of a triangle of a underside, still to be searched.
type piece struct {
	corner [3]Vec
	tri    int32
	bound  float64
}

// newFarthest starts with the distances of the underside's vertices.
func newFarthest(tree *carrierTree, p *underside, n *nearest) *farthest {
	b := &farthest{tree: tree, best: -1}
	for i, t := range p.tri {
		if !p.asks(i) {
			continue
		}
		for _, v := range t {
			if n.dist[v] > b.best {
				b.best, b.at, b.atTri = n.dist[v], p.verts[v], int32(i)
			}
		}
	}
	for i, t := range p.tri {
		if !p.asks(i) {
			continue
		}
		q := piece{corner: [3]Vec{p.verts[t[0]], p.verts[t[1]], p.verts[t[2]]}, tri: int32(i)}
		// Nothing in a triangle is farther than a corner and the way to it.
		far := n.dist[t[0]] + max(flatten(q.corner[1].Sub(q.corner[0])).norm(), flatten(q.corner[2].Sub(q.corner[0])).norm())
		if q.bound = far; far > b.best+b.tol() {
			q.bound = tree.bound(&q.corner, [4]int32{n.of[t[0]], n.of[t[1]], n.of[t[2]], -1})
		}
		b.push(q)
	}
	return b
}

// newFarthestBent searches among the ways that a triangle's corners know, and
// over the corners themselves. Holds that are drawn out past their ends count wherever
// they are past them.
func newFarthestBent(g *ground, w *ways, past []carrier) *farthest {
	b := &farthest{hold: make([][]carrier, len(g.tri)), best: -1}
	for i, t := range g.tri {
		if !g.asks(i) {
			continue
		}
		for _, v := range t {
			if !math.IsInf(w.dist[v], 1) {
				d, p := w.dist[v], flatten(g.verts[v])
				for j := range past {
					if past[j].isPast(p) {
						d = min(d, past[j].from(p))
					}
				}
				b.improve(d, g.verts[v], int32(i))
			}
		}
	}
	for i, t := range g.tri {
		if !g.asks(i) {
			continue
		}
		q := piece{corner: [3]Vec{g.verts[t[0]], g.verts[t[1]], g.verts[t[2]]}, tri: int32(i)}
		long := max(flatten(q.corner[1].Sub(q.corner[0])).norm(), flatten(q.corner[2].Sub(q.corner[0])).norm())
		if w.dist[t[0]]+long <= b.best+b.tol() {
			b.bound = max(b.bound, w.dist[t[0]]+long)
			continue
		}
		b.hold[i] = g.waysOver(w, t, long)
		for j := range past {
			if slices.ContainsFunc(t[:], func(v int32) bool { return past[j].isPast(flatten(g.verts[v])) }) {
				b.hold[i] = append(b.hold[i], past[j])
			}
		}
		if len(b.hold[i]) > 0 {
			q.bound = boundOf(&q.corner, b.hold[i])
			b.push(q)
		}
	}
	return b
}

// open tells of a triangle whether a point of it may be farther than the best.
func (b *farthest) open() func(tri int) bool {
	open := make([]bool, len(b.hold))
	for _, p := range b.heap {
		open[p.tri] = p.bound > b.best+b.tol()
	}
	return func(tri int) bool { return open[tri] }
}

// waysOver returns the ways that may be the shortest of points of a triangle.
func (g *ground) waysOver(w *ways, t [3]int32, long float64) []carrier {
	var cs []carrier
	for _, v := range t {
		if math.IsInf(w.dist[v], 1) {
			continue
		}
		cs = append(cs, g.step(w, v))
		// A way that starts at a corner is one for the whole triangle unless
		// another corner, out of its sight, finds it much too short.
		ok := !slices.Contains(cs, w.via[v])
		for _, u := range t {
			ok = ok && w.via[v].from(flatten(g.verts[u])) > w.dist[u]-0.05*long
		}
		if ok {
			cs = append(cs, w.via[v])
		}
	}
	return cs
}

// add bounds a piece after a look at its corners and centre.
func (b *farthest) add(p piece) {
	if b.hold != nil {
		cs := b.hold[p.tri]
		for _, q := range [4]Vec{p.corner[0], p.corner[1], p.corner[2], p.centre()} {
			d := math.Inf(1)
			for i := range cs {
				d = min(d, cs[i].from(flatten(q)))
			}
			b.improve(d, q, p.tri)
		}
		p.bound = boundOf(&p.corner, cs)
		b.push(p)
		return
	}
	var near [4]int32
	for i, q := range [4]Vec{p.corner[0], p.corner[1], p.corner[2], p.centre()} {
		k, d := b.tree.nearest(flatten(q))
		near[i] = k
		b.improve(d, q, p.tri)
	}
	p.bound = b.tree.bound(&p.corner, near)
	b.push(p)
}

func (b *farthest) improve(d float64, at Vec, tri int32) {
	if d > b.best {
		b.best, b.at, b.atTri = d, at, tri
	}
}

func (p *piece) centre() Vec {
	return p.corner[0].Add(p.corner[1]).Add(p.corner[2]).Scale(1.0 / 3)
}

func (b *farthest) tol() float64 { return reachTol*b.best + 1e-9 }

func (b *farthest) run(ctx context.Context) error {
	for n := 0; len(b.heap) > 0; n++ {
		p := b.heap[0]
		if p.bound <= b.best+b.tol() || n >= reachSplits {
			b.bound = max(b.bound, p.bound)
			return nil
		}
		if n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		b.pop()
		// The longest edge is halved.
		k, long := 0, -1.0
		for j := range 3 {
			d := flatten(p.corner[(j+1)%3].Sub(p.corner[j]))
			if d.dot(d) > long {
				k, long = j, d.dot(d)
			}
		}
		u, v, w := p.corner[k], p.corner[(k+1)%3], p.corner[(k+2)%3]
		m := u.Add(v).Scale(0.5)
		b.add(piece{corner: [3]Vec{u, m, w}, tri: p.tri})
		b.add(piece{corner: [3]Vec{m, v, w}, tri: p.tri})
	}
	b.bound = max(b.bound, b.best)
	return nil
}

func (b *farthest) push(p piece) {
	if p.bound <= b.best+b.tol() {
		b.bound = max(b.bound, p.bound)
		return
	}
	b.heap = append(b.heap, p)
	for i := len(b.heap) - 1; i > 0; {
		up := (i - 1) / 2
		if b.heap[up].bound >= b.heap[i].bound {
			return
		}
		b.heap[up], b.heap[i] = b.heap[i], b.heap[up]
		i = up
	}
}

func (b *farthest) pop() {
	n := len(b.heap) - 1
	b.heap[0] = b.heap[n]
	b.heap = b.heap[:n]
	for i := 0; ; {
		k := 2*i + 1
		if k >= n {
			return
		}
		if k+1 < n && b.heap[k+1].bound > b.heap[k].bound {
			k++
		}
		if b.heap[i].bound >= b.heap[k].bound {
			return
		}
		b.heap[i], b.heap[k] = b.heap[k], b.heap[i]
		i = k
	}
}

// boundOf returns an upper bound of the distance over a triangle from a few
// carriers. The way to one carrier is convex, so it is largest at a corner; so
// is every mean of two of them, and the shorter way is never above their mean.
// That makes the bound good to second order in the triangle's size even where
// two holds are equally far, along the middle of a bridge.
func boundOf(corner *[3]Vec, cs []carrier) float64 {
	var f [8][3]float64
	cs = cs[:min(len(cs), len(f))]
	best := math.Inf(1)
	for i := range cs {
		for k := range 3 {
			f[i][k] = cs[i].from(flatten(corner[k]))
		}
		best = min(best, max(f[i][0], f[i][1], f[i][2]))
	}
	for i := range cs {
		for j := range i {
			best = min(best, boundOfTwo(&f[i], &f[j]))
		}
	}
	return best
}

// boundOfTwo returns the least over t in [0,1] of the largest over the corners
// of (1-t)*f + t*g: it is taken where two of the three lines cross.
func boundOfTwo(f, g *[3]float64) float64 {
	best := math.Inf(1)
	for k := range 3 {
		l := (k + 1) % 3
		df, dg := f[k]-f[l], g[k]-g[l]
		if (df < 0) == (dg < 0) || df == dg {
			continue
		}
		t := df / (df - dg)
		top := 0.0
		for i := range 3 {
			top = max(top, (1-t)*f[i]+t*g[i])
		}
		best = min(best, top)
	}
	return best
}

// spanAround returns the angle that the parts of the holds within a radius of
// p span: a full turn less the widest gap between their directions.
func spanAround(p point, radius float64, hold []carrier) float64 {
	type arc struct{ from, to float64 }
	var arcs []arc
	for i := range hold {
		rest := radius - hold[i].base
		a, b, ok := clipToCircle(hold[i].a.sub(p), hold[i].b.sub(p), rest)
		if rest < 0 || !ok {
			continue
		}
		from := math.Atan2(a[1], a[0])
		turn := math.Atan2(a.cross(b), a.dot(b))
		if turn < 0 {
			from, turn = from+turn, -turn
		}
		if from < -math.Pi {
			from += 2 * math.Pi
		}
		arcs = append(arcs, arc{from, from + turn})
	}
	if len(arcs) == 0 {
		return 0
	}
	slices.SortFunc(arcs, func(x, y arc) int {
		switch {
		case x.from < y.from:
			return -1
		case x.from > y.from:
			return 1
		}
		return 0
	})
	gap, end := 0.0, arcs[0].to
	for _, a := range arcs[1:] {
		gap = max(gap, a.from-end)
		end = max(end, a.to)
	}
	gap = max(gap, arcs[0].from+2*math.Pi-end)
	return max(0, 2*math.Pi-gap)
}

// clipToCircle cuts a segment to the circle of the radius around the origin.
func clipToCircle(a, b point, radius float64) (point, point, bool) {
	d := b.sub(a)
	l, h, c := d.dot(d), a.dot(d), a.dot(a)-radius*radius
	if l == 0 {
		return a, b, c <= 0
	}
	disc := h*h - l*c
	if disc < 0 {
		return a, b, false
	}
	root := math.Sqrt(disc)
	t0, t1 := max(0, (-h-root)/l), min(1, (-h+root)/l)
	if t0 > t1 {
		return a, b, false
	}
	at := func(t float64) point { return point{a[0] + t*d[0], a[1] + t*d[1]} }
	return at(t0), at(t1), true
}

// carrierTree finds the nearest carrier of a point.
type carrierTree struct {
	hold  []carrier
	order []int32
	nodes []carrierNode
}

type carrierNode struct {
	lo, hi   point
	from, to int32
	right    int32 // the left child follows its parent; 0 in a leaf
}

const carrierLeaf = 4

func newCarrierTree(hold []carrier) *carrierTree {
	t := &carrierTree{hold: hold, order: make([]int32, len(hold))}
	for i := range t.order {
		t.order[i] = int32(i)
	}
	t.build(0, int32(len(hold)))
	return t
}

func (t *carrierTree) build(from, to int32) int32 {
	n := carrierNode{lo: point{math.Inf(1), math.Inf(1)}, hi: point{math.Inf(-1), math.Inf(-1)}, from: from, to: to}
	for _, i := range t.order[from:to] {
		for k := range 2 {
			n.lo[k] = min(n.lo[k], t.hold[i].a[k], t.hold[i].b[k])
			n.hi[k] = max(n.hi[k], t.hold[i].a[k], t.hold[i].b[k])
		}
	}
	id := int32(len(t.nodes))
	t.nodes = append(t.nodes, n)
	if to-from <= carrierLeaf {
		return id
	}
	k := 0
	if n.hi[1]-n.lo[1] > n.hi[0]-n.lo[0] {
		k = 1
	}
	slices.SortFunc(t.order[from:to], func(i, j int32) int {
		x, y := t.hold[i].a[k]+t.hold[i].b[k], t.hold[j].a[k]+t.hold[j].b[k]
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return int(i - j)
	})
	half := from + (to-from)/2
	t.build(from, half)
	right := t.build(half, to)
	t.nodes[id].right = right
	return id
}

// nearest returns the carrier nearest to p and its distance.
func (t *carrierTree) nearest(p point) (int32, float64) {
	best, at := math.Inf(1), int32(-1)
	t.search(0, p, &best, &at)
	return at, best
}

func (t *carrierTree) search(id int32, p point, best *float64, at *int32) {
	n := &t.nodes[id]
	if n.right == 0 {
		for _, i := range t.order[n.from:n.to] {
			if d := t.hold[i].from(p); d < *best {
				*best, *at = d, i
			}
		}
		return
	}
	near, far := id+1, n.right
	dn, df := t.nodes[near].dist(p), t.nodes[far].dist(p)
	if df < dn {
		near, far, dn, df = far, near, df, dn
	}
	if dn < *best {
		t.search(near, p, best, at)
	}
	if df < *best {
		t.search(far, p, best, at)
	}
}

// clear reports whether all carriers stay farther than a margin from the
// segment from p to q.
func (t *carrierTree) clear(p, q point, margin float64) bool {
	d := q.sub(p)
	l := d.norm()
	d = point{d[0] / l, d[1] / l}
	var near func(id int32) bool
	near = func(id int32) bool {
		n := &t.nodes[id]
		if !n.meets(p, q, d, margin) {
			return false
		}
		if n.right != 0 {
			return near(id+1) || near(n.right)
		}
		for _, i := range t.order[n.from:n.to] {
			if c := &t.hold[i]; segmentsNear(p, q, c.a, c.b, margin) {
				return true
			}
		}
		return false
	}
	return !near(0)
}

// meets reports whether the segment from p to q, of direction d, may come within
// a margin of the box.
func (n *carrierNode) meets(p, q, d point, margin float64) bool {
	var mid, half point
	for k := range 2 {
		if max(p[k], q[k]) < n.lo[k]-margin || min(p[k], q[k]) > n.hi[k]+margin {
			return false
		}
		mid[k], half[k] = (n.lo[k]+n.hi[k])/2-p[k], (n.hi[k]-n.lo[k])/2+margin
	}
	return math.Abs(d.cross(mid)) <= math.Abs(float64(d[0]*half[1]))+math.Abs(float64(d[1]*half[0]))
}

// segmentsNear reports whether two segments cross or come within a margin: if
// they do not cross, the shortest way between them starts at an end.
func segmentsNear(p, q, a, b point, margin float64) bool {
	if partsEnds(p, q, a, b) && partsEnds(a, b, p, q) {
		return true
	}
	s, t := carrier{a: p, b: q}, carrier{a: a, b: b}
	return min(s.from(a), s.from(b), t.from(p), t.from(q)) <= margin
}

// partsEnds reports whether a and b lie on different sides of the line from p
// to q, what lies on it counting as the left.
func partsEnds(p, q, a, b point) bool {
	x, y := q[0]-p[0], q[1]-p[1]
	return (float64(x*(a[1]-p[1]))-float64(y*(a[0]-p[0])) < 0) != (float64(x*(b[1]-p[1]))-float64(y*(b[0]-p[0])) < 0)
}

func (n *carrierNode) dist(p point) float64 {
	dx := max(n.lo[0]-p[0], 0, p[0]-n.hi[0])
	dy := max(n.lo[1]-p[1], 0, p[1]-n.hi[1])
	return math.Sqrt(float64(dx*dx) + float64(dy*dy))
}

// nearest holds the nearest carrier of each of some points.
type nearest struct {
	of   []int32
	dist []float64
}

// nearestOf looks for all points' nearest carriers.
func (t *carrierTree) nearestOf(ctx context.Context, ps []Vec) (*nearest, error) {
	n := &nearest{of: make([]int32, len(ps)), dist: make([]float64, len(ps))}
	err := parallel(ctx, len(ps), 1<<12, func(from, to int) error {
		for i := from; i < to; i++ {
			n.of[i], n.dist[i] = t.nearest(flatten(ps[i]))
		}
		return nil
	})
	return n, err
}

// bound is boundOf over the carriers with the given numbers.
func (t *carrierTree) bound(corner *[3]Vec, near [4]int32) float64 {
	var cs [4]carrier
	n := 0
	for i, k := range near {
		if k >= 0 && !slices.Contains(near[:i], k) {
			cs[n] = t.hold[k]
			n++
		}
	}
	return boundOf(corner, cs[:n])
}
