package rules

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

const fitsShop = `schema = 1
shop = "Test shop"
[[machine]]
name = "small"
process = "PBF-LB/M"
build = { x = "100 mm", y = "100 mm", z = "100 mm" }
margin = "0 mm"
[[machine]]
name = "drum"
process = "PBF-LB/M"
materials = ["IN718"]
build = { diameter = "160 mm", z = "100 mm" }
margin = "0 mm"
[[machine]]
name = "other material"
process = "PBF-LB/M"
materials = ["316L"]
build = { x = "900 mm", y = "900 mm", z = "900 mm" }
[[machine]]
name = "other process"
process = "PBF-EB/M"
build = { x = "900 mm", y = "900 mm", z = "900 mm" }
`

// barOf is a bar that lies along x.
func barOf(x, y, z float64) *mesh.Mesh { return meshtest.BoxAt(mesh.Vec{}, mesh.Vec{x, y, z}) }

// fitsBench has a part on the small machine.
func fitsBench(t testing.TB, m *mesh.Mesh, orientation string) *bench {
	b := orientBench(t, m, "")
	b.t = t
	b.write("shop.toml", fitsShop)
	s := strings.ReplaceAll(orientSpec, `material = "316L"`, `material = "IN718"`)
	b.write("part.part.toml", strings.ReplaceAll(s, `machine = "m"`, `machine = "small"`)+orientation)
	return b
}

func envelopeOf(r *PartReport) *Finding {
	for i := range r.Findings {
		if r.Findings[i].Check == Envelope.Name {
			return &r.Findings[i]
		}
	}
	return nil
}

// The small machine is a cube of 100 mm, the drum is 160 mm wide. A bar of a
// square section s lies across a square of side a as long as it is no longer
// than a sqrt 2 - s, and along the diagonal of a cube it is longer still.
func TestWaysThatFit(t *testing.T) {
	const turn, drum, leaned, none = `with turn = `, `on machine "drum"`, `leaned, with up = [`, `It fits in no direction, at no turn, and on no other machine`
	for _, c := range []struct {
		name  string
		mesh  *mesh.Mesh
		more  string
		has   []string
		lacks []string
	}{
		{"across", barOf(130, 10, 10), "", []string{turn + `"45 deg"`, drum}, []string{leaned}},
		{"turned already", barOf(130, 10, 10), "[orientation]\nturn = \"20 deg\"\n", []string{turn + `"45 deg"`, drum}, []string{leaned}},
		{"upright across", barOf(10, 10, 130), "", []string{`with up = "+x" and turn = "45 deg"`, `on machine "drum" with up = "+x"`}, []string{leaned}},
		{"on its side", barOf(40, 90, 110), "", []string{drum + ` with up = "+x"`}, nil},
		{"leaned only", barOf(145, 8, 8), "", []string{leaned, drum, "corbel orient"}, []string{turn + `"45`}},
		{"nowhere", barOf(300, 8, 8), "", []string{none}, []string{"would fit"}},
		{"drum only, leaned", barOf(180, 6, 6), "", []string{drum + " " + leaned}, []string{none}},
		{"lifted", barOf(10, 10, 95), "[orientation]\nlift = \"10 mm\"\n", []string{`with up = "+x"`}, []string{leaned}},
	} {
		b := fitsBench(t, c.mesh, c.more)
		f := envelopeOf(b.full())
		if f == nil {
			t.Errorf("%s: nothing found", c.name)
			continue
		}
		for _, w := range c.has {
			if !strings.Contains(f.Help, w) {
				t.Errorf("%s: %q does not say %q", c.name, f.Help, w)
			}
		}
		for _, w := range c.lacks {
			if strings.Contains(f.Help, w) {
				t.Errorf("%s: %q says %q", c.name, f.Help, w)
			}
		}
	}
}

// Each edit that is offered makes the finding go, whatever the spec says of the
// orientation so far.
func TestFitFixesFit(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{"across": barOf(130, 10, 10), "leaned": barOf(148, 8, 8), "upright": barOf(10, 10, 130),
		"turned in the mesh": meshtest.Turn(barOf(150, 6, 6), mesh.Vec{1, 2, 3}, 0.8)} {
		for _, more := range []string{"", "[orientation]\n# how it stands\nlift = \"1 mm\"\n", "[orientation]\nturn = \"10 deg\" # as it came\nlift = \"0 mm\"\nup = \"+z\" # upright\n"} {
			b := fitsBench(t, m, more)
			f := envelopeOf(b.full())
			if f == nil || len(f.Fixes) == 0 {
				t.Errorf("%s, %q: no way is offered: %+v", name, more, f)
				continue
			}
			text := b.text[b.path("part.part.toml")]
			for _, x := range f.Fixes {
				b.write("part.part.toml", text[:x.At.Start]+x.Text+text[x.At.End:])
				r := b.full()
				if g := envelopeOf(r); g != nil || len(r.Failures) > 0 {
					t.Errorf("%s, %q: %s does not mend it: %+v %v", name, more, x.Title, g, r.Failures)
				}
				if strings.Count(b.text[b.path("part.part.toml")], "#") != strings.Count(text, "#") {
					t.Errorf("%s: a comment is lost:\n%s", name, b.text[b.path("part.part.toml")])
				}
			}
		}
	}
}

// What orient ranks fits by the same measure: where a check finds a lean that
// fits, however narrow, so does orient.
func TestOrientFindsWhatFits(t *testing.T) {
	// It fits along the diagonal of the cube alone, within a few degrees.
	m := meshtest.Turn(barOf(100*math.Sqrt(3)-14, 6, 6), mesh.Vec{1, -2, 4}, 2)
	b := fitsBench(t, m, "")
	if f := envelopeOf(b.full()); f == nil || !strings.Contains(f.Help, "leaned") {
		t.Fatalf("the check finds %+v", f)
	}
	o, err := b.Orient(t.Context(), b.path("part.part.toml"))
	if err != nil || len(o.Choices) == 0 || !o.Choices[0].Fits {
		t.Fatalf("orient finds %+v, %v", o.Choices, err)
	}
}

// A part that fits has no way looked for, and typing a limit looks for none
// anew.
func TestWaysAreLookedForOnce(t *testing.T) {
	count := func(b *bench) int { return b.counts.measurements[NeedWays] }
	b := fitsBench(t, barOf(90, 10, 10), "")
	if f := envelopeOf(b.full()); f != nil || count(b) != 0 {
		t.Errorf("it fits: %+v, looked %d times", f, count(b))
	}
	b = fitsBench(t, barOf(148, 8, 8), "")
	text := b.text[b.path("part.part.toml")]
	for k := range 3 {
		b.write("part.part.toml", text+fmt.Sprintf("[limits]\nwall.thickness = \"%d mm\"\n", k+1))
		if f := envelopeOf(b.full()); f == nil {
			t.Error("nothing found")
		}
	}
	if count(b) != 1 {
		t.Errorf("looked %d times", count(b))
	}
}
