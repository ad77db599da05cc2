package mesh

import (
	"context"
	"math"
	"slices"
)

// This file defines which side of the surface is material: how closed shells
// lie inside one another, and on which side of them a point is.

// nest says how the closed shells of a mesh lie inside one another. Shells
// that face outwards bound material at even depth and empty space at odd depth,
// whichever way their facets are wound: a void whose shell was drawn inside out
// stays a void.
type nest struct {
	m      *Mesh
	turn   []int8 // by facet: +1 if its winding faces out of its own shell, -1 if it has to be turned
	shells []nestShell
	boxes  *BVH // over the shells' boxes, see boxTree
	box    Box
	sound  bool // every shell is closed: one line decides a side, and no vote is needed
}

type nestShell struct {
	closed  bool
	outward bool    // most of its area is drawn facing out of it
	volume  float64 // enclosed by this shell alone, mm3, not negative
	area    float64
	box     Box
	samples []int32 // a few of its larger facets, spread over it
	depth   int     // closed shells around it
	parent  int32   // the innermost of them, or -1
}

// nestSamples points of a shell have to lie inside another shell before the one
// counts as nested in the other: bodies that only overlap are not.
const nestSamples = 5

func newNest(ctx context.Context, m *Mesh) (*nest, error) {
	n := &nest{m: m, turn: make([]int8, len(m.Facets)), box: m.Box(), sound: true}
	n.shells = make([]nestShell, m.Topology().Shells)
	for s := range n.shells {
		n.shells[s] = nestShell{closed: true, box: EmptyBox(), parent: -1}
	}
	for _, step := range []func(context.Context) error{n.orient, n.closeEdges, n.sum, n.layBoxes, n.findDepths} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	return n, nil
}

// orient turns the facets of each shell the same way, walking over edges that
// two facets share. A shell that can't be turned (a Möbius strip) is not closed.
func (n *nest) orient(ctx context.Context) error {
	t := n.m.Topology()
	var stack []int32
	turned := 0
	for f := range n.turn {
		if n.turn[f] != 0 {
			continue
		}
		n.turn[f] = 1
		stack = append(stack[:0], int32(f))
		for len(stack) > 0 {
			if turned++; turned%nestStep == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			g := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for k := range 3 {
				h := t.Twin[3*g+int32(k)]
				if h < 0 {
					continue
				}
				want := n.turn[g]
				if n.m.Facets[g][k] == n.m.Facets[h/3][h%3] {
					want = -want
				}
				if n.turn[h/3] == 0 {
					n.turn[h/3] = want
					stack = append(stack, h/3)
				} else if n.turn[h/3] != want {
					n.shells[t.Shell[g]].closed = false
				}
			}
		}
	}
	return nil
}

// nestStep is how many facets are looked at between two questions whether to go on.
const nestStep = 1 << 15

// closeEdges finds the shells with open edges. Where more than two facets meet
// at an edge, a shell is closed there if its own facets cancel.
func (n *nest) closeEdges(ctx context.Context) error {
	type edge struct{ shell, a, b int32 }
	t := n.m.Topology()
	sums := map[edge]int{}
	for h, twin := range t.Twin {
		if h%nestStep == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		f, k := int32(h/3), h%3
		s := t.Shell[f]
		switch {
		case twin == -1:
			n.shells[s].closed = false
		case twin < -1:
			a, b := n.m.Facets[f][k], n.m.Facets[f][(k+1)%3]
			if a < b {
				sums[edge{s, a, b}] += int(n.turn[f])
			} else {
				sums[edge{s, b, a}] -= int(n.turn[f])
			}
		}
	}
	for e, sum := range sums {
		if sum != 0 {
			n.shells[e.shell].closed = false
		}
	}
	return nil
}

