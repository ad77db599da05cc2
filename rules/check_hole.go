package rules

import (
	"fmt"
	"math"

	"corbel/mesh"
	"corbel/spec"
)

// Hole looks at round holes: too small, too wide a roof, too deep for powder,
// and whether they are what the spec declares.
var Hole = &Check{
	Name:    "hole",
	Summary: "Round holes stay open, carry their own roof, let powder out, and are what the spec declares, with stock for their finish.",
	Why: "A drawn hole comes out smaller. One that lies flat has to carry its own roof, which sags into the bore. " +
		"A deep narrow one keeps its powder. And a hole that is reamed later must be drawn smaller than it ends.",
	Wrong: "The hole closes or is oval with dross hanging from its roof; powder stays in and is baked in by heat; the reamer finds nothing to cut.",
	Sources: []Source{
		{"about 7 mm without support in 316L: Thomas 2009, thesis, Univ. of Wales Institute Cardiff", "published, from memory"},
		{"horizontal channels deviate most: Int. J. Precis. Eng. Manuf.-Green Tech. 2020, doi 10.1007/s40684-020-00299-z", "published, read"},
		{"build direction changes tolerance and roughness of small channels: Snyder, Stimpson, Thole, Mongillo 2015, J Mech Des 137(11):111714", "published, read"},
		{"4 mm holes -0.115 mm in one build, stainless steel: Moylan et al. 2014, J Res NIST 119:429", "published, read in part"},
		{"depth over diameter 20 through, 10 blind; roofs of 6 to 8 mm", "common practice, no source"},
		{"roof below the limit angle a of a round hole spans 2 R sin a", "geometry"},
	},
	Limits:   limits("hole.diameter", "hole.roof", "hole.depth-ratio", "hole.blind-ratio", "hole.channel", "hole.match", "stock.thickness", "overhang.angle"),
	Needs:    []Need{NeedCylinders},
	Cautions: []Caution{cautionBore},
	Judge:    judgeHole,
	Say:      sayHole,
}

const (
	// shareLeast is the share of the circle below which a cylinder is a fillet
	// or a scallop rather than a hole or a pin.
	shareLeast = 0.7
	// undersizeMM is what to expect of a small drawn hole: 0.115 mm at 4 mm,
	// Moylan et al. 2014, J Res NIST 119:429.
	undersizeMM = 0.1
	// channelRatio: deeper than this a hole is a channel to be cleared (common
	// practice, no source).
	channelRatio = 3
)

// holeDetail is what the words about a hole need.
type holeDetail struct {
	kind  string // small, roof, channel, deep, match, stock, missing
	hole  mesh.Cylinder
	decl  *spec.Hole
	tilt  float64 // rad from the build direction
	allow float64 // widest roof at that tilt, mm
	way   float64 // that powder has out, mm
	open  bool    // on both sides
}

func judgeHole(p *Subject) []Finding {
	holes := p.Measured.Cylinders.Holes
	matched := matchHoles(p)
	var out []Finding
	for i := range p.Spec.Holes {
		d := &p.Spec.Holes[i]
		if h, ok := matched[i]; ok {
			out = append(out, judgeDeclared(p, d, holes[h])...)
		} else if d.At.Set && d.Diameter.Set {
			out = append(out, missingHole(p, d))
		}
	}
	declOf := map[int]*spec.Hole{}
	for i, h := range matched {
		declOf[h] = &p.Spec.Holes[i]
	}
	for i, h := range holes {
		if h.Share >= shareLeast {
			out = append(out, judgeBore(p, h, declOf[i])...)
		}
	}
	return out
}

