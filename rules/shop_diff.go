package rules

import (
	"fmt"
	"slices"
	"strings"

	"corbel/spec"
)

// This file says what differs between two shops: the limits in force, not the
// lines of the files, so that a value that moved from one layer to another and
// stayed the same is no difference.

// LimitChange is a limit that two shops give different values.
type LimitChange struct {
	Process, Material, Machine string // the narrowest that is named is what it holds for
	Old, New                   Limit  // Set is false where a shop gives none
}

// Tighter reports whether the new value is stricter; a limit that only one
// shop has is stricter where it is there.
func (c *LimitChange) Tighter() bool {
	if !c.Old.Set || !c.New.Set {
		return c.New.Set
	}
	return c.New.Def.TighterThan(c.New.V, c.Old.V)
}

// ShopChange is another difference: a level, a policy, a machine or a material.
type ShopChange struct {
	What     string // "level of wall", "policy.waivable", "machine m"
	Old, New string // empty where it is not there
}

// DiffShops compares two shops: for every process, then for the materials and
// machines whose limits changed in another way than their process's.
func DiffShops(a, b *Shop) ([]LimitChange, []ShopChange) {
	var out []LimitChange
	for _, p := range spec.Processes {
		process := p.Value
		wide := diffLimits(a, b, process, "", "")
		out = append(out, wide...)
		for _, m := range union(a.Materials(), b.Materials()) {
			out = append(out, narrower(wide, diffLimits(a, b, process, m, ""))...)
		}
		for _, m := range union(machineNames(a, process), machineNames(b, process)) {
			out = append(out, narrower(wide, diffLimits(a, b, process, "", m))...)
		}
	}
	return out, diffRest(a, b)
}

func diffLimits(a, b *Shop, process, material, machine string) []LimitChange {
	set := func(v string) spec.Value[string] { return spec.Value[string]{V: v, Set: v != ""} }
	part := &spec.Part{Process: set(process), Material: set(material), Machine: set(machine), Doc: &spec.Doc{}}
	old, _ := resolveLimits(a, part)
	now, _ := resolveLimits(b, part)
	var out []LimitChange
	for i := range now.All {
		x, y := old.All[i], now.All[i]
		if x.Set != y.Set || x.Set && x.V != y.V {
			out = append(out, LimitChange{process, material, machine, x, y})
		}
	}
	return out
}

// narrower leaves out what a wider change says already.
func narrower(wide, changes []LimitChange) []LimitChange {
	return slices.DeleteFunc(changes, func(c LimitChange) bool {
		return slices.ContainsFunc(wide, func(w LimitChange) bool {
			return w.New.Def == c.New.Def && w.Old.Set == c.Old.Set && w.New.Set == c.New.Set && w.Old.V == c.Old.V && w.New.V == c.New.V
		})
	})
}

func diffRest(a, b *Shop) []ShopChange {
	var out []ShopChange
	add := func(what, old, now string) {
		if old != now {
			out = append(out, ShopChange{what, old, now})
		}
	}
	for _, c := range checks {
		x, _ := a.Level(c.Name)
		y, _ := b.Level(c.Name)
		add("level of "+c.Name, string(x), string(y))
	}
	p, q := a.Policy(), b.Policy()
	add("policy.waivable", strings.Join(p.Waivable, ", "), strings.Join(q.Waivable, ", "))
	add("policy.loosen", strings.Join(p.Loosen, ", "), strings.Join(q.Loosen, ", "))
	add("policy.waiver-days", fmt.Sprint(p.WaiverDays), fmt.Sprint(q.WaiverDays))
	for _, m := range union(machineNames(a, ""), machineNames(b, "")) {
		add("machine "+m, sayMachine(a, m), sayMachine(b, m))
	}
	for _, m := range union(a.Materials(), b.Materials()) {
		add("material "+m, sayMaterial(a, m), sayMaterial(b, m))
	}
	return out
}

func machineNames(s *Shop, process string) []string {
	var out []string
	for _, m := range s.Machines() {
		if process == "" || m.Process.V == process {
			out = append(out, m.Name.V)
		}
	}
	return out
}

// union is the names of both lists, sorted.
func union(a, b []string) []string {
	out := slices.Concat(a, b)
	slices.Sort(out)
	return slices.Compact(out)
}

// sayMachine lists what checks and estimates read of a machine; empty where it
// is not there.
func sayMachine(s *Shop, name string) string {
	m, ok := s.Machine(name)
	if !ok {
		return ""
	}
	words := []string{m.Process.V}
	for _, v := range m.Materials.V {
		words = append(words, v.V)
	}
	for _, v := range []struct {
		name string
		q    spec.Value[spec.Quantity]
	}{{"x", m.Build.X}, {"y", m.Build.Y}, {"diameter", m.Build.Diameter}, {"z", m.Build.Z}, {"margin", m.Margin}, {"layer", m.Layer}, {"recoat", m.Recoat},
		{"setup", m.Setup}, {"build-rate", m.BuildRate}, {"contour", m.Contour}, {"spacing", m.Spacing}} {
		if v.q.Set {
			words = append(words, v.name+" "+sayQuantity(v.q.V))
		}
	}
	if m.Rate.Set {
		words = append(words, fmt.Sprintf("rate %g", m.Rate.V))
	}
	if m.Gas.Set {
		words = append(words, fmt.Sprintf("gas %g", m.Gas.V))
	}
	return strings.Join(words, ", ")
}

func sayMaterial(s *Shop, name string) string {
	m, ok := s.Material(name)
	if !ok {
		return ""
	}
	var words []string
	for _, v := range []struct {
		name, unit string
		f          Fact
	}{{"density", " g/cm3", m.Density}, {"price", "", m.Price}, {"build-rate", " cm3/h", m.BuildRate}, {"shrinkage-xy", "", m.ShrinkageXY},
		{"shrinkage-z", "", m.ShrinkageZ}, {"packing", "", m.Packing}} {
		if v.f.Set {
			words = append(words, fmt.Sprintf("%s %g%s", v.name, v.f.V, v.unit))
		}
	}
	return strings.Join(words, ", ")
}
