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

func massOf(t testing.TB, m *mesh.Mesh) mesh.Mass {
	t.Helper()
	got, err := mesh.MeasureMass(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.12g, want %.12g within %.2g", what, got, want, tol)
	}
}

// ngon is the share of a circle's area that a regular polygon on it has.
func ngon(n int) float64 { a := 2 * math.Pi / float64(n); return math.Sin(a) / a }

// tetrahedron has the corners a, b, c seen clockwise from d.
func tetrahedron(a, b, c, d mesh.Vec) *mesh.Mesh {
	var m meshtest.Builder
	m.Tri(a, c, b)
	m.Tri(a, b, d)
	m.Tri(b, c, d)
	m.Tri(c, a, d)
	return m.Mesh()
}

func octahedron(edge float64) *mesh.Mesh {
	r := edge / math.Sqrt2
	var m meshtest.Builder
	for _, z := range []float64{r, -r} {
		for i := range 4 {
			c := []mesh.Vec{{r, 0, 0}, {0, r, 0}, {-r, 0, 0}, {0, -r, 0}}
			p, q := c[i], c[(i+1)%4]
			if z < 0 {
				p, q = q, p
			}
			m.Tri(p, q, mesh.Vec{0, 0, z})
		}
	}
	return m.Mesh()
}

// TestMassClosedForms holds the closed forms for solids that triangles can show
// exactly, and for round ones with the polygon's share worked out.
func TestMassClosedForms(t *testing.T) {
	s3 := math.Sqrt(3)
	solids := accuracy.Of("mass", "volume and area", "boxes, tetrahedra, tubes, cones, hollow cubes", accuracy.Share, 1e-12)
	square := []mesh.Vec{{0, 0}, {20, 0}, {20, 20}, {0, 20}}
	hexagon := meshtest.Circle(0, 0, 10, 6)
	bracket := []mesh.Vec{{0, 0}, {40, 0}, {40, 10}, {10, 10}, {10, 40}, {0, 40}}
	for name, c := range map[string]struct {
		m            *mesh.Mesh
		volume, area float64
	}{
		"cube":               {meshtest.Cube(20), 8000, 2400},
		"box":                {meshtest.BoxAt(mesh.Vec{1, 2, 3}, mesh.Vec{41, 22, 13}), 8000, 2800},
		"tetrahedron":        {tetrahedron(mesh.Vec{5, 5 / s3, 0}, mesh.Vec{-5, 5 / s3, 0}, mesh.Vec{0, -10 / s3, 0}, mesh.Vec{0, 0, math.Sqrt(200. / 3)}), 1000 / (6 * math.Sqrt2), 100 * s3},
		"corner tetrahedron": {tetrahedron(mesh.Vec{}, mesh.Vec{10, 0, 0}, mesh.Vec{0, 10, 0}, mesh.Vec{0, 0, 10}), 1000. / 6, 150 + 50*s3},
		"octahedron":         {octahedron(10), math.Sqrt2 * 1000 / 3, 2 * s3 * 100},
		"hexagonal prism":    {meshtest.Extrude(hexagon, nil, 0, 20), 3 * s3 * 100 / 2 * 20, 3*s3*100 + 6*10*20},
		"L bracket":          {meshtest.Extrude(bracket, nil, 0, 20), 14000, 2*700 + 160*20},
		"cube with hole":     {meshtest.Extrude(square, [][]mesh.Vec{meshtest.Circle(10, 10, 5, 96)}, 0, 20), 8000 - math.Pi*25*20*ngon(96), 2400 - 2*math.Pi*25*ngon(96) + 96*2*5*math.Sin(math.Pi/96)*20},
		"tube":               {meshtest.Tube(10, 8, 0, 30, 64), math.Pi * 36 * 30 * ngon(64), 2*math.Pi*36*ngon(64) + 64*2*18*math.Sin(math.Pi/64)*30},
		"cone":               {meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 0}, {0, 10}}, 128), math.Pi * 1000 / 3 * ngon(128), math.Pi*100*ngon(128) + 128*10*math.Sin(math.Pi/128)*math.Sqrt(100+math.Pow(10*math.Cos(math.Pi/128), 2))},
		"two cubes":          {meshtest.Join(meshtest.Cube(20), meshtest.Move(meshtest.Cube(20), mesh.Vec{30, 0, 0})), 16000, 4800},
		"cube in cube":       {meshtest.Join(meshtest.Cube(20), meshtest.Flip(meshtest.BoxAt(mesh.Vec{5, 5, 5}, mesh.Vec{15, 15, 15}))), 7000, 3000},
	} {
		got := massOf(t, c.m)
		solids.Near(got.VolumeMM3, c.volume)
		solids.Near(got.AreaMM2, c.area)
		near(t, name+": volume", got.VolumeMM3, c.volume, 1e-12*c.volume)
		near(t, name+": area", got.AreaMM2, c.area, 1e-12*c.area)
	}
	solids.Hold(t)
}

