package mesh

import (
	"math"
	"sort"
)

// BVH is a search tree over a mesh's facets: rays, nearest points, boxes.
type BVH struct {
	m     *Mesh
	nodes []bvhNode
	order []int32 // facets in leaf order
}

type bvhNode struct {
	box         Box
	left, right int32 // children, or -1
	from, to    int32 // range of order, for a leaf
}

// Hit is where a ray meets a facet.
type Hit struct {
	Facet int32
	T     float64 // along the direction as given, in its lengths
}

// Near is the nearest point of a mesh to a query point.
type Near struct {
	Facet int32
	Point Vec
	Dist  float64 // mm
}

const bvhLeaf = 4

func newBVH(m *Mesh) *BVH {
	b := &BVH{m: m, order: make([]int32, len(m.Facets))}
	boxes := make([]Box, len(m.Facets))
	for f := range m.Facets {
		p, q, r := m.Corners(int32(f))
		boxes[f] = EmptyBox().Grow(p).Grow(q).Grow(r)
		b.order[f] = int32(f)
	}
	if len(m.Facets) > 0 {
		b.build(boxes, 0, int32(len(m.Facets)))
	}
	return b
}

func (b *BVH) build(boxes []Box, from, to int32) int32 {
	id := int32(len(b.nodes))
	box := EmptyBox()
	mid := EmptyBox()
	for _, f := range b.order[from:to] {
		box = box.Join(boxes[f])
		mid = mid.Grow(boxes[f].Min.Add(boxes[f].Max))
	}
	b.nodes = append(b.nodes, bvhNode{box: box, left: -1, right: -1, from: from, to: to})
	if to-from <= bvhLeaf {
		return id
	}
	k, s := 0, mid.Size()
	for j := range 3 {
		if s[j] > s[k] {
			k = j
		}
	}
	part := b.order[from:to]
	sort.Slice(part, func(i, j int) bool {
		x, y := boxes[part[i]], boxes[part[j]]
		a, c := x.Min[k]+x.Max[k], y.Min[k]+y.Max[k]
		return a < c || a == c && part[i] < part[j]
	})
	half := from + (to-from)/2
	l := b.build(boxes, from, half)
	r := b.build(boxes, half, to)
	b.nodes[id].left, b.nodes[id].right = l, r
	return id
}

// rayBox reports whether the ray meets the box within (tMin, tMax). Parallel
// rays are written out: a slab test with infinities would make 0*Inf = NaN.
func rayBox(x Box, o, d Vec, tMin, tMax float64) bool {
	for k := range 3 {
		if d[k] == 0 {
			if o[k] < x.Min[k] || o[k] > x.Max[k] {
				return false
			}
			continue
		}
		t0, t1 := (x.Min[k]-o[k])/d[k], (x.Max[k]-o[k])/d[k]
		if t0 > t1 {
			t0, t1 = t1, t0
		}
		tMin, tMax = max(tMin, t0-1e-9*math.Abs(t0)), min(tMax, t1+1e-9*math.Abs(t1))
	}
	return tMin <= tMax
}

// Ray returns the nearest facet that the ray o + t*d meets for tMin < t < tMax.
// Of facets at the same t the lowest number wins.
func (b *BVH) Ray(o, d Vec, tMin, tMax float64) (Hit, bool) {
	best := Hit{Facet: -1, T: tMax}
	b.rays(o, d, tMin, func() float64 { return best.T }, func(h Hit) {
		if h.T < best.T || h.T == best.T && best.Facet >= 0 && h.Facet < best.Facet {
			best = h
		}
	})
	return best, best.Facet >= 0
}

// RayAll appends every facet that the ray meets for tMin < t < tMax to buf, in
// order of t, then facet. A ray through an edge meets both its facets.
func (b *BVH) RayAll(o, d Vec, tMin, tMax float64, buf []Hit) []Hit {
	n := len(buf)
	b.rays(o, d, tMin, func() float64 { return tMax }, func(h Hit) {
		if h.T < tMax {
			buf = append(buf, h)
		}
	})
	got := buf[n:]
	sort.Slice(got, func(i, j int) bool {
		return got[i].T < got[j].T || got[i].T == got[j].T && got[i].Facet < got[j].Facet
	})
	return buf
}

func (b *BVH) rays(o, d Vec, tMin float64, tMax func() float64, hit func(Hit)) {
	if len(b.nodes) == 0 {
		return
	}
	var stack [64]int32
	n := 1
	for n > 0 {
		n--
		nd := &b.nodes[stack[n]]
		if !rayBox(nd.box, o, d, tMin, tMax()) {
			continue
		}
		if nd.left >= 0 {
			stack[n], stack[n+1] = nd.right, nd.left
			n += 2
			continue
		}
		for _, f := range b.order[nd.from:nd.to] {
			p, q, r := b.m.Corners(f)
			if t, ok := rayFacet(o, d, p, q, r); ok && t > tMin {
				hit(Hit{f, t})
			}
		}
	}
}

