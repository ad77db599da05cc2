package rules

import (
	"fmt"
	"math"

	"corbel/mesh"
	"corbel/rules/estimate"
	"corbel/spec"
)

// Powder looks at inner spaces: can what is in them get out?
var Powder = &Check{
	Name:    "powder",
	Summary: "Inner spaces have ways out, wide enough and enough of them, for powder or for binder; channels and slits are no narrower and no longer than powder comes out of.",
	Why: "The machine fills every inner space with powder. What stays in adds mass, rattles loose in use, is baked in by heat treatment, " +
		"and reactive powder can burn when somebody cuts the part open. In extrusion, solvent and binder gas need the same way out.",
	Wrong: "Powder is trapped for good, or comes out in service; a sealed space builds pressure in the furnace; a sintered part blisters.",
	Sources: []Source{
		{"removal and inspection differ between laser and electron beam powder: Hunter et al. 2020, Int J Adv Manuf Technol 106:4521", "published, from memory"},
		{"powder around electron-beam parts sticks together: EP 3178588, background", "published, read"},
		{"defects open to the surface do not close under pressure: Tammas-Williams et al. 2016, Metall Mater Trans A", "published, read"},
		{"free flow needs an orifice well above the particle size: Beverloo et al. 1961", "published, from memory"},
		{"two openings of 3 mm at opposite ends, passages up to 20 times their width", "common practice, no source"},
		{"mass = volume x packing x density; packing 0.5 to 0.6, arXiv 2103.13421", "published, read; range from memory"},
	},
	Limits:   limits("powder.escape", "powder.openings", "powder.way-ratio", "hole.channel", "hole.depth-ratio", "hole.blind-ratio"),
	Needs:    []Need{NeedCylinders, NeedVoids},
	Solid:    true,
	Cautions: []Caution{cautionReactiveVoid, cautionVoid, cautionHeat, cautionSealedGas},
	Judge:    judgePowder,
	Say:      sayPowder,
}

// cakePacking is the share of solid in the sintered cake of electron beam
// machines; loose powder has 0.50 to 0.60 (common practice, no source).
const cakePacking = 0.6

// defaultPacking of a material that no file knows.
const defaultPacking = 0.55

// wayErr is what the length of a way out may be off by, in widths: it ends
// somewhere in the mouths of its throat.
const wayErr = 0.25

type voidDetail struct {
	kind   string // sealed, reviewed, escape, openings, way
	void   mesh.Void
	decl   *spec.VoidDecl
	powder float64 // g; 0 where unknown or none
}

func judgePowder(p *Subject) []Finding {
	var out []Finding
	for _, v := range p.Measured.Voids.Voids {
		if v.VolumeMM3 < trackMM*trackMM*trackMM {
			continue
		}
		if f, bad := judgeVoid(p, v); bad {
			out = append(out, f)
		}
	}
	return append(out, judgePassages(p, out)...)
}

// judgeVoid tells the first thing that is wrong with a space.
func judgeVoid(p *Subject, v mesh.Void) (Finding, bool) {
	d := voidDetail{void: v, decl: declaredVoid(p, v), powder: trappedPowder(p, v.VolumeMM3)}
	if v.Sealed {
		f := Finding{HasValue: d.powder > 0, Measured: d.powder, Unit: "g", Count: 1}
		d.kind = "sealed"
		f.shift = reactiveShift(p)
		if d.decl != nil && d.decl.Sealed.V {
			d.kind, f.shift = "reviewed", -len(levels) // a note, so that the caution stays
		}
		return voidFinding(p, f, d), true
	}
	way := v.WayMM / math.Max(v.EscapeMM, 1e-9)
	for _, try := range []struct {
		limit, kind string
		v, band     float64
	}{
		{"powder.escape", "escape", v.EscapeMM, v.ErrMM},
		{"powder.openings", "openings", float64(v.Openings), 0},
		{"powder.way-ratio", "way", way, wayErr + way*v.ErrMM/math.Max(v.EscapeMM, 1e-9)},
	} {
		l, ok := p.Limit(try.limit)
		if !ok {
			continue
		}
		if f, bad := breach(l, try.v, try.band); bad && !(try.kind == "openings" && wideOpen(&v)) {
			d.kind = try.kind
			f.shift = reactiveShift(p)
			if d.kind == "way" && f.shift == 0 && p.toldDeep(&v) {
				continue
			}
			return voidFinding(p, f, d), true
		}
	}
	return Finding{}, false
}

// toldDeep reports whether Hole tells of the bore that a space opens through that
// it is too deep for powder: one long way is one finding.
func (p *Subject) toldDeep(v *mesh.Void) bool {
	if !p.told(Hole) {
		return false
	}
	for _, h := range p.Measured.Cylinders.Holes {
		at := v.EscapeAt.Sub(h.At)
		along := at.Dot(h.Axis)
		if h.Share < shareLeast || math.Abs(along) > h.LengthMM/2 || at.Sub(h.Axis.Scale(along)).Norm() > h.DiameterMM/2 {
			continue
		}
		if boreTold(p, h, "deep") {
			return true
		}
	}
	return false
}

// wideOpen reports whether a space lies open like a cup, so that powder pours
// out as air comes in by the same mouth: half as wide as the space or wider, and
// the space no longer than ten times that (common practice, no source).
func wideOpen(v *mesh.Void) bool {
	size := v.Box.Size()
	return v.EscapeMM >= v.BallMM/2 && max(size[0], size[1], size[2]) <= 10*v.EscapeMM
}

