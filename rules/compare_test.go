package rules

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

const compareShop = `schema = 1
shop = "Test shop"
currency = "EUR"
[rates]
work = 60.0
[[machine]]
name = "small"
process = "PBF-LB/M"
materials = ["316L"]
build = { x = "100 mm", y = "100 mm", z = "30 mm" }
margin = "0 mm"
layer = "50 um"
recoat = "10 s"
rate = 60.0
[[machine]]
name = "jet"
process = "BJT/M"
build = { x = "400 mm", y = "250 mm", z = "200 mm" }
layer = "50 um"
recoat = "30 s"
rate = 60.0
[[machine]]
name = "other"
process = "PBF-EB/M"
materials = ["Ti-6Al-4V"]
build = { x = "100 mm", y = "100 mm", z = "100 mm" }
[[material]]
name = "316L"
price = 40.0
`

func compareOf(t testing.TB, m *mesh.Mesh, machine, more string) *Comparison {
	t.Helper()
	b := orientBench(t, m, more)
	b.text[b.path("shop.toml")] = compareShop
	b.text[b.path("part.part.toml")] = strings.Replace(b.text[b.path("part.part.toml")], `"m"`, machine, 1)
	c, err := b.Compare(context.Background(), b.path("part.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A block 60 x 40 x 20 by three machines, priced by hand: 400 layers at 10 s and
// 48 cm3 at 9 cm3/h are 6.44 h; jetted, the green block is 20/(1-0.195) high.
func TestCompareByHand(t *testing.T) {
	c := compareOf(t, meshtest.BoxAt(mesh.Vec{}, mesh.Vec{60, 40, 20}), `"small"`, "")
	if len(c.Options) != 3 || !c.Options[0].IsNow || c.Options[1].Machine != "jet" || c.Options[2].Why != "does not run 316L" {
		t.Fatalf("%+v", c.Options)
	}
	laser, jet := c.Options[0], c.Options[1]
	hours := 400*10/3600. + 48/9.
	cost := 60*hours + 48*7.99/1000*40*1.1
	if math.Abs(laser.Hours.Value-hours) > 1e-6 || math.Abs(laser.Cost.Value-cost) > 1e-6 {
		t.Errorf("laser: %g h, %g EUR; want %g, %g", laser.Hours.Value, laser.Cost.Value, hours, cost)
	}
	green := 1 / (1 - 0.195)
	plane := 1 / (1 - 0.17)
	layers := math.Ceil(20*green/0.05 - 1e-6)
	hours = layers*30/3600 + 48*plane*plane*green/1000
	cost = 60*hours + 48*7.99/1000*40*1.1
	if math.Abs(jet.Hours.Value-hours) > 1e-6 || math.Abs(jet.Cost.Value-cost) > 1e-6 {
		t.Errorf("jet: %g h, %g EUR; want %g, %g", jet.Hours.Value, jet.Cost.Value, hours, cost)
	}
	if !strings.Contains(strings.Join(jet.Steps, " "), "debind sinter") || !strings.Contains(strings.Join(laser.Steps, " "), "cut from platform") {
		t.Errorf("%v %v", laser.Steps, jet.Steps)
	}
	if c.Mill == nil || c.Mill.Share < 0.99 || math.Abs(c.Mill.Ratio-64*44*24/48000.) > 1e-9 {
		t.Errorf("%+v", c.Mill)
	}
	if !strings.Contains(c.Favour, "ask for a price of milling") {
		t.Error(c.Favour)
	}
}

// A part that the first machine can't hold, with an unreachable hollow: the
// sentence names what is left and what milling misses.
func TestCompareFavours(t *testing.T) {
	hollow := meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{30, 30, 40}), meshtest.Flip(meshtest.BoxAt(mesh.Vec{8, 8, 8}, mesh.Vec{22, 22, 32})))
	c := compareOf(t, hollow, `"small"`, "[[void]]\nname = \"core\"\nat = [15, 15, 20]\nsealed = true\n")
	small := c.Options[0]
	if small.Fits || small.Errors == 0 {
		t.Errorf("%+v", small)
	}
	if !strings.Contains(c.Favour, "would miss about") || strings.Contains(c.Favour, "favour small") {
		t.Error(c.Favour)
	}
	// 8 mm of wall around 14 x 14 x 24: 1736 of 8536 mm2.
	if want := 1 - 1736/8536.; math.Abs(c.Mill.Share-want) > c.Mill.ShareErr+0.01 {
		t.Errorf("reached %g, want %g", c.Mill.Share, want)
	}
}

// A route is written for the spec's own process: another machine is not held
// against it, but against what its process takes.
func TestCompareRoutes(t *testing.T) {
	c := compareOf(t, meshtest.Cube(20), `"small"`, "[route]\nsteps = [\"remove powder\", \"inspect\"]\n")
	routes := map[string]int{}
	for _, o := range c.Options {
		for _, f := range o.Fails {
			if f.Check == Route.Name {
				routes[o.Machine] += f.Count
			}
		}
	}
	if len(routes) != 1 || routes["small"] == 0 {
		t.Errorf("%v", routes)
	}
}

// Declared places that a tool finishes, within reach and not.
func TestCompareCutPlaces(t *testing.T) {
	plate := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{40, 30, 12}, 48, [3]float64{10, 10, 4})
	lid := meshtest.BoxAt(mesh.Vec{0, 0, 13}, mesh.Vec{40, 30, 15})
	declared := "[[hole]]\nname = \"pin\"\nat = [10, 10, 6]\ndiameter = \"9 mm\"\nfinish = \"ream\"\ntolerance = \"H7\"\n" +
		"[[face]]\nname = \"seat\"\nat = [30, 20, 12]\nfinish = \"mill\"\n"
	c := compareOf(t, plate, `"jet"`, declared)
	if len(c.Cut) != 2 || !c.Cut[0].Reached || !c.Cut[1].Reached || c.Cut[0].Asks != "ream H7" || !strings.HasPrefix(c.Then, "Printing and then milling answers: ") {
		t.Errorf("%+v %q", c.Cut, c.Then)
	}
	c = compareOf(t, meshtest.Join(plate, lid), `"jet"`, declared)
	if len(c.Cut) != 2 || !c.Cut[0].Reached || c.Cut[1].Reached || !strings.Contains(c.Then, "no straight tool gets at face \"seat\"") {
		t.Errorf("under a lid: %+v %q", c.Cut, c.Then)
	}
}

// Without machines the processes stand side by side, in hours.
func TestCompareWithoutMachines(t *testing.T) {
	b := orientBench(t, meshtest.Cube(20), "")
	b.text[b.path("shop.toml")] = "schema = 1\nshop = \"Bare\"\n"
	b.text[b.path("part.part.toml")] = strings.Replace(orientSpec, "machine = \"m\"\n", "", 1)
	c, err := b.Compare(context.Background(), b.path("part.part.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Options) != 4 || c.Options[0].Process != LaserPBF || !c.Options[0].IsNow {
		t.Fatalf("%+v", c.Options)
	}
	for _, o := range c.Options {
		if o.Money || !(o.Cost.Value > 0) {
			t.Errorf("%s: %+v", o.Process, o.Cost)
		}
	}
	if !strings.Contains(c.Favour, " h a part") {
		t.Error(c.Favour)
	}
}

func TestCompareCancels(t *testing.T) {
	b := orientBench(t, mushroom(), "")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := b.Compare(ctx, b.path("part.part.toml")); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
