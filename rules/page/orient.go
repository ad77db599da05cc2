package page

import (
	"fmt"
	"html/template"
	"image/color"
	"math"
	"slices"
	"strings"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/output"
)

// This file shows what the part would cost as it may stand.

// standings is the section about orientation.
type standings struct {
	Map     template.HTML
	Rows    []standingRow
	Unit    string
	Caption string
}

type standingRow struct{ Mark, Up, Cost, May, Hours, Support, Height, Reason string }

// newStandings returns nil where nothing was looked for.
func newStandings(o *rules.Orientation) *standings {
	if o == nil || o.Now == nil {
		return nil
	}
	s := &standings{Unit: "h"}
	if o.Money {
		s.Unit = o.Currency
	}
	row := func(mark string, x *rules.Standing) {
		r := standingRow{mark, x.Text, figure(math.Round(x.Cost.Value)), figure(math.Round(x.Cost.Low)) + " to " + figure(math.Round(x.Cost.High)),
			figure(round(x.Hours.Value, 1)), figure(round(x.SupportMM3/1000, 2)), figure(round(x.HeightMM, 1)), x.Reason}
		if !o.Money {
			r.Cost, r.May = figure(round(x.Cost.Value, 1)), figure(round(x.Cost.Low, 1))+" to "+figure(round(x.Cost.High, 1))
		}
		s.Rows = append(s.Rows, r)
	}
	row("now", o.Now)
	for i := range o.Choices {
		row(fmt.Sprint(i+1), &o.Choices[i])
	}
	s.Map = costMap(o, s.Unit)
	s.Caption = fmt.Sprintf("Cost of a part, %s, for every direction of the mesh that may point up, by quick sums; %d directions were examined. "+
		"The left disc has the directions with z above 0, the right disc those below; equal areas are equal shares of all directions. "+
		"Rings are directions in which the part does not fit the machine. The table's figures are measured as a check measures them. Planning figures, not an offer.", s.Unit, o.Looked)
	return s
}

// Cheap is light, dear is dark: one hue, so that it reads on paper.
var (
	cheap = color.NRGBA{0xe4, 0xee, 0xe9, 0xff}
	dear  = color.NRGBA{0x0b, 0x3b, 0x47, 0xff}
)

// costAt is the colour of a cost that lies a share of the way from the least to
// what nine directions of ten stay under.
func costAt(share float64) string {
	t := min(1, max(0, share))
	f := func(a, b uint8) uint8 { return uint8(math.Round(float64(a) + t*(float64(b)-float64(a)))) }
	return ink(color.NRGBA{f(cheap.R, dear.R), f(cheap.G, dear.G), f(cheap.B, dear.B), 255})
}

const (
	discRadius = 118.0
	discMiddle = 150.0
)

// onDisc lays a direction onto a disc of equal areas (Lambert 1772,
// "Anmerkungen und Zusaetze zur Entwerfung der Land- und Himmelscharten"), the
// left one for z above 0.
func onDisc(up mesh.Vec) (x, y float64) {
	k := discRadius * math.Sqrt(1/(1+math.Abs(up[2])))
	x, y = discMiddle+k*up[0], discMiddle-k*up[1]
	if up[2] < 0 {
		x += 2 * discMiddle
	}
	return x, y
}

// costMap draws the costs over all directions, with the choices numbered.
func costMap(o *rules.Orientation, unit string) template.HTML {
	if len(o.Map) == 0 {
		return ""
	}
	costs := make([]float64, len(o.Map))
	for i, p := range o.Map {
		costs[i] = p.Cost
	}
	slices.Sort(costs)
	least, most := costs[0], costs[len(costs)*9/10]
	share := func(c float64) float64 {
		if most <= least {
			return 0
		}
		return (c - least) / (most - least)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot discs" role="img" aria-label="Cost by the direction that points up, from %s to %s" viewBox="0 0 %g %g">`,
		figure(least), figure(most), 4*discMiddle, 2*discMiddle+46)
	for i, name := range []string{"+z up", "-z up"} {
		cx := discMiddle + 2*discMiddle*float64(i)
		fmt.Fprintf(&b, `<circle class="rim" cx="%g" cy="%g" r="%g"/>`, cx, discMiddle, discRadius+7)
		for _, a := range []struct {
			text string
			x, y float64
		}{{"+x", 1, 0}, {"-x", -1, 0}, {"+y", 0, 1}, {"-y", 0, -1}} {
			fmt.Fprintf(&b, `<text class="num" x="%g" y="%g" text-anchor="middle">%s</text>`, cx+(discRadius+16)*a.x, discMiddle+4-(discRadius+15)*a.y, a.text)
		}
		fmt.Fprintf(&b, `<text class="num strong" x="%g" y="12" text-anchor="middle">%s</text>`, cx-discRadius+6, name)
	}
	r := 0.86 * discRadius * math.Sqrt(2/float64(len(o.Map)))
	for _, p := range o.Map {
		x, y := onDisc(p.Up)
		if p.Fits {
			fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="%.1f" fill="%s"/>`, x, y, r, costAt(share(p.Cost)))
		} else {
			fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="%.1f" fill="none" stroke="%s" stroke-width="1.5"/>`, x, y, r-1, costAt(share(p.Cost)))
		}
	}
	pin := func(up mesh.Vec, text string) {
		x, y := onDisc(up)
		wide := 9.0 + 4*float64(len(text)-1)
		fmt.Fprintf(&b, `<rect class="tag" x="%.1f" y="%.1f" width="%.1f" height="18" rx="9"/><text class="num strong" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`,
			x-wide, y-9, 2*wide, x, y+4, text)
	}
	for i := len(o.Choices) - 1; i >= 0; i-- {
		if !o.Choices[i].IsNow {
			pin(o.Choices[i].Up, fmt.Sprint(i+1))
		}
	}
	pin(o.Now.Up, "now")
	costScale(&b, least, most, unit)
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

// costScale draws the key of the discs.
func costScale(b *strings.Builder, least, most float64, unit string) {
	const steps, wide = 60, 300.0
	x0, y := 2*discMiddle-wide/2, 2*discMiddle+8
	for i := range steps {
		fmt.Fprintf(b, `<rect x="%.1f" y="%g" width="%.1f" height="12" fill="%s"/>`, x0+wide*float64(i)/steps, y, wide/steps+0.3, costAt((float64(i)+0.5)/steps))
	}
	for i := range 4 {
		v := least + (most-least)*float64(i)/3
		text := figure(round(v, max(0, 1-int(math.Floor(math.Log10(max(v, 1)))))))
		if i == 3 {
			text += " or more"
		}
		fmt.Fprintf(b, `<text class="num" x="%.1f" y="%g" text-anchor="middle">%s</text>`, x0+wide*float64(i)/3, y+26, text)
	}
	fmt.Fprintf(b, `<text class="num strong" x="%.1f" y="%g" text-anchor="end">%s</text>`, x0-14, y+11, template.HTMLEscapeString(output.Clean(unit)))
}
