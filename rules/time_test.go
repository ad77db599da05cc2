package rules

import (
	"context"
	"strings"
	"testing"
	"time"
)

// A part whose time is up is one failure. Nobody else's time runs meanwhile, and
// what is asked later is answered.
func TestTimeOfAPart(t *testing.T) {
	b := newBench(t, Options{MaxTime: time.Minute})
	late := true
	var asked []time.Duration
	b.after = func(d time.Duration, end func()) *time.Timer {
		asked = append(asked, d)
		if late {
			end()
		}
		return time.NewTimer(time.Hour)
	}
	const want = "took longer than the 1m0s that one may take (--max-time)"
	r := b.full()
	if r.Status != Unchecked || len(r.Failures) != 1 || r.Failures[0].What != "time" || !strings.Contains(r.Failures[0].Why, want) {
		t.Errorf("status %s, failures %v", r.Status, r.Failures)
	}
	if len(asked) != 1 || asked[0] != time.Minute {
		t.Errorf("the clock was set to %v", asked)
	}
	o, err := b.Orient(t.Context(), b.path("part.part.toml"))
	if err != nil || len(o.Report.Failures) != 1 || !strings.Contains(o.Report.Failures[0].Why, want) {
		t.Errorf("orient: %v, %+v", err, o)
	}
	c, err := b.Compare(t.Context(), b.path("part.part.toml"))
	if err != nil || len(c.Report.Failures) != 1 || !strings.Contains(c.Report.Failures[0].Why, want) {
		t.Errorf("compare: %v, %+v", err, c)
	}
	if _, err := b.Starter(t.Context(), b.path("part.stl"), StarterOptions{}); err == nil || !strings.Contains(err.Error(), "--max-time") {
		t.Errorf("new: %v", err)
	}

	late = false
	if r := b.full(); r.Status != Checked || len(r.Failures) > 0 {
		t.Errorf("with time enough: status %s, failures %v", r.Status, r.Failures)
	}
	ctx, cancel := context.WithCancel(t.Context())
	b.after = func(time.Duration, func()) *time.Timer { cancel(); return time.NewTimer(time.Hour) }
	b.mesh("part.stl", "box 0 0 0 20 20 20\n")
	if r := b.Part(ctx, b.path("part.part.toml"), Full); r.Err == nil {
		t.Error("a check that was stopped says that it ended")
	} else {
		for _, f := range r.Failures {
			if f.What == "time" {
				t.Errorf("a check that was stopped says that it was late: %v", f)
			}
		}
	}
}
