package rules

import (
	_ "embed"
	"slices"
	"sort"
	"sync"

	"corbel/spec"
)

// BuiltinFile is the name of the embedded shop file in origins and locations.
const BuiltinFile = "builtin.toml"

//go:embed builtin.toml
var builtinText []byte

// BuiltinText returns the embedded shop file.
func BuiltinText() []byte { return slices.Clone(builtinText) }

var builtinShop = sync.OnceValue(func() *spec.Shop {
	s, _ := spec.ParseShop(BuiltinFile, builtinText) // a test holds it free of problems
	return s
})

// Shop is the built-in file and a shop chain, merged: the strongest file last.
type Shop struct {
	Chain []*spec.Shop // built-in first, then what the shop file extends, then the shop file
	Path  string       // of the shop file; empty where only the built-in file is in force
}

// newShop puts a chain (weakest first) over the built-in file.
func newShop(chain ...*spec.Shop) *Shop {
	s := &Shop{Chain: append([]*spec.Shop{builtinShop()}, chain...)}
	if n := len(chain); n > 0 {
		s.Path = chain[n-1].File
	}
	return s
}

// Machine is a machine and the file that names it.
type Machine struct {
	*spec.Machine
	File string
	Doc  *spec.Doc
}

// Machines returns the machines, those of the shop file first; a name that two
// files give belongs to the stronger one.
func (s *Shop) Machines() []Machine {
	var out []Machine
	seen := map[string]bool{}
	for _, file := range slices.Backward(s.Chain) {
		for i := range file.Machines {
			m := &file.Machines[i]
			if m.Name.Set && !seen[m.Name.V] {
				seen[m.Name.V] = true
				out = append(out, Machine{m, file.File, file.Doc})
			}
		}
	}
	return out
}

// Machine finds a machine by name.
func (s *Shop) Machine(name string) (Machine, bool) {
	for _, m := range s.Machines() {
		if m.Name.V == name {
			return m, true
		}
	}
	return Machine{}, false
}

// Takes reports whether a machine builds a material: one that names none takes all.
func (m Machine) Takes(material string) bool {
	return !m.Materials.Set || slices.ContainsFunc(m.Materials.V, func(v spec.Value[string]) bool { return v.V == material })
}

// Material is a material as the layers give it; each fact knows where it came from.
type Material struct {
	Name        string
	Density     Fact // g/cm3
	Price       Fact // currency per kg
	BuildRate   Fact // cm3/h
	ShrinkageXY Fact // share of the green length
	ShrinkageZ  Fact
	Packing     Fact // share of solid in loose powder
	Reactive    bool // fine powder of it burns readily
	Origin      Origin
}

// Fact is a number of a material; Set is false where no file gives it.
type Fact struct {
	V    float64
	Set  bool
	From Origin
}

// Materials returns the names of the materials, sorted.
func (s *Shop) Materials() []string {
	var out []string
	for _, file := range s.Chain {
		for _, m := range file.Materials {
			if m.Name.Set && !slices.Contains(out, m.Name.V) {
				out = append(out, m.Name.V)
			}
		}
	}
	sort.Strings(out)
	return out
}

// Material merges the entries of a material, key by key, the strongest file last.
func (s *Shop) Material(name string) (Material, bool) {
	out := Material{Name: name}
	found := false
	for _, file := range s.Chain {
		for i := range file.Materials {
			if m := &file.Materials[i]; m.Name.Set && m.Name.V == name {
				found = true
				out.overlay(file, m)
			}
		}
	}
	return out, found
}

func (m *Material) overlay(file *spec.Shop, e *spec.Material) {
	origin := func(key, at spec.Range) Origin {
		return newOrigin(file, "material", key, at, e.Source.V)
	}
	quantity := func(f *Fact, v spec.Value[spec.Quantity]) {
		if v.Set {
			*f = Fact{v.V.V, true, origin(v.Key, v.At)}
		}
	}
	number := func(f *Fact, v spec.Value[float64]) {
		if v.Set {
			*f = Fact{v.V, true, origin(v.Key, v.At)}
		}
	}
	quantity(&m.Density, e.Density)
	quantity(&m.BuildRate, e.BuildRate)
	number(&m.Price, e.Price)
	number(&m.ShrinkageXY, e.ShrinkageXY)
	number(&m.ShrinkageZ, e.ShrinkageZ)
	number(&m.Packing, e.Packing)
	if e.Reactive.Set {
		m.Reactive = e.Reactive.V
	}
	m.Origin = origin(e.Name.Key, e.Name.At)
}

// newOrigin places a value of a shop file; everything in the embedded file is
// of the weakest layer, whatever table it stands in.
func newOrigin(file *spec.Shop, layer string, key, at spec.Range, source string) Origin {
	if file.File == BuiltinFile {
		layer = "built-in"
	}
	return Origin{Layer: layer, File: file.File, Line: lineOf(file.Doc, at.Start), At: spec.Range{Start: key.Start, End: at.End}, Source: source}
}

func lineOf(d *spec.Doc, offset int) int {
	if d == nil {
		return 1
	}
	return d.Position(offset).Line
}

// Currency of the prices and rates; empty where no file names one.
func (s *Shop) Currency() string {
	for _, file := range slices.Backward(s.Chain) {
		if file.Currency.Set {
			return file.Currency.V
		}
	}
	return ""
}

// Policy is what a shop allows a part spec, each key from the strongest file
// that gives it.
type Policy struct {
	Waivable   []string
	Loosen     []string
	WaiverDays int
	// WaivableFrom and the others say where the value stands.
	WaivableFrom, LoosenFrom, WaiverDaysFrom Origin
}

// Policy merges the files' policies.
func (s *Shop) Policy() Policy {
	var p Policy
	for _, file := range s.Chain {
		f := file.Policy
		if f.Waivable.Set {
			p.Waivable = words(f.Waivable.V)
			p.WaivableFrom = newOrigin(file, "shop", f.Waivable.Key, f.Waivable.At, "")
		}
		if f.Loosen.Set {
			p.Loosen = words(f.Loosen.V)
			p.LoosenFrom = newOrigin(file, "shop", f.Loosen.Key, f.Loosen.At, "")
		}
		if f.WaiverDays.Set {
			p.WaiverDays = f.WaiverDays.V
			p.WaiverDaysFrom = newOrigin(file, "shop", f.WaiverDays.Key, f.WaiverDays.At, "")
		}
	}
	return p
}

func words(vs []spec.Value[string]) []string {
	out := make([]string, 0, len(vs))
	for _, v := range vs {
		out = append(out, v.V)
	}
	return out
}

// Level returns the level of a check and where it was set.
func (s *Shop) Level(check string) (Level, Origin) {
	level, from := Warning, Origin{}
	for _, file := range s.Chain {
		for _, e := range file.Levels {
			if e.Check.V == check && e.Level.Set {
				level = Level(e.Level.V)
				from = newOrigin(file, "shop", e.Level.Key, e.Level.At, "")
			}
		}
	}
	return level, from
}

// DefaultLevel is the level of a check where no shop says another.
func DefaultLevel(check string) Level {
	level, _ := newShop().Level(check)
	return level
}