// TestMassRound compares with the smooth solids within what a mesh inscribed in
// them lacks: the share (pi/n)^2 of area and twice that of volume or so.
func TestMassRound(t *testing.T) {
	h := 10 * (1 - math.Cos(math.Pi/4))
	cap45 := []mesh.Vec{{0, 10 - h}}
	for i := range 65 {
		s, c := math.Sincos(math.Pi / 4 * float64(64-i) / 64)
		cap45 = append(cap45, mesh.Vec{10 * s, 10 * c})
	}
	cap45[len(cap45)-1][0] = 0
	ellipsoid := meshtest.Map(meshtest.Sphere(1, 256), func(p mesh.Vec) mesh.Vec { return mesh.Vec{10 * p[0], 8 * p[1], 5 * p[2]} })
	for name, c := range map[string]struct {
		m            *mesh.Mesh
		volume, area float64 // area 0: not compared
	}{
		"sphere":      {meshtest.Sphere(10, 256), 4188.79, 1256.64},
		"cylinder":    {meshtest.Cylinder(0, 0, 5, 0, 20, 256), 1570.80, 785.398},
		"frustum":     {meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 0}, {5, 15}, {0, 15}}, 256), 2748.89, 745.094 + math.Pi*125},
		"torus":       {meshtest.Torus(20, 5, 256, 256), 9869.60, 3947.84},
		"ellipsoid":   {ellipsoid, 1675.52, 0},
		"cap":         {meshtest.Revolve(cap45, 256), 243.194, 0},
		"hollow ball": {meshtest.Join(meshtest.Sphere(10, 256), meshtest.Flip(meshtest.Sphere(8, 256))), 2044.13, 0},
	} {
		got := massOf(t, c.m)
		if r := got.VolumeMM3 / c.volume; r > 1+5e-6 || r < 1-5e-4 {
			t.Errorf("%s: volume %v of %v", name, got.VolumeMM3, c.volume)
		}
		if r := got.AreaMM2 / c.area; c.area > 0 && (r > 1+5e-6 || r < 1-5e-4) {
			t.Errorf("%s: area %v of %v", name, got.AreaMM2, c.area)
		}
	}
}

// TestInertia compares with the textbook values of a box, a solid cylinder and a
// ball (about the centroid, unit density).
func TestInertia(t *testing.T) {
	row := accuracy.Of("mass", "inertia", "box; cylinder of 512 and ball of 256 sides", accuracy.OfBand, 1)
	defer row.Hold(t)
	diag := func(name string, m *mesh.Mesh, want [3]float64, tol float64) {
		got := massOf(t, m).Inertia
		for i := range 3 {
			for j := range 3 {
				w := 0.
				if i == j {
					w = want[i]
				}
				row.Within(got[i][j], w, tol*want[0])
				near(t, name+": inertia", got[i][j], w, tol*want[0])
			}
		}
	}
	diag("box", meshtest.BoxAt(mesh.Vec{5, -3, 7}, mesh.Vec{15, 17, 37}), [3]float64{6000. / 12 * (400 + 900), 6000. / 12 * (100 + 900), 6000. / 12 * (100 + 400)}, 1e-13)
	v := math.Pi * 25 * 20
	diag("cylinder", meshtest.Cylinder(3, 4, 5, -1, 19, 512), [3]float64{v * (75 + 400) / 12, v * (75 + 400) / 12, v * 25 / 2}, 1e-4)
	v = 4. / 3 * math.Pi * 1000
	diag("ball", meshtest.Sphere(10, 256), [3]float64{v * 40, v * 40, v * 40}, 1e-3)
}

