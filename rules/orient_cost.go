package rules

import (
	"fmt"

	"corbel/rules/estimate"
	"corbel/spec"
)

// This file turns geometry into time and money with the shop's figures, and
// says which figures went in.

// Input is a figure that went into an estimate.
type Input struct {
	What  string // "layer", "melt rate", ...
	Value string // with its unit
	From  string // the file and line, or why it was taken
	Guess bool   // no file gives it: a usual value stands in
}

// leftOut is the value of an input that no file gives and nothing stands in for.
const leftOut = "left out"

// Rates is what the shop's work costs, each key from the strongest file that
// gives it.
type Rates struct {
	Work, Job, Furnace, Part, RemovalS, PowderLoss, SupportShare Fact
}

// Rates merges the files' rates.
func (s *Shop) Rates() Rates {
	var r Rates
	for _, file := range s.Chain {
		f := &file.Rates
		number := func(to *Fact, v spec.Value[float64]) {
			if v.Set {
				*to = Fact{v.V, true, newOrigin(file, "shop", v.Key, v.At, "")}
			}
		}
		number(&r.Work, f.Work)
		number(&r.Job, f.Job)
		number(&r.Furnace, f.Furnace)
		number(&r.Part, f.Part)
		number(&r.PowderLoss, f.PowderLoss)
		number(&r.SupportShare, f.SupportShare)
		if v := f.Removal; v.Set {
			r.RemovalS = Fact{v.V.V, true, newOrigin(file, "shop", v.Key, v.At, "")}
		}
	}
	return r
}

// usual holds what stands in where no file of the shop says better: common
// practice, no source. A material's own build rate is that of PBF-LB/M.
var usual = map[string]struct{ layerMM, recoatS, rateCM3H float64 }{
	LaserPBF:  {0.04, 10, 10},
	BeamPBF:   {0.07, 25, 45},
	BinderJet: {0.05, 30, 1000},
	Extrusion: {0.125, 0, 12},
}

// What the figures may be off by, as factors (common practice, no source):
// contours, supports and skipping pull the net melt rate 20 to 40 % below what
// speed times hatch times layer gives; 10 to 25 % of a support's column is
// solid; taking support off takes 20 s to 3 min a cm2.
const (
	rateBand     = 1.3
	removalBand  = 3.0
	shareLow     = 0.10
	shareHigh    = 0.25
	defaultShare = 0.15
)

// costs is everything but the geometry that a price needs.
type costs struct {
	process    string
	machine    Machine
	hasMachine bool
	money      bool // the machine's rate is known; else an hour counts as 1
	quantity   int
	job        estimate.Job // layer, recoat, set-up and rate
	rates      estimate.Rates
	removalS   float64 // by hand per cm2
	share      float64 // solid share of a column
	density    float64 // g/cm3; 0 unknown
	xy, z      float64 // green scale
	spacing    float64
	inputs     []Input
}

// costs collects the shop's figures for a part.
func (p *Subject) costs() costs {
	c := costs{process: p.Spec.Process.V, quantity: 1}
	c.machine, c.hasMachine = p.Shop.Machine(p.Spec.Machine.V)
	if p.Spec.Quantity.Set && p.Spec.Quantity.V > 0 {
		c.quantity = p.Spec.Quantity.V
	}
	c.say("quantity", fmt.Sprint(c.quantity), "part spec", false)
	c.xy, c.z = p.greenScale()
	if c.xy != 1 {
		c.say("green scale", fmt.Sprintf("%s in plane, %s upwards", plain(c.xy), plain(c.z)), "limit sinter.shrinkage or the material", false)
	}
	m, known := p.Material()
	c.ofMachine(m, known)
	c.ofRates(p.Shop)
	if known && m.Density.Set {
		c.density = m.Density.V
		c.say("density", plain(m.Density.V)+" g/cm3", m.Density.From.Place(), false)
	}
	if known && m.Price.Set {
		c.rates.PowderKG = m.Price.V
		c.say("feedstock", plain(m.Price.V)+" per kg", m.Price.From.Place(), false)
	} else {
		c.say("feedstock", leftOut, "no file gives a price of "+p.forWhat(), true)
	}
	return c
}

