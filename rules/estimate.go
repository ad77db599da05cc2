package rules

import (
	"fmt"
	"strings"

	"corbel/rules/estimate"
)

// Estimate is what a part weighs, takes and costs: planning figures, no offer.
type Estimate struct {
	MassG   float64 // part without support; 0 where unknown
	Support float64 // mm3 of solid support under what needs it; 0 where not measured
	HasTime bool
	TimeH   float64 // machine hours of a part of the order, support and its share of set-up and layers included
	HasCost bool
	Cost    float64       // of a part of the order, in the shop's currency: machine, powder, supports off, the shop's rates
	Hours   Band          // TimeH and what it may be
	Price   Band          // Cost and what it may be
	Made    estimate.Cost // what Cost is made of
	PerJob  int           // parts in a job
	Jobs    int           // that the order takes
	Inputs  []Input       // the figures that went in
}

// Estimate adds up what the shop's figures allow. It is the figure of Orient and
// Compare for the way the spec stands the part.
func (r *PartReport) Estimate() Estimate {
	p := r.subject()
	return p.estimate()
}

func (p *Subject) estimate() Estimate {
	var e Estimate
	m, known := p.Material()
	v := p.Measured.Mass
	if v == nil || !known {
		return e
	}
	if m.Density.Set && v.VolumeMM3 > 0 {
		e.MassG = v.VolumeMM3 / 1000 * m.Density.V
	}
	machine, ok := p.Shop.Machine(p.Spec.Machine.V)
	if !ok || p.Measured.Box == nil || !machine.Layer.Set {
		return e
	}
	c := p.costs()
	s := shape{heightMM: p.Measured.Box.Size[2] + p.Measured.Frame.Lift, partMM3: max(0, v.VolumeMM3), sideMM2: p.Measured.Box.SideMM2, perJob: max(1, p.perJob(&c, p.Measured.Box.FootSize))}
	if p.Measured.Has(NeedPlatform) && c.machine.Machine != nil && c.machine.Build.Set {
		s.perJob = max(1, p.Measured.PerPlatform)
	}
	n, _ := p.supportNeed()
	s.columnMM3, s.touchMM2 = n.ColumnMM3, n.TouchMM2
	e.Support, e.Inputs = n.SolidMM3, c.inputs
	made := c.price(s)
	e.Hours, e.Price = c.bands(s, made)
	e.Made, e.PerJob, e.Jobs = made.Cost, made.PerJob, made.Jobs
	e.HasTime, e.TimeH = true, e.Hours.Value
	if c.money && m.Price.Set {
		e.HasCost, e.Cost = true, e.Price.Value
	}
	return e
}

// SayMade says what a cost is made of, the share by share as a shop books
// them: "machine 330, powder 18, supports off 5.7, part 12".
func SayMade(c estimate.Cost) string {
	var out []string
	for _, s := range []struct {
		name string
		v    float64
	}{{"machine", c.Machine}, {"job", c.Job}, {"powder", c.Powder}, {"gas", c.Gas}, {"supports off", c.Removal}, {"part", c.Finish}} {
		if s.v > 0 {
			out = append(out, s.name+" "+rounded(s.v))
		}
	}
	return strings.Join(out, ", ")
}

// SayInputs says which figures went into an estimate: those that a file gives,
// those that are usual because none does, and what is left out. Either may be
// empty.
func SayInputs(in []Input) (given, usual, without string) {
	var lists [3][]string
	for _, i := range in {
		switch {
		case i.Value == leftOut:
			lists[2] = append(lists[2], fmt.Sprintf("%s (%s)", i.What, i.From))
		case i.Guess:
			lists[1] = append(lists[1], fmt.Sprintf("%s %s (%s)", i.What, i.Value, i.From))
		default:
			lists[0] = append(lists[0], i.What+" "+i.Value)
		}
	}
	return strings.Join(lists[0], "; "), strings.Join(lists[1], "; "), strings.Join(lists[2], "; ")
}

// posts are what holds the places that start in the air on steep flanks.
func (p *Subject) posts(covered *facetSet) (columnMM3, touchMM2 float64) {
	for _, st := range p.Measured.Starts {
		if startCounts(p, st) && !covered.meets(st.Facets) {
			touchMM2 += startTouchMM2
			columnMM3 += startTouchMM2 * st.Height
		}
	}
	return columnMM3, touchMM2
}

// PowderIn is the mass of powder that an inner space of a volume may hold, in grams.
func (r *PartReport) PowderIn(volumeMM3 float64) float64 {
	return trappedPowder(&Subject{Spec: r.Spec, Shop: r.Shop}, volumeMM3)
}
