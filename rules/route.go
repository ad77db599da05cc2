package rules

import (
	"fmt"
	"slices"

	"corbel/spec"
)

// This file holds the rules about routes: which steps a part needs, and which
// have to come before which.

// heatSteps are the steps of a route that heat the part.
var heatSteps = []string{"stress relieve", "hot isostatic press", "anneal", "solution treat", "age", "debind", "sinter"}

// cutSteps cut the part to size.
var cutSteps = []string{"mill", "turn", "drill", "bore", "ream", "tap", "grind", "polish"}

// orderOfWork is every known step in the usual order: powder removal, stress
// relief on the platform, cutting off, supports, hot isostatic pressing,
// solution and age, machining, inspection (common practice, no source).
var orderOfWork = []string{"cure", "remove powder", "debind", "sinter", "stress relieve", "cut from platform", "remove supports", "hot isostatic press",
	"anneal", "solution treat", "age", "blast", "tumble", "turn", "mill", "drill", "bore", "ream", "tap", "grind", "polish", "clean", "inspect", "scan",
	"proof test", "leak test"}

// rank is a step's place in the order of work; -1 for steps of the user's own.
func rank(step string) int { return slices.Index(orderOfWork, step) }

// heated reports whether the route heats the part.
func heated(p *spec.Part) bool { return anyStep(p, heatSteps...) }

// cleaned reports whether the route takes powder off by blasting or suction.
func cleaned(p *spec.Part) bool { return anyStep(p, "remove powder", "blast", "clean") }

func anyStep(p *spec.Part, steps ...string) bool {
	return slices.ContainsFunc(p.Route.Steps.V, func(s spec.Value[string]) bool { return slices.Contains(steps, s.V) })
}

// neededStep is a step that some parts need.
type neededStep struct {
	any     []string                // the step, and others that do its work
	when    func(p *Subject) string // why the part needs it, as the end of a sentence; empty where it does not
	source  Source
	shift   int // of the level
	caution *Caution
	why     string // what when said
}

// orderedStep is a pair of steps whose order matters.
type orderedStep struct {
	first, later []string
	last         bool // the last of later has to come after the last of first; else the first of first before the first of later
	when         func(p *Subject) bool
	why          string
	source       Source
	shift        int
	caution      *Caution
}

var (
	practice   = Source{"order of work after the build", "common practice, no source"}
	cleanFirst = Source{"powder has to be out before thermal processing, cleaning is verified: NASA-STD-6030, 2021", "published, read in part"}
	relieve    = Source{"parts built below the annealing temperature hold residual stress, heat-treating on the platform before cutting is common: ASTM F3301, introduction", "published, read"}
	pressing   = Source{"hot isostatic pressing 895 to 955 degC and the like by alloy: ASTM F2924, F3001, F3055, F3056, F3184, F3213", "published, from memory"}
	binder     = Source{"binder comes out before sintering: German and Bose 1997, Injection Molding of Metals and Ceramics", "published, from memory"}
	critical   = Source{"inspection and proof testing as the authority asks: NASA-STD-6030, MSFC-STD-3716, front matter", "published, read"}
	asked      = Source{"what a spec asks for, somebody has to do", "common practice, no source"}
)

// forUse gives a reason where the part is for one of some uses.
func forUse(why string, uses ...string) func(*Subject) string {
	return func(p *Subject) string {
		if !slices.Contains(uses, p.Spec.Use.V) {
			return ""
		}
		return fmt.Sprintf(why, p.Spec.Use.V)
	}
}

// forProcess gives a reason where the part is made by one of some processes.
func forProcess(why string, processes ...string) func(*Subject) string {
	return func(p *Subject) string {
		if !slices.Contains(processes, p.Spec.Process.V) {
			return ""
		}
		return why
	}
}

// Alloys whose usual heat treatment holds hot isostatic pressing, and alloys
// that need no stress relief as built (they conduct heat too well to hold much
// stress); trade tables, from memory.
var (
	pressed    = []string{"Ti-6Al-4V", "Ti-6Al-4V ELI", "316L", "17-4PH", "IN718", "IN625", "CoCr"}
	unstressed = []string{"CuCrZr", "Cu"}
)

// neededSteps is what parts need, and why.
var neededSteps = append([]neededStep{
	{any: []string{"remove powder"}, source: cleanFirst, caution: &cautionHeat,
		when: forProcess("loose powder that stays in is baked in by heat and comes loose in service", LaserPBF, BeamPBF, BinderJet)},
	{any: []string{"debind"}, source: binder, caution: &cautionGreen,
		when: forProcess("binder that stays in blisters and cracks the part in the furnace", BinderJet, Extrusion)},
	{any: []string{"sinter"}, source: binder, caution: &cautionGreen,
		when: forProcess("the part comes green from the machine, and has no strength until it is sintered", BinderJet, Extrusion)},
	{any: []string{"stress relieve", "anneal", "solution treat"}, source: relieve, caution: &cautionSharp, when: needsRelief},
	{any: []string{"cut from platform"}, source: practice,
		when: forProcess("the part is welded to the platform", LaserPBF)},
	{any: []string{"remove supports"}, source: practice, when: needsSupportsOff},
	{any: []string{"hot isostatic press"}, source: pressing, shift: -1, when: needsPressing},
	{any: []string{"clean"}, source: critical, when: forUse("parts for %s use are cleaned, and shown to be clean", "medical")},
	{any: []string{"inspect"}, source: critical, when: needsInspection},
	{any: []string{"proof test"}, source: critical, when: forUse("parts for %s use are loaded beyond their service before they go out", "pressure")},
	{any: []string{"leak test"}, source: critical, when: forUse("parts for %s use are shown to be tight, since thin as-built walls can be porous", "pressure")},
}, finishSteps()...)

