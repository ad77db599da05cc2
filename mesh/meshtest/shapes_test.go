package meshtest

import (
	"math"
	"testing"

	"corbel/mesh"
)

func volume(m *mesh.Mesh) (v float64) {
	for f := range m.Facets {
		a, b, c := m.Corners(int32(f))
		v += a.Dot(b.Cross(c)) / 6
	}
	return v
}

// Closed forms: prism and revolved polygon.
func TestShapes(t *testing.T) {
	ngon := func(n int, r float64) float64 { return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n)) }
	for name, c := range map[string]struct {
		m     *mesh.Mesh
		want  float64
		euler int
	}{
		"cube":     {Cube(20), 8000, 2},
		"refined":  {Refine(Cube(20), 2), 8000, 2},
		"cylinder": {Cylinder(1, 2, 5, 0, 20, 48), ngon(48, 5) * 20, 2},
		"tube":     {Tube(10, 8, 0, 30, 64), (ngon(64, 10) - ngon(64, 8)) * 30, 0},
		"plate":    {Plate(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 2}, 24, [3]float64{5, 5, 2}, [3]float64{15, 12, 3}, [3]float64{30, 10, 4}), (800 - ngon(24, 2) - ngon(24, 3) - ngon(24, 4)) * 2, -4},
		"sphere":   {Sphere(10, 256), 4188.79, 2},
		"torus":    {Torus(20, 5, 512, 256), 9869.60, 0},
	} {
		v := volume(c.m)
		if math.Abs(v-c.want) > 2e-3*c.want {
			t.Errorf("%s: volume %v, want %v", name, v, c.want)
		}
		top := c.m.Topology()
		if !top.Closed() {
			t.Errorf("%s: not closed: %+v", name, top.OpenEdges)
		}
		if e := len(c.m.Verts) - len(c.m.Facets)/2; e != c.euler {
			t.Errorf("%s: Euler number %d, want %d", name, e, c.euler)
		}
	}
}
