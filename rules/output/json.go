package output

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"corbel/mesh"
	"corbel/rules"
	"corbel/spec"
)

// This file defines the JSON document of check and measure. Lengths are mm,
// areas mm2, volumes mm3, angles degrees, masses g, times h; positions are
// mesh coordinates in mm. A key whose measurement was not asked for is absent.

// Document is the whole.
type Document struct {
	Schema int    `json:"schema" doc:"version of this description"`
	Tool   Tool   `json:"tool" doc:"what wrote the document"`
	Shard  *Shard `json:"shard,omitempty" doc:"which share of the run this is; absent where it is the whole"`
	Parts  []Part `json:"parts" doc:"parts and shop files, in the order of the search"`
	// Missing says which paths of the command line could not be searched.
	Missing  []Failure `json:"missing,omitempty" doc:"paths of the command line that could not be searched, and shards that are missing"`
	Baseline *Baseline `json:"baseline,omitempty" doc:"what the findings were held against; absent where nothing"`
	Totals   *Totals   `json:"totals,omitempty" doc:"findings by level, those that a waiver or the baseline has apart"`
}

// Shard says that the document holds every Of-th part, from the Index-th on.
type Shard struct {
	Index int `json:"index" doc:"from 1"`
	Of    int `json:"of" doc:"how many shards there are; this one holds every of-th part from the index-th on"`
}

// Baseline says that findings were held against earlier ones.
type Baseline struct {
	// From is the file or the folder that holds the earlier findings.
	From string `json:"from" doc:"the file or the folder that holds the earlier findings"`
}

// Gone is a finding of the baseline that is found no more.
type Gone struct {
	Check       string `json:"check"`
	Level       string `json:"level" enum:"error,warning,note"`
	Message     string `json:"message"`
	Fingerprint string `json:"fingerprint"`
}

// Tool says what wrote the document.
type Tool struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// Part is one part spec, one shop file, or one bare mesh.
type Part struct {
	Spec     string    `json:"spec,omitempty" doc:"the part spec, as it was given; absent for a shop file or a bare mesh"`
	Shop     string    `json:"shop,omitempty" doc:"the shop file, where it is what was checked"`
	Part     string    `json:"part,omitempty" doc:"name of the part or the shop"`
	Status   string    `json:"status" doc:"unchecked where something could not be checked (failures say what), unchanged where all files are those of the other tree" enum:"checked,unchecked,unchanged"`
	Process  string    `json:"process,omitempty" doc:"ISO/ASTM 52900 abbreviation"`
	Material string    `json:"material,omitempty"`
	Machine  string    `json:"machine,omitempty"`
	Mesh     *Mesh     `json:"mesh,omitempty"`
	Measured *Measured `json:"measured,omitempty"`
	Checks   []string  `json:"checks,omitempty" doc:"names of the checks that ran"`
	Findings []Finding `json:"findings"`
	Gone     []Gone    `json:"gone,omitempty" doc:"findings of the baseline that are found no more"`
	Failures []Failure `json:"failures,omitempty" doc:"what could not be checked, and why"`
	Cautions []string  `json:"cautions,omitempty" doc:"what can hurt someone; each once"`
	Unseen   string    `json:"unseen,omitempty" doc:"what the check of powder may have missed, in one sentence"`

	Deps []string `json:"-"` // absolute paths of the files that it was made from
	Path string   `json:"-"` // as given, also of a bare mesh
}

// File is the text that the findings are about: a spec or a shop file.
func (p *Part) File() string {
	if p.Shop != "" {
		return p.Shop
	}
	return p.Spec
}

// Mesh is the mesh file.
type Mesh struct {
	File   string `json:"file" doc:"as the spec names it"`
	SHA256 string `json:"sha256" doc:"of the file"`
	Facets int    `json:"facets"`
	Units  string `json:"units" doc:"of the numbers in the file"`
}

// Failure is something that could not be checked.
type Failure struct {
	What string `json:"what" doc:"a check, or spec, mesh, shop, path, shard"`
	Why  string `json:"why" doc:"one sentence"`
}

