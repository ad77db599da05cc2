package mesh_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func integrityOf(t testing.TB, m *mesh.Mesh) mesh.Integrity {
	t.Helper()
	got, err := mesh.MeasureIntegrity(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// counts shows all but the places.
func counts(i mesh.Integrity) string {
	i.OpenAt, i.NonmanifoldAt, i.FlippedAt, i.IntersectAt, i.MeetAt, i.InvertedAt = nil, nil, nil, nil, nil, nil
	return fmt.Sprintf("%+v", i)
}

func without(m *mesh.Mesh, facets ...int) *mesh.Mesh {
	fs := append([][3]int32(nil), m.Facets...)
	for _, f := range facets {
		fs[f] = fs[len(fs)-1]
		fs = fs[:len(fs)-1]
	}
	return mesh.New(m.Verts, fs)
}

func flipped(m *mesh.Mesh, facets ...int) *mesh.Mesh {
	fs := append([][3]int32(nil), m.Facets...)
	for _, f := range facets {
		fs[f][1], fs[f][2] = fs[f][2], fs[f][1]
	}
	return mesh.New(m.Verts, fs)
}

// moebius is a band of n quads with a half turn.
func moebius(n int) *mesh.Mesh {
	var vs []mesh.Vec
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		for _, w := range []float64{-1, 1} {
			r := 10 + w*math.Cos(a/2)
			vs = append(vs, mesh.Vec{r * math.Cos(a), r * math.Sin(a), w * math.Sin(a/2)})
		}
	}
	var fs [][3]int32
	for i := range int32(n) {
		a, b := 2*i, 2*i+1
		c, d := (2*i+2)%int32(2*n), (2*i+3)%int32(2*n)
		if i == int32(n)-1 {
			c, d = 1, 0
		}
		fs = append(fs, [3]int32{a, b, d}, [3]int32{a, d, c})
	}
	return mesh.New(vs, fs)
}

// TestIntegrity holds shapes whose faults are known by construction.
func TestIntegrity(t *testing.T) {
	cube := meshtest.Cube(20)
	inner := meshtest.BoxAt(mesh.Vec{5, 5, 5}, mesh.Vec{15, 15, 15})
	core := meshtest.BoxAt(mesh.Vec{8, 8, 8}, mesh.Vec{12, 12, 12})
	ball := meshtest.Sphere(10, 32)
	duplicate := mesh.New(cube.Verts, append(append([][3]int32(nil), cube.Facets...), cube.Facets[3], [3]int32{cube.Facets[5][2], cube.Facets[5][1], cube.Facets[5][0]}))
	pillow := mesh.New([]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, [][3]int32{{0, 1, 2}, {2, 1, 0}})
	needle := mesh.New([]mesh.Vec{{0, 0, 0}, {10, 0, 0}, {5, 0, 0}, {5, 5, 0}, {5, -5, 0}},
		[][3]int32{{0, 1, 3}, {0, 4, 1}, {0, 2, 1}})
	touching := func(d float64) *mesh.Mesh { // a second cube, turned so that no vertices coincide
		return both(cube, meshtest.Move(meshtest.Turn(meshtest.Cube(5), mesh.Vec{1, 0, 0}, 0.1), mesh.Vec{20 + d, 5, 5}))
	}
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		want mesh.Integrity
	}{
		"cube":                   {cube, mesh.Integrity{Shells: 1}},
		"cube without a facet":   {without(cube, 4), mesh.Integrity{Shells: 1, OpenEdges: 3}},
		"cube with a facet flip": {flipped(cube, 4), mesh.Integrity{Shells: 1, FlippedFacets: 1}},
		"cube inside out":        {meshtest.Flip(cube), mesh.Integrity{Shells: 1, InvertedShells: 1}},
		"half the cube flipped":  {flipped(cube, 0, 1, 2, 3, 4), mesh.Integrity{Shells: 1, FlippedFacets: 5}},
		"two cubes":              {meshtest.Join(cube, meshtest.Move(cube, mesh.Vec{30, 0, 0})), mesh.Integrity{Shells: 2}},
		"hollow cube":            {both(cube, meshtest.Flip(inner)), mesh.Integrity{Shells: 2}},
		"cube in cube":           {both(cube, inner), mesh.Integrity{Shells: 2, InvertedShells: 1}},
		"core in a hollow":       {both(cube, both(meshtest.Flip(inner), core)), mesh.Integrity{Shells: 3}},
		"hole in a core, wrong":  {both(cube, both(meshtest.Flip(inner), meshtest.Flip(core))), mesh.Integrity{Shells: 3, InvertedShells: 1}},
		"cubes on one edge":      {meshtest.Join(meshtest.Cube(1), meshtest.BoxAt(mesh.Vec{1, 1, 0}, mesh.Vec{2, 2, 1})), mesh.Integrity{Shells: 2, NonmanifoldEdges: 1, PartedEdges: 1}},
		"doubled facets":         {duplicate, mesh.Integrity{Shells: 1, DuplicateFacets: 2, NonmanifoldEdges: 6}},
		"pillow":                 {pillow, mesh.Integrity{Shells: 1, DuplicateFacets: 1}},
		"needle":                 {needle, mesh.Integrity{Shells: 1, NonmanifoldEdges: 1, OpenEdges: 6, DegenerateFacets: 1}},
		"moebius band":           {moebius(12), mesh.Integrity{Shells: 1, OpenEdges: 24}},
		"ball":                   {ball, mesh.Integrity{Shells: 1}},
		"cube face on cube face": {touching(0), mesh.Integrity{Shells: 2, MeetingShells: 2}},
		"cube beside cube":       {touching(1e-13), mesh.Integrity{Shells: 2}},
	} {
		got := integrityOf(t, c.m)
		switch name {
		case "moebius band": // how many depends on the attempt, but some are
			if got.FlippedFacets == 0 {
				t.Errorf("%s: no facet is flipped", name)
			}
			got.FlippedFacets = 0
		case "cube face on cube face":
			if got.SelfIntersections == 0 || got.MeetingPairs != got.SelfIntersections {
				t.Errorf("%s: they do not touch", name)
			}
			got.SelfIntersections, got.MeetingPairs = 0, 0
		}
		if counts(got) != counts(c.want) {
			t.Errorf("%s: got  %s\nwant %s", name, counts(got), counts(c.want))
		}
		if (len(got.OpenAt) > 0) != (got.OpenEdges > 0) || (len(got.NonmanifoldAt) > 0) != (got.NonmanifoldEdges > 0) || len(got.InvertedAt) != got.InvertedShells {
			t.Errorf("%s: places do not fit the counts: %+v", name, got)
		}
	}
}

