package rules

import (
	"slices"

	"corbel/mesh"
	"corbel/spec"
)

// Level says how much a finding matters.
type Level string

// The levels, weakest first. Off drops a check's findings.
const (
	Off     Level = "off"
	Note    Level = "note"
	Warning Level = "warning"
	Error   Level = "error"
)

// levels in order of weight.
var levels = []Level{Note, Warning, Error}

// Weight orders levels: 0 for off, then note, warning, error.
func (l Level) Weight() int { return slices.Index(levels, l) + 1 }

// shifted returns the level some steps up or down, never off and never past error.
func (l Level) shifted(steps int) Level {
	if l == Off {
		return Off
	}
	return levels[max(0, min(len(levels)-1, l.Weight()-1+steps))]
}

// Finding is a measurement on the wrong side of a limit, or something wrong
// with the text or the files. It holds numbers and places; Message is made
// from them in one function per check.
type Finding struct {
	Check   string
	Level   Level
	Message string // one sentence that stands alone
	Help    string // what would help, may be empty
	Caution string // what can hurt someone, what to do, who decides; may be empty

	HasValue  bool // Measured and Limit mean something
	Measured  float64
	Limit     float64
	Unit      string  // of both: "mm", "mm2", "deg", "g", "" for ratios
	Band      float64 // what Measured may be off by, same unit
	Undecided bool    // the limit lies inside the band
	LimitFrom *Origin // where the limit came from

	HasPlace bool
	At       mesh.Vec // mesh coordinates, mm
	Box      mesh.Box
	Count    int     // like places, 1 or more
	Places   []Place // every like place, worst first, at most PlacesMax; nil without a place
	AreaMM2  float64 // 0 where it means nothing

	Where       Location // the text that decides it
	Related     []Related
	Fixes       []spec.Fix // edits of the file of Where
	Fingerprint string
	Waived      *spec.Waiver

	limit   string // name of the limit it breaks, where a measured value is held against one
	like    string // findings of a check with equal words here are merged; "" stands alone
	feature string // what the fingerprint calls the thing: a hole's name, a kind
	caution []Caution
	shift   int // steps of level above or below the check's own
	detail  any // what Say needs beside the numbers
}

// PlacesMax bounds how many places one finding carries; Count goes on counting.
const PlacesMax = 100

// Place is one of the like places of a finding.
type Place struct {
	At       mesh.Vec // mesh coordinates, mm
	Box      mesh.Box
	Measured float64
	AreaMM2  float64
	Facets   []int32 // of the mesh, where the measurement knows them; for drawing
}

// Location is a place in a text file.
type Location struct {
	File string // path as the engine was given it, or BuiltinFile
	Key  string // dotted key: "mesh.file"
	At   spec.Range
}

// Related is another place that explains a finding.
type Related struct {
	Location Location
	Message  string
}

// Origin says where an effective limit came from.
type Origin struct {
	Layer  string // "built-in", "shop", "material", "machine", "part"
	File   string // BuiltinFile for the embedded defaults
	Line   int    // 1-based
	At     spec.Range
	Source string // the reason or published source, may be empty
}
