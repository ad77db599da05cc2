package mesh

import (
	"context"
	"math"
	"math/bits"
	"slices"
)

// intersections is what selfIntersections found.
type intersections struct {
	within, between meetings // facets of one shell, and of two
	more            bool
	shells          []int32 // that meet others; ascending at the end
}

// meetings are pairs of facets that meet.
type meetings struct {
	count int
	pairs [][2]int32 // the first by facet numbers
	at    []Vec      // where they meet
}

// Facets are examined in chunks of intersectChunk leaves of the search tree; a
// chunk that finds intersectMost pairs, or examines intersectWork, stops, so
// that a heap of facets on one spot costs no more than its number.
const (
	intersectChunk = 64
	intersectMost  = 1 << 14
	intersectWork  = 1 << 23
)

// selfIntersections counts the pairs of facets that meet elsewhere than at
// corners they share. The search tree is asked once a leaf, for the leaves that
// come near its facets together; eight facets are then compared at once, by
// their boxes and by planes along the sides of one. Those that have a corner in
// common are told apart by what the corner looks like (smoothCorners), nearly
// all of the few others by a plane found in floating point, and the rest by
// exact signs.
func selfIntersections(ctx context.Context, m *Mesh) (intersections, error) {
	smooth, err := smoothCorners(ctx, m)
	if err != nil {
		return intersections{}, err
	}
	tree := m.BVH()
	parts := make([]intersections, (tree.leaves()+intersectChunk-1)/intersectChunk)
	err = parallel(ctx, tree.leaves(), intersectChunk, func(from, to int) error {
		s := crossSearch{m: m, smooth: smooth, found: &parts[from/intersectChunk]}
		for i := from; i < to && !s.found.more; i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			s.leaf(tree, i)
		}
		return nil
	})
	var all intersections
	for _, p := range parts {
		all.within.join(&p.within)
		all.between.join(&p.between)
		all.more = all.more || p.more
		all.shells = append(all.shells, p.shells...)
	}
	all.within.place(m)
	all.between.place(m)
	all.shells = sortedSet(all.shells)
	return all, err
}

func (x *meetings) join(y *meetings) {
	x.count += y.count
	x.pairs = append(x.pairs, y.pairs...)
}

func (x *intersections) count() int { return x.within.count + x.between.count }

// keepFirst drops all but the first pairs.
func (x *meetings) keepFirst() {
	slices.SortFunc(x.pairs, func(a, b [2]int32) int { return slices.Compare(a[:], b[:]) })
	x.pairs = x.pairs[:min(len(x.pairs), maxPlaces)]
}

func (x *meetings) add(f, g int32) {
	x.count++
	if x.pairs = append(x.pairs, [2]int32{f, g}); len(x.pairs) >= 4*maxPlaces {
		x.keepFirst()
	}
}

// place finds where the first pairs meet.
func (x *meetings) place(m *Mesh) {
	x.keepFirst()
	for _, p := range x.pairs {
		x.at = append(x.at, meetingPoint(m, p[0], p[1]))
	}
}

func sortedSet(s []int32) []int32 {
	slices.Sort(s)
	return slices.Compact(s)
}

// crossSearch looks for the pairs of some leaves.
type crossSearch struct {
	m      *Mesh
	smooth []bool // of the vertices
	found  *intersections
	work   int

	near []int32 // scratch: leaves
}

// leaf compares the facets of a leaf with all later ones whose boxes meet theirs.
func (s *crossSearch) leaf(tree *BVH, i int) {
	bl := &tree.blocks[i]
	all := EmptyBox()
	for mask := bl.used(); mask != 0; mask &= mask - 1 {
		all = all.Join(s.m.facetBox(bl.facet[bits.TrailingZeros32(mask)&7]))
	}
	boxes := newBoxLanes(all)
	s.near = s.near[:0]
	tree.leavesIn(&boxes, func(leaf int32) bool {
		s.near = append(s.near, leaf)
		return true
	})
	for mask := bl.used(); mask != 0 && !s.found.more; mask &= mask - 1 {
		f := bl.facet[bits.TrailingZeros32(mask)&7]
		if a, b, c := s.m.Corners(f); hasArea(a, b, c) {
			s.facet(tree, f)
		}
	}
}

