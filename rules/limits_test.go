package rules

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"corbel/spec"
)

// shopFrom parses shop files, the weakest first, over the built-in one.
func shopFrom(t *testing.T, texts ...string) *Shop {
	t.Helper()
	var files []*spec.Shop
	for i, text := range texts {
		name := []string{"base.toml", "shop.toml"}[i+2-len(texts)]
		s, problems := spec.ParseShop(name, []byte("schema = 1\nshop = \"Test\"\n"+text))
		for _, p := range problems {
			t.Fatalf("%s: %s", name, p.Message)
		}
		files = append(files, s)
	}
	return newShop(files...)
}

func partFrom(t *testing.T, text string) *spec.Part {
	t.Helper()
	p, problems := spec.ParsePart("part.part.toml", []byte("schema = 1\npart = \"P\"\n"+text+"\n[mesh]\nfile = \"x.stl\"\nunits = \"mm\"\n"))
	for _, q := range problems {
		t.Fatal(q.Message)
	}
	return p
}

const alPart = "process = \"PBF-LB/M\"\nmaterial = \"AlSi10Mg\"\nmachine = \"bay\"\n"

func wallOf(t *testing.T, shop *Shop, part *spec.Part) (Limit, []Finding) {
	t.Helper()
	l, findings := resolveLimits(shop, part)
	w, ok := l.Get("wall.thickness")
	if !ok || !w.Set {
		t.Fatal("no wall.thickness")
	}
	return w, findings
}

// Each layer stands over the ones before it, and says where it stands.
func TestLayers(t *testing.T) {
	process := "[limits.\"PBF-LB/M\"]\nwall.thickness = { value = \"0.55 mm\", source = \"comb\" }\n"
	material := "[limits.\"PBF-LB/M\".material.AlSi10Mg]\nwall.thickness = \"600 um\"\n"
	machine := "[limits.\"PBF-LB/M\".machine.\"bay\"]\nwall.thickness = \"0.65 mm\"\n"
	other := "[limits.\"PBF-EB/M\"]\nwall.thickness = \"9 mm\"\n[limits.\"PBF-LB/M\".material.Cu]\nwall.thickness = \"8 mm\"\n[limits.\"PBF-LB/M\".machine.\"hall\"]\nwall.thickness = \"7 mm\"\n"
	for _, c := range []struct {
		name  string
		shops []string
		part  string
		mm    float64
		layer string
		file  string
		line  int
	}{
		{"built-in", nil, "", 0.5, "built-in", BuiltinFile, 0},
		{"process", []string{other + process}, "", 0.55, "shop", "shop.toml", 10},
		{"material", []string{material + other + process}, "", 0.6, "material", "shop.toml", 4},
		{"machine", []string{machine + material + process + other}, "", 0.65, "machine", "shop.toml", 4},
		{"base", []string{machine, other}, "", 0.65, "machine", "base.toml", 4},
		{"a site file stands over its base", []string{machine, process}, "", 0.55, "shop", "shop.toml", 4},
		{"part", []string{machine}, "[limits]\nwall.thickness = \"0.7 mm\"\n", 0.7, "part", "part.part.toml", 7},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, findings := wallOf(t, shopFrom(t, c.shops...), partFrom(t, alPart+c.part))
			if math.Abs(w.V-c.mm) > 1e-12 || w.Origin.Layer != c.layer || w.Origin.File != c.file || c.line > 0 && w.Origin.Line != c.line {
				t.Errorf("%g mm from %+v", w.V, w.Origin)
			}
			if len(findings) != 0 {
				t.Errorf("findings %v", findings)
			}
			if c.name == "process" && w.Origin.Source != "comb" {
				t.Errorf("source %q", w.Origin.Source)
			}
		})
	}
}

// A material's built-in value yields to what a shop says of the whole process.
func TestBuiltinMaterialIsTheWeakestLayer(t *testing.T) {
	part := partFrom(t, "process = \"PBF-LB/M\"\nmaterial = \"Ti-6Al-4V\"\n")
	l, _ := resolveLimits(newShop(), part)
	if r, _ := l.Get("hole.roof"); r.V != 8 {
		t.Errorf("built-in roof of Ti-6Al-4V is %g", r.V)
	}
	l, _ = resolveLimits(shopFrom(t, "[limits.\"PBF-LB/M\"]\nhole.roof = \"5 mm\"\n"), part)
	if r, _ := l.Get("hole.roof"); r.V != 5 || r.Origin.Layer != "shop" || len(r.Under) != 2 {
		t.Errorf("the shop's roof is %g from %s over %d", r.V, r.Origin.Layer, len(r.Under))
	}
}

