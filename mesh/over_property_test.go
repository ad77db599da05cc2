package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"pgregory.net/rapid"
)

// standing is what the measurements of a part as it stands say.
type standing struct {
	overhang mesh.Overhang
	starts   []mesh.FloatingStart
	sections *mesh.Sections
	slender  []mesh.Slender
	support  mesh.Support
}

func measureStanding(t *testing.T, m *mesh.Mesh, f mesh.Frame, pitch float64) standing {
	t.Helper()
	o := overhangAt(t, m, f, 44)
	s, err := mesh.MeasureSupport(context.Background(), m, f, &o)
	if err != nil {
		t.Fatal(err)
	}
	return standing{o, startsOf(t, m, f), sectionsOf(t, m, f, pitch), slenderOf(t, m, f, pitch), s}
}

// compare fails the test where b is not a scaled by k. Reach may be longer by
// the share slack: among flaps thinner than rounding along a rim, some may be
// taken for the other side of it, and then ways go around them. It is never too
// short.
func (a standing) compare(t *rapid.T, b standing, k, slack float64) {
	t.Helper()
	same := func(what string, x, y, tol float64) {
		t.Helper()
		if !(math.Abs(x-y) <= tol*(1+math.Abs(x))) {
			t.Errorf("%s is %.10g, was %.10g", what, y, x)
		}
	}
	count := func(what string, x, y int) bool {
		t.Helper()
		if x != y {
			t.Errorf("%d %s, were %d", y, what, x)
		}
		return x == y
	}
	if count("regions", len(a.overhang.Regions), len(b.overhang.Regions)) {
		// Regions of equal area may change places: reach by reach of the same rank.
		for i := range a.overhang.Regions {
			r, s := a.overhang.Regions[i], b.overhang.Regions[i]
			same("area", k*k*r.AreaMM2, s.AreaMM2, 1e-5)
			same("projected area", k*k*r.ProjectedMM2, s.ProjectedMM2, 1e-5)
			same("inclination", r.InclinationRad, s.InclinationRad, 1e-4)
			if r.Kind != s.Kind {
				t.Errorf("kind %s, was %s", s.Kind, r.Kind)
			}
			if r.Kind == mesh.Free {
				continue // which of several lowest points counts is a matter of rounding
			}
			e := k*a.overhang.ReachErr + b.overhang.ReachErr + 1e-5*(1+k*r.ReachMM)
			if d := s.ReachMM - k*r.ReachMM; d < -e || d > e+slack*k*r.ReachMM {
				t.Errorf("reach is %.10g, was %.10g, known to %.3g", s.ReachMM, k*r.ReachMM, e)
			}
		}
	}
	if count("starts", len(a.starts), len(b.starts)) {
		for i := range a.starts {
			if a.starts[i].Kind != b.starts[i].Kind {
				t.Errorf("start %s, was %s", b.starts[i].Kind, a.starts[i].Kind)
			}
			same("start's height", k*a.starts[i].Height, b.starts[i].Height, 1e-5)
			same("start's area", k*k*a.starts[i].AreaMM2, b.starts[i].AreaMM2, 1e-5)
		}
	}
	if count("sections", len(a.sections.Z), len(b.sections.Z)) {
		for i := range a.sections.Z {
			same("section", k*k*a.sections.AreaMM2[i], b.sections.AreaMM2[i], 1e-4)
			same("perimeter", k*a.sections.PerimeterMM[i], b.sections.PerimeterMM[i], 1e-4)
			same("islands", float64(a.sections.Islands[i]), float64(b.sections.Islands[i]), 0)
		}
	}
	if count("slender features", len(a.slender), len(b.slender)) {
		for i := range a.slender {
			same("ratio", a.slender[i].Ratio, b.slender[i].Ratio, 1e-4)
			same("width", k*a.slender[i].WidthMM, b.slender[i].WidthMM, 1e-4)
		}
	}
	same("support volume", k*k*k*a.support.VolumeMM3, b.support.VolumeMM3, 1e-4)
	same("support area", k*k*a.support.AreaMM2, b.support.AreaMM2, 1e-4)
	same("support on the part", a.support.OnPartShare, b.support.OnPartShare, 1e-4)
}

