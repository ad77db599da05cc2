package mesh

import (
	"context"
	"math"
	"slices"
)

// This file lays an overhang region into the platform's plane and finds the
// shortest ways inside it. All facets of a region face down, so seen from above
// it is flat, and a shortest way is a chain of straight lines that bends only
// at corners of the region's rim.

// underside is a ceiling's own small mesh, counter-clockwise seen from above.
type underside struct {
	verts []Vec // machine coordinates
	tri   [][3]int32
	roof  []bool // of a triangle, whether it is a hole's roof beside the region; nil: none is
	// corners reports whether a way could bend: whether there is a corner of the
	// rim, between two pieces that carry nothing, that points into the region.
	corners bool
}

// bendRad is how far a rim must turn at a corner to count: the rounding of
// coordinates turns straight rims by less, and a way bent by this angle is
// longer by a part in 10^10.
const bendRad = 2e-5

// asks reports whether a triangle belongs to the region whose reach is asked.
func (p *underside) asks(tri int) bool { return p.roof == nil || !p.roof[tri] }

// underside copies a ceiling; held are the vertices that a carrier ends at.
func (o *overhang) underside(c *ceiling, held map[int32]bool) *underside {
	local := make(map[int32]int32, len(c.Facets))
	p := &underside{tri: make([][3]int32, 0, len(c.Facets))}
	var free []bool // vertex on the rim, no carrier
	var angle []float64
	topo := o.m.Topology()
	add := func(t [3]int32) {
		var tri [3]int32
		for k, v := range t {
			l, ok := local[v]
			if !ok {
				l = int32(len(p.verts))
				local[v] = l
				p.verts = append(p.verts, o.corner(v))
				free, angle = append(free, false), append(angle, 0)
			}
			tri[2-k] = l
		}
		p.tri = append(p.tri, tri)
	}
	inside := func(f int32) bool {
		piece := o.skin.piece(f)
		return piece >= 0 && c.holds(o.of[o.skin.tile(piece)])
	}
	cut := false // pieces need not share whole edges, along which ways bend
	for _, piece := range o.skin.under(&c.OverhangRegion) {
		f := o.skin.facet(piece)
		cut = cut || !o.skin.share.whole(f) || topo.Shell[f] != topo.Shell[c.Facets[0]]
		t := o.skin.m.Facets[piece]
		add(t)
		if len(c.beside) > 0 {
			p.roof = append(p.roof, o.of[o.skin.tile(piece)] != c.id)
		}
		for k := range 3 {
			if g := topo.Neighbour(f, k); g < 0 || !inside(g) {
				for _, v := range [2]int32{t[k], t[(k+1)%3]} {
					free[local[v]] = !held[v]
				}
			}
		}
	}
	for _, t := range p.tri {
		for k, v := range t {
			if free[v] {
				c := flatten(p.verts[v])
				a, b := flatten(p.verts[t[(k+1)%3]]).sub(c), flatten(p.verts[t[(k+2)%3]]).sub(c)
				angle[v] += math.Abs(math.Atan2(a.cross(b), a.dot(b)))
			}
		}
	}
	for v, a := range angle {
		p.corners = p.corners || !cut && free[v] && a > math.Pi+bendRad
	}
	return p
}

// halved halves the edges of the open triangles that are longer than the given
// length, seen from above, once, and splits the triangles on both sides of them.
// It returns nil where there is none, or where there are enough triangles.
func (g *ground) halved(length float64, open func(tri int) bool) *underside {
	if len(g.tri) >= finePieces {
		return nil
	}
	q := &underside{verts: slices.Clip(g.verts), corners: g.corners}
	mids := make([]int32, 3*len(g.tri)) // on each half-edge one more than the vertex, or 0
	for i, t := range g.tri {
		for k := range 3 {
			h, a, b := 3*i+k, g.verts[t[k]], g.verts[t[(k+1)%3]]
			if mids[h] > 0 || !open(i) || flatten(a.Sub(b)).norm() <= length {
				continue
			}
			q.verts = append(q.verts, a.Add(b).Scale(0.5))
			mids[h] = int32(len(q.verts))
			if twin := g.topo.Twin[h]; twin >= 0 {
				mids[twin] = mids[h]
			}
		}
	}
	if len(q.verts) == len(g.verts) {
		return nil
	}
	q.tri = make([][3]int32, 0, len(g.tri)+3*(len(q.verts)-len(g.verts)))
	for i, t := range g.tri {
		var mid [3]int32 // on edge k, or -1
		halved := 0
		for k := range mid {
			if mid[k] = mids[3*i+k] - 1; mid[k] >= 0 {
				halved++
			}
		}
		q.tri = q.split(q.tri, t, mid, halved)
		for g.roof != nil && len(q.roof) < len(q.tri) {
			q.roof = append(q.roof, g.roof[i])
		}
	}
	return q
}

