package mesh_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// facing returns the facets whose centre keeps what the function says.
func facing(m *mesh.Mesh, keep func(centre, normal mesh.Vec) bool) []int32 {
	var out []int32
	for f := range m.Facets {
		if keep(m.Centre(int32(f)), m.Normal(int32(f))) {
			out = append(out, int32(f))
		}
	}
	return out
}

func accessOf(t testing.TB, m *mesh.Mesh, region []int32, p mesh.AccessParams) mesh.Access {
	t.Helper()
	if len(region) == 0 {
		t.Fatal("the region is empty")
	}
	a, err := mesh.MeasureAccess(context.Background(), m, [][]int32{region}, p)
	if err != nil {
		t.Fatal(err)
	}
	return a[0]
}

// pocket is a block of 60 by 60 mm with a square pocket from the top.
func pocket(width, depth float64) *mesh.Mesh {
	h := width / 2
	return meshtest.Blocks([]float64{-30, -h, h, 30}, []float64{-30, -h, h, 30}, []float64{0, 5, 5 + depth},
		func(i, j, k int) bool { return i != 1 || j != 1 || k == 0 })
}

func floor(m *mesh.Mesh) []int32 {
	return facing(m, func(c, n mesh.Vec) bool { return n[2] > 0.9 && math.Abs(c[2]-5) < 1e-6 })
}

// window is a block of 20 by 20 by length mm with a square window of 10 mm
// through it along y.
func window(length float64) *mesh.Mesh {
	return meshtest.Blocks([]float64{0, 5, 15, 20}, []float64{0, length}, []float64{0, 5, 15, 20}, func(i, _, k int) bool { return i != 1 || k != 1 })
}

func ceiling(m *mesh.Mesh) []int32 {
	return facing(m, func(c, n mesh.Vec) bool { return n[2] < -0.9 && c[2] > 1 })
}

func rod(diameter, length float64) mesh.AccessParams {
	return mesh.AccessParams{Tool: mesh.Tool{DiameterMM: diameter, LengthMM: length, HolderMM: 5 * diameter}}
}

func TestAccess(t *testing.T) {
	cube := meshtest.Cube(20)
	shell := meshtest.Join(meshtest.Cube(40), meshtest.Flip(meshtest.BoxAt(mesh.Vec{10, 10, 10}, mesh.Vec{30, 30, 30})))
	bore := meshtest.Plate(mesh.Vec{-20, -20, 0}, mesh.Vec{20, 20, 60}, 64, [3]float64{0, 0, 4})
	wall := facing(bore, func(c, n mesh.Vec) bool { return math.Hypot(c[0], c[1]) < 5 && math.Abs(n[2]) < 0.1 })
	// What lies in the block is no place to be reached: 7 of 10 mm of the beam hang.
	beam := meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{10, 40, 40}), meshtest.BoxAt(mesh.Vec{7, 10, 20}, mesh.Vec{17, 30, 25}))
	under := facing(beam, func(c, n mesh.Vec) bool { return n[2] < -0.9 && c[2] > 1 })
	sideways := mesh.AccessParams{Tool: mesh.Tool{DiameterMM: 4, LengthMM: 60}, Directions: []mesh.Vec{{0, 2, 0}}}
	upwards := mesh.AccessParams{Tool: mesh.Tool{DiameterMM: 4, LengthMM: 60}, Directions: []mesh.Vec{{0, 0, 3}}}
	reached := accuracy.Of("access", "share", "pockets, windows, bores, closed spaces", accuracy.OfBand, 1)
	for _, c := range []struct {
		name   string
		m      *mesh.Mesh
		region []int32
		p      mesh.AccessParams
		want   float64
	}{
		{"under a beam sunk in a block", beam, under, rod(6, 60), 1},
		{"every side of a cube", cube, facing(cube, func(_, _ mesh.Vec) bool { return true }), rod(6, 60), 1},
		{"a closed space", shell, facing(shell, func(c, _ mesh.Vec) bool {
			return c[0] > 5 && c[0] < 35 && c[1] > 5 && c[1] < 35 && c[2] > 5 && c[2] < 35
		}), rod(2, 60), 0},
		// A pocket of 8 mm takes rods of less; the holder does not go in.
		{"pocket, rod thinner", pocket(8, 40), floor(pocket(8, 40)), rod(6, 60), 1},
		{"pocket, rod just thinner", pocket(8, 40), floor(pocket(8, 40)), rod(7.9, 60), 1},
		{"pocket, rod as wide as 3 % wider", pocket(8, 40), floor(pocket(8, 40)), rod(8.4, 60), 0},
		{"pocket, rod just long enough", pocket(8, 40), floor(pocket(8, 40)), rod(6, 40.5), 1},
		{"pocket, rod too short", pocket(8, 40), floor(pocket(8, 40)), rod(6, 36), 0},
		{"pocket, from the side", pocket(8, 40), floor(pocket(8, 40)), sideways, 0},
		{"pocket, from above", pocket(8, 40), floor(pocket(8, 40)), upwards, 1},
		// A window of 10 mm, 60 mm long: the rod goes in from both ends as far as
		// it is long, and its holder of 5 times 4 mm stays outside.
		{"window, long rod", window(60), ceiling(window(60)), rod(4, 60), 1},
		{"window, rod of a third", window(60), ceiling(window(60)), rod(4, 20+2), 2 * 20.0 / 60},
		{"window, rod of a sixth", window(60), ceiling(window(60)), rod(4, 10+2), 2 * 10.0 / 60},
		{"window, rod too wide", window(60), ceiling(window(60)), rod(11, 60), 0},
		// A bore of 8 mm and 60 mm long, from both ends along its axis only.
		{"bore, long rod", bore, wall, rod(7, 60), 1},
		{"bore, rod of a half", bore, wall, rod(7, 15+3.5), 0.5},
		{"bore, rod too wide", bore, wall, rod(8.6, 60), 0},
	} {
		a := accessOf(t, c.m, c.region, c.p)
		reached.Within(a.Share, c.want, a.ShareErr+1e-9)
		if math.Abs(a.Share-c.want) > a.ShareErr+1e-9 {
			t.Errorf("%s: %.3f +- %.3f of %d samples, want %.3f", c.name, a.Share, a.ShareErr, a.Samples, c.want)
		}
		if (c.want == 0 || c.want == 1) && a.Share != c.want {
			t.Errorf("%s: %.3f, want %g in every place", c.name, a.Share, c.want)
		}
		if a.Share < 1 && (a.Missed.Min[0] > a.Missed.Max[0] || mesh.EmptyBox().Join(a.Missed).Grow(a.At) != a.Missed) {
			t.Errorf("%s: box %v of what is missed leaves out %v", c.name, a.Missed, a.At)
		}
	}
	reached.Hold(t)
}

