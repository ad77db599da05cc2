package mesh

import (
	"context"
	"math"
	"math/bits"
	"slices"
)

// This file tells surface that bounds a body from surface that lies in another
// one, for meshes of bodies that touch or run into each other.

// bodies says of facets on which sides of them there is material. That changes
// along a shell only where another shell comes near, so all facets that hang
// together between such places are told by one point.
type bodies struct {
	nest *nest
	side []uint8 // by facet
	is   []bool  // by shell: whether it is a body or a void in one
	// By shell: whether all its facets, as it counts for material, face away from
	// its middle. It then winds around no place less than 0 times: whatever a way
	// from the middle passes, it leaves the shell there.
	outward []bool
}

// What bodies.side holds: whether there is material where the facet's normal
// points, and behind it; or that this is not the same all over the facet.
const (
	solidAhead uint8 = 1 << iota
	solidBehind
	sideMixed
)

// newBodies returns nil if no two bodies come as near to each other as width: then
// all surface bounds something. Open shells have no inside, and count for nothing;
// nor does a closed one drawn inside out that may be a void in an open one. All of their
// surface bounds something.
func newBodies(ctx context.Context, m *Mesh, width float64) (*bodies, error) {
	if m.Topology().Shells < 2 {
		return nil, nil
	}
	n, err := m.nested.get(ctx)
	if err != nil {
		return nil, err
	}
	b := &bodies{nest: n, side: make([]uint8, len(m.Facets)), is: make([]bool, len(n.shells))}
	for i, s := range n.shells {
		b.is[i] = s.closed && (s.outward == (s.depth%2 == 0) || !n.inOpen(&s))
	}
	met := false
	for i := range n.shells {
		if met = b.is[i] && b.otherNear(int32(i), n.shells[i].box.Widened(width)); met {
			break
		}
	}
	if !met || !b.markMeeting(ctx, width) {
		return nil, ctx.Err()
	}
	b.spread(ctx)
	b.findOutward(ctx)
	return b, ctx.Err()
}

func (b *bodies) findOutward(ctx context.Context) {
	m, shell := b.nest.m, b.nest.m.Topology().Shell
	b.outward = slices.Clone(b.is)
	for f := range int32(len(m.Facets)) {
		if f%nestStep == 0 && ctx.Err() != nil {
			return
		}
		s := shell[f]
		if !b.outward[s] {
			continue
		}
		p, q, r := m.Corners(f)
		box := b.nest.shells[s].box
		b.outward[s] = orient3(p, q, r, box.Min.Add(box.Max).Scale(0.5))*b.nest.weight(f) < 0
	}
}

// markMeeting marks the facets of bodies that come as near as width to
// a facet of another one, and reports whether there are any.
func (b *bodies) markMeeting(ctx context.Context, width float64) bool {
	m, shell := b.nest.m, b.nest.m.Topology().Shell
	tree := m.BVH()
	_ = each(ctx, len(m.Facets), 1<<10, func(i int) {
		f := int32(i)
		box := m.facetBox(f).Widened(width)
		if !b.is[shell[f]] || !b.otherNear(shell[f], box) {
			return
		}
		p, q, r := m.Corners(f)
		tree.closeTo(f, width, func(g int32) bool {
			if shell[g] == shell[f] || !b.is[shell[g]] {
				return true
			}
			x, y, z := m.Corners(g)
			if !facetsApart(&[3]Vec{p, q, r}, &[3]Vec{x, y, z}, width) {
				b.side[f] = sideMixed
			}
			return b.side[f] == 0
		})
	})
	for _, s := range b.side {
		if s != 0 {
			return true
		}
	}
	return false
}

// closeTo calls visit for the facets whose boxes come as near as margin to that of
// facet f and that no plane along its sides parts from it by more, in no promised
// order, until visit returns false.
func (b *BVH) closeTo(f int32, margin float64, visit func(g int32) bool) {
	boxes, sides := newBoxLanes(b.m.facetBox(f).Widened(margin)), b.newSideLanes(f, margin)
	b.besideIn(&boxes, &sides, visit)
}

// besideIn calls visit for the facets whose boxes meet a box and that don't lie
// beyond one of some sides, in no promised order, until visit returns false.
func (b *BVH) besideIn(boxes *boxLanes, sides *sideLanes, visit func(f int32) bool) {
	b.leavesIn(boxes, func(leaf int32) bool {
		bl := &b.blocks[leaf]
		mask := boxFacets(bl, boxes)
		if mask != 0 {
			mask &= besideFacets(bl, sides)
		}
		for ; mask != 0; mask &= mask - 1 {
			if !visit(bl.facet[bits.TrailingZeros32(mask)&7]) {
				return false
			}
		}
		return true
	})
}

