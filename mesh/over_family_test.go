package mesh_test

import (
	"context"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// Facets of micrometres, which rounding turns, make a round surface's overhang
// smaller by no more than AreaErr says, wherever the part lies. The truth is
// that of the same facets before they were moved and rounded.
func TestOverhangOfTinyFacets(t *testing.T) {
	small := accuracy.Of("overhang", "area", "balls of facets down to 5 um, rounded", accuracy.OfBand, 1)
	for _, steps := range []int{60, 3000} {
		m := meshtest.Revolve(meshtest.Arc(0, 5, 5, -90, 90, steps), 5)
		want := 0.0
		for f := range m.Facets {
			if a := m.Area(int32(f)); a > 0 && -m.Normal(int32(f))[2] > math.Cos(45*degree)+1e-9 {
				want += a
			}
		}
		for _, off := range []float64{0, 50, 200} {
			moved := meshtest.Single(meshtest.Move(m, mesh.Vec{off, off, off}))
			o, err := mesh.MeasureOverhang(t.Context(), moved, plusZ, mesh.OverhangParams{AngleRad: 45 * degree, EnoughMM: 1})
			if err != nil {
				t.Fatal(err)
			}
			slack := 1e-5 * want // rounded facets are themselves a little larger or smaller
			small.Within(o.AreaMM2+o.RestMM2, want, o.AreaErr+slack)
			if short := want - o.AreaMM2 - o.RestMM2; short < -slack || short > o.AreaErr+slack || o.AreaErr > 0.03*want {
				t.Errorf("%d rows at %g mm: %.6g mm2 of overhang, short by up to %.3g, want %.6g", steps, off, o.AreaMM2, o.AreaErr, want)
			}
		}
	}
	small.Hold(t)
}

// stood is a part as it stands, with what is known of it in closed form.
type stood struct {
	m                               *mesh.Mesh
	f                               mesh.Frame
	area, reach, start, ball, ratio float64 // 0: not asked
	kind                            mesh.OverhangKind
	section, perimeter              func(z float64) float64
}

// stoodFamilies are random in size; sides of what is round are n.
func stoodFamilies(rng *rand.Rand, n int) map[string]stood {
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	y := upward(0, 1, 0, 0)
	l, w := in(1, 12), in(2, 30)
	gap, width := in(4, 25), in(3, 12)
	r, h := in(2, 9), in(1, 1.9)
	z0, flat := in(0.5, 6), math.Cos(math.Pi/float64(n))
	ngon := func(r float64) float64 { return ngonArea(n, r) }
	around := func(r float64) float64 { return float64(n) * 2 * r * math.Sin(math.Pi/float64(n)) }
	// A cone point down above a plate. Its sides lean by the apothem over h.
	cone := meshtest.Join(meshtest.BoxAt(mesh.Vec{20, -5, 0}, mesh.Vec{30, 5, 1}), meshtest.Revolve([]mesh.Vec{{0, z0}, {r, z0 + h}, {0, z0 + h}}, n))
	side := math.Hypot(h, r*flat)
	top, high := r/3, in(4, 20)
	at := func(z float64) float64 { return r + (top-r)*z/high }
	pyramid := r * flat * high / (r*flat + math.Hypot(r*flat, high))
	fin, tall := in(0.4, 1.5), in(14, 30)
	return map[string]stood{
		"ledge":           {m: ledge(l, w), f: y, area: l * w, reach: l, kind: mesh.Ledge},
		"bridge":          {m: bridge(4, gap, 8, 3, width), f: y, area: gap * width, reach: gap / 2, kind: mesh.Bridge},
		"cone in the air": {m: cone, f: plusZ, area: around(r) * side / 2, reach: r, kind: mesh.Free, start: z0},
		"frustum": {m: meshtest.Revolve([]mesh.Vec{{0, 0}, {r, 0}, {top, high}, {0, high}}, n), f: plusZ,
			section: func(z float64) float64 { return ngon(at(z)) }, perimeter: func(z float64) float64 { return around(at(z)) }},
		"pyramid": {m: meshtest.Revolve([]mesh.Vec{{0, 0}, {r, 0}, {0, high}}, n), f: plusZ, ball: 2 * pyramid},
		"rod":     {m: meshtest.Prism(meshtest.Circle(0, 0, r, n), 0, 2*r+high), f: plusZ, ball: 2 * r * flat},
		"fin": {m: meshtest.BoxAt(mesh.Vec{}, mesh.Vec{fin, 20, tall}), f: plusZ, ratio: tall / fin,
			section: func(float64) float64 { return 20 * fin }, perimeter: func(float64) float64 { return 40 + 2*fin }},
	}
}

// stoodBands are the errors that may be, as parts of the value, beyond the
// error that the measurement itself states. Single precision takes 1e-5.
var stoodBands = []struct {
	measurement, name string
	band              float64
}{{"overhang", "area of overhang", 1e-5}, {"overhang", "reach", 1e-5}, {"overhang", "reach among needles", 0.02},
	{"bridge", "reach, half the span", 1e-5}, {"bridge", "reach among needles, half the span", 0.02},
	{"floating start", "height of a start", 1e-5}, {"largest ball", "diameter", 1e-5}, {"sections", "section", 1e-5}, {"sections", "perimeter", 1e-5}, {"slenderness", "ratio", 1e-3}}

// measureStood notes the errors of a part that is k times as large as told.
func (w worst) measureStood(t *testing.T, s stood, m *mesh.Mesh, f mesh.Frame, k float64, needles bool) {
	t.Helper()
	ctx := context.Background()
	if s.area > 0 {
		o := overhangAt(t, m, f, 70)
		if len(o.Regions) != 1 || o.Regions[0].Kind != s.kind {
			t.Errorf("%d regions, want one %s: %+v", len(o.Regions), s.kind, o.Regions)
			return
		}
		w.note("area of overhang", o.AreaMM2/k/k, s.area)
		name := "reach"
		if needles {
			name = "reach among needles"
		}
		if s.kind == mesh.Bridge {
			name += ", half the span"
		}
		off := o.Regions[0].ReachMM - k*s.reach
		w.note(name, s.reach+math.Copysign(max(0, math.Abs(off)-o.ReachErr), off)/k, s.reach)
		starts := startsOf(t, m, f)
		if len(starts) != map[bool]int{true: 1}[s.start > 0] {
			t.Errorf("%d floating starts", len(starts))
		} else if s.start > 0 {
			w.note("height of a start", starts[0].Height/k, s.start)
		}
	}
	if s.ball > 0 {
		b, err := mesh.MeasureLargestBall(ctx, m)
		if err != nil {
			t.Fatal(err)
		}
		off := max(b.DiameterMM-k*s.ball, 0) + min(b.DiameterMM+b.ErrMM-k*s.ball, 0)
		w.note("diameter", s.ball+off/k, s.ball)
	}
	if s.section != nil {
		cuts := sectionsOf(t, m, f, k*0.4)
		for i, z := range cuts.Z {
			w.note("section", cuts.AreaMM2[i]/k/k, s.section(z/k))
			w.note("perimeter", cuts.PerimeterMM[i]/k, s.perimeter(z/k))
		}
	}
	if s.ratio > 0 {
		const pitch = 0.25
		tall := slenderOf(t, m, f, k*pitch)
		if len(tall) != 1 {
			t.Errorf("%d slender features, want 1", len(tall))
			return
		}
		off := tall[0].Ratio - s.ratio // heights are known to one pitch
		w.note("ratio", s.ratio+math.Copysign(max(0, math.Abs(off)-pitch/(tall[0].WidthMM/k)), off), s.ratio)
	}
}

// Parts as they stand against closed forms, over sizes, tilts, tessellations
// and units. It prints the worst errors.
func TestStoodFamilies(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 21))
	w := worst{}
	for round, n := range []int{6, 12, 40, 7, 24, 9, 16, 48} {
		family := stoodFamilies(rng, n)
		for _, name := range slices.Sorted(maps.Keys(family)) {
			s := family[name]
			for told := range 4 {
				m, f, k, how := s.m, s.f, 1.0, "as made"
				switch told {
				case 1:
					m, how = meshtest.Refine(m, 1), "refined"
				case 2:
					m, how = slivers(m, rng), "cut to needles"
				case 3:
					m, how = slivers(m, rng), "cut to needles, rounded"
				}
				if told > 0 {
					k = math.Pow(10, 2*rng.Float64()-1)
					axis, a := meshtest.RandomDir(rng), 6*rng.Float64()
					m, f = meshtest.Turn(m, axis, a), turnedFrame(f, axis, a)
					m = meshtest.Map(meshtest.Move(m, meshtest.RandomDir(rng).Scale(10)), func(p mesh.Vec) mesh.Vec { return p.Scale(k) })
					m = meshtest.Shuffle(m, rng)
				}
				if told == 3 {
					m = meshtest.Single(m)
				}
				one := worst{}
				one.measureStood(t, s, m, f, k, told > 1)
				for _, b := range stoodBands {
					e := one[b.name]
					if e == nil {
						continue
					}
					if !(e.Worst <= b.band) {
						t.Errorf("%s of %d sides, round %d, %s: %s off by %.3g of itself", name, n, round, how, b.name, e.Worst)
					}
					all := w.of(b.name)
					all.Worst, all.Cases = max(all.Worst, e.Worst), all.Cases+e.Cases
				}
			}
		}
	}
	for _, b := range stoodBands {
		w.hold(t, b.name, b.measurement, "parts as they stand, beyond what each says itself", b.band)
	}
}
