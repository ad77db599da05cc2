package estimate

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// Worked example in the form of Baumers et al. 2012 and 2013: 60 mm high, 50 cm3
// and 5 cm3 of support, 12 cm3/h, 10 s a layer, 1 h of set-up. Derived by hand.
func TestBuildTimeAndCost(t *testing.T) {
	j := Job{HeightMM: 60, LayerMM: 0.04, RecoatS: 10, SetupH: 1, PartMM3: 50000, SupportMM3: 5000, RateCM3H: 12, Count: 1}
	b := BuildTime(j)
	if b.Layers != 1500 {
		t.Errorf("layers: %d", b.Layers)
	}
	near(t, "recoat", b.Recoat, 4.1667, 1e-4)
	near(t, "melt", b.Melt, 4.5833, 1e-4)
	near(t, "time", b.Sum, 9.75, 1e-9)

	c := PartCost(Rates{MachineH: 60, JobBefore: 200, JobAfter: 250, PartAfter: 40, PowderKG: 60, Loss: 0.1}, b, 4, 450.45)
	near(t, "cost", c.Sum, 328.48, 0.005)
	near(t, "shares", c.Machine+c.Job+c.Powder+c.Gas+c.Finish, c.Sum, 1e-12)
}

// The direct form of Baumers et al. 2012, Solid Freeform Fabrication Symposium, and
// 2013, J. Ind. Ecol. 17:418 (quoted in NIST SP 1176; coefficients from memory):
// C = c_h T + w p_m + E p_e, a machine hour at 26.64, powder at 78.81 per kg, energy
// at 0.018 per MJ, here 300 MJ over 9.75 h, which a shop pays by the hour as it
// pays gas: 259.74 + 35.50 + 5.40 = 300.64.
func TestCostDirectForm(t *testing.T) {
	b := BuildTime(Job{HeightMM: 60, LayerMM: 0.04, RecoatS: 10, SetupH: 1, PartMM3: 50000, SupportMM3: 5000, RateCM3H: 12, Count: 1})
	c := PartCost(Rates{MachineH: 26.64, PowderKG: 78.81, GasH: 300 * 0.018 / 9.75}, b, 1, 55*8.19)
	near(t, "indirect", c.Machine, 259.74, 0.005)
	near(t, "powder", c.Powder, 35.50, 0.005)
	near(t, "energy", c.Gas, 5.40, 1e-9)
	near(t, "cost", c.Sum, 300.64, 0.005)
}

// A closed form: a box of 20 x 10 mm and 30 mm high has outlines of 60 mm a
// layer, 45 m in 750 layers of 0.04 mm: 112.5 s at 400 mm/s, whatever the layer's
// share of the height. Two parts take twice that.
func TestOutlineTime(t *testing.T) {
	j := Job{HeightMM: 30, LayerMM: 0.04, RecoatS: 10, SetupH: 1, PartMM3: 6000, RateCM3H: 12, OutlineMM2: 60 * 30, OutlineMMS: 400, Count: 1}
	b := BuildTime(j)
	near(t, "outlines", b.Outline, 45000./400/3600, 1e-12)
	near(t, "sum", b.Sum, 1+750*10/3600.+0.5+b.Outline, 1e-12)
	j.Count = 2
	near(t, "two parts", BuildTime(j).Outline, 2*b.Outline, 1e-12)
	j.OutlineMMS = 0
	near(t, "in the melt rate", BuildTime(j).Outline, 0, 0)
}

func TestLayers(t *testing.T) {
	for _, c := range []struct {
		h, l float64
		want int
	}{{60, 0.04, 1500}, {60.01, 0.04, 1501}, {0.04, 0.04, 1}, {0.001, 0.04, 1}, {0, 0.04, 0}, {10, 0, 0}, {1, math.NaN(), 0}, {300, 0.03, 10000}, {0.3, 0.1, 3}} {
		if n := Layers(c.h, c.l); n != c.want {
			t.Errorf("%g mm of %g: %d layers, want %d", c.h, c.l, n, c.want)
		}
	}
}

// Elementary; 7.2 mm3/s = 25.92 cm3/h is the rate of Materials 2016, 9(12):975.
func TestMeltRate(t *testing.T) {
	near(t, "285 W set", MeltRate(960, 0.11, 0.04), 15.206, 5e-4)
	near(t, "280 W set", MeltRate(1200, 0.14, 0.03), 18.144, 5e-4)
	near(t, "370 W set", MeltRate(1300, 0.19, 0.03), 26.676, 5e-4)
	near(t, "195 W set", MeltRate(1083, 0.09, 0.02), 7.018, 5e-4)
	near(t, "182 W set", MeltRate(800, 0.10, 0.02), 5.760, 5e-4)
	near(t, "7.2 mm3/s", 7.2*3.6, 25.92, 1e-12)
}

