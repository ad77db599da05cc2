package output

import "corbel/rules"

// Totals counts findings by level, those accepted by a waiver apart.
type Totals struct {
	Error     int `json:"error"`
	Warning   int `json:"warning"`
	Note      int `json:"note"`
	Waived    int `json:"waived"`
	Unchecked int `json:"unchecked"` // parts of which something could not be checked
}

// Count adds up the findings of reports.
func Count(reports []*rules.PartReport) Totals {
	var t Totals
	for _, r := range reports {
		if r.Status != rules.Checked {
			t.Unchecked++
		}
		for i := range r.Findings {
			t.add(&r.Findings[i])
		}
	}
	return t
}

func (t *Totals) add(f *rules.Finding) {
	switch {
	case f.Waived != nil:
		t.Waived++
	case f.Level == rules.Error:
		t.Error++
	case f.Level == rules.Warning:
		t.Warning++
	case f.Level == rules.Note:
		t.Note++
	}
}

// AtLeast counts the findings at or above a level that no waiver accepts.
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
