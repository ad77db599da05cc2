package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file tells how far it is out of holes that open into one another, as crossing
// bores do.
//
// Two holes are joined where their axes pass no farther apart than the radius of the
// wider, but at a bottom, unless the other ends open there. Ways lead along the axes.

const (
	// netWidth is the least width of a hole that opens another on the way, in parts of
	// the other's (common practice, no source).
	netWidth = 0.5
	// netRoom is the width from which a hole is a way out of another, as a room is, in
	// parts of the other's: cf. passageStep.
	netRoom = passageStep
)

// holeNet holds the places of holes where they end or meet others, as nodes.
type holeNet struct {
	holes []Cylinder
	nodes []netNode
	of    [][]int32 // by hole: its nodes in order along its axis
}

type netNode struct {
	hole int32
	rank int32   // among the nodes of its hole
	at   float64 // mm along the axis from the hole's middle
	open bool    // an end that is open, and meets no other hole
	into []netWay
}

// netWay leads from a hole into another.
type netWay struct {
	to int32 // node
	mm float64
}

// measureWays sets OpenMM and BlindMM of all holes.
func measureWays(ctx context.Context, holes []Cylinder) error {
	n, err := newHoleNet(ctx, holes)
	if err != nil {
		return err
	}
	return each(ctx, len(holes), 16, func(i int) {
		holes[i].OpenMM, holes[i].BlindMM = n.ways(ctx, int32(i))
	})
}

func newHoleNet(ctx context.Context, holes []Cylinder) (*holeNet, error) {
	n := &holeNet{holes: holes, of: make([][]int32, len(holes))}
	boxes := make([]Box, len(holes))
	for i := range holes {
		h := &holes[i]
		half := h.Axis.Scale(h.LengthMM / 2)
		boxes[i] = EmptyBox().Grow(h.At.Sub(half)).Grow(h.At.Add(half)).Widened(h.DiameterMM / 2)
		n.add(int32(i), -h.LengthMM/2)
		n.add(int32(i), h.LengthMM/2)
		for _, e := range n.of[i] {
			n.nodes[e].open = n.openEnd(int32(i), n.nodes[e].at)
		}
	}
	if err := eachMeeting(ctx, boxes, n.join); err != nil {
		return nil, err
	}
	for _, of := range n.of {
		slices.SortFunc(of, func(a, b int32) int {
			return cmp.Or(cmp.Compare(n.nodes[a].at, n.nodes[b].at), cmp.Compare(a, b))
		})
		for k, a := range of {
			n.nodes[a].rank = int32(k)
		}
	}
	return n, nil
}

// openEnd reports whether a place along a hole is an end that is open.
func (n *holeNet) openEnd(i int32, at float64) bool {
	h := &n.holes[i]
	return math.Abs(at) >= h.LengthMM/2 && (h.Through || h.OpenEnds == 1 && at > 0)
}

// inside returns the place along a hole where another of a radius meets it near a place:
// an end that is open, if that lies in the other.
func (n *holeNet) inside(i int32, at, radius float64) float64 {
	if end := math.Copysign(n.holes[i].LengthMM/2, at); math.Abs(end-at) <= radius && n.openEnd(i, end) {
		return end
	}
	return at
}

// bottom reports whether a place along a hole is an end that is closed.
func (n *holeNet) bottom(i int32, at float64) bool {
	return math.Abs(at) >= n.holes[i].LengthMM/2 && !n.openEnd(i, at)
}

// add returns the node at a place of a hole.
func (n *holeNet) add(i int32, at float64) int32 {
	for _, k := range n.of[i] {
		if n.nodes[k].at == at {
			return k
		}
	}
	k := int32(len(n.nodes))
	n.nodes = append(n.nodes, netNode{hole: i, at: at})
	n.of[i] = append(n.of[i], k)
	return k
}

// join joins two holes if they meet.
func (n *holeNet) join(i, j int32) {
	a, b := &n.holes[i], &n.holes[j]
	s, t := nearestOnAxes(a, b)
	gap := a.At.Add(a.Axis.Scale(s)).Sub(b.At.Add(b.Axis.Scale(t))).Norm()
	s, t = n.inside(i, s, b.DiameterMM/2), n.inside(j, t, a.DiameterMM/2)
	openA, openB := n.openEnd(i, s), n.openEnd(j, t)
	if gap > max(a.DiameterMM, b.DiameterMM)/2 || n.bottom(i, s) && !openB || n.bottom(j, t) && !openA {
		return
	}
	k, l := n.add(i, s), n.add(j, t)
	// Where both are open, they end in each other or lead out side by side.
	if openA != openB || openA && s*t*a.Axis.Dot(b.Axis) < 0 {
		n.nodes[k].open, n.nodes[l].open = false, false
	}
	if b.DiameterMM >= netWidth*a.DiameterMM {
		n.nodes[k].into = append(n.nodes[k].into, netWay{l, gap})
	}
	if a.DiameterMM >= netWidth*b.DiameterMM {
		n.nodes[l].into = append(n.nodes[l].into, netWay{k, gap})
	}
}

