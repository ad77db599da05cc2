package output

import "corbel/rules"

// Totals counts findings by level, those accepted by a waiver and those that
// the baseline has apart.
type Totals struct {
	Error     int `json:"error"`
	Warning   int `json:"warning"`
	Note      int `json:"note"`
	Waived    int `json:"waived"`
	Known     int `json:"known,omitempty"`
	Gone      int `json:"gone,omitempty"`
	Unchecked int `json:"unchecked"`           // parts of which something could not be checked
	Unchanged int `json:"unchanged,omitempty"` // parts whose files are those of the other tree
}

// Count adds up the findings of reports.
func Count(reports []*rules.PartReport) Totals { return *Checked(reports).Totals }

// Count adds up the findings of a document and puts the sums into it.
func (d *Document) Count() Totals {
	var t Totals
	for i := range d.Parts {
		t.add(&d.Parts[i])
	}
	d.Totals = &t
	return t
}

func (t *Totals) add(p *Part) {
	switch p.Status {
	case rules.Unchecked:
		t.Unchecked++
	case Unchanged:
		t.Unchanged++
	}
	t.Gone += len(p.Gone)
	for i := range p.Findings {
		switch f := &p.Findings[i]; {
		case f.Waived != nil:
			t.Waived++
		case f.Known:
			t.Known++
		case f.Level == string(rules.Error):
			t.Error++
		case f.Level == string(rules.Warning):
			t.Warning++
		case f.Level == string(rules.Note):
			t.Note++
		}
	}
}

// AtLeast counts the findings at or above a level that no waiver accepts and
// no baseline has.
func (t Totals) AtLeast(l rules.Level) int {
	n := t.Error
	if l.Weight() <= rules.Warning.Weight() {
		n += t.Warning
	}
	if l.Weight() <= rules.Note.Weight() {
		n += t.Note
	}
	return n
}
