package spec

import (
	"math"
	"strings"
)

// This file defines every limit by name. What a check does with a limit, and
// the built-in value with its source, stand with the rules.

// Tighter says in which direction a limit becomes stricter.
type Tighter uint8

// The two directions.
const (
	Lower  Tighter = iota // a lower value finds more: a largest span
	Higher                // a higher value finds more: a least thickness
)

// LimitInfo describes one limit.
type LimitInfo struct {
	Name    string  // "wall.thickness": the check, a dot, the limit's own name
	Dim     Dim     // None for ratios, shares, grades and counts
	Unit    string  // the usual one, "" where Dim is None
	Tighter Tighter // which way is stricter
	Whole   bool    // a count or grade: no decimals
	// Sensible is where values lie that somebody may mean, in Unit. Outside it
	// a value is pointed out as suspicious.
	Sensible Interval
	Example  string // a value as it would be written
	Doc      string
}

// Check returns the name of the check that the limit belongs to.
func (l *LimitInfo) Check() string {
	check, _, _ := strings.Cut(l.Name, ".")
	return check
}

// TighterThan says whether the value a is stricter than b; both in the base
// unit. Equal values are not.
func (l *LimitInfo) TighterThan(a, b float64) bool {
	if l.Tighter == Higher {
		return a > b
	}
	return a < b
}

// Limits is every limit, in the order of the checks.
var Limits = []LimitInfo{
	{"envelope.margin", Length, "mm", Higher, false, between(0, 100), `"5 mm"`,
		"The least distance between the part and the edge of the build volume, on every side but the platform. A machine's own `margin` comes first."},

	{"overhang.angle", Angle, "deg", Higher, false, between(0, 90), `"45 deg"`,
		"The least inclination that builds without support, from the horizontal: 0 is a flat ceiling, 90 a vertical wall. A downskin flatter than this is an overhang; one exactly at the limit passes."},
	{"overhang.ledge", Length, "mm", Lower, false, between(0, 50), `"0.5 mm"`,
		"The longest overhang that may stick out unsupported when it is held on one side only."},
	{"overhang.bridge", Length, "mm", Lower, false, between(0, 100), `"2 mm"`,
		"The longest unsupported span that is held on both ends."},
	{"overhang.area", Area, "mm2", Lower, false, between(0, 1000), `"1 mm2"`,
		"Overhang regions smaller than this are passed over."},

	{"floating-start.area", Area, "mm2", Lower, false, between(0, 100), `"0.1 mm2"`,
		"Places that start in the air with a face no larger than this are passed over; where it is more than 0, so are those that start at a point or an edge."},
	{"floating-start.height", Length, "mm", Lower, false, between(0, 0.5), `"0.1 mm"`,
		"Places that start in the air and join the part before they have risen further than this are passed over, and are overhang like any other."},

	{"wall.thickness", Length, "mm", Higher, false, between(0.05, 10), `"0.5 mm"`,
		"The thinnest wall that is held on two edges or more."},
	{"wall.free", Length, "mm", Higher, false, between(0.05, 20), `"1 mm"`,
		"The thinnest wall that stands free, held on one edge only."},
	{"wall.area", Area, "mm2", Lower, false, between(0, 100), `"1 mm2"`,
		"Thin patches smaller than this are passed over."},

	{"feather-edge.angle", Angle, "deg", Higher, false, between(0, 90), `"20 deg"`,
		"The sharpest wedge that still builds: an edge whose two faces meet at a smaller angle inside the material frays."},

	{"massive-section.thickness", Length, "mm", Lower, false, between(1, 500), `"25 mm"`,
		"The largest ball that may fit inside the material. Larger ones build up heat in powder bed fusion, and can't be debound in binder jetting and extrusion."},

	{"hole.diameter", Length, "mm", Higher, false, between(0.05, 20), `"0.5 mm"`,
		"The smallest hole that stays open."},
	{"hole.roof", Length, "mm", Lower, false, between(0.5, 100), `"6 mm"`,
		"The largest round hole with a horizontal axis whose roof builds without support, and what an arch as round is held to."},
	{"hole.depth-ratio", None, "", Lower, false, between(1, 200), `20`,
		"The deepest through hole from which powder comes out, as depth over diameter, counted from one way out to the next where holes open into one another; of a channel or slit of any section, its length over its least width."},
	{"hole.blind-ratio", None, "", Lower, false, between(1, 200), `10`,
		"The deepest blind hole from which powder comes out, as depth over diameter, counted to the nearest way out; likewise a channel or slit that ends in the part."},
	{"hole.channel", Length, "mm", Higher, false, between(0.1, 20), `"1 mm"`,
		"The narrowest hole, deeper than it is wide by more than 3, that can be cleared of powder; likewise a long channel or slit of any section, by its least width."},
	{"hole.match", Length, "mm", Lower, false, between(0, 10), `"0.1 mm"`,
		"How far a hole may lie from its declared diameter, stock for the finish left out, before the spec and the mesh disagree."},

	{"pin.diameter", Length, "mm", Higher, false, between(0.05, 20), `"0.8 mm"`,
		"The thinnest pin or post that stands free."},
	{"pin.strut", Length, "mm", Higher, false, between(0.05, 20), `"0.4 mm"`,
		"The thinnest strut of a lattice, held at both ends."},
	{"pin.strut-angle", Angle, "deg", Higher, false, between(0, 90), `"35 deg"`,
		"The flattest strut that builds without support, from the horizontal; one wider than `overhang.bridge` is downskin like any other."},

	{"gap.width", Length, "mm", Higher, false, between(0.05, 20), `"0.4 mm"`,
		"The narrowest gap or slot that does not fuse."},

	{"powder.escape", Length, "mm", Higher, false, between(0.1, 50), `"3 mm"`,
		"The least diameter of the way out of an inner space, so that powder comes out (or, in extrusion, binder)."},
	{"powder.openings", None, "", Higher, true, between(0, 20), `2`,
		"How many openings an inner space needs, so that air can go in where powder goes out. One that lies open like a cup, by a mouth at least half as wide and a tenth as long as itself, needs no second."},
	{"powder.way-ratio", None, "", Lower, false, between(1, 200), `20`,
		"The longest way out of an inner space, as its length over its least width."},

	{"slenderness.ratio", None, "", Lower, false, between(1, 100), `10`,
		"The tallest free wall, as height over thickness, before the recoater moves it."},
	{"slenderness.pin", None, "", Lower, false, between(1, 100), `8`,
		"The tallest free pin or column, as height over diameter."},

	{"section-jump.ratio", None, "", Lower, false, between(1, 1000), `4`,
		"By how much the melted section may grow within a small height, as the larger area over the smaller."},
	{"section-jump.height", Length, "mm", Higher, false, between(0.02, 50), `"1 mm"`,
		"The height within which a growing section counts as sudden."},

	{"stock.thickness", Length, "mm", Higher, false, between(0, 20), `"0.5 mm"`,
		"The least stock that a face needs which is machined later."},
	{"stock.platform", Length, "mm", Higher, false, between(0, 20), `"3 mm"`,
		"The least stock on the face that stands on the platform and is cut from it."},

	{"roughness.up", Roughness, "um", Higher, false, between(0.1, 200), `"12 um"`,
		"The roughness Ra to expect as built on vertical and up-facing surfaces."},
	{"roughness.down", Roughness, "um", Higher, false, between(0.1, 400), `"25 um"`,
		"The roughness Ra to expect as built on a downskin at 45 deg."},
	{"roughness.flat", Roughness, "um", Higher, false, between(0.1, 400), `"40 um"`,
		"The roughness Ra to expect as built on a downskin at 30 deg; flatter ones are not predicted."},

	{"tolerance.grade", None, "", Higher, true, between(1, 18), `12`,
		"The finest ISO 286 tolerance grade that the process holds as built, as its number: 12 for IT12. A higher number asks for a finish on more features."},

	{"support-access.share", None, "", Lower, false, between(0, 1), `0.1`,
		"The largest share of a support's footprint that no straight tool reaches from outside."},
	{"support-access.diameter", Length, "mm", Higher, false, between(0.5, 50), `"6 mm"`,
		"The diameter of the tool that takes supports off."},
	{"support-access.length", Length, "mm", Lower, false, between(5, 500), `"60 mm"`,
		"The reach of the tool that takes supports off."},

	{"sinter.shrinkage-xy", None, "", Higher, false, between(0, 0.3), `0.17`,
		"How much a part shrinks in the furnace in the plane of the platform, as a share of the green length. A material's own `shrinkage-xy` comes first."},
	{"sinter.shrinkage-z", None, "", Higher, false, between(0, 0.35), `0.195`,
		"How much a part shrinks in the furnace along the build direction, as a share of the green length. A material's own `shrinkage-z` comes first."},
	{"sinter.size", Length, "mm", Lower, false, between(5, 2000), `"100 mm"`,
		"The longest edge of a part that sinters true."},
	{"sinter.span", Length, "mm", Lower, false, between(1, 500), `"10 mm"`,
		"The longest span, held on both ends, that does not sag in the furnace."},
	{"sinter.ledge", Length, "mm", Lower, false, between(0.5, 200), `"5 mm"`,
		"The longest ledge, held on one side, that does not sag in the furnace."},
	{"sinter.aspect", None, "", Lower, false, between(1, 50), `8`,
		"The tallest part or column, as height over least width of its foot, that does not tip or slump in the furnace."},
}

