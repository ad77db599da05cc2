package rules

import (
	"fmt"
	"slices"
	"strings"

	"corbel/spec"
)

// Spec describes the findings about the text itself. The text is judged while
// it is read; the driver adds what needs the shop, the files and the waivers.
var Spec = &Check{
	Name:    "spec",
	Summary: "The text can be understood, names what exists, loosens nothing without leave, and waives only what may be waived.",
	Why: "A part is judged by what its spec says. A misspelt key, a missing unit, an unknown machine or a waiver that nobody renewed means that " +
		"the part is judged by something else than its owner thinks.",
	Wrong: "A limit that was meant to hold does not; a finding that was accepted for a reason stays accepted after the reason is gone.",
	Sources: []Source{
		{"quantities carry their unit: a bare number is the usual cause of a part 25.4 times too small", "common practice, no source"},
	},
}

// specFinding is a finding of the text of a part spec.
func specFinding(part *spec.Part, level Level, key string, at spec.Range, message, help string) Finding {
	return Finding{Check: Spec.Name, Level: level, Message: message, Help: help, Count: 1, feature: key,
		Where: Location{File: part.File, Key: key, At: at}}
}

// problemFindings turns problems of the text into findings.
func problemFindings(file string, problems []spec.Problem) []Finding {
	var out []Finding
	for _, p := range problems {
		out = append(out, Finding{Check: Spec.Name, Level: Level(p.Level), Message: p.Message, Help: p.Help, Count: 1, Fixes: p.Fixes,
			feature: p.Key, Where: Location{File: file, Key: p.Key, At: p.At}})
	}
	return out
}

// nameFindings holds the names of a spec against the shop.
func nameFindings(part *spec.Part, shop *Shop) []Finding {
	var out []Finding
	if m := part.Material; m.Set {
		if _, ok := shop.Material(m.V); !ok {
			out = append(out, unknownName(part, "material", m, shop.Materials(),
				"Describe it in a [[material]] of the shop file, or use one of: "+strings.Join(shop.Materials(), ", ")+"."))
		}
	}
	if part.Machine.Set {
		out = append(out, machineFindings(part, shop)...)
	}
	return out
}

func unknownName(part *spec.Part, key string, v spec.Value[string], known []string, help string) Finding {
	f := specFinding(part, Error, key, v.At, fmt.Sprintf("%s %q is not known.", upperFirst(key), v.V), help)
	if meant := spec.Nearest(v.V, known); meant != "" {
		f.Message = fmt.Sprintf("%s %q is not known; did you mean %q?", upperFirst(key), v.V, meant)
		f.Fixes = []spec.Fix{{Title: fmt.Sprintf("Change to %q", meant), At: v.At, Text: fmt.Sprintf("%q", meant)}}
	}
	return f
}

func machineFindings(part *spec.Part, shop *Shop) []Finding {
	name := part.Machine
	var known []string
	for _, m := range shop.Machines() {
		known = append(known, m.Name.V)
	}
	m, ok := shop.Machine(name.V)
	if !ok {
		help := "Use one of: " + strings.Join(known, ", ") + "."
		if len(known) == 0 {
			help = "No shop file in force names a machine: put a shop.toml with a [[machine]] in this folder or above, or name one with shop."
		}
		return []Finding{unknownName(part, "machine", name, known, help)}
	}
	var out []Finding
	related := []Related{{Location{m.File, "machine", m.Name.At}, "the machine"}}
	if part.Process.Set && m.Process.Set && m.Process.V != part.Process.V {
		f := specFinding(part, Error, "machine", name.At,
			fmt.Sprintf("Machine %q runs %s, and the part is made by %s.", name.V, m.Process.V, part.Process.V),
			"Choose "+others(shop, part, func(o Machine) bool { return o.Process.V == part.Process.V })+", or change the process.")
		f.Related = related
		out = append(out, f)
	}
	if part.Material.Set && !m.Takes(part.Material.V) {
		f := specFinding(part, Error, "machine", name.At,
			fmt.Sprintf("Machine %q does not run %s.", name.V, part.Material.V),
			"Choose "+others(shop, part, func(o Machine) bool { return o.Process.V == part.Process.V && o.Takes(part.Material.V) })+", or change the material.")
		f.Related = related
		out = append(out, f)
	}
	return out
}

// others names the machines that would do.
func others(shop *Shop, part *spec.Part, fits func(Machine) bool) string {
	var names []string
	for _, m := range shop.Machines() {
		if fits(m) {
			names = append(names, fmt.Sprintf("%q", m.Name.V))
		}
	}
	if len(names) == 0 {
		return "another machine"
	}
	return strings.Join(names, " or ")
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// shopNameFindings holds the names of a shop file against itself and what it
// extends: limits for a material or machine that no file describes never apply.
func shopNameFindings(file *spec.Shop, shop *Shop) []Finding {
	var out []Finding
	materials := shop.Materials()
	var machines []string
	for _, m := range shop.Machines() {
		machines = append(machines, m.Name.V)
	}
	unknown := func(what string, v spec.Value[string], known []string, key string) {
		if !v.Set || slices.Contains(known, v.V) {
			return
		}
		f := Finding{Check: Spec.Name, Level: Warning, Count: 1, feature: key, Where: Location{file.File, key, v.At},
			Message: fmt.Sprintf("No file in force describes the %s %q.", what, v.V),
			Help:    fmt.Sprintf("Add a [[%s]] of this name, or correct the name.", what)}
		if meant := spec.Nearest(v.V, known); meant != "" {
			f.Message = fmt.Sprintf("No file in force describes the %s %q; did you mean %q?", what, v.V, meant)
			f.Fixes = []spec.Fix{{Title: fmt.Sprintf("Change to %q", meant), At: v.At, Text: fmt.Sprintf("%q", meant)}}
		}
		out = append(out, f)
	}
	for _, s := range file.Limits {
		unknown("material", s.Material, materials, "limits")
		unknown("machine", s.Machine, machines, "limits")
	}
	for i := range file.Machines {
		for _, v := range file.Machines[i].Materials.V {
			v.Set = true
			unknown("material", v, materials, "machine.materials")
		}
	}
	return out
}