// facet compares one facet with those of the leaves near.
func (s *crossSearch) facet(tree *BVH, f int32) {
	plane := newFacetPlane(s.m.Corners(f))
	boxes := newBoxLanes(s.m.facetBox(f))
	sides := tree.newSideLanes(f, 0)
	for _, leaf := range s.near {
		bl := &tree.blocks[leaf]
		later := uint32(0)
		for mask := boxFacets(bl, &boxes); mask != 0; mask &= mask - 1 {
			if i := bits.TrailingZeros32(mask) & 7; bl.facet[i] > f {
				later |= 1 << i
			}
		}
		if later == 0 {
			continue
		}
		if s.found.count() >= intersectMost {
			s.found.more = true
			return
		}
		over := 0 // facets that there is no work left for
		if s.work += bits.OnesCount32(later); s.work >= intersectWork {
			over = s.work - intersectWork + 1
		}
		for range over {
			later &^= 1 << (bits.Len32(later) - 1)
		}
		for mask := later & besideFacets(bl, &sides); mask != 0; mask &= mask - 1 {
			i := bits.TrailingZeros32(mask) & 7
			if s.pair(&plane, f, bl.facet[i]) && s.found.count() == intersectMost && later>>i > 1 {
				over++
				break
			}
		}
		if s.found.more = over > 0; s.found.more {
			return
		}
	}
}

// pair notes a pair that meets, and reports whether it does.
func (s *crossSearch) pair(plane *facetPlane, f, g int32) bool {
	if s.smoothly(f, g) || plane.besides(s.m, f, g) || !facetsMeet(s.m, f, g) {
		return false
	}
	shell := s.m.Topology().Shell
	a, b := shell[f], shell[g]
	if a == b {
		s.found.within.add(f, g)
		return true
	}
	s.found.between.add(f, g)
	if s.found.shells = append(s.found.shells, a, b); len(s.found.shells) >= 1<<10 {
		s.found.shells = sortedSet(s.found.shells)
	}
	return true
}

// smoothly reports whether two facets share a smooth corner.
func (s *crossSearch) smoothly(f, g int32) bool {
	a := s.m.Facets[f]
	for _, v := range s.m.Facets[g] {
		if (v == a[0] || v == a[1] || v == a[2]) && s.smooth[v] {
			return true
		}
	}
	return false
}

// smoothCorners tells the vertices whose facets have nothing in common but the
// vertex and the edges that join them: those around which the facets close to
// one fan and, seen along an axis, all turn the same way, by one turn in all.
// Seen so, the corners of the facets are sectors that fill the place around the
// vertex without overlap, so facets that are not neighbours meet at the vertex
// alone and neighbours at their edge; and since no facet is upright, each has
// one point over a point seen. All signs are sure, so what is told is exact;
// whatever is not sure, or at the rim, or on a crease, is not smooth.
func smoothCorners(ctx context.Context, m *Mesh) ([]bool, error) {
	half := make([]int32, len(m.Verts)) // a half-edge from the vertex
	number := make([]int32, len(m.Verts))
	for f, t := range m.Facets {
		if f&(1<<16-1) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for k, v := range t {
			half[v] = int32(3*f + k)
			number[v]++
		}
	}
	smooth := make([]bool, len(m.Verts))
	twin := m.Topology().Twin
	err := parallel(ctx, len(smooth), 1<<14, func(from, to int) error {
		for v := from; v < to; v++ {
			smooth[v] = number[v] > 2 && m.smoothCorner(twin, half[v], number[v])
		}
		return nil
	})
	return smooth, err
}