// A rod that comes straight down misses a needle of no width by its radius, of
// which the proof leaves 3 %: no ray of the fan need meet the needle.
func TestAccessSeesThinThings(t *testing.T) {
	plate := meshtest.BoxAt(mesh.Vec{-6, -6, -2}, mesh.Vec{6, 6, 0})
	for _, at := range []mesh.Vec{{0, 0}, {0.7, -0.3}, {-1.3, 1.9}, {2, 2.1}} {
		needle := meshtest.BoxAt(mesh.Vec{at[0] - 0.01, at[1] - 0.01, 20}, mesh.Vec{at[0] + 0.01, at[1] + 0.01, 30})
		m := meshtest.Join(plate, needle)
		top := facing(m, func(c, n mesh.Vec) bool { return n[2] > 0.9 && math.Abs(c[2]) < 1e-6 })
		p := mesh.AccessParams{Tool: mesh.Tool{DiameterMM: 6, LengthMM: 60}, Directions: []mesh.Vec{{0, 0, 1}}}
		a := accessOf(t, m, top, p)
		want := 1 - math.Pi*9/144
		if math.Abs(a.Share-want) > a.ShareErr+0.06*(1-want) {
			t.Errorf("needle at %v: %.3f, want %.3f +- %.3f", at, a.Share, want, a.ShareErr)
		}
	}
}

// The deep end of a window is what a short rod misses.
func TestAccessSaysWhere(t *testing.T) {
	m := window(60)
	a := accessOf(t, m, ceiling(m), rod(4, 22))
	if a.Missed.Min[1] < 19.9 || a.Missed.Max[1] > 40.1 || a.Missed.Max[1]-a.Missed.Min[1] < 17 {
		t.Errorf("missed from %v to %v, want between 20 and 40 along y", a.Missed.Min, a.Missed.Max)
	}
}

