package mesh

import (
	"context"
	"testing"
)

// boxMesh is a cuboid of twelve facets.
func boxMesh(lo, hi Vec) *Mesh {
	var vs []Vec
	for i := range 8 {
		p := lo
		for k := range 3 {
			if i>>k&1 == 1 {
				p[k] = hi[k]
			}
		}
		vs = append(vs, p)
	}
	var fs [][3]int32
	for _, q := range [6][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		fs = append(fs, [3]int32{q[0], q[1], q[2]}, [3]int32{q[0], q[2], q[3]})
	}
	return New(vs, fs)
}

func joinMeshes(ms ...*Mesh) *Mesh {
	var vs []Vec
	var fs [][3]int32
	for _, m := range ms {
		n := int32(len(vs))
		vs = append(vs, m.Verts...)
		for _, f := range m.Facets {
			fs = append(fs, [3]int32{f[0] + n, f[1] + n, f[2] + n})
		}
	}
	return New(vs, fs)
}

func flipMesh(m *Mesh) *Mesh {
	fs := make([][3]int32, len(m.Facets))
	for i, f := range m.Facets {
		fs[i] = [3]int32{f[0], f[2], f[1]}
	}
	return New(m.Verts, fs)
}

// Only facets that another body comes near are told point by point; the sides
// of all others are those of the bodies that were put together.
func TestBodiesTellSides(t *testing.T) {
	big, small := boxMesh(Vec{}, Vec{10, 10, 10}), boxMesh(Vec{4, 4, 4}, Vec{6, 6, 6})
	const one = solidBehind
	for name, c := range map[string]struct {
		m     *Mesh
		meet  bool
		sides map[uint8]int // how many facets have which sides
	}{
		"one body":           {big, false, nil},
		"far apart":          {joinMeshes(big, boxMesh(Vec{20, 0, 0}, Vec{30, 10, 10})), false, nil},
		"boxes meet only":    {joinMeshes(big, boxMesh(Vec{10.001, 9, 9}, Vec{12, 12, 12})), false, nil},
		"a body in a body":   {joinMeshes(big, small), false, nil},
		"a void":             {joinMeshes(big, flipMesh(small)), false, nil},
		"two faces touching": {joinMeshes(big, boxMesh(Vec{10, 2, 2}, Vec{12, 4, 4})), true, nil},
		// Of the peg, the end in the block is told apart; its sides cross.
		"a peg in a block": {joinMeshes(big, boxMesh(Vec{4, 4, 8}, Vec{6, 6, 12})), true,
			map[uint8]int{sideMixed: 2 + 8, one: 10 + 2, solidAhead | solidBehind: 2}},
		// The same, drawn inside out.
		"all inside out": {flipMesh(joinMeshes(big, boxMesh(Vec{4, 4, 8}, Vec{6, 6, 12}))), true, nil},
	} {
		b, err := newBodies(context.Background(), c.m, 1e-6)
		if err != nil {
			t.Fatal(err)
		}
		if (b != nil) != c.meet {
			t.Errorf("%s: bodies meet: %v, want %v", name, b != nil, c.meet)
			continue
		}
		if b == nil || c.sides == nil {
			continue
		}
		got := map[uint8]int{}
		for f, s := range b.side {
			got[s]++
			if s == sideMixed {
				continue
			}
			p, n := c.m.Centre(int32(f)), c.m.Normal(int32(f))
			if ahead, behind := b.nest.solid(p.Add(n.Scale(1e-3))), b.nest.solid(p.Sub(n.Scale(1e-3))); ahead != (s&solidAhead != 0) || behind != (s&solidBehind != 0) {
				t.Errorf("%s: facet %d has sides %b, and solid is %v ahead and %v behind", name, f, s, ahead, behind)
			}
		}
		for s, n := range c.sides {
			if got[s] != n {
				t.Errorf("%s: %d facets with sides %b, want %d (%v)", name, got[s], s, n, got)
			}
		}
	}
}

// A fragment that no surface of a part comes near changes nothing on the part,
// though its box lies in the part's.
func TestFragmentChangesNoWall(t *testing.T) {
	// An angle of two legs, its box half empty.
	part := joinMeshes(boxMesh(Vec{}, Vec{10, 10, 0.7}), boxMesh(Vec{0, 0, 0.7 + 1e-3}, Vec{0.5, 10, 10}))
	both := joinMeshes(part, boxMesh(Vec{6, 6, 6}, Vec{9, 9, 9}))
	for _, side := range []float64{1, -1} {
		p := ThicknessParams{CapMM: 2, PatchMM: 0.5}
		a, err := measureField(context.Background(), part, p, side)
		if err != nil {
			t.Fatal(err)
		}
		b, err := measureField(context.Background(), both, p, side)
		if err != nil {
			t.Fatal(err)
		}
		for f := range a.FacetMM {
			if a.FacetMM[f] != b.FacetMM[f] {
				t.Errorf("side %v: facet %d reads %v, with a fragment far off %v", side, f, a.FacetMM[f], b.FacetMM[f])
			}
		}
		if a.Min != b.Min {
			t.Errorf("side %v: least %v, with a fragment far off %v", side, a.Min, b.Min)
		}
	}
}