// Measured holds the measurements.
type Measured struct {
	Volume         *float64        `json:"volume,omitempty" doc:"mm3"`
	Area           *float64        `json:"area,omitempty" doc:"mm2"`
	Mass           *float64        `json:"mass,omitempty" doc:"g"`
	Centroid       *mesh.Vec       `json:"centroid,omitempty" doc:"mm, mesh coordinates"`
	Box            *Box            `json:"box,omitempty" doc:"in mesh coordinates"`
	OrientedBox    *OrientedBox    `json:"oriented_box,omitempty" doc:"as the part stands"`
	Integrity      *Integrity      `json:"integrity,omitempty"`
	Overhang       *Overhang       `json:"overhang,omitempty" doc:"underside below the overhang angle"`
	FloatingStarts *[]Start        `json:"floating_starts,omitempty"`
	Wall           *Thickness      `json:"wall,omitempty" doc:"thinnest wall"`
	Gap            *Thickness      `json:"gap,omitempty" doc:"narrowest gap"`
	LargestBall    *Ball           `json:"largest_ball,omitempty" doc:"largest ball inside the material"`
	Holes          *[]Hole         `json:"holes,omitempty"`
	Fits           []HoleFit       `json:"fits,omitempty" doc:"what the tolerances of the declared holes mean"`
	Pins           *[]Pin          `json:"pins,omitempty"`
	Voids          *[]Void         `json:"voids,omitempty"`
	Passages       *[]Passage      `json:"passages,omitempty" doc:"long narrow channels and slits that are no straight round holes, deepest for their width first"`
	Support        *Support        `json:"support,omitempty" doc:"what has to stand under the part; orient and compare give the same figures"`
	Height         *float64        `json:"height,omitempty" doc:"mm, with the lift"`
	Time           *float64        `json:"time,omitempty" doc:"h"`
	TimeBand       *Span           `json:"time_band,omitempty" doc:"what the time may be, h"`
	Cost           *float64        `json:"cost,omitempty" doc:"in the shop's currency, per part"`
	CostBand       *Span           `json:"cost_band,omitempty" doc:"what the cost may be"`
	CostShares     *CostShares     `json:"cost_shares,omitempty" doc:"what the cost is made of"`
	Inputs         []Input         `json:"inputs,omitempty" doc:"the figures that time and cost are made with"`
	FeatherEdges   *[]FeatherEdge  `json:"feather_edges,omitempty"`
	Slender        *[]Slender      `json:"slender,omitempty"`
	Section        *LargestSection `json:"largest_section,omitempty"`
}

// Span is the least and the most that a planning figure may be.
type Span struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// CostShares is what the cost of a part is made of.
type CostShares struct {
	Machine float64 `json:"machine" doc:"hours of the machine"`
	Job     float64 `json:"job" doc:"share of what a job costs, the furnace included"`
	Powder  float64 `json:"powder" doc:"feedstock, with what is lost"`
	Gas     float64 `json:"gas" doc:"where the machine's rate leaves it out"`
	Removal float64 `json:"removal" doc:"supports off, by hand"`
	Part    float64 `json:"part" doc:"what finishing one part costs"`
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
	PartedEdges       int `json:"parted_edges"`
	FlippedFacets     int `json:"flipped_facets"`
	DegenerateFacets  int `json:"degenerate_facets"`
	DuplicateFacets   int `json:"duplicate_facets"`
	SelfIntersections int `json:"self_intersections"`
	Shells            int `json:"shells"`
	InvertedShells    int `json:"inverted_shells"`
	Fins              int `json:"fins" doc:"facets that hang on an edge of others, measured without"`
	ClosedEdges       int `json:"closed_edges" doc:"of open_edges, measured as closed"`
	TurnedFacets      int `json:"turned_facets" doc:"of flipped_facets, measured as turned"`
	TurnedShells      int `json:"turned_shells" doc:"of inverted_shells, measured as turned"`
}

// Overhang holds the overhang regions.
type Overhang struct {
	Area    float64  `json:"area" doc:"mm2"`
	Regions []Region `json:"regions"`
}