// smoothCorner is smoothCorners for the start of a half-edge, of n facets.
func (m *Mesh) smoothCorner(twin []int32, first, n int32) bool {
	v := m.Facets[first/3][first%3]
	o := m.Verts[v]
	x, y, way := m.seen(first / 3)
	turns := 0
	h := first
	met := int32(0)
	for ; met == 0 || h != first; met++ {
		if met == n {
			return false // the facets of another fan, too
		}
		t, k := m.Facets[h/3], h%3
		if t[k] != v {
			return false // wound against its neighbour
		}
		p, q := m.Verts[t[(k+1)%3]], m.Verts[t[(k+2)%3]]
		l, r := float64((p[x]-o[x])*(q[y]-o[y])), float64((p[y]-o[y])*(q[x]-o[x]))
		if way*float64(sureSign(l, r)) <= 0 {
			return false
		}
		// A step turns by less than half a turn, so it can't pass either half
		// of the directions unseen.
		if !upper(o, p, x, y) && upper(o, q, x, y) {
			turns++
		}
		if h = twin[h-k+(k+2)%3]; h < 0 {
			return false
		}
	}
	return met == n && turns == 1
}

// seen returns the axes, as x and y, between which a facet shows most of its
// area, and its winding seen so.
func (m *Mesh) seen(f int32) (x, y int, way float64) {
	var n Vec
	n[0], n[1], n[2] = m.cross(f)
	z := 0
	for k := range 3 {
		if math.Abs(n[k]) > math.Abs(n[z]) {
			z = k
		}
	}
	return (z + 1) % 3, (z + 2) % 3, math.Copysign(1, n[z])
}

// upper reports whether the way from o to p, seen along an axis, leads up, or
// level to the right: to one half of all directions.
func upper(o, p Vec, x, y int) bool { return p[y] > o[y] || p[y] == o[y] && p[x] > o[x] }

func (m *Mesh) facetBox(f int32) Box {
	a, b, c := m.Corners(f)
	return Box{
		Vec{min(a[0], b[0], c[0]), min(a[1], b[1], c[1]), min(a[2], b[2], c[2])},
		Vec{max(a[0], b[0], c[0]), max(a[1], b[1], c[1]), max(a[2], b[2], c[2])},
	}
}

// leaves is the number of leaves of the tree. Every facet is in one leaf, and
// facets of a leaf lie near each other.
func (b *BVH) leaves() int { return len(b.blocks) }

// facetPlane is what orient3Fast works out from the first three of its points.
type facetPlane struct {
	o, n Vec
	all  Vec // absolute products behind each component of n
}

func newFacetPlane(a, b, c Vec) facetPlane {
	px, py, pz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	qx, qy, qz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
	yz, zy := float64(py*qz), float64(pz*qy)
	zx, xz := float64(pz*qx), float64(px*qz)
	xy, yx := float64(px*qy), float64(py*qx)
	return facetPlane{
		o: a, n: Vec{yz - zy, zx - xz, xy - yx},
		all: Vec{math.Abs(yz) + math.Abs(zy), math.Abs(zx) + math.Abs(xz), math.Abs(xy) + math.Abs(yx)},
	}
}

// side is the side of the plane on which d surely lies: 1, -1, or 0 if unsure.
func (t *facetPlane) side(d Vec) int {
	x, y, z := d[0]-t.o[0], d[1]-t.o[1], d[2]-t.o[2]
	det := t.n[0]*x + t.n[1]*y + t.n[2]*z
	err := orient3Err*(t.all[0]*math.Abs(x)+t.all[1]*math.Abs(y)+t.all[2]*math.Abs(z)) + underflowErr
	switch {
	case det > err:
		return 1
	case det < -err:
		return -1
	}
	return 0
}

