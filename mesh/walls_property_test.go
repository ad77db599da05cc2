package mesh_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
	"pgregory.net/rapid"
)

// told is a part told in another way: k times as large, and what was done.
// Rounding needles turns them: tilted is by how much at most.
type told struct {
	m       *mesh.Mesh
	k       float64
	needles bool
	tilted  float64
}

// needleTilt is how far rounding, a quarter of Err, turns the narrowest needle that
// has a side, of 8 Err: where flanks lean to each other, thickness goes along.
const needleTilt = 1.0 / 32

// tellings are the ways to tell a part again that change nothing of it.
var tellings = []string{"move", "turn", "renumber", "refine", "scale", "mirror", "needles", "round", "shells"}

func (p *told) tell(how string, rng *rand.Rand) {
	switch how {
	case "move":
		p.m = meshtest.Move(p.m, meshtest.RandomDir(rng).Scale(p.k*30*rng.Float64()))
	case "turn":
		p.m = meshtest.Turn(p.m, meshtest.RandomDir(rng), 6*rng.Float64())
	case "renumber":
		p.m = meshtest.Shuffle(p.m, rng)
	case "refine":
		if len(p.m.Facets) < 1000 {
			p.m = meshtest.Refine(p.m, 1)
		}
	case "scale":
		q := math.Exp(2*rng.Float64() - 1)
		p.m, p.k = meshtest.Map(p.m, func(v mesh.Vec) mesh.Vec { return v.Scale(q) }), p.k*q
	case "mirror":
		p.m = meshtest.Mirror(p.m)
	case "needles":
		if !p.needles && len(p.m.Facets) < 1000 {
			p.m, p.needles = slivers(p.m, rng), true
		}
	case "round":
		p.m = meshtest.Single(p.m)
		if p.needles {
			p.tilted = needleTilt
		}
	case "shells": // beside a block of its own
		b := p.m.Box()
		far := b.Max.Add(b.Size().Scale(0.5))
		p.m = meshtest.Join(p.m, meshtest.BoxAt(far, far.Add(mesh.Vec{30, 30, 30}.Scale(p.k))))
	}
}

// walled are parts with thin walls and gaps of many kinds.
var walled = []struct {
	name string
	m    *mesh.Mesh
}{
	{"patch in a plate", meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{30, 30, 5}), meshtest.Flip(meshtest.BoxAt(mesh.Vec{11, 17, 0.4}, mesh.Vec{12, 18, 4})))},
	{"rib", meshtest.Extrude([]mesh.Vec{{-20, -5}, {20, -5}, {20, 0}, {2, 0}, {0.3, 10}, {-0.3, 10}, {-2, 0}, {-20, 0}}, nil, 0, 8)},
	{"tube in a bore", meshtest.Join(meshtest.RingPrism(meshtest.Circle(0, 0, 5, 12), meshtest.Circle(0, 0, 4.2, 12), 0, 6), meshtest.Prism(meshtest.Circle(0, 0, 3.7, 12), -2, 8))},
	{"bodies that overlap", meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{8, 8, 0.4}), meshtest.BoxAt(mesh.Vec{2, 2, 0.3}, mesh.Vec{6, 6, 0.7}))},
	{"notch", notched(40)},
	{"cube", meshtest.Cube(20)},
}

