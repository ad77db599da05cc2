package mesh_test

import (
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// ellipse returns a profile of so many strips between two angles.
func ellipse(cx, cy, rx, ry, a0, a1 float64, rows int) []mesh.Vec {
	ps := meshtest.Arc(0, 0, 1, a0, a1, rows)
	for i, p := range ps {
		ps[i] = mesh.Vec{cx + rx*p[0], cy + ry*p[1]}
		if math.Abs(ps[i][0]) < 1e-9 {
			ps[i][0] = 0
		}
	}
	return ps
}

// polarless is a ball's profile whose first and last strip are flat: its rows
// stand half a step from the poles.
func polarless(rows int) []mesh.Vec {
	half := 90 / float64(rows)
	ps := meshtest.Arc(0, 0, 10, half-90, 90-half, rows-1)
	return append(append([]mesh.Vec{{0, ps[0][1]}}, ps...), mesh.Vec{0, ps[len(ps)-1][1]})
}

// TestBandsOfCurvedSurfaces: a band of a ball, an ellipsoid or a ring is round
// and, where the rows fall so, exactly a cylinder. It is no hole and no pin, at
// any number of rows and columns that are within a factor of about three of one
// another, as body, as a space inside, and with every facet cut in four.
func TestBandsOfCurvedSurfaces(t *testing.T) {
	for _, fam := range []struct {
		name    string
		least   [2]int // rows and columns
		profile func(rows int) []mesh.Vec
	}{
		{"ball", [2]int{5, 16}, func(rows int) []mesh.Vec { return ellipse(0, 0, 10, 10, -90, 90, rows) }},
		{"ball without poles", [2]int{4, 8}, polarless},
		{"flat ellipsoid", [2]int{7, 8}, func(rows int) []mesh.Vec { return ellipse(0, 0, 10, 5, -90, 90, rows) }},
		{"long ellipsoid", [2]int{7, 8}, func(rows int) []mesh.Vec { return ellipse(0, 0, 10, 20, -90, 90, rows) }},
		{"ring", [2]int{12, 16}, func(rows int) []mesh.Vec { return ellipse(15, 0, 5, 5, -90, 270, rows) }},
		{"ring with an upright strip inside", [2]int{12, 16}, func(rows int) []mesh.Vec {
			half := 180 / float64(rows)
			return ellipse(15, 0, 5, 5, -180+half, 180+half, rows)
		}},
	} {
		for _, rows := range []int{4, 5, 7, 8, 9, 12, 13, 15, 20, 25} {
			for _, n := range []int{8, 12, 16, 24, 32, 48} {
				if rows < fam.least[0] || n < fam.least[1] || rows > 3*n || 2*n > 7*rows {
					continue
				}
				m := meshtest.Revolve(fam.profile(rows), n)
				hollow := meshtest.Join(meshtest.BoxAt(mesh.Vec{-40, -40, -40}, mesh.Vec{40, 40, 40}), meshtest.Flip(m))
				for name, m := range map[string]*mesh.Mesh{"body": m, "space": hollow, "refined": meshtest.Refine(m, 1)} {
					noCylinders(t, fmt.Sprintf("%s of %d by %d, %s", fam.name, rows, n, name), m)
				}
			}
		}
	}
}

// TestTapers: cones and barrels are no cylinders, whatever their taper and
// tessellation, if the taper is more than half a degree or one per cent.
func TestTapers(t *testing.T) {
	for _, n := range []int{8, 12, 24, 64} {
		for _, rows := range []int{1, 2, 5, 12} {
			for _, deg := range []float64{0.75, 2, 8, 20, 45, 65} {
				// A conical hole of mean radius 6 in a block of 10.
				dr := min(10*math.Tan(deg*math.Pi/180), 8)
				var ps []mesh.Vec
				for i := range rows + 1 {
					s := float64(i) / float64(rows)
					ps = append(ps, mesh.Vec{6 + dr*(0.5-s), 10 * (1 - s)})
				}
				noCylinders(t, fmt.Sprintf("cone of %g degrees, %d rows of %d", deg, rows, n), meshtest.Turned(16, 0, 10, ps, n))
			}
		}
		for _, rows := range []int{5, 7, 10, 17} {
			for _, bulge := range []float64{10, 20, 45} {
				r := 5 / math.Sin(bulge*math.Pi/180)
				barrel := meshtest.Arc(6-r, 5, r, bulge, -bulge, rows)
				noCylinders(t, fmt.Sprintf("barrel to %g degrees, %d rows of %d", bulge, rows, n), meshtest.Turned(16, 0, 10, barrel, n))
				waist := meshtest.Arc(6+r, 5, r, 180-bulge, 180+bulge, rows)
				noCylinders(t, fmt.Sprintf("waist to %g degrees, %d rows of %d", bulge, rows, n), meshtest.Turned(16, 0, 10, waist, n))
			}
		}
	}
}

func noCylinders(t *testing.T, name string, m *mesh.Mesh) {
	t.Helper()
	if got := cylindersOf(t, m); len(got.Holes)+len(got.Pins) > 0 {
		t.Errorf("%s: holes %q, pins %q", name, brief(got.Holes), brief(got.Pins))
	}
}

// TestBoresWithMouths: a bore keeps its place and size whatever its mouths, both
// alike, and however short it is between them.
func TestBoresWithMouths(t *testing.T) {
	for _, n := range []int{8, 12, 24, 64} {
		for _, long := range []float64{0.5, 1, 6, 20} { // of the bore, radius 5
			mouths := map[string][]mesh.Vec{"countersink of 60": {{7, 2 * math.Sqrt(3)}}, "countersink of 82": {{7, 2 / math.Tan(41*math.Pi/180)}},
				"countersink of 90": {{7, 2}}, "countersink of 120": {{7, 2 / math.Sqrt(3)}}, "chamfer": {{5.5, 0.5}}, "lead-in of 15": {{5.5, 0.5 / math.Tan(math.Pi/12)}}}
			for _, steps := range []int{2, 3, 6, 16} {
				mouths[fmt.Sprintf("fillet in %d steps", steps)] = meshtest.Arc(6, 0, 1, 180, 90, steps)[1:]
			}
			if n == 8 && long <= 1 {
				// With eight sides the faces of this one lean less than 40 degrees and
				// turn as much again to the plate: the waist of a coarse ring.
				delete(mouths, "countersink of 82")
			}
			for name, mouth := range mouths {
				name = fmt.Sprintf("%s, %d sides, %g long", name, n, long)
				deep := mouth[len(mouth)-1][1]
				// From the top face down: the mouth, the bore, the mouth again.
				var ps []mesh.Vec
				for i := range mouth {
					q := mouth[len(mouth)-1-i]
					ps = append(ps, mesh.Vec{q[0], 2*deep + long - (deep - q[1])})
				}
				ps = append(ps, mesh.Vec{5, deep + long}, mesh.Vec{5, deep})
				for _, q := range mouth {
					ps = append(ps, mesh.Vec{q[0], deep - q[1]})
				}
				got := cylindersOf(t, meshtest.Turned(16, 0, 2*deep+long, ps, n))
				if len(got.Holes) != 1 || len(got.Pins) != 0 {
					t.Errorf("%s: holes %q, pins %q", name, brief(got.Holes), brief(got.Pins))
					continue
				}
				h := got.Holes[0]
				near(t, name+": diameter", h.DiameterMM, 10, 0.1)
				near(t, name+": middle", h.At[2], deep+long/2, 0.1)
				if !h.Through || h.Axis[2] < 0.999994 { // 0.2 degrees
					t.Errorf("%s: through %v, axis %v", name, h.Through, h.Axis)
				}
			}
		}
	}
}