// both puts two meshes into one without joining what touches.
func both(a, b *mesh.Mesh) *mesh.Mesh {
	vs := append(append([]mesh.Vec(nil), a.Verts...), b.Verts...)
	fs := append([][3]int32(nil), a.Facets...)
	for _, f := range b.Facets {
		for k := range f {
			f[k] += int32(len(a.Verts))
		}
		fs = append(fs, f)
	}
	return mesh.New(vs, fs)
}

// TestSelfIntersections: the ways in which two facets can and can't meet.
func TestSelfIntersections(t *testing.T) {
	base := []mesh.Vec{{0, 0, 0}, {4, 0, 0}, {0, 4, 0}}
	row := accuracy.Of("integrity", "intersections", "two facets, every way they can meet", accuracy.Wrong, 0)
	defer row.Hold(t)
	for name, c := range map[string]struct {
		more  []mesh.Vec
		other [3]int32
		want  int
	}{
		"apart":                           {[]mesh.Vec{{0, 0, 1}, {4, 0, 1}, {0, 4, 1}}, [3]int32{3, 4, 5}, 0},
		"in one plane, apart":             {[]mesh.Vec{{4, 4, 0}, {8, 4, 0}, {4, 8, 0}}, [3]int32{3, 4, 5}, 0},
		"crossing":                        {[]mesh.Vec{{1, 1, -1}, {1, 1, 1}, {5, 5, 0}}, [3]int32{3, 4, 5}, 1},
		"edge through the middle":         {[]mesh.Vec{{1, 1, -1}, {1, 1, 1}, {-9, 1, 0}}, [3]int32{3, 4, 5}, 1},
		"corner on the face":              {[]mesh.Vec{{1, 1, 0}, {1, 1, 1}, {5, 5, 1}}, [3]int32{3, 4, 5}, 1},
		"corner on an edge":               {[]mesh.Vec{{2, 0, 0}, {2, -1, 1}, {3, -1, 1}}, [3]int32{3, 4, 5}, 1},
		"edge on an edge":                 {[]mesh.Vec{{1, 0, 0}, {3, 0, 0}, {2, -1, 0}}, [3]int32{3, 4, 5}, 1},
		"inside, in one plane":            {[]mesh.Vec{{1, 1, 0}, {1.5, 1, 0}, {1, 1.5, 0}}, [3]int32{3, 4, 5}, 1},
		"around, in one plane":            {[]mesh.Vec{{-9, -9, 0}, {90, -9, 0}, {-9, 90, 0}}, [3]int32{3, 4, 5}, 1},
		"star, in one plane":              {[]mesh.Vec{{3, 3, 0}, {-1, 3, 0}, {3, -1, 0}}, [3]int32{3, 4, 5}, 1},
		"at a corner, apart":              {[]mesh.Vec{{-1, 0, 0}, {-1, -1, 0}}, [3]int32{0, 3, 4}, 0},
		"at a corner, upright":            {[]mesh.Vec{{1, 1, 1}, {1, 1, 3}}, [3]int32{0, 3, 4}, 0},
		"at a corner, through":            {[]mesh.Vec{{1, 1, -1}, {1, 1, 1}}, [3]int32{0, 3, 4}, 1},
		"at a corner, lying on it":        {[]mesh.Vec{{1, 1, 0}, {1, 1, 1}}, [3]int32{0, 3, 4}, 1},
		"at a corner, along an edge":      {[]mesh.Vec{{9, 0, 0}, {1, -1, 1}}, [3]int32{0, 3, 4}, 1},
		"at a corner, in one plane":       {[]mesh.Vec{{2, 1, 0}, {9, 1, 0}}, [3]int32{0, 3, 4}, 1},
		"at a corner, in one plane, away": {[]mesh.Vec{{2, -1, 0}, {9, -1, 0}}, [3]int32{0, 3, 4}, 0},
		"at an edge, flat":                {[]mesh.Vec{{2, -3, 0}}, [3]int32{1, 0, 3}, 0},
		"at an edge, bent":                {[]mesh.Vec{{2, 3, 1e-9}}, [3]int32{1, 0, 3}, 0},
		"at an edge, folded back":         {[]mesh.Vec{{2, 3, 0}}, [3]int32{1, 0, 3}, 1},
		"the same corners":                {nil, [3]int32{0, 1, 2}, 0},
	} {
		for turn := range 3 {
			o := [3]int32{c.other[turn], c.other[(turn+1)%3], c.other[(turn+2)%3]}
			vs := append(append([]mesh.Vec(nil), base...), c.more...)
			for _, fs := range [][][3]int32{{{0, 1, 2}, o}, {o, {2, 1, 0}}} {
				got := integrityOf(t, mesh.New(vs, fs))
				row.Right(got.SelfIntersections == c.want)
				if got.SelfIntersections != c.want || len(got.IntersectAt)+len(got.MeetAt) != c.want {
					t.Errorf("%s: %d intersections at %v, want %d", name, got.SelfIntersections, append(got.IntersectAt, got.MeetAt...), c.want)
				}
			}
		}
	}
}