// Region is one overhang region.
type Region struct {
	Area        float64  `json:"area" doc:"mm2"`
	Projected   float64  `json:"projected_area" doc:"mm2, seen from below"`
	Inclination float64  `json:"inclination" doc:"least, degrees from the horizontal"`
	Reach       float64  `json:"reach" doc:"mm to the nearest place that is carried"`
	Kind        string   `json:"kind" doc:"ledge: carried on one side; bridge: on opposite sides; free: not carried" enum:"ledge,bridge,free"`
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
	Diameter float64  `json:"diameter" doc:"mm"`
	Depth    float64  `json:"depth" doc:"mm"`
	Through  bool     `json:"through"`
	Axis     mesh.Vec `json:"axis"`
	At       mesh.Vec `json:"at"`
	Tilt     float64  `json:"tilt" doc:"degrees between the axis and the build direction"`
	Share    float64  `json:"share" doc:"of the circle that is there, 0 to 1"`
}

// HoleFit is what the tolerance of a declared hole means. Clearances below 0
// are interference.
type HoleFit struct {
	Name        string  `json:"name"`
	Tolerance   string  `json:"tolerance"`
	Diameter    float64 `json:"diameter" doc:"mm, nominal"`
	Hole        Span    `json:"hole" doc:"mm, what the finished hole may be"`
	Shaft       *Span   `json:"shaft,omitempty" doc:"mm, of the shaft that a fit names"`
	Clearance   *Span   `json:"clearance,omitempty" doc:"mm, what the shaft leaves; below 0 interference"`
	Kind        string  `json:"kind,omitempty" enum:"clearance,transition,interference"`
	BuiltGrade  int     `json:"built_grade,omitempty" doc:"number of the IT grade that the process holds as built"`
	Built       *Span   `json:"built_clearance,omitempty" doc:"mm, what the shaft leaves in a hole that is left as built"`
	NeedsFinish bool    `json:"needs_finish" doc:"the process does not hold it as built"`
	Draw        float64 `json:"draw" doc:"mm, diameter to draw: less the stock, or the middle of what it may be"`
	Stock       float64 `json:"stock" doc:"mm a side that the drawn diameter leaves to cut"`
}

// Pin is a recognised pin, post or strut.
type Pin struct {
	Diameter float64  `json:"diameter" doc:"mm"`
	Length   float64  `json:"length" doc:"mm"`
	Axis     mesh.Vec `json:"axis"`
	At       mesh.Vec `json:"at"`
	Free     bool     `json:"free" doc:"an end stands free"`
	Tilt     float64  `json:"tilt"`
}

// Void is an inner space.
type Void struct {
	Volume   float64  `json:"volume" doc:"mm3"`
	Sealed   bool     `json:"sealed"`
	Escape   float64  `json:"escape" doc:"mm, diameter of the largest ball that gets out"`
	Openings int      `json:"openings"`
	Powder   float64  `json:"powder" doc:"g"`
	Ball     float64  `json:"ball" doc:"mm, diameter of the largest ball inside"`
	Way      float64  `json:"way" doc:"length of the way out over its width"`
	At       mesh.Vec `json:"at"`
}

// Passage is a channel or slit of any section, much longer than it is wide.
type Passage struct {
	Width    float64  `json:"width" doc:"mm, diameter of the largest ball that passes all of it"`
	Length   float64  `json:"length" doc:"mm, along its middle, mouth to mouth or from the mouth to the end"`
	Error    float64  `json:"length_error" doc:"what the length may be off by, mm"`
	Through  bool     `json:"through" doc:"open at both ends"`
	Powder   float64  `json:"powder" doc:"g"`
	At       mesh.Vec `json:"at" doc:"the deepest place"`
	NarrowAt mesh.Vec `json:"narrow_at" doc:"where it is narrowest"`
}

