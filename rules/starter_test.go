package rules

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/spec"
)

// started writes a mesh in some unit and makes a spec of it.
func started(t *testing.T, name string, data []byte, o StarterOptions) (*bench, *Starter) {
	t.Helper()
	b := orientBench(t, meshtest.Cube(10), "")
	if err := os.WriteFile(b.path(name), data, 0o666); err != nil {
		t.Fatal(err)
	}
	b.Engine = New(Options{Surface: true})
	if err := os.WriteFile(b.path("shop.toml"), []byte(orientShop), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := b.Starter(context.Background(), b.path(name), o)
	if err != nil {
		t.Fatal(err)
	}
	return b, s
}

// The spec of a plate with two bores and a cube's hollow: it checks without an
// error of its text, finds its own holes again, and says what was guessed.
func TestStarterChecks(t *testing.T) {
	plate := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{60, 40, 12}, 64, [3]float64{15, 15, 5}, [3]float64{45, 25, 3})
	m := meshtest.Join(plate, meshtest.Flip(meshtest.BoxAt(mesh.Vec{24, 24, 3}, mesh.Vec{34, 34, 9})))
	b, s := started(t, "a \"b\".stl", meshtest.BinarySTL(m, 1), StarterOptions{})
	text := string(s.Text)
	for _, want := range []string{`file  = "a \"b\".stl"`, `units = "mm" # guess: the longest side is 60`, "diameter = \"10 mm\"", "diameter = \"6 mm\"", "[[face]]", "[[void]]",
		"sealed = false", `material = "316L" # guess`, `machine  = "m" # guess`, `process  = "PBF-LB/M" # guess`, `"cut from platform"`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
	if err := os.WriteFile(b.path("new.part.toml"), s.Text, 0o666); err != nil {
		t.Fatal(err)
	}
	r := New(Options{}).Part(context.Background(), b.path("new.part.toml"), Full)
	if r.Err != nil || r.Status != Checked {
		t.Fatalf("%v %+v", r.Err, r.Failures)
	}
	for _, f := range r.Findings {
		if f.Check == Spec.Name || f.Check == Hole.Name && f.feature != "roof" {
			t.Errorf("%s: %s", f.Check, f.Message)
		}
	}
	if len(r.Spec.Holes) != 2 || len(r.Spec.Voids) != 1 {
		t.Errorf("%d holes, %d voids", len(r.Spec.Holes), len(r.Spec.Voids))
	}
	for i := range r.Spec.Holes {
		if h, ok := r.HoleOf(i); !ok || h.DiameterMM < 5.9 {
			t.Errorf("hole %d is not found where it is declared", i)
		}
	}
}

// What the starter guesses agrees: its spec, given to orient, is stood no better,
// so a plate's underside, cut from the platform, is not declared as built.
func TestStarterStandsAsOrientWould(t *testing.T) {
	plate := meshtest.Join(meshtest.BoxAt(mesh.Vec{0, 0, 0}, mesh.Vec{60, 40, 3}), meshtest.BoxAt(mesh.Vec{28, 0, 2}, mesh.Vec{32, 40, 20}))
	b, s := started(t, "tee.stl", meshtest.BinarySTL(plate, 1), StarterOptions{})
	if text := string(s.Text); !strings.Contains(text, "# A face of 2400 mm2, facing -z, is cut from the platform") || strings.Contains(text, "-z\nat") {
		t.Errorf("the underside is declared:\n%s", text)
	}
	if err := os.WriteFile(b.path("tee.part.toml"), s.Text, 0o666); err != nil {
		t.Fatal(err)
	}
	o, err := b.Orient(context.Background(), b.path("tee.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if len(o.Choices) == 0 || !o.Choices[0].IsNow {
		t.Errorf("orient puts another way first: %+v", o.Choices)
	}
}

// Units are guessed by size, kept where they are said, and positions are
// written in the file's own numbers.
// Nothing is cut from a platform in binder jetting, and nothing carries support.
func TestStarterDeclaresUndersidesOfJetting(t *testing.T) {
	_, s := started(t, "slab.stl", meshtest.BinarySTL(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 40, 5}), 1), StarterOptions{MeshOptions: MeshOptions{Process: BinderJet}})
	if text := string(s.Text); strings.Contains(text, "cut from the platform") || !strings.Contains(text, "facing -z\nat") {
		t.Errorf("%s", text)
	}
}

// A spec that was just started is not told by orient to stand otherwise for the
// sake of the holes that it declares: a block with a wide bore along x stands with
// the bore upright, though that takes longer.
func TestStarterStandsItsHolesWell(t *testing.T) {
	block := meshtest.Turn(meshtest.Plate(mesh.Vec{}, mesh.Vec{30, 30, 50}, 64, [3]float64{15, 15, 6}), mesh.Vec{0, 1, 0}, math.Pi/2)
	b, s := started(t, "block.stl", meshtest.BinarySTL(block, 1), StarterOptions{})
	if !strings.Contains(string(s.Text), "\nup = \"+x\"") {
		t.Errorf("%s", s.Text)
	}
	if err := os.WriteFile(b.path("block.part.toml"), s.Text, 0o666); err != nil {
		t.Fatal(err)
	}
	o, err := b.Orient(context.Background(), b.path("block.part.toml"))
	if err != nil || o.Now == nil {
		t.Fatal(err, o)
	}
	if better := o.Better(0.05); better != nil || len(o.Now.Harms) != 0 {
		t.Errorf("%+v", better)
	}
}