// Closed forms; the factors 1.1986 and 1.261 are widely used for 316L (from memory).
func TestSinter(t *testing.T) {
	near(t, "20 mm at 0.17", Green(20, 0.17), 24.0964, 5e-5)
	near(t, "100 mm at 0.17", Green(100, 0.17), 120.48, 5e-3)
	near(t, "0.55 to 0.98", ShrinkageOf(0.55, 0.98), 0.175143, 5e-7)
	near(t, "0.60 to 0.97", ShrinkageOf(0.60, 0.97), 0.14796, 5e-6)
	near(t, "0.50 to 0.97", ShrinkageOf(0.50, 0.97), 0.19820, 5e-6)
	for s, factor := range map[float64]float64{0.15: 1.17647, 0.17: 1.20482, 0.18: 1.21951, 0.195: 1.24224, 0.20: 1.25} {
		near(t, "factor", Green(1, s), factor, 5e-6)
	}
	for s, factor := range map[float64]float64{0.15: 1.62833, 0.17: 1.74890, 0.18: 1.81367, 0.195: 1.91696, 0.20: 1.95312} {
		near(t, "volume factor", math.Pow(Green(1, s), 3), factor, 6e-6)
	}
	for _, s := range []float64{0, 0.1, 0.17, 0.2} {
		near(t, "there and back", Green(1, s)*(1-s), 1, 1e-12)
	}
	near(t, "factor 1.1986", 1-1/1.1986, 0.165693, 5e-7)
	near(t, "factor 1.261", 1-1/1.261, 0.20698, 5e-6)
}

// Scaling laws: debinding by diffusion takes t ~ L^2 (German and Bose 1997, from
// memory), 2.78 times as long for 10 mm as for 6; a span of twice the length sags
// 16 times, of half a sixteenth (beam theory; that gravity bends parts in the
// furnace: Rapid Prototyp J 30(11):369, read); a wall ten times as slender gives
// way 1000 times as far (beam theory).
func TestScalingLaws(t *testing.T) {
	near(t, "debinding, 6 to 10 mm", DebindingTimes(10, 6), 2.78, 0.005)
	near(t, "twice the span", SagTimes(20, 10), 16, 1e-12)
	near(t, "half the span", SagTimes(5, 10), 1./16, 1e-12)
	near(t, "ten times as slender", SwayTimes(10, 1), 1000, 1e-9)
	// The forms themselves, of a wall of 0.5 mm against one of 1 mm, 12 mm high
	// and 30 mm long: F H^3/(3 E L t^3/12).
	sway := func(h, thick float64) float64 { return math.Pow(h, 3) / (3 * 30 * math.Pow(thick, 3) / 12) }
	near(t, "half as thick", SwayTimes(12/0.5, 12/1.), sway(12, 0.5)/sway(12, 1), 1e-12)
}

// Derived: the void of a ball of 16 mm; densities from handbooks, from memory.
func TestPowderMass(t *testing.T) {
	v := math.Pi / 6 * 16 * 16 * 16
	near(t, "Ti-6Al-4V", PowderMass(v, 0.55, 4.43), 5.225, 5e-4)
	near(t, "AlSi10Mg", PowderMass(v, 0.55, 2.67), 3.149, 5e-4)
	near(t, "316L", PowderMass(v, 0.60, 7.99), 10.282, 1e-3)
	near(t, "least of 10 cm3", PowderMass(10000, 0.50, 4.43), 22.15, 1e-9)
	near(t, "most of 10 cm3", PowderMass(10000, 0.60, 4.43), 26.58, 1e-9)
	// What fills a bed of 250 x 250 x 60 mm.
	near(t, "bed", PowderMass(250*250*60, 0.55, 2.67), 3750*0.55*2.67, 1e-9)
	near(t, "10 cm3", PowderMass(10000, 0.55, 4.43), 24.37, 5.1e-3) // rounded to two places
}

// Common practice, no source: the curve passes through 12, 25 and 40 um.
func TestRoughness(t *testing.T) {
	for _, c := range []struct{ a, want float64 }{{90, 12}, {60, 20.6667}, {45, 25}, {37.5, 32.5}, {30, 40}} {
		ra, ok := DownskinRoughness(c.a, 12, 25, 40)
		if !ok {
			t.Errorf("%g: not predicted", c.a)
		}
		near(t, "downskin", ra, c.want, 5e-4)
	}
	for _, a := range []float64{29.9, 0, 90.1, math.NaN()} {
		if _, ok := DownskinRoughness(a, 12, 25, 40); ok && !math.IsNaN(a) {
			t.Errorf("%g is predicted", a)
		}
	}
	rz, ra := StairStep(45, 40)
	near(t, "Rz", rz, 28.284, 1e-3)
	near(t, "Ra", ra, 7.071, 1e-3)
	rz, ra = StairStep(30, 50)
	near(t, "Rz at 30", rz, 43.301, 1e-3)
	near(t, "Ra at 30", ra, 10.825, 1e-3)
	near(t, "upskin at 90", UpskinRoughness(90, 12, 40), 12, 1e-9)
	near(t, "upskin at 0", UpskinRoughness(0, 12, 40), math.Hypot(12, 10), 1e-12)
}

// Derived from inputs of practice: Ra 12 um, +-0.3 mm, 0.1 and 0.05 mm.
func TestAllowance(t *testing.T) { near(t, "stock", Allowance(0.012, 0.3, 0.1, 0.05), 0.534, 1e-9) }