func TestAPartMayOnlyTighten(t *testing.T) {
	shop := shopFrom(t, "[policy]\nloosen = [\"overhang.ledge\"]\n[limits.\"PBF-LB/M\"]\nwall.thickness = \"0.5 mm\"\noverhang.bridge = \"2 mm\"\n")
	for _, c := range []struct {
		limit, value string
		want         float64
		refused      bool
	}{
		{"wall.thickness", `"0.4 mm"`, 0.5, true},         // at least: lower is looser
		{"wall.thickness", `"0.5 mm"`, 0.5, false},        // equal is neither
		{"wall.thickness", `"0.6 mm"`, 0.6, false},        //
		{"overhang.bridge", `"3 mm"`, 2, true},            // at most: higher is looser
		{"overhang.bridge", `"1 mm"`, 1, false},           //
		{"overhang.ledge", `"4 mm"`, 4, false},            // the shop allows it
		{"overhang.angle", `"30 deg"`, math.Pi / 4, true}, // at least, in radians
		{"powder.openings", `1`, 2, true},                 //
		{"slenderness.ratio", `20`, 10, true},             //
	} {
		l, findings := resolveLimits(shop, partFrom(t, alPart+"[limits]\n"+c.limit+" = "+c.value+"\n"))
		x, _ := l.Get(c.limit)
		if math.Abs(x.V-c.want) > 1e-12 || (len(findings) == 1) != c.refused {
			t.Errorf("%s = %s: %g in force, findings %v", c.limit, c.value, x.V, findings)
		}
		if c.refused && len(findings) == 1 {
			f := findings[0]
			if f.Check != "spec" || f.Level != Error || f.Where.Key != "limits."+c.limit || !strings.Contains(f.Message, "stays in force") || len(f.Related) != 1 {
				t.Errorf("%s: %+v", c.limit, f)
			}
		}
	}
}

// A machine's own margin stands over the files' limit; only the part is
// stronger.
func TestMachineMargin(t *testing.T) {
	shop := shopFrom(t, "[limits.\"PBF-LB/M\"]\nenvelope.margin = \"3 mm\"\n[[machine]]\nname = \"bay\"\nprocess = \"PBF-LB/M\"\nmargin = \"8 mm\"\nbuild = { x = \"100 mm\", y = \"100 mm\", z = \"100 mm\" }\n")
	l, _ := resolveLimits(shop, partFrom(t, alPart))
	if m, _ := l.Get("envelope.margin"); m.V != 8 || m.Origin.Layer != "machine" || m.Origin.Line != 8 {
		t.Errorf("%g from %+v", m.V, m.Origin)
	}
	l, f := resolveLimits(shop, partFrom(t, alPart+"[limits]\nenvelope.margin = \"9 mm\"\n"))
	if m, _ := l.Get("envelope.margin"); m.V != 9 || len(f) != 0 {
		t.Errorf("%g, %v", m.V, f)
	}
}

// What a limit is not used for is said.
func TestSilentLimits(t *testing.T) {
	shop := shopFrom(t, "[levels]\nwall = \"off\"\n")
	l, _ := resolveLimits(shop, partFrom(t, "process = \"BJT/M\"\nmaterial = \"316L\"\n"))
	for name, want := range map[string]string{
		"wall.thickness":       "switched wall off",
		"overhang.ledge":       "no value for BJT/M",
		"overhang.angle":       "", // hole reads it too
		"envelope.margin":      "names no machine",
		"support-access.share": "no value for BJT/M",
		"sinter.span":          "",
		"feather-edge.angle":   "",
		"floating-start.area":  "no value",
	} {
		x, _ := l.Get(name)
		if want == "" && x.Silent != "" || !strings.Contains(x.Silent, want) {
			t.Errorf("%s: %q", name, x.Silent)
		}
	}
}

// Facts of a material come key by key from the strongest file that gives them.
func TestMaterialsMerge(t *testing.T) {
	shop := shopFrom(t, "[[material]]\nname = \"316L\"\nprice = 30.0\ndensity = \"7.9 g/cm3\"\n", "[[material]]\nname = \"316L\"\nprice = 40.0\n[[material]]\nname = \"Invar\"\ndensity = \"8.1 g/cm3\"\n")
	m, ok := shop.Material("316L")
	if !ok || m.Price.V != 40 || m.Price.From.File != "shop.toml" || m.Density.V != 7.9 || m.Density.From.File != "base.toml" || m.BuildRate.From.Layer != "built-in" {
		t.Errorf("%+v", m)
	}
	if !slices.Contains(shop.Materials(), "Invar") || !slices.IsSorted(shop.Materials()) {
		t.Errorf("materials %v", shop.Materials())
	}
	if _, ok := shop.Material("Unobtainium"); ok {
		t.Error("a material that no file describes was found")
	}
}

