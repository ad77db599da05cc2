package mesh_test

import (
	"context"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// TestRiseOfArches: what of a round of radius r lies lower than 45 degrees reaches
// r sin 45 and rises by r (1 - cos 45) over its ends, in a tunnel, in a bend, below a
// dome; a flat ceiling rises by nothing, one that leans across lies below its higher
// wall.
func TestRiseOfArches(t *testing.T) {
	const r, a = 3.0, math.Pi / 4
	up := mesh.Vec{0, 0, 1}
	// n sides a quarter, with a side's end at a.
	arch := func(n int) (ps []mesh.Vec) {
		for i := -2 * n; i <= 2*n; i++ {
			x := float64(i) / float64(2*n) * math.Pi / 2
			ps = append(ps, mesh.Vec{r * math.Sin(x), r * math.Cos(x)})
		}
		return append(ps, mesh.Vec{r, -2}, mesh.Vec{-r, -2})
	}
	tunnel := func(section []mesh.Vec) *mesh.Mesh {
		block := meshtest.Extrude([]mesh.Vec{{-8, -8}, {8, -8}, {8, 8}, {-8, 8}}, [][]mesh.Vec{section}, 0, 30)
		return meshtest.Map(block, mesh.NewFrame(mesh.Vec{0, 1, 0}, 0, 0).Turn)
	}
	var ring []mesh.Vec // of a bend's section
	for i := range 64 {
		x := 2 * math.Pi * float64(i) / 64
		ring = append(ring, mesh.Vec{15 + r*math.Cos(x), 0, r * math.Sin(x)})
	}
	bend := meshtest.Join(meshtest.BoxAt(mesh.Vec{-25, -25, -8}, mesh.Vec{25, 25, 8}), meshtest.Flip(torus(ring, 128)))
	dome := meshtest.Join(meshtest.BoxAt(mesh.Vec{-8, -8, -8}, mesh.Vec{8, 8, 8}), meshtest.Flip(meshtest.Sphere(r, 64)))
	coil := meshtest.Join(meshtest.BoxAt(mesh.Vec{-25, -25, -8}, mesh.Vec{25, 25, 50}), meshtest.Flip(helix(ring, 128, 3, 12)))
	reach, rise := r*math.Sin(a), r*(1-math.Cos(a))
	for _, c := range []struct {
		name        string
		m           *mesh.Mesh
		reach, rise float64
		tol         float64 // of the radius: what facets leave of a round
	}{
		{"tunnel", tunnel(arch(16)), reach, rise, 0.002},
		{"bend", bend, reach, rise, 0.01},
		{"coil, whose turns lie over one another", coil, reach, rise, 0.01},
		{"dome", dome, reach, rise, 0.05},
		{"flat ceiling", tunnel([]mesh.Vec{{-2, -2}, {2, -2}, {2, 2}, {-2, 2}}), 2, 0, 1e-6},
		{"leaning ceiling", tunnel([]mesh.Vec{{-2, -2}, {2, -2}, {2, 3}, {-2, 2}}), 2, -0.5, 1e-6},
	} {
		over, err := mesh.MeasureOverhang(context.Background(), c.m, mesh.NewFrame(up, 0, 0), mesh.OverhangParams{AngleRad: a})
		if err != nil {
			t.Fatal(err)
		}
		if len(over.Regions) == 0 {
			t.Errorf("%s: no overhang", c.name)
			continue
		}
		if got := over.Regions[0]; math.Abs(got.ReachMM-c.reach) > c.tol*r || math.Abs(got.RiseMM-c.rise) > c.tol*r {
			t.Errorf("%s: reaches %g and rises %g, want %g and %g", c.name, got.ReachMM, got.RiseMM, c.reach, c.rise)
		}
	}
}

// helix turns a closed section about the z axis, n and a bit steps a turn, as it climbs
// by a pitch each, and closes both ends.
func helix(section []mesh.Vec, n, turns int, pitch float64) *mesh.Mesh {
	var b meshtest.Builder
	at := func(p mesh.Vec, i int) mesh.Vec {
		s, c := math.Sincos(2 * math.Pi * float64(i) / (float64(n) + 0.3))
		return mesh.Vec{p[0] * c, p[0] * s, p[2] + pitch*float64(i)/float64(n)}
	}
	for i := range n * turns {
		for k, p := range section {
			q := section[(k+1)%len(section)]
			b.Quad(at(p, i), at(p, i+1), at(q, i+1), at(q, i))
		}
	}
	for k := 2; k < len(section); k++ {
		p, q, r := section[0], section[k-1], section[k]
		b.Tri(at(p, 0), at(q, 0), at(r, 0))
		b.Tri(at(p, n*turns), at(r, n*turns), at(q, n*turns))
	}
	return b.Mesh()
}

// torus turns a closed section about the z axis in n steps.
func torus(section []mesh.Vec, n int) *mesh.Mesh {
	var b meshtest.Builder
	at := func(p mesh.Vec, i int) mesh.Vec {
		s, c := math.Sincos(2 * math.Pi * float64(i%n) / float64(n))
		return mesh.Vec{p[0] * c, p[0] * s, p[2]}
	}
	for i := range n {
		for k, p := range section {
			q := section[(k+1)%len(section)]
			b.Quad(at(p, i), at(p, i+1), at(q, i+1), at(q, i))
		}
	}
	return b.Mesh()
}
