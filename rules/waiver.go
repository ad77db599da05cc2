package rules

import (
	"fmt"
	"time"

	"corbel/spec"
)

// waivers holds the waivers of one spec and what became of them.
type waivers struct {
	part   *spec.Part
	policy Policy
	today  spec.Date
	usable []bool // in force today and allowed
	used   []bool
}

func newWaivers(part *spec.Part, policy Policy, now time.Time) *waivers {
	y, m, d := now.Date()
	w := &waivers{part: part, policy: policy, today: spec.Date{Year: y, Month: int(m), Day: d},
		usable: make([]bool, len(part.Waivers)), used: make([]bool, len(part.Waivers))}
	for i := range part.Waivers {
		v := &part.Waivers[i]
		w.usable[i] = v.Check.Set && v.Reason.Set && v.Until.Set && !v.Until.V.Before(w.today) && w.waivable(v.Check.V) && !w.tooLong(v) &&
			(!v.Near.Set || v.Within.Set)
	}
	return w
}

func (w *waivers) waivable(check string) bool { return w.policy.Allows(check) }

func (w *waivers) tooLong(v *spec.Waiver) bool {
	days := w.policy.WaiverDays
	return days > 0 && v.Until.V.Time().Sub(w.today.Time()) > time.Duration(days)*24*time.Hour
}

// cover returns the waiver that accepts a finding at its place, or nil. One
// without a place accepts every finding of its check.
func (w *waivers) cover(p *Subject, f *Finding) *spec.Waiver {
	for i := range w.part.Waivers {
		v := &w.part.Waivers[i]
		if !w.usable[i] || v.Check.V != f.Check {
			continue
		}
		if v.Near.Set && !(f.HasPlace && f.At.Sub(p.Point(v.Near.V)).Norm() <= v.Within.V.V) {
			continue
		}
		w.used[i] = true
		return v
	}
	return nil
}

// findings says what is wrong with the waivers themselves. judged tells which
// checks ran, so that a waiver of one that did not is not called idle.
func (w *waivers) findings(judged map[string]bool) []Finding {
	var out []Finding
	for i := range w.part.Waivers {
		v := &w.part.Waivers[i]
		if !v.Check.Set {
			continue
		}
		add := func(level Level, key string, at spec.Range, message, help string) {
			f := specFinding(w.part, level, "waiver."+key, at, message, help)
			f.feature = fmt.Sprintf("waiver %s %d", v.Check.V, i)
			out = append(out, f)
		}
		switch {
		case !w.waivable(v.Check.V):
			add(Error, "check", v.Check.At, fmt.Sprintf("A finding of %s can't be waived: the shop's policy does not name it.", v.Check.V),
				"Mend the part, or ask the shop to name the check in policy.waivable.")
			if from := w.policy.WaivableFrom; from.File != "" {
				out[len(out)-1].Related = []Related{{Location{from.File, "policy.waivable", from.At}, "what may be waived"}}
			}
		case !v.Until.Set || !v.Reason.Set: // said by the text's own problems
		case v.Until.V.Before(w.today):
			add(Warning, "until", v.Until.At, fmt.Sprintf("The waiver of %s ended on %s and no longer counts.", v.Check.V, v.Until.V),
				"Mend the part, or have the waiver renewed.")
		case w.tooLong(v):
			latest := w.today.Time().AddDate(0, 0, w.policy.WaiverDays)
			add(Error, "until", v.Until.At, fmt.Sprintf("The waiver of %s runs until %s, longer than the %d days that the shop allows, so it does not count.", v.Check.V, v.Until.V, w.policy.WaiverDays),
				"End it on "+latest.Format(time.DateOnly)+" at the latest.")
		case !w.used[i] && judged[v.Check.V]:
			add(Warning, "check", v.Check.At, fmt.Sprintf("The waiver of %s accepts nothing: no finding of it lies there.", v.Check.V),
				"Remove it, or correct its place.")
		}
	}
	return out
}
