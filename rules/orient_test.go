package rules

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/spec"
)

// orientBench stands a mesh on a machine of round numbers.
func orientBench(t testing.TB, m *mesh.Mesh, more string) *bench {
	b := &bench{t: t, dir: t.TempDir(), text: map[string]string{}}
	b.Engine = New(Options{ReadFile: func(_, path string) ([]byte, error) {
		if s, ok := b.text[path]; ok {
			return []byte(s), nil
		}
		return nil, errors.New("not there")
	}})
	if err := os.WriteFile(b.path("part.stl"), meshtest.BinarySTL(m, 1), 0o666); err != nil {
		t.Fatal(err)
	}
	b.text[b.path("shop.toml")] = orientShop
	b.text[b.path("part.part.toml")] = orientSpec + more
	return b
}

const orientShop = `schema = 1
shop = "Test shop"
currency = "EUR"
[rates]
work = 60.0
[[machine]]
name = "m"
process = "PBF-LB/M"
build = { x = "150 mm", y = "150 mm", z = "120 mm" }
margin = "0 mm"
layer = "50 um"
recoat = "10 s"
rate = 60.0
[[material]]
name = "316L"
price = 40.0
`

const orientSpec = `schema = 1
part = "Shape" # keep me
process = "PBF-LB/M"
material = "316L"
machine = "m"
shop = "shop.toml"
[mesh]
file = "part.stl"
units = "mm"
`

func orientOf(t testing.TB, b *bench) *Orientation {
	t.Helper()
	o, err := b.Orient(context.Background(), b.path("part.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if o.Now == nil {
		t.Fatalf("%+v", o.Report.Failures)
	}
	return o
}

// mushroom is a stem of 12 mm under a cap of 50 mm: the cap belongs down.
func mushroom() *mesh.Mesh {
	return meshtest.Revolve([]mesh.Vec{{0, 0}, {6, 0}, {6, 40}, {25, 40}, {25, 46}, {0, 46}}, 48)
}

// Shapes whose best way up is known.
func TestOrientKnownShapes(t *testing.T) {
	tent := meshtest.Extrude([]mesh.Vec{{0, 0, 0}, {60, 0, 0}, {30, 20, 0}}, nil, 0, 80) // flanks of 33 degrees over a face of 60 x 80
	for _, c := range []struct {
		name  string
		m     *mesh.Mesh
		up    mesh.Vec
		free  bool // of support
		taken float64
	}{
		{"mushroom", mushroom(), mesh.Vec{0, 0, -1}, true, 46},
		{"flat slab", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 40, 5}), mesh.Vec{0, 0, 1}, true, 5},
		{"tent", tent, mesh.Vec{0, 1, 0}, true, 20},
		{"bowl", meshtest.Revolve([]mesh.Vec{{0, 0}, {20, 0}, {40, 12}, {36, 12}, {18, 3}, {0, 3}}, 64), mesh.Vec{0, 0, -1}, false, 12},
	} {
		b := orientBench(t, c.m, "")
		best := orientOf(t, b).Choices[0]
		ups := append([]mesh.Vec{best.Up}, best.Like...)
		found := false
		for _, u := range ups {
			found = found || u.Dot(c.up) > 1-1e-6
		}
		if !found && c.free || math.Abs(best.HeightMM-c.taken) > 0.01 && c.free || c.free && best.ColumnMM3 > 0.5 {
			t.Errorf("%s: up %v (like %v), height %g, columns %g", c.name, best.Up, best.Like, best.HeightMM, best.ColumnMM3)
		}
	}
}