// split appends the parts of triangle t, whose edges have the given middles.
func (p *underside) split(out [][3]int32, t, mid [3]int32, halved int) [][3]int32 {
	// Turned so that the halved edges come first.
	for k := 0; k < 2 && (halved == 1 && mid[0] < 0 || halved == 2 && mid[2] >= 0); k++ {
		t, mid = [3]int32{t[1], t[2], t[0]}, [3]int32{mid[1], mid[2], mid[0]}
	}
	switch halved {
	case 0:
		return append(out, t)
	case 1:
		return append(out, [3]int32{t[0], mid[0], t[2]}, [3]int32{mid[0], t[1], t[2]})
	case 2:
		return append(out, [3]int32{mid[0], t[1], mid[1]}, [3]int32{t[0], mid[0], mid[1]}, [3]int32{t[0], mid[1], t[2]})
	}
	return append(out, [3]int32{t[0], mid[0], mid[2]}, [3]int32{mid[0], t[1], mid[1]}, [3]int32{mid[2], mid[1], t[2]}, [3]int32{mid[0], mid[1], mid[2]})
}

// longest returns the length of the longest edge of the open triangles, seen from
// above.
func (p *underside) longest(open func(tri int) bool) float64 {
	var l float64
	for i, t := range p.tri {
		if !open(i) {
			continue
		}
		for k := range 3 {
			d := flatten(p.verts[t[(k+1)%3]].Sub(p.verts[t[k]]))
			l = max(l, d.dot(d))
		}
	}
	return math.Sqrt(l)
}

// ground is an underside to walk on.
type ground struct {
	*underside
	topo   *Topology
	around fans
	rim    *carrierTree // its edges, nil where triangles are so few that ways are soon followed
	tol    float64      // sideways, mm: what a way may step over the rim by
}

func newGround(p *underside, tol float64) *ground {
	m := New(p.verts, p.tri)
	around, _ := newFans(context.Background(), m)
	g := &ground{underside: p, topo: m.Topology(), around: around, tol: tol}
	if len(p.tri) < 2*finePieces {
		return g
	}
	var rim []carrier
	for h, twin := range g.topo.Twin {
		if twin < 0 {
			t := p.tri[h/3]
			rim = append(rim, carrier{a: flatten(p.verts[t[h%3]]), b: flatten(p.verts[t[(h%3+1)%3]])})
		}
	}
	g.rim = newCarrierTree(rim)
	return g
}

// sees reports whether the straight line from vertex v to the point q stays
// inside the underside. If not, wall is the half-edge of the rim that it meets
// first, or -1.
func (g *ground) sees(v int32, q point) (ok bool, wall int32) {
	o := flatten(g.verts[v])
	d := q.sub(o)
	l := d.norm()
	if l <= g.tol {
		return true, -1
	}
	// Only the rim ends a line, so one that keeps clear of it up to its end need
	// not be followed.
	if short := 1 - 3*g.tol/l; g.rim != nil && short > 0 && g.rim.clear(o, point{o[0] + short*d[0], o[1] + short*d[1]}, 2*g.tol) {
		return true, -1
	}
	w := sightline{ground: g, o: o, d: point{d[0] / l, d[1] / l}, l: l, wall: -1}
	ok = w.fromVertex(v)
	return ok, w.wall
}

// seesFrom is sees from a point of triangle t.
func (g *ground) seesFrom(t int32, o, q point) bool {
	d := q.sub(o)
	l := d.norm()
	if l <= g.tol {
		return true
	}
	w := sightline{ground: g, o: o, d: point{d[0] / l, d[1] / l}, l: l}
	return w.fromTriangle(t)
}

// sightline follows a straight line from triangle to triangle. It asks only on
// which side of the line corners lie, 0 counting as the left, so that it passes
// thin triangles, even ones that rounding turned over, like all others. Where
// it meets the rim it goes on from an end of that piece of rim that is ahead and
// no farther aside than the tolerance: a line along a straight rim is no way out.
type sightline struct {
	*ground
	o, d point // start and unit direction
	l    float64
	got  float64 // how far along it came
	wall int32
}

// side returns how far vertex v lies to the left of the line, and how far along.
func (w *sightline) side(v int32) (left, along float64) {
	p := &w.verts[v]
	x, y := p[0]-w.o[0], p[1]-w.o[1]
	return float64(w.d[0]*y) - float64(w.d[1]*x), float64(w.d[0]*x) + float64(w.d[1]*y)
}

