package output

import (
	"corbel/rules"
)

// This file holds findings against earlier ones, so that a shop may begin with
// a thousand old findings and let only new ones fail.

// Unchanged is the status of a part that was not checked because its files
// are those of the tree that it is held against.
const Unchanged = "unchanged"

// Hold marks the findings of a document that an earlier one has, and lists
// what the earlier one has and is found no more. A finding is the same one if
// its part and its fingerprint are; one that was a note and is now an error is
// new. What a waiver accepted there is not known here: its acceptance ended.
// name tells which parts are the same one, however they were reached.
func (d *Document) Hold(base *Document, from string, name func(string) string) {
	d.Baseline = &Baseline{from}
	old := map[string][]*Finding{}
	for i := range base.Parts {
		p := &base.Parts[i]
		key := name(p.File())
		for k := range p.Findings {
			if f := &p.Findings[k]; f.Waived == nil {
				old[key] = append(old[key], f)
			}
		}
	}
	for i := range d.Parts {
		p := &d.Parts[i]
		key := name(p.File())
		p.hold(old[key])
		delete(old, key) // a part that is named twice has its baseline once
	}
}

func (p *Part) hold(old []*Finding) {
	taken := make([]bool, len(old))
	take := func(f *Finding) *Finding {
		for i, o := range old {
			if !taken[i] && o.Fingerprint == f.Fingerprint {
				taken[i] = true
				return o
			}
		}
		return nil
	}
	for i := range p.Findings {
		f := &p.Findings[i]
		o := take(f)
		f.Known = o != nil && f.Waived == nil && rules.Level(o.Level).Weight() >= rules.Level(f.Level).Weight()
	}
	ran := map[string]bool{}
	for _, c := range p.Checks {
		ran[c] = true
	}
	p.Gone = nil
	for i, o := range old {
		if !taken[i] && ran[o.Check] {
			p.Gone = append(p.Gone, Gone{o.Check, o.Level, o.Message, o.Fingerprint})
		}
	}
}
