package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// vent is a room of a block of 16 mm with a chamber of 8 mm, its middle at the
// origin: a square channel of width w from a to b along one axis.
func vent(a, b mesh.Vec, w float64) [2]mesh.Vec {
	for k := range a {
		lo, hi := min(a[k], b[k])-w/2, max(a[k], b[k])+w/2
		a[k], b[k] = lo, hi
	}
	return [2]mesh.Vec{a, b}
}

// ventedBlock is the block with its chamber and other rooms.
func ventedBlock(rooms ...[2]mesh.Vec) *mesh.Mesh {
	rooms = append(rooms, [2]mesh.Vec{{-4, -4, -4}, {4, 4, 4}})
	return meshtest.Carved(mesh.Vec{-8, -8, -8}, mesh.Vec{8, 8, 8}, rooms...)
}

// The largest ball that gets out through square channels, against closed forms:
// a ball as wide as a channel passes it and its bends. Parts are turned, moved,
// scaled and cut smaller.
func TestVoidFamilies(t *testing.T) {
	const band = 0.05
	var o mesh.Vec
	rng := rand.New(rand.NewPCG(3, 4))
	vents := accuracy.Of("vented void", "escape diameter", "bent, branching, narrowed vents", accuracy.Share, band)
	said := accuracy.Of("vented void", "escape diameter", "bent, branching, narrowed vents", accuracy.OfBand, 1)
	ways := accuracy.Of("vented void", "number of openings", "bent, branching, narrowed vents", accuracy.Wrong, 0)
	for _, w := range []float64{1.5, 2} {
		loose := meshtest.Join(meshtest.BoxAt(mesh.Vec{-1.5, -1.5, -1.5}, mesh.Vec{1.5, 1.5, 1.5}), meshtest.Flip(meshtest.BoxAt(mesh.Vec{-1, -1, -1}, mesh.Vec{1, 1, 1})))
		elbow, knee := mesh.Vec{6, 0, 0}, mesh.Vec{6, 0, -3}
		for _, c := range []struct {
			name     string
			m        *mesh.Mesh
			escape   float64
			openings int
			sealed   int // further voids
		}{
			{"straight vent", ventedBlock(vent(o, mesh.Vec{0, 0, 9}, w)), w, 1, 0},
			{"bent vent", ventedBlock(vent(o, elbow, w), vent(elbow, mesh.Vec{6, 0, 9}, w)), w, 1, 0},
			{"vent bent twice", ventedBlock(vent(o, elbow, w), vent(elbow, knee, w), vent(knee, mesh.Vec{6, 9, -3}, w)), w, 1, 0},
			{"branching vent", ventedBlock(vent(o, elbow, 1.5*w), vent(elbow, mesh.Vec{6, 0, 9}, w), vent(elbow, mesh.Vec{6, 0, -9}, w/2)), w, 2, 0},
			{"branches wider than the trunk", ventedBlock(vent(o, elbow, w/2), vent(elbow, mesh.Vec{6, 0, 9}, w), vent(elbow, mesh.Vec{6, 0, -9}, w)), w / 2, 0, 0},
			{"bottleneck in the middle", ventedBlock(vent(o, mesh.Vec{0, 0, 5.5 - w/2}, w), vent(o, mesh.Vec{0, 0, 9}, w/2), vent(mesh.Vec{0, 0, 6.5 + w/2}, mesh.Vec{0, 0, 9}, w)), w / 2, 1, 0},
			{"two openings", ventedBlock(vent(o, mesh.Vec{0, 0, 9}, w), vent(o, mesh.Vec{0, -9, 0}, w/2)), w, 2, 0},
			{"shells in a vented chamber", meshtest.Join(ventedBlock(vent(o, mesh.Vec{0, 0, 9}, w)), loose), w, 1, 1},
		} {
			k := math.Pow(10, 2*rng.Float64()-1)
			m := meshtest.Refine(meshtest.Map(c.m, func(p mesh.Vec) mesh.Vec { return p.Scale(k) }), rng.IntN(2))
			if rng.IntN(3) > 0 {
				m = meshtest.Move(meshtest.Turn(m, meshtest.RandomDir(rng), 6*rng.Float64()), mesh.Vec{31, -17, 5}.Scale(k))
			}
			vs, err := mesh.MeasureVoids(context.Background(), meshtest.Shuffle(m, rng), mesh.VoidParams{MaxCells: 1 << 20})
			if err != nil {
				t.Fatal(err)
			}
			if vs.SeenMM > c.escape*k {
				t.Fatalf("%s: a grid that sees %.3g mm is too coarse for the test", c.name, vs.SeenMM/k)
			}
			if len(vs.Voids) != 1+c.sealed || vs.Voids[0].Sealed {
				t.Errorf("%s of %g: %d voids, want %d, vented first: %+v", c.name, w, len(vs.Voids), 1+c.sealed, vs.Voids)
				continue
			}
			v := vs.Voids[0]
			e := v.EscapeMM/k/c.escape - 1
			vents.Add(e)
			said.Within(v.EscapeMM, c.escape*k, v.ErrMM)
			if !(math.Abs(e) <= band) || math.Abs(v.EscapeMM-c.escape*k) > v.ErrMM {
				t.Errorf("%s of %g, scaled by %.3g: escape %.5f +- %.2g, want %g", c.name, w, k, v.EscapeMM/k, v.ErrMM/k, c.escape)
			}
			if c.openings > 0 {
				ways.Right(v.Openings == c.openings)
			}
			if c.openings > 0 && v.Openings != c.openings {
				t.Errorf("%s of %g: %d openings, want %d", c.name, w, v.Openings, c.openings)
			}
			if c.sealed > 0 && math.Abs(vs.Voids[1].VolumeMM3-8*k*k*k) > 1e-9*k*k*k {
				t.Errorf("%s: %v mm3 sealed, want 8", c.name, vs.Voids[1].VolumeMM3/k/k/k)
			}
		}
	}
	vents.Hold(t)
	said.Hold(t)
	ways.Hold(t)
}

