package rules

import (
	"context"
	"strings"
	"testing"

	"corbel/spec"
)

// What a shop file can't mean is said where it stands.
func TestShopSense(t *testing.T) {
	const machine = "[[machine]]\nname = \"m\"\nprocess = \"BJT/M\"\nbuild = { x = \"200 mm\", y = \"100 mm\", z = \"200 mm\" }\n"
	const round = "[[machine]]\nname = \"m\"\nprocess = \"BJT/M\"\nbuild = { diameter = \"100 mm\", z = \"200 mm\" }\n"
	for _, c := range []struct{ name, text, want string }{
		{"no density", "[[material]]\nname = \"Alloy X\"\nprice = 3.0\n", "Material \"Alloy X\" has no density"},
		{"density", "[[material]]\nname = \"Alloy X\"\ndensity = \"8 g/cm3\"\n", ""},
		{"density in kg/m3", "[[material]]\nname = \"Alloy X\"\ndensity = \"7900 kg/m3\"\n", ""},
		{"density of no metal", "[[material]]\nname = \"Alloy X\"\ndensity = \"7900 g/cm3\"\n", "Density of 7900 g/cm3 of material \"Alloy X\" is that of no metal"},
		{"density of air", "[[material]]\nname = \"Alloy X\"\ndensity = \"1.2 kg/m3\"\n", "is that of no metal"},
		{"density of the built-in file", "[[material]]\nname = \"316L\"\nprice = 3.0\n", ""},
		{"margin", machine + "margin = \"50 mm\"\n", "leaves nothing of the 100 mm in y"},
		{"margin of a round platform", round + "margin = \"60 mm\"\n", "in diameter"},
		{"room", machine + "margin = \"49 mm\"\n", ""},
		{"takes nothing", machine + "materials = []\n", "takes no material"},
		{"another process", "[limits.\"PBF-LB/M\".machine.m]\nwall.thickness = \"0.5 mm\"\n" + machine, "never hold: machine \"m\" runs BJT/M"},
		{"its process", "[limits.\"BJT/M\".machine.m]\nwall.thickness = \"0.5 mm\"\n" + machine, ""},
		{"looser than its reason", "[limits.\"PBF-LB/M\"]\nwall.thickness = { value = \"0.3 mm\", source = \"walls under 0.4 mm tear\" }\n", "looser than its own reason, which names 0.4 mm"},
		{"in another unit", "[limits.\"PBF-LB/M\"]\nwall.thickness = { value = \"0.3 mm\", source = \"walls under 400 um tear\" }\n", "names 400 um"},
		{"a range", "[limits.\"PBF-LB/M\"]\nwall.thickness = { value = \"0.4 mm\", source = \"0.3 to 0.5 mm\" }\n", ""},
		{"as its reason", "[limits.\"PBF-LB/M\"]\nwall.thickness = { value = \"0.4 mm\", source = \"walls under 0.4 mm tear\" }\n", ""},
		{"an upper limit", "[limits.\"PBF-LB/M\"]\noverhang.bridge = { value = \"3 mm\", source = \"sags from 2 mm\" }\n", "names 2 mm"},
		{"about something else", "[limits.\"PBF-LB/M\"]\nhole.roof = { value = \"6 mm\", source = \"sag under 0.2 mm\" }\n", ""},
		{"another kind", "[limits.\"PBF-LB/M\"]\noverhang.angle = { value = \"40 deg\", source = \"at 50 um layers\" }\n", ""},
	} {
		const file = "shop.toml"
		text := "schema = 1\nshop = \"Test\"\n" + c.text
		e := New(Options{ReadFile: func(_, _ string) ([]byte, error) { return []byte(text), nil }})
		r := e.ShopFile(context.Background(), file)
		var said []string
		for _, f := range r.Findings {
			said = append(said, f.Message)
			if f.Where.At == (spec.Range{}) || f.Fingerprint == "" || f.Help == "" {
				t.Errorf("%s: %q has no place, name or help", c.name, f.Message)
			}
		}
		all := strings.Join(said, "\n")
		if c.want == "" && all != "" || !strings.Contains(all, c.want) || len(said) > 1 {
			t.Errorf("%s: want %q, have\n%s", c.name, c.want, all)
		}
	}
}

// The built-in file follows from its own reasons.
func TestBuiltinMakesSense(t *testing.T) {
	for _, f := range shopSense(builtinShop(), newShop()) {
		t.Errorf("line %d: %s", lineOf(builtinShop().Doc, f.Where.At.Start), f.Message)
	}
}
