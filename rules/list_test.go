package rules

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"corbel/spec"
)

func TestEveryCheckIsDescribed(t *testing.T) {
	shared := []string{"pin.strut-angle", "stock.thickness", "overhang.angle", "hole.channel", "hole.depth-ratio", "hole.blind-ratio", "hole.roof", "floating-start.height"} // by hole, powder or overhang too
	name := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	for _, c := range Checks() {
		if !name.MatchString(c.Name) {
			t.Errorf("%s: not kebab-case", c.Name)
		}
		for _, word := range []string{"no-", "avoid", "check", "valid", "ensure"} { // a name says the problem, not the remedy
			if strings.HasPrefix(c.Name, word) {
				t.Errorf("%s: begins with %q", c.Name, word)
			}
		}
		for what, text := range map[string]string{"summary": c.Summary, "why": c.Why, "what goes wrong": c.Wrong} {
			if !strings.HasSuffix(text, ".") {
				t.Errorf("%s: %s is no sentence: %q", c.Name, what, text)
			}
		}
		if len(c.Sources) == 0 {
			t.Errorf("%s has no source", c.Name)
		}
		for _, s := range c.Sources {
			if s.Text == "" || s.Status == "" {
				t.Errorf("%s: source %q has status %q", c.Name, s.Text, s.Status)
			}
		}
		if (c.Processes == nil) != (c.Elsewhere == "") {
			t.Errorf("%s: processes %v, elsewhere %q", c.Name, c.Processes, c.Elsewhere)
		}
		if c.Judge == nil && c != Spec {
			t.Errorf("%s judges nothing", c.Name)
		}
		if (c.Judge == nil) != (c.Say == nil) {
			t.Errorf("%s: judge and say go together", c.Name)
		}
		if !slices.Contains(spec.CheckNames(), c.Name) {
			t.Errorf("%s is no word of the language", c.Name)
		}
		for _, l := range c.Limits {
			if l.Check() != c.Name && !slices.Contains(shared, l.Name) {
				t.Errorf("%s reads %s", c.Name, l.Name)
			}
		}
	}
}

func TestCheckNamesAreUnique(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range Checks() {
		if seen[c.Name] {
			t.Errorf("two checks are called %s", c.Name)
		}
		seen[c.Name] = true
		if ByName(c.Name) != c {
			t.Errorf("ByName(%q) finds another", c.Name)
		}
	}
	if ByName("nothing") != nil {
		t.Error("ByName finds a check that is not there")
	}
}

// The built-in file is a shop file like any other: sound, and every value with
// its source.
func TestBuiltinFile(t *testing.T) {
	shop, problems := spec.ParseShop(BuiltinFile, builtinText)
	for _, p := range problems {
		t.Errorf("line %d: %s", shop.Doc.Position(p.At.Start).Line, p.Message)
	}
	statuses := []string{"published, read", "published, from memory", "common practice, no source", "nothing is cut from the platform"}
	for _, set := range shop.Limits {
		for _, l := range set.Limits {
			ok := slices.ContainsFunc(statuses, func(s string) bool { return strings.Contains(l.Source.V, s) })
			if !l.Source.Set || !ok && !strings.Contains(l.Source.V, "practice") {
				t.Errorf("%s %s: %s has source %q", set.Process.V, set.Material.V, l.Name, l.Source.V)
			}
		}
	}
	for _, m := range shop.Materials {
		if !m.Source.Set || !m.Density.Set || !m.BuildRate.Set || !m.Packing.Set || !m.Reactive.Set {
			t.Errorf("%s is incomplete", m.Name.V)
		}
	}
	for _, c := range Checks() {
		if c == Spec {
			continue
		}
		if !slices.ContainsFunc(shop.Levels, func(l spec.LevelEntry) bool { return l.Check.V == c.Name }) {
			t.Errorf("%s has no level", c.Name)
		}
	}
	if len(shop.Machines) != 0 {
		t.Error("the built-in file names machines")
	}
}

// Every process has every limit of the checks that apply to it.
func TestEveryProcessHasItsLimits(t *testing.T) {
	for _, p := range spec.Processes {
		part := &spec.Part{Process: spec.Value[string]{V: p.Value, Set: true}}
		l, _ := resolveLimits(newShop(), part)
		for _, c := range Checks() {
			for _, def := range c.Limits {
				x, ok := l.Get(def.Name)
				if !ok {
					t.Fatalf("no limit %s", def.Name)
				}
				powderless := p.Value == Extrusion && (def.Name == "hole.depth-ratio" || def.Name == "hole.blind-ratio" || def.Name == "hole.channel" || def.Name == "powder.way-ratio")
				if c.Applies(p.Value) && !x.Set && !powderless {
					t.Errorf("%s: %s has no value", p.Value, def.Name)
				}
			}
		}
	}
}

// Handbook densities, from memory: trade tables give them to two decimals.
func TestBuiltinDensities(t *testing.T) {
	for name, want := range map[string]float64{"Ti-6Al-4V": 4.43, "AlSi10Mg": 2.67, "316L": 7.99, "17-4PH": 7.78, "IN718": 8.19,
		"IN625": 8.44, "CoCr": 8.30, "18Ni300": 8.05, "CuCrZr": 8.89, "Cu": 8.96} {
		m, ok := newShop().Material(name)
		if !ok || m.Density.V != want {
			t.Errorf("%s: %v, want %v", name, m.Density.V, want)
		}
		if m.Reactive != (name == "Ti-6Al-4V" || name == "AlSi10Mg") {
			t.Errorf("%s: reactive %v", name, m.Reactive)
		}
	}
}
