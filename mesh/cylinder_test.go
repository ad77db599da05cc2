package mesh_test

import (
	"math"
	"path/filepath"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

func cylindersOf(t testing.TB, m *mesh.Mesh) *mesh.Cylinders {
	t.Helper()
	got, err := mesh.MeasureCylinders(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// loadMesh reads a file of the corpus.
func loadMesh(t testing.TB, name, unit string) *mesh.Mesh {
	t.Helper()
	m, err := mesh.Load(t.Context(), filepath.Join("..", "testdata", "meshes", name), mesh.LoadOptions{Unit: unit})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestHolesOfPublishedMeshes compares with the corpus's table, whose figures
// come from a reader and a recogniser that share no code with ours: how many
// full concave cylinders there are, and which diameters they have.
func TestHolesOfPublishedMeshes(t *testing.T) {
	for _, c := range []struct {
		file, unit string
		holes      int
		diameters  []float64 // in the file's unit, two decimals
		unitMM     float64
	}{
		{"parts/plate_6_holes.stl", "mm", 6, []float64{6.76, 11.11}, 1},
		{"parts/tray_22_holes.stl", "mm", 22, []float64{2.26, 3.17, 3.8, 4.98, 6.53, 9.13}, 1},
		{"parts/panel_6_holes.ply", "mm", 6, []float64{4.04}, 1},
		{"parts/ring_plate_36_holes.3mf", "", 36, []float64{2.26, 6.76, 8.43, 10.08, 15.87, 15.88, 253.93}, 1},
		{"parts/ring_plate_36_holes_fine.3mf", "", 36, []float64{2.26, 6.76, 8.43, 10.08, 15.87, 15.88, 253.93}, 1},
		{"parts/gears_17_bodies.3mf", "", 16, []float64{7, 7.8}, 1},
		{"parts/pump_base.stl", "m", 1, nil, 1000},
		{"dirty/table_flipped_faces.stl", "m", 2, []float64{0.2}, 1000},
		{"parts/feature_block.stl", "in", 17, []float64{0.27, 0.39, 0.44}, 25.4},
		{"parts/feature_block.ply", "in", 17, []float64{0.27, 0.39, 0.44}, 25.4},
		{"parts/feature_block.3mf", "", 17, []float64{0.27, 0.39, 0.44}, 25.4},
		{"parts/tube_wall_0p3.stl", "mm", 1, []float64{4.47}, 1},
		{"parts/mount_inch.3mf", "", 1, []float64{1.09}, 25.4},
		{"parts/insert_base.stl", "m", 8, nil, 1000},
		{"lattice/implant_beams.3mf", "", 1, []float64{2.5}, 1},
		{"parts/torus.stl", "mm", 0, nil, 1},
		{"parts/unit_sphere.stl", "mm", 0, nil, 1},
		{"parts/helix.stl", "mm", 0, nil, 1},
		{"parts/wing_nut.obj", "mm", 0, nil, 1},
	} {
		t.Run(c.file, func(t *testing.T) {
			got := cylindersOf(t, loadMesh(t, c.file, c.unit))
			if len(got.Holes) != c.holes {
				t.Errorf("%d holes, want %d", len(got.Holes), c.holes)
			}
			seen := map[float64]bool{}
			for _, h := range got.Holes {
				for _, d := range c.diameters {
					// The table's recogniser averages over the vertices: of a bore
					// of 10 inches it says 253.93.
					if math.Abs(h.DiameterMM/c.unitMM-d) <= max(0.0051, 0.0005*d) {
						seen[d] = true
					}
				}
			}
			for _, d := range c.diameters {
				if !seen[d] {
					t.Errorf("no hole of diameter %g", d)
				}
			}
		})
	}
}

// TestHolesOfPlate is row 46 of the check values (derived): a plate of 10 by 10
// by 2 with holes of 0.4, 0.8 and 2.0.
func TestHolesOfPlate(t *testing.T) {
	for _, n := range []int{8, 12, 16, 32, 64, 128} {
		m := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 2}, n,
			[3]float64{2, 2, 0.2}, [3]float64{5, 5, 0.4}, [3]float64{7.5, 7.5, 1})
		got := cylindersOf(t, m)
		if len(got.Holes) != 3 || len(got.Pins) != 0 {
			t.Fatalf("%d sides: %d holes and %d pins, want 3 and 0", n, len(got.Holes), len(got.Pins))
		}
		for i, d := range []float64{0.4, 0.8, 2} {
			h := got.Holes[i]
			near(t, "diameter", h.DiameterMM, d, 1e-9)
			near(t, "inscribed diameter", h.InscribedMM, d*math.Cos(math.Pi/float64(n)), 1e-9)
			near(t, "diameter of equal area", h.AreaMM, d*math.Sqrt(ngon(n)), 1e-9)
			near(t, "depth", h.LengthMM, 2, 1e-9)
			near(t, "full ring", h.RingMM, 2, 1e-9)
			near(t, "share", h.Share, 1, 1e-9)
			if h.Sides != n || !h.Through || h.OpenEnds != 2 || len(h.Facets) != 2*n {
				t.Errorf("%d sides: found %d, through %v, %d open ends, %d facets", n, h.Sides, h.Through, h.OpenEnds, len(h.Facets))
			}
			for _, f := range h.Facets {
				if got.HoleOf[f] != int32(i) {
					t.Fatalf("facet %d is of hole %d, want %d", f, got.HoleOf[f], i)
				}
			}
		}
	}
}

// TestBlindHole is row 47 of the check values (derived): diameter 2, depth 30,
// so that depth over diameter is 15. The profile is that of a turned block.
func TestBlindHole(t *testing.T) {
	m := meshtest.Revolve([]mesh.Vec{{0, 0}, {5, 0}, {5, 40}, {1, 40}, {1, 10}, {0, 10}}, 32)
	got := cylindersOf(t, m)
	if len(got.Holes) != 1 || len(got.Pins) != 1 {
		t.Fatalf("%d holes and %d pins, want 1 and 1", len(got.Holes), len(got.Pins))
	}
	h, p := got.Holes[0], got.Pins[0]
	near(t, "depth over diameter", h.LengthMM/h.DiameterMM, 15, 1e-9)
	if h.Through || h.OpenEnds != 1 || h.Axis.Sub(mesh.Vec{0, 0, 1}).Norm() > 1e-9 {
		t.Errorf("through %v, %d open ends, axis %v", h.Through, h.OpenEnds, h.Axis)
	}
	if !p.Free || p.Solid || p.OpenEnds != 0 {
		t.Errorf("outside: free %v, solid %v, %d ends held", p.Free, p.Solid, p.OpenEnds)
	}
}

// TestRoofOfHole is row 35 of the check values (derived): of a lying hole of
// diameter 6 and depth 20, the facets that slope less than 45 degrees have 2aRL
// of area, and the chord over them is 4.24264. The polygon of 96 sides has a
// little less area (model M19).
func TestRoofOfHole(t *testing.T) {
	m := meshtest.Plate(mesh.Vec{-10, -10, 0}, mesh.Vec{10, 10, 20}, 96, [3]float64{0, 0, 3})
	m = meshtest.Turn(m, mesh.Vec{1, 0, 0}, math.Pi/2)
	got := cylindersOf(t, m)
	var roof, chord float64
	for f := range m.Facets {
		// Facing down, the material above.
		if got.HoleOf[f] == 0 && -m.Normal(int32(f))[2] > math.Sqrt2/2 {
			roof += m.Area(int32(f))
			for _, v := range m.Facets[f] {
				chord = max(chord, 2*math.Abs(m.Verts[v][0]))
			}
		}
	}
	near(t, "roof area", roof, 94.2478, 94.2478*2e-4)
	near(t, "free chord", chord, 4.24264, 1e-5)
	near(t, "tilt against the build direction (deg)", math.Acos(math.Abs(got.Holes[0].Axis[2]))*180/math.Pi, 90, 1e-9)
}