// sum adds up volume and area and faces every shell outwards: a closed one by
// the sign of its volume, an open one as most of its area is drawn.
func (n *nest) sum(ctx context.Context) error {
	t := n.m.Topology()
	drawn := make([]float64, len(n.shells))
	for f := range n.m.Facets {
		if f%nestStep == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		box := &n.shells[t.Shell[f]].box
		for _, v := range n.m.Facets[f] {
			box.add(&n.m.Verts[v])
		}
	}
	largest := make([]float64, len(n.shells))
	for f := range n.m.Facets {
		if f%nestStep == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		id := t.Shell[f]
		s := &n.shells[id]
		c := &n.m.Facets[f]
		// Volumes from the shell's own corner keep their digits far from the origin.
		s.volume += float64(n.turn[f]) * det(&s.box.Min, &n.m.Verts[c[0]], &n.m.Verts[c[1]], &n.m.Verts[c[2]]) / 6
		area := n.m.Area(int32(f))
		s.area += area
		drawn[id] += float64(n.turn[f]) * area
		if area > largest[id] || len(s.samples) == 0 {
			largest[id] = area
			s.samples = append(s.samples[max(0, len(s.samples)+1-nestSamples):], int32(f))
		}
	}
	back := make([]bool, len(n.shells))
	for i := range n.shells {
		s := &n.shells[i]
		back[i] = s.volume < 0
		if !s.closed {
			back[i] = drawn[i] < 0
		}
		s.outward = back[i] == (drawn[i] < 0)
		s.volume = math.Abs(s.volume)
	}
	for f := range n.turn {
		if back[t.Shell[f]] {
			n.turn[f] = -n.turn[f]
		}
	}
	return nil
}

// layBoxes builds the search tree over the shells' boxes: each stands in it as a
// facet without area from one corner of its box to the opposite one.
func (n *nest) layBoxes(ctx context.Context) (err error) {
	verts := make([]Vec, 0, 2*len(n.shells))
	facets := make([][3]int32, len(n.shells))
	for i := range n.shells {
		at := int32(len(verts))
		verts = append(verts, n.shells[i].box.Min, n.shells[i].box.Max)
		facets[i] = [3]int32{at, at + 1, at + 1}
	}
	n.boxes, err = New(verts, facets).bvh.get(ctx)
	return err
}

// holds reports whether shell i is closed and has the point inside.
func (n *nest) holds(i int32, p Vec) bool {
	s := &n.shells[i]
	if !s.closed || !boxesMeet(s.box, Box{p, p}) {
		return false
	}
	return n.windIn(s.box, p, true, func(f int32) int { return n.among(f, i) }) != 0
}

func (n *nest) among(f, shell int32) int {
	if n.m.Topology().Shell[f] == shell {
		return int(n.turn[f])
	}
	return 0
}

func (n *nest) contains(outer, inner int32) bool {
	o, s := &n.shells[outer], &n.shells[inner]
	if outer == inner || !o.closed || o.volume <= s.volume {
		return false
	}
	for k := range 3 {
		if s.box.Min[k] < o.box.Min[k] || s.box.Max[k] > o.box.Max[k] {
			return false
		}
	}
	// What runs through the outer shell has some corner outside, mostly.
	for _, f := range s.samples {
		for k := range 4 {
			if !n.holds(outer, n.m.inFacet(f, k)) {
				return false
			}
		}
	}
	return true
}

// inFacet is a place in a facet: its centre, or near corner k.
func (m *Mesh) inFacet(f int32, k int) Vec {
	c := m.Centre(f)
	if k == 3 {
		return c
	}
	return c.Add(m.Verts[m.Facets[f][k]].Sub(c).Scale(0.99))
}

// findDepths counts the closed shells around each closed shell.
func (n *nest) findDepths(ctx context.Context) error {
	around := make([][]int32, len(n.shells))
	for i := range n.shells {
		if err := ctx.Err(); err != nil {
			return err
		}
		if !n.shells[i].closed {
			n.sound = false
			continue
		}
		at := n.shells[i].box.Min
		n.boxes.InBox(Box{at, at}, func(j int32) bool {
			if n.contains(j, int32(i)) {
				around[i] = append(around[i], j)
			}
			return true
		})
		slices.Sort(around[i])
		n.shells[i].depth = len(around[i])
	}
	for i, os := range around {
		s := &n.shells[i]
		for _, o := range os {
			if s.parent < 0 || n.shells[o].depth > n.shells[s.parent].depth {
				s.parent = o
			}
		}
	}
	return nil
}

// inOpen reports whether a shell may lie inside one that is not closed.
func (n *nest) inOpen(s *nestShell) (in bool) {
	n.boxes.InBox(Box{s.box.Min, s.box.Min}, func(i int32) bool {
		o := &n.shells[i]
		in = !o.closed && o.box.Join(s.box) == o.box
		return !in
	})
	return in
}

// weight is what passing out through a facet counts for: material's skin +1, a
// void's skin -1, against the facet's own winding where that was turned.
func (n *nest) weight(f int32) int {
	w := int(n.turn[f])
	if n.shells[n.m.Topology().Shell[f]].depth%2 == 1 {
		w = -w
	}
	return w
}