// fromVertex goes on from a vertex on the line.
func (w *sightline) fromVertex(v int32) bool {
	for {
		_, here := w.side(v)
		if here >= w.l-w.tol {
			return true
		}
		w.got = max(w.got, here)
		next, exit, far := int32(-1), int32(-1), here-w.tol
		for _, f := range w.around.of(v) {
			t := w.tri[f]
			k := slices.Index(t[:], v)
			a, b := t[(k+1)%3], t[(k+2)%3]
			la, aa := w.side(a)
			lb, ab := w.side(b)
			if (la < 0) != (lb < 0) {
				// Of several, around flaps that rounding turned over, the farthest.
				if at := aa + (ab-aa)*la/(la-lb); at > far {
					exit, far = 3*f+int32((k+1)%3), at
				}
			}
			if math.Abs(la) <= w.tol && aa > here {
				next = a
			}
			if math.Abs(lb) <= w.tol && ab > here {
				next = b
			}
		}
		// Beside a needle the line may seem to leave backwards: not if it can go on.
		if exit >= 0 && (far > here || next < 0) {
			return w.over(exit)
		}
		if next < 0 {
			return false
		}
		v = next
	}
}

// over goes on over half-edge h, whose ends lie on different sides.
func (w *sightline) over(h int32) bool {
	t := w.tri[h/3]
	a, b := t[h%3], t[(h%3+1)%3]
	la, aa := w.side(a)
	lb, ab := w.side(b)
	for first := int32(-1); h != first; {
		if first < 0 {
			first = h
		}
		at := aa + (ab-aa)*la/(la-lb)
		if at >= w.l-w.tol {
			return true
		}
		if at < w.got-4*w.tol {
			return false // back the way it came
		}
		w.got = max(w.got, at)
		g := w.topo.Twin[h]
		if g < 0 {
			switch {
			case math.Abs(la) <= w.tol && aa > w.got:
				return w.fromVertex(a)
			case math.Abs(lb) <= w.tol && ab > w.got:
				return w.fromVertex(b)
			}
			w.wall = h
			return false
		}
		// The corner across from the edge lies on the side of one of its ends; the
		// line leaves between it and the other.
		u := w.tri[g/3]
		k := g % 3
		if u[k] != a { // a is to be the edge's first end there, too
			a, la, aa, b, lb, ab = b, lb, ab, a, la, aa
		}
		c := u[(k+2)%3]
		lc, ac := w.side(c)
		if (lc < 0) == (la < 0) {
			h = g - k + (k+1)%3
			a, la, aa, b, lb, ab = b, lb, ab, c, lc, ac
		} else {
			h = g - k + (k+2)%3
			a, la, aa, b, lb, ab = c, lc, ac, a, la, aa
		}
	}
	return false // around a corner that rounding turned over
}

// fromTriangle starts in triangle f: it leaves over the edge that it crosses
// last, whichever side of the start rounding puts the first crossing on.
func (w *sightline) fromTriangle(f int32) bool {
	exit, far := int32(-1), math.Inf(-1)
	for k := range int32(3) {
		v := w.tri[f][k]
		la, aa := w.side(v)
		if math.Abs(la) <= w.tol && math.Abs(aa) <= w.tol {
			return w.fromVertex(v)
		}
		lb, ab := w.side(w.tri[f][(k+1)%3])
		if (la < 0) != (lb < 0) {
			if at := aa + (ab-aa)*la/(la-lb); at > far {
				exit, far = 3*f+k, at
			}
		}
	}
	return exit >= 0 && w.over(exit)
}

// ways holds, for each vertex of a underside, the shortest way to the hold.
type ways struct {
	dist []float64
	via  []carrier // the first leg leads there
	bent []bool    // the nearest hold is not the end of a straight way
	dark int       // how many are bent
}

// straightWays finds the vertices whose nearest carrier lies in plain sight, of
// those that w does not know yet.
func (g *ground) straightWays(ctx context.Context, w *ways, tree *carrierTree) error {
	known := len(w.dist)
	w.dist = append(w.dist, make([]float64, len(g.verts)-known)...)
	w.via = append(w.via, make([]carrier, len(g.verts)-known)...)
	w.bent = append(w.bent, make([]bool, len(g.verts)-known)...)
	err := parallel(ctx, len(g.verts)-known, 1<<10, func(from, to int) error {
		for v := known + from; v < known+to; v++ {
			if v%256 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			p := flatten(g.verts[v])
			k, d := tree.nearest(p)
			w.dist[v], w.via[v] = d, tree.hold[k]
			if ok, _ := g.sees(int32(v), tree.hold[k].nearest(p)); !ok {
				w.dist[v], w.bent[v] = math.Inf(1), true
			}
		}
		return nil
	})
	for _, b := range w.bent[known:] {
		if b {
			w.dark++
		}
	}
	return err
}