// The mushroom as it is drawn: the ring of the cap is the area that needs
// support, pi (25^2 - 6^2) of a circle's polygon, 40 mm above the platform.
func TestOrientFiguresAreClosedForms(t *testing.T) {
	b := orientBench(t, mushroom(), "[orientation]\nup = \"+z\"\n")
	o := orientOf(t, b)
	polygon := 48 / (2 * math.Pi) * math.Sin(2*math.Pi/48)
	ring := math.Pi * (625 - 36) * polygon
	if n := o.Now; math.Abs(n.OverhangMM2-ring) > 1e-3*ring || math.Abs(n.ColumnMM3-40*ring) > 1e-3*40*ring || math.Abs(n.TouchMM2-ring) > 1e-3*ring {
		t.Errorf("%+v; want ring %g", *n, ring)
	}
	// Time by hand: 46 mm of 0.05 mm at 10 s, the part and 15 % of the columns at 9 cm3/h.
	volume := math.Pi * (36*40 + 625*6) * polygon
	hours := 920*10/3600. + (volume+0.15*40*ring)/1000/9
	hand := ring / 100 * 60 / 3600
	mass := (volume + 0.15*40*ring) / 1000 * 7.99
	cost := 60*(hours+hand) + mass/1000*40*1.1
	if n := o.Now; math.Abs(n.Hours.Value-hours) > 1e-3*hours || math.Abs(n.Cost.Value-cost) > 1e-3*cost || math.Abs(n.HandH-hand) > 1e-3*hand {
		t.Errorf("%g h, %g EUR; want %g, %g", n.Hours.Value, n.Cost.Value, hours, cost)
	}
	if n := o.Now; !(n.Cost.Low < n.Cost.Value && n.Cost.Value < n.Cost.High) {
		t.Errorf("no band around %+v", n.Cost)
	}
	if better := o.Better(0.05); better == nil || better.Text != `"-z"` {
		t.Errorf("better: %+v", better)
	}
}

// A fine grid of the same cost finds nothing much better than the search.
func TestOrientAgainstBruteForce(t *testing.T) {
	shapes := map[string]*mesh.Mesh{
		"mushroom turned": meshtest.Turn(mushroom(), mesh.Vec{1, 2, 3}, 1.1),
		"torus":           meshtest.Torus(20, 6, 24, 36),
		"wedge":           meshtest.Turn(meshtest.Extrude([]mesh.Vec{{0, 0, 0}, {40, 0, 0}, {55, 25, 0}, {0, 10, 0}}, nil, 0, 15), mesh.Vec{1, -1, 0.3}, 0.7),
	}
	for name, m := range shapes {
		b := orientBench(t, m, "")
		r := newReport(b.path("part.part.toml"))
		text, _ := b.parsePart(r.Path)
		r.Spec = text.file
		p, src, _ := b.prepare(context.Background(), r, Full)
		if err := src.load(context.Background()); err != nil {
			t.Fatal(err)
		}
		defer src.close()
		p.Measured.Frame, p.Mesh = frameOf(p), src.mesh
		s := search{Subject: p, costs: p.costs(), engine: b.Engine, path: r.Path, meshKey: "x"}
		if _, err := s.run(context.Background()); err != nil {
			t.Fatal(err)
		}
		found := s.ranked()[0].cost
		n := len(s.seen)
		if err := s.examine(context.Background(), mesh.SphereDirections(4000), false); err != nil {
			t.Fatal(err)
		}
		brute := math.Inf(1)
		for _, c := range s.seen[n:] {
			brute = min(brute, c.cost)
		}
		if found > 1.005*brute {
			t.Errorf("%s: %g found with %d directions, %g by brute force", name, found, n, brute)
		}
	}
}

