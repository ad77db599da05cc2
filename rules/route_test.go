package rules

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"corbel/rules/estimate"
	"corbel/rules/fit"
	"corbel/spec"
)

// Every fix that a finding of these checks brings mends it: the text is still
// understood, and the finding is gone.
func TestFixesMend(t *testing.T) {
	for _, check := range []*Check{Stock, Roughness, Tolerance, Route} {
		t.Run(check.Name, func(t *testing.T) {
			tried := 0
			for _, path := range unpack(t, filepath.Join(archiveDir, check.Name+".txtar"), t.TempDir()) {
				tried += mendAll(t, check, path)
			}
			if tried == 0 {
				t.Error("no finding brings a fix")
			}
		})
	}
}

func mendAll(t *testing.T, check *Check, path string) (tried int) {
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	e := New(Options{Now: testDay, Checks: map[string]bool{check.Name: true}})
	for _, f := range e.Part(context.Background(), path, Full).Findings {
		for _, fix := range f.Fixes {
			tried++
			mended := string(text[:fix.At.Start]) + fix.Text + string(text[fix.At.End:])
			if err := os.WriteFile(path, []byte(mended), 0o666); err != nil {
				t.Fatal(err)
			}
			after := e.Part(context.Background(), path, Full).Findings
			for _, g := range after {
				if g.Check == Spec.Name && g.Level == Error {
					t.Errorf("%s: %q breaks the text: %s\n%s", filepath.Base(path), fix.Title, g.Message, mended)
				}
			}
			if slices.ContainsFunc(after, func(g Finding) bool { return g.Check == f.Check && g.Message == f.Message }) {
				t.Errorf("%s: %q mends nothing of %q\n%s", filepath.Base(path), fix.Title, f.Message, mended)
			}
		}
	}
	if err := os.WriteFile(path, text, 0o666); err != nil {
		t.Fatal(err)
	}
	return tried
}

// The rules speak of steps that the language knows, each in the order of work.
func TestStepsAreKnown(t *testing.T) {
	known := map[string]bool{}
	for _, s := range spec.Steps {
		known[s.Value] = true
		if rank(s.Value) < 0 {
			t.Errorf("%q has no place in the order of work", s.Value)
		}
	}
	named := slices.Concat(orderOfWork, heatSteps, cutSteps)
	for _, n := range neededSteps {
		named = append(named, n.any...)
		if n.source.Text == "" || n.source.Status == "" {
			t.Errorf("%q is asked for without a source", n.any)
		}
	}
	for _, o := range orderedSteps {
		named = slices.Concat(named, o.first, o.later)
		if o.why == "" || o.source.Text == "" || o.source.Status == "" {
			t.Errorf("%q before %q is asked for without a reason or a source", o.first, o.later)
		}
	}
	for _, step := range named {
		if !known[step] {
			t.Errorf("the language knows no step %q", step)
		}
	}
	for _, finish := range slices.Concat(spec.HoleFinishes, spec.FaceFinishes) {
		if finish.Value != "as-built" && cutting[finish.Value] == "" {
			t.Errorf("nothing is said of the finish %q", finish.Value)
		}
	}
}

// The order of work breaks none of the rules, whatever of it a route holds.
func TestOrderOfWorkIsInOrder(t *testing.T) {
	p := &Subject{Spec: &spec.Part{}}
	p.Spec.Process.V, p.Spec.Use.V = LaserPBF, "medical"
	for _, s := range orderOfWork {
		p.Spec.Route.Steps.V = append(p.Spec.Route.Steps.V, spec.Value[string]{V: s, Set: true})
	}
	p.Spec.Route.Steps.Set = true
	for i := range orderedSteps {
		if f, bad := p.wrongOrder(&orderedSteps[i]); bad {
			t.Error(f.Message)
		}
	}
}

// What the process holds by grade against what it holds by general tolerance:
// laser, class m of ISO 2768-1 (common practice), is +-0.2 mm on 6 to 30 mm, so
// a grade that asks for IT12 is finer than what comes without asking.
func TestGradesAgainstGeneralTolerances(t *testing.T) {
	for process, class := range generalClass {
		part := &spec.Part{Process: spec.Value[string]{V: process, Set: true}}
		l, _ := resolveLimits(newShop(), part)
		limit, _ := l.Get("tolerance.grade")
		for _, size := range []float64{5, 20, 50, 100} {
			width, ok := fit.Grade(int(limit.V), size)
			dev, ok2 := fit.General(class, size)
			if !ok || !ok2 || width/1000 > 2*dev {
				t.Errorf("%s on %g mm: IT%g is %g mm wide, and untoleranced sizes hold +-%g mm", process, size, limit.V, width/1000, dev)
			}
		}
	}
}

// Published ranges of as-built roughness hold the defaults: Ti-6Al-4V and IN718
// by laser 8 to 15 um up and side, 15 to 25 um at 45 deg, 30 to 45 um at 30 to
// 35 deg (Triantaphyllou et al. 2015, Cabanettes et al. 2018, from memory);
// electron beam 20 to 50 um (Wang et al. 2017, from memory).
func TestRoughnessDefaults(t *testing.T) {
	for _, c := range []struct {
		process, material, limit string
		low, high                float64
	}{
		{LaserPBF, "Ti-6Al-4V", "roughness.up", 8, 15},
		{LaserPBF, "Ti-6Al-4V", "roughness.down", 15, 25},
		{LaserPBF, "Ti-6Al-4V", "roughness.flat", 30, 45},
		{LaserPBF, "IN718", "roughness.up", 8, 15},
		{LaserPBF, "IN718", "roughness.down", 15, 25},
		{LaserPBF, "IN718", "roughness.flat", 30, 45},
		{BeamPBF, "Ti-6Al-4V", "roughness.up", 20, 50},
		{BeamPBF, "Ti-6Al-4V", "roughness.down", 20, 50},
		{BeamPBF, "Ti-6Al-4V", "roughness.flat", 20, 50},
	} {
		set := func(v string) spec.Value[string] { return spec.Value[string]{V: v, Set: true} }
		l, _ := resolveLimits(newShop(), &spec.Part{Process: set(c.process), Material: set(c.material)})
		if got, _ := l.Get(c.limit); got.V*1000 < c.low || got.V*1000 > c.high {
			t.Errorf("%s, %s, %s: %g um, published %g to %g", c.process, c.material, c.limit, got.V*1000, c.low, c.high)
		}
	}
}

// The default stock covers what a face needs: 7 Ra of 12 um, +-0.3 mm of ISO
// 2768-m on 30 to 120 mm, 0.1 mm of distortion, 0.05 mm of clamping make 0.534
// mm (common practice, no source); the default of 0.5 mm is for faces of less.
func TestStockDefaults(t *testing.T) {
	l, _ := resolveLimits(newShop(), &spec.Part{Process: spec.Value[string]{V: LaserPBF, Set: true}})
	stock, _ := l.Get("stock.thickness")
	dev, _ := fit.General('m', 20)
	if need := estimate.Allowance(0.012, dev, 0.1, 0.05); need > stock.V {
		t.Errorf("a face on a 20 mm size needs %.3f mm, the default is %g mm", need, stock.V)
	}
}