func (c *costs) say(what, value, from string, guess bool) {
	c.inputs = append(c.inputs, Input{what, value, from, guess})
}

// Place says where a figure stands, in a few words.
func (o Origin) Place() string {
	if o.Layer == "built-in" {
		return "built-in default"
	}
	return fmt.Sprintf("%s line %d", o.File, o.Line)
}

// ofMachine takes layer, recoating, set-up and rates.
func (c *costs) ofMachine(m Material, known bool) {
	u, ok := usual[c.process]
	if !ok {
		u = usual[LaserPBF]
	}
	none := "no machine is named: usual in " + c.process
	var sm spec.Machine
	at := func(v spec.Range) string { return "" }
	if c.hasMachine {
		sm = *c.machine.Machine
		none = fmt.Sprintf("machine %q does not say: usual in %s", sm.Name.V, c.process)
		at = func(v spec.Range) string {
			return fmt.Sprintf("%s line %d", c.machine.File, lineOf(c.machine.Doc, v.Start))
		}
	}
	take := func(what string, v spec.Value[spec.Quantity], otherwise float64, words func(float64) string) float64 {
		if v.Set {
			c.say(what, words(v.V.V), at(v.At), false)
			return v.V.V
		}
		c.say(what, words(otherwise), none, true)
		return otherwise
	}
	c.job.LayerMM = take("layer", sm.Layer, u.layerMM, func(v float64) string { return plain(v*1000) + " um" })
	c.job.RecoatS = take("recoat", sm.Recoat, u.recoatS, func(v float64) string { return plain(v) + " s" })
	if sm.Setup.Set {
		c.job.SetupH = take("set-up", sm.Setup, 0, func(v float64) string { return plain(v/3600) + " h a job" }) / 3600
	} else {
		c.say("set-up", leftOut, c.lacks("setup"), true)
	}
	c.spacing = take("spacing", sm.Spacing, 3, func(v float64) string { return plain(v) + " mm" })
	switch {
	case sm.BuildRate.Set:
		c.job.RateCM3H = take("melt rate", sm.BuildRate, 0, func(v float64) string { return plain(v) + " cm3/h" })
	case known && m.BuildRate.Set && c.process == LaserPBF:
		c.job.RateCM3H = m.BuildRate.V
		c.say("melt rate", plain(m.BuildRate.V)+" cm3/h", m.BuildRate.From.Place(), false)
	default:
		c.job.RateCM3H = u.rateCM3H
		c.say("melt rate", plain(u.rateCM3H)+" cm3/h", none, true)
	}
	if sm.Contour.Set {
		c.job.OutlineMMS = take("outlines", sm.Contour, 0, func(v float64) string { return plain(v) + " mm/s" })
	} else {
		c.say("outlines", "in the melt rate", c.lacks("contour"), true)
	}
	if c.money = sm.Rate.Set; c.money {
		c.rates.MachineH = sm.Rate.V
		c.say("machine", plain(sm.Rate.V)+" per h"+pick(sm.Gas.Set, "", ", gas in it"), at(sm.Rate.At), false)
	} else {
		c.rates.MachineH = 1
	}
	if sm.Gas.Set {
		c.rates.GasH = sm.Gas.V
		c.say("gas", plain(sm.Gas.V)+" per h", at(sm.Gas.At), false)
	}
}

// lacks says why a figure of the machine is not there.
func (c *costs) lacks(key string) string {
	if c.hasMachine {
		return fmt.Sprintf("machine %q gives no %s", c.machine.Name.V, key)
	}
	return "no machine is named"
}

