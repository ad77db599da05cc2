package rules

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"corbel/spec"
)

// This file looks for what a shop file can say in good words and can't mean:
// its text, units and names are held elsewhere.

// shopSense holds a shop file against itself and what it extends.
func shopSense(file *spec.Shop, shop *Shop) []Finding {
	s := &senses{file: file, shop: shop}
	s.materials()
	s.machines()
	for i := range file.Limits {
		s.limits(&file.Limits[i])
	}
	return s.out
}

type senses struct {
	file *spec.Shop
	shop *Shop
	out  []Finding
}

func (s *senses) add(level Level, key string, at spec.Range, message, help string) {
	s.out = append(s.out, Finding{Check: Spec.Name, Level: level, Message: message, Help: help, Count: 1, feature: key,
		Where: Location{File: s.file.File, Key: key, At: at}})
}

// materials: without a density nobody knows what a part weighs, what powder it
// traps, and what it costs.
func (s *senses) materials() {
	for i := range s.file.Materials {
		m := &s.file.Materials[i]
		if !m.Name.Set {
			continue
		}
		if all, _ := s.shop.Material(m.Name.V); !all.Density.Set {
			s.add(Warning, "material.name", m.Name.At, fmt.Sprintf("Material %q has no density, so mass, trapped powder and cost of its parts stay unknown.", m.Name.V),
				`Write density, such as density = "7.9 g/cm3".`)
		}
		if d := m.Density; d.Set && (d.V.V < leastDensity || d.V.V > mostDensity) {
			s.add(Warning, "material.density", d.At, fmt.Sprintf("Density of %s of material %q is that of no metal, so mass, trapped powder and cost of its parts come out wrong.", sayQuantity(d.V), m.Name.V),
				"Correct the number or its unit: steel has 7.9 g/cm3, which is 7900 kg/m3.")
		}
	}
}

// Lithium and osmium, in g/cm3, with room for rounding (CRC Handbook of
// Chemistry and Physics: 0.534 and 22.59, from memory): no metal lies beyond.
const (
	leastDensity = 0.5
	mostDensity  = 23.0
)

func (s *senses) machines() {
	for i := range s.file.Machines {
		m := &s.file.Machines[i]
		if !m.Name.Set {
			continue
		}
		s.room(m)
		if m.Materials.Set && len(m.Materials.V) == 0 {
			s.add(Warning, "machine.materials", m.Materials.At, fmt.Sprintf("Machine %q takes no material, so no part can be made on it.", m.Name.V),
				"Name its materials, or remove the key: then it takes all.")
		}
	}
}

// room: margins that leave nothing of a platform.
func (s *senses) room(m *spec.Machine) {
	if !m.Margin.Set {
		return
	}
	for _, d := range []struct {
		what  string
		v     spec.Value[spec.Quantity]
		sides float64
	}{{"x", m.Build.X, 2}, {"y", m.Build.Y, 2}, {"diameter", m.Build.Diameter, 2}} {
		if d.v.Set && d.sides*m.Margin.V.V >= d.v.V.V {
			s.add(Error, "machine.margin", m.Margin.At, fmt.Sprintf("A margin of %s on both sides leaves nothing of the %s in %s of machine %q.",
				sayQuantity(m.Margin.V), sayQuantity(d.v.V), d.what, m.Name.V), "Correct the margin or the build size.")
			return
		}
	}
}

func (s *senses) limits(set *spec.LimitSet) {
	if m, ok := s.shop.Machine(set.Machine.V); ok && set.Machine.Set && m.Process.Set && set.Process.Set && m.Process.V != set.Process.V {
		s.add(Warning, "limits", set.Machine.At, fmt.Sprintf("These limits never hold: machine %q runs %s, and they are for %s.", set.Machine.V, m.Process.V, set.Process.V),
			fmt.Sprintf("Move them to [limits.%q.machine.%q], or correct the name.", m.Process.V, set.Machine.V))
	}
	for _, e := range set.Limits {
		i := slices.IndexFunc(spec.Limits, func(l spec.LimitInfo) bool { return l.Name == e.Name })
		if i < 0 || !e.Value.Set || e.Value.V.Dim != spec.Limits[i].Dim {
			continue
		}
		if q, looser := looserThanReason(&spec.Limits[i], e.Value.V, e.Source.V); looser {
			s.add(Warning, "limits."+e.Name, e.Value.At, fmt.Sprintf("%s of %s is looser than its own reason, which names %s.", e.Name, sayQuantity(e.Value.V), q),
				"Tighten the limit to its reason, or say in the reason why it is looser.")
		}
	}
}

// reasonNumber finds "0.4 mm" and "0.3 to 0.5 mm" in a reason.
var reasonNumber = regexp.MustCompile(`(?:([0-9]+(?:\.[0-9]+)?) (?:to|-) )?([0-9]+(?:\.[0-9]+)?) ?(mm2|mm|um|deg)\b`)

// reasonSpan is how far a number of a reason may lie from the limit to be
// about it: "50 um layers" is no reason for a hole of 0.6 mm to be smaller.
const reasonSpan = 3.0

// looserThanReason reports whether a reason names values of the limit's kind
// that are all tighter than the limit: then the limit does not follow from it.
// A reason that calls itself common practice rests on no value that it names.
func looserThanReason(def *LimitDef, value spec.Quantity, reason string) (string, bool) {
	if strings.Contains(reason, "common practice") {
		return "", false
	}
	nearest, found := "", false
	for _, m := range reasonNumber.FindAllStringSubmatch(reason, -1) {
		for _, number := range m[1:3] {
			if number == "" {
				continue
			}
			q, err := spec.ParseQuantity(number+" "+m[3], def.Dim)
			if err != nil || q.V <= 0 || value.V <= 0 || math.Abs(math.Log(q.V/value.V)) > math.Log(reasonSpan) {
				continue
			}
			if !def.TighterThan(q.V, value.V) || math.Abs(q.V-value.V) <= equalErr(value.V) {
				return "", false
			}
			if !found {
				nearest, found = number+" "+m[3], true
			}
		}
	}
	return strings.TrimSpace(nearest), found
}
