package mesh

import (
	"context"
	"math"
)

// intersections is what selfIntersections found.
type intersections struct {
	count int
	more  bool
	at    []Vec
}

// Facets are examined in chunks of intersectChunk; a chunk that finds
// intersectMost pairs, or examines intersectWork, stops, so that a heap of
// facets on one spot costs no more than its number.
const (
	intersectChunk = 512
	intersectMost  = 1 << 14
	intersectWork  = 1 << 22
)

// selfIntersections counts the pairs of facets that meet elsewhere than at
// corners they share. Pairs come from the search tree; nearly all are told apart
// by a plane found in floating point, the rest by exact signs.
func selfIntersections(ctx context.Context, m *Mesh) (intersections, error) {
	tree := m.BVH()
	parts := make([]intersections, (len(m.Facets)+intersectChunk-1)/intersectChunk)
	err := parallel(ctx, len(m.Facets), intersectChunk, func(from, to int) error {
		p := &parts[from/intersectChunk]
		work := 0
		for f := int32(from); f < int32(to) && !p.more; f++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			a, b, c := m.Corners(f)
			if !hasArea(a, b, c) {
				continue
			}
			tree.InBox(EmptyBox().Grow(a).Grow(b).Grow(c), func(g int32) bool {
				work++
				if g > f && facetsMeet(m, f, g) {
					if p.count++; len(p.at) < maxPlaces {
						p.at = append(p.at, meetingPoint(m, f, g))
					}
				}
				p.more = p.count >= intersectMost || work >= intersectWork
				return !p.more
			})
		}
		return nil
	})
	var all intersections
	for _, p := range parts {
		all.count += p.count
		all.more = all.more || p.more
		all.at = append(all.at, p.at[:min(len(p.at), maxPlaces-len(all.at))]...)
	}
	return all, err
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
		return !apart(&p, &q) && trianglesMeet(&p, &q)
	case 1:
		return !apartAtCorner(&p, &q) && hasArea(q[0], q[1], q[2]) &&
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
// lie in one plane on the same side of it.
func folded(a, b, c, d Vec) bool {
	if orient3(a, b, c, d) != 0 {
		return false
	}
	for k := range 3 {
		if s := orient2(a, b, c, k); s != 0 {
			return s == orient2(a, b, d, k)
		}
	}
	return false
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

// axisErr bounds what a sum of three products may be off by, as a share of the
// sum of the largest possible ones.
const axisErr = 8 * halfUlp

// separates reports whether the direction d surely tells p from q: all of p's
// points from i on lie further along it than all of q's, seen from o. Any d
// will do, so it needs no error bound itself.
func separates(d, o Vec, p, q *[3]Vec, i int) bool {
	far := 0.0
	least, most := math.Inf(1), math.Inf(-1)
	for k := i; k < 3; k++ {
		v, w := p[k].Sub(o), q[k].Sub(o)
		for j := range 3 {
			far = max(far, math.Abs(v[j]), math.Abs(w[j]))
		}
		least, most = min(least, d.Dot(v)), max(most, d.Dot(w))
	}
	return least-most > 2*axisErr*far*(math.Abs(d[0])+math.Abs(d[1])+math.Abs(d[2]))+underflowErr
}

// apart reports whether a plane surely lies between two triangles that share no
// corner: parallel to one of them, or across one of their planes along an edge.
func apart(p, q *[3]Vec) bool {
	n := p[1].Sub(p[0]).Cross(p[2].Sub(p[0]))
	if either(n, p, q) {
		return true
	}
	l := q[1].Sub(q[0]).Cross(q[2].Sub(q[0]))
	if either(l, p, q) {
		return true
	}
	for k := range 3 {
		if either(n.Cross(p[(k+1)%3].Sub(p[k])), p, q) || either(l.Cross(q[(k+1)%3].Sub(q[k])), p, q) {
			return true
		}
	}
	return false
}

func either(d Vec, p, q *[3]Vec) bool {
	return separates(d, p[0], p, q, 0) || separates(d, p[0], q, p, 0)
}

// apartAtCorner reports whether two triangles that share their first corner
// surely have nothing else in common: the others of one lie on one side of the
// other's plane, or a plane through the corner lies between them.
func apartAtCorner(p, q *[3]Vec) bool {
	sameSide := func(t, u *[3]Vec) bool {
		s1, sure1 := orient3Fast(t[0], t[1], t[2], u[1])
		s2, sure2 := orient3Fast(t[0], t[1], t[2], u[2])
		return sure1 && sure2 && s1 == s2 && s1 != 0
	}
	if sameSide(p, q) || sameSide(q, p) {
		return true
	}
	// A plane between the two edges, of one each, that are nearest in angle.
	o := p[0]
	var u, v [3]Vec
	for k := 1; k < 3; k++ {
		u[k], v[k] = p[k].Sub(o).Unit(), q[k].Sub(o).Unit()
	}
	i, j := 1, 1
	for k := 1; k < 3; k++ {
		for l := 1; l < 3; l++ {
			if u[k].Dot(v[l]) > u[i].Dot(v[j]) {
				i, j = k, l
			}
		}
	}
	n := u[1].Cross(u[2])
	if w := v[1].Cross(v[2]); n.Dot(w) < 0 {
		n = n.Sub(w)
	} else {
		n = n.Add(w)
	}
	d := n.Cross(u[i].Add(v[j]))
	return strictly(d, o, p, q) || strictly(d, o, q, p)
}

// strictly reports whether d surely points from o to the second and third
// corners of p and away from those of q.
func strictly(d, o Vec, p, q *[3]Vec) bool {
	size := math.Abs(d[0]) + math.Abs(d[1]) + math.Abs(d[2])
	for k := 1; k < 3; k++ {
		v, w := p[k].Sub(o), q[k].Sub(o)
		far := max(math.Abs(v[0]), math.Abs(v[1]), math.Abs(v[2]), math.Abs(w[0]), math.Abs(w[1]), math.Abs(w[2]))
		if err := axisErr*far*size + underflowErr; !(d.Dot(v) > err && d.Dot(w) < -err) {
			return false
		}
	}
	return true
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