// besides reports whether the corners of g that it does not share with f, the
// facet of the plane, surely lie on one side of it: then the two have nothing in
// common but what they share. This settles nearly all pairs of a curved surface.
func (t *facetPlane) besides(m *Mesh, f, g int32) bool {
	side := 0
	own := m.Facets[f]
	for _, v := range m.Facets[g] {
		if v == own[0] || v == own[1] || v == own[2] {
			continue
		}
		s := t.side(m.Verts[v])
		if s == 0 || s == -side {
			return false
		}
		side = s
	}
	return side != 0
}

// facetsMeet reports whether two facets, the first with an area, have a point
// in common beside the corners (and the edge between them) that they share.
// Facets with the same three corners are duplicates, not intersections.
func facetsMeet(m *Mesh, f, g int32) bool {
	a, b, n := shared(m.Facets[f], m.Facets[g])
	var p, q [3]Vec // rotated so that the shared corners come first
	for k := range 3 {
		p[k], q[k] = m.Verts[a[k]], m.Verts[b[k]]
	}
	switch n {
	case 0:
		if x, y, _ := m.seen(g); beyondEdge(&p, &q, x, y) {
			return false
		}
		if meet, sure := cross(&p, &q); sure {
			return meet
		}
		return !apart(&p, &q) && trianglesMeet(&p, &q)
	case 1:
		return !atCornerApart(&p, &q) && hasArea(q[0], q[1], q[2]) &&
			(segmentMeetsTriangle(p[1], p[2], q[0], q[1], q[2]) || segmentMeetsTriangle(q[1], q[2], p[0], p[1], p[2]))
	case 2:
		return folded(p[0], p[1], p[2], q[2])
	}
	return false
}

// shared orders the corners of two facets so that the n they share come first,
// in the same order.
func shared(f, g [3]int32) (a, b [3]int32, n int) {
	a, b = f, g
	for i := 0; i < 3; i++ {
		for j := n; j < 3; j++ {
			if a[i] == b[j] {
				a[n], a[i] = a[i], a[n]
				b[n], b[j] = b[j], b[n]
				n++
				break
			}
		}
	}
	return a, b, n
}

// folded reports whether two facets on the edge ab, with third corners c and d,
// lie in one plane on the same side of it. Seen along an axis they do so too.
func folded(a, b, c, d Vec) bool {
	for k := range 3 {
		if s := orient2(a, b, c, k); s != 0 {
			return s == orient2(a, b, d, k) && orient3(a, b, c, d) == 0
		}
	}
	return false
}

// beyondEdge reports whether a triangle, seen along an axis, surely lies beyond an
// edge of another. That settles most pairs in one plane which the edges of the first
// don't part.
func beyondEdge(p, q *[3]Vec, x, y int) bool {
	way := turnSure(&q[0], &q[1], &q[2], x, y)
	if way == 0 {
		return false
	}
	for k := range 3 {
		a, b := &q[k], &q[(k+1)%3]
		if turnSure(a, b, &p[0], x, y) == -way && turnSure(a, b, &p[1], x, y) == -way && turnSure(a, b, &p[2], x, y) == -way {
			return true
		}
	}
	return false
}

// turnSure is the sign of the turn from a over b to c between two axes, 0 where
// double precision is not enough to be sure.
func turnSure(a, b, c *Vec, x, y int) int {
	return sureSign(float64((b[x]-a[x])*(c[y]-a[y])), float64((b[y]-a[y])*(c[x]-a[x])))
}

// cross reports whether two triangles that share no corner meet. It is sure where
// corners don't lie near the plane of the other: each then cuts a piece out of
// the line that both planes share, and two signs tell whether the pieces meet (Guigue
// and Devillers 2003, "Fast and robust triangle-triangle overlap test using
// orientation predicates").
func cross(p, q *[3]Vec) (meet, sure bool) {
	i, sp := alone(q, p)
	if i < 0 {
		return false, sp != 0
	}
	j, sq := alone(p, q)
	if j < 0 {
		return false, sq != 0
	}
	// Each from the corner that is alone, which is to lie above the other's plane.
	p0, p1, p2 := p[i], p[(i+1)%3], p[(i+2)%3]
	q0, q1, q2 := q[j], q[(j+1)%3], q[(j+2)%3]
	if sq < 0 {
		p1, p2 = p2, p1
	}
	if sp < 0 {
		q1, q2 = q2, q1
	}
	return orient3(p1, q0, p0, q1) <= 0 && orient3(p0, q0, p2, q2) <= 0, true
}