// TestIntersectionsOfTurnedParts: a ball pushed into a box crosses it along one
// circle, whose place is known; turned by odd angles both stay free of
// intersections with themselves.
func TestIntersectionsOfTurnedParts(t *testing.T) {
	box := meshtest.Refine(meshtest.BoxAt(mesh.Vec{-10, -10, -10}, mesh.Vec{10, 10, 0}), 3)
	ball := meshtest.Move(meshtest.Sphere(4, 48), mesh.Vec{0.3, 0.2, 2})
	for i := range 10 {
		axis := mesh.Vec{1, 2, float64(i)}
		turn := func(m *mesh.Mesh) *mesh.Mesh { return meshtest.Turn(m, axis, 0.37*float64(i)) }
		for _, m := range []*mesh.Mesh{turn(box), turn(ball), turn(meshtest.Refine(box, 1))} {
			if got := integrityOf(t, m); counts(got) != counts(mesh.Integrity{Shells: 1}) {
				t.Errorf("turn %d: %+v", i, got)
			}
		}
		got := integrityOf(t, both(turn(box), turn(ball)))
		if got.SelfIntersections < 48 {
			t.Errorf("turn %d: %d intersections", i, got.SelfIntersections)
		}
		for _, p := range append(got.IntersectAt, got.MeetAt...) {
			q := meshtest.Turn(mesh.New([]mesh.Vec{p}, nil), axis, -0.37*float64(i)).Verts[0]
			r := math.Hypot(q[0]-.3, q[1]-.2)
			if math.Abs(q[2]) > 1e-9 || r > math.Sqrt(12)+1e-9 || r < math.Sqrt(12)*math.Cos(math.Pi/24)-1e-9 {
				t.Errorf("turn %d: meets at %v, %v from the axis", i, q, r)
			}
		}
	}
}

// TestIntersectionsBounded: a heap of facets on one spot does not take for ever.
func TestIntersectionsBounded(t *testing.T) {
	var vs []mesh.Vec
	var fs [][3]int32
	for i := range int32(1200) {
		z := 1e-6 * float64(i)
		vs = append(vs, mesh.Vec{0, 0, z}, mesh.Vec{10, 0, -z}, mesh.Vec{0, 10, z - 1e-3})
		fs = append(fs, [3]int32{3 * i, 3*i + 1, 3*i + 2})
	}
	got := integrityOf(t, mesh.New(vs, fs))
	if !got.MoreIntersections || got.SelfIntersections < 1<<14 {
		t.Errorf("got %d intersections, more: %v", got.SelfIntersections, got.MoreIntersections)
	}
}