// turnedFrame turns the build direction with the part.
func turnedFrame(f mesh.Frame, axis mesh.Vec, a float64) mesh.Frame {
	v := meshtest.Turn(mesh.New([]mesh.Vec{f.X, f.Y, f.Z}, nil), axis, a).Verts
	return mesh.Frame{X: v[0], Y: v[1], Z: v[2], Lift: f.Lift}
}

// slivers cuts facets into needles and flaps: a corner next to every third edge,
// and one next to every third facet's corner.
func slivers(m *mesh.Mesh, r *rand.Rand) *mesh.Mesh {
	topo := m.Topology()
	verts := append([]mesh.Vec(nil), m.Verts...)
	var facets [][3]int32
	cutAt := make([]int32, 3*len(m.Facets)) // new vertex on a half-edge, 0 for none
	for h := range cutAt {
		g := topo.Twin[h]
		if g <= int32(h) || r.IntN(3) > 0 {
			continue
		}
		f, k := h/3, h%3
		a, b := m.Verts[m.Facets[f][k]], m.Verts[m.Facets[f][(k+1)%3]]
		t := 1e-7 + r.Float64()*1e-5 // a needle
		if r.IntN(2) == 0 {
			t = r.Float64()
		}
		cutAt[h], cutAt[g] = int32(len(verts)), int32(len(verts))
		verts = append(verts, a.Add(b.Sub(a).Scale(t)))
	}
	for f, t := range m.Facets {
		var ring []int32
		for k := range 3 {
			ring = append(ring, t[k])
			if v := cutAt[3*f+k]; v > 0 {
				ring = append(ring, v)
			}
		}
		// A corner just inside makes flaps along all edges.
		p, q, s := m.Corners(int32(f))
		w := 1e-7
		if r.IntN(2) == 0 {
			w = 0.3
		}
		c := int32(len(verts))
		verts = append(verts, p.Scale(w).Add(q.Scale((1-w)/2)).Add(s.Scale((1-w)/2)))
		for i := range ring {
			facets = append(facets, [3]int32{ring[i], ring[(i+1)%len(ring)], c})
		}
	}
	return mesh.New(verts, facets)
}

// standings are parts whose measurements are of every kind: a free region, a
// bridge, ways that bend, a bore's roof, a cone that starts in the air.
var standings = []struct {
	name string
	m    *mesh.Mesh
	f    mesh.Frame
}{
	{"ball", meshtest.Sphere(10, 32), upward(0, 0, 1, 1)},
	{"bridge", bridge(10, 20, 20, 5, 20), upward(0, 1, 0, 0)},
	{"serpentine", serpentine(3), plusZ},
	{"bore", boredBlock(4, 20, 32), upward(0, 1, 0, 0)},
	{"cone", meshtest.Revolve([]mesh.Vec{{0, 0}, {10, 7}, {3, 10}, {2, 30}, {0, 30}}, 24), plusZ},
	{"piles", piles(), plusZ},
}

// piles is a bed of blocks with many small undersides and starts.
func piles() *mesh.Mesh {
	grid := meshtest.Steps(0, 6, 6)
	return meshtest.Blocks(grid, grid, grid, func(i, j, k int) bool {
		return k == 0 || (i*7+j*3+k*5)%4 == 0 && i%2 == 0 || j == 2 && i == 3
	})
}

