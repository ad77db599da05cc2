package mesh_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

var treeSeed = flag.Uint64("treeseed", 1, "seed of the search tree's and thickness tests")

func seeded(t testing.TB) *rand.Rand {
	t.Helper()
	t.Logf("seed %d (repeat with -treeseed)", *treeSeed)
	return rand.New(rand.NewPCG(*treeSeed, 7))
}

// Rays along the axes that lie in faces, boxes' faces and edges: the normal
// case of a part that stands on a platform.
func TestRayParallel(t *testing.T) {
	m := meshtest.Refine(meshtest.Cube(1), 3)
	at := []float64{0, 0.125, 0.25, 1.0 / 3, 0.5, 0.875, 1}
	for k := range 3 {
		for _, y := range at {
			for _, z := range at {
				for _, side := range []float64{-1, 1} {
					var o, d mesh.Vec
					o[k], o[(k+1)%3], o[(k+2)%3] = 0.5+1.5*side, y, z
					d[k] = -2 * side
					h, ok := m.BVH().Ray(o, d, 0, 9)
					if !ok || math.Abs(h.T-0.5) > 1e-12 {
						t.Errorf("ray from %v along %v: %+v %v, want a hit at 0.5", o, d, h, ok)
					}
					// The same a hair outside.
					if y == 1 {
						o[(k+1)%3] = 1 + 1e-9
						if h, ok := m.BVH().Ray(o, d, 0, 9); ok {
							t.Errorf("ray from %v along %v beside the cube hits %+v", o, d, h)
						}
					}
				}
			}
		}
	}
}

// A ray in a facet's plane misses that facet and no other.
func TestRayInPlane(t *testing.T) {
	m := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{4, 4, 1})
	for _, o := range []mesh.Vec{{-1, 1, 0}, {-1, 1, 1}, {-1, 0, 0.5}, {-1, 4, 0.25}} {
		hs := m.BVH().RayAll(o, mesh.Vec{1, 0, 0}, 0, 99, nil)
		for _, h := range hs {
			if n := m.Normal(h.Facet); n[0] == 0 {
				t.Errorf("ray from %v hits facet %d in its plane", o, h.Facet)
			}
		}
		if len(hs) < 2 || hs[0].T != 1 || hs[len(hs)-1].T != 5 {
			t.Errorf("ray from %v: %+v, want hits at 1 and 5", o, hs)
		}
	}
}

// No ray from inside a closed mesh may slip out through an edge or a corner.
func TestRayWatertight(t *testing.T) {
	r := seeded(t)
	for name, m := range map[string]*mesh.Mesh{
		"sphere": meshtest.Sphere(3, 40),
		"turned": meshtest.Turn(meshtest.Sphere(3, 40), mesh.Vec{1, 2, 3}, 0.7),
		"cube":   meshtest.Move(meshtest.Refine(meshtest.Cube(2), 4), mesh.Vec{-1, -1, -1}),
		"far":    meshtest.Move(meshtest.Sphere(3, 40), mesh.Vec{1000, -2000, 500}),
	} {
		c := m.Box().Min.Add(m.Box().Max).Scale(0.5)
		rays := 0
		for f := range m.Facets {
			p, q, s := m.Corners(int32(f))
			o := c.Add(meshtest.RandomPoint(r).Scale(0.1))
			if f%2 == 0 {
				o = c
			}
			for _, x := range []mesh.Vec{p, p.Add(q).Scale(0.5), p.Add(q.Sub(p).Scale(r.Float64())), p.Add(q).Add(s).Scale(1.0 / 3)} {
				rays++
				if _, ok := m.BVH().Ray(o, x.Sub(o), 0, math.Inf(1)); !ok {
					t.Errorf("%s: ray from %v through %v slips out", name, o, x)
				}
			}
		}
		t.Logf("%s: %d rays", name, rays)
	}
}