// The same part, told in another way, has the same least wall and gap.
func TestWallProperties(t *testing.T) {
	fields := func(m *mesh.Mesh, k float64) (fs [2]*mesh.ThicknessField) {
		p := mesh.ThicknessParams{CapMM: 1.5 * k, PatchMM: 0.5 * k}
		var err error
		if fs[0], err = mesh.MeasureThickness(t.Context(), m, p); err != nil {
			t.Fatal(err)
		}
		if fs[1], err = mesh.MeasureGap(t.Context(), m, p); err != nil {
			t.Fatal(err)
		}
		return fs
	}
	was := make([][2]*mesh.ThicknessField, len(walled))
	for i, w := range walled {
		was[i] = fields(w.m, 1)
	}
	rapid.Check(t, func(r *rapid.T) {
		i := rapid.IntRange(0, len(walled)-1).Draw(r, "part")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(r, "seed"), 31))
		p := told{m: walled[i].m, k: 1}
		for _, how := range rapid.SliceOfN(rapid.SampledFrom(tellings), 1, 3).Draw(r, "how") {
			p.tell(how, rng)
		}
		for side, got := range fields(p.m, p.k) {
			want := was[i][side]
			off := math.Abs(got.Min - p.k*want.Min)
			if math.IsInf(want.Min, 1) && math.IsInf(got.Min, 1) {
				continue
			}
			if !(off <= got.Err+p.k*want.Err+(1e-9+p.tilted)*got.Min) {
				r.Errorf("%s: least %s %.9g, was %.9g, known to %.2g", walled[i].name, [2]string{"wall", "gap"}[side], got.Min, p.k*want.Min, got.Err+p.k*want.Err)
			}
		}
	})
}

// Parts with voids measure the same however they are told: as many, sealed
// volumes exactly, the way out and the largest ball within their bands.
func TestVoidProperties(t *testing.T) {
	var o mesh.Vec
	parts := []*mesh.Mesh{
		meshtest.Join(meshtest.Cube(20), meshtest.Flip(meshtest.BoxAt(mesh.Vec{3, 3, 3}, mesh.Vec{9, 8, 10})), meshtest.Flip(meshtest.Move(meshtest.Sphere(3, 10), mesh.Vec{14, 14, 14}))),
		ventedBlock(vent(o, mesh.Vec{0, 0, 9}, 2)),
		ventedBlock(vent(o, mesh.Vec{6, 0, 0}, 2.4), vent(mesh.Vec{6, 0, 0}, mesh.Vec{6, 0, 9}, 2)),
	}
	measure := func(m *mesh.Mesh) *mesh.Voids {
		vs, err := mesh.MeasureVoids(t.Context(), m, mesh.VoidParams{MaxCells: 1 << 17})
		if err != nil {
			t.Fatal(err)
		}
		return vs
	}
	rng := rand.New(rand.NewPCG(9, 31))
	row := accuracy.Of("vented void", "escape diameter", "the same part told again", accuracy.OfBand, 1)
	for i, part := range parts {
		was := measure(part)
		for range 8 {
			p := told{m: part, k: 1}
			var hows []string
			for range 1 + rng.IntN(3) {
				how := tellings[rng.IntN(len(tellings)-1)] // not beside another body: that takes cells
				hows = append(hows, how)
				p.tell(how, rng)
			}
			got := measure(p.m)
			if len(got.Voids) != len(was.Voids) {
				t.Errorf("part %d, %v: %d voids, were %d", i, hows, len(got.Voids), len(was.Voids))
				continue
			}
			for j, v := range got.Voids {
				w := was.Voids[j]
				k3 := p.k * p.k * p.k
				if v.Sealed != w.Sealed || v.Openings != w.Openings || v.Sealed && math.Abs(v.VolumeMM3-k3*w.VolumeMM3) > 1e-5*k3*w.VolumeMM3 {
					t.Errorf("part %d, %v: void %+v, was %+v by %g", i, hows, v, w, p.k)
				}
				row.Within(v.EscapeMM, p.k*w.EscapeMM, v.ErrMM+p.k*w.ErrMM)
				if off := math.Abs(v.EscapeMM - p.k*w.EscapeMM); off > v.ErrMM+p.k*w.ErrMM {
					t.Errorf("part %d, %v: escape %.6g, was %.6g, known to %.2g", i, hows, v.EscapeMM, p.k*w.EscapeMM, v.ErrMM+p.k*w.ErrMM)
				}
				if off := math.Abs(v.BallMM - p.k*w.BallMM); off > 0.03*p.k*w.BallMM {
					t.Errorf("part %d, %v: ball %.6g, was %.6g", i, hows, v.BallMM, p.k*w.BallMM)
				}
			}
		}
	}
	row.Hold(t)
}
