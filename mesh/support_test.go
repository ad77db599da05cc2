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

func supportOf(t testing.TB, m *mesh.Mesh, f mesh.Frame, degrees float64) mesh.Support {
	t.Helper()
	o := overhangAt(t, m, f, degrees)
	s, err := mesh.MeasureSupport(context.Background(), m, f, &o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSupport(t *testing.T) {
	plate := meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 3})
	ball := meshtest.Sphere(10, 240)
	a := 45 * degree
	// Under a ball on the platform: the integral of R - sqrt(R^2 - r^2) over the
	// disc of R sin a.
	bowl := math.Pi * 1000 * (math.Pow(math.Sin(a), 2) - 2.0/3*(1-math.Pow(math.Cos(a), 3)))
	disc := math.Pi * 100 * math.Pow(math.Sin(a), 2)
	square := meshtest.BoxAt(mesh.Vec{-10, -10, 0}, mesh.Vec{10, 10, 5})
	for _, c := range []struct {
		name                 string
		m                    *mesh.Mesh
		f                    mesh.Frame
		volume, area, onPart float64
		highest              float64
		tol                  float64 // relative
	}{
		{"70 plate at height 10", plate, upward(0, 0, 1, 10), 8000, 800, 0, 10, 1e-12},
		{"plate on the platform", plate, plusZ, 0, 0, 0, 0, 1e-12},
		{"33 bridge", bridge(10, 20, 20, 5, 20), upward(0, 1, 0, 0), 8000, 400, 0, 20, 1e-12},
		{"34 ledge, lifted", ledge(10, 20), upward(0, 1, 0, 2), 200*22 + 200*2, 400, 0, 22, 1e-12},
		{"ball on the platform", ball, plusZ, bowl, disc, 0, 10 * (1 - math.Cos(a)), 1e-3},
		{"ball in the air", ball, upward(0, 0, 1, 7), bowl + 7*disc, disc, 0, 7 + 10*(1-math.Cos(a)), 1e-3},
		{"window in a block", meshtest.Blocks([]float64{0, 5, 15, 20}, []float64{0, 20}, []float64{0, 5, 15, 20}, func(i, _, k int) bool { return i != 1 || k != 1 }), plusZ, 2000, 200, 1, 10, 1e-12},
		// Of a square plate the octagon over another turned by 45 degrees stands
		// on that one, the four corners on the platform.
		{"plate over a turned plate", meshtest.Join(square, meshtest.Move(meshtest.Turn(square, mesh.Vec{0, 0, 1}, math.Pi/4), mesh.Vec{0, 0, 15})), plusZ,
			400*15 - 5*800*(math.Sqrt2-1), 400, 2 * (math.Sqrt2 - 1), 15, 1e-12},
		// Of three plates the middle one takes the top one's columns.
		{"three plates", meshtest.Join(square, meshtest.Move(square, mesh.Vec{0, 0, 10}), meshtest.Move(square, mesh.Vec{5, 0, 20})), plusZ,
			400*5 + 300*5 + 100*20, 800, 700.0 / 800, 20, 1e-12},
	} {
		s := supportOf(t, c.m, c.f, 45)
		tol := func(x float64) float64 { return c.tol*math.Abs(x) + 1e-9 }
		wantNear(t, c.name+": volume", s.VolumeMM3, c.volume, tol(c.volume))
		wantNear(t, c.name+": area", s.AreaMM2, c.area, tol(c.area))
		wantNear(t, c.name+": share on the part", s.OnPartShare, c.onPart, tol(1))
		wantNear(t, c.name+": highest", s.HighestMM, c.highest, 1e-3*c.highest)
		if (len(s.Stands) > 0) != (c.onPart > 0) {
			t.Errorf("%s: stands on %d facets", c.name, len(s.Stands))
		}
	}
}

