package rules

import (
	"fmt"
	"strings"
	"testing"
)

// The ledge of the bench has its finding at (20, y, 10).
func TestWaivers(t *testing.T) {
	for _, c := range []struct {
		name, waiver, shop string
		waived             bool
		told               string // of a spec finding; "" for none
	}{
		{"in place", "near = [20, 10, 10]\nwithin = \"11 mm\"\nreason = \"r\"\nuntil = 2026-11-25", "", true, ""},
		{"without a place", "reason = \"r\"\nuntil = 2026-12-25", "", true, ""},
		{"elsewhere", "near = [0, 0, 0]\nwithin = \"5 mm\"\nreason = \"r\"\nuntil = 2026-12-25", "", false, "accepts nothing"},
		{"ended yesterday", "reason = \"r\"\nuntil = 2026-11-24", "", false, "ended on 2026-11-24"},
		{"no reason", "until = 2026-12-25", "", false, "reason"},
		{"no end", "reason = \"r\"", "", false, "until"},
		{"too long", "reason = \"r\"\nuntil = 2026-12-06", "waiver-days = 10", false, "longer than the 10 days"},
		{"just long enough", "reason = \"r\"\nuntil = 2026-12-05", "waiver-days = 10", true, ""},
		{"not allowed", "reason = \"r\"\nuntil = 2026-12-01", "waivable = [\"wall\"]", false, "can't be waived"},
		{"nothing allowed", "reason = \"r\"\nuntil = 2026-12-01", "waivable = []", false, "can't be waived"},
		{"near without within", "near = [20, 10, 10]\nreason = \"r\"\nuntil = 2026-12-01", "", false, "within"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, Options{})
			b.write("shop.toml", "schema = 1\nshop = \"S\"\n[policy]\n"+c.shop+"\n")
			b.write("part.part.toml", strings.Replace(ledgeSpec, "use =", "shop = \"shop.toml\"\nuse =", 1)+"[[waiver]]\ncheck = \"overhang\"\n"+c.waiver+"\n")
			r := b.full()
			waived, told := false, ""
			for _, f := range r.Findings {
				if f.Check == "overhang" {
					waived = f.Waived != nil
				} else {
					told += f.Message + "\n"
				}
			}
			if waived != c.waived {
				t.Errorf("waived %v, want %v", waived, c.waived)
			}
			if (told == "") != (c.told == "") || !strings.Contains(told, c.told) {
				t.Errorf("told %q, want %q", told, c.told)
			}
		})
	}
}

// A waiver of one of several like places leaves the others.
func TestWaiverOfOnePlace(t *testing.T) {
	b := newBench(t, Options{})
	b.mesh("part.stl", "extrude 0 20 : 5 0 15 0 15 10 20 10 20 15 0 15 0 10 5 10\nturn 1 0 0 90\nmove 0 20 0\n")
	r := b.full()
	if len(r.Findings) != 1 || r.Findings[0].Count != 2 || len(r.Findings[0].Places) != 2 {
		t.Fatalf("%+v", r.Findings)
	}
	at := r.Findings[0].Places[1].At
	b.write("part.part.toml", ledgeSpec+fmt.Sprintf("[[waiver]]\ncheck = \"overhang\"\nnear = [%g, %g, %g]\nwithin = \"2 mm\"\nreason = \"r\"\nuntil = 2026-12-01\n", at[0], at[1], at[2]))
	r = b.full()
	if len(r.Findings) != 2 || r.Findings[0].Count != 1 || r.Findings[1].Count != 1 || (r.Findings[0].Waived == nil) == (r.Findings[1].Waived == nil) {
		t.Errorf("%+v", r.Findings)
	}
}

// In Text mode nothing ran, so no waiver is idle.
func TestNoWaiverIsIdleBeforeChecksRan(t *testing.T) {
	b := newBench(t, Options{})
	b.write("part.part.toml", ledgeSpec+"[[waiver]]\ncheck = \"wall\"\nreason = \"r\"\nuntil = 2026-12-01\n")
	if r := b.Part(t.Context(), b.path("part.part.toml"), Text); len(r.Findings) != 0 {
		t.Errorf("%v", r.Findings)
	}
	if r := b.full(); len(r.Findings) != 2 {
		t.Errorf("%v", r.Findings)
	}
}
