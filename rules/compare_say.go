package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// This file says what a comparison comes to, and no more than its figures bear.

const (
	// millMost is the share from which on a part has hardly a place that plain
	// milling misses: what is counted as missed beyond it is corners and chance.
	millMost = 0.98
	// buyToFly is the stock over the part from which material alone begins to
	// speak for printing: powder costs 5 to 10 times what bar costs (T. Simpson,
	// "Industrializing AM: a simple cost equation", trade-press column; opening
	// read).
	buyToFly = 5
)

// able lists what makes the part without an error, the cheapest first; in
// money if any is, else in hours.
func (c *Comparison) able() []*Option {
	var out []*Option
	money := false
	for i := range c.Options {
		o := &c.Options[i]
		if o.Why == "" && o.Errors == 0 && len(o.Failures) == 0 && o.Fits {
			out = append(out, o)
			money = money || o.Money
		}
	}
	kept := out[:0]
	for _, o := range out {
		if o.Money == money {
			kept = append(kept, o)
		}
	}
	sortBy(kept, func(o *Option) float64 { return o.Cost.Value })
	return kept
}

func (c *comparison) favour() string {
	s := c.favourPrint()
	if m := c.sayMill(); m != "" {
		s += "; " + m
	}
	return s + "."
}

// favourPrint names the printing options that the figures put first.
func (c *comparison) favourPrint() string {
	able := c.able()
	if len(able) == 0 {
		return "The figures favour none of the machines: " + c.unable()
	}
	best := able[0]
	unit := " " + c.Currency
	if !best.Money {
		unit = " h"
	}
	name := best.name()
	cost := func(o *Option) string { return money3(o.Cost.Value) + unit }
	var close, dear []string
	for _, o := range able[1:] {
		if o.Cost.Low < best.Cost.High {
			close = append(close, o.name())
		} else {
			dear = append(dear, fmt.Sprintf("%s at %s", o.name(), cost(o)))
		}
	}
	worse := ""
	if best.Warnings > 0 {
		worse = fmt.Sprintf(", with %s", plural(best.Warnings, "warning"))
	}
	worse += uncounted(able)
	switch {
	case len(able) == 1:
		return fmt.Sprintf("The figures leave %s alone, at %s a part%s: nothing else of the shop makes the part without an error", name, cost(best), worse)
	case len(close) > 0:
		return fmt.Sprintf("The figures put %s first at %s a part%s, and can't tell it from %s: the bands overlap", name, cost(best), worse, strings.Join(close, " and "))
	}
	return fmt.Sprintf("The figures favour %s, at %s a part%s, over %s", name, cost(best), worse, strings.Join(dear, " and "))
}

// unable says why no option makes the part.
func (c *comparison) unable() string {
	var words []string
	for i := range c.Options {
		o := &c.Options[i]
		switch {
		case o.Why != "":
			words = append(words, o.name()+" "+o.Why)
		case !o.Fits:
			words = append(words, fmt.Sprintf("on %s it is %s", o.name(), o.Lacks))
		case o.Errors > 0:
			words = append(words, fmt.Sprintf("%s meets %s of %s", o.name(), plural(o.Errors, "error"), join(o.wrong())))
		default:
			words = append(words, o.name()+" could not be checked")
		}
	}
	if len(words) == 0 {
		return "the shop names none"
	}
	return join(words)
}

// wrong names the checks that find errors.
func (o *Option) wrong() []string {
	var out []string
	for _, f := range o.Fails {
		if f.Level == Error {
			out = append(out, f.Check)
		}
	}
	return out
}

// uncounted names what the costs of the options leave out, and what they take
// as usual that moves them: no sentence may sound surer than its figures are.
func uncounted(options []*Option) string {
	s := ""
	if what := ungiven(options, func(i Input) bool { return i.Value == leftOut && i.What != "job" }); len(what) > 0 {
		s += ", the " + join(what) + " not counted"
	}
	moves := []string{"layer", "recoat", "melt rate"}
	if what := ungiven(options, func(i Input) bool { return i.Guess && i.Value != leftOut && slices.Contains(moves, i.What) }); len(what) > 0 {
		s += ", the " + join(what) + " not the shop's own"
	}
	return s
}

// ungiven lists the figures that are not given, with whose they are where the
// other options have them.
func ungiven(options []*Option, not func(Input) bool) []string {
	var order []string
	whose := map[string][]string{}
	for _, o := range options {
		for _, i := range o.Inputs {
			if not(i) {
				if whose[i.What] == nil {
					order = append(order, i.What)
				}
				whose[i.What] = append(whose[i.What], o.name())
			}
		}
	}
	var all, some []string
	for _, what := range order {
		if len(whose[what]) == len(options) {
			all = append(all, what)
		} else {
			some = append(some, what+" of "+join(whose[what]))
		}
	}
	return append(all, some...)
}

func (o *Option) name() string {
	if o.Machine != "" {
		return fmt.Sprintf("%s (%s)", o.Machine, o.Process)
	}
	return o.Process
}

// sayMill says what the geometry says about milling; it has no price of it.
func (c *comparison) sayMill() string {
	m := c.Mill
	if m == nil {
		return ""
	}
	ratio := number(m.Ratio, 0.05)
	switch {
	case m.Share < millMost && len(m.Missed) > 0:
		return fmt.Sprintf("milling from the full alone would miss about %.0f %% of its surface, most of it %s", 100*(1-m.Share), c.subject.near(m.Missed[0].At))
	case m.Ratio >= buyToFly:
		return fmt.Sprintf("milling would cut away %s of the stock, and from about %d times the part on material alone speaks for printing", wasted(m.Ratio), buyToFly)
	}
	return fmt.Sprintf("straight tools reach %.0f %% of its surface and the stock is only %s times the part, so ask for a price of milling before printing it", 100*m.Share, ratio)
}

func wasted(ratio float64) string { return fmt.Sprintf("%.0f %%", 100*(1-1/math.Max(1, ratio))) }

// thenMill says which declared places make a printed part worth milling after.
func (c *comparison) thenMill() string {
	if len(c.Cut) == 0 {
		return ""
	}
	var can, cannot []string
	area := 0.0
	for _, p := range c.Cut {
		what := fmt.Sprintf("%s (%s)", p.Name, p.Asks)
		if p.Reached {
			can, area = append(can, what), area+p.AreaMM2
		} else {
			cannot = append(cannot, what)
		}
	}
	total := 0.0
	for f := range c.Report.Mesh.Facets {
		total += c.Report.Mesh.Area(int32(f))
	}
	switch {
	case len(can) == 0:
		return fmt.Sprintf("Printing and then milling does not answer as drawn: no straight tool gets at %s.", join(cannot))
	case len(cannot) > 0:
		return fmt.Sprintf("Printing and then milling answers for %s, %.0f %% of the surface, but no straight tool gets at %s.", join(can), 100*area/total, join(cannot))
	}
	return fmt.Sprintf("Printing and then milling answers: %s, %.0f %% of the surface, %s within reach of a straight tool and the rest stays as built.",
		join(can), 100*area/total, pick(len(can) == 1, "is", "are"))
}

// join lists words: a, b and c.
func join(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// money3 says an amount to about three figures.
func money3(v float64) string {
	if v >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}
