package mesh

import (
	"context"
	"math"
	"testing"
)

// Lines that keep clear of the rim need not be followed; those that do not are,
// and both say the same. The underside is a plate with a round window, once
// regular and once bent so that no line runs along its edges.
func TestSightClear(t *testing.T) {
	const n = 120 // squares along a side
	for _, bend := range []float64{0, 0.3} {
		p := &underside{corners: true}
		for i := range n + 1 {
			for j := range n + 1 {
				x, y := float64(i), float64(j)
				p.verts = append(p.verts, Vec{x + bend*math.Sin(y), y + bend*math.Sin(x), 0})
			}
		}
		for i := range int32(n) {
			for j := range int32(n) {
				a := i*(n+1) + j
				b, c, d := a+n+1, a+n+2, a+1
				if math.Hypot(float64(i)-n/3, float64(j)-n/3) > n/5 {
					p.tri = append(p.tri, [3]int32{a, b, c}, [3]int32{a, c, d})
				}
			}
		}
		g := newGround(p, 1e-6)
		if g.rim == nil {
			t.Fatalf("%d triangles are followed all", len(p.tri))
		}
		plain := *g
		plain.rim = nil
		seen, hidden, skipped := 0, 0, 0
		for _, q := range []int32{0, n, n/2*(n+1) + n, (n - 5) * (n + 1)} {
			to := flatten(p.verts[q])
			for v := range g.verts {
				if len(g.around.of(int32(v))) == 0 {
					continue
				}
				got, wall := g.sees(int32(v), to)
				want, wantWall := plain.sees(int32(v), to)
				if got != want || wall != wantWall {
					t.Fatalf("vertex %d to %d: %t %d, followed %t %d", v, q, got, wall, want, wantWall)
				}
				from := flatten(g.verts[v])
				d := to.sub(from)
				if l := d.norm(); l > 1 && g.rim.clear(from, point{from[0] + d[0]*(1-1e-5), from[1] + d[1]*(1-1e-5)}, 1e-6) {
					skipped++
				}
				if got {
					seen++
				} else {
					hidden++
				}
			}
		}
		if seen < 1000 || hidden < 1000 || skipped < 1000 {
			t.Errorf("%d lines stay inside, %d leave, %d keep clear", seen, hidden, skipped)
		}
		w := &ways{}
		if err := g.straightWays(context.Background(), w, newCarrierTree([]carrier{{b: point{n, 0}}})); err != nil || w.dark == 0 {
			t.Errorf("%v, %d dark", err, w.dark)
		}
	}
}