// The shop file that is found: the one named, the nearest upward, none.
func TestShopLookup(t *testing.T) {
	b := newBench(t, Options{})
	put := func(name, text string) {
		t.Helper()
		if err := os.MkdirAll(b.path(name[:strings.LastIndexByte(name, '/')+1]), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(b.path(name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	b.Engine.o.Root = b.dir // so that a shop file above the test's folder is none of ours
	look := func(text string) *PartReport {
		put("a/b/p.part.toml", text)
		return b.Part(t.Context(), b.path("a/b/p.part.toml"), Text)
	}
	if r := look(ledgeSpec); r.Shop.Path != "" {
		t.Errorf("found %q where there is none", r.Shop.Path)
	}
	put("shop.toml", "schema = 1\nshop = \"Top\"\n")
	if r := look(ledgeSpec); r.Shop.Path != b.path("shop.toml") {
		t.Errorf("found %q", r.Shop.Path)
	}
	put("a/shop.toml", "schema = 1\nshop = \"Near\"\n")
	if r := look(ledgeSpec); r.Shop.Path != b.path("a/shop.toml") {
		t.Errorf("found %q", r.Shop.Path)
	}
	if r := look("shop = \"../../shop.toml\"\n" + ledgeSpec); r.Shop.Path != b.path("shop.toml") {
		t.Errorf("found %q", r.Shop.Path)
	}
	if r := look("shop = \"../../../shop.toml\"\n" + ledgeSpec); r.Shop.Path != "" || r.Status != Unchecked || !strings.Contains(r.Failures[0].Why, "outside the workspace") {
		t.Errorf("a shop file outside the workspace: %+v", r.Failures)
	}
}

// Chains that can't be followed: one clear finding each, and what can be read
// still holds.
func TestShopChains(t *testing.T) {
	const head = "schema = 1\nshop = \"S\"\n"
	for _, c := range []struct {
		name      string
		files     map[string]string
		want      string
		unchecked bool
	}{
		{"itself", map[string]string{"shop.toml": head + "extends = \"shop.toml\"\n"}, "extends itself", false},
		{"each other", map[string]string{"shop.toml": head + "extends = \"b.toml\"\n", "b.toml": head + "extends = \"shop.toml\"\n"}, "extend each other", false},
		{"too long", map[string]string{"shop.toml": head + "extends = \"b.toml\"\n", "b.toml": head + "extends = \"c.toml\"\n", "c.toml": head}, "extends once", false},
		{"missing", map[string]string{"shop.toml": head + "extends = \"b.toml\"\n"}, "no such file", true},
		{"broken", map[string]string{"shop.toml": head + "[limits.\"PBF-LB/M\"]\nwall.thickness = 4\n"}, "an error in line 4", false},
		{"very broken", map[string]string{"shop.toml": head + "x = 1\ny = 2\n"}, "2 errors, the first in line 3", false},
		{"broken base", map[string]string{"shop.toml": head + "extends = \"b.toml\"\n", "b.toml": head + "x = 1\n"}, "an error in line 3", false},
		{"encoding", map[string]string{"shop.toml": "\xff\xfes\x00c\x00"}, "error", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, Options{})
			for name, text := range c.files {
				if err := os.WriteFile(b.path(name), []byte(text), 0o666); err != nil {
					t.Fatal(err)
				}
			}
			r := b.full()
			var told []string
			for _, f := range r.Findings {
				if f.Check == "spec" {
					told = append(told, f.Message)
				}
			}
			if len(told) != 1 || !strings.Contains(told[0], c.want) {
				t.Errorf("told %q, want one that has %q", told, c.want)
			}
			if (r.Status == Unchecked) != c.unchecked {
				t.Errorf("status %s, failures %v", r.Status, r.Failures)
			}
			if !slices.Contains(checksOf(r), "overhang") {
				t.Error("the part was not judged")
			}
		})
	}
}

// A shop file's own report: its text, and names that no file describes.
func TestShopFileReport(t *testing.T) {
	b := newBench(t, Options{})
	b.write("shop.toml", "schema = 1\nshop = \"S\"\nextends = \"nowhere.toml\"\n[limits.\"PBF-LB/M\".material.AlSi10Mgg]\nwall.thickness = \"1 mm\"\n[limits.\"PBF-LB/M\".machine.bey]\nwall.thickness = \"1 mm\"\n"+
		"[[machine]]\nname = \"bay\"\nprocess = \"PBF-LB/M\"\nmaterials = [\"316L\", \"317L\"]\nbuild = { diameter = \"100 mm\", z = \"100 mm\" }\n")
	r := b.ShopFile(t.Context(), b.path("shop.toml"))
	var got []string
	for _, f := range r.Findings {
		got = append(got, string(f.Level)+" "+f.Message)
	}
	want := []string{"error Shop file \"nowhere.toml\" can't be extended", "did you mean \"AlSi10Mg\"", "did you mean \"bay\"", "did you mean \"316L\""}
	if len(got) != len(want) {
		t.Fatalf("findings %q", got)
	}
	for i := range want {
		if !strings.Contains(got[i], want[i]) {
			t.Errorf("%q, want %q", got[i], want[i])
		}
	}
	if r := b.ShopFile(t.Context(), b.path("none.toml")); len(r.Failures) != 1 || r.File != nil {
		t.Errorf("a file that is not there: %+v", r)
	}
}
