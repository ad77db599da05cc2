package mesh_test

import (
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Local thickness is the diameter of the largest ball in the solid that covers a
// point (Hildebrand and Rüegsegger 1997, J Microscopy 185:67, from memory). A ray
// along the inward normal bounds it from above: both agree on a slab, and on a
// wedge of angle a, at s from its tip, the ball reads 2 s tan(a/2) and the ray
// s tan a (derived).
func TestBallAgainstRay(t *testing.T) {
	ray := func(m *mesh.Mesh, f *mesh.ThicknessField) float64 {
		var n mesh.Vec // inward, of the facet that the least value stands on
		for i := range m.Facets {
			if meshtest.FacetDist(m, int32(i), f.MinAt) < 1e-9 {
				n = m.Normal(int32(i)).Scale(-1)
				break
			}
		}
		hit, ok := m.BVH().Ray(f.MinAt, n, 1e-6, 100)
		if !ok {
			t.Fatalf("no ray from %v along %v", f.MinAt, n)
		}
		return hit.T
	}
	slab := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 20, 1.5})
	f := wallOf(t, slab, 6, 1)
	near(t, "slab, ball", f.Min, 1.5, f.Err)
	near(t, "slab, ray", ray(slab, f), 1.5, 1e-9)
	for _, deg := range []float64{20, 30, 45} {
		m, a := wedge(deg, 20), deg*degree
		f := wallOf(t, m, 6, 1) // reads no nearer to the tip than 1 mm
		near(t, fmt.Sprintf("wedge of %g deg, ball", deg), f.Min, 2*math.Tan(a/2), f.Err)
		near(t, fmt.Sprintf("wedge of %g deg, ray over ball", deg), ray(m, f)/f.Min, math.Tan(a)/(2*math.Tan(a/2)), 0.02)
	}
}

// A bore of radius 3 whose roof is a teardrop of planes at 45 degrees (derived):
// its tip lies R/cos a = 4.243 mm above the axis, its section is R^2 (pi - a + tan a)
// = 30.206 mm2, and nothing of it is flatter than 45 degrees, where the round bore
// has 2 a R L = 94.25 mm2 under a free chord of 2 R sin a.
func TestTeardrop(t *testing.T) {
	const n, r, depth = 720, 3.0, 20.0
	a := 45 * degree
	var tear []mesh.Vec
	for _, p := range meshtest.Circle(0, 0, r, n) {
		if p[1] <= r*math.Cos(a)+1e-9 { // below where the planes touch
			tear = append(tear, p)
		}
	}
	for i := range tear { // the tip goes where the ring is open
		if next := tear[(i+1)%len(tear)]; next.Sub(tear[i]).Norm() > r {
			tear = append(append(tear[:i+1:i+1], mesh.Vec{0, r / math.Cos(a)}), tear[i+1:]...)
			break
		}
	}
	block := []mesh.Vec{{-10, -10}, {10, -10}, {10, 10}, {-10, 10}}
	m := meshtest.Extrude(block, [][]mesh.Vec{tear}, 0, depth)
	near(t, "section", 400-massOf(t, m).VolumeMM3/depth, 30.206, 1e-3)
	tip := 0.0
	for _, v := range m.Verts {
		if math.Abs(v[0]) < 1 && v[1] < 10 {
			tip = max(tip, v[1])
		}
	}
	near(t, "tip", tip, 4.243, 5e-4)
	up := upward(0, 1, 0, 0)
	if o := overhangAt(t, m, up, 45); o.AreaMM2 != 0 {
		t.Errorf("a teardrop of 45 degrees has %g mm2 below 45", o.AreaMM2)
	}
	wantNear(t, "just above 45 degrees, both planes", overhangAt(t, m, up, 45.1).AreaMM2, 2*r*depth, 1e-6)
	for _, c := range []struct{ r, deg, chord float64 }{{3, 45, 4.243}, {4, 45, 5.657}, {3, 30, 3}} {
		o := overhangAt(t, boredBlock(c.r, depth, n), up, c.deg+0.01)
		wantNear(t, "round bore: area", o.AreaMM2, 2*c.deg*degree*c.r*depth, 1e-3*94)
		wantNear(t, "round bore: free chord", 2*o.Regions[0].ReachMM, c.chord, 0.02)
	}
}

// A circle of radius 10 as a polygon of n sides (derived): the chords lie
// R (1 - cos(pi/n)) inside the circle, and the area is n/(2 pi) sin(2 pi/n) of its
// own. That coarse facets show in the built part: Hällgren, Pejryd, Ekengren 2016,
// Procedia CIRP 50:518, read.
func TestTessellation(t *testing.T) {
	for _, c := range []struct {
		n            int
		chord, share float64
	}{{16, 0.19215, 0.97450}, {32, 0.04815, 0.99359}, {64, 0.01205, 0.99839}, {128, 0.00301, 0.99960}} {
		pin := meshtest.Cylinder(0, 0, 10, 0, 10, c.n)
		near(t, "share of the area", massOf(t, pin).VolumeMM3/(math.Pi*1000), c.share, 6e-6)
		got := cylindersOf(t, pin)
		if len(got.Pins) != 1 {
			t.Fatalf("%d sides: %d pins", c.n, len(got.Pins))
		}
		p := got.Pins[0]
		near(t, "diameter", p.DiameterMM, 20, 1e-9)
		near(t, "chord error", (p.DiameterMM-p.InscribedMM)/2, c.chord, 6e-6)
		if !(p.ErrMM >= 2*c.chord-1e-5) {
			t.Errorf("%d sides: a band of %g mm does not hold the chords' %g", c.n, p.ErrMM, 2*c.chord)
		}
	}
}

// What a facet is inclined by: n = (0, 1, -1)/sqrt 2 under z is at 45 degrees, a
// ceiling at 0, a wall at 90 (derived).
func TestInclinationOfAFacet(t *testing.T) {
	s := math.Sqrt2 / 2
	for _, c := range []struct {
		n   mesh.Vec
		deg float64
	}{{mesh.Vec{0, s, -s}, 45}, {mesh.Vec{0, 0, -1}, 0}, {mesh.Vec{1, 0, 0}, 90}} {
		rad, _ := plusZ.InclinationRad(c.n)
		near(t, "inclination", rad/degree, c.deg, 1e-9)
	}
}