// The same part, told in another way, measures the same.
func TestStandingProperties(t *testing.T) {
	const pitch = 0.37
	was := make([]standing, len(standings))
	for i, s := range standings {
		was[i] = measureStanding(t, s.m, s.f, pitch)
	}
	rapid.Check(t, func(r *rapid.T) {
		i := rapid.IntRange(0, len(standings)-1).Draw(r, "part")
		seed := rapid.Uint64().Draw(r, "seed")
		s, rng := standings[i], rand.New(rand.NewPCG(seed, 12))
		m, f, k := s.m, s.f, 1.0
		axis, a := meshtest.RandomDir(rng), 6*rng.Float64()
		needles := false
		how := rapid.SliceOfN(rapid.SampledFrom([]string{"move", "turn", "renumber", "refine", "scale", "mirror", "needles", "round"}), 1, 3).Draw(r, "how")
		for _, h := range how {
			switch h {
			case "move":
				m = meshtest.Move(m, meshtest.RandomDir(rng).Scale(30*rng.Float64()))
			case "turn":
				m, f = meshtest.Turn(m, axis, a), turnedFrame(f, axis, a)
			case "renumber":
				m = meshtest.Shuffle(m, rng)
			case "refine":
				if len(m.Facets) < 2000 {
					m = meshtest.Refine(m, 1)
				}
			case "scale":
				q := math.Exp(2*rng.Float64() - 1)
				m, k, f.Lift = meshtest.Map(m, func(p mesh.Vec) mesh.Vec { return p.Scale(q) }), k*q, f.Lift*q
			case "mirror":
				flip := func(p mesh.Vec) mesh.Vec { return mesh.Vec{-p[0], p[1], p[2]} }
				m = meshtest.Flip(meshtest.Map(m, flip))
				v := [3]mesh.Vec{flip(f.X), flip(f.Y), flip(f.Z)}
				f.X, f.Y, f.Z = v[0].Scale(-1), v[1], v[2] // a right-handed frame again
			case "needles":
				if !needles && len(m.Facets) < 2000 {
					m, needles = slivers(m, rng), true
				}
			case "round":
				m = meshtest.Single(m)
			}
		}
		got := measureStanding(t, m, f, k*pitch)
		want := was[i]
		if s.name == "piles" {
			// Steps between blocks are many regions of one size: sums only.
			want.overhang.Regions, want.slender, got.overhang.Regions, got.slender = nil, nil, nil, nil
			if needles {
				// Facets that rounding has collapsed onto an edge where blocks
				// touch have no direction that keeps the blocks apart.
				got.sections.Islands = want.sections.Islands
			}
		}
		slack := 0.0
		if needles {
			slack = 0.02
		}
		want.compare(r, got, k, slack)
	})
}

// On a mesh cut small the sums of areas don't depend on how it is cut into
// shells: two bodies apart measure what they measure alone.
func TestStandingShells(t *testing.T) {
	for _, s := range standings[:4] {
		alone := measureStanding(t, s.m, s.f, 0.37)
		side := s.f.Back(mesh.Vec{100, 0, 0})
		both := measureStanding(t, meshtest.Join(s.m, meshtest.Move(s.m, side)), s.f, 0.37)
		if len(both.overhang.Regions) != 2*len(alone.overhang.Regions) || len(both.starts) != 2*len(alone.starts) || len(both.slender) != 2*len(alone.slender) {
			t.Errorf("%s twice: %d regions, %d starts, %d slender; once %d, %d, %d", s.name, len(both.overhang.Regions), len(both.starts), len(both.slender), len(alone.overhang.Regions), len(alone.starts), len(alone.slender))
		}
		for i, r := range both.overhang.Regions {
			w := alone.overhang.Regions[i/2]
			wantNear(t, s.name+": area", r.AreaMM2, w.AreaMM2, 1e-5*w.AreaMM2)
			wantNear(t, s.name+": reach", r.ReachMM, w.ReachMM, both.overhang.ReachErr+alone.overhang.ReachErr+1e-5*w.ReachMM)
		}
		wantNear(t, s.name+": support", both.support.VolumeMM3, 2*alone.support.VolumeMM3, 1e-6*alone.support.VolumeMM3)
		for i, a := range both.sections.AreaMM2 {
			wantNear(t, s.name+": section", a, 2*alone.sections.AreaMM2[i], 1e-5*(1+a))
		}
	}
}