// Support is what has to stand under the part: columns under overhang that
// breaks its limits and under roofs of holes too wide to carry themselves, posts
// under places that start in the air, and what ties the part to the platform.
type Support struct {
	Volume   float64 `json:"volume" doc:"mm3 of columns, down to the part or the platform; orient calls it column_volume"`
	Solid    float64 `json:"solid_volume" doc:"mm3 of it that is solid; orient calls it support_volume"`
	Overhang float64 `json:"overhang_area" doc:"mm2 of surface that needs it"`
	Area     float64 `json:"area" doc:"mm2, footprint of the columns; orient calls it foot_area"`
	OnPart   float64 `json:"on_part_area" doc:"mm2 of the footprint that lands on the part"`
	Share    float64 `json:"on_part_share" doc:"of the footprint that lands on the part, 0 to 1"`
	Touch    float64 `json:"touch_area" doc:"mm2, where it touches the part, above and below"`
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
	Check       string     `json:"check" doc:"name of the check"`
	Level       string     `json:"level" enum:"error,warning,note"`
	Message     string     `json:"message" doc:"one sentence that stands alone"`
	Help        string     `json:"help,omitempty" doc:"what would help"`
	Caution     string     `json:"caution,omitempty" doc:"what can hurt someone"`
	Measured    *float64   `json:"measured,omitempty" doc:"in unit"`
	Limit       *float64   `json:"limit,omitempty" doc:"in unit"`
	Unit        string     `json:"unit,omitempty" doc:"mm, mm2, mm3, deg, g, um; absent for ratios"`
	Band        float64    `json:"band,omitempty" doc:"what measured may be off by, in unit"`
	Undecided   bool       `json:"undecided,omitempty" doc:"the limit lies inside the band"`
	LimitFrom   *LimitFrom `json:"limit_from,omitempty"`
	At          *mesh.Vec  `json:"at,omitempty" doc:"worst place, mesh coordinates, mm"`
	Box         *Box       `json:"box,omitempty"`
	Count       int        `json:"count" doc:"like places that this finding stands for"`
	Area        float64    `json:"area,omitempty" doc:"mm2"`
	Places      []mesh.Vec `json:"places,omitempty" doc:"where there are several, worst first"`
	Where       *Where     `json:"where,omitempty" doc:"the text that decides it, in the file of spec or shop"`
	Related     []Related  `json:"related,omitempty" doc:"other places that explain it"`
	Fixes       []Fix      `json:"fixes,omitempty" doc:"edits of the same file, any one of which would mend it"`
	Fingerprint string     `json:"fingerprint" doc:"names the finding; small edits and another tessellation keep it"`
	Known       bool       `json:"known,omitempty" doc:"the baseline has it"`
	Waived      *Waived    `json:"waived" doc:"null where no waiver accepts it"`

	source *spec.Doc // the text of Where, for excerpts
	at     spec.Range
}

// Related is another place that explains a finding.
type Related struct {
	Message string    `json:"message"`
	File    string    `json:"file"`
	Start   *Position `json:"start,omitempty"`
	End     *Position `json:"end,omitempty"`
}

// Fix is an edit: the text from start to end is replaced.
type Fix struct {
	Title string   `json:"title"`
	Start Position `json:"start"`
	End   Position `json:"end"`
	Text  Verbatim `json:"text" doc:"what stands there then"`
}

// Verbatim is text that goes into a file as it is: nothing in it is made
// readable for terminals.
type Verbatim string

// LimitFrom says where a limit came from.
type LimitFrom struct {
	Layer  string `json:"layer" enum:"built-in,shop,material,machine,part"`
	File   string `json:"file"`
	Line   int    `json:"line" doc:"from 1"`
	Source string `json:"source,omitempty" doc:"the reason or the published source"`
}

// Where is the text that decides a finding; lines and columns are 1-based,
// columns count code points.
type Where struct {
	Key   string   `json:"key,omitempty" doc:"dotted key"`
	Start Position `json:"start"`
	End   Position `json:"end"`
}

// Position is a place in a text.
type Position struct {
	Line   int `json:"line" doc:"from 1"`
	Column int `json:"column" doc:"from 1, in Unicode code points"`
}

// Waived says why a finding is accepted and until when.
type Waived struct {
	Reason string `json:"reason"`
	Until  string `json:"until" doc:"last day, YYYY-MM-DD"`
}

// JSON writes the document of check: measurements, findings and totals.
func JSON(w io.Writer, reports []*rules.PartReport) error { return write(w, Checked(reports)) }

// Checked is the document of check.
func Checked(reports []*rules.PartReport) *Document {
	var parts []Part
	for _, r := range reports {
		parts = append(parts, PartOf(r))
	}
	d := NewDocument(parts)
	d.Count()
	return d
}

// NewDocument is a document without totals: parts in their order.
func NewDocument(parts []Part) *Document {
	return &Document{Schema: 1, Tool: Tool{"corbel", rules.Version}, Parts: append([]Part{}, parts...)}
}

