package page

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"runtime"
	"strings"
	"sync"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/still"
)

// rowsMax bounds the tables of a page; the document of measure has everything.
const rowsMax = 60

type holeRow struct{ Diameter, Depth, Kind, Tilt, At string }
type pinRow struct{ Diameter, Length, Kind, At string }
type voidRow struct{ Volume, Way, Powder, At string }
type passageRow struct{ Width, Length, Kind, Powder, At string }

// features lists holes, pins and inner spaces.
func (d *document) features(r *rules.PartReport) {
	m := r.Measured
	at := func(v mesh.Vec) string {
		return fmt.Sprintf("(%s, %s, %s)", figure(round(v[0], 2)), figure(round(v[1], 2)), figure(round(v[2], 2)))
	}
	if c := m.Cylinders; c != nil {
		for _, h := range c.Holes[:min(len(c.Holes), rowsMax)] {
			tilt := math.Acos(min(1, math.Abs(h.Axis.Dot(m.Frame.Z)))) * 180 / math.Pi
			d.Holes = append(d.Holes, holeRow{figure(h.DiameterMM), figure(h.LengthMM), rules.SayEnds(h.Through), figure(round(tilt, 1)), at(h.At)})
		}
		for _, p := range c.Pins[:min(len(c.Pins), rowsMax)] {
			kind := "held at both ends"
			if p.Free {
				kind = "free at one end"
			}
			d.Pins = append(d.Pins, pinRow{figure(p.DiameterMM), figure(p.LengthMM), kind, at(p.At)})
		}
	}
	if v := m.Voids; v != nil {
		for _, s := range v.Voids[:min(len(v.Voids), rowsMax)] {
			way := "sealed"
			if !s.Sealed {
				way = fmt.Sprintf("%s, a ball of %s mm gets out", plural(s.Openings, "opening"), figure(s.EscapeMM))
			}
			d.Voids = append(d.Voids, voidRow{figure(s.VolumeMM3), way, figure(r.PowderIn(s.VolumeMM3)) + " g", at(s.At)})
		}
		ways := r.Passages()
		for _, w := range ways[:min(len(ways), rowsMax)] {
			d.Passages = append(d.Passages, passageRow{figure(w.WidthMM), figure(w.LengthMM), rules.SayEnds(w.Through), figure(r.PowderIn(w.VolumeMM3)) + " g", at(w.At)})
		}
	}
}

// drawAll draws the findings named, on all cores.
func drawAll(ctx context.Context, r *rules.PartReport, which map[int]bool) (map[int][]byte, error) {
	out := map[int][]byte{}
	if r.Mesh == nil || len(r.Mesh.Facets) == 0 {
		return out, nil
	}
	r.Mesh.BVH() // built once, not by each
	pictures, errs := make([][]byte, len(r.Findings)), make([]error, len(r.Findings))
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i := range r.Findings {
		if !which[i] {
			continue
		}
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			pictures[i], errs[i] = still.Finding(ctx, r, &r.Findings[i], still.Options{})
		})
	}
	wg.Wait()
	for i := range pictures {
		if errs[i] != nil {
			return nil, errs[i]
		}
		if pictures[i] != nil {
			out[i] = pictures[i]
		}
	}
	return out, nil
}

// legends are the keys of the view's colours, with numbers.
type legends struct {
	Levels      []swatch
	Inclination template.HTML
	Wall        template.HTML
	Support     []swatch
	HasWall     bool
}

type swatch struct {
	Color template.CSS
	Class string
	Text  string
}

func newLegends(r *rules.PartReport) legends {
	angle := angleLimit(r) * 180 / math.Pi
	l := legends{Inclination: scaleBar("Inclination of downskin, degrees", angle, 90, "deg", "limit"), Support: supportLegend(r)}
	if w := r.Measured.Wall; w != nil {
		l.HasWall = true
		l.Wall = scaleBar("Wall thickness, mm", wallLimit(r), w.Params.CapMM, "mm", "limit")
	}
	return l
}

// supportLegend says how much of the surface has each colour of the view of
// supports, and how large the space is that the columns fill.
func supportLegend(r *rules.PartReport) []swatch {
	var carried, needs, onPart, columns float64
	if o, u := r.Measured.Overhang, r.Measured.Support; o != nil && u != nil {
		for i := range o.Regions {
			if !r.NeedsSupport(i) {
				carried += o.Regions[i].AreaMM2
				continue
			}
			needs += o.Regions[i].AreaMM2
			onPart += u.Columns[i].AreaMM2 * u.Columns[i].OnPartShare
			columns += u.Columns[i].VolumeMM3
		}
	}
	mm2 := func(v float64) string { return figure(round(v, 1)) + " mm2" }
	out := []swatch{{Class: "k-carried", Text: "overhang that carries itself " + mm2(carried)}, {Class: "k-needs", Text: "needs support " + mm2(needs)},
		{Class: "k-stands", Text: "support stands on it " + mm2(onPart)}}
	if columns > 0 {
		out[1].Text += ", columns " + figure(round(columns, 0)) + " mm3"
	}
	return out
}

// scaleBar draws the colours from nothing to most, with numbers at the ends, at
// the limit and between.
func scaleBar(label string, limit, most float64, unit, limitWord string) template.HTML {
	const wide, steps = 240.0, 120
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="scale" role="img" aria-label="%s: from 0 to %s %s, limit %s" viewBox="-8 0 %g 44" width="%g" height="44">`,
		label, figure(most), unit, figure(limit), wide+16, wide+16)
	for i := range steps {
		v := most * (float64(i) + 0.5) / steps
		fmt.Fprintf(&b, `<rect x="%.1f" y="14" width="%.1f" height="12" fill="%s"/>`, wide*float64(i)/steps, wide/steps+0.3, ink(still.ColorAt(v/limit)))
	}
	at := func(v float64) float64 { return wide * v / most }
	mark := func(v float64, y float64, text, class string) {
		fmt.Fprintf(&b, `<text class="num%s" x="%.1f" y="%g" text-anchor="middle">%s</text>`, class, at(v), y, text)
	}
	if limit < most {
		fmt.Fprintf(&b, `<line class="limit" x1="%.1f" x2="%.1f" y1="11" y2="29"/>`, at(limit), at(limit))
		mark(limit, 9, limitWord+" "+figure(limit), " strong")
	}
	for i := range 5 {
		v := most * float64(i) / 4
		mark(v, 40, figure(v), "")
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}