// Floors that run into each other. Under a plate of 10 x 10 mm at a height of 10
// two ramps cross, up to 9 mm at one end and at the other: what lies between is
// the integral of 10 - max(0.9 x, 9 - 0.9 x). And struts that cross in every node
// measure the same however finely they are split.
func TestSupportOverCrossingBodies(t *testing.T) {
	plate := meshtest.BoxAt(mesh.Vec{0, 0, 10}, mesh.Vec{10, 10, 12})
	ramp := meshtest.Turn(meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {10, 9}}, nil, -10, 0), mesh.Vec{1, 0, 0}, math.Pi/2)
	other := meshtest.Turn(meshtest.Extrude([]mesh.Vec{{0, 0}, {10, 0}, {0, 9}}, nil, -10, 0), mesh.Vec{1, 0, 0}, math.Pi/2)
	s := supportOf(t, meshtest.Join(plate, ramp, other), plusZ, 45)
	wantNear(t, "over two ramps: volume", s.VolumeMM3, 325, 1e-9)
	wantNear(t, "over two ramps: area", s.AreaMM2, 100, 1e-9)
	wantNear(t, "over two ramps: share on the part", s.OnPartShare, 1, 1e-12)

	struts := meshtest.Struts(2, 4, 0.4, 12)
	whole, split := supportOf(t, struts, plusZ, 45), supportOf(t, meshtest.Refine(struts, 1), plusZ, 45)
	wantNear(t, "struts: volume", split.VolumeMM3, whole.VolumeMM3, 1e-9*whole.VolumeMM3)
	wantNear(t, "struts: share on the part", split.OnPartShare, whole.OnPartShare, 1e-9)
}

// Random blocks against a count of cells, also turned and refined.
func TestSupportBruteForce(t *testing.T) {
	const n = 7
	rows := []*accuracy.Family{accuracy.Of("support", "columns", "random blocks, turned and refined", accuracy.Share, 1e-9),
		accuracy.Of("support", "area held", "random blocks, turned and refined", accuracy.Share, 1e-9),
		accuracy.Of("support", "area on the part", "random blocks, turned and refined", accuracy.Share, 1e-9)}
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 3))
		var solid [n][n][n]bool
		for i := range n * n * n {
			solid[i/n/n][i/n%n][i%n] = rng.IntN(3) == 0 || i%n == 0 && i == 0
		}
		solid[0][0][0] = true
		var volume, area, onPart float64
		for i := range n {
			for j := range n {
				gap, post := 0, false
				for k := range n {
					switch {
					case !solid[i][j][k]:
						gap++
					case gap > 0:
						volume += float64(gap)
						area++
						if post {
							onPart++
						}
						gap, post = 0, true
					default:
						post = true
					}
				}
			}
		}
		s := meshtest.Steps(0, n, n)
		m := meshtest.Blocks(s, s, s, func(i, j, k int) bool { return solid[i][j][k] })
		if seed%3 == 1 {
			m = meshtest.Refine(m, 1)
		}
		f := plusZ
		if seed%3 == 2 {
			axis, a := mesh.Vec{rng.Float64(), rng.Float64(), rng.Float64()}, 3*rng.Float64()
			m = meshtest.Turn(m, axis, a)
			f = mesh.NewFrame(meshtest.Turn(mesh.New([]mesh.Vec{{0, 0, 1}}, nil), axis, a).Verts[0], rng.Float64(), 0)
		}
		got := supportOf(t, m, f, 45)
		rows[0].Near(got.VolumeMM3, volume)
		rows[1].Near(got.AreaMM2, area)
		rows[2].Near(got.OnPartShare*got.AreaMM2, onPart)
		for _, e := range [3]float64{got.VolumeMM3 - volume, got.AreaMM2 - area, got.OnPartShare*got.AreaMM2 - onPart} {
			if !(math.Abs(e) < 1e-6) {
				t.Errorf("seed %d: volume %.9g area %.9g on part %.9g, want %g, %g, %g", seed, got.VolumeMM3, got.AreaMM2, got.OnPartShare*got.AreaMM2, volume, area, onPart)
				break
			}
		}
	}
	for _, row := range rows {
		row.Hold(t)
	}
}

// Where facets of a floor meet, rounding leaves seams; nothing is seen through
// them. The sheet of a gyroid of period 10 mm repeats on every upright line that
// meets it, so no column under it is higher. Coordinates are rounded as in STL.
func TestSupportSeams(t *testing.T) {
	m := meshtest.Gyroid(10, 1, 2, 15)
	for i, v := range m.Verts {
		m.Verts[i] = mesh.Vec{float64(float32(v[0])), float64(float32(v[1])), float64(float32(v[2]))}
	}
	o, err := mesh.MeasureOverhang(context.Background(), m, plusZ, mesh.OverhangParams{AngleRad: 45 * degree, LeastMM2: math.Inf(1)})
	if err != nil {
		t.Fatal(err)
	}
	s, err := mesh.MeasureSupport(context.Background(), m, plusZ, &o)
	if err != nil || !(s.HighestMM > 5 && s.HighestMM < 10.1) {
		t.Errorf("columns up to %v mm, want no more than 10: %v", s.HighestMM, err)
	}
}