// Turned, moved, scaled and cut finer, a part gives the same shares.
func TestAccessMovesAlong(t *testing.T) {
	base := window(60)
	want := 2 * 20.0 / 60
	axis := mesh.Vec{1, 2, 3}
	reached := accuracy.Of("access", "share", "a window turned, moved, scaled, cut finer", accuracy.OfBand, 1)
	for name, m := range map[string]*mesh.Mesh{
		"turned":       meshtest.Turn(base, axis, 1.1),
		"moved":        meshtest.Move(base, mesh.Vec{1000, -300, 77}),
		"cut finer":    meshtest.Refine(base, 3),
		"mirrored":     meshtest.Mirror(base),
		"twice":        meshtest.Map(base, func(p mesh.Vec) mesh.Vec { return p.Scale(2) }),
		"single":       meshtest.Single(meshtest.Turn(base, axis, 0.3)),
		"turned, fine": meshtest.Refine(meshtest.Turn(base, axis, 2), 2),
	} {
		p := rod(4, 22)
		if name == "twice" {
			p = rod(8, 44)
		}
		m0 := base
		if name == "cut finer" {
			m0 = m
		} else if name == "turned, fine" {
			m0 = meshtest.Refine(base, 2)
		}
		a := accessOf(t, m, ceiling(m0), p) // facets keep their numbers
		reached.Within(a.Share, want, a.ShareErr)
		if math.Abs(a.Share-want) > a.ShareErr {
			t.Errorf("%s: %.3f +- %.3f, want %.3f", name, a.Share, a.ShareErr, want)
		}
	}
	reached.Hold(t)
}

// Supports under a ceiling are out of reach where the rod can't get at the
// ceiling, or at the floor that they stand on.
func TestSupportAccess(t *testing.T) {
	shell := meshtest.Join(meshtest.Cube(40), meshtest.Flip(meshtest.BoxAt(mesh.Vec{5, 5, 5}, mesh.Vec{35, 35, 35})))
	under := accuracy.Of("access", "supports, all or none", "ledges, windows, plates, closed spaces", accuracy.Wrong, 0)
	// Two plates, the upper over the lower with a gap.
	plates := func(gap float64) *mesh.Mesh {
		return meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{40, 40, 4}), meshtest.BoxAt(mesh.Vec{0, 0, 4 + gap}, mesh.Vec{40, 40, 8 + gap}))
	}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want float64
	}{
		{"ledge over the platform", ledge(10, 20), 1},
		{"window", window(60), 1},
		{"inside", shell, 0},
		{"plates far apart", plates(8), 1},
		{"plates close", plates(4), 0},
	} {
		f := plusZ
		if c.name == "ledge over the platform" {
			f = upward(0, 1, 0, 0)
		}
		o := overhangAt(t, c.m, f, 45)
		a, err := mesh.MeasureSupportAccess(context.Background(), c.m, f, &o, rod(6, 60))
		if err != nil {
			t.Fatal(err)
		}
		if len(a) != len(o.Regions) || len(a) == 0 {
			t.Fatalf("%s: %d shares of %d regions", c.name, len(a), len(o.Regions))
		}
		under.Right(a[0].Share == c.want)
		if a[0].Share != c.want {
			t.Errorf("%s: %.3f, want %g", c.name, a[0].Share, c.want)
		}
	}
	under.Hold(t)
}

// Under a rib across a pocket a tool gets from above, past the rib: as far in as its
// round end, beside the rib, is a quarter of its radius off at most.
func TestSupportAccessUnderARib(t *testing.T) {
	const r, depth = 3, 15
	for _, wide := range []float64{0.5, 1, 4, 8} {
		h := wide / 2
		m := meshtest.Blocks([]float64{-30, -20, -h, h, 20, 30}, []float64{-30, -20, 20, 30}, []float64{0, 5, 20, 20 + depth}, func(i, j, k int) bool {
			return k == 0 || i == 0 || i == 4 || j != 1 || i == 2 && k == 2
		})
		o := overhangAt(t, m, plusZ, 45)
		a, err := mesh.MeasureSupportAccess(context.Background(), m, plusZ, &o, mesh.AccessParams{Tool: mesh.Tool{DiameterMM: 2 * r, LengthMM: 60}})
		if err != nil {
			t.Fatal(err)
		}
		// The round end beside an edge is no lower than lets the rod pass.
		const pass = 0.97
		in := h + pass*r - math.Sqrt(1.25*1.25-(1-pass*pass))*r // the furthest from the edge is at h - in
		want := min(1, (h-in)/h)
		// Where the rib ends the round end keeps off the wall, and from the last
		// places by more than a quarter.
		if got := a[0].Share; got < 0.9*want-a[0].ShareErr || got > want+a[0].ShareErr {
			t.Errorf("under a rib of %g mm %.3f +- %.3f, want %.3f, but for its ends", wide, got, a[0].ShareErr, want)
		}
	}
}