func TestRayBrute(t *testing.T) {
	r := seeded(t)
	for _, n := range []int{1, 7, 8, 9, 100, 3000} {
		m := meshtest.Soup(r, n, 0.1+20/math.Sqrt(float64(n)))
		hits := 0
		for i := range 400 {
			o := meshtest.RandomPoint(r).Scale(12)
			d := meshtest.RandomDir(r).Scale(math.Exp(3 * r.NormFloat64()))
			if i%4 == 0 {
				d[r.IntN(3)] = 0
			}
			tMin, tMax := 0.0, math.Inf(1)
			if i%3 == 0 {
				tMin, tMax = 2/d.Norm(), 6/d.Norm()
			}
			got, ok := m.BVH().Ray(o, d, tMin, tMax)
			want, wok := meshtest.BruteRay(m, o, d, tMin, tMax)
			if ok != wok || ok && (got.Facet != want.Facet || math.Abs(got.T-want.T) > 1e-9*math.Abs(want.T)) {
				t.Errorf("%d facets, ray %v %v: %+v %v, want %+v %v", n, o, d, got, ok, want, wok)
			}
			if ok {
				hits++
			}
			all := m.BVH().RayAll(o, d, tMin, tMax, nil)
			if ok != (len(all) > 0) || ok && all[0] != got {
				t.Errorf("all hits %+v, first %+v", all, got)
			}
		}
		t.Logf("%d facets: %d of 400 rays hit", n, hits)
	}
}

// Needles down to the width of rounding, seen from near and far, turned any way:
// rounding must not put the nearest point elsewhere along them.
func TestNearestOnNeedles(t *testing.T) {
	r := seeded(t)
	worst := 0.0
	for range 20000 {
		wide, far := math.Pow(10, -14*r.Float64()), math.Pow(10, 3*r.Float64()-1)
		a, b, c := mesh.Vec{}, mesh.Vec{2, 0, 0}, mesh.Vec{2 * r.Float64(), wide, 0}
		p := mesh.Vec{2 * r.Float64(), wide * r.Float64(), far * r.NormFloat64()}
		if r.IntN(4) == 0 {
			p = meshtest.RandomPoint(r).Scale(far)
		}
		needle := mesh.New([]mesh.Vec{a, b, c}, [][3]int32{{0, 1, 2}})
		want := meshtest.FacetDist(needle, 0, p)
		axis, angle := meshtest.RandomDir(r), 6*r.Float64()
		turned := meshtest.Turn(needle, axis, angle)
		q := meshtest.Turn(mesh.New([]mesh.Vec{p}, nil), axis, angle).Verts[0]
		got, ok := turned.BVH().Nearest(q, math.Inf(1), nil)
		if !ok {
			t.Fatal("no nearest point")
		}
		off := math.Abs(got.Dist-want) / (1 + far)
		worst = max(worst, off)
		if off > 1e-8 {
			t.Errorf("needle %g wide, from %v: %v, want %v", wide, p, got.Dist, want)
		}
	}
	t.Logf("off by %.1e of the size at most", worst)
}

func TestNearestBrute(t *testing.T) {
	r := seeded(t)
	for _, n := range []int{1, 9, 2000} {
		m := meshtest.Soup(r, n, 1)
		for i := range 300 {
			p := meshtest.RandomPoint(r).Scale(10)
			if i%5 == 0 {
				p = p.Scale(100)
			}
			if i%7 == 0 { // on the mesh
				p, _, _ = m.Corners(int32(r.IntN(n)))
			}
			got, ok := m.BVH().Nearest(p, math.Inf(1), nil)
			if want := meshtest.BruteDist(m, p); !ok || math.Abs(got.Dist-want) > 1e-12*(1+want) {
				t.Errorf("%d facets, nearest to %v: %+v, want %v", n, p, got, want)
			}
			if d := meshtest.FacetDist(m, got.Facet, p); math.Abs(d-got.Dist) > 1e-12*(1+d) || math.Abs(got.Point.Sub(p).Norm()-got.Dist) > 1e-12*(1+d) {
				t.Errorf("facet %d is %v from %v, not %v", got.Facet, d, p, got.Dist)
			}
			if _, ok := m.BVH().Nearest(p, got.Dist*(1-1e-9), nil); ok && got.Dist > 0 {
				t.Error("a point beyond the bound")
			}
			odd := func(f int32, _ mesh.Vec) bool { return f%2 == 1 }
			some, ok := m.BVH().Nearest(p, math.Inf(1), odd)
			want := math.Inf(1)
			for f := int32(1); f < int32(n); f += 2 {
				want = min(want, meshtest.FacetDist(m, f, p))
			}
			if ok != (n > 1) || ok && math.Abs(some.Dist-want) > 1e-12*(1+want) {
				t.Errorf("nearest of the odd facets %+v, want %v", some, want)
			}
		}
	}
}

