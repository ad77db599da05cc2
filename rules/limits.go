package rules

import "corbel/spec"

// BuiltinFile is the name of the embedded shop file in origins and locations.
const BuiltinFile = "builtin.toml"

// Limits holds the effective limits of one process, material and machine.
type Limits struct {
	Process, Material, Machine string
	All                        []Limit // in the order of the checks, then as a check lists them
}

// Limit is an effective limit.
type Limit struct {
	Def    *LimitDef
	Check  string
	Set    bool          // false where no layer gives a value for this process
	V      float64       // in the base unit of Def.Dim
	Q      spec.Quantity // as written
	Origin Origin
	Silent string // why the check does not use it here; empty where it does
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
