package rules

import (
	"math"
	"slices"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/spec"
)

func holeOf(diameterMM float64, tolerance, finish string) spec.Hole {
	h := spec.Hole{Name: spec.Value[string]{V: "seat", Set: true}}
	h.Diameter = spec.Value[spec.Quantity]{V: spec.Quantity{V: diameterMM, Dim: spec.Length, Num: diameterMM, Unit: "mm"}, Set: true}
	h.Tolerance = spec.Value[string]{V: tolerance, Set: tolerance != ""}
	h.Finish = spec.Value[string]{V: finish, Set: finish != ""}
	return h
}

func fitsOf(t *testing.T, process string, holes ...spec.Hole) []HoleFit {
	t.Helper()
	part := &spec.Part{Process: spec.Value[string]{V: process, Set: true}, Holes: holes}
	limits, _ := resolveLimits(newShop(), part)
	r := &PartReport{Spec: part, Shop: newShop(), Limits: limits}
	return r.Fits()
}

// Worked by hand from ISO 286-1 (from memory): 10 mm H7 is 10.000 to 10.015, g6 is
// 9.986 to 9.995, so they leave 0.005 to 0.029 mm. As built to IT12 (0.150 mm)
// about the middle, 10.0075, the hole is 9.9325 to 10.0825: 0.0625 mm of
// interference to 0.0965 of clearance. 0.5 mm a side to ream is a drawn 9 mm.
func TestFitOfAHole(t *testing.T) {
	f := fitsOf(t, LaserPBF, holeOf(10, "H7/g6", "ream"))[0]
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"least", f.Fit.LeastMM, 0.005}, {"most", f.Fit.MostMM, 0.029}, {"built least", f.Built.Low, -0.0625}, {"built most", f.Built.High, 0.0965},
		{"draw", f.DrawMM, 9}, {"stock", f.StockMM, 0.5}, {"grade", float64(f.BuiltGrade), 12},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: %g, want %g", c.what, c.got, c.want)
		}
	}
	sizes, made := f.SayFit()
	if want := "H7/g6 on 10 mm: hole 10.000 to 10.015 mm, shaft 9.986 to 9.995 mm, 0.005 to 0.029 mm of clearance (clearance fit)"; sizes != want {
		t.Errorf("%s\nwant %s", sizes, want)
	}
	if want := "As built to IT12, 0.150 mm wide, it would miss that: 0.06 mm of interference to 0.10 mm of clearance; draw it 9 mm, which leaves 0.5 mm a side to ream"; made != want {
		t.Errorf("%s\nwant %s", made, want)
	}
}

// A grade that the process holds needs no cut: the hole is drawn at the middle
// of its zone, where the scatter of the process stays inside. One that it does
// not hold needs stock, whatever the finish says.
func TestFitsAsBuilt(t *testing.T) {
	fits := fitsOf(t, LaserPBF, holeOf(46, "H13", ""), holeOf(46, "H7", ""), holeOf(8, "+-0.2 mm", "as-built"), holeOf(10, "H7/cd6", "ream"), holeOf(10, "IT7", ""), holeOf(10, "", ""), holeOf(600, "H7", ""))
	if len(fits) != 4 {
		t.Fatalf("%d tolerances have a place, want 4: %+v", len(fits), fits)
	}
	if f := fits[0]; f.NeedsFinish || f.StockMM != 0 || math.Abs(f.DrawMM-46.195) > 1e-9 || f.Built.Low < f.Zone.LowerMM || f.Built.High > f.Zone.UpperMM {
		t.Errorf("H13 as built: %+v", f)
	}
	if f := fits[1]; !f.NeedsFinish || f.DrawMM != 45 {
		t.Errorf("H7 as built: %+v", f)
	}
	if f := fits[2]; f.NeedsFinish || f.DrawMM != 8 || f.HasFit {
		t.Errorf("a band: %+v", f)
	}
	// Drawn at the middle of unequal limits; 0.3 mm is wide enough as built, 0.1 is not.
	bands := fitsOf(t, LaserPBF, holeOf(10, "+0.2/-0.1 mm", ""), holeOf(10, "+0.1/0 mm", ""))
	if f := bands[0]; f.NeedsFinish || math.Abs(f.DrawMM-10.05) > 1e-9 {
		t.Errorf("an unequal band: %+v", f)
	}
	if sizes, made := bands[1].SayFit(); sizes != "+0.1/0 mm on 10 mm: hole 10.000 to 10.100 mm" || made != "As built to IT12, 0.150 mm wide, it would miss that; draw it 9 mm, which leaves 0.5 mm a side to ream or bore" {
		t.Errorf("an upper limit alone: %s. %s", sizes, made)
	}
	if sizes, _ := fits[3].SayFit(); fits[3].HasFit || !strings.HasSuffix(sizes, "; the tables here have no place for cd6") {
		t.Errorf("a shaft without a place: %s", sizes)
	}
	// Nominal sizes and clearances of a press fit.
	if f := fitsOf(t, BeamPBF, holeOf(25, "H7/p6", "bore"))[0]; f.Fit.Kind() != "interference" {
		t.Errorf("H7/p6: %+v", f)
	} else if sizes, _ := f.SayFit(); !strings.Contains(sizes, "0.001 to 0.035 mm of interference (interference fit)") {
		t.Error(sizes)
	}
}

// What a declared hole is offered makes it the hole that is drawn.
func TestDrawnDiameterIsOffered(t *testing.T) {
	plate := meshtest.Plate(mesh.Vec{}, mesh.Vec{40, 30, 12}, 48, [3]float64{10, 10, 3})
	b := orientBench(t, plate, "[[hole]]\nname = \"bolt\"\nat = [10, 10, 6]\ndiameter = \"6.5 mm\" # clearance\n")
	told := func() *Finding {
		r := b.full()
		if i := slices.IndexFunc(r.Findings, func(f Finding) bool { return f.Check == Hole.Name }); i >= 0 {
			return &r.Findings[i]
		}
		return nil
	}
	f := told()
	if f == nil || len(f.Fixes) != 1 {
		t.Fatalf("%+v", f)
	}
	path := b.path("part.part.toml")
	b.text[path] = string(Apply([]byte(b.text[path]), f.Fixes))
	if f := told(); f != nil || !strings.Contains(b.text[path], "diameter = \"6 mm\" # clearance") {
		t.Errorf("%s\n%+v", b.text[path], f)
	}
}
