package rules

import (
	"corbel/mesh"
	"corbel/rules/estimate"
)

// Estimate is what a part weighs, takes and costs: planning figures, no offer.
type Estimate struct {
	MassG   float64 // part without support; 0 where unknown
	Support float64 // mm3 of solid support under what needs it; 0 where not measured
	HasTime bool
	TimeH   float64 // machine hours per part, one part a job, support included
	HasCost bool
	Cost    float64 // machine time and powder per part, in the shop's currency
}

// Estimate adds up what the shop's figures allow.
func (r *PartReport) Estimate() Estimate {
	p := &Subject{Spec: r.Spec, Shop: r.Shop, Limits: r.Limits, Info: r.Info, Mesh: r.Mesh, Measured: r.Measured}
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
	if !ok || p.Measured.Box == nil || !machine.Layer.Set || !m.BuildRate.Set {
		return e
	}
	e.Support = supportShare * p.supportColumns()
	s := p.stand()
	xy, z := p.greenScale()
	t := estimate.BuildTime(estimate.Job{HeightMM: s.size[2] + s.lift, LayerMM: machine.Layer.V.V, RecoatS: machine.Recoat.V.V,
		SetupH: machine.Setup.V.V / 3600, PartMM3: v.VolumeMM3 * xy * xy * z, SupportMM3: e.Support * xy * xy * z, RateCM3H: m.BuildRate.V, Count: 1})
	e.HasTime, e.TimeH = true, t.Sum
	if machine.Rate.Set && m.Price.Set {
		c := estimate.PartCost(estimate.Rates{MachineH: machine.Rate.V, PowderKG: m.Price.V}, t, 1, e.MassG+e.Support/1000*m.Density.V)
		e.HasCost, e.Cost = true, c.Sum
	}
	return e
}

// supportShare is the share of a support column that is solid: 0.10 to 0.25
// (common practice, no source).
const supportShare = 0.15

// supportColumns is the volume of the columns under what needs support, mm3.
func (p *Subject) supportColumns() float64 {
	if p.Measured.Support == nil || p.Measured.Overhang == nil || p.Measured.Cylinders == nil {
		return 0
	}
	sum := 0.0
	for i, r := range p.Measured.Overhang.Regions {
		if needsSupport(p, r) {
			sum += p.Measured.Support.Columns[i].VolumeMM3
		}
	}
	return sum
}

// PowderIn is the mass of powder that an inner space may hold, in grams.
func (r *PartReport) PowderIn(v mesh.Void) float64 {
	return trappedPowder(&Subject{Spec: r.Spec, Shop: r.Shop}, v)
}
