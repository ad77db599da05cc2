package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// worst keeps the largest relative error of each measurement over its family.
type worst map[string]float64

func (w worst) note(name string, got, want float64) {
	w[name] = max(w[name], math.Abs(got-want)/math.Max(math.Abs(want), 1e-9))
}

// anywhere is a prism in some place: turned, moved, scaled and cut into smaller
// facets, with the frame in which it stands upright.
func anywhere(rng *rand.Rand, m *mesh.Mesh) (turned *mesh.Mesh, f mesh.Frame, scale float64) {
	scale = math.Pow(10, rng.Float64()*3-1)
	m = meshtest.Refine(m, rng.IntN(2))
	m = meshtest.Map(m, func(p mesh.Vec) mesh.Vec { return p.Scale(scale) })
	axis, angle := meshtest.RandomDir(rng), rng.Float64()*2*math.Pi
	up := meshtest.Turn(mesh.New([]mesh.Vec{{}, {1, 0, 0}, {0, 0, 1}}, [][3]int32{{0, 1, 2}}), axis, angle).Verts[2]
	m = meshtest.Move(meshtest.Turn(m, axis, angle), meshtest.RandomDir(rng).Scale(100*scale))
	return meshtest.Shuffle(m, rng), mesh.NewFrame(up, rng.Float64()*6, 0), scale
}

// TestAccuracyOfWhatIsExact holds the measurements that sample nothing to the
// closed forms of prisms of any size, place and tessellation. It prints the
// worst relative errors; rounding is all there may be.
func TestAccuracyOfWhatIsExact(t *testing.T) {
	const band = 1e-9
	rng := rand.New(rand.NewPCG(1, 2))
	ctx := context.Background()
	w := worst{}
	for round := range 24 {
		n := 3 + rng.IntN(40)
		r, h, a := 1+9*rng.Float64(), 1+20*rng.Float64(), 0.1+0.8*rng.Float64()
		base := float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n)) // of a regular polygon
		side := 2 * r * math.Sin(math.Pi/float64(n))
		// A prism with a smaller one standing in the air above it.
		body := meshtest.Prism(meshtest.Circle(0, 0, r, n), 0, h)
		top := meshtest.Prism(meshtest.Circle(0, 0, a*r, n), h*1.5, h*2)
		m, f, s := anywhere(rng, meshtest.Join(body, top))

		mass, err := mesh.MeasureMass(ctx, m)
		if err != nil {
			t.Fatal(err)
		}
		w.note("volume", mass.VolumeMM3, base*h*(1+a*a/2)*s*s*s)
		w.note("area", mass.AreaMM2, (2*base*(1+a*a)+float64(n)*side*h*(1+a/2))*s*s)
		box, err := mesh.MeasureBox(ctx, m, f)
		if err != nil {
			t.Fatal(err)
		}
		w.note("height", box.Size[2], 2*h*s)
		w.note("smallest circle", box.Radius, r*s)
		o, err := mesh.MeasureOverhang(ctx, m, f, mesh.OverhangParams{AngleRad: 45 * degree})
		if err != nil {
			t.Fatal(err)
		}
		var hanging float64
		for _, x := range o.Regions {
			hanging += x.AreaMM2
		}
		w.note("overhang area", hanging, base*a*a*s*s)
		sup, err := mesh.MeasureSupport(ctx, m, f, &o)
		if err != nil {
			t.Fatal(err)
		}
		w.note("support columns", sup.VolumeMM3, base*a*a*h/2*s*s*s)
		starts, err := mesh.MeasureFloatingStarts(ctx, m, f)
		if err != nil || len(starts) != 1 {
			t.Fatal(len(starts), " floating starts: ", err)
		}
		w.note("floating start", starts[0].Height, 1.5*h*s)
		cuts, err := mesh.MeasureSections(ctx, m, f, 2*h*s/100)
		if err != nil {
			t.Fatal(err)
		}
		w.note("section area", cuts.AreaMM2[10], base*s*s)
		w.note("section perimeter", cuts.PerimeterMM[10], float64(n)*side*s)

		if round%6 > 0 {
			continue // the rest takes longer
		}
		hollow, _, s := anywhere(rng, meshtest.Join(meshtest.Prism(meshtest.Circle(0, 0, r, n), 0, h), meshtest.Flip(meshtest.Prism(meshtest.Circle(0, 0, a*r, n), h/4, h/2))))
		voids, err := mesh.MeasureVoids(ctx, hollow, mesh.VoidParams{})
		if err != nil || len(voids.Voids) != 1 || !voids.Voids[0].Sealed {
			t.Fatal(voids, err)
		}
		w.note("sealed void", voids.Voids[0].VolumeMM3, base*a*a*h/4*s*s*s)

		wedge := (2 + 40*rng.Float64()) * degree
		blade, _, s := anywhere(rng, meshtest.Prism([]mesh.Vec{{0, 0}, {10, -10 * math.Tan(wedge/2)}, {10, 10 * math.Tan(wedge/2)}}, 0, h))
		edges, err := mesh.MeasureFeatherEdges(ctx, blade, wedge+5*degree)
		if err != nil || len(edges) != 1 {
			t.Fatal(len(edges), " sharp edges: ", err)
		}
		w.note("feather edge's angle", edges[0].AngleRad, wedge)
		w.note("feather edge's length", edges[0].LengthMM, h*s)
	}
	for _, name := range []string{"volume", "area", "height", "smallest circle", "overhang area", "support columns", "floating start",
		"section area", "section perimeter", "sealed void", "feather edge's angle", "feather edge's length"} {
		t.Logf("worst: %s of prisms: %.1g of itself (band %.0g)", name, w[name], band)
		if !(w[name] <= band) || len(w) != 12 {
			t.Errorf("%s is off by %.3g of itself", name, w[name])
		}
	}
}