// Turning the mesh turns the answer and leaves every figure.
func TestOrientTurnsWithThePart(t *testing.T) {
	// No axis of it is one of the mesh's, in either.
	m := meshtest.Turn(mushroom(), mesh.Vec{3, 1, -1}, 0.6)
	a := orientOf(t, orientBench(t, m, "")).Choices[0]
	b := orientOf(t, orientBench(t, meshtest.Turn(m, mesh.Vec{0.2, 1, 0.5}, 1.3), "")).Choices[0]
	var probe meshtest.Builder
	probe.Tri(a.Up, mesh.Vec{}, mesh.Vec{1, 1, 1})
	up := meshtest.Turn(probe.Mesh(), mesh.Vec{0.2, 1, 0.5}, 1.3).Verts[0]
	if up.Dot(b.Up) < 1-1e-5 || math.Abs(a.Cost.Value-b.Cost.Value) > 1e-3*a.Cost.Value || b.RestMM2 < 1000 {
		t.Errorf("%v, %g; %v, %g, rests on %g", up, a.Cost.Value, b.Up, b.Cost.Value, b.RestMM2)
	}
}

// What is written is what was measured: the text's direction, read again.
func TestOrientEditKeepsTheRest(t *testing.T) {
	m := meshtest.Turn(mushroom(), mesh.Vec{3, 1, -1}, 0.6)
	for _, c := range []struct{ name, more string }{
		{"no table", ""},
		{"no newline", "[budget]\ncost = 5 # last"},
		{"empty table", "[orientation] # why\n\n[budget]\ncost = 5 # dear\n"},
		{"a value", "[orientation]\nup = [0, 0, 1] # as drawn\nturn = \"5 deg\"\n"},
		{"inline", "orientation.turn = \"5 deg\"\n"},
	} {
		b := orientBench(t, m, c.more)
		if c.name == "inline" { // dotted keys of the root stand before the tables
			b.text[b.path("part.part.toml")] = "orientation = { turn = \"5 deg\" }\n" + orientSpec
		}
		o := orientOf(t, b)
		best := o.Choices[0]
		text := o.Report.Spec.Doc.Text
		out := string(Apply(text, best.Edits))
		if !strings.Contains(out, "# keep me") || strings.Count(out, "#") != strings.Count(string(text), "#") {
			t.Errorf("%s: comments lost:\n%s", c.name, out)
		}
		part, problems := spec.ParsePart("x", []byte(out))
		for _, p := range problems {
			if p.Level == "error" {
				t.Errorf("%s: %s\n%s", c.name, p.Message, out)
			}
		}
		if mesh.Vec(part.Orientation.Up.V).Unit().Dot(best.Up) < 1-1e-12 {
			t.Errorf("%s: up %v, want %v", c.name, part.Orientation.Up.V, best.Up)
		}
		b.text[b.path("part.part.toml")] = out
		again := orientOf(t, b)
		if !again.Choices[0].IsNow || again.Better(0.05) != nil || again.Choices[0].Edits != nil {
			t.Errorf("%s: not at rest after writing: %+v", c.name, again.Choices[0])
		}
	}
}

// A part that fits only one way, and a declared face that must not face down.
func TestOrientFitAndDeclared(t *testing.T) {
	b := orientBench(t, meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 30, 130}), "")
	o := orientOf(t, b)
	if o.Now.Fits || !o.Choices[0].Fits || o.Better(0.05) == nil {
		t.Errorf("now %+v\nbest %+v", o.Now, o.Choices[0])
	}
	if !strings.Contains(o.Now.Reason, "10.00 mm too large along z") && !strings.Contains(o.Now.Reason, "10.0 mm too large along z") {
		t.Error(o.Now.Reason)
	}
	// The slab costs least on either large face; the seal must not be cut from the platform.
	slab := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 40, 5})
	o = orientOf(t, orientBench(t, slab, "[[face]]\nname = \"seal\"\nat = [30, 20, 0]\nfinish = \"as-built\"\n"))
	if len(o.Now.Harms) != 1 || len(o.Choices[0].Harms) != 0 || o.Choices[0].Text != `"-z"` {
		t.Errorf("now %q, best %q %q", o.Now.Harms, o.Choices[0].Text, o.Choices[0].Harms)
	}
}