// In a bent tube a tool has a play of a few degrees along no wall: however the
// tube is turned, it reaches as far in.
func TestAccessOfABentTube(t *testing.T) {
	straight := meshtest.Refine(meshtest.Tube(5.2, 4, 0, 50, 48), 4)
	inside := facing(straight, func(c, _ mesh.Vec) bool { return math.Hypot(c[0], c[1]) < 4 })
	bent := meshtest.Map(straight, func(p mesh.Vec) mesh.Vec {
		sin, cos := math.Sincos(p[2] / 20)
		return mesh.Vec{(20 + p[0]) * cos, (20 + p[0]) * sin, -p[1]}
	})
	p := mesh.AccessParams{Tool: mesh.Tool{DiameterMM: 6, LengthMM: 60}, Samples: 1024}
	want := accessOf(t, bent, inside, p)
	if want.Share < 0.4 || want.Share > 0.8 {
		t.Errorf("reaches %.3g of it as made, want a part", want.Share)
	}
	rng := rand.New(rand.NewPCG(3, 5))
	for range 6 {
		got := accessOf(t, meshtest.Turn(bent, meshtest.RandomDir(rng), 6*rng.Float64()), inside, p)
		wantNear(t, "share of a bent tube, turned", got.Share, want.Share, want.ShareErr)
	}
}

func TestAccessOfNothing(t *testing.T) {
	empty := mesh.New(nil, nil)
	if a, err := mesh.MeasureAccess(context.Background(), empty, [][]int32{{}}, rod(6, 60)); err != nil || len(a) != 1 {
		t.Errorf("%v, %v", a, err)
	}
	flat := mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, [][3]int32{{0, 1, 2}})
	if a, err := mesh.MeasureAccess(context.Background(), flat, [][]int32{{0}, nil}, rod(6, 60)); err != nil || a[0].Samples != 0 || a[1].Share != 1 {
		t.Errorf("facets without area: %v, %v", a, err)
	}
	cube := meshtest.Cube(20)
	for _, p := range []mesh.AccessParams{{}, rod(0, 0), rod(1e9, 1), rod(1e-12, 1e9)} {
		if a, err := mesh.MeasureAccess(context.Background(), cube, [][]int32{{0, 1}}, p); err != nil || math.IsNaN(a[0].Share) {
			t.Errorf("%+v: %v, %v", p, a, err)
		}
	}
}

// A share of a small region is no guess: one facet of a cube of 1 mm has as many
// samples as tell thirds, beside one of 60 mm.
func TestAccessOfSmallRegions(t *testing.T) {
	m := meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 60, 5}), meshtest.BoxAt(mesh.Vec{80, 0, 0}, mesh.Vec{81, 1, 1}))
	a, err := mesh.MeasureAccess(context.Background(), m, [][]int32{{0}, {12}}, rod(6, 60))
	if err != nil {
		t.Fatal(err)
	}
	for i, a := range a {
		if a.Samples < 24 || a.ShareErr > 0.35 {
			t.Errorf("region %d: %d samples, share %g to within %g", i, a.Samples, a.Share, a.ShareErr)
		}
	}
}

func TestAccessCancels(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	m := window(60)
	if _, err := mesh.MeasureAccess(ctx, m, [][]int32{ceiling(m)}, rod(4, 22)); err != context.Canceled {
		t.Errorf("%v, want context canceled", err)
	}
}

// A gyroid of 20 mm periods takes a rod of 6 mm along few directions; ball and
// dimples are one large region and thousands of small ones.
func BenchmarkAccess(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		shapes := benchShapes(n)
		shapes["gyroid"] = meshtest.Gyroid(20, 1, 2, int(math.Sqrt(float64(n)/96)))
		for _, name := range []string{"ball", "dimples", "gyroid"} {
			m := shapes[name]
			o := overhangAt(b, m, plusZ, 45)
			m.BVH()
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				b.ReportAllocs()
				share, p := 0.0, rod(6, 60)
				p.LeastMM2 = 1
				for b.Loop() {
					a, err := mesh.MeasureSupportAccess(context.Background(), m, plusZ, &o, p)
					if err != nil {
						b.Fatal(err)
					}
					share += a[0].Share
				}
				b.ReportMetric(float64(len(o.Regions)), "regions")
				b.ReportMetric(share/float64(b.N), "share")
			})
		}
	}
}