// limitByName is made once, since Limits does not change.
var limitByName = func() map[string]*LimitInfo {
	m := make(map[string]*LimitInfo, len(Limits))
	for i := range Limits {
		m[Limits[i].Name] = &Limits[i]
	}
	return m
}()

// FindLimit returns the limit of that name, or nil.
func FindLimit(name string) *LimitInfo { return limitByName[name] }

// Interval is a range of numbers.
type Interval struct {
	Low, High float64 // High may be +Inf
	Above     bool    // Low itself is outside
}

// Holds says whether a number lies in the interval.
func (i Interval) Holds(v float64) bool {
	return (v > i.Low || v == i.Low && !i.Above) && v <= i.High
}

// String says what is asked of a number: "more than 0", "between 0 and 1".
func (i Interval) String() string {
	switch {
	case i.Low == i.High:
		return FormatNumber(i.Low)
	case !math.IsInf(i.High, 1):
		return "between " + FormatNumber(i.Low) + " and " + FormatNumber(i.High)
	case i.Above:
		return "more than " + FormatNumber(i.Low)
	}
	return "at least " + FormatNumber(i.Low)
}

func between(low, high float64) Interval { return Interval{Low: low, High: high} }
func atLeast(low float64) *Interval      { return &Interval{Low: low, High: math.Inf(1)} }
func above(low float64) *Interval        { return &Interval{Low: low, High: math.Inf(1), Above: true} }
func within(low, high float64) *Interval { return &Interval{Low: low, High: high} }
