package mesh

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// slowTopology finds edges with a map and pieces by painting, for comparison. Which
// facets of a crowd are twins it takes from the topology in hand, if they are all
// paired, one way with the other.
func slowTopology(m *Mesh, in *Topology) *Topology {
	n := len(m.Facets)
	t := &Topology{Twin: make([]int32, 3*n), Shell: make([]int32, n)}
	edges := map[[2]int32][]int32{}
	for f, c := range m.Facets {
		t.Shell[f] = -1
		for k := range 3 {
			t.Twin[3*f+k] = -1
			if a, b := c[k], c[(k+1)%3]; !isCollapsed(c) {
				key := [2]int32{min(a, b), max(a, b)}
				edges[key] = append(edges[key], int32(3*f+k))
			}
		}
	}
	meet := make([][]int32, n)
	for _, hs := range edges {
		paired := len(hs) > 2
		for _, h := range hs {
			g := in.Twin[h]
			paired = paired && slices.Contains(hs, g) && in.Twin[g] == h && m.Facets[h/3][h%3] == m.Facets[g/3][(g+1)%3]
		}
		for _, h := range hs {
			for _, g := range hs {
				if !paired || in.Twin[h] == g {
					meet[h/3] = append(meet[h/3], g/3)
				}
			}
		}
		switch len(hs) {
		case 1:
			t.OpenEdges++
		case 2:
			t.Twin[hs[0]], t.Twin[hs[1]] = hs[1], hs[0]
			if m.Facets[hs[0]/3][hs[0]%3] == m.Facets[hs[1]/3][hs[1]%3] {
				t.FlippedEdges++
			}
		default:
			t.NonmanifoldEdges++
			for _, h := range hs {
				if t.Twin[h] = -2; paired {
					t.Twin[h] = in.Twin[h]
				}
			}
			if paired {
				t.PartedEdges++
			}
		}
	}
	for f := range n {
		if t.Shell[f] >= 0 {
			continue
		}
		stack := []int32{int32(f)}
		for len(stack) > 0 {
			g := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if t.Shell[g] < 0 {
				t.Shell[g] = int32(t.Shells)
				stack = append(stack, meet[g]...)
			}
		}
		t.Shells++
	}
	return t
}

func TestTopologyAgainstMap(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for round := range 300 {
		m := New(make([]Vec, 1+rng.IntN(30)), make([][3]int32, rng.IntN(60)))
		for f := range m.Facets {
			for k := range 3 {
				m.Facets[f][k] = int32(rng.IntN(len(m.Verts)))
			}
		}
		got := m.Topology()
		want := slowTopology(m, got)
		if !slices.Equal(got.Twin, want.Twin) || !slices.Equal(got.Shell, want.Shell) || got.Shells != want.Shells ||
			got.OpenEdges != want.OpenEdges || got.NonmanifoldEdges != want.NonmanifoldEdges || got.PartedEdges != want.PartedEdges || got.FlippedEdges != want.FlippedEdges {
			t.Fatalf("round %d: %v\ngot  %+v\nwant %+v", round, m.Facets, got, want)
		}
	}
	m := wavy(20_000)
	if got, want := m.Topology(), slowTopology(m, m.Topology()); !slices.Equal(got.Twin, want.Twin) || got.Shells != 1 {
		t.Error("a block of 20,000 facets is joined differently")
	}
}