// bentWays finds the ways of the other vertices, nearest first. A vertex takes
// its neighbour's way from the neighbour's next bend on where that lies in its
// sight (Nash, Daniel, Koenig and Felner 2007, "Theta*: Any-Angle Path Planning
// on Grids"), or from the ends of the piece of rim that hides it, for it is at
// the rim that shortest ways bend. Every way found stays inside the underside, so
// none is too short.
func (g *ground) bentWays(ctx context.Context, w *ways) error {
	q := &wayQueue{}
	for v, d := range w.dist {
		if !math.IsInf(d, 1) {
			q.push(int32(v), d)
		}
	}
	done := make([]bool, len(g.verts))
	for n := 0; len(q.heap) > 0; n++ {
		if n%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		v := q.pop()
		if done[v] {
			continue
		}
		done[v] = true
		for _, f := range g.around.of(v) {
			for _, c := range g.tri[f] {
				if w.bent[c] && !done[c] {
					g.relax(w, q, v, c)
				}
			}
		}
	}
	return nil
}

// relax tries the ways of c that its neighbour v knows of.
func (g *ground) relax(w *ways, q *wayQueue, v, c int32) {
	wall := g.follow(w, q, w.via[v], c)
	if wall >= 0 {
		t := g.tri[wall/3]
		for _, e := range [2]int32{t[wall%3], t[(wall%3+1)%3]} {
			if !math.IsInf(w.dist[e], 1) && g.follow(w, q, w.via[e], c) >= 0 {
				g.follow(w, q, g.step(w, e), c)
			}
		}
	}
	g.follow(w, q, g.step(w, v), c)
}

// step is the way over a vertex.
func (g *ground) step(w *ways, v int32) carrier {
	p := flatten(g.verts[v])
	return carrier{a: p, b: p, base: w.dist[v]}
}

// follow gives c a way if that is shorter and lies in sight. Where it would be
// shorter it returns the rim that hides it, else -1.
func (g *ground) follow(w *ways, q *wayQueue, via carrier, c int32) int32 {
	p := flatten(g.verts[c])
	d := via.from(p)
	if !(d < w.dist[c]) {
		return -1
	}
	ok, wall := g.sees(c, via.nearest(p))
	if ok {
		w.dist[c], w.via[c] = d, via
		q.push(c, d)
	}
	return wall
}

// comesWithin reports whether a triangle may come within a distance of a point.
func (p *underside) comesWithin(tri int, at point, within float64) bool {
	t := p.tri[tri]
	box := carrierNode{lo: flatten(p.verts[t[0]]), hi: flatten(p.verts[t[0]])}
	for _, v := range t[1:] {
		for k := range 2 {
			box.lo[k], box.hi[k] = min(box.lo[k], p.verts[v][k]), max(box.hi[k], p.verts[v][k])
		}
	}
	return box.dist(at) <= within
}

// waysNear returns the ways of the vertices that hang together with a triangle
// within a distance, without those whose first leg is hardly longer: they tell
// nothing of the direction that the hold lies in.
func (g *ground) waysNear(w *ways, f int32, within float64) []carrier {
	at := flatten(g.verts[g.tri[f][0]])
	queue := slices.Clone(g.tri[f][:])
	seen := map[int32]bool{}
	for _, v := range queue {
		seen[v] = true
	}
	var out []carrier
	for i := 0; i < len(queue); i++ {
		if via := w.via[queue[i]]; via.base == 0 || via.nearest(at).sub(at).norm() > 2*within {
			out = append(out, via)
		}
		for _, h := range g.around.of(queue[i]) {
			for _, v := range g.tri[h] {
				if !seen[v] && flatten(g.verts[v]).sub(at).norm() <= within {
					seen[v] = true
					queue = append(queue, v)
				}
			}
		}
	}
	return out
}

// wayQueue gives numbers, such as of vertices, by rising distance, of equal ones the
// lowest. A number may stand in it several times.
type wayQueue struct {
	heap []wayEnd
}

type wayEnd struct {
	d float64
	v int32
}

func (a wayEnd) less(b wayEnd) bool { return a.d < b.d || a.d == b.d && a.v < b.v }

func (q *wayQueue) push(v int32, d float64) {
	q.heap = append(q.heap, wayEnd{d, v})
	for i := len(q.heap) - 1; i > 0; {
		up := (i - 1) / 2
		if !q.heap[i].less(q.heap[up]) {
			return
		}
		q.heap[up], q.heap[i] = q.heap[i], q.heap[up]
		i = up
	}
}

func (q *wayQueue) pop() int32 {
	top := q.heap[0].v
	n := len(q.heap) - 1
	q.heap[0] = q.heap[n]
	q.heap = q.heap[:n]
	for i := 0; ; {
		k := 2*i + 1
		if k >= n {
			return top
		}
		if k+1 < n && q.heap[k+1].less(q.heap[k]) {
			k++
		}
		if !q.heap[k].less(q.heap[i]) {
			return top
		}
		q.heap[i], q.heap[k] = q.heap[k], q.heap[i]
		i = k
	}
}