// judgeBore compares what every hole has to hold; the first that is wrong is
// told, since a hole that closes needs no word about its depth.
func judgeBore(p *Subject, h mesh.Cylinder, d *spec.Hole) []Finding {
	tilt := tiltOf(p, h)
	det := holeDetail{hole: h, decl: d, tilt: tilt}
	try := func(name, kind string, v, band float64) []Finding {
		l, ok := p.Limit(name)
		if !ok {
			return nil
		}
		switch kind {
		case "roof":
			l.V = roofAt(p, l.V, tilt)
			det.allow = l.V
		case "deep":
			l.slack = v * p.lengthErr() / h.DiameterMM
		}
		f, bad := breach(l, v, band)
		if !bad {
			return nil
		}
		det.kind = kind
		return []Finding{holeFinding(p, f, det)}
	}
	if out := try("hole.diameter", "small", h.DiameterMM, h.ErrMM); out != nil {
		return out
	}
	var out []Finding
	out = append(out, try("hole.roof", "roof", h.DiameterMM, h.ErrMM)...)
	if max(h.OpenMM, h.BlindMM) > channelRatio*h.DiameterMM {
		if o := try("hole.channel", "channel", h.DiameterMM, h.ErrMM); o != nil {
			return append(out, o...)
		}
	}
	for _, way := range []struct {
		ratio string
		mm    float64
		open  bool
	}{{"hole.depth-ratio", h.OpenMM, true}, {"hole.blind-ratio", h.BlindMM, false}} {
		det.way, det.open = way.mm, way.open
		deep := way.mm / h.DiameterMM
		if o := try(way.ratio, "deep", deep, deep*h.ErrMM/h.DiameterMM); o != nil {
			return append(out, o...)
		}
	}
	return out
}

// tiltOf is the angle between a bore's axis and the build direction.
func tiltOf(p *Subject, h mesh.Cylinder) float64 {
	return math.Acos(math.Min(1, math.Abs(h.Axis.Dot(p.Measured.Frame.Z))))
}

// roofAt widens the largest flat roof for a bore that stands steeper. At a
// tilt t from the build direction the roof lies lower than the angle a over
// the arc where sin t cos phi > cos a, so its free chord is D sin(phi); flat,
// it is D sin a. Bores steeper than a carry any roof.
func roofAt(p *Subject, flatMM, tilt float64) float64 {
	angle, ok := p.Limit("overhang.angle")
	if !ok {
		return flatMM
	}
	c := math.Cos(angle.V) / math.Sin(tilt)
	if !(c < 1-1e-9) {
		return math.Inf(1)
	}
	return flatMM * math.Sin(angle.V) / math.Sqrt(1-c*c)
}

// roofTooWide reports whether the roof of a bore that leans by a tilt from the build
// direction is too wide to carry itself.
func roofTooWide(p *Subject, h mesh.Cylinder, tilt float64) bool {
	l, ok := p.Limit("hole.roof")
	if !ok {
		return false
	}
	l.V = roofAt(p, l.V, tilt)
	_, bad := breach(l, h.DiameterMM, 0)
	return bad
}

func holeFinding(p *Subject, f Finding, d holeDetail) Finding {
	f.place(d.hole.At, cylinderBox(d.hole), 0, d.hole.Facets)
	f.Where, f.feature, f.like, f.detail = p.whereMesh(), d.kind, d.kind, d
	if d.kind == "small" || d.kind == "stock" || d.kind == "wide" {
		f.caution = []Caution{cautionBore}
	}
	if d.decl != nil {
		f.Where = whereHole(p, d.decl)
		f.feature += " " + d.decl.Name.V
		f.like = ""
	}
	return f
}

func whereHole(p *Subject, d *spec.Hole) Location { return Location{p.Spec.File, "hole", d.Table} }

// matchHoles gives each declared hole the recognised hole that is meant: the
// nearest axis within reach of the declared place. Two declarations may mean
// one bore (a stepped one).
func matchHoles(p *Subject) map[int]int {
	out := map[int]int{}
	for i := range p.Spec.Holes {
		d := &p.Spec.Holes[i]
		if !d.At.Set {
			continue
		}
		best, bestScore := -1, math.Inf(1)
		for k, h := range p.Measured.Cylinders.Holes {
			if score := holeDistance(p, d, h); score < bestScore {
				best, bestScore = k, score
			}
		}
		if best >= 0 {
			out[i] = best
		}
	}
	return out
}