// solid reports whether a point lies in material. Bodies that overlap count
// once. In a mesh with open edges the lines along the three axes vote.
func (n *nest) solid(p Vec) bool { return n.wind(p, n.weight) > 0 }

// wind adds up the weights of the facets that lines from p along the axes
// cross, and returns what most lines say. Where every shell is closed, those
// count whose box holds p: the others are left as often as they are entered.
func (n *nest) wind(p Vec, weight func(f int32) int) int {
	if !n.sound {
		return n.windIn(n.box, p, false, weight)
	}
	reach := EmptyBox()
	n.boxes.InBox(Box{p, p}, func(i int32) bool {
		reach = reach.Join(n.shells[i].box)
		return true
	})
	switch {
	case reach.Min[0] > reach.Max[0]:
		return 0
	case len(n.shells) == 1:
		return n.windIn(reach, p, true, weight)
	}
	shell := n.m.Topology().Shell
	return n.windIn(reach, p, true, func(f int32) int {
		if !boxesMeet(n.shells[shell[f]].box, Box{p, p}) {
			return 0
		}
		return weight(f)
	})
}

// windIn is wind over facets that lie in a box. Its 2D tests negate exactly when
// a shared edge is walked the other way, so that no line slips between two facets
// or meets both; a line that hits an edge exactly is set aside. Where all that weighs
// anything is closed, the first of the others decides.
func (n *nest) windIn(box Box, p Vec, closed bool, weight func(f int32) int) int {
	var votes [3]int
	got, first := 0, 0
	if closed {
		first = shortest(box, p)
	}
	for i := range axisLines {
		line := axisLines[(first+i)%len(axisLines)]
		w, ok := n.windLine(box, p, line, weight)
		if !ok {
			continue
		}
		for _, v := range votes[:got] {
			if v == w {
				return w
			}
		}
		votes[got] = w
		if got++; closed || got == len(votes) {
			break
		}
	}
	return votes[0]
}

// shortest returns the number of the line that leaves a box first.
func shortest(box Box, p Vec) (first int) {
	least := math.Inf(1)
	for i, line := range axisLines {
		l := box.Max[line.axis] - p[line.axis]
		if line.dir < 0 {
			l = p[line.axis] - box.Min[line.axis]
		}
		if l < least {
			first, least = i, l
		}
	}
	return first
}

// axisLines are the lines that vote: axis, direction along it.
var axisLines = [6]struct {
	axis int
	dir  float64
}{{2, 1}, {0, 1}, {1, 1}, {2, -1}, {0, -1}, {1, -1}}

func (n *nest) windLine(box Box, p Vec, line struct {
	axis int
	dir  float64
}, weight func(f int32) int) (int, bool) {
	k := line.axis
	way, d := box.Max[k]-p[k], Vec{}
	if d[k] = line.dir; line.dir < 0 {
		way = p[k] - box.Min[k]
	}
	sum, ok := 0, true
	n.m.BVH().Along(p, d, max(way, 0), func(f int32) bool {
		w := weight(f)
		if w == 0 {
			return true
		}
		at, side, hit := crossLine(n.m, f, p, k)
		switch {
		case !hit:
		case side == 0 || at == p[k]:
			ok = false
		case (at-p[k])*line.dir > 0:
			if line.dir < 0 {
				w = -w
			}
			sum += w * side
		}
		return ok
	})
	return sum, ok
}

// crossLine says where the line through p along axis k crosses a facet, and
// which way the facet faces along it (+1, -1; 0 where the line meets an edge or
// lies in the facet).
func crossLine(m *Mesh, f int32, p Vec, k int) (at float64, side int, hit bool) {
	u, v := (k+1)%3, (k+2)%3
	a, b, c := m.Corners(f)
	turn := func(a, b Vec) float64 {
		return float64((a[u]-p[u])*(b[v]-p[v])) - float64((a[v]-p[v])*(b[u]-p[u]))
	}
	wc, wa, wb := turn(a, b), turn(b, c), turn(c, a)
	lo, hi := min(wa, wb, wc), max(wa, wb, wc)
	if lo < 0 && hi > 0 || hi == 0 && lo == 0 {
		return 0, 0, false
	}
	at = (wa*a[k] + wb*b[k] + wc*c[k]) / (wa + wb + wc)
	switch {
	case lo > 0:
		side = 1
	case hi < 0:
		side = -1
	}
	return at, side, true
}
