package output

import (
	"encoding/json"
	"io"
	"math"
	"path/filepath"

	"corbel/mesh"
	"corbel/rules"
)

// This file defines the JSON document of check and measure. Lengths are mm,
// areas mm2, volumes mm3, angles degrees, masses g, times h; positions are
// mesh coordinates in mm. A key whose measurement was not asked for is absent.

// Document is the whole.
type Document struct {
	Schema int     `json:"schema"`
	Tool   Tool    `json:"tool"`
	Parts  []Part  `json:"parts"`
	Totals *Totals `json:"totals,omitempty"`
}

// Tool says what wrote the document.
type Tool struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// Part is one part spec, or one bare mesh.
type Part struct {
	Spec     string    `json:"spec,omitempty"`
	Part     string    `json:"part,omitempty"`
	Status   string    `json:"status"`
	Process  string    `json:"process,omitempty"`
	Material string    `json:"material,omitempty"`
	Machine  string    `json:"machine,omitempty"`
	Mesh     *Mesh     `json:"mesh,omitempty"`
	Measured *Measured `json:"measured,omitempty"`
	Findings []Finding `json:"findings"`
	Failures []Failure `json:"failures,omitempty"`
	Cautions []string  `json:"cautions,omitempty"`
}

// Mesh is the mesh file.
type Mesh struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Facets int    `json:"facets"`
	Units  string `json:"units"`
}

// Failure is something that could not be checked.
type Failure struct {
	What string `json:"what"`
	Why  string `json:"why"`
}

// Measured holds the measurements.
type Measured struct {
	Volume         *float64        `json:"volume,omitempty"`
	Area           *float64        `json:"area,omitempty"`
	Mass           *float64        `json:"mass,omitempty"`
	Centroid       *mesh.Vec       `json:"centroid,omitempty"`
	Box            *Box            `json:"box,omitempty"`
	OrientedBox    *OrientedBox    `json:"oriented_box,omitempty"`
	Integrity      *Integrity      `json:"integrity,omitempty"`
	Overhang       *Overhang       `json:"overhang,omitempty"`
	FloatingStarts *[]Start        `json:"floating_starts,omitempty"`
	Wall           *Thickness      `json:"wall,omitempty"`
	Gap            *Thickness      `json:"gap,omitempty"`
	LargestBall    *Ball           `json:"largest_ball,omitempty"`
	Holes          *[]Hole         `json:"holes,omitempty"`
	Pins           *[]Pin          `json:"pins,omitempty"`
	Voids          *[]Void         `json:"voids,omitempty"`
	Support        *Support        `json:"support,omitempty"`
	Height         *float64        `json:"height,omitempty"`
	Time           *float64        `json:"time,omitempty"`
	Cost           *float64        `json:"cost,omitempty"`
	FeatherEdges   *[]FeatherEdge  `json:"feather_edges,omitempty"`
	Slender        *[]Slender      `json:"slender,omitempty"`
	Section        *LargestSection `json:"largest_section,omitempty"`
}

// Box is an axis-parallel box.
type Box struct {
	Min mesh.Vec `json:"min"`
	Max mesh.Vec `json:"max"`
}

// OrientedBox holds the extents along the machine's axes.
type OrientedBox struct {
	Size mesh.Vec `json:"size"`
}

// Integrity says how far the mesh is closed and wound one way.
type Integrity struct {
	OpenEdges         int `json:"open_edges"`
	NonmanifoldEdges  int `json:"nonmanifold_edges"`
	FlippedFacets     int `json:"flipped_facets"`
	DegenerateFacets  int `json:"degenerate_facets"`
	DuplicateFacets   int `json:"duplicate_facets"`
	SelfIntersections int `json:"self_intersections"`
	Shells            int `json:"shells"`
	InvertedShells    int `json:"inverted_shells"`
}

// Overhang holds the overhang regions.
type Overhang struct {
	Area    float64  `json:"area"`
	Regions []Region `json:"regions"`
}

// Region is one overhang region.
type Region struct {
	Area        float64  `json:"area"`
	Projected   float64  `json:"projected_area"`
	Inclination float64  `json:"inclination"`
	Reach       float64  `json:"reach"`
	Kind        string   `json:"kind"`
	Hole        bool     `json:"hole,omitempty"` // the roof of a hole
	At          mesh.Vec `json:"at"`
}

// Start is a floating start.
type Start struct {
	At     mesh.Vec `json:"at"`
	Kind   string   `json:"kind"`
	Area   float64  `json:"area"`
	Height float64  `json:"height"`
}

// Thickness is the least wall thickness or gap.
type Thickness struct {
	Min *float64  `json:"min,omitempty"` // absent where nothing is below the cap
	At  *mesh.Vec `json:"at,omitempty"`
	Cap float64   `json:"cap"` // values above are not resolved
}

// Ball is the largest ball inside the material.
type Ball struct {
	Diameter float64  `json:"diameter"`
	At       mesh.Vec `json:"at"`
}

// Hole is a recognised hole.
type Hole struct {
	Diameter float64  `json:"diameter"`
	Depth    float64  `json:"depth"`
	Through  bool     `json:"through"`
	Axis     mesh.Vec `json:"axis"`
	At       mesh.Vec `json:"at"`
	Tilt     float64  `json:"tilt"`
	Share    float64  `json:"share"`
}

// Pin is a recognised pin, post or strut.
type Pin struct {
	Diameter float64  `json:"diameter"`
	Length   float64  `json:"length"`
	Axis     mesh.Vec `json:"axis"`
	At       mesh.Vec `json:"at"`
	Free     bool     `json:"free"`
	Tilt     float64  `json:"tilt"`
}

