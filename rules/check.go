package rules

import (
	"corbel/spec"
)

// Check is one rule of design. Its description and its judgement stand
// together; the manual, explain, hover and SARIF come from the description.
type Check struct {
	Name      string // kebab-case, the trade's own term; names the problem
	Summary   string // one sentence: what is compared with what
	Why       string // why it matters, whole sentences
	Wrong     string // what goes wrong on the machine or after it
	Sources   []Source
	Limits    []*LimitDef
	Needs     []Need    // measurements that Judge reads; the driver makes them, once
	Processes []string  // the processes it applies to; nil means all
	Elsewhere string    // why it says nothing for the other processes
	Solid     bool      // needs to tell inside from outside: says nothing of a mesh that is not sound
	Cautions  []Caution // that its findings may carry

	// Judge compares. It is pure: no files, no clock, no globals. It returns a
	// finding per place; the driver merges like places, applies levels and
	// waivers, then asks Say for the words.
	Judge func(p *Subject) []Finding
	// Say writes the sentence and the help of a finding of this check, merged
	// or not. Nil where Judge has written them.
	Say func(p *Subject, f *Finding)
}

// Source is where a rule or a value comes from.
type Source struct {
	Text   string // author, year, title or journal, doi
	Status string // "published, read", "published, from memory", "common practice, no source"
}

// LimitDef describes a limit; the table of the language holds them all, the
// shop files their values.
type LimitDef = spec.LimitInfo

// limits names the limits of a check.
func limits(names ...string) []*LimitDef {
	var out []*LimitDef
	for _, n := range names {
		def := spec.FindLimit(n)
		if def == nil {
			panic("rules: the language knows no limit " + n)
		}
		out = append(out, def)
	}
	return out
}

// The processes by their abbreviations in ISO/ASTM 52900.
const (
	LaserPBF  = "PBF-LB/M"
	BeamPBF   = "PBF-EB/M"
	BinderJet = "BJT/M"
	Extrusion = "MEX/M"
)

// Applies reports whether the check says anything about a process.
func (c *Check) Applies(process string) bool {
	if c.Processes == nil {
		return true
	}
	for _, p := range c.Processes {
		if p == process {
			return true
		}
	}
	return false
}