// finishSteps asks for the step of every finish that a face or a hole declares.
func finishSteps() []neededStep {
	var out []neededStep
	for _, step := range append([]string{"blast"}, cutSteps...) {
		out = append(out, neededStep{any: []string{step}, source: asked, when: func(p *Subject) string { return finishedBy(p.Spec, step) }})
	}
	return out
}

// finishedBy says what is to be finished by a step, or "".
func finishedBy(p *spec.Part, step string) string {
	for i := range p.Faces {
		if f := &p.Faces[i]; f.Finish.V == step {
			return fmt.Sprintf("face %q is to be %s", f.Name.V, cutting[step])
		}
	}
	for i := range p.Holes {
		if h := &p.Holes[i]; h.Finish.V == step {
			return fmt.Sprintf("hole %q is to be %s", h.Name.V, cutting[step])
		}
	}
	return ""
}

func needsRelief(p *Subject) string {
	if p.Spec.Process.V != LaserPBF || slices.Contains(unstressed, p.Spec.Material.V) {
		return ""
	}
	if p.Spec.Material.V == "18Ni300" && anyStep(p.Spec, "age") {
		return "" // ageing can double as relief
	}
	return p.forWhat() + " holds stress as built, and springs when it is cut from the platform"
}

func needsSupportsOff(p *Subject) string {
	if !p.supported() {
		return ""
	}
	for _, r := range p.Measured.Overhang.Regions {
		if needsSupport(p, r) {
			return "the part as it stands needs support"
		}
	}
	return ""
}

func needsPressing(p *Subject) string {
	if p.Spec.Use.V != "flight" || !slices.Contains(pressed, p.Spec.Material.V) {
		return ""
	}
	return "it closes inner pores, where fatigue of " + p.Spec.Material.V + " starts"
}

func needsInspection(p *Subject) string {
	if why := forUse("parts for %s use do not go out uninspected", "pressure", "flight", "medical")(p); why != "" {
		return why
	}
	for i := range p.Spec.Holes {
		if h := &p.Spec.Holes[i]; h.Tolerance.Set {
			return fmt.Sprintf("hole %q asks for %s, and nobody measures it", h.Name.V, h.Tolerance.V)
		}
	}
	return ""
}

func onPlatform(p *Subject) bool { return p.Spec.Process.V == LaserPBF }

// orderedSteps is what has to come before what, and why.
var orderedSteps = []orderedStep{
	{first: []string{"remove powder"}, later: heatSteps, source: cleanFirst, shift: 1, caution: &cautionHeat,
		why: "heat bonds the powder that is still inside"},
	{first: []string{"cure"}, later: []string{"remove powder"}, source: practice,
		why: "the green part breaks before its binder is hard"},
	{first: []string{"debind"}, later: []string{"sinter"}, source: binder,
		why: "the surface closes while binder is still inside"},
	{first: []string{"stress relieve", "anneal", "solution treat"}, later: []string{"cut from platform"}, when: onPlatform, source: relieve, caution: &cautionSharp,
		why: "the part springs as it comes off with its stress still in it"},
	{first: []string{"remove supports"}, later: cutSteps, source: practice,
		why: "supports stand in the way of the tool and of the clamps"},
	{first: []string{"sinter"}, later: cutSteps, source: practice,
		why: "the part shrinks by a sixth after it was cut to size"},
	{first: []string{"stress relieve", "hot isostatic press", "anneal", "solution treat"}, later: cutSteps, last: true, source: practice,
		why: "heat moves and scales what was cut to size"},
	{first: []string{"hot isostatic press"}, later: []string{"solution treat", "age"}, source: practice,
		why: "pressing hot undoes the hardening"},
	{first: []string{"solution treat"}, later: []string{"age"}, source: practice,
		why: "dissolving undoes the ageing"},
	{first: cutSteps, later: []string{"inspect"}, last: true, source: practice,
		why: "what is cut afterwards is measured by nobody"},
	{first: cutSteps, later: []string{"leak test"}, last: true, source: practice,
		why: "a cut afterwards can open a pore"},
	{first: append([]string{"blast", "tumble"}, cutSteps...), later: []string{"clean"}, last: true, when: func(p *Subject) bool { return p.Spec.Use.V == "medical" }, source: practice,
		why: "what is cut or blasted afterwards is dirty again"},
}