// nearestOnAxes returns where along two holes, from their middles, their axes are
// nearest to each other; cf. Ericson (2004), "Real-Time Collision Detection", 5.1.9.
func nearestOnAxes(a, b *Cylinder) (s, t float64) {
	most := [2]float64{a.LengthMM / 2, b.LengthMM / 2}
	clamp := func(v, most float64) float64 { return min(max(v, -most), most) }
	between := b.At.Sub(a.At)
	along, on, across := a.Axis.Dot(between), b.Axis.Dot(between), a.Axis.Dot(b.Axis)
	if apart := 1 - across*across; apart > 1e-9 {
		s = clamp((along-across*on)/apart, most[0])
	} else {
		s = clamp(along, most[0])
	}
	t = s*across - on
	if math.Abs(t) > most[1] {
		t = clamp(t, most[1])
		s = clamp(along+t*across, most[0])
	}
	return s, t
}

// ways returns the longest way in a hole from one way out to the next, and from a closed
// end to the nearest. A hole that leads nowhere is measured as if no other met it.
func (n *holeNet) ways(ctx context.Context, i int32) (open, blind float64) {
	of := n.of[i]
	h := &n.holes[i]
	at := make([]float64, len(of))
	out := make([]float64, len(of)) // beside the hole itself
	first, last := -1, -1
	for k, a := range of {
		at[k], out[k] = n.nodes[a].at, n.out(ctx, a)
		if !math.IsInf(out[k], 1) {
			if first < 0 {
				first = k
			}
			last = k
		}
	}
	if first < 0 {
		if h.Through {
			return h.LengthMM, 0
		}
		return 0, h.LengthMM
	}
	below, above := slices.Clone(out), slices.Clone(out) // by the hole on either side too
	for k := first + 1; k <= last; k++ {
		below[k] = min(below[k], below[k-1]+(at[k]-at[k-1]))
	}
	for k := last - 1; k >= first; k-- {
		above[k] = min(above[k], above[k+1]+(at[k+1]-at[k]))
	}
	for k, from := first+1, first; k <= last; k++ {
		if !math.IsInf(out[k], 1) {
			open = max(open, below[from]+at[k]-at[from]+above[k])
			from = k
		}
	}
	if first > 0 {
		blind = above[first] + at[first] - at[0]
	}
	if end := len(at) - 1; last < end {
		blind = max(blind, below[last]+at[end]-at[last])
	}
	return open, blind
}

// out returns the length of the shortest way from a node to where a hole ends in the
// open, or one is that much wider than the node's own (netRoom), without a step along
// that; +Inf if there is none.
func (n *holeNet) out(ctx context.Context, from int32) float64 {
	if n.nodes[from].open {
		return 0
	}
	room := func(k int32) bool {
		return n.holes[n.nodes[k].hole].DiameterMM >= netRoom*n.holes[n.nodes[from].hole].DiameterMM
	}
	best, done := map[int32]float64{from: 0}, map[int32]bool{}
	var queue wayQueue
	visit := func(to int32, mm float64) {
		if old, met := best[to]; (!met || mm < old) && n.nodes[to].hole != n.nodes[from].hole {
			best[to] = mm
			queue.push(to, mm)
		}
	}
	queue.push(from, 0)
	for len(queue.heap) > 0 && ctx.Err() == nil {
		at := queue.pop()
		if done[at] {
			continue
		}
		done[at] = true
		a, mm := &n.nodes[at], best[at]
		if a.open || room(at) {
			return mm
		}
		for _, next := range a.into {
			if room(next.to) {
				next.mm = 0
			}
			visit(next.to, mm+next.mm)
		}
		if at == from {
			continue
		}
		of := n.of[a.hole]
		if a.rank > 0 {
			to := of[a.rank-1]
			visit(to, mm+a.at-n.nodes[to].at)
		}
		if int(a.rank) < len(of)-1 {
			to := of[a.rank+1]
			visit(to, mm+n.nodes[to].at-a.at)
		}
	}
	return math.Inf(1)
}