// ofRates takes what work costs beside the machine.
func (c *costs) ofRates(shop *Shop) {
	r := shop.Rates()
	price := func(what string, f Fact, unit string, to *float64) {
		if f.Set && c.money {
			*to = f.V
			c.say(what, plain(f.V)+unit, f.From.Place(), false)
		}
	}
	price("job", r.Job, " per job", &c.rates.JobBefore)
	if c.process == BinderJet || c.process == Extrusion {
		price("furnace", r.Furnace, " per run, one a job", &c.rates.JobAfter)
		if c.money && !r.Furnace.Set {
			c.say("furnace", leftOut, "the shop gives no rates.furnace", true)
		}
	}
	if c.money && !r.Job.Set {
		c.say("job", leftOut, "the shop gives no rates.job", true)
	}
	price("part", r.Part, " per part", &c.rates.PartAfter)
	c.rates.WorkH = c.rates.MachineH
	if price("work by hand", r.Work, " per h", &c.rates.WorkH); !r.Work.Set && c.money {
		c.say("work by hand", plain(c.rates.WorkH)+" per h", "the shop gives no rates.work: the machine's rate stands in", true)
	}
	c.removalS, c.share = r.RemovalS.V, r.SupportShare.V
	if !(c.share > 0) {
		c.share = defaultShare
	}
	c.rates.Loss = r.PowderLoss.V
	c.say("support", plain(100*c.share)+" % of its column", r.SupportShare.From.Place(), false)
	c.say("support removal", plain(c.removalS)+" s per cm2", r.RemovalS.From.Place(), false)
	c.say("powder lost", plain(100*c.rates.Loss)+" %", r.PowderLoss.From.Place(), false)
}

// shape is the geometry that a price needs, at the size of the drawing.
type shape struct {
	heightMM  float64 // with the lift
	partMM3   float64
	columnMM3 float64 // under what needs support
	touchMM2  float64 // where support touches the part
	sideMM2   float64 // that the outlines of the part's layers sweep
	perJob    int     // parts that a job holds
}

// order is a part of that shape under these figures.
func (c *costs) order(s shape) estimate.Order {
	o := estimate.Order{Quantity: c.quantity, PerJob: s.perJob, Job: c.job, Rates: c.rates}
	cube := c.xy * c.xy * c.z
	o.Job.HeightMM = s.heightMM * c.z
	o.Job.PartMM3, o.Job.SupportMM3 = s.partMM3*cube, c.share*s.columnMM3*cube
	o.Job.OutlineMM2 = s.sideMM2 * c.xy * c.z
	o.HandH = s.touchMM2 / 100 * c.removalS / 3600
	// The mass of metal is that of the sintered part: shrinking takes none away.
	o.MassG = (s.partMM3 + c.share*s.columnMM3) / 1000 * c.density
	return o
}

// price is what a part costs, in money or, without a rate, in hours.
func (c *costs) price(s shape) estimate.Price {
	o := c.order(s)
	if !c.money {
		o.Rates = estimate.Rates{MachineH: 1, WorkH: 1}
	}
	return o.Price()
}

// Band is a figure and what it may be.
type Band struct{ Value, Low, High float64 }

// bands widens the price p of a shape by what its inputs may be off by: the melt rate and
// the speed along outlines, which turns and skips cut as much, the solid share of the supports and the time to take them off.
func (c *costs) bands(s shape, p estimate.Price) (hours, cost Band) {
	low, high := *c, *c
	low.job.RateCM3H, high.job.RateCM3H = c.job.RateCM3H*rateBand, c.job.RateCM3H/rateBand
	low.job.OutlineMMS, high.job.OutlineMMS = c.job.OutlineMMS*rateBand, c.job.OutlineMMS/rateBand
	low.removalS, high.removalS = c.removalS/removalBand, c.removalS*removalBand
	low.share, high.share = min(c.share, shareLow), max(c.share, shareHigh)
	l, h := low.price(s), high.price(s)
	return Band{p.MachineH, l.MachineH, h.MachineH}, Band{p.Cost.Sum, l.Cost.Sum, h.Cost.Sum}
}