// The cheapest way is told where hundreds that cost more harm less: a foot with a
// mast, whose underside must not be cut from the platform.
func TestOrientTellsTheCheapest(t *testing.T) {
	mast := meshtest.Blocks([]float64{0, 20, 25, 45}, []float64{0, 20, 25, 45}, []float64{0, 4, 14}, func(i, j, k int) bool { return k == 0 || i == 1 && j == 1 })
	o := orientOf(t, orientBench(t, mast, "[[face]]\nname = \"seal\"\nat = [5, 5, 0]\nfinish = \"as-built\"\n[orientation]\nup = \"-z\"\n"))
	if c := &o.Choices[0]; len(c.Harms) != 0 || c.Text == `"+z"` {
		t.Errorf("best %q, %q", c.Text, c.Harms)
	}
	k := slices.IndexFunc(o.Choices, func(c Standing) bool { return c.Text == `"+z"` })
	if k < 0 || len(o.Choices[k].Harms) == 0 {
		t.Fatalf("%+v", o.Choices)
	}
	for _, c := range o.Choices {
		if c.Cost.Value < o.Choices[k].Cost.Value*(1-1e-6) {
			t.Errorf("%s costs less than the cheapest, %g for %g", c.Text, c.Cost.Value, o.Choices[k].Cost.Value)
		}
	}
}

// A hole that is declared is told of once, with the words of its finding.
func TestOrientTellsAHoleOnce(t *testing.T) {
	block := meshtest.Plate(mesh.Vec{}, mesh.Vec{60, 30, 20}, 64, [3]float64{15, 15, 6}, [3]float64{45, 15, 6})
	now := orientOf(t, orientBench(t, block, "[[hole]]\nname = \"bore\"\nat = [15, 15, 10]\ndiameter = \"12 mm\"\n[orientation]\nup = \"+x\"\n")).Now
	for _, want := range []string{"leaves 1 hole whose roof is too wide", `hole "bore" lies flat, and its roof is too wide to carry itself`} {
		if !strings.Contains(now.Reason, want) {
			t.Errorf("%q lacks %q", now.Reason, want)
		}
	}
}

// Support in a channel that no tool enters stays there: a block with a square
// channel of 5 mm through its length lies flat for less, but not with the roof of
// the channel level.
func TestOrientSupportOutOfReach(t *testing.T) {
	block := meshtest.Blocks([]float64{0, 90}, []float64{0, 7.5, 12.5, 20}, []float64{0, 7.5, 12.5, 20}, func(_, j, k int) bool { return j != 1 || k != 1 })
	o := orientOf(t, orientBench(t, block, ""))
	if math.Abs(o.Now.StuckMM2-5*90) > 1 {
		t.Errorf("%v mm2", o.Now.StuckMM2)
	}
	if want := "no straight tool takes off the support under 450 mm2, where another way leaves none"; len(o.Now.Harms) != 1 || o.Now.Harms[0] != want || !strings.Contains(o.Now.Reason, want) {
		t.Errorf("%q", o.Now.Harms)
	}
	best := &o.Choices[0]
	if level := math.Abs(best.Up[1]) > 0.9 || math.Abs(best.Up[2]) > 0.9; level || best.StuckMM2 != 0 || o.Better(0.05) != best {
		t.Errorf("%+v", best)
	}
	// A tool that fits takes it off from both ends.
	b := orientBench(t, block, "")
	b.text[b.path("shop.toml")] += "[limits.\"PBF-LB/M\"]\nsupport-access.diameter = \"4 mm\"\n"
	if o := orientOf(t, b); o.Now.StuckMM2 != 0 || len(o.Now.Harms) != 0 {
		t.Errorf("%+v", o.Now)
	}
}