// alone tells which corner of u lies alone on its side of the plane of t, -1 if
// none does, and on which side: 0 if that is not sure of all corners.
func alone(t, u *[3]Vec) (corner, side int) {
	plane := newFacetPlane(t[0], t[1], t[2])
	a, b, c := plane.side(u[0]), plane.side(u[1]), plane.side(u[2])
	switch {
	case a == 0 || b == 0 || c == 0:
		return -1, 0
	case a != b && a != c:
		return 0, a
	case b != a && b != c:
		return 1, b
	case c != a && c != b:
		return 2, c
	}
	return -1, a
}

// trianglesMeet is exact, for triangles that share no corner.
func trianglesMeet(p, q *[3]Vec) bool {
	if !hasArea(q[0], q[1], q[2]) {
		return false
	}
	for k := range 3 {
		if segmentMeetsTriangle(p[k], p[(k+1)%3], q[0], q[1], q[2]) || segmentMeetsTriangle(q[k], q[(k+1)%3], p[0], p[1], p[2]) {
			return true
		}
	}
	return false
}

// axisErr bounds what the product of a direction with a difference of points may
// be off by, as a share of the sum of the direction's components times the
// largest component of the difference.
const axisErr = 8 * halfUlp

// pair holds two triangles relative to the first corner of the first.
type pair struct {
	p, q [3]Vec
	far  float64 // largest component
}

func newPair(p, q *[3]Vec) (t pair) {
	for k := range 3 {
		for j := range 3 {
			x, y := p[k][j]-p[0][j], q[k][j]-p[0][j]
			t.p[k][j], t.q[k][j] = x, y
			t.far = max(t.far, math.Abs(x), math.Abs(y))
		}
	}
	return t
}

// along reports whether a plane across a direction surely lies between the
// triangles. Any will do, so it needs no error bound itself.
func (t *pair) along(x, y, z float64) bool {
	at := func(p *Vec) float64 { return dot3(x, y, z, p[0], p[1], p[2]) }
	p0, p1, p2 := at(&t.p[0]), at(&t.p[1]), at(&t.p[2])
	q0, q1, q2 := at(&t.q[0]), at(&t.q[1]), at(&t.q[2])
	err := axisErr*t.far*(math.Abs(x)+math.Abs(y)+math.Abs(z)) + underflowErr
	return max(min(p0, p1, p2)-max(q0, q1, q2), min(q0, q1, q2)-max(p0, p1, p2)) > 2*err
}

// across is along, across two directions.
func (t *pair) across(a, b *Vec) bool {
	return t.along(cross3(a[0], a[1], a[2], b[0], b[1], b[2]))
}

// apart reports whether a plane surely lies between two triangles that share no
// corner: across one of their planes along an edge, parallel to one of them, or along
// an edge of each. If they are apart at all one of these lies between. Of most pairs
// that are asked the edges of the first were tried in passing, so those of the second
// come first.
func apart(p, q *[3]Vec) bool {
	t := newPair(p, q)
	var e, g [3]Vec
	for k := range 3 {
		for j := range 3 {
			e[k][j], g[k][j] = t.p[(k+1)%3][j]-t.p[k][j], t.q[(k+1)%3][j]-t.q[k][j]
		}
	}
	l, n := g[0].Cross(g[1]), e[0].Cross(e[1])
	for k := range 3 {
		if t.across(&l, &g[k]) {
			return true
		}
	}
	for k := range 3 {
		if t.across(&n, &e[k]) {
			return true
		}
	}
	if t.along(l[0], l[1], l[2]) || t.along(n[0], n[1], n[2]) {
		return true
	}
	for k := range 3 {
		if t.across(&e[k], &g[0]) || t.across(&e[k], &g[1]) || t.across(&e[k], &g[2]) {
			return true
		}
	}
	return false
}

