package mesh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// side is a side of a window, seen along the tube: y = at + slope x.
type side struct{ at, slope float64 }

// windowTube is a tube of n sides with a window through its wall on the side of +x,
// from 10 to 20 of 30 mm. Its first corners lie phase of a side past the x axis.
func windowTube(ro, ri float64, n int, phase float64, right, left side) *mesh.Mesh {
	const low, high, top = 10, 20, 30
	var b meshtest.Builder
	quad := func(p, q mesh.Vec, z0, z1 float64) { // seen from outside from p to q
		p[2], q[2] = z0, z0
		r, s := q, p
		r[2], s[2] = z1, z1
		b.Tri(p, q, r)
		b.Tri(p, r, s)
	}
	// ring is a circle with corners on the window's sides, and those within.
	ring := func(r float64) (all, in []mesh.Vec) {
		over := func(p mesh.Vec, s side) float64 { return p[1] - s.at - s.slope*p[0] }
		for i := range n {
			a, c := 2*math.Pi*(float64(i)+phase)/float64(n)-math.Pi, 2*math.Pi*(float64(i+1)+phase)/float64(n)-math.Pi
			p, q := mesh.Vec{r * math.Cos(a), r * math.Sin(a)}, mesh.Vec{r * math.Cos(c), r * math.Sin(c)}
			all = append(all, p)
			for _, s := range []side{right, left} {
				if f, g := over(p, s), over(q, s); p[0]+q[0] > 0 && f < 0 && g > 0 {
					x := p.Add(q.Sub(p).Scale(f / (f - g)))
					if s.slope == 0 {
						x[1] = s.at
					}
					all = append(all, x)
				}
			}
		}
		for _, p := range all {
			if p[0] > 0 && over(p, right) > -1e-12 && over(p, left) < 1e-12 {
				in = append(in, p)
			}
		}
		return all, in
	}
	outer, outerIn := ring(ro)
	inner, innerIn := ring(ri)
	walls := func(all, in []mesh.Vec, turn bool) {
		within := map[mesh.Vec]bool{}
		for _, p := range in {
			within[p] = true
		}
		for i, p := range all {
			q := all[(i+1)%len(all)]
			open := within[p] && within[q]
			if turn {
				p, q = q, p
			}
			quad(p, q, 0, low)
			if !open {
				quad(p, q, low, high)
			}
			quad(p, q, high, top)
		}
	}
	walls(outer, outerIn, false)
	walls(inner, innerIn, true)
	face := func(tris [][3]mesh.Vec, z float64, up bool) {
		for _, t := range tris {
			for k := range t {
				t[k][2] = z
			}
			if up {
				b.Tri(t[0], t[1], t[2])
			} else {
				b.Tri(t[0], t[2], t[1])
			}
		}
	}
	// strip joins two rows of corners, the one to the right first, in the order of key.
	strip := func(right, left []mesh.Vec, key func(mesh.Vec) float64) (tris [][3]mesh.Vec) {
		for i, j := 0, 0; i+1 < len(right) || j+1 < len(left); {
			if j+1 == len(left) || i+1 < len(right) && key(right[i+1]) < key(left[j+1]) {
				tris = append(tris, [3]mesh.Vec{right[i], right[i+1], left[j]})
				i++
			} else {
				tris = append(tris, [3]mesh.Vec{right[i], left[j+1], left[j]})
				j++
			}
		}
		return tris
	}
	first := math.Atan2(outer[0][1], outer[0][0])
	around := func(p mesh.Vec) float64 {
		a := math.Atan2(p[1], p[0]) - first
		if a < -1e-9 {
			a += 2 * math.Pi
		}
		return a
	}
	caps := strip(outer, inner, around)
	last, end := outer[len(outer)-1], inner[len(inner)-1]
	caps = append(caps, [3]mesh.Vec{last, outer[0], end}, [3]mesh.Vec{end, outer[0], inner[0]})
	face(caps, top, true)
	face(caps, 0, false)
	roof := strip(outerIn, innerIn, func(p mesh.Vec) float64 { return p[1] })
	face(roof, low, true)
	face(roof, high, false)
	quad(outerIn[0], innerIn[0], low, high)
	quad(innerIn[len(innerIn)-1], outerIn[len(outerIn)-1], low, high)
	return b.Mesh()
}

// A window in a round wall spans as far as its sides are apart, though its roof bulges
// past their ends, and wherever facets of the wall begin. Sides that run apart span
// most where they end, or are drawn out to.
func TestSpanOfWindowsInRoundWalls(t *testing.T) {
	spans := accuracy.Of("overhang", "span", "windows in round walls", accuracy.Share, 1e-4)
	rnd := rand.New(rand.NewPCG(3, 14))
	level := func(y float64) side { return side{y, 0} }
	type window struct {
		ro, ri, phase float64
		n             int
		right, left   side
		want          float64
	}
	var cases []window
	for _, n := range []int{16, 64, 360} {
		for _, phase := range []float64{0, 0.31} {
			for _, w := range []float64{0.5, 2, 3.2} {
				for _, wall := range [][2]float64{{4, 2.5}, {9, 7}, {40, 20}} {
					cases = append(cases, window{wall[0], wall[1], phase, n, level(-w / 2), level(w / 2), w})
				}
				cases = append(cases, window{8, 6, phase, n, level(0.7), level(0.7 + w), w}) // beside the middle
			}
		}
		const half = 0.25 // rad, drawn to the axis
		cases = append(cases,
			window{4, 2.5, 0, n, side{0, -math.Tan(half)}, side{0, math.Tan(half)}, 8 * math.Sin(half)},
			window{4, 2.5, 0, n, side{-1, -0.013}, side{1, 0.013}, 2 * (1 + 0.013*4) / math.Hypot(1, 0.013)},
			window{4, 2.5, 0, n, side{-1, 0.013}, side{1, -0.013}, 2 * (1 - 0.013*2.5) / math.Hypot(1, 0.013)})
	}
	for _, c := range cases {
		m := windowTube(c.ro, c.ri, c.n, c.phase, c.right, c.left)
		if i, err := mesh.MeasureIntegrity(t.Context(), m); err != nil || !i.Solid() {
			t.Fatalf("%+v: not closed: %v", c, err)
		}
		if c.n == 64 {
			m = meshtest.Shuffle(meshtest.Turn(meshtest.Refine(m, 2), mesh.Vec{0, 0, 1}, 6*rnd.Float64()), rnd)
		}
		for _, enough := range []float64{0, c.want/2 + 1e-5} {
			o, err := mesh.MeasureOverhang(t.Context(), m, plusZ, mesh.OverhangParams{AngleRad: math.Pi / 4, EnoughMM: enough})
			if err != nil {
				t.Fatal(err)
			}
			if len(o.Regions) != 1 || o.Regions[0].Kind != mesh.Bridge {
				t.Errorf("%+v: %d regions, want a bridge", c, len(o.Regions))
				continue
			}
			spans.Within(2*o.Regions[0].ReachMM, c.want, c.want)
			wantNear(t, fmt.Sprintf("%+v: span", c), 2*o.Regions[0].ReachMM, c.want, 2*o.ReachErr+1e-6)
		}
	}
}
