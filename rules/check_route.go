package rules

import (
	"fmt"
	"slices"
	"strings"

	"corbel/spec"
)

// Route holds the steps after the build against what process, material, use and
// the declared finishes ask for. The rules stand in route.go.
var Route = &Check{
	Name:    "route",
	Summary: "The route has the steps that process, material, use and declared finishes ask for, in an order that does no harm.",
	Why: "Each step rests on the ones before it. Heat bonds powder that was left inside; a part that is cut off before it is relieved springs; " +
		"what is cut to size before heat moves again.",
	Wrong:    "Powder is baked into channels, parts bend at the saw, reamed holes go oval in the furnace, a part goes out uninspected.",
	Sources:  routeSources(),
	Needs:    []Need{NeedCylinders, NeedOverhang},
	Cautions: []Caution{cautionHeat, cautionSharp, cautionGreen},
	Judge:    judgeRoute,
	Say:      func(*Subject, *Finding) {}, // the words come with the rule
}

func routeSources() []Source {
	sources := []Source{{"usual order: powder out, stress relief on the platform, cut off, supports off, hot isostatic pressing, solution and age, machining", "common practice, no source"}}
	add := func(s Source) {
		if !slices.Contains(sources, s) {
			sources = append(sources, s)
		}
	}
	for _, r := range neededSteps {
		add(r.source)
	}
	for _, r := range orderedSteps {
		add(r.source)
	}
	return sources
}

func judgeRoute(p *Subject) []Finding {
	steps := p.Spec.Route.Steps
	if !steps.Set {
		return p.noRoute()
	}
	var out []Finding
	for _, need := range p.stepsNeeded() {
		if !slices.ContainsFunc(steps.V, func(s spec.Value[string]) bool { return slices.Contains(need.any, s.V) }) {
			out = append(out, p.missingStep(need))
		}
	}
	for i := range orderedSteps {
		if f, bad := p.wrongOrder(&orderedSteps[i]); bad {
			out = append(out, f)
		}
	}
	return out
}

// stepsNeeded returns what the part's route has to have, in the order of work.
func (p *Subject) stepsNeeded() []neededStep {
	var out []neededStep
	for _, n := range neededSteps {
		if why := n.when(p); why != "" {
			n.why = why
			out = append(out, n)
		}
	}
	slices.SortStableFunc(out, func(a, b neededStep) int { return rank(a.any[0]) - rank(b.any[0]) })
	return out
}

// noRoute asks for a route where the use does. A part for general use may leave
// it to the shop.
func (p *Subject) noRoute() []Finding {
	use := p.Spec.Use
	if !use.Set || use.V == "general" || p.Spec.Route.Table != (spec.Range{}) {
		return nil
	}
	var names []string
	for _, n := range p.stepsNeeded() {
		if !slices.Contains(names, n.any[0]) {
			names = append(names, n.any[0])
		}
	}
	f := Finding{Count: 1, Where: Location{p.Spec.File, "use", use.At}, feature: "none",
		Message: fmt.Sprintf("Parts for %s use need a route, and none is given: %s.", use.V, strings.Join(names, ", ")),
		Help:    "Write the steps after the build in [route], in order."}
	if d := p.Spec.Doc; d != nil && !d.Partial {
		text := "\n[route]\nsteps = [" + quoteList(names) + "]\n"
		if n := len(d.Text); n > 0 && d.Text[n-1] != '\n' {
			text = "\n" + text
		}
		f.Fixes = []spec.Fix{{Title: "Add a route of these steps", At: spec.Range{Start: len(d.Text), End: len(d.Text)}, Text: text}}
	}
	return []Finding{f}
}

