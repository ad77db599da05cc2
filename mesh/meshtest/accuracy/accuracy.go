// Package accuracy gathers the worst errors that the tests of measurements see,
// family of shapes by family, into one table. A family that leaves its band
// fails its test; a measurement without a family fails the table.
package accuracy

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"sync"
	"testing"
	"text/tabwriter"
)

// Measurements are those of the table, in its order: whatever a check or a
// report is told of a mesh has to be among them.
var Measurements = []string{
	"reading", "integrity", "mass", "box", "fit", "inclination", "overhang", "bridge", "floating start", "wall", "feather edge",
	"largest ball", "gap", "hole", "pin", "sealed void", "vented void", "passage", "sections", "support", "access", "slenderness",
	"milling", "directions", "platform",
}

// What a worst error counts in.
const (
	Share  = "of itself"   // the error over the true value
	OfBand = "of its band" // the error over what the measurement itself says that it may miss
	Wrong  = "wrong"       // answers that are no matter of degree: counts, kinds
)

// Family is one quantity of a measurement over one family of shapes.
type Family struct {
	Measurement, Quantity, Shapes, Unit string
	Band                                float64 // the worst error that may be
	Worst                               float64
	Cases                               int
}

// Of starts a family with no case yet.
func Of(measurement, quantity, shapes, unit string, band float64) *Family {
	return &Family{Measurement: measurement, Quantity: quantity, Shapes: shapes, Unit: unit, Band: band}
}

// Add counts a case that is off by so much, either way; NaN is off by all.
func (f *Family) Add(off float64) {
	f.Cases++
	if off = math.Abs(off); math.IsNaN(off) {
		off = math.Inf(1)
	}
	f.Worst = max(f.Worst, off)
}

// Near counts a case by its error over the true value.
func (f *Family) Near(got, want float64) {
	f.Add((got - want) / math.Max(math.Abs(want), 1e-9))
}

// Within counts a case by its error over what may be missed; an exact answer
// may miss nothing.
func (f *Family) Within(got, want, miss float64) {
	off := math.Abs(got - want)
	if off > 0 {
		off /= miss
	}
	f.Add(off)
}

// Right counts a case that is right or wrong.
func (f *Family) Right(ok bool) {
	f.Cases++
	if !ok {
		f.Worst++
	}
}

var (
	mu    sync.Mutex // guards table
	table []Family
)

// Hold fails the test if the family has left its band, or has no case, and puts
// it into the table.
func (f *Family) Hold(t testing.TB) {
	t.Helper()
	what := f.Measurement + ": " + f.Quantity + ", " + f.Shapes
	t.Logf("worst of %d: %s: %.2g %s (band %.3g)", f.Cases, what, f.Worst, f.Unit, f.Band)
	if f.Cases == 0 {
		t.Errorf("%s: no case", what)
	}
	if !(f.Worst <= f.Band) {
		t.Errorf("%s: off by %.3g %s, more than %.3g", what, f.Worst, f.Unit, f.Band)
	}
	if !slices.Contains(Measurements, f.Measurement) {
		t.Errorf("%s is no measurement of the table", f.Measurement)
	}
	mu.Lock()
	defer mu.Unlock()
	table = append(table, *f)
}

// Print writes the families held so far, in the order of Measurements, and
// returns the measurements that have none.
func Print(w io.Writer) (missing []string, err error) {
	mu.Lock()
	rows := slices.Clone(table)
	mu.Unlock()
	slices.SortStableFunc(rows, func(a, b Family) int {
		return cmp.Or(cmp.Compare(slices.Index(Measurements, a.Measurement), slices.Index(Measurements, b.Measurement)),
			cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.Shapes, b.Shapes))
	})
	out := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(out, "measurement\tquantity\tshapes\tcases\tworst\tband\t")
	for _, f := range rows {
		fmt.Fprintf(out, "%s\t%s\t%s\t%d\t%.2g\t%.2g\t%s\n", f.Measurement, f.Quantity, f.Shapes, f.Cases, f.Worst, f.Band, f.Unit)
	}
	for _, m := range Measurements {
		if !slices.ContainsFunc(rows, func(f Family) bool { return f.Measurement == m }) {
			missing = append(missing, m)
		}
	}
	return missing, out.Flush()
}