// Shells in shells, as deep as n: every second space between is sealed, and all
// volumes are those of boxes.
func TestNestedShells(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 2))
	nested := accuracy.Of("sealed void", "volume of the void", "shells in shells", accuracy.Share, 1e-9)
	for _, n := range []int{1, 2, 4, 5} {
		var parts []*mesh.Mesh
		for i := range n { // outermost first; even ones bound material from outside
			a := float64(2*n - i)
			b := meshtest.BoxAt(mesh.Vec{-a, -a, -a}, mesh.Vec{a, a, a})
			if rng.IntN(2) == 0 {
				b = meshtest.Flip(b) // however they are wound
			}
			parts = append(parts, b)
		}
		m := meshtest.Shuffle(tilted(meshtest.Join(parts...)), rng)
		vs, err := mesh.MeasureVoids(context.Background(), m, mesh.VoidParams{MaxCells: 1 << 14})
		if err != nil {
			t.Fatal(err)
		}
		if len(vs.Voids) != n/2 {
			t.Fatalf("%d shells: %d voids, want %d: %+v", n, len(vs.Voids), n/2, vs.Voids)
		}
		var want []float64
		for i := range n / 2 {
			a := 2 * float64(2*n-2*i-1)
			want = append(want, a*a*a)
			if 2*i+2 < n { // a shell lies in it
				want[i] -= (a - 2) * (a - 2) * (a - 2)
			}
		}
		slices.Sort(want)
		for i, v := range vs.Voids { // largest first
			w := want[len(want)-1-i]
			e := math.Abs(v.VolumeMM3/w - 1)
			if !v.Sealed || !(e <= 1e-9) {
				t.Errorf("%d shells, void %d: %+v, want %g mm3 sealed", n, i, v, w)
			}
			nested.Add(e)
		}
	}
	nested.Hold(t)
}

// A way out that hugs a wall of the chamber looks narrow to a grid there; it is
// as wide as the vent beyond.
func TestWayThatHugsAWall(t *testing.T) {
	var o mesh.Vec
	m := ventedBlock(vent(o, mesh.Vec{0, 0, 9}, 2))
	var at []mesh.Vec
	var clear []float64
	for z := -3.0; z <= 3; z += 0.5 {
		at, clear = append(at, mesh.Vec{3.9, 0, z}), append(clear, 0.1)
	}
	for x := 3.5; x > 0; x -= 0.5 {
		at, clear = append(at, mesh.Vec{x, 0, 3}), append(clear, min(1, 4-x))
	}
	for z := 3.5; z <= 11; z += 0.5 {
		at, clear = append(at, mesh.Vec{0, 0, z}), append(clear, math.Max(1, z-8))
	}
	w, err := mesh.PassWidth(context.Background(), m, at, clear, 0.5)
	if err != nil || math.Abs(w-2) > 0.04 {
		t.Errorf("width %g (%v), want 2", w, err)
	}
}

// The shortest vector in a hull, against a fine look at all its points: no
// direction may do better by more than the tolerance, and none is given where
// the touched points surround p.
func TestAwayFrom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "touched")
		var us []mesh.Vec
		var normal mesh.Vec
		if rapid.Bool().Draw(t, "in a plane") {
			normal = mesh.Vec{0, 0, 1}
		}
		for range n {
			a, z := rapid.Float64Range(0, 7).Draw(t, "turn"), rapid.Float64Range(-1, 1).Draw(t, "height")
			r := math.Sqrt(1 - z*z)
			us = append(us, mesh.Vec{r * math.Cos(a), r * math.Sin(a), z})
		}
		touch := make([]mesh.Vec, n)
		for i, u := range us {
			touch[i] = u.Scale(-2)
			us[i] = u.Sub(normal.Scale(u.Dot(normal)))
		}
		v := mesh.AwayFrom(mesh.Vec{}, normal, touch)
		// v is the shortest if no corner of the hull is behind its plane; and it
		// lies in the hull if none of Frank and Wolfe's steps towards it stays away.
		for _, u := range us {
			if v.Norm() > 0 && u.Dot(v) < v.Dot(v)-2e-6 {
				t.Fatalf("%v is no shortest vector: %v lies behind", v, u)
			}
		}
		w, best := us[0], us[0].Sub(v).Norm()
		for range 20000 {
			far := us[0]
			for _, u := range us[1:] {
				if u.Sub(w).Dot(v.Sub(w)) > far.Sub(w).Dot(v.Sub(w)) {
					far = u
				}
			}
			e := far.Sub(w)
			if e.Dot(e) == 0 {
				break
			}
			w = w.Add(e.Scale(min(1, max(0, v.Sub(w).Dot(e)/e.Dot(e)))))
			best = min(best, w.Sub(v).Norm())
		}
		if best > 0.02 {
			t.Fatalf("%v is %g away from the hull of %v", v, best, us)
		}
	})
}
