package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What explains a thin place is the nearest feature of all that fulfil the
// definition, asked of each: edges, tips, and lines that stand for a tip.
func TestExplainsBrute(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 8))
	random := func(s float64) Vec {
		return Vec{s * (r.Float64() - 0.5), s * (r.Float64() - 0.5), s * (r.Float64() - 0.5)}
	}
	const within, touch = 1, 1e-4
	var verts []Vec
	var list []sharpFeature
	for i := range int32(600) {
		s := sharpFeature{a: 2 * i, b: 2*i + 1, edge: int8(i%4) - 1, angle: r.Float64()}
		verts = append(verts, random(3))
		verts = append(verts, verts[s.a].Add(random(1)))
		if i%3 == 0 {
			s.b, s.edge, s.along = s.a, -1, random(1).Unit()
		}
		list = append(list, s)
	}
	tree := newWedges(verts, list)
	found, tips := 0, 0
	for range 4000 {
		x, d := random(3), r.Float64()*r.Float64()
		y := x.Add(random(2 * d))
		want, foot, best := int32(-1), Vec{}, float64(within)
		for f, s := range list {
			q := nearestOnFacet(x, verts[s.a], verts[s.b], verts[s.b])
			off, tan := x.Sub(q), math.Tan(s.angle/2)
			dist, taper := off.Norm(), off.Sub(s.along.Scale(off.Dot(s.along))).Norm()
			if dist < best && d+edgeDoubt*touch >= wedgeShare*2*taper*tan && y.Sub(x).Norm() <= 2*dist+edgeDoubt*touch*max(1, 1/tan) {
				want, foot, best = int32(f), q, dist
			}
		}
		got, at, ok := tree.explains(x, y, d, within, touch)
		if ok != (want >= 0) || got != want || ok && at != foot {
			t.Fatalf("at %v feature %d explains a thickness of %v, at %v; it is told as %d, %v, at %v", x, want, d, foot, got, ok, at)
		}
		if ok {
			found++
			if list[got].a == list[got].b {
				tips++
			}
		}
	}
	if found < 1000 || found > 3900 || tips < 300 || found-tips < 300 {
		t.Errorf("%d of 4000 places are explained, %d by tips", found, tips)
	}
}