// TestMassMoves: volume and area stay, centroid and inertia move with the part.
func TestMassMoves(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	base := meshtest.Join(meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 3}, 32, [3]float64{8, 8, 3}), meshtest.Move(meshtest.Sphere(4, 32), mesh.Vec{50, 3, 9}))
	want := massOf(t, base)
	for range 20 {
		axis := mesh.Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
		angle, shift := rng.Float64()*7, mesh.Vec{rng.NormFloat64() * 100, rng.NormFloat64() * 1000, rng.NormFloat64() * 1e4}
		turn := func(p mesh.Vec) mesh.Vec {
			return meshtest.Turn(mesh.New([]mesh.Vec{p}, nil), axis, angle).Verts[0]
		}
		got := massOf(t, meshtest.Move(meshtest.Turn(base, axis, angle), shift))
		near(t, "volume", got.VolumeMM3, want.VolumeMM3, 1e-9*want.VolumeMM3)
		near(t, "area", got.AreaMM2, want.AreaMM2, 1e-9*want.AreaMM2)
		near(t, "centroid's error", got.Centroid.Sub(turn(want.Centroid).Add(shift)).Norm(), 0, 1e-9)
		// The inertia is the one matrix whose product with turned axes is turned.
		for k := range 3 {
			e := mesh.Vec{}
			e[k] = 1
			u := turn(e)
			var a, b mesh.Vec
			for i := range 3 {
				a[i] = mesh.Vec(got.Inertia[i]).Dot(u)
				b[i] = want.Inertia[i][k]
			}
			near(t, "inertia's error", a.Sub(turn(b)).Norm(), 0, 1e-7*want.Inertia[0][0])
		}
	}
	fine := massOf(t, meshtest.Refine(base, 2))
	near(t, "volume of the refined mesh", fine.VolumeMM3, want.VolumeMM3, 1e-12*want.VolumeMM3)
	near(t, "inertia of the refined mesh", fine.Inertia[1][1], want.Inertia[1][1], 1e-12*want.Inertia[1][1])
	double := massOf(t, meshtest.Map(base, func(p mesh.Vec) mesh.Vec { return p.Scale(2) }))
	if double.VolumeMM3 != 8*want.VolumeMM3 || double.AreaMM2 != 4*want.AreaMM2 || double.Inertia[0][1] != 32*want.Inertia[0][1] {
		t.Error("doubling the part does not scale its mass by powers of two")
	}
	mirror := massOf(t, meshtest.Flip(meshtest.Map(base, func(p mesh.Vec) mesh.Vec { p[0] = -p[0]; return p })))
	near(t, "volume of the mirrored part", mirror.VolumeMM3, want.VolumeMM3, 1e-12*want.VolumeMM3)
	near(t, "product of inertia of the mirrored part", mirror.Inertia[0][1], -want.Inertia[0][1], 1e-9*want.Inertia[0][0])
}

// TestMassOfSurface: where there is no volume, the centroid is the surface's.
func TestMassOfSurface(t *testing.T) {
	flat := mesh.New([]mesh.Vec{{1, 1, 5}, {4, 1, 5}, {1, 4, 5}}, [][3]int32{{0, 1, 2}})
	got := massOf(t, flat)
	near(t, "area", got.AreaMM2, 4.5, 1e-15)
	near(t, "centroid's error", got.Centroid.Sub(mesh.Vec{2, 2, 5}).Norm(), 0, 1e-14)
	if empty := massOf(t, mesh.New(nil, nil)); empty != (mesh.Mass{}) {
		t.Errorf("a mesh of nothing has %v", empty)
	}
}

func boxOf(t testing.TB, m *mesh.Mesh, f mesh.Frame) mesh.OrientedBox {
	t.Helper()
	got, err := mesh.MeasureBox(t.Context(), m, f)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestBox(t *testing.T) {
	up := mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0)
	part := meshtest.BoxAt(mesh.Vec{-5, 10, 2}, mesh.Vec{35, 30, 12})
	got := boxOf(t, part, up)
	if got.Size != (mesh.Vec{40, 20, 10}) || got.Min != (mesh.Vec{-5, 10, 2}) || got.FootSize != [2]float64{40, 20} || got.FootTurn != 0 {
		t.Errorf("a box that stands square measures %+v", got)
	}
	near(t, "radius", got.Radius, math.Hypot(20, 10), 1e-13)
	near(t, "centre x", got.Centre[0], 15, 1e-13)
	near(t, "centre y", got.Centre[1], 20, 1e-13)

	// Lying with +x up: 20 by 10 on the platform, 40 high.
	got = boxOf(t, part, mesh.NewFrame(mesh.Vec{1, 0, 0}, 0, 0))
	near(t, "height", got.Size[2], 40, 1e-12)
	near(t, "long side", got.FootSize[0], 20, 1e-12)
	near(t, "short side", got.FootSize[1], 10, 1e-12)

	// Turning the part by FootTurn lays the longer side along X.
	for _, a := range []float64{0.3, -1.2, 1.5, 2.9, math.Pi / 2, -0.7} {
		f := mesh.NewFrame(mesh.Vec{0, 0, 1}, a, 0)
		got = boxOf(t, part, f)
		near(t, "long side", got.FootSize[0], 40, 1e-12)
		near(t, "short side", got.FootSize[1], 20, 1e-12)
		straight := boxOf(t, part, mesh.NewFrame(mesh.Vec{0, 0, 1}, a+got.FootTurn, 0))
		near(t, "extent along X after the turn", straight.Size[0], 40, 1e-12)
		near(t, "extent along Y after the turn", straight.Size[1], 20, 1e-12)
		near(t, "radius", got.Radius, math.Hypot(20, 10), 1e-13)
	}
}

