package page

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"strings"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/still"
)

// This file draws the page's plots as SVG. Only numbers and words of our own
// go into them. Colours of ink come from the style sheet, so that they follow
// light and dark; values are written beside the marks.

// plot is one figure of the page.
type plot struct {
	Title, Caption string
	SVG            template.HTML
}

// bar is one bar of a bar chart.
type bar struct {
	value float64
	color string // empty: ink of the style sheet
}

// barChart is bars from the left to the right over an axis.
type barChart struct {
	label   string // of the picture, for those who can't see it
	bars    []bar
	ticks   []tick  // along the bars, at bar numbers
	limit   float64 // in bar numbers; NaN for none
	limitAs string
	unit    string // of the values
	tight   bool   // no gaps: the bars are a curve
}

type tick struct {
	at   float64
	text string
}

const (
	plotWide, plotHigh  = 520.0, 220.0
	plotLeft, plotRight = 56.0, 12.0
	plotTop, plotFoot   = 26.0, 30.0
	axisSteps           = 4
	plotInner, plotRise = plotWide - plotLeft - plotRight, plotHigh - plotTop - plotFoot
	smallestBar         = 1.2 // pixels: what is not nothing is seen
)

func (c *barChart) svg() template.HTML {
	most := 0.0
	for _, b := range c.bars {
		most = max(most, b.value)
	}
	step := niceStep(most)
	top := step * max(1, math.Ceil(most/step))
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="plot" role="img" aria-label="%s" viewBox="0 0 %g %g">`, template.HTMLEscapeString(c.label), plotWide, plotHigh)
	for v := 0.0; v <= top*1.0001; v += step {
		y := plotTop + plotRise*(1-v/top)
		fmt.Fprintf(&s, `<line class="rule" x1="%g" x2="%g" y1="%.1f" y2="%.1f"/><text class="num" x="%g" y="%.1f" text-anchor="end">%s</text>`,
			plotLeft, plotWide-plotRight, y, y, plotLeft-6, y+4, figure(v))
	}
	fmt.Fprintf(&s, `<text class="num" x="%g" y="14" text-anchor="end">%s</text>`, plotLeft-6, c.unit)
	wide := plotInner / float64(len(c.bars))
	gap := 0.5
	if c.tight {
		gap = -0.1
	}
	for i, b := range c.bars {
		if b.value <= 0 {
			continue
		}
		h := max(smallestBar, plotRise*b.value/top)
		class := `class="bar"`
		switch {
		case b.color != "":
			class = fmt.Sprintf(`class="bar" fill="%s"`, b.color)
		case c.tight:
			class = `class="curve"`
		}
		fmt.Fprintf(&s, `<rect %s x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, class, plotLeft+wide*float64(i)+gap, plotTop+plotRise-h, wide-2*gap, h)
	}
	for _, t := range c.ticks {
		fmt.Fprintf(&s, `<text class="num" x="%.1f" y="%g" text-anchor="middle">%s</text>`, plotLeft+wide*t.at, plotHigh-plotFoot+18, t.text)
	}
	if !math.IsNaN(c.limit) {
		x := plotLeft + wide*c.limit
		anchor, dx := "start", 5.0
		if x > plotWide-140 {
			anchor, dx = "end", -5
		}
		fmt.Fprintf(&s, `<line class="limit" x1="%.1f" x2="%.1f" y1="%g" y2="%g"/><text class="num strong" x="%.1f" y="14" text-anchor="%s">%s</text>`,
			x, x, plotTop-8, plotHigh-plotFoot, x+dx, anchor, c.limitAs)
	}
	s.WriteString(`</svg>`)
	return template.HTML(s.String())
}

// niceStep divides an axis up to most into about four steps of 1, 2 or 5.
func niceStep(most float64) float64 {
	if !(most > 0) || math.IsInf(most, 0) {
		return 1
	}
	raw := most / axisSteps
	ten := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, k := range []float64{1, 2, 5} {
		if k*ten >= raw*0.999 {
			return k * ten
		}
	}
	return 10 * ten
}

// inclinationPlot shows the downskin by its angle.
func inclinationPlot(ctx context.Context, r *rules.PartReport) (*plot, error) {
	const steps = 18
	in, err := mesh.MeasureInclination(ctx, r.Mesh, r.Measured.Frame, steps)
	if err != nil {
		return nil, err
	}
	angle := angleLimit(r) * 180 / math.Pi
	c := barChart{label: "Area of downskin by its angle from the horizontal", unit: "mm2", limit: math.Min(angle/90*steps, steps-1),
		limitAs: "limit " + figure(angle) + " deg"}
	below := 0.0
	walls := in.DownMM2[steps-1] // half of all walls: they would dwarf the rest
	for i, a := range in.DownMM2[:steps-1] {
		middle := (float64(i) + 0.5) * 90 / steps
		c.bars = append(c.bars, bar{a, ink(still.ColorAt(middle / angle))})
		if float64(i+1)*90/steps <= angle*1.0001 {
			below += a
		}
	}
	for d := 0; d < 90; d += 15 {
		c.ticks = append(c.ticks, tick{float64(d) / 90 * steps, fmt.Sprintf("%d", d)})
	}
	return &plot{"Downskin by inclination",
		fmt.Sprintf("Area of surface that faces down, by its angle from the horizontal in degrees: 0 is a ceiling, 90 a wall. "+
			"%s mm2 lie in the steps below the limit. Left out: %s mm2 that rest on the platform, %s mm2 steeper than 85 degrees.",
			figure(below), figure(in.RestMM2), figure(walls)), c.svg()}, nil
}

