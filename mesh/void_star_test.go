package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// allocated returns how many bytes measuring the voids of a part allocates: the
// clearances of a grid alone take four a cell.
func allocated(t *testing.T, m *mesh.Mesh, cells int64) (*mesh.Voids, uint64) {
	t.Helper()
	if err := m.Prepare(context.Background()); err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	v, err := mesh.MeasureVoids(context.Background(), m, mesh.VoidParams{MaxCells: cells})
	if err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	return v, after.TotalAlloc - before.TotalAlloc
}

// Parts that a point inside sees whole have no vented void, and need no grid to
// say so: wherever they lie, whichever way they are wound, and also where the
// point is not their middle. Of parts that none sees whole the grid decides.
func TestVoidsOfStars(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 9))
	angle := meshtest.Carved(mesh.Vec{0, 0, 0}, mesh.Vec{30, 10, 30}, [2]mesh.Vec{{2, -1, 2}, {31, 11, 31}})
	spiky := meshtest.Map(meshtest.Sphere(10, 40), func(p mesh.Vec) mesh.Vec {
		return p.Scale(1 + 0.8*math.Sin(p[0])*math.Sin(p[1])*math.Cos(p[2]))
	})
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		star bool
	}{
		"box":                     {meshtest.Cube(10), true},
		"ball":                    {meshtest.Sphere(10, 60), true},
		"cone with deep dents":    {spiky, true},
		"angle, seen at its knee": {angle, true},
		"angle, slivers":          {meshtest.FlipFlat(meshtest.Refine(angle, 2), rng), true},
		"ring":                    {meshtest.Torus(10, 3, 40, 20), false},
		"blind pot":               {bottle(16, 0.1, 24), false},
		"bottle":                  {bottle(3, 5, 24), false},
	} {
		for range 3 {
			m := meshtest.Move(meshtest.Turn(meshtest.Shuffle(c.m, rng), meshtest.RandomDir(rng), 6*rng.Float64()), meshtest.RandomPoint(rng).Scale(40))
			if rng.IntN(2) == 0 {
				m = meshtest.Flip(m)
			}
			const cells = 1 << 18
			vs, bytes := allocated(t, m, cells)
			if grid := bytes > 3*cells; grid == c.star {
				t.Errorf("%s: %d bytes allocated, a star is %v", name, bytes, c.star)
			}
			if want := name == "bottle"; (len(vs.Voids) == 1) != want {
				t.Errorf("%s: %d voids", name, len(vs.Voids))
			}
		}
	}
}

// What is known of stars, the grid finds too: with a second body beside them
// they are no star.
func TestVoidsOfStarsOnTheGrid(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	for range 6 {
		a, b, c := 2+rng.Float64()*3, 2+rng.Float64()*3, 6*rng.Float64()
		m := meshtest.Map(meshtest.Sphere(10, 60), func(p mesh.Vec) mesh.Vec {
			return p.Scale(1 + 0.5*math.Sin(p[0]/a)*math.Sin(p[1]/b)*math.Cos(p[2]/3+c))
		})
		two := meshtest.Join(m, meshtest.Move(meshtest.Cube(1), mesh.Vec{20, 0, 0}))
		const cells = 1 << 18
		one, bytes := allocated(t, m, cells)
		if bytes > 3*cells {
			t.Errorf("a ball with dents takes %d bytes", bytes)
		}
		grid, bytes := allocated(t, two, cells)
		if bytes < 3*cells {
			t.Fatalf("the test's grid takes %d bytes", bytes)
		}
		if len(one.Voids) != 0 || len(grid.Voids) != 0 {
			t.Errorf("%d and %d voids in a ball with dents", len(one.Voids), len(grid.Voids))
		}
	}
}