// Void is an inner space.
type Void struct {
	Volume   float64  `json:"volume"`
	Sealed   bool     `json:"sealed"`
	Escape   float64  `json:"escape"`
	Openings int      `json:"openings"`
	Powder   float64  `json:"powder"`
	Ball     float64  `json:"ball"`
	Way      float64  `json:"way"`
	At       mesh.Vec `json:"at"`
}

// Support is what would have to stand under the overhangs.
type Support struct {
	Volume float64 `json:"volume"`
	Area   float64 `json:"area"`
}

// FeatherEdge is a run of sharp edges.
type FeatherEdge struct {
	Angle  float64  `json:"angle"`
	Length float64  `json:"length"`
	At     mesh.Vec `json:"at"`
}

// Slender is a tall thin feature.
type Slender struct {
	Ratio  float64  `json:"ratio"`
	Height float64  `json:"height"`
	Width  float64  `json:"width"`
	Kind   string   `json:"kind"`
	At     mesh.Vec `json:"at"`
}

// LargestSection is the largest horizontal section.
type LargestSection struct {
	Area float64 `json:"area"`
	Z    float64 `json:"z"`
}

// Finding is one finding.
type Finding struct {
	Check       string     `json:"check"`
	Level       string     `json:"level"`
	Message     string     `json:"message"`
	Help        string     `json:"help,omitempty"`
	Caution     string     `json:"caution,omitempty"`
	Measured    *float64   `json:"measured,omitempty"`
	Limit       *float64   `json:"limit,omitempty"`
	Unit        string     `json:"unit,omitempty"`
	Band        float64    `json:"band,omitempty"`
	Undecided   bool       `json:"undecided,omitempty"`
	LimitFrom   *LimitFrom `json:"limit_from,omitempty"`
	At          *mesh.Vec  `json:"at,omitempty"`
	Box         *Box       `json:"box,omitempty"`
	Count       int        `json:"count"`
	Area        float64    `json:"area,omitempty"`
	Places      []mesh.Vec `json:"places,omitempty"` // where there are several, worst first
	Where       *Where     `json:"where,omitempty"`
	Fingerprint string     `json:"fingerprint"`
	Waived      *Waived    `json:"waived"`
}

// LimitFrom says where a limit came from.
type LimitFrom struct {
	Layer  string `json:"layer"`
	File   string `json:"file"`
	Line   int    `json:"line"`
	Source string `json:"source,omitempty"`
}

// Where is the text that decides a finding; lines and columns are 1-based,
// columns count code points.
type Where struct {
	Key   string   `json:"key,omitempty"`
	Start Position `json:"start"`
	End   Position `json:"end"`
}

// Position is a place in a text.
type Position struct {
	Line   int `json:"line"`
	Column int `json:"column"`
}

// Waived says why a finding is accepted and until when.
type Waived struct {
	Reason string `json:"reason"`
	Until  string `json:"until"`
}

// JSON writes the document of check: measurements, findings and totals.
func JSON(w io.Writer, reports []*rules.PartReport) error {
	t := Count(reports)
	return write(w, document(reports, &t))
}

func document(reports []*rules.PartReport, t *Totals) Document {
	d := Document{Schema: 1, Tool: Tool{"corbel", rules.Version}, Parts: []Part{}, Totals: t}
	for _, r := range reports {
		d.Parts = append(d.Parts, part(r))
	}
	return rounded(d)
}

func write(w io.Writer, d Document) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(d)
}

func part(r *rules.PartReport) Part {
	p := Part{Status: r.Status, Findings: []Finding{}}
	if !r.Bare {
		p.Spec = filepath.ToSlash(r.Path)
	}
	if s := r.Spec; s != nil {
		p.Part, p.Process, p.Material, p.Machine = s.Name.V, s.Process.V, s.Material.V, s.Machine.V
	}
	if m := r.Info; m != nil {
		p.Mesh = &Mesh{File: r.Spec.Mesh.File.V, SHA256: m.Source.SHA256, Facets: m.Facets, Units: m.Source.Unit}
		p.Measured = measured(r)
	}
	for i := range r.Findings {
		p.Findings = append(p.Findings, finding(r, &r.Findings[i]))
	}
	for _, f := range r.Failures {
		p.Failures = append(p.Failures, Failure(f))
	}
	for _, c := range r.Cautions {
		p.Cautions = append(p.Cautions, c.Text)
	}
	return p
}

func finding(r *rules.PartReport, f *rules.Finding) Finding {
	out := Finding{Check: f.Check, Level: string(f.Level), Message: f.Message, Help: f.Help, Caution: f.Caution, Unit: f.Unit,
		Band: f.Band, Undecided: f.Undecided, Count: f.Count, Area: f.AreaMM2, Fingerprint: f.Fingerprint}
	if f.HasValue {
		out.Measured = number(f.Measured)
		if f.LimitFrom != nil || f.Limit != 0 {
			out.Limit = number(f.Limit)
		}
	}
	if o := f.LimitFrom; o != nil {
		out.LimitFrom = &LimitFrom{o.Layer, filepath.ToSlash(o.File), o.Line, o.Source}
	}
	if f.HasPlace {
		out.At, out.Box = &f.At, &Box{f.Box.Min, f.Box.Max}
	}
	if len(f.Places) > 1 {
		for _, q := range f.Places {
			out.Places = append(out.Places, q.At)
		}
	}
	if doc := docOf(r, f); doc != nil {
		a, b := doc.Position(f.Where.At.Start), doc.Position(f.Where.At.End)
		out.Where = &Where{f.Where.Key, Position(a), Position(b)}
	}
	if v := f.Waived; v != nil {
		out.Waived = &Waived{v.Reason.V, v.Until.V.String()}
	}
	return out
}

// number is nil for what JSON can't hold.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