func TestStarterUnits(t *testing.T) {
	for _, c := range []struct {
		name       string
		file, said string // unit of the file, unit given
		want       string
	}{
		{"millimetres", "mm", "", `units = "mm" # guess`},
		{"inches", "in", "", `units = "in" # guess`},
		{"metres", "m", "", `units = "m" # guess`},
		{"said", "in", "in", "units = \"in\"\n"},
	} {
		scale := map[string]float64{"mm": 1, "in": 25.4, "m": 1000}[c.file]
		plate := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{60, 40, 12}, 64, [3]float64{15, 15, 5})
		_, s := started(t, "p.stl", meshtest.BinarySTL(plate, scale), StarterOptions{MeshOptions: MeshOptions{Unit: c.said}})
		if !strings.Contains(string(s.Text), c.want) {
			t.Errorf("%s: no %s in\n%s", c.name, c.want, s.Text)
		}
		part, _ := spec.ParsePart("x", s.Text)
		if len(part.Holes) != 1 {
			t.Fatalf("%s: %d holes", c.name, len(part.Holes))
		}
		at := mesh.Vec(part.Holes[0].At.V).Scale(scale)
		if d := at.Sub(mesh.Vec{15, 15, 6}).Norm(); d > 0.02 {
			t.Errorf("%s: hole at %v", c.name, at)
		}
	}
}

// The longest sides of parts as files hold them: a pipe and a pump in metres, a
// bin and a fixture that inches would suit as well, which the guess says, a beam
// too long for any machine.
func TestGuessUnit(t *testing.T) {
	for _, c := range []struct {
		longest    float64
		unit, says string
	}{
		{60, "mm", "60 in the file's numbers, and as mm that is 60 mm"}, {304.8, "mm", "as mm that is 305 mm"}, {7.2, "mm", "as mm that is 7.2 mm; were it in, 183 mm; were it cm, 72 mm"},
		{0.1813, "m", "as m that is 181 mm; as millimetres the part would be 0.1813 mm"}, {0.11, "m", "110 mm"}, {0.8713, "in", "22 mm; as millimetres the part would be 0.8713 mm; were it m, 871 mm"},
		{2.362, "in", "60 mm"}, {0.6, "in", "15 mm; as millimetres the part would be 0.6 mm; were it m, 600 mm"}, {60000, "um", "60 mm"}, {4572, "mm", "unusual in any unit"},
	} {
		if unit, why := guessUnit(mesh.Vec{c.longest / 2, c.longest, 0}); unit != c.unit || !strings.Contains(why, c.says) {
			t.Errorf("%g: %s, %s", c.longest, unit, why)
		}
	}
}

// A small part says by its holes and sizes that its numbers are inches, or the guess stays
// at millimetres and names both.
func TestStarterTellsInches(t *testing.T) {
	plate := func(x, y, z, r, r2 float64) *mesh.Mesh {
		return meshtest.Plate(mesh.Vec{}, mesh.Vec{x, y, z}, 48, [3]float64{x / 4, y / 2, r}, [3]float64{0.7 * x, y / 2, r2})
	}
	for name, c := range map[string]struct {
		m          *mesh.Mesh
		unit, says string
	}{
		"holes that would close":           {plate(3, 2, 0.3, 0.2, 0.1), "in", "as in that is 76 mm; as millimetres the part would be 3 mm; in millimetres its widest hole would be of 0.4 mm, and none thinner than 0.5 mm stays open"},
		"32nds":                            {plate(3.125, 2, 0.375, 0.28125, 0.5), "in", "its sizes are whole 32nds, such as 0.375 and 0.5625, as inches"},
		"quarters, which millimetres have": {plate(3, 2, 0.25, 0.375, 0.25), "mm", "as mm that is 3.0 mm; were it in, 76 mm; were it cm, 30 mm"},
		"tenths":                           {plate(5, 2.2, 0.375, 0.3, 0.5625), "mm", "were it in, 127 mm"},
		"large":                            {plate(31.25, 20, 0.375, 2.8125, 5.0625), "mm", "as mm that is 31 mm"},
	} {
		_, s := started(t, "p.stl", meshtest.BinarySTL(c.m, 1), StarterOptions{})
		line := fmt.Sprintf("units = %q # guess: ", c.unit)
		if _, why, ok := strings.Cut(string(s.Text), line); !ok || !strings.Contains(strings.SplitN(why, "\n", 2)[0], c.says) {
			t.Errorf("%s: no %q and %q in\n%s", name, line, c.says, s.Text)
		}
	}
}

// What can't be read gives no spec, and says why.
func TestStarterUnreadable(t *testing.T) {
	for name, data := range map[string]string{"cut.stl": "solid\nfacet", "odd.txt": "?", "empty.stl": ""} {
		_, s := started(t, name, []byte(data), StarterOptions{})
		if len(s.Text) != 0 || s.Report.Status != Unchecked {
			t.Errorf("%s: %q, %s", name, s.Text, s.Report.Status)
		}
	}
}

// Comments name directions as one would say them: what rounding of the mesh
// left of an axis is the axis.
func TestStarterAxes(t *testing.T) {
	for want, v := range map[string]mesh.Vec{
		"-z":                {-0.000012, 0.000002, -1},
		"[1, 0, 2]":         {1, 0, 2},
		"[1, 1, 1]":         {3, 3, 3},
		"[3, -4, 0]":        {0.60000001, -0.8, 1e-7},
		"[0.936, 0, 0.351]": {0.9362, 0, 0.3514},
	} {
		if got := sayAxis(v); got != want {
			t.Errorf("%v is said %q, want %q", v, got, want)
		}
	}
}