// missingStep is a step that the route lacks, with where to put it.
func (p *Subject) missingStep(n neededStep) Finding {
	steps, name := p.Spec.Route.Steps, n.any[0]
	f := Finding{Count: 1, Where: Location{p.Spec.File, "route.steps", steps.At}, feature: "missing " + name, shift: n.shift,
		Message: fmt.Sprintf("Route has no step %q: %s.", name, n.why)}
	if n.caution != nil {
		f.caution = []Caution{*n.caution}
	}
	// Before the first step that belongs later.
	k := slices.IndexFunc(steps.V, func(s spec.Value[string]) bool { return rank(s.V) > rank(name) })
	fix := spec.Fix{}
	switch {
	case len(steps.V) == 0:
		f.Help = fmt.Sprintf("Write %q.", name)
		fix = spec.Fix{Title: fmt.Sprintf("Add %q", name), At: spec.Range{Start: steps.At.Start + 1, End: steps.At.Start + 1}, Text: fmt.Sprintf("%q", name)}
	case k >= 0:
		at := steps.V[k].At.Start
		f.Help = fmt.Sprintf("Put %q before %q.", name, steps.V[k].V)
		fix = spec.Fix{Title: fmt.Sprintf("Add %q before %q", name, steps.V[k].V), At: spec.Range{Start: at, End: at}, Text: fmt.Sprintf("%q, ", name)}
	default:
		last := steps.V[len(steps.V)-1]
		f.Help = fmt.Sprintf("Put %q after %q.", name, last.V)
		fix = spec.Fix{Title: fmt.Sprintf("Add %q after %q", name, last.V), At: spec.Range{Start: last.At.End, End: last.At.End}, Text: fmt.Sprintf(", %q", name)}
	}
	f.Fixes = []spec.Fix{fix}
	if len(n.any) > 1 {
		f.Help = strings.TrimSuffix(f.Help, ".") + fmt.Sprintf(", or one of: %s.", quoteList(n.any[1:]))
	}
	return f
}

// wrongOrder finds the first step of a route that comes before one that it
// rests on.
func (p *Subject) wrongOrder(r *orderedStep) (Finding, bool) {
	steps := p.Spec.Route.Steps.V
	if r.when != nil && !r.when(p) {
		return Finding{}, false
	}
	is := func(list []string) func(spec.Value[string]) bool {
		return func(s spec.Value[string]) bool { return slices.Contains(list, s.V) }
	}
	first, later := slices.IndexFunc(steps, is(r.first)), slices.IndexFunc(steps, is(r.later))
	if r.last {
		first, later = lastIndex(steps, is(r.first)), lastIndex(steps, is(r.later))
	}
	if first < 0 || later < 0 || first < later {
		return Finding{}, false
	}
	f := Finding{Count: 1, Where: Location{p.Spec.File, "route.steps", steps[later].At}, shift: r.shift,
		feature: steps[later].V + " before " + steps[first].V,
		Message: fmt.Sprintf("Step %q comes before %q: %s.", steps[later].V, steps[first].V, r.why)}
	if r.caution != nil {
		f.caution = []Caution{*r.caution}
	}
	from, to := first, later
	f.Help = fmt.Sprintf("Move %q to before %q.", steps[first].V, steps[later].V)
	if r.last {
		from, to = later, first
		f.Help = fmt.Sprintf("Move %q to after %q.", steps[later].V, steps[first].V)
	}
	f.Fixes = p.moveStep(strings.TrimSuffix(f.Help, "."), from, to)
	return f, true
}

func lastIndex[T any](list []T, is func(T) bool) int {
	for i, v := range slices.Backward(list) {
		if is(v) {
			return i
		}
	}
	return -1
}

// moveStep offers to move a step to the place of another. The steps between
// are written anew; where a comment or a new line stands among them nothing is
// offered, lest it be lost.
func (p *Subject) moveStep(title string, from, to int) []spec.Fix {
	steps, doc := p.Spec.Route.Steps.V, p.Spec.Doc
	lo, hi := min(from, to), max(from, to)
	at := spec.Range{Start: steps[lo].At.Start, End: steps[hi].At.End}
	if doc == nil || strings.ContainsAny(string(doc.Text[at.Start:at.End]), "#\n\r") {
		return nil
	}
	var names []string
	for _, s := range steps[lo : hi+1] {
		names = append(names, s.V)
	}
	moved := names[from-lo]
	names = slices.Insert(slices.Delete(names, from-lo, from-lo+1), to-lo, moved)
	return []spec.Fix{{Title: title, At: at, Text: quoteList(names)}}
}

func quoteList(names []string) string {
	quoted := make([]string, len(names))
	for i, n := range names {
		quoted[i] = fmt.Sprintf("%q", n)
	}
	return strings.Join(quoted, ", ")
}
