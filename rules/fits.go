package rules

import (
	"fmt"
	"math"
	"strconv"

	"corbel/rules/fit"
	"corbel/spec"
)

// This file says what the tolerance of a declared hole means: the sizes it
// allows, what its shaft leaves in it, what the process gives as built against
// that, and what stock a finish needs that holds it.

// HoleFit is a declared hole with its tolerance in sizes, mm.
type HoleFit struct {
	Decl        *spec.Hole
	Zone        fit.Tolerance // of the hole
	Shaft       fit.Tolerance // of the shaft that goes in; no Text without one
	HasFit      bool          // both places are known, so Fit holds
	Fit         fit.Fit
	BuiltGrade  int     // IT grade that the process holds as built; 0 unknown
	BuiltMM     float64 // its width on this size
	Built       Span    // what the shaft leaves as built: clearance, below 0 interference; only with HasFit
	NeedsFinish bool    // finer than the process holds
	DrawMM      float64 // diameter to draw: less the stock of its finish, or the middle of its zone
	StockMM     float64 // a side
}

// Span is the least and the most of something.
type Span struct{ Low, High float64 }

// Fits returns what the tolerances of the declared holes mean, in their order;
// those that say none, or one without a place in the tables, are left out.
func (r *PartReport) Fits() []HoleFit {
	if r.Spec == nil || r.Limits == nil {
		return nil
	}
	p := r.subject()
	var out []HoleFit
	for i := range r.Spec.Holes {
		if f, ok := p.fitOf(&r.Spec.Holes[i]); ok {
			out = append(out, f)
		}
	}
	return out
}

// FitOf is the one among Fits of a declared hole, by the number of its
// declaration.
func (r *PartReport) FitOf(declared int) (HoleFit, bool) {
	p := r.subject()
	return p.fitOf(&r.Spec.Holes[declared])
}

func (p *Subject) fitOf(d *spec.Hole) (HoleFit, bool) {
	f := HoleFit{Decl: d}
	if !d.Tolerance.Set || !d.Diameter.Set {
		return f, false
	}
	size := d.Diameter.V.V
	var ok bool
	if f.Zone, f.Shaft, ok = zones(d.Tolerance.V, size); !ok {
		return f, false
	}
	f.Fit, f.HasFit = fit.Between(f.Zone, f.Shaft)
	middle := (f.Zone.LowerMM + f.Zone.UpperMM) / 2
	f.DrawMM = size + middle
	if l, ok := p.Limit("tolerance.grade"); ok {
		if w, ok := fit.Grade(int(l.V), size); ok {
			f.BuiltGrade, f.BuiltMM = int(l.V), w/1000
			// As built the size scatters about the one that is drawn.
			f.Built = Span{middle - f.BuiltMM/2 - f.Shaft.UpperMM, middle + f.BuiltMM/2 - f.Shaft.LowerMM}
			f.NeedsFinish = f.Zone.WidthMM < f.BuiltMM-equalErr(f.BuiltMM)
		}
	}
	if machined(d.Finish.V) || f.NeedsFinish {
		if l, ok := p.Limit("stock.thickness"); ok {
			f.StockMM, f.DrawMM = l.V, size-2*l.V
		}
	}
	return f, true
}

// zones are those of the hole and of the shaft that a tolerance names for a
// size; false where the hole's has no place.
func zones(text string, sizeMM float64) (hole, shaft fit.Tolerance, ok bool) {
	t, err := spec.ParseTolerance(text)
	switch {
	case err != nil:
		return hole, shaft, false
	case t.IsBand():
		return fit.Tolerance{Text: text, WidthMM: t.Upper.V - t.Lower.V, LowerMM: t.Lower.V, UpperMM: t.Upper.V, Known: true}, shaft, true
	}
	if hole, err = fit.Parse(fmt.Sprintf("%s%d", t.Letters, t.Grade), sizeMM); err != nil || !hole.Known {
		return hole, shaft, false
	}
	if t.Shaft != "" {
		if shaft, err = fit.Parse(t.Shaft, sizeMM); err != nil {
			shaft = fit.Tolerance{Text: t.Shaft} // outside the tables: no place
		}
	}
	return hole, shaft, true
}

// SayFit says what a tolerance means: first the sizes and what the shaft leaves,
// then what the process gives as built and what to draw.
func (f *HoleFit) SayFit() (sizes, made string) {
	size := f.Decl.Diameter.V.V
	sizes = fmt.Sprintf("%s on %s mm: hole %s to %s mm", f.Decl.Tolerance.V, plain(size), number3(size+f.Zone.LowerMM), number3(size+f.Zone.UpperMM))
	switch {
	case f.HasFit:
		sizes += fmt.Sprintf(", shaft %s to %s mm, %s (%s fit)", number3(size+f.Shaft.LowerMM), number3(size+f.Shaft.UpperMM), sayClearance(f.Fit.LeastMM, f.Fit.MostMM, 3), f.Fit.Kind())
	case f.Shaft.Text != "":
		sizes += fmt.Sprintf("; the tables here have no place for %s", f.Shaft.Text)
	}
	if f.BuiltGrade > 0 {
		made = fmt.Sprintf("As built to IT%d, %s mm wide, it would %s", f.BuiltGrade, number3(f.BuiltMM), pick(f.NeedsFinish, "miss that", "hold that"))
		if f.HasFit {
			made += ": " + sayClearance(f.Built.Low, f.Built.High, builtDecimals)
		}
		made += "; "
	}
	switch {
	case f.StockMM > 0:
		made += fmt.Sprintf("draw it %s mm, which leaves %s mm a side to %s", plain(roundTo(f.DrawMM, 3)), plain(f.StockMM), pick(machined(f.Decl.Finish.V), f.Decl.Finish.V, "ream or bore"))
	default:
		made += fmt.Sprintf("draw it %s mm, the middle of its zone", plain(roundTo(f.DrawMM, 3)))
	}
	return sizes, upperFirst(made)
}

// builtDecimals is how finely sizes as built are said: their scatter is known no
// better.
const builtDecimals = 2

// sayClearance says what a shaft leaves in a hole.
func sayClearance(least, most float64, decimals int) string {
	say := func(v float64) string { return strconv.FormatFloat(math.Abs(v), 'f', decimals, 64) }
	const sumErrMM = 1e-9
	switch {
	case least >= -sumErrMM:
		return fmt.Sprintf("%s to %s mm of clearance", say(least), say(most))
	case most <= sumErrMM:
		return fmt.Sprintf("%s to %s mm of interference", say(most), say(least))
	}
	return fmt.Sprintf("%s mm of interference to %s mm of clearance", say(least), say(most))
}