// holeDistance is how far a recognised hole is from a declared place, +Inf if
// it can't be meant: the place must lie in the bore or at its mouth. Among
// several, the one whose diameter fits better counts as nearer.
func holeDistance(p *Subject, d *spec.Hole, h mesh.Cylinder) float64 {
	v := p.Point(d.At.V).Sub(h.At)
	along := v.Dot(h.Axis)
	aside := v.Sub(h.Axis.Scale(along)).Norm()
	past := math.Max(0, math.Abs(along)-h.LengthMM/2)
	r := h.DiameterMM / 2
	if aside > 1.05*r+0.1 || past > 2*r+0.5 {
		return math.Inf(1)
	}
	score := aside + past
	if d.Diameter.Set {
		score += math.Abs(d.Diameter.V.V - h.DiameterMM)
	}
	return score
}

// judgeDeclared holds a hole against what the spec says of it.
func judgeDeclared(p *Subject, d *spec.Hole, h mesh.Cylinder) []Finding {
	if !d.Diameter.Set {
		return nil
	}
	finished, where := d.Diameter.V.V, Location{p.Spec.File, "hole.diameter", d.Diameter.At}
	det := holeDetail{hole: h, decl: d}
	made := func(f Finding, kind string) []Finding {
		det.kind = kind
		f = holeFinding(p, f, det)
		f.Where = where
		return []Finding{f}
	}
	if !machined(d.Finish.V) {
		l, ok := p.Limit("hole.match")
		if !ok {
			return nil
		}
		off := offSize(d, h.DiameterMM)
		f, bad := breach(l, off, h.ErrMM)
		if !bad {
			return nil
		}
		f.Measured, f.Limit = h.DiameterMM, finished
		drawn := plain(roundTo(h.DiameterMM, 3)) + " mm"
		f.Fixes = []spec.Fix{{Title: "Write the " + drawn + " that is drawn", At: d.Diameter.At, Text: spec.Quote(drawn)}}
		return made(f, "match")
	}
	// Stock on the radius: what the tool will cut.
	l, ok := p.Limit("stock.thickness")
	stock := (finished - h.DiameterMM) / 2
	switch {
	case stock < -equalErr(finished):
		f := Finding{HasValue: true, Measured: h.DiameterMM, Limit: finished, Unit: "mm", Band: h.ErrMM, Undecided: -2*stock < h.ErrMM, Count: 1, shift: 1}
		return made(f, "wide")
	case ok:
		if f, bad := breach(l, math.Max(0, stock), h.ErrMM/2); bad {
			return made(f, "stock")
		}
	}
	return nil
}

// offSize is how far a drawn diameter lies from a hole's finished size: from the
// nearest end of its zone, where the tolerance has one, since a hole that is left
// as built is drawn inside it.
func offSize(d *spec.Hole, drawnMM float64) float64 {
	off := drawnMM - d.Diameter.V.V
	hole, _, ok := zones(d.Tolerance.V, d.Diameter.V.V)
	if !ok {
		return math.Abs(off)
	}
	return max(0, min(0, hole.LowerMM)-off, off-max(0, hole.UpperMM))
}

func machined(finish string) bool { return finish != "" && finish != "as-built" }

// missingHole is a declared hole that the mesh does not have. One that is
// drilled may be meant to be drilled from the full.
func missingHole(p *Subject, d *spec.Hole) Finding {
	f := Finding{Count: 1, Where: Location{p.Spec.File, "hole.at", d.At.At}, feature: "missing " + d.Name.V, detail: holeDetail{kind: "missing", decl: d}}
	if machined(d.Finish.V) {
		f.shift = -1
	}
	at := p.Point(d.At.V)
	f.place(at, mesh.Box{Min: at, Max: at}, 0, nil)
	return f
}

