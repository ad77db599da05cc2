package rules

import (
	"fmt"
	"strings"
)

// Budget compares what a part weighs and costs with what it may.
var Budget = &Check{
	Name:    "budget",
	Summary: "The part weighs and costs no more than its spec allows.",
	Why: "Mass follows the model exactly, and cost follows height, volume, support and the machine's rate. " +
		"Both creep up with every change, and are cheapest to win back while the part is still a drawing.",
	Wrong: "The assembly is overweight, or the order is over its price, when the first part is on the scale and the first bill is paid.",
	Sources: []Source{
		{"mass is volume times density", "geometry"},
		{"build time from set-up, layers and melted volume: form after Baumers et al. 2012, Solid Freeform Fabrication Symposium", "published, from memory"},
		{"cost from machine time, powder, supports off and the rates of the shop, spread over the order: form after Baumers et al. 2013, J. Ind. Ecol. 17:418", "published, from memory"},
		{"support is solid to 15 % of its column", "common practice, no source"},
	},
	Needs:    []Need{NeedIntegrity, NeedMass, NeedBox, NeedPlatform, NeedCylinders, NeedOverhang, NeedSupport, NeedStarts},
	Cautions: []Caution{cautionEstimate},
	Judge:    judgeBudget,
	Say:      sayBudget,
}

// budgetDetail is what the words about a budget need.
type budgetDetail struct {
	kind string // mass, cost, no-mass, no-cost
	Estimate
}

func judgeBudget(p *Subject) []Finding {
	b, e := &p.Spec.Budget, p.estimate()
	if i := p.Measured.Integrity; !i.Solid() {
		e = Estimate{} // no inside, no volume
	}
	var out []Finding
	add := func(kind, key string, where Location, have, allowed float64, known bool, unit string) {
		f := Finding{Count: 1, feature: key, Where: where, detail: budgetDetail{kind, e}}
		switch {
		case !known:
			f.detail, f.shift = budgetDetail{"no-" + kind, e}, -1
		case have <= allowed+equalErr(allowed):
			return
		default:
			f.HasValue, f.Measured, f.Limit, f.Unit = true, have, allowed, unit
		}
		if kind == "cost" {
			f.caution = []Caution{cautionEstimate}
		}
		out = append(out, f)
	}
	if b.Mass.Set {
		add("mass", "mass", Location{p.Spec.File, "budget.mass", b.Mass.At}, e.MassG, b.Mass.V.V, e.MassG > 0, "g")
	}
	if b.Cost.Set {
		add("cost", "cost", Location{p.Spec.File, "budget.cost", b.Cost.At}, e.Cost, b.Cost.V, e.HasCost, p.Shop.Currency())
	}
	return out
}

// priceless lists what the shop file lacks for a cost.
func (p *Subject) priceless() string {
	var lack []string
	machine, ok := p.Shop.Machine(p.Spec.Machine.V)
	if !ok {
		lack = append(lack, "a machine of the shop")
	} else {
		if !machine.Layer.Set {
			lack = append(lack, "the machine's layer")
		}
		if !machine.Rate.Set {
			lack = append(lack, "the machine's rate")
		}
	}
	m, _ := p.Material()
	if !m.BuildRate.Set {
		lack = append(lack, "the material's build-rate")
	}
	if !m.Price.Set {
		lack = append(lack, "the material's price")
	}
	return strings.Join(lack, ", ")
}

func sayBudget(p *Subject, f *Finding) {
	d := f.detail.(budgetDetail)
	unit := unitText(p.Shop.Currency())
	switch d.kind {
	case "mass":
		value, limit := pair(f.Measured, f.Limit, f.Limit/100)
		f.Message = fmt.Sprintf("Part weighs %s g in %s, more than the %s g of its budget.", value, p.forWhat(), limit)
		f.Help = "Take out material where the part is thicker than it needs to be, or raise the budget."
	case "cost":
		value, limit := pair(f.Measured, f.Limit, f.Limit/100)
		support := ""
		if all := d.Support + p.Measured.Mass.VolumeMM3; d.Support > all/20 {
			support = fmt.Sprintf(", %s cm3 of it support", rounded(d.Support/1000))
		}
		f.Message = fmt.Sprintf("Part costs about %s%s, %s to %s, more than the %s%s of its budget: %s machine hours and powder for %s cm3%s.",
			value, unit, rounded(d.Price.Low), rounded(d.Price.High), limit, unit, rounded(d.TimeH), rounded((d.Support+p.Measured.Mass.VolumeMM3)/1000), support)
		f.Help = "Order more at once, lay it lower, save support or volume, or raise the budget."
		if d.Price.Low <= f.Limit {
			f.Help += " The budget lies inside that band, so settle the shop's figures first: corbel measure lists them."
		}
	case "no-mass":
		f.Message, f.Help = "Mass can't be held against its budget: the mesh does not tell inside from outside.", "Mend the mesh first."
		if m, _ := p.Material(); !m.Density.Set {
			f.Message = fmt.Sprintf("Mass can't be held against its budget: no density of %s is known.", p.forWhat())
			f.Help = "Give the material's density in the shop file."
		}
	case "no-cost":
		f.Message, f.Help = "Cost can't be held against its budget: the mesh does not tell inside from outside.", "Mend the mesh first."
		if lack := p.priceless(); lack != "" {
			f.Message = fmt.Sprintf("Cost can't be held against its budget for want of %s.", lack)
			f.Help = "Give it in the shop file."
		}
	}
}