// TestFootprintBrute compares rectangle and circle with searches over many
// angles and all pairs and triples of points.
func TestFootprintBrute(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	up := mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0)
	row := accuracy.Of("box", "smallest rectangle above the best of 3600 turns", "clouds of points", accuracy.Share, 1e-12)
	defer row.Hold(t)
	for range 30 {
		n := 4 + rng.IntN(12)
		vs := make([]mesh.Vec, n)
		for i := range vs {
			vs[i] = mesh.Vec{rng.NormFloat64() * 10, rng.NormFloat64() * 3, rng.Float64()}
		}
		fs := [][3]int32{{0, 1, 2}}
		for i := 3; i < n; i++ {
			fs = append(fs, [3]int32{int32(i - 2), int32(i - 1), int32(i)})
		}
		m := mesh.New(vs, fs)
		got := boxOf(t, m, up)
		least := math.Inf(1)
		for k := range 3600 {
			s := boxOf(t, m, mesh.NewFrame(mesh.Vec{0, 0, 1}, float64(k)*math.Pi/3600, 0)).Size
			least = min(least, s[0]*s[1])
		}
		row.Add(max(0, got.FootSize[0]*got.FootSize[1]/least-1))
		if a := got.FootSize[0] * got.FootSize[1]; a > least*(1+1e-12) || a < least*(1-5e-3) {
			t.Errorf("smallest rectangle is %v, search finds %v", a, least)
		}
		// The smallest circle holds all points and touches two that face each
		// other or three that hold its centre between them: no half plane
		// through the centre is free of touching points.
		var touch []float64
		for _, v := range vs {
			d := math.Hypot(v[0]-got.Centre[0], v[1]-got.Centre[1])
			if d > got.Radius*(1+1e-12) {
				t.Fatalf("the circle misses a point by %v", d-got.Radius)
			}
			if d > got.Radius*(1-1e-9) {
				touch = append(touch, math.Atan2(v[1]-got.Centre[1], v[0]-got.Centre[0]))
			}
		}
		for k := range 720 {
			a, held := float64(k)*math.Pi/360, false
			for _, b := range touch {
				held = held || math.Cos(a-b) >= -1e-6
			}
			if !held {
				t.Fatalf("the circle could shrink towards %v", a)
			}
		}
	}
}

// TestCircleOfManyPoints: the outline of a fine cylinder, and of one whose
// corners all lie on the circle up to rounding.
func TestCircleOfManyPoints(t *testing.T) {
	m := meshtest.Revolve([]mesh.Vec{{0, 0}, {50, 0}, {50, 1}, {0, 1}}, 20_000)
	got := boxOf(t, meshtest.Move(m, mesh.Vec{7, -3, 0}), mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0))
	near(t, "radius", got.Radius, 50, 1e-11)
	near(t, "centre x", got.Centre[0], 7, 1e-9)
	near(t, "centre y", got.Centre[1], -3, 1e-9)
}

func BenchmarkMass(b *testing.B) {
	for _, n := range []int{100, 316, 1000} {
		m := meshtest.Sphere(10, n)
		b.Run(fmt.Sprintf("sphere/%d", len(m.Facets)), func(b *testing.B) {
			b.ReportAllocs()
			var v float64
			for b.Loop() {
				v += massOf(b, m).VolumeMM3
			}
			if v < 4000 {
				b.Fatal(v)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Facets)), "ns/facet")
		})
	}
}