// wallPlot shows the surface by the least wall behind each facet.
func wallPlot(r *rules.PartReport) *plot {
	w := r.Measured.Wall
	if w == nil {
		return nil
	}
	const bins = 20
	cap, limit := w.Params.CapMM, wallLimit(r)
	sums, beyond := make([]float64, bins), 0.0
	for f, t := range w.FacetMM {
		if i := int(float64(t) / cap * bins); i < bins {
			sums[i] += r.Mesh.Area(int32(f))
		} else {
			beyond += r.Mesh.Area(int32(f))
		}
	}
	c := barChart{label: "Area of surface by wall thickness", unit: "mm2", limit: limit / cap * bins, limitAs: "limit " + figure(limit) + " mm"}
	for i, a := range sums {
		c.bars = append(c.bars, bar{a, ink(still.ColorAt((float64(i) + 0.5) / bins * cap / limit))})
	}
	for i := 0; i <= bins; i += 4 {
		c.ticks = append(c.ticks, tick{float64(i), figure(cap * float64(i) / bins)})
	}
	least := fmt.Sprintf("No wall is thinner than %s mm, the most that was resolved.", figure(cap))
	if !math.IsInf(w.Min, 1) {
		least = fmt.Sprintf("The thinnest is %s mm.", figure(w.Min))
	}
	return &plot{"Walls by thickness",
		fmt.Sprintf("Area of surface by the least wall behind each facet, in mm; a large facet counts whole at its thinnest place. %s %s mm2 stand before walls of %s mm or more.",
			least, figure(beyond), figure(cap)), c.svg()}
}

// sectionPlot shows the area that is melted at every height.
func sectionPlot(r *rules.PartReport) *plot {
	c := r.Measured.Sections
	if c == nil || c.Largest < 0 || r.Measured.Box == nil {
		return nil
	}
	const bins = 96
	high, lift := r.Measured.Box.Size[2], r.Measured.Frame.Lift
	sums := make([]float64, bins)
	for i, z := range c.Z { // the largest of the cuts of a bin; thin parts have fewer cuts than bins
		from, to := int((z-c.PitchMM/2)/high*bins+0.5), int((z+c.PitchMM/2)/high*bins+0.5)
		for k := max(0, from); k < min(bins, max(to, from+1)); k++ {
			sums[k] = max(sums[k], c.AreaMM2[i])
		}
	}
	ch := barChart{label: "Area of the section against height", unit: "mm2", tight: true,
		limit: c.Z[c.Largest] / high * bins, limitAs: "largest"}
	for _, a := range sums {
		ch.bars = append(ch.bars, bar{value: a})
	}
	step := niceStep(high)
	for v := 0.0; v <= high*1.001; v += step {
		ch.ticks = append(ch.ticks, tick{v / high * bins, figure(v + lift)})
	}
	return &plot{"Sections by height",
		fmt.Sprintf("Area of the horizontal section, by its height above the platform in mm. The largest is %s mm2 at %s mm.",
			figure(c.AreaMM2[c.Largest]), figure(round(c.Z[c.Largest]+lift, 1))), ch.svg()}
}

// profile draws the section's area against height, standing upright beside the
// view. It is stretched to the height of the rail, so it holds no text.
func profile(s *sections, height float64) template.HTML {
	if s == nil {
		return ""
	}
	most := 0.0
	for _, a := range s.Area {
		most = max(most, a)
	}
	var b strings.Builder
	b.WriteString(`<svg class="profile" viewBox="0 0 100 1000" preserveAspectRatio="none" aria-hidden="true"><path d="M0 1000`)
	last := 1000.0
	for i, a := range s.Area {
		mid := 0.0 // a cut stands for half the way to its neighbours
		if i+1 < len(s.Z) && height > 0 {
			mid = 1000 * (1 - (s.Z[i]+s.Z[i+1])/2/height)
		}
		x := 0.0
		if most > 0 {
			x = 100 * a / most
		}
		fmt.Fprintf(&b, "L%.2f %.2fL%.2f %.2f", x, last, x, mid)
		last = mid
	}
	b.WriteString(`L0 0Z"/></svg>`)
	return template.HTML(b.String())
}