// sayTilt says how a bore lies.
func sayTilt(rad float64) string {
	if rad < 85*math.Pi/180 {
		return fmt.Sprintf("leans %.0f deg from the build direction", degrees(rad))
	}
	return "lies flat"
}

func sayHole(p *Subject, f *Finding) {
	d := f.detail.(holeDetail)
	name, place := "Hole", p.where(f)
	if d.decl != nil && d.decl.Name.Set {
		name = fmt.Sprintf("Hole %q", d.decl.Name.V)
	}
	band := f.Band
	if d.kind == "deep" {
		band = max(band, ratioBand)
	}
	value, limit := pair(f.Measured, f.Limit, band)
	lying := sayTilt(d.tilt)
	switch d.kind {
	case "small":
		f.Message = fmt.Sprintf("%s is drawn %s mm in diameter, smaller than the %s mm that stays open in %s, %s%s.", name, value, limit, p.forWhat(), place, closeCall(f))
		f.Help = fmt.Sprintf("Draw it %s mm or larger (expect it about %s mm undersize), or drill it afterwards.", limit, plain(undersizeMM))
	case "roof":
		f.Message = fmt.Sprintf("%s of %s mm %s, and its roof is wider than the %s mm that carries itself in %s, %s%s.", name, value, lying, limit, p.forWhat(), place, closeCall(f))
		f.Help = "Draw the roof as a teardrop, a diamond or an arch, stand the bore up, or build it smaller and open it afterwards."
	case "channel":
		f.Message = fmt.Sprintf("%s is a channel of %s mm and %s mm long, narrower than the %s mm that can be cleared of powder in %s, %s%s.", name, value, rounded(d.hole.LengthMM), limit, p.forWhat(), place, closeCall(f))
		f.Help = "Widen it, shorten it, or open it on the way."
	case "deep":
		deep := fmt.Sprintf("is %s mm deep and %s", rounded(d.way), SayEnds(d.open))
		if d.way != d.hole.LengthMM {
			deep = fmt.Sprintf("leads %s mm from %s", rounded(d.way), pick(d.open, "one way out to the next", "its end to the nearest way out"))
		}
		f.Message = fmt.Sprintf("%s of %s mm %s, %s times its diameter where powder comes out of %s at most in %s, %s%s.", name, number(d.hole.DiameterMM, d.hole.ErrMM),
			deep, value, limit, p.forWhat(), place, closeCall(f))
		f.Help = "Widen it, shorten it, " + openIt(d.open) + ", or drill it afterwards."
	case "match":
		f.Message = fmt.Sprintf("%s is declared %s mm and drawn %s mm %s%s.", name, limit, value, place, closeCall(f))
		f.Help = "Correct the diameter here, or the model."
	case "wide":
		f.Message = fmt.Sprintf("%s is drawn %s mm, too wide to %s to %s mm, %s%s.", name, value, d.decl.Finish.V, limit, place, closeCall(f))
		f.Help = "Draw it smaller by twice the stock."
	case "stock":
		left := "nothing"
		if f.Measured > 0 {
			left = value + " mm a side"
		}
		f.Message = fmt.Sprintf("%s is drawn %s mm for a finished %s mm, which leaves %s to %s where %s mm a side is asked, %s%s.", name,
			number(d.hole.DiameterMM, d.hole.ErrMM), plain(d.decl.Diameter.V.V), left, d.decl.Finish.V, limit, place, closeCall(f))
		f.Help = fmt.Sprintf("Draw it %s mm, so that the tool cuts all round.", plain(roundTo(d.decl.Diameter.V.V-2*f.Limit, 3)))
	case "missing":
		f.Message = fmt.Sprintf("%s is declared here, and the mesh has no round hole %s.", name, place)
		f.Help = "Correct the position (mesh coordinates, mesh units), or the model; leave it if it is made from the full."
	}
}
