package mesh

import (
	"context"
	"slices"
	"sort"
)

// FeatherEdge is a run of connected convex edges sharper than an angle, or a
// sharp tip.
type FeatherEdge struct {
	AngleRad float64 // sharpest wedge of the run
	LengthMM float64 // 0 for a tip, such as the apex of a cone
	At       Vec     // on the sharpest edge
	Box      Box
	Line     [][2]Vec // its pieces, end to end if they are in a row
	Facets   []int32  // beside the run, ascending
}

// LengthIn is the length of the edge that lies in a box.
func (e *FeatherEdge) LengthIn(b Box) float64 {
	if !boxesMeet(e.Box, b) { // as of most edges that a thin place is asked about
		return 0
	}
	var sum float64
	for _, l := range e.Line {
		along := l[1].Sub(l[0])
		from, to := 0.0, 1.0
		for k := range 3 {
			if along[k] == 0 {
				if l[0][k] < b.Min[k] || l[0][k] > b.Max[k] {
					to = 0
				}
				continue
			}
			s, t := (b.Min[k]-l[0][k])/along[k], (b.Max[k]-l[0][k])/along[k]
			from, to = max(from, min(s, t)), min(to, max(s, t))
		}
		sum += max(0, to-from) * along.Norm()
	}
	return sum
}

// MeasureFeatherEdges finds convex edges whose wedge is sharper than the angle,
// sharpest first. Edges that meet at a vertex are one run. A tip, where no edge
// is sharp but facets that meet only at the vertex are, has the angle between
// the two most opposed of them: a cone's tip angle.
//
// Edges of more than two facets, and of facets wound against each other, have
// no wedge and are left out; Integrity counts them.
func MeasureFeatherEdges(ctx context.Context, m *Mesh, angleRad float64) ([]FeatherEdge, error) {
	list, _, err := findSharp(ctx, m, angleRad)
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(s sharpFeature) bool { return s.notch || s.vague })
	var out []FeatherEdge
	for _, run := range sharpRuns(list) {
		e := FeatherEdge{AngleRad: run[0].angle, Box: EmptyBox()}
		for i, s := range run {
			a, b := m.Verts[s.a], m.Verts[s.b]
			if i == 0 || s.angle < e.AngleRad {
				e.AngleRad, e.At = s.angle, a.Add(b).Scale(0.5)
			}
			e.LengthMM += b.Sub(a).Norm()
			e.Box = e.Box.Grow(a).Grow(b)
			e.Line = append(e.Line, [2]Vec{a, b})
			e.Facets = append(e.Facets, s.f, s.g)
		}
		slices.Sort(e.Facets)
		e.Facets = slices.Compact(e.Facets)
		out = append(out, e)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].AngleRad < out[j].AngleRad })
	return out, nil
}

// sharpRuns groups features that share a vertex, in order of their first.
func sharpRuns(list []sharpFeature) [][]sharpFeature {
	run := make([]int, len(list)) // union-find, lowest number is the root
	for i := range run {
		run[i] = i
	}
	find := func(i int) int {
		for run[i] != i {
			run[i] = run[run[i]]
			i = run[i]
		}
		return i
	}
	first := map[int32]int{}
	for i, s := range list {
		for _, v := range [2]int32{s.a, s.b} {
			if j, ok := first[v]; ok {
				a, b := find(i), find(j)
				run[max(a, b)] = min(a, b)
			} else {
				first[v] = i
			}
		}
	}
	var out [][]sharpFeature
	at := map[int]int{}
	for i, s := range list {
		r := find(i)
		k, ok := at[r]
		if !ok {
			k = len(out)
			at[r] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], s)
	}
	return out
}