func reactiveShift(p *Subject) int {
	if m, ok := p.Material(); ok && m.Reactive && p.Spec.Process.V != Extrusion {
		return 1
	}
	return 0
}

// trappedPowder is the mass of powder that fills a space; 0 in extrusion,
// which leaves none, and where the density is unknown.
func trappedPowder(p *Subject, volumeMM3 float64) float64 {
	m, ok := p.Material()
	if !ok || !m.Density.Set || p.Spec.Process.V == Extrusion {
		return 0
	}
	return estimate.PowderMass(volumeMM3, packing(m, p.Spec.Process.V), m.Density.V)
}

// packing of loose powder: the shop's figure, else the process's.
func packing(m Material, process string) float64 {
	switch {
	case m.Packing.Set && (m.Packing.From.Layer != "built-in" || process != BeamPBF):
		return m.Packing.V
	case process == BeamPBF:
		return cakePacking
	}
	return defaultPacking
}

// declaredVoid finds the [[void]] that means a space: a point inside its box,
// the nearest to the centre of its largest ball.
func declaredVoid(p *Subject, v mesh.Void) *spec.VoidDecl {
	var best *spec.VoidDecl
	least := math.Inf(1)
	for i := range p.Spec.Voids {
		d := &p.Spec.Voids[i]
		if !d.At.Set {
			continue
		}
		at := p.Point(d.At.V)
		if dist := at.Sub(v.At).Norm(); inBox(v.Box, at) && dist < least {
			best, least = d, dist
		}
	}
	return best
}

func inBox(b mesh.Box, p mesh.Vec) bool {
	for k := range 3 {
		if p[k] < b.Min[k] || p[k] > b.Max[k] {
			return false
		}
	}
	return true
}

func voidFinding(p *Subject, f Finding, d voidDetail) Finding {
	f.place(d.void.At, d.void.Box, 0, nil)
	f.Where, f.feature, f.like, f.detail = p.whereMesh(), d.kind, d.kind, d
	if d.decl != nil {
		f.Where = Location{p.Spec.File, "void", d.decl.Table}
		f.feature += " " + d.decl.Name.V
		f.like = ""
	}
	f.caution = voidCaution(p, d.void.Sealed)
	return f
}

func voidCaution(p *Subject, sealed bool) []Caution {
	m, _ := p.Material()
	var out []Caution
	powdery := p.Spec.Process.V != Extrusion
	switch {
	case sealed && powdery && m.Reactive:
		out = append(out, cautionReactiveVoid)
	case sealed && powdery:
		out = append(out, cautionVoid)
	}
	if heated(p.Spec) {
		if powdery {
			out = append(out, cautionHeat)
		}
		if sealed {
			out = append(out, cautionSealedGas)
		}
	}
	return out
}

func sayPowder(p *Subject, f *Finding) {
	if d, ok := f.detail.(passageDetail); ok {
		sayPassage(p, f, d)
		return
	}
	d := f.detail.(voidDetail)
	name := "Inner space"
	if d.decl != nil && d.decl.Name.Set {
		name = fmt.Sprintf("Inner space %q", d.decl.Name.V)
	}
	size := fmt.Sprintf("of %s mm3", rounded(d.void.VolumeMM3))
	held := ""
	if d.powder > 0 {
		held = fmt.Sprintf(" %s g of %s powder", rounded(d.powder), p.Spec.Material.V)
	}
	band := f.Band
	if d.kind == "way" {
		band = max(band, ratioBand)
	}
	value, limit := pair(f.Measured, f.Limit, band)
	place := p.where(f)
	what := "powder"
	if p.Spec.Process.V == Extrusion {
		what = "binder"
	}
	switch d.kind {
	case "sealed":
		f.Message = fmt.Sprintf("%s %s is closed%s, %s.", name, size, traps(held, "", what), place)
		f.Help = "Open it with holes at its low points, at opposite ends, or fill it; declare it in [[void]] with sealed = true only after review."
	case "reviewed":
		f.Message = fmt.Sprintf("%s %s is closed on purpose%s, %s.", name, size, traps(held, "", what), place)
	case "escape":
		f.Message = fmt.Sprintf("%s %s lets out a ball of %s mm at most, less than the %s mm asked for %s%s, %s%s.", name, size, value, limit, p.forWhat(), traps(held, "may ", what), place, closeCall(f))
		f.Help = fmt.Sprintf("Widen its narrowest way out, %s, to %s mm.", p.near(d.void.EscapeAt), limit)
	case "openings":
		f.Message = fmt.Sprintf("%s %s has %s where %s are asked for %s%s, %s.", name, size, count(int(f.Measured), "opening", "openings"), plain(f.Limit), p.forWhat(), traps(held, "may ", what), place)
		f.Help = "Add an opening at the far end, so that air or liquid can push through."
	case "way":
		f.Message = fmt.Sprintf("%s %s is reached by a way of %s mm, %s times its width where %s is the most for %s, %s%s.", name, size, rounded(d.void.WayMM), value, limit, p.forWhat(), place, closeCall(f))
		f.Help = "Shorten or widen the way out, or add an opening near the space."
	}
}

// traps ends the first half of a sentence with what stays inside.
func traps(held, may, what string) string {
	switch {
	case what == "binder":
		return ", with no way for solvent and binder gas"
	case held == "":
		held = " powder"
	}
	if may == "" {
		return " and traps" + held
	}
	return ", and " + may + "trap" + held
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
