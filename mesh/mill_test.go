package mesh_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

var endMill = mesh.MillParams{Tool: mesh.Tool{DiameterMM: 6, LengthMM: 40, HolderMM: 30}}

func milled(t testing.TB, m *mesh.Mesh, p mesh.MillParams) mesh.Milling {
	t.Helper()
	g, err := mesh.MeasureMilling(context.Background(), m, p)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// Closed forms: a block is all reached and its own stock; the inside of a
// hollow ball of radii 10 and 8 is 64/164 of the surface; the floor and the
// walls of a pocket deeper than the tool is long are missed below its reach.
func TestMillingClosedForms(t *testing.T) {
	share := accuracy.Of("milling", "share reached", "block, shaft, hollow ball", accuracy.OfBand, 1)
	stock := accuracy.Of("milling", "stock over part", "block, shaft", accuracy.Share, 1e-3)
	defer func() { share.Hold(t); stock.Hold(t) }()
	block := milled(t, meshtest.Refine(meshtest.BoxAt(mesh.Vec{1, 2, 3}, mesh.Vec{41, 22, 13}), 2), endMill)
	if block.Share != 1 || math.Abs(block.Ratio-1) > 1e-9 || block.Stock.Round || len(block.Missed) != 0 {
		t.Errorf("block: %+v", block)
	}
	share.Within(block.Share, 1, block.ShareErr)
	stock.Near(block.Ratio, 1)
	p := endMill
	p.AllowanceMM = 2
	if g := milled(t, meshtest.BoxAt(mesh.Vec{1, 2, 3}, mesh.Vec{41, 22, 13}), p); math.Abs(g.Stock.VolumeMM3-44*24*14) > 1e-6 {
		t.Errorf("with an allowance: %+v", g.Stock)
	}
	shaft := milled(t, meshtest.Cylinder(0, 0, 10, 0, 80, 360), endMill)
	if !shaft.Stock.Round || math.Abs(shaft.Ratio-1) > 1e-3 || shaft.Share < 1 {
		t.Errorf("shaft: %+v", shaft)
	}
	share.Within(shaft.Share, 1, shaft.ShareErr)
	stock.Near(shaft.Ratio, 1)
	hollow := milled(t, meshtest.Join(meshtest.Sphere(10, 64), meshtest.Flip(meshtest.Sphere(8, 64))), endMill)
	share.Within(hollow.Share, 100/164., hollow.ShareErr+0.005) // 64 sides
	if want := 100 / 164.; math.Abs(hollow.Share-want) > hollow.ShareErr+0.005 || len(hollow.Missed) == 0 || hollow.Missed[0].At.Norm() > 8.1 {
		t.Errorf("hollow ball: %g +- %g, want %g", hollow.Share, hollow.ShareErr, want)
	}
}

// An undercut is missed from above and reached from no side; a slot narrower
// than the tool is missed, one wider is not.
func TestMillingSlots(t *testing.T) {
	slot := func(w float64) *mesh.Mesh {
		return meshtest.Refine(meshtest.Extrude([]mesh.Vec{{0, 0, 0}, {60, 0, 0}, {60, 30, 0}, {30 + w/2, 30, 0}, {30 + w/2, 10, 0}, {30 - w/2, 10, 0}, {30 - w/2, 30, 0}, {0, 30, 0}}, nil, 0, 200), 4)
	}
	if g := milled(t, slot(8), endMill); g.Share < 0.999 {
		t.Errorf("slot of 8 mm: %+v", g)
	}
	g := milled(t, slot(4), endMill)
	surface := 2*(60*30-4*20.) + 200*(60+30+30+60+20+20+4-4)
	want := 1 - (2*20+4)*200/surface
	if g.Share > 1-0.8*(1-want) || g.Share < want-0.02 {
		t.Errorf("slot of 4 mm: %g, want about %g", g.Share, want)
	}
	// Moved, it is the same part.
	if h := milled(t, meshtest.Move(slot(4), mesh.Vec{100, -50, 30}), endMill); math.Abs(h.Share-g.Share) > g.ShareErr+h.ShareErr {
		t.Errorf("moved: %g, was %g", h.Share, g.Share)
	}
}

// Bores thinner than the tool are drilled; one whose mouth is covered is not.
func TestMillingBores(t *testing.T) {
	plate := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{40, 30, 12}, 48, [3]float64{10, 10, 1.5}, [3]float64{28, 18, 2})
	roof := meshtest.BoxAt(mesh.Vec{4, 4, 13}, mesh.Vec{16, 16, 15}) // 1 mm over the mouth of the first
	floor := meshtest.BoxAt(mesh.Vec{4, 4, -3}, mesh.Vec{16, 16, -1})
	share := func(m *mesh.Mesh) mesh.Milling {
		c, err := mesh.MeasureCylinders(context.Background(), m)
		if err != nil {
			t.Fatal(err)
		}
		if len(c.Holes) != 2 {
			t.Fatalf("%d holes", len(c.Holes))
		}
		p := endMill
		p.Bores = c
		return milled(t, m, p)
	}
	if g := share(plate); g.Share < 0.999 {
		t.Errorf("open bores: %+v", g)
	}
	if g := milled(t, plate, endMill); g.Share > 0.97 {
		t.Errorf("without a drill: %g", g.Share)
	}
	g := share(meshtest.Join(plate, roof, floor))
	missed := false
	for _, x := range g.Missed {
		missed = missed || math.Hypot(x.At[0]-10, x.At[1]-10) < 2 && x.At[2] > 0 && x.At[2] < 12
	}
	if !missed {
		t.Errorf("covered bore: %+v", g)
	}
}

