package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// worst keeps the largest relative error of each quantity over a family of
// shapes, and how often it was looked at.
type worst map[string]*accuracy.Family

func (w worst) note(name string, got, want float64) { w.of(name).Near(got, want) }

func (w worst) of(name string) *accuracy.Family {
	if w[name] == nil {
		w[name] = &accuracy.Family{Quantity: name, Unit: accuracy.Share}
	}
	return w[name]
}

// hold puts a quantity into the table and fails if it is off by more than band.
func (w worst) hold(t *testing.T, name, measurement, shapes string, band float64) {
	t.Helper()
	f := w.of(name)
	f.Measurement, f.Shapes, f.Band = measurement, shapes, band
	f.Hold(t)
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
		low := math.Inf(1)
		for _, v := range m.Verts {
			low = min(low, v.Dot(f.Z))
		}
		w.note("centroid", mass.Centroid.Dot(f.Z)-low, h*(0.5+1.75*a*a/2)/(1+a*a/2)*s)
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
		w.note("area of overhang", hanging, base*a*a*s*s)
		incl, err := mesh.MeasureInclination(ctx, m, f, 90)
		if err != nil {
			t.Fatal(err)
		}
		w.note("upskin", incl.UpMM2[0], base*(1+a*a)*s*s)
		w.note("downskin", incl.DownMM2[0], base*a*a*s*s)
		w.note("walls", incl.UpMM2[89]+incl.DownMM2[89], float64(n)*side*h*(1+a/2)*s*s)
		cone, f2, s2 := anywhere(rng, meshtest.Revolve([]mesh.Vec{{0, 0}, {r, 0}, {0, h}}, n))
		if incl, err = mesh.MeasureInclination(ctx, cone, f2, 90); err != nil {
			t.Fatal(err)
		}
		flat := r * math.Cos(math.Pi/float64(n))
		w.note("slopes of a cone", incl.UpMM2[int(math.Atan2(h, flat)/degree)], float64(n)*side/2*math.Hypot(h, flat)*s2*s2)
		sup, err := mesh.MeasureSupport(ctx, m, f, &o)
		if err != nil {
			t.Fatal(err)
		}
		w.note("columns", sup.VolumeMM3, base*a*a*h/2*s*s*s)
		starts, err := mesh.MeasureFloatingStarts(ctx, m, f)
		if err != nil || len(starts) != 1 {
			t.Fatal(len(starts), " floating starts: ", err)
		}
		w.note("height of a start", starts[0].Height, 1.5*h*s)
		cuts, err := mesh.MeasureSections(ctx, m, f, 2*h*s/100)
		if err != nil {
			t.Fatal(err)
		}
		w.note("section", cuts.AreaMM2[10], base*s*s)
		w.note("perimeter", cuts.PerimeterMM[10], float64(n)*side*s)

		if round%6 > 0 {
			continue // the rest takes longer
		}
		hollow, _, s := anywhere(rng, meshtest.Join(meshtest.Prism(meshtest.Circle(0, 0, r, n), 0, h), meshtest.Flip(meshtest.Prism(meshtest.Circle(0, 0, a*r, n), h/4, h/2))))
		voids, err := mesh.MeasureVoids(ctx, hollow, mesh.VoidParams{})
		if err != nil || len(voids.Voids) != 1 || !voids.Voids[0].Sealed {
			t.Fatal(voids, err)
		}
		w.note("volume of the void", voids.Voids[0].VolumeMM3, base*a*a*h/4*s*s*s)

		wedge := (2 + 40*rng.Float64()) * degree
		blade, _, s := anywhere(rng, meshtest.Prism([]mesh.Vec{{0, 0}, {10, -10 * math.Tan(wedge/2)}, {10, 10 * math.Tan(wedge/2)}}, 0, h))
		edges, err := mesh.MeasureFeatherEdges(ctx, blade, wedge+5*degree)
		if err != nil || len(edges) != 1 {
			t.Fatal(len(edges), " sharp edges: ", err)
		}
		w.note("angle", edges[0].AngleRad, wedge)
		w.note("length", edges[0].LengthMM, h*s)
	}
	for _, q := range [][2]string{{"mass", "volume"}, {"mass", "area"}, {"mass", "centroid"}, {"box", "height"}, {"box", "smallest circle"},
		{"inclination", "upskin"}, {"inclination", "downskin"}, {"inclination", "walls"}, {"inclination", "slopes of a cone"}, {"overhang", "area of overhang"}, {"support", "columns"}, {"floating start", "height of a start"},
		{"sections", "section"}, {"sections", "perimeter"}, {"sealed void", "volume of the void"}, {"feather edge", "angle"}, {"feather edge", "length"}} {
		w.hold(t, q[1], q[0], "prisms anywhere", band)
	}
}
