package meshtest

import (
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
)

// The bores, pins and lattices are closed, and hold what closed forms say.
func TestBores(t *testing.T) {
	ngon := func(n int, r float64) float64 { return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n)) }
	rnd := rand.New(rand.NewPCG(1, 1))
	plate := Plate(mesh.Vec{0, 0, 0}, mesh.Vec{10, 10, 2}, 12, [3]float64{5, 5, 2})
	for name, c := range map[string]struct {
		m     *mesh.Mesh
		want  float64
		euler int
	}{
		"blind bore":   {Turned(5, 0, 10, []mesh.Vec{{2, 10}, {2, 4}, {0, 4}}, 24), 1000 - 6*ngon(24, 2), 2},
		"through bore": {Turned(5, 0, 10, []mesh.Vec{{2, 10}, {2, 0}}, 24), 1000 - 10*ngon(24, 2), 0},
		"pin":          {Turned(5, 0, 10, []mesh.Vec{{2, 10}, {2, 14}, {0, 14}}, 24), 1000 + 4*ngon(24, 2), 2},
		"woven":        {Woven(5, 3, 10, 64, 12, 0.6, rnd), (ngon(64, 5) - ngon(64, 3)) * 10, 0},
		"grille":       {Grille(3, 2, 4, 1, 2, 16), 24*8 - 6*2*ngon(16, 1), 2 - 12},
		"lattice":      {Lattice(2, 10, 4, 1, 0, 0, 12), 8*64 + 12*6*ngon(12, 1), 2 - 10},
		"flipped":      {FlipFlat(plate, rnd), 200 - 2*ngon(12, 2), 0},
		"mirrored":     {Mirror(plate), 200 - 2*ngon(12, 2), 0},
		"shaken":       {Scatter(plate, 1e-4, rnd), 200 - 2*ngon(12, 2), 0},
	} {
		v := volume(c.m)
		if math.Abs(v-c.want) > 2e-3*c.want {
			t.Errorf("%s: volume %v, want %v", name, v, c.want)
		}
		top := c.m.Topology()
		if !top.Closed() {
			t.Errorf("%s: %d edges open, %d shared by many, %d flipped", name, top.OpenEdges, top.NonmanifoldEdges, top.FlippedEdges)
		}
		if e := len(c.m.Verts) - len(c.m.Facets)/2; e != c.euler {
			t.Errorf("%s: Euler number %d, want %d", name, e, c.euler)
		}
	}
	if f := Lattice(3, 10, 4, 0.8, 0.6, 4, 12); !f.Topology().Closed() || f.Topology().Shells != 1 {
		t.Error("the filleted lattice is not closed, or not in one piece")
	}
}
