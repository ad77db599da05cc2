package estimate_test

import (
	"math"
	"testing"

	"corbel/rules/estimate"
)

// The planning form worked by hand, closed form: 60 mm of 0.04 mm layers at 10 s,
// 50 and 5 cm3 at 12 cm3/h, 1 h of set-up: T = 9.75 h for one part. Four parts in
// one job that together melt that much cost (200 + 60*9.75 + 250)/4 + 0.45045 kg *
// 60 * 1.1 + 40 = 328.48 each.
func TestOrderWorkedExample(t *testing.T) {
	o := estimate.Order{Quantity: 4, PerJob: 4, MassG: 450.45,
		Job:   estimate.Job{HeightMM: 60, LayerMM: 0.04, RecoatS: 10, SetupH: 1, PartMM3: 50000 / 4., SupportMM3: 5000 / 4., RateCM3H: 12},
		Rates: estimate.Rates{MachineH: 60, JobBefore: 200, JobAfter: 250, PartAfter: 40, PowderKG: 60, Loss: 0.1}}
	p := o.Price()
	if p.Jobs != 1 || p.PerJob != 4 || math.Abs(p.Job.Sum-9.75) > 1e-9 || math.Abs(p.Cost.Sum-328.48) > 0.01 {
		t.Errorf("%+v", p)
	}
	if want := estimate.PartCost(o.Rates, p.Job, 4, o.MassG); math.Abs(want.Sum-p.Cost.Sum) > 1e-9 {
		t.Errorf("one full job costs %g, the job's own form says %g", p.Cost.Sum, want.Sum)
	}
	// Ten parts at four a job are three jobs: set-up and layers are paid three times.
	o.Quantity = 10
	q := o.Price()
	want := 0.3*(1+1500*10/3600.) + 55./4/12
	if q.Jobs != 3 || math.Abs(q.MachineH-want) > 1e-9 || math.Abs(q.Cost.Job-0.3*450) > 1e-9 {
		t.Errorf("three jobs: %+v, want %g h", q, want)
	}
	// Half an hour by hand at 50.
	o.HandH, o.Rates.WorkH = 0.5, 50
	if r := o.Price(); math.Abs(r.Cost.Sum-q.Cost.Sum-25) > 1e-9 {
		t.Errorf("work by hand: %g more", r.Cost.Sum-q.Cost.Sum)
	}
}