// otherNear reports whether the box of another body meets a box.
func (b *bodies) otherNear(own int32, box Box) (near bool) {
	b.nest.boxes.InBox(box, func(i int32) bool {
		near = i != own && b.is[i]
		return !near
	})
	return near
}

// facetsApart reports whether a plane square to one of the facets, or to an
// edge of each, parts them by more than width. Some that are a little farther
// apart than width, corner to corner, don't pass.
func facetsApart(p, q *[3]Vec, width float64) bool {
	var e, f [3]Vec
	for i := range 3 {
		e[i], f[i] = p[(i+1)%3].Sub(p[i]), q[(i+1)%3].Sub(q[i])
	}
	parts := func(d Vec) bool {
		l := d.Norm()
		if l == 0 {
			return false
		}
		a0, a1, b0, b1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for i := range 3 {
			a, b := p[i].Sub(p[0]).Dot(d), q[i].Sub(p[0]).Dot(d)
			a0, a1, b0, b1 = min(a0, a), max(a1, a), min(b0, b), max(b1, b)
		}
		return max(b0-a1, a0-b1) > width*l
	}
	np, nq := e[0].Cross(e[1]), f[0].Cross(f[1])
	if parts(np) || parts(nq) {
		return true
	}
	for i := range 3 {
		if parts(np.Cross(e[i])) || parts(nq.Cross(f[i])) {
			return true
		}
		for j := range 3 {
			if parts(e[i].Cross(f[j])) {
				return true
			}
		}
	}
	return false
}

// spread tells the sides of all facets that no other shell comes near, piece by
// piece.
func (b *bodies) spread(ctx context.Context) {
	const untold = 0xff
	m, top := b.nest.m, b.nest.m.Topology()
	for f, s := range b.side {
		switch {
		case !b.is[top.Shell[f]]:
			b.side[f] = solidBehind
		case s == 0:
			b.side[f] = untold
		}
	}
	var stack []int32
	for f := range b.side {
		if b.side[f] != untold {
			continue
		}
		if ctx.Err() != nil {
			return
		}
		others := b.around(int32(f), m.Centre(int32(f)))
		b.side[f] = b.sides(int32(f), others)
		stack = append(stack[:0], int32(f))
		for len(stack) > 0 {
			g := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for k := range 3 {
				if h := top.Neighbour(g, k); h >= 0 && b.side[h] == untold {
					b.side[h] = b.sides(h, others)
					stack = append(stack, h)
				}
			}
		}
	}
}

// around is how often the other bodies wind around a point on a facet.
func (b *bodies) around(f int32, p Vec) int {
	own := b.nest.m.Topology().Shell[f]
	return b.windOf(p, func(shell int32) bool { return shell != own })
}

// windOf is how often some bodies wind around a point.
func (b *bodies) windOf(p Vec, counts func(shell int32) bool) int {
	shell, at, reach := b.nest.m.Topology().Shell, Box{p, p}, EmptyBox()
	b.nest.boxes.InBox(at, func(i int32) bool {
		if counts(i) && b.is[i] {
			reach = reach.Join(b.nest.shells[i].box)
		}
		return true
	})
	if reach.Min[0] > reach.Max[0] {
		return 0
	}
	return b.nest.windIn(reach, p, true, func(g int32) int {
		if s := shell[g]; !counts(s) || !b.is[s] || !boxesMeet(b.nest.shells[s].box, at) {
			return 0
		}
		return b.nest.weight(g)
	})
}

// windOfOne is windOf for one body.
func (b *bodies) windOfOne(p Vec, of int32) int {
	shell, box := b.nest.m.Topology().Shell, b.nest.shells[of].box
	if !boxesMeet(box, Box{p, p}) {
		return 0
	}
	return b.nest.windIn(box, p, true, func(g int32) int {
		if shell[g] != of {
			return 0
		}
		return b.nest.weight(g)
	})
}

// sides tells the sides of a facet from how often the other shells wind around
// it. Outside its own shell that adds nothing, inside as much as the shell counts.
func (b *bodies) sides(f int32, others int) (s uint8) {
	ahead, behind := others, others
	if w := b.nest.weight(f); b.nest.turn[f] > 0 {
		behind += w
	} else {
		ahead -= w
	}
	if ahead > 0 {
		s |= solidAhead
	}
	if behind > 0 {
		s |= solidBehind
	}
	return s
}
