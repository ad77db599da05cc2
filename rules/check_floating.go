package rules

import (
	"fmt"

	"corbel/mesh"
)

// FloatingStart finds places where the part starts in mid-air.
var FloatingStart = &Check{
	Name:    "floating-start",
	Summary: "The part starts nowhere but on the platform, or on material below.",
	Why: "A place that is lower than everything around it, with nothing under it, begins as an island in loose powder. " +
		"However steep its flanks, the first layer of it is held by nothing. What joins something lower within a layer is no island, and what does within two or three melts into one with the part. Where `lift` raises the part on supports, its lowest place is a note.",
	Wrong: "The recoater drags the island away, or it sinks and curls; what grows on it later is displaced or missing, and the build may stop.",
	Sources: []Source{
		{"an island needs support until it joins the part: shop rule", "common practice, no source"},
		{"supports can be minimised but orientation decides where they start: Calignano 2014, Mater Des 64:203", "published, read"},
	},
	Limits:    limits("floating-start.area", "floating-start.height"),
	Needs:     []Need{NeedStarts, NeedOverhang},
	Processes: []string{LaserPBF, BeamPBF, Extrusion},
	Elsewhere: "the powder bed carries an island until it joins the part",
	Cautions:  []Caution{cautionSharp},
	Judge:     judgeFloating,
	Say:       sayFloating,
}

func judgeFloating(p *Subject) []Finding {
	limit, _ := p.Limit("floating-start.area")
	grows := growFromStarts(p)
	var out []Finding
	for i, s := range p.Measured.Starts {
		if !startCounts(p, s) {
			continue
		}
		origin := limit.Origin
		f := Finding{HasValue: true, Measured: s.AreaMM2, Limit: limit.V, Unit: "mm2", LimitFrom: &origin, Count: 1,
			Where: p.whereUp(), feature: s.Kind, like: "spot", detail: startDetail{s, grows[i]}}
		if s.AreaMM2 > 0 {
			f.like = "face"
		}
		f.caution = []Caution{cautionSharp}
		if lifted(p, s) {
			f.shift = -len(levels)
		}
		f.place(s.At, mesh.Box{Min: s.At, Max: s.At}, max(s.AreaMM2, grows[i]), s.Facets)
		out = append(out, f)
	}
	return out
}

type startDetail struct {
	mesh.FloatingStart
	growsMM2 float64 // downskin that nothing carries and that grows from it, its face included
}

// growFromStarts is, by start, the area of the overhang regions that begin there and
// that nothing carries: this check tells of them, and where some start together, the
// first of those.
func growFromStarts(p *Subject) []float64 {
	from := map[int32]int{} // by facet
	for i := len(p.Measured.Starts) - 1; i >= 0; i-- {
		if s := p.Measured.Starts[i]; startCounts(p, s) {
			for _, f := range s.Facets {
				from[f] = i
			}
		}
	}
	out := make([]float64, len(p.Measured.Starts))
	for _, r := range p.Measured.Overhang.Regions {
		if r = asHeld(p, r); r.Hole >= 0 || r.Kind != mesh.Free {
			continue
		}
		first := len(out)
		for _, f := range r.Facets {
			if i, ok := from[f]; ok {
				first = min(first, i)
			}
		}
		if first < len(out) {
			out[first] += r.AreaMM2
		}
	}
	return out
}

// startCounts: without a tolerated area every start does that rises far enough before
// it joins the part, a point too.
func startCounts(p *Subject, s mesh.FloatingStart) bool {
	area, ok := p.Limit("floating-start.area")
	return ok && !(area.V > 0 && s.AreaMM2 <= area.V+equalErr(area.V)) && !joins(p, s.AloneMM)
}

// joins reports whether what rises so far alone before it joins the part is passed over.
func joins(p *Subject, aloneMM float64) bool {
	height, _ := p.Limit("floating-start.height")
	return aloneMM <= height.V+equalErr(height.V)
}

// lifted reports whether a start is the part's lowest place, under which the
// lift of the spec plans supports: that is told, and no fault.
func lifted(p *Subject, s mesh.FloatingStart) bool {
	f := &p.Measured.Frame
	return f.Lift > 0 && s.Height <= f.Lift+f.Layer
}

// tellGrown: overhang that is this many times as large as the face that it starts with,
// or more, is told beside it.
const tellGrown = 1.05

func sayFloating(p *Subject, f *Finding) {
	s := f.detail.(startDetail)
	area := ""
	if s.AreaMM2 > 0 {
		area = fmt.Sprintf(" with a face of %s mm2", rounded(s.AreaMM2))
		if f.Limit > 0 {
			value, limit := pair(s.AreaMM2, f.Limit, 0.05)
			area = fmt.Sprintf(" with a face of %s mm2, more than the %s mm2 that may,", value, limit)
		}
	}
	if lifted(p, s.FloatingStart) {
		f.Message = fmt.Sprintf("Part stands on supports%s, %s mm above the platform as its lift asks, %s.", area, number(s.Height, 0.05), p.where(f))
		f.Help = ""
		return
	}
	grows := ","
	if s.growsMM2 > tellGrown*s.AreaMM2 {
		grows = fmt.Sprintf(", with %s mm2 of overhang", rounded(f.AreaMM2))
	}
	f.Message = fmt.Sprintf("Part starts in mid-air%s, %s mm above the platform%s %s.", area, number(s.Height, 0.05), grows, p.where(f))
	f.Help = "Turn the part so that this place grows out of material below, join it to the part lower down, or plan support under it."
}