// What a shop has switched off harms no way up, and what it only notes is said
// and weighed by money alone; one engine answers every shop file anew.
func TestOrientAsksTheLevels(t *testing.T) {
	block := meshtest.Blocks([]float64{0, 90}, []float64{0, 7.5, 12.5, 20}, []float64{0, 7.5, 12.5, 20}, func(_, j, k int) bool { return j != 1 || k != 1 })
	hung := meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 20, 30}), meshtest.BoxAt(mesh.Vec{20, 5, 20}, mesh.Vec{40, 15, 30}), meshtest.BoxAt(mesh.Vec{35, 5, 10}, mesh.Vec{40, 15, 20}))
	holed := meshtest.Plate(mesh.Vec{}, mesh.Vec{40, 20, 20}, 48, [3]float64{20, 10, 5})
	slab := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 40, 5})
	for _, c := range []struct {
		check string
		m     *mesh.Mesh
		more  string
		words string
	}{
		{"support-access", block, "", "no straight tool"},
		{"floating-start", hung, "", "in the air"},
		{"hole", holed, "[[hole]]\nname = \"bore\"\nat = [20, 10, 10]\nfinish = \"as-built\"\n[orientation]\nup = \"+x\"\n", "roof"},
		{"roughness", slab, "[[face]]\nname = \"seal\"\nat = [30, 0, 2.5]\nroughness = \"2 um\"\n", "2 um"},
	} {
		b := orientBench(t, c.m, c.more)
		shop := b.text[b.path("shop.toml")]
		for _, level := range []Level{Error, Note, Off} {
			b.text[b.path("shop.toml")] = shop + "[levels]\n" + c.check + " = \"" + string(level) + "\"\n"
			now := orientOf(t, b).Now
			harmed := strings.Contains(strings.Join(now.Harms, "; "), c.words)
			said := strings.Contains(now.Reason, c.words)
			if level == Off && (harmed || said) || level == Error && !harmed || level == Note && !said {
				t.Errorf("%s = %s: harms %q, %s", c.check, level, now.Harms, now.Reason)
			}
		}
	}
}

func TestOrientCancels(t *testing.T) {
	b := orientBench(t, meshtest.Sphere(20, 100), "")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := b.Orient(ctx, b.path("part.part.toml")); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// What can't be read is told, never an answer made up.
func TestOrientWithoutMesh(t *testing.T) {
	b := orientBench(t, mushroom(), "")
	for _, text := range []string{"", "schema = 1\n", strings.Replace(orientSpec, "part.stl", "gone.stl", 1), strings.Replace(orientSpec, "process", "# process", 1)} {
		b.text[b.path("part.part.toml")] = text
		o, err := b.Orient(context.Background(), b.path("part.part.toml"))
		if err != nil || o.Now != nil || o.Report.Status != Unchecked || len(o.Report.Failures) == 0 {
			t.Errorf("%q: %v, %+v", text, err, o.Report)
		}
	}
}

func TestWrittenUp(t *testing.T) {
	for _, c := range []struct {
		v    mesh.Vec
		text string
	}{
		{mesh.Vec{0, 0, -2}, `"-z"`}, {mesh.Vec{1, 0, 1}, "[1, 0, 1]"}, {mesh.Vec{-1, 2, 0.5}, "[-2, 4, 1]"}, {mesh.Vec{0.3, 0.4, 0.866}, "[0.300007, 0.400009, 0.866019]"},
	} {
		u, text := writtenUp(c.v)
		if text != c.text || u.Dot(c.v.Unit()) < 1-1e-11 {
			t.Errorf("%v: %s, %v", c.v, text, u)
		}
	}
}

func BenchmarkOrient(b *testing.B) {
	for _, n := range []int{100, 316, 1000} {
		m := meshtest.Torus(30, 10, n, n/2)
		b.Run(fmt.Sprintf("torus/%d", len(m.Facets)), func(b *testing.B) {
			e := orientBench(b, m, "")
			b.ReportAllocs()
			for b.Loop() {
				fresh := New(e.o) // nothing kept
				if _, err := fresh.Orient(context.Background(), e.path("part.part.toml")); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