// TestIntegrityInvariant: moving by powers of two, turning by quarters,
// mirroring, scaling by two and renumbering change no coordinate by rounding, so
// all counts stay; splitting facets keeps what is no count of facets or edges.
func TestIntegrityInvariant(t *testing.T) {
	part := both(both(meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{40, 20, 4}, 24, [3]float64{8, 8, 3}), // a ball stuck in it
		meshtest.Move(meshtest.Sphere(3, 24), mesh.Vec{30, 10, 4})), // and a cube inside out, with a hole and a turned facet
		flipped(without(meshtest.Flip(meshtest.Refine(meshtest.BoxAt(mesh.Vec{64, 0, 0}, mesh.Vec{72, 8, 8}), 2)), 7), 20, 90))
	part = meshtest.Map(part, func(p mesh.Vec) mesh.Vec { // so that all below is exact
		for k := range p {
			p[k] = math.Round(p[k]*0x1p20) / 0x1p20
		}
		return p
	})
	want := integrityOf(t, part)
	if want.SelfIntersections == 0 || want.OpenEdges != 3 || want.FlippedFacets != 2 || want.Shells != 3 {
		t.Fatalf("the part is not what it should be: %s", counts(want))
	}
	rng := rand.New(rand.NewPCG(9, 9))
	shuffled := mesh.New(append([]mesh.Vec(nil), part.Verts...), append([][3]int32(nil), part.Facets...))
	rng.Shuffle(len(shuffled.Facets), func(i, j int) {
		f := shuffled.Facets
		f[i], f[j] = f[j], f[i]
		f[i] = [3]int32{f[i][1], f[i][2], f[i][0]}
	})
	to := rng.Perm(len(part.Verts))
	for v, w := range to {
		shuffled.Verts[w] = part.Verts[v]
	}
	for f := range shuffled.Facets {
		for k := range 3 {
			shuffled.Facets[f][k] = int32(to[shuffled.Facets[f][k]])
		}
	}
	for name, m := range map[string]*mesh.Mesh{
		"moved":      meshtest.Move(part, mesh.Vec{1024, -4096, 2}),
		"turned":     meshtest.Map(part, func(p mesh.Vec) mesh.Vec { return mesh.Vec{-p[1], p[0], p[2]} }),
		"scaled":     meshtest.Map(part, func(p mesh.Vec) mesh.Vec { return p.Scale(2) }),
		"mirrored":   meshtest.Flip(meshtest.Map(part, func(p mesh.Vec) mesh.Vec { return mesh.Vec{-p[0], p[1], p[2]} })),
		"renumbered": shuffled,
	} {
		if got := integrityOf(t, m); counts(got) != counts(want) {
			t.Errorf("%s: got  %s\nwant %s", name, counts(got), counts(want))
		}
	}
	fine := integrityOf(t, meshtest.Map(meshtest.Refine(part, 1), func(p mesh.Vec) mesh.Vec { return p.Scale(3) }))
	if fine.OpenEdges != 6 || fine.FlippedFacets != 8 || fine.Shells != 3 || fine.SelfIntersections < want.SelfIntersections || fine.DegenerateFacets != 0 {
		t.Errorf("refined: %s", counts(fine))
	}
	inside := meshtest.Flip(part)
	if got := integrityOf(t, inside); got.InvertedShells != 2 || want.InvertedShells != 0 || got.SelfIntersections != want.SelfIntersections {
		t.Errorf("inside out: %s", counts(got))
	}
}

func TestSound(t *testing.T) {
	cube := meshtest.Cube(1)
	for _, c := range []struct {
		m    *mesh.Mesh
		want bool
	}{{cube, true}, {without(cube, 1), false}, {flipped(cube, 1), false}, {meshtest.Flip(cube), true},
		{meshtest.Join(cube, meshtest.BoxAt(mesh.Vec{1, 1, 0}, mesh.Vec{2, 2, 1})), true}} {
		if got := integrityOf(t, c.m); got.Sound() != c.want {
			t.Errorf("sound is %v for %s", got.Sound(), counts(got))
		}
	}
}

// TestMeasuresCancel: a context that has ended ends every measurement.
func TestMeasuresCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	m := meshtest.Cube(1)
	_, err1 := mesh.MeasureIntegrity(ctx, m)
	_, err2 := mesh.MeasureMass(ctx, m)
	_, err3 := mesh.MeasureBox(ctx, m, mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0))
	for _, err := range []error{err1, err2, err3} {
		if !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	}
}
