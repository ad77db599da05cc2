package rules

import (
	"fmt"
	"slices"

	"corbel/spec"
)

// Limits holds the effective limits of one process, material and machine.
type Limits struct {
	Process, Material, Machine string
	All                        []Limit // in the order of the language's table
}

// Limit is an effective limit.
type Limit struct {
	Def    *LimitDef
	Check  string
	Set    bool          // false where no layer gives a value for this process
	V      float64       // in the base unit of Def.Dim
	Q      spec.Quantity // as written
	Origin Origin
	Silent string       // why the check does not use it here; empty where it does
	Under  []LimitValue // what weaker layers say, the weakest first

	slack float64 // a measured value this far past it counts as equal, beyond equalErr
}

// LimitValue is what one layer says of a limit.
type LimitValue struct {
	Q      spec.Quantity
	Origin Origin
}

// Get returns a limit by name.
func (l *Limits) Get(name string) (Limit, bool) {
	for i := range l.All {
		if l.All[i].Def.Name == name {
			return l.All[i], true
		}
	}
	return Limit{}, false
}

// layer is one table of limits, weakest first in a list of them.
type layer struct {
	entries []spec.LimitEntry
	origin  func(e spec.LimitEntry) Origin
}

// resolveLimits lays the tables over each other. A part spec may tighten a
// limit; one that loosens it without leave is a finding, and the shop's value
// stays in force.
func resolveLimits(shop *Shop, part *spec.Part) (*Limits, []Finding) {
	l := &Limits{Process: part.Process.V, Material: part.Material.V, Machine: part.Machine.V}
	layers := shopLayers(shop, l)
	policy := shop.Policy()
	var out []Finding
	for i := range spec.Limits {
		def := &spec.Limits[i]
		eff := Limit{Def: def, Check: def.Check()}
		for _, y := range layers {
			if e, ok := entryOf(y.entries, def); ok {
				eff.set(e.Value.V, y.origin(e))
			}
		}
		if def.Name == "envelope.margin" {
			machineMargin(shop, l.Machine, &eff)
		}
		if e, ok := entryOf(part.Limits, def); ok {
			if f, bad := eff.tighten(part, e, policy); bad {
				out = append(out, f)
			}
		}
		eff.Silent = silence(shop, &eff, l)
		l.All = append(l.All, eff)
	}
	return l, out
}

func shopLayers(shop *Shop, l *Limits) []layer {
	var out []layer
	for _, file := range shop.Chain {
		add := func(name string, match func(*spec.LimitSet) bool) {
			for i := range file.Limits {
				set := &file.Limits[i]
				if set.Process.V == l.Process && match(set) {
					out = append(out, layer{set.Limits, func(e spec.LimitEntry) Origin {
						return newOrigin(file, name, e.Key, e.Value.At, e.Source.V)
					}})
				}
			}
		}
		add("shop", func(s *spec.LimitSet) bool { return !s.Material.Set && !s.Machine.Set })
		add("material", func(s *spec.LimitSet) bool { return s.Material.Set && s.Material.V == l.Material })
		add("machine", func(s *spec.LimitSet) bool { return s.Machine.Set && s.Machine.V == l.Machine })
	}
	return out
}

// entryOf finds the value of a limit in a table. A value of another dimension
// is a problem of the text and no value.
func entryOf(entries []spec.LimitEntry, def *LimitDef) (spec.LimitEntry, bool) {
	for _, e := range slices.Backward(entries) {
		if e.Name == def.Name && e.Value.Set && e.Value.V.Dim == def.Dim {
			return e, true
		}
	}
	return spec.LimitEntry{}, false
}

func (l *Limit) set(q spec.Quantity, from Origin) {
	if l.Set {
		l.Under = append(l.Under, LimitValue{l.Q, l.Origin})
	}
	l.Set, l.Q, l.V, l.Origin = true, q, q.V, from
}

// machineMargin lets a machine's own margin stand over the limits of the files.
func machineMargin(shop *Shop, name string, l *Limit) {
	m, ok := shop.Machine(name)
	if !ok || !m.Margin.Set {
		return
	}
	from := Origin{Layer: "machine", File: m.File, Line: lineOf(m.Doc, m.Margin.At.Start), At: m.Margin.At}
	l.set(m.Margin.V, from)
}

// tighten lays the part spec's value over the shop's.
func (l *Limit) tighten(part *spec.Part, e spec.LimitEntry, policy Policy) (Finding, bool) {
	from := Origin{Layer: "part", File: part.File, Line: lineOf(part.Doc, e.Value.At.Start),
		At: spec.Range{Start: e.Key.Start, End: e.Value.At.End}, Source: e.Source.V}
	v := e.Value.V
	looser := l.Set && (l.Def.TighterThan(l.V, v.V))
	if !looser || slices.Contains(policy.Loosen, l.Def.Name) {
		l.set(v, from)
		return Finding{}, false
	}
	f := specFinding(part, Error, "limits."+l.Def.Name, e.Value.At,
		fmt.Sprintf("%s of %s is looser than the %s that %s asks, so %s stays in force.",
			l.Def.Name, sayQuantity(v), sayQuantity(l.Q), sayLayer(l.Origin), sayQuantity(l.Q)),
		"Remove it, tighten it, or ask the shop to name "+l.Def.Name+" in policy.loosen.")
	f.LimitFrom = &l.Origin
	f.Related = []Related{{Location{File: l.Origin.File, At: l.Origin.At}, "the limit in force"}}
	return f, true
}

// silence says why no check uses a limit here, or "".
func silence(shop *Shop, l *Limit, of *Limits) string {
	if !l.Set {
		return "no value for " + of.Process
	}
	why := "no check of this version reads it"
	for _, c := range checks {
		if !slices.Contains(c.Limits, l.Def) {
			continue
		}
		level, _ := shop.Level(c.Name)
		_, known := shop.Machine(of.Machine)
		switch {
		case !c.Applies(of.Process):
			why = c.Elsewhere
		case level == Off:
			why = "the shop has switched " + c.Name + " off"
		case c == Envelope && !known:
			why = "the part names no machine of the shop"
		default:
			return ""
		}
	}
	return why
}
