package rules

import "corbel/spec"

// Caution is a note where ignoring a finding, or following it carelessly,
// could hurt someone: what can happen, what to do, who decides. It defers to
// local codes and qualified people and is printed once per report.
type Caution struct {
	Name string // short and stable: "reactive-void"
	Text string
	Why  string // sources
}

// GeneralNote stands in every report.
const GeneralNote = "Geometry check only. It does not judge strength, fatigue, leak tightness, process capability, or safety in use. " +
	"A clean report is not an approval. Have a qualified engineer review parts whose failure could hurt someone."

// The cautions. Status of the sources as in the checks.
var (
	cautionReactiveVoid = Caution{"reactive-void",
		"This part has a closed cavity that will hold loose, combustible metal powder. Do not drill, saw, grind or cut it open without a procedure " +
			"written for combustible metal dust: sparks or static can ignite the powder. Add outlets in the design instead. " +
			"Ask your fire-safety officer; follow your local combustible-dust code.",
		"OSHA news release 14-817-BOS, 2014 (published, read); Benson 2012, J South Afr Inst Min Metall 112 (published, read); NFPA 484, ATEX 1999/92/EC and 2014/34/EU (published, from memory)"}
	cautionVoid = Caution{"closed-void",
		"Loose powder will stay inside this cavity. Cutting it open releases fine metal dust: use extraction, skin and breathing protection as the powder's " +
			"safety data sheet says. Nickel and cobalt powders can sensitise and are suspected or known to cause cancer. Ask a qualified person before it is opened.",
		"NIOSH publication 2020-114 (published, read); cancer classification (published, from memory)"}
	cautionHeat = Caution{"heat-with-powder",
		"Remove powder before stress relief, hot isostatic pressing or sintering. Heat bonds powder in place, and a sealed space can build pressure or burst. " +
			"Confirm removal by weighing, borescope, flow test or computed tomography before the furnace; a qualified person decides.",
		"order of work, common practice, no source; Tammas-Williams et al. 2016, Metall Mater Trans A (published, read)"}
	cautionSealedGas = Caution{"sealed-gas",
		"A sealed cavity traps gas; heating it raises the pressure, about threefold from room temperature to 600 degC in a rigid volume. Vent it, or have a qualified engineer judge it.",
		"ideal gas: 873 K / 293 K = 2.98"}
	cautionGreen = Caution{"green-part",
		"Unsintered parts break easily and shed powder. Debinding gives off fumes and flammable or acid vapours: use the furnace and extraction made for it, as its maker and your local rules say.",
		"common practice, no source"}
	cautionInertGas = Caution{"inert-gas",
		"Argon, nitrogen and helium displace air. A leak in a small room can make people pass out without warning. Follow the site's oxygen-monitoring and confined-space rules.",
		"OSHA oxygen-deficiency limit 19.5 %; US Chemical Safety Board nitrogen bulletin 2003 (published, from memory)"}
	cautionSoot = Caution{"filter-soot",
		"Soot in filters and pipes can catch fire on contact with air. Follow the machine maker's wet or passivated filter-change procedure; never use an ordinary vacuum cleaner.",
		"NIOSH publication 2020-114 (published, read); behaviour of condensate (published, from memory)"}
	cautionWater = Caution{"metal-fire",
		"Do not use water or CO2 on burning titanium or aluminium powder. Keep a class D extinguishant at hand and call the fire service.",
		"class D practice (published, from memory)"}
	cautionSharp = Caution{"sharp-edges",
		"As-built edges, support teeth and wire cuts are sharp. Wear cut-resistant gloves and eye protection. Parts can spring when cut from the platform: " +
			"stress-relieve first, clamp, stand clear.",
		"ASTM F3301 introduction (published, read); the rest common practice, no source"}
	cautionCriticalUse = Caution{"critical-use",
		"This use is covered by law and by standards the tool does not know. Do not release on this report. Needed: qualified engineering review, material and " +
			"process qualification, inspection and proof testing as your authority or standard demands.",
		"NASA-STD-6030, MSFC-STD-3716 (front matter published, read)"}
	cautionLeak = Caution{"leak",
		"Thin as-built walls can be porous. Geometry above the least wall does not show that it holds pressure. Proof and leak test by qualified people, with liquid where possible.",
		"common practice, no source"}
	cautionBore = Caution{"bores",
		"Do not rely on as-built threads or lifting points. Machine and test them, as a qualified person asks.",
		"common practice, no source"}
	cautionToxic = Caution{"toxic-metal",
		"Special health rules apply to this alloy's powder and dust. Check the safety data sheet and your local limits before ordering.",
		"common practice, no source"}
	cautionEstimate = Caution{"estimate", "Planning figure, not an offer.", ""}
)

// Cautions returns every caution, for the manual.
func Cautions() []Caution {
	return []Caution{cautionReactiveVoid, cautionVoid, cautionHeat, cautionSealedGas, cautionGreen, cautionInertGas, cautionSoot,
		cautionWater, cautionSharp, cautionCriticalUse, cautionLeak, cautionBore, cautionToxic, cautionEstimate}
}

// cautionText joins the cautions of a finding.
func cautionText(cs []Caution) string {
	s := ""
	for i, c := range cs {
		if i > 0 {
			s += " "
		}
		s += c.Text
	}
	return s
}

// cautionsOf returns the cautions of a report, each once, in their order: those
// of its findings, and those that process, material and use call for.
func cautionsOf(r *PartReport) []Caution {
	want := map[string]bool{}
	for i := range r.Findings {
		for _, c := range r.Findings[i].caution {
			want[c.Name] = true
		}
	}
	p := r.Spec
	switch p.Process.V {
	case LaserPBF, BeamPBF:
		want[cautionInertGas.Name] = true
	case BinderJet, Extrusion:
		want[cautionGreen.Name] = true
	}
	m, _ := r.Shop.Material(p.Material.V)
	want[cautionWater.Name] = m.Reactive
	want[cautionSoot.Name] = m.Reactive && cleaned(p)
	want[cautionToxic.Name] = toxic[p.Material.V]
	// Without a use it is general; one that was written but is not known may be any.
	want[cautionCriticalUse.Name] = p.Use.V != "general" && p.Use.At != (spec.Range{})
	var out []Caution
	for _, c := range Cautions() {
		if want[c.Name] {
			out = append(out, c)
		}
	}
	return out
}

// toxic alloys by name: nickel and cobalt sensitise (NIOSH 2020-114).
var toxic = map[string]bool{"IN718": true, "IN625": true, "CoCr": true, "18Ni300": true}
