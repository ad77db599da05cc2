package rules

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"

	"corbel/mesh"
	"corbel/spec"
)

// This file makes words of numbers. A number carries no more digits than its
// band supports: a value that may be off by 0.05 mm is said to tenths.

// decimals returns how many decimals a value that may be off by band bears, at
// most most: a step of the last one is not smaller than the band.
func decimals(band float64, most int) int {
	for d := most; d > 0; d-- {
		if band <= math.Pow10(-d)*(1+1e-9) {
			return d
		}
	}
	return 0
}

// number says v to at most two decimals.
func number(v, band float64) string { return strconv.FormatFloat(v, 'f', decimals(band, 2), 64) }

// pair says a value and the limit it breaks. The limit is said as precisely as
// it was written. The value has as many decimals as its band bears, up to two,
// and more where fewer would put it on the limit, on the other side of it, or
// at nothing when it is more than a tenth of its band.
func pair(v, limit, band float64) (value, against string) {
	against = plain(limit)
	told, _ := strconv.ParseFloat(against, 64)
	for d := decimals(band, 2); ; d++ {
		value = strconv.FormatFloat(v, 'f', d, 64)
		r, _ := strconv.ParseFloat(value, 64)
		if d == decimalsMax || cmp.Compare(r, told) == cmp.Compare(v, told) && (r != 0 || math.Abs(v) <= band/10) {
			return value, against
		}
	}
}

// decimalsMax is past what tells any value that breaks a limit from it: see equalErr.
const decimalsMax = 7

// plain says a number the short way: 2, 0.5, 12.25.
func plain(v float64) string { return strconv.FormatFloat(roundTo(v, 4), 'f', -1, 64) }

// ratioBand lets ratios be said to tenths: they come of lengths that are no
// better.
const ratioBand = 0.05

// tellTimes: where harm grows with a power of a measured value, a finding says how
// many times as bad as at its limit it is, from this many on.
const tellTimes = 2

func roundTo(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(v*p) / p
}

// rounded says an amount to two or three figures, which is all that an area
// or a mass is good for in a sentence.
func rounded(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 1:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case a == 0:
		return "0"
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// sayQuantity says a quantity as it was written.
func sayQuantity(q spec.Quantity) string {
	if q.Unit == "" {
		return plain(q.Num)
	}
	return plain(q.Num) + " " + q.Unit
}

// sayLayer names the layer of an origin in a sentence.
func sayLayer(o Origin) string {
	switch o.Layer {
	case "built-in":
		return "the built-in default"
	case "part":
		return "the part spec"
	case "material", "machine":
		return "the shop, by " + o.Layer + ","
	}
	return "the shop"
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// roughly says a value by its first digit, without a power of ten.
func roughly(v float64) string {
	first, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 1, 64), 64)
	return strconv.FormatFloat(first, 'f', -1, 64)
}

// near says a place in the numbers that CAD shows and a spec takes: mesh units.
func (p *Subject) near(at mesh.Vec) string {
	unit, scale, digits := "", 1.0, 1
	if p.Info != nil && p.Info.Source.UnitMM > 0 && p.Info.Source.UnitMM != 1 {
		unit, scale = " "+p.Info.Source.Unit, 1/p.Info.Source.UnitMM
		digits = max(0, 1+int(math.Round(math.Log10(p.Info.Source.UnitMM))))
	}
	var s [3]string
	for k := range s {
		s[k] = strconv.FormatFloat(roundTo(at[k]*scale, digits)+0, 'f', digits, 64)
	}
	return "near (" + strings.Join(s[:], ", ") + ")" + unit
}

// forWhat names what the limits are for: the material, or the process without one.
func (p *Subject) forWhat() string {
	if p.Spec.Material.Set {
		return p.Spec.Material.V
	}
	return p.Spec.Process.V
}

// where says the place of a finding, or how many like places there are and
// which is the worst.
func (p *Subject) where(f *Finding) string {
	if f.Count > 1 {
		return fmt.Sprintf("in %d places, worst %s", f.Count, p.near(f.At))
	}
	return p.near(f.At)
}

// closeCall is put into a sentence where the limit lies inside the band.
func closeCall(f *Finding) string {
	if !f.Undecided {
		return ""
	}
	return fmt.Sprintf(" (too close to call: the value may be off by %s%s)", roughly(f.Band), unitText(f.Unit))
}

func unitText(u string) string {
	if u == "" {
		return ""
	}
	return " " + u
}

// SayEnds says how a hole or a passage ends.
func SayEnds(through bool) string { return pick(through, "through", "blind") }

// openIt says how to let powder out of one that is too deep for it.
func openIt(through bool) string { return pick(through, "open it on the way", "open its far end") }
