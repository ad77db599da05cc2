package mesh

import (
	"cmp"
	"math"
	"slices"
)

// This file makes one island of the sections of bodies that overlap.

// unite joins the islands of different shells whose material overlaps, and
// numbers of anew. w.rows lists the segments.
func (w *mason) unite(x *cut, of []int32, islands []island) []island {
	set := newSets(len(islands))
	shells := w.m.Topology().Shell
	apart := func(i, j int32) bool { // segments of what may have to be joined
		p, q := of[x.segs[i].loop], of[x.segs[j].loop]
		return p >= 0 && q >= 0 && set.find(p) != set.find(q) && shells[x.segs[i].facet] != shells[x.segs[j].facet]
	}
	for k := range w.rows.n {
		w.crossings(x, k, func(i, j int32) {
			if apart(i, j) && x.segs[i].crosses(&x.segs[j]) {
				set.join(of[x.segs[i].loop], of[x.segs[j].loop])
			}
		})
	}
	for i := range x.loops {
		if x.isFilled(&x.loops[i]) {
			s := x.loops[i].first
			w.around(x, of, x.segs[s].from, func(j int32) {
				if apart(s, j) {
					set.join(of[i], of[x.segs[j].loop])
				}
			})
		}
	}
	numbers, n := set.number()
	if int(n) == len(islands) {
		return islands
	}
	outlines := make([]int32, 0, len(islands))
	for i := range x.loops {
		if of[i] >= 0 {
			of[i] = numbers[of[i]]
		}
		if x.isFilled(&x.loops[i]) {
			outlines = append(outlines, int32(i))
		}
	}
	slices.SortStableFunc(outlines, func(i, j int32) int { return cmp.Compare(of[i], of[j]) })
	united := make([]island, 0, n)
	for from := 0; from < len(outlines); {
		to := from + 1
		for to < len(outlines) && of[outlines[to]] == of[outlines[from]] {
			to++
		}
		united = append(united, w.island(x, outlines[from:to]...))
		from = to
	}
	return united
}

// crossings calls visit for pairs of segments of a row whose extents along x
// meet.
func (w *mason) crossings(x *cut, row int, visit func(i, j int32)) {
	in := append(w.inRow[:0], w.rows.segs[w.rows.first[row]:w.rows.first[row+1]]...)
	w.inRow = in
	left := func(i int32) float64 { return min(x.segs[i].from[0], x.segs[i].to[0]) }
	slices.SortFunc(in, func(i, j int32) int { return cmp.Or(cmp.Compare(left(i), left(j)), cmp.Compare(i, j)) })
	for a, i := range in {
		right := max(x.segs[i].from[0], x.segs[i].to[0])
		for _, j := range in[a+1:] {
			if left(j) > right {
				break
			}
			visit(i, j)
		}
	}
}

// crosses reports whether two segments cross.
func (s *seg) crosses(t *seg) bool {
	side := func(s *seg, p point) bool { return s.to.sub(s.from).cross(p.sub(s.from)) > 0 }
	return side(s, t.from) != side(s, t.to) && side(t, s.from) != side(t, s.to)
}

// around calls visit with a segment of each island that winds around a place.
func (w *mason) around(x *cut, of []int32, p point, visit func(i int32)) {
	type around struct{ island, seg, sum int32 }
	var found []around
	k := w.rows.row(p[1])
	for _, i := range w.rows.segs[w.rows.first[k]:w.rows.first[k+1]] {
		a, b := x.segs[i].from, x.segs[i].to
		own := of[x.segs[i].loop]
		if own < 0 || (a[1] < p[1]) == (b[1] < p[1]) || a[0]+(b[0]-a[0])*(p[1]-a[1])/(b[1]-a[1]) > p[0] {
			continue
		}
		at := slices.IndexFunc(found, func(f around) bool { return f.island == own })
		if at < 0 {
			at, found = len(found), append(found, around{own, i, 0})
		}
		found[at].sum += int32(math.Copysign(1, b[1]-a[1]))
	}
	for _, f := range found {
		if f.sum != 0 {
			visit(f.seg)
		}
	}
}