// rayFacet is the test of Möller and Trumbore (1997), "Fast, Minimum Storage
// Ray/Triangle Intersection", with closed edges. A ray in the facet's plane
// misses it.
func rayFacet(o, d, p, q, r Vec) (float64, bool) {
	e1, e2 := q.Sub(p), r.Sub(p)
	h := d.Cross(e2)
	det := e1.Dot(h)
	if det == 0 {
		return 0, false
	}
	inv := 1 / det
	s := o.Sub(p)
	u := inv * s.Dot(h)
	if u < -1e-12 || u > 1+1e-12 {
		return 0, false
	}
	c := s.Cross(e1)
	v := inv * d.Dot(c)
	if v < -1e-12 || u+v > 1+1e-12 {
		return 0, false
	}
	return inv * e2.Dot(c), true
}

// Nearest returns the point of the mesh nearest to p within maxDist, over the
// facets that keep accepts (nil accepts all).
func (b *BVH) Nearest(p Vec, maxDist float64, keep func(f int32, q Vec) bool) (Near, bool) {
	best := Near{Facet: -1, Dist: maxDist}
	if len(b.nodes) > 0 {
		b.nearest(0, p, keep, &best)
	}
	return best, best.Facet >= 0
}

func (b *BVH) nearest(id int32, p Vec, keep func(int32, Vec) bool, best *Near) {
	nd := &b.nodes[id]
	if nd.left < 0 {
		for _, f := range b.order[nd.from:nd.to] {
			x, y, z := b.m.Corners(f)
			q := nearestOnFacet(p, x, y, z)
			d := q.Sub(p).Norm()
			if (d < best.Dist || d == best.Dist && f < best.Facet) && (keep == nil || keep(f, q)) {
				*best = Near{f, q, d}
			}
		}
		return
	}
	l, r := nd.left, nd.right
	dl, dr := boxDist(b.nodes[l].box, p), boxDist(b.nodes[r].box, p)
	if dr < dl {
		l, r, dl, dr = r, l, dr, dl
	}
	if dl <= best.Dist {
		b.nearest(l, p, keep, best)
	}
	if dr <= best.Dist {
		b.nearest(r, p, keep, best)
	}
}

func boxDist(x Box, p Vec) float64 {
	var s float64
	for k := range 3 {
		d := max(x.Min[k]-p[k], 0, p[k]-x.Max[k])
		s += float64(d * d)
	}
	return math.Sqrt(s)
}

// nearestOnFacet follows Ericson (2004), "Real-Time Collision Detection", 5.1.5.
func nearestOnFacet(p, a, b, c Vec) Vec {
	ab, ac, ap := b.Sub(a), c.Sub(a), p.Sub(a)
	d1, d2 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && d2 <= 0 {
		return a
	}
	bp := p.Sub(b)
	d3, d4 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && d4 <= d3 {
		return b
	}
	if vc := d1*d4 - d3*d2; vc <= 0 && d1 >= 0 && d3 <= 0 {
		return a.Add(ab.Scale(d1 / (d1 - d3)))
	}
	cp := p.Sub(c)
	d5, d6 := ab.Dot(cp), ac.Dot(cp)
	if d6 >= 0 && d5 <= d6 {
		return c
	}
	if vb := d5*d2 - d1*d6; vb <= 0 && d2 >= 0 && d6 <= 0 {
		return a.Add(ac.Scale(d2 / (d2 - d6)))
	}
	if va := d3*d6 - d5*d4; va <= 0 && d4-d3 >= 0 && d5-d6 >= 0 {
		return b.Add(c.Sub(b).Scale((d4 - d3) / ((d4 - d3) + (d5 - d6))))
	}
	va, vb, vc := d3*d6-d5*d4, d5*d2-d1*d6, d1*d4-d3*d2
	s := 1 / (va + vb + vc)
	return a.Add(ab.Scale(vb * s)).Add(ac.Scale(vc * s))
}

// InBox calls visit for every facet whose box meets box, in no promised order,
// until visit returns false.
func (b *BVH) InBox(box Box, visit func(f int32) bool) {
	if len(b.nodes) == 0 {
		return
	}
	var stack [64]int32
	n := 1
	for n > 0 {
		n--
		nd := &b.nodes[stack[n]]
		if !boxesMeet(nd.box, box) {
			continue
		}
		if nd.left >= 0 {
			stack[n], stack[n+1] = nd.right, nd.left
			n += 2
			continue
		}
		for _, f := range b.order[nd.from:nd.to] {
			p, q, r := b.m.Corners(f)
			if boxesMeet(EmptyBox().Grow(p).Grow(q).Grow(r), box) && !visit(f) {
				return
			}
		}
	}
}

func boxesMeet(a, b Box) bool {
	for k := range 3 {
		if a.Min[k] > b.Max[k] || b.Min[k] > a.Max[k] {
			return false
		}
	}
	return true
}
