package rules

import (
	"context"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/spec"
)

func TestPair(t *testing.T) {
	for _, c := range []struct {
		v, limit, band float64
		value, against string
	}{
		{0.31, 0.5, 1e-6, "0.31", "0.5"},
		{0.312345, 0.5, 0.001, "0.31", "0.5"},
		{0.312345, 0.5, 0.05, "0.3", "0.5"},
		{3.7, 0.5, 0.4, "4", "0.5"},          // the limit is exact, whatever the band
		{0.4996, 0.5, 1e-6, "0.4996", "0.5"}, // kept apart
		{0.4996, 0.5, 0.01, "0.4996", "0.5"}, // kept apart past its band: it breaks the limit
		{2000, 1500, 1e-6, "2000.00", "1500"},
		{1e-5, 0.4, 1e-6, "0.00001", "0.4"}, // ten bands: not nothing
		{4e-6, 45, 0.5, "0", "45"},          // a flat roof turned, in degrees
		{0.3, 45, 0.5, "0.3", "45"},
	} {
		if v, l := pair(c.v, c.limit, c.band); v != c.value || l != c.against {
			t.Errorf("pair(%g, %g, %g) = %s, %s; want %s, %s", c.v, c.limit, c.band, v, l, c.value, c.against)
		}
	}
}

func TestBreach(t *testing.T) {
	least := Limit{Def: spec.FindLimit("wall.thickness"), V: 0.5}
	most := Limit{Def: spec.FindLimit("overhang.ledge"), V: 0.5}
	angle := Limit{Def: spec.FindLimit("overhang.angle"), V: math.Pi / 4}
	for _, c := range []struct {
		limit          Limit
		v, band        float64
		bad, undecided bool
	}{
		{least, 0.5, 0, false, false}, // equal passes
		{least, 0.5, 0.1, false, false},
		{least, 0.4999999, 0, false, false}, // rounding of the file
		{least, 0.49, 0.02, true, true},
		{least, 0.47, 0.02, true, false},
		{least, 0.6, 0.2, false, false},
		{most, 0.5, 0, false, false},
		{most, 0.51, 0.02, true, true},
		{most, 0.6, 0.02, true, false},
		{most, math.NaN(), 0, false, false},
		{most, math.Inf(1), 0, true, false},
	} {
		f, bad := breach(c.limit, c.v, c.band)
		if bad != c.bad || f.Undecided != c.undecided {
			t.Errorf("%s %g +- %g: %v, undecided %v", c.limit.Def.Name, c.v, c.band, bad, f.Undecided)
		}
	}
	if f, bad := breach(angle, math.Pi/6, 0); !bad || math.Abs(f.Measured-30) > 1e-9 || math.Abs(f.Limit-45) > 1e-9 || f.Unit != "deg" {
		t.Errorf("%+v", f)
	}
}

// A place is said in the numbers of the mesh, which CAD shows and a spec takes.
func TestNear(t *testing.T) {
	p := &Subject{}
	if s := p.near(mesh.Vec{1, -0.001, 2.345}); s != "near (1.0, 0.0, 2.3)" {
		t.Error(s)
	}
	p.Info = &MeshInfo{Source: mesh.Source{Unit: "in", UnitMM: 25.4}}
	if s := p.near(mesh.Vec{25.4, 0, 50.8}); s != "near (1.00, 0.00, 2.00) in" {
		t.Error(s)
	}
}

// The widest roof by tilt: flat as given, none from the angle that carries
// itself, between them the same free chord: D sin(phi) with cos(phi) = cos a / sin t.
func TestRoofByTilt(t *testing.T) {
	part := partFrom(t, "process = \"PBF-LB/M\"\nmaterial = \"316L\"\n")
	l, _ := resolveLimits(newShop(), part)
	p := &Subject{Spec: part, Shop: newShop(), Limits: l}
	deg := math.Pi / 180
	if got := roofAt(p, 8, 90*deg); math.Abs(got-8) > 1e-9 {
		t.Errorf("flat: %g", got)
	}
	if got := roofAt(p, 8, 45*deg); !math.IsInf(got, 1) {
		t.Errorf("45 deg: %g", got)
	}
	if got := roofAt(p, 8, 0); !math.IsInf(got, 1) {
		t.Errorf("upright: %g", got)
	}
	// 60 deg: cos phi = cos 45 / sin 60 = 0.816497, sin phi = 0.577350.
	if got, want := roofAt(p, 8, 60*deg), 8*math.Sqrt2/2/0.5773502692; math.Abs(got-want) > 1e-6 {
		t.Errorf("60 deg: %g, want %g", got, want)
	}
}

// Re-tessellation and a small shift keep a finding's fingerprint; another place
// changes it.
func TestFingerprint(t *testing.T) {
	const profile = "extrude 0 20 : 0 0 10 0 10 10 20 10 20 15 0 15\nturn 1 0 0 90\nmove 0 20 0\n"
	print := func(change func(*mesh.Mesh) *mesh.Mesh) string {
		b := newBench(t, Options{})
		m, err := meshtest.Recipe(profile)
		if err != nil {
			t.Fatal(err)
		}
		writeMesh(t, b.path("part.stl"), change(m))
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		if len(r.Findings) != 1 {
			t.Fatalf("%v", r.Findings)
		}
		return r.Findings[0].Fingerprint
	}
	plain := print(func(m *mesh.Mesh) *mesh.Mesh { return m })
	if got := print(func(m *mesh.Mesh) *mesh.Mesh { return meshtest.Move(m, mesh.Vec{0.2, 0, 0.2}) }); got != plain {
		t.Errorf("a shift by 0.2 mm: %s, was %s", got, plain)
	}
	if got := print(func(m *mesh.Mesh) *mesh.Mesh { return meshtest.Refine(m, 3) }); got != plain {
		t.Errorf("64 times the facets: %s, was %s", got, plain)
	}
	if got := print(func(m *mesh.Mesh) *mesh.Mesh { return meshtest.Move(m, mesh.Vec{30, 0, 0}) }); got == plain {
		t.Errorf("30 mm on it is still %s", got)
	}
}

// What a value may be off by is said by its first digit, as people write it.
func TestRoughly(t *testing.T) {
	for v, want := range map[float64]string{100: "100", 96: "100", 0.0123: "0.01", 0.96: "1", 7: "7", 0: "0"} {
		if got := roughly(v); got != want {
			t.Errorf("%g is said as %q, want %q", v, got, want)
		}
	}
}
