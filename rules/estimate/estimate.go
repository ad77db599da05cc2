// Package estimate holds the planning formulas of the trade: build time, cost,
// sinter scale, trapped powder, as-built roughness, machining allowance. Each
// is a closed form over plain numbers, so that a figure can be followed by
// hand; which shop's numbers go in is the caller's business.
//
// Every result is a planning figure, not an offer.
package estimate

import "math"

// Job is what a build needs to know of the part and the machine.
type Job struct {
	HeightMM   float64 // of the build: the part as it stands, with its lift
	LayerMM    float64
	RecoatS    float64 // per layer
	SetupH     float64 // preparation, heating and cooling of one job
	PartMM3    float64 // melted volume of one part
	SupportMM3 float64 // solid volume of its support
	RateCM3H   float64 // net melt rate
	OutlineMM2 float64 // surface that the outlines of the layers of one part sweep: their length times the layer
	OutlineMMS float64 // speed along outlines; 0 where the melt rate has them in
	Count      int     // parts in the job
}

// Time is a build time and what it is made of, in hours, for the whole job.
type Time struct {
	Layers                            int
	Setup, Recoat, Melt, Outline, Sum float64
}

// BuildTime adds set-up, recoating, melting and outlines:
// T = T_job + N t_r + n (V_p + V_s)/Q + n A_o/(t v) with N layers of t, A_o the
// surface that outlines sweep and v the speed along them. Form after Baumers et
// al. 2012, Solid Freeform Fabrication Symposium (job, layer and voxel terms;
// form from memory); the outlines as a share of their own are common practice,
// no source. Without a speed they are part of the net melt rate.
func BuildTime(j Job) Time {
	t := Time{Layers: Layers(j.HeightMM, j.LayerMM), Setup: j.SetupH}
	t.Recoat = float64(t.Layers) * j.RecoatS / 3600
	if j.RateCM3H > 0 {
		t.Melt = float64(max(1, j.Count)) * (j.PartMM3 + j.SupportMM3) / 1000 / j.RateCM3H
	}
	if j.OutlineMMS > 0 && j.LayerMM > 0 {
		t.Outline = float64(max(1, j.Count)) * j.OutlineMM2 / j.LayerMM / j.OutlineMMS / 3600
	}
	t.Sum = t.Setup + t.Recoat + t.Melt + t.Outline
	return t
}

// layersTol keeps 60 mm of 0.04 mm layers at 1500: a share of a layer that is
// rounding of the division, not a further layer.
const layersTol = 1e-6

// Layers returns how many layers a height takes; 0 where either is not positive.
func Layers(heightMM, layerMM float64) int {
	if !(heightMM > 0) || !(layerMM > 0) {
		return 0
	}
	return int(math.Ceil(heightMM/layerMM - layersTol))
}

// MeltRate returns speed times hatch times layer, in cm3/h (mm/s, mm, mm).
func MeltRate(speedMMS, hatchMM, layerMM float64) float64 {
	return speedMMS * hatchMM * layerMM * 3.6
}

// Rates is what a shop charges and pays.
type Rates struct {
	MachineH  float64 // per hour
	JobBefore float64 // preparing a job
	JobAfter  float64 // finishing a job: unpacking, stress relief, cutting off
	PartAfter float64 // finishing one part
	PowderKG  float64 // price per kg
	Loss      float64 // share of powder lost beside the part
	GasH      float64 // gas per hour
	WorkH     float64 // per hour by hand
}

// Cost is the cost of one part and its shares.
type Cost struct{ Machine, Job, Powder, Gas, Removal, Finish, Sum float64 }

// PartCost shares a job's cost among its parts:
// (C_pre + c_m T + C_post)/n + m p (1 + loss) + C_part.
func PartCost(r Rates, t Time, count int, massG float64) Cost {
	n := float64(max(1, count))
	c := Cost{
		Machine: r.MachineH * t.Sum / n,
		Job:     (r.JobBefore + r.JobAfter) / n,
		Powder:  massG / 1000 * r.PowderKG * (1 + r.Loss),
		Gas:     r.GasH * t.Sum / n,
		Finish:  r.PartAfter,
	}
	c.Sum = c.Machine + c.Job + c.Powder + c.Gas + c.Finish
	return c
}

// Green returns the size to build for a sintered size and a linear shrinkage
// (share of the green length, 0 to below 1): L/(1-s).
func Green(sinteredMM, shrinkage float64) float64 { return sinteredMM / (1 - shrinkage) }

// ShrinkageOf returns the linear shrinkage between two relative densities:
// 1 - (green/sintered)^(1/3), the same in every direction.
func ShrinkageOf(green, sintered float64) float64 { return 1 - math.Cbrt(green/sintered) }

// DebindingTimes returns how many times as long binder takes out of a section as
// out of another of its kind: diffusion takes the square of the way (German and
// Bose 1997, Injection Molding of Metals and Ceramics, from memory).
func DebindingTimes(sectionMM, otherMM float64) float64 { return math.Pow(sectionMM/otherMM, 2) }

// SagTimes returns how many times as far a span sags in the furnace under its own
// weight as another of its height: viscous as elastic, 5 rho g L^4/(32 E h^2) of
// beam theory, whose fourth power of the span is all that is taken of it.
func SagTimes(spanMM, otherMM float64) float64 { return math.Pow(spanMM/otherMM, 4) }

// SwayTimes returns how many times as far the top of a free wall gives way to a
// push as that of another, by height over thickness: F H^3/(3 E I) with
// I = L t^3/12 (beam theory).
func SwayTimes(ratio, other float64) float64 { return math.Pow(ratio/other, 3) }

// PowderMass returns the mass in grams of loose powder in a space.
func PowderMass(volumeMM3, packing, densityGCM3 float64) float64 {
	return volumeMM3 / 1000 * packing * densityGCM3
}

// DownskinRoughness returns the Ra to expect on a downskin surface inclined by
// alpha from the horizontal, in the unit of its inputs: ra90 on a vertical
// wall, ra45 at 45 degrees, ra30 at 30; false below 30 degrees, where nothing
// is predicted. A planning curve through three values of practice, no
// published law.
func DownskinRoughness(alphaDeg, ra90, ra45, ra30 float64) (ra float64, ok bool) {
	switch {
	case alphaDeg < 30 || alphaDeg > 90:
		return 0, false
	case alphaDeg >= 45:
		return ra90 + (ra45-ra90)*(90-alphaDeg)/45, true
	}
	return ra45 + (ra30-ra45)*(45-alphaDeg)/15, true
}

// UpskinRoughness joins the roughness of a vertical wall with the steps of the
// layers: sqrt(ra90^2 + (t cos(alpha)/4)^2), t in the unit of ra90. Stair-step
// form classic, from memory; Strano et al. 2013 show that it is not enough on
// its own, hence the floor of ra90.
func UpskinRoughness(alphaDeg, ra90, layer float64) float64 {
	step := layer * math.Cos(alphaDeg*math.Pi/180) / 4
	return math.Hypot(ra90, step)
}

// StairStep returns Rz and Ra of triangular layer steps alone.
func StairStep(alphaDeg, layer float64) (rz, ra float64) {
	rz = layer * math.Cos(alphaDeg*math.Pi/180)
	return rz, rz / 4
}

// Allowance returns the stock that a face to be machined needs, in mm: the
// depth of the roughness (7 Ra, common practice, no source), half the tolerance
// band, the distortion to expect and the error of clamping.
func Allowance(raMM, deviationMM, distortionMM, clampMM float64) float64 {
	return 7*raMM + deviationMM + distortionMM + clampMM
}
