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

// underside is a region's own small mesh, counter-clockwise seen from above.
type underside struct {
	verts []Vec // machine coordinates
	tri   [][3]int32
	// corners reports whether a way could bend: whether there is a corner of the
	// rim, between two pieces that carry nothing, that points into the region.
	corners bool
}

// bendRad is how far a rim must turn at a corner to count: the rounding of
// coordinates turns straight rims by less, and a way bent by this angle is
// longer by a part in 10^10.
const bendRad = 2e-5

// underside copies a region; held are the vertices that a carrier ends at.
func (o *overhang) underside(r *OverhangRegion, id int32, held map[int32]bool) *underside {
	local := make(map[int32]int32, len(r.Facets))
	p := &underside{tri: make([][3]int32, len(r.Facets))}
	var free []bool // vertex on the rim, no carrier
	var angle []float64
	topo := o.m.Topology()
	for i, f := range r.Facets {
		t := o.m.Facets[f]
		for k, v := range t {
			l, ok := local[v]
			if !ok {
				l = int32(len(p.verts))
				local[v] = l
				p.verts = append(p.verts, o.at[v])
				free, angle = append(free, false), append(angle, 0)
			}
			p.tri[i][2-k] = l
		}
		for k := range 3 {
			if g := topo.Neighbour(f, k); g < 0 || o.of[g] != id {
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
		p.corners = p.corners || free[v] && a > math.Pi+bendRad
	}
	return p
}

// refined splits every triangle in four.
func (p *underside) refined() *underside {
	q := &underside{verts: slices.Clone(p.verts), tri: make([][3]int32, 0, 4*len(p.tri)), corners: p.corners}
	mids := make(map[[2]int32]int32, 3*len(p.tri)/2)
	mid := func(a, b int32) int32 {
		key := [2]int32{min(a, b), max(a, b)}
		m, ok := mids[key]
		if !ok {
			m = int32(len(q.verts))
			mids[key] = m
			q.verts = append(q.verts, p.verts[a].Add(p.verts[b]).Scale(0.5))
		}
		return m
	}
	for _, t := range p.tri {
		ab, bc, ca := mid(t[0], t[1]), mid(t[1], t[2]), mid(t[2], t[0])
		q.tri = append(q.tri, [3]int32{t[0], ab, ca}, [3]int32{ab, t[1], bc}, [3]int32{ca, bc, t[2]}, [3]int32{ab, bc, ca})
	}
	return q
}

// longest returns the length of the underside's longest edge, seen from above.
func (p *underside) longest() float64 {
	var l float64
	for _, t := range p.tri {
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
	tol    float64 // sideways, mm: what a way may step over the rim by
}

func newGround(p *underside, tol float64) *ground {
	m := New(p.verts, p.tri)
	return &ground{underside: p, topo: m.Topology(), around: newFans(m), tol: tol}
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
	return w.fromTriangle(t, -1)
}

// sightline follows a straight line from triangle to triangle.
type sightline struct {
	*ground
	o, d  point // start and unit direction
	l     float64
	steps int
	wall  int32
}

// side returns how far vertex v lies to the left of the line, and how far along.
func (w *sightline) side(v int32) (left, along float64) {
	r := flatten(w.verts[v]).sub(w.o)
	return w.d.cross(r), w.d.dot(r)
}

// fromVertex goes on from a vertex on the line.
func (w *sightline) fromVertex(v int32) bool {
	if w.steps++; w.steps > 3*len(w.tri)+3 {
		return false
	}
	_, here := w.side(v)
	if here >= w.l-w.tol {
		return true
	}
	for _, f := range w.around.of(v) {
		t := w.tri[f]
		k := slices.Index(t[:], v)
		a, b := t[(k+1)%3], t[(k+2)%3]
		la, aa := w.side(a)
		lb, ab := w.side(b)
		switch {
		case math.Abs(la) <= w.tol && aa > here:
			return w.fromVertex(a)
		case math.Abs(lb) <= w.tol && ab > here:
			return w.fromVertex(b)
		case la < 0 && lb > 0 && (aa > here || ab > here) && w.ahead(la, aa, lb, ab) > here:
			return w.over(f, (k+1)%3, w.ahead(la, aa, lb, ab))
		}
	}
	return false
}

// ahead returns where along the line the edge between two sides crosses it.
func (w *sightline) ahead(la, aa, lb, ab float64) float64 {
	return aa + (ab-aa)*la/(la-lb)
}

// over crosses edge k of triangle f at the given length along the line.
func (w *sightline) over(f int32, k int, at float64) bool {
	if at >= w.l-w.tol {
		return true
	}
	h := w.topo.Twin[3*f+int32(k)]
	if h < 0 {
		w.wall = 3*f + int32(k)
		return false
	}
	return w.fromTriangle(h/3, h%3)
}

// fromTriangle goes on inside triangle f, which the line came into over edge
// entry (-1: it started there).
func (w *sightline) fromTriangle(f, entry int32) bool {
	if w.steps++; w.steps > 3*len(w.tri)+3 {
		return false
	}
	t := w.tri[f]
	for k := range 3 {
		if int32(k) == entry {
			continue
		}
		a, b := t[k], t[(k+1)%3]
		la, aa := w.side(a)
		lb, ab := w.side(b)
		switch {
		case entry >= 0 && math.Abs(la) <= w.tol && int32(k) == (entry+2)%3:
			return w.fromVertex(a) // the corner opposite the entry
		case la <= 0 && lb > 0 || la < 0 && lb >= 0:
			return w.over(f, k, w.ahead(la, aa, lb, ab))
		}
	}
	return false
}

// ways holds, for each vertex of a underside, the shortest way to the hold.
type ways struct {
	dist []float64
	via  []carrier // the first leg leads there
	bent []bool    // the nearest hold is not the end of a straight way
	dark int       // how many are bent
}

// straightWays finds the vertices whose nearest carrier lies in plain sight.
func (g *ground) straightWays(ctx context.Context, tree *carrierTree) (*ways, error) {
	w := &ways{dist: make([]float64, len(g.verts)), via: make([]carrier, len(g.verts)), bent: make([]bool, len(g.verts))}
	for v := range g.verts {
		if v%256 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		p := flatten(g.verts[v])
		k, d := tree.nearest(p)
		w.dist[v], w.via[v] = d, tree.hold[k]
		if ok, _ := g.sees(int32(v), tree.hold[k].nearest(p)); !ok {
			w.dist[v], w.bent[v] = math.Inf(1), true
			w.dark++
		}
	}
	return w, nil
}

// bentWays finds the ways of the other vertices, nearest first. A vertex takes
// its neighbour's way from the neighbour's next bend on where that lies in its
// sight (Nash, Daniel, Koenig and Felner 2007, "Theta*: Any-Angle Path Planning
// on Grids"), or from the ends of the piece of rim that hides it, for it is at
// the rim that shortest ways bend. Every way found stays inside the underside, so
// none is too short.
func (g *ground) bentWays(ctx context.Context, w *ways) error {
	q := &wayQueue{}
	for v, b := range w.bent {
		if !b {
			q.push(int32(v), w.dist[v])
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

// wayQueue gives vertices by rising distance, of equal ones the lowest number.
// A vertex may stand in it several times.
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