// atCornerApart reports whether two triangles that share their first corner have
// nothing else in common: the others of the first lie on one side of the
// second's plane (the other way round was asked before), or seen along an axis a
// line through the corner lies between them.
func atCornerApart(p, q *[3]Vec) bool {
	if sameSide(q, p) {
		return true
	}
	n := p[1].Sub(p[0]).Cross(p[2].Sub(p[0]))
	i, j := 1, 2
	switch x, y, z := math.Abs(n[0]), math.Abs(n[1]), math.Abs(n[2]); {
	case z > x && z > y:
		i, j = 0, 1
	case y > x:
		i, j = 2, 0
	}
	o := [2]float64{p[0][i], p[0][j]}
	a, b := [2]float64{p[1][i], p[1][j]}, [2]float64{p[2][i], p[2][j]}
	c, d := [2]float64{q[1][i], q[1][j]}, [2]float64{q[2][i], q[2][j]}
	return lineBetween(o, a, b, c, d) || lineBetween(o, b, a, c, d) || lineBetween(o, c, d, a, b) || lineBetween(o, d, c, a, b)
}

// lineBetween reports whether the line from o through a lies between b and
// both c and d. Those may lie on the line, but not towards a.
func lineBetween(o, a, b, c, d [2]float64) bool {
	s := turnSign(o[0], o[1], a[0], a[1], b[0], b[1])
	return s != 0 && beyond(o, a, c, s) && beyond(o, a, d, s)
}

// beyond reports whether c does not lie on side s of the line from o through a,
// nor on that line towards a.
func beyond(o, a, c [2]float64, s int) bool {
	switch turnSign(o[0], o[1], a[0], a[1], c[0], c[1]) {
	case s:
		return false
	case 0:
		return (a[0]-o[0])*(c[0]-o[0])+(a[1]-o[1])*(c[1]-o[1]) < 0
	}
	return true
}

// sameSide reports whether the second and third corner of u surely lie on one
// side of the plane of t.
func sameSide(t, u *[3]Vec) bool {
	plane := newFacetPlane(t[0], t[1], t[2])
	s := plane.side(u[1])
	return s != 0 && s == plane.side(u[2])
}

// meetingPoint returns a point near which two facets meet: where an edge of one
// pierces the other, or the middle of what their boxes share.
func meetingPoint(m *Mesh, f, g int32) Vec {
	for _, fg := range [2][2]int32{{f, g}, {g, f}} {
		a, b, c := m.Corners(fg[0])
		if !hasArea(a, b, c) {
			continue
		}
		n := b.Sub(a).Cross(c.Sub(a))
		for k := range int32(3) {
			v, w := m.ends(3*fg[1] + k)
			p, q := m.Verts[v], m.Verts[w]
			if orient3(a, b, c, p) != orient3(a, b, c, q) && segmentMeetsTriangle(p, q, a, b, c) {
				hp, hq := math.Abs(n.Dot(p.Sub(a))), math.Abs(n.Dot(q.Sub(a)))
				return p.Add(q.Sub(p).Scale(hp / max(hp+hq, math.SmallestNonzeroFloat64)))
			}
		}
	}
	var boxes [2]Box
	for i, h := range []int32{f, g} {
		a, b, c := m.Corners(h)
		boxes[i] = EmptyBox().Grow(a).Grow(b).Grow(c)
	}
	var mid Vec
	for k := range mid {
		mid[k] = (max(boxes[0].Min[k], boxes[1].Min[k]) + min(boxes[0].Max[k], boxes[1].Max[k])) / 2
	}
	return mid
}
