package rules

import "corbel/spec"

// Shop is the built-in file and a shop chain, merged: the strongest file last.
type Shop struct {
	Chain []*spec.Shop // built-in first, then what the shop file extends, then the shop file
	Path  string       // of the shop file; empty where only the built-in file is in force
}

// Machine is a machine and the file that names it.
type Machine struct {
	*spec.Machine
	File string
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
	Reactive    bool
	Origin      Origin // of the strongest entry
}

// Fact is a number of a material; Set is false where no file gives it.
type Fact struct {
	V    float64
	Set  bool
	From Origin
}

// Machines returns the machines, those of the shop file first.
func (s *Shop) Machines() []Machine { return nil }

// Machine finds a machine by name.
func (s *Shop) Machine(name string) (Machine, bool) { return Machine{}, false }

// Materials returns the names of the materials, sorted.
func (s *Shop) Materials() []string { return nil }

// Material merges the entries of a material for a process.
func (s *Shop) Material(name, process string) (Material, bool) { return Material{}, false }

// Currency of the prices and rates; empty where no file names one.
func (s *Shop) Currency() string { return "" }