// The bottom of a blind bore is cut by what fits the bore, however thin: a drill
// leaves its point, an end mill of the bore's own size a flat one, down to six
// times the diameter here. What is wider than its mouth stays missed.
func TestMillingBottoms(t *testing.T) {
	const half, sides = 20, 48
	profile := func(ps ...mesh.Vec) []mesh.Vec { return ps }
	share := accuracy.Of("milling", "share reached", "bottoms of bores: flat, pointed, stepped, too deep, undercut", accuracy.OfBand, 1)
	defer share.Hold(t)
	for _, c := range []struct {
		name    string
		profile []mesh.Vec
		missed  float64 // what lies below this and is no outer face, none for 0
	}{
		{"flat", profile(mesh.Vec{1.5, 60}, mesh.Vec{1.5, 55}, mesh.Vec{0, 55}), 0},
		{"flat, as wide as the tool", profile(mesh.Vec{3, 60}, mesh.Vec{3, 45}, mesh.Vec{0, 45}), 0},
		{"flat, deeper than the tool that fits all bores is long", profile(mesh.Vec{5, 60}, mesh.Vec{5, 10}, mesh.Vec{0, 10}), 0},
		{"a drill's point", profile(mesh.Vec{1.5, 60}, mesh.Vec{1.5, 10}, mesh.Vec{0, 9.1}), 0},
		{"step to a narrower bore", profile(mesh.Vec{2.5, 60}, mesh.Vec{2.5, 55}, mesh.Vec{1, 55}, mesh.Vec{1, 0}), 0},
		{"step and bottom", profile(mesh.Vec{2.5, 60}, mesh.Vec{2.5, 55}, mesh.Vec{1, 55}, mesh.Vec{1, 50}, mesh.Vec{0, 50}), 0},
		{"flat, ten diameters deep", profile(mesh.Vec{2.5, 60}, mesh.Vec{2.5, 10}, mesh.Vec{0, 10}), 10.1},
		{"wider below", profile(mesh.Vec{1.5, 60}, mesh.Vec{1.5, 55}, mesh.Vec{5, 50}, mesh.Vec{5, 48}, mesh.Vec{0, 48}), 54.9},
	} {
		m := meshtest.Turned(half, 0, 60, c.profile, sides)
		area, missed := 0.0, 0.0
		for f := range m.Facets {
			area += m.Area(int32(f))
			if at := m.Centre(int32(f)); math.Hypot(at[0], at[1]) < 5 && at[2] > 0 && at[2] < c.missed {
				missed += m.Area(int32(f))
			}
		}
		// A bore's own direction makes good what the six are askew.
		for _, m := range []*mesh.Mesh{m, meshtest.Turn(m, mesh.Vec{1, 1, 0.3}, 0.02)} {
			cs, err := mesh.MeasureCylinders(t.Context(), m)
			if err != nil {
				t.Fatal(err)
			}
			p := endMill
			p.LengthMM, p.Bores = 36, cs
			g := milled(t, m, p)
			want := 1 - missed/area
			share.Within(g.Share, want, g.ShareErr)
			if c.missed == 0 && g.Share != 1 || c.missed > 0 && len(g.Missed) == 0 {
				t.Errorf("%s: %.5f +- %.5f, want %.5f; missed %+v", c.name, g.Share, g.ShareErr, want, g.Missed)
			}
		}
	}
}

func BenchmarkMilling(b *testing.B) {
	for _, n := range []int{100, 316, 1000} {
		m := meshtest.Torus(30, 10, n, n/2)
		b.Run(fmt.Sprintf("torus/%d", len(m.Facets)), func(b *testing.B) {
			m.BVH()
			b.ReportAllocs()
			for b.Loop() {
				milled(b, m, endMill)
			}
		})
	}
}