// write writes JSON whose strings hold no character that a terminal or a log
// obeys: they stand as escapes, which programs read as the same text.
func write(w io.Writer, d any) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(d); err != nil {
		return err
	}
	_, err := w.Write(escaped(b.Bytes()))
	return err
}

func escaped(text []byte) []byte {
	text = bytes.ReplaceAll(text, []byte("##["), []byte(`##\u005b`)) // see clean
	out := make([]byte, 0, len(text))
	for len(text) > 0 {
		r, n := utf8.DecodeRune(text)
		switch {
		case r == '\n' || unicode.IsPrint(r):
			out = append(out, text[:n]...)
		case r > 0xffff:
			hi, lo := utf16.EncodeRune(r)
			out = fmt.Appendf(out, `\u%04x\u%04x`, hi, lo)
		default:
			out = fmt.Appendf(out, `\u%04x`, r)
		}
		text = text[n:]
	}
	return out
}

// PartOf is what a document says of a part. It holds no mesh and no field of
// measurements, so that thousands of parts fit into memory.
func PartOf(r *rules.PartReport) Part {
	p := Part{Deps: r.Deps, Status: r.Status, Checks: r.Judged, Findings: []Finding{}, Path: filepath.ToSlash(r.Path)}
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
	t := texts{bare: r.Bare, chain: r.Shop.Chain}
	if r.Spec != nil {
		t.file, t.doc = r.Spec.File, r.Spec.Doc
	}
	p.found(t, r.Findings, r.Failures)
	for _, c := range r.Cautions {
		p.Cautions = append(p.Cautions, c.Text)
	}
	p.Unseen = r.Unseen
	return rounded(p)
}

// ShopOf is what a document says of a shop file.
func ShopOf(r *rules.ShopReport) Part {
	p := Part{Shop: filepath.ToSlash(r.Path), Status: rules.Checked, Checks: []string{rules.Spec.Name}, Findings: []Finding{},
		Path: filepath.ToSlash(r.Path), Deps: r.Deps}
	if len(r.Failures) > 0 {
		p.Status = rules.Unchecked
	}
	t := texts{chain: r.Shop.Chain}
	if r.File != nil {
		p.Part = r.File.Name.V
		t.file, t.doc = r.File.File, r.File.Doc
	}
	p.found(t, r.Findings, r.Failures)
	return rounded(p)
}

func (p *Part) found(t texts, findings []rules.Finding, failures []rules.Failure) {
	for i := range findings {
		p.Findings = append(p.Findings, finding(t, &findings[i]))
	}
	for _, f := range failures {
		p.Failures = append(p.Failures, Failure(f))
	}
}

// texts are the texts that findings point into.
type texts struct {
	bare  bool // the main text was made up
	file  string
	doc   *spec.Doc
	chain []*spec.Shop
}

// of returns the text of a file, or nil.
func (t texts) of(file string) *spec.Doc {
	if t.doc != nil && file == t.file {
		return t.doc
	}
	for _, s := range t.chain {
		if s.File == file {
			return s.Doc
		}
	}
	return nil
}

func finding(t texts, f *rules.Finding) Finding {
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
	if doc := t.doc; doc != nil && !t.bare && f.Where.File == t.file {
		a, b := doc.Position(f.Where.At.Start), doc.Position(f.Where.At.End)
		out.Where = &Where{f.Where.Key, Position(a), Position(b)}
		out.source, out.at = doc, f.Where.At
		for _, x := range f.Fixes {
			out.Fixes = append(out.Fixes, Fix{x.Title, Position(doc.Position(x.At.Start)), Position(doc.Position(x.At.End)), Verbatim(x.Text)})
		}
	}
	for _, o := range f.Related {
		out.Related = append(out.Related, related(t, o))
	}
	if v := f.Waived; v != nil {
		out.Waived = &Waived{v.Reason.V, v.Until.V.String()}
	}
	return out
}

// related places another text; the embedded defaults are no file that could be opened.
func related(t texts, o rules.Related) Related {
	out := Related{Message: o.Message, File: filepath.ToSlash(o.Location.File)}
	if doc := t.of(o.Location.File); doc != nil && o.Location.At != (spec.Range{}) {
		a, b := Position(doc.Position(o.Location.At.Start)), Position(doc.Position(o.Location.At.End))
		out.Start, out.End = &a, &b
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