func TestInBoxBrute(t *testing.T) {
	r := seeded(t)
	m := meshtest.Soup(r, 2000, 1)
	box := func(f int) mesh.Box {
		a, b, c := m.Corners(int32(f))
		return mesh.EmptyBox().Grow(a).Grow(b).Grow(c)
	}
	meet := func(a, b mesh.Box) bool {
		for k := range 3 {
			if a.Min[k] > b.Max[k] || b.Min[k] > a.Max[k] {
				return false
			}
		}
		return true
	}
	for i := range 200 {
		q := mesh.EmptyBox().Grow(meshtest.RandomPoint(r).Scale(10)).Grow(meshtest.RandomPoint(r).Scale(10))
		if i%3 == 0 { // a facet's own box, so that faces touch
			q = box(r.IntN(2000))
		}
		var got, want []int32
		m.BVH().InBox(q, func(f int32) bool { got = append(got, f); return true })
		slices.Sort(got)
		for f := range m.Facets {
			if meet(box(f), q) {
				want = append(want, int32(f))
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("box %v: %d facets, want %d", q, len(got), len(want))
		}
	}
	count := 0
	m.BVH().Pairs(0.1, func(f, g int32) bool { count++; return true })
	want := 0
	for f := range m.Facets {
		for g := f + 1; g < len(m.Facets); g++ {
			b := box(f)
			for k := range 3 {
				b.Min[k], b.Max[k] = b.Min[k]-0.1, b.Max[k]+0.1
			}
			if meet(b, box(g)) {
				want++
			}
		}
	}
	if count != want {
		t.Errorf("%d pairs, want %d", count, want)
	}
}

// Nothing to part, nothing to hit, nothing there.
func TestTreeDegenerate(t *testing.T) {
	same := make([][3]int32, 1000) // a thousand facets in one place
	for i := range same {
		same[i] = [3]int32{0, 1, 2}
	}
	m := mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, same)
	if h, ok := m.BVH().Ray(mesh.Vec{.2, .2, 5}, mesh.Vec{0, 0, -1}, 0, 9); !ok || h.Facet != 0 || h.T != 5 {
		t.Errorf("hit %+v %v, want the lowest facet at 5", h, ok)
	}
	if hs := m.BVH().RayAll(mesh.Vec{.2, .2, 5}, mesh.Vec{0, 0, -1}, 0, 9, nil); len(hs) != 1000 {
		t.Errorf("%d hits, want 1000", len(hs))
	}
	if n, ok := m.BVH().Nearest(mesh.Vec{.2, .2, 5}, 9, nil); !ok || n.Facet != 0 {
		t.Errorf("nearest %+v, want the lowest facet", n)
	}
	points := mesh.New([]mesh.Vec{{1, 2, 3}, {4, 5, 6}}, [][3]int32{{0, 0, 0}, {0, 1, 1}, {1, 1, 1}})
	if n, ok := points.BVH().Nearest(mesh.Vec{4, 5, 7}, 9, nil); !ok || n.Dist != 1 {
		t.Errorf("nearest of points and a segment: %+v", n)
	}
	if _, ok := points.BVH().Ray(mesh.Vec{0, 1, 2}, mesh.Vec{1, 1, 1}, 0, 9); ok {
		t.Error("a ray hits a point")
	}
	empty := mesh.New(nil, nil).BVH()
	if _, ok := empty.Ray(mesh.Vec{}, mesh.Vec{1, 0, 0}, 0, 1); ok {
		t.Error("a ray hits nothing")
	}
	if _, ok := empty.Nearest(mesh.Vec{}, 1, nil); ok {
		t.Error("nothing is near")
	}
	cube := meshtest.Cube(1).BVH()
	for _, d := range []mesh.Vec{{}, {math.NaN(), 0, 0}} {
		if _, ok := cube.Ray(mesh.Vec{-1, .5, .5}, d, 0, 9); ok {
			t.Errorf("a ray along %v hits", d)
		}
	}
	// Facets from a micrometre to a kilometre in one row make a deep tree.
	var b meshtest.Builder
	for i := range 2000 {
		x := math.Exp2(float64(i)/50 - 20)
		b.Tri(mesh.Vec{x, 0, 0}, mesh.Vec{x * 1.01, 0, 0}, mesh.Vec{x, x / 100, 0})
	}
	row := b.Mesh()
	for f := range row.Facets {
		c := row.Centre(int32(f))
		if h, ok := row.BVH().Ray(c.Add(mesh.Vec{0, 0, 1}), mesh.Vec{0, 0, -1}, 0, 2); !ok || h.Facet != int32(f) {
			t.Errorf("facet %d of the row: %+v %v", f, h, ok)
		}
	}
}
