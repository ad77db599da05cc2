package mesh

import (
	"math"
	"testing"
)

// The grid has material where the nesting of shells has it, and clearances to the
// nearest of all places where its lines cross the surface, found by looking at each.
func TestGridClearance(t *testing.T) {
	ctx := t.Context()
	for _, file := range []string{"parts/bent_pipe.stl", "parts/gears_17_bodies.3mf", "parts/chain_40_links.3mf", "parts/helix.stl", "made/crossing.stl", "dirty/cube_no_bottom.obj"} {
		m, err := Load(ctx, "../testdata/meshes/"+file, LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		n, err := m.nested.get(ctx)
		if err != nil {
			t.Fatal(err)
		}
		g, err := newGrid(ctx, n, n.box, gridPitch(n.box, 4000))
		if err != nil {
			t.Fatal(err)
		}
		xs, err := g.cross(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var places []Vec
		for k, x := range xs {
			u, v := (k+1)%3, (k+2)%3
			for line := range x.ends {
				list, _ := x.line(line)
				for _, c := range list {
					var p Vec
					p[k], p[u], p[v] = float64(c.at), float64(line%g.size[u]), float64(line/g.size[u])
					places = append(places, p)
				}
			}
		}
		empty := 0
		for i, got := range g.clear {
			x, y, z := g.coords(int32(i))
			at := Vec{float64(x), float64(y), float64(z)}
			want := math.Inf(1)
			for _, p := range places {
				d := p.Sub(at)
				want = min(want, d.Dot(d))
			}
			want = math.Sqrt(want)
			if in := n.solid(g.at(int32(i))); in != (got == 0) && n.sound && want > gridLeast {
				t.Fatalf("%s: cell %d has clearance %g, and that it is in material is %v", file, i, got, in)
			}
			if got == 0 {
				continue
			}
			empty++
			if want = max(want, gridLeast); !(math.Abs(float64(got)-want) <= 1e-4*(1+want)) {
				t.Fatalf("%s: cell %d has clearance %g, want %g", file, i, got, want)
			}
		}
		if empty == 0 || empty == len(g.clear) {
			t.Errorf("%s: %d of %d cells are empty", file, empty, len(g.clear))
		}
	}
}
