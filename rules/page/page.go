// Package page writes the report of a part as one HTML page that stands alone:
// the part in 3D as it stands on its platform, its findings, plots, limits with
// their sources, route and cautions.
//
// Invariants: a page asks nothing of any host, and says so to the browser; all
// text from input is escaped, control characters are made visible; the same
// report gives the same bytes. Absent on purpose: files, dates, scripts of
// others.
package page

import (
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/output"
	"corbel/rules/still"
	"corbel/spec"
)

//go:embed page.html
var pageText string

//go:embed index.html
var indexText string

//go:embed page.css
var styleText string

//go:embed page.js
var scriptText string

// policy is what a page lets the browser do: run our own script and style,
// show pictures that are in the page, and nothing else.
func policy() string {
	sum := func(s string) string {
		h := sha256.Sum256([]byte(s))
		return "'sha256-" + base64.StdEncoding.EncodeToString(h[:]) + "'"
	}
	return "default-src 'none'; img-src data:; script-src " + sum(scriptText) + "; style-src " + sum(styleText) + "; base-uri 'none'; form-action 'none'"
}

// templates are made when first asked for: most runs write no page.
var templates = sync.OnceValue(func() *template.Template {
	page := template.Must(template.New("page").Funcs(template.FuncMap{
		"clean": output.Clean,
		"num":   figure,
		"vec":   output.Vector,
		"add":   func(a, b int) int { return a + b },
	}).Parse(pageText))
	return template.Must(page.New("index").Parse(indexText))
})

func figure(v float64) string { return output.Figure(v) }

// Options steer Write. The zero Options are good for the command line.
type Options struct {
	// Orientation is what the part would cost as it may stand; nil leaves the
	// section out.
	Orientation *rules.Orientation
	// Facets is the most that the view shows; 0 is 200,000.
	Facets int
}

// stillsMax bounds the findings that are drawn as pictures, so that a page
// stays light; the gravest are drawn first.
const stillsMax = 40

// Write writes the report of one part. It is written in one call at the end,
// so that nothing is written where the context ends.
func Write(ctx context.Context, w io.Writer, r *rules.PartReport, o Options) error {
	if o.Facets <= 0 {
		o.Facets = viewFacetsMax
	}
	d, err := newPage(ctx, GravestFirst(r), o)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := templates().ExecuteTemplate(&b, "page", d); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// GravestFirst returns the report with its findings in the order in which a page
// numbers them: errors, warnings, notes, and last what is waived; equally grave
// ones stay in the report's order. A reader who has a minute reads the top.
func GravestFirst(r *rules.PartReport) *rules.PartReport {
	out := *r
	out.Findings = slices.Clone(r.Findings)
	weight := func(f *rules.Finding) int {
		if f.Waived != nil {
			return 0
		}
		return f.Level.Weight()
	}
	slices.SortStableFunc(out.Findings, func(a, b rules.Finding) int { return weight(&b) - weight(&a) })
	return &out
}

// document is what the template fills in.
type document struct {
	frameOfPage
	Part                                 string
	Path, Drawing, Revision, Shop        string
	Setup                                []fact
	Totals                               output.Totals
	Checked, Bare                        bool
	Findings                             []finding
	Failures                             []rules.Failure
	HasMesh                              bool
	Why                                  string        // there is no view
	Data                                 template.HTML // elements that the script reads
	Note                                 string
	Overview                             template.URL
	Facts                                []factGroup
	Plots                                []*plot
	Standings                            *standings
	Profile                              template.HTML
	SectionMost, SectionAt, Height, Lift float64
	Legends                              legends
	Holes                                []holeRow
	Pins                                 []pinRow
	Voids                                []voidRow
	Passages                             []passageRow
	Limits                               []limitRow
	Unused                               []limitRow
	Steps                                []string
	Cautions                             []rules.Caution
	Unseen                               string
	General                              string
	Seals                                []fact
}

// frameOfPage is what all pages share.
type frameOfPage struct {
	Title   string
	Policy  string
	Style   template.HTML // whole elements: the policy holds the digests of their text
	Script  template.HTML
	Version string
}

func newFrame(title string) frameOfPage {
	return frameOfPage{title, policy(), "<style>" + template.HTML(styleText) + "</style>", "<script>" + template.HTML(scriptText) + "</script>", rules.Version}
}

type fact struct{ Name, Value string }

type factGroup struct {
	Title string
	Facts []fact
}

// finding is one finding as the page tells it.
type finding struct {
	Number                                 int
	Check, Level, Message, Help, Caution   string
	Limit, Line, Excerpt, Key, Place, Size string
	Fingerprint, Reason, Until             string
	Waived, HasPlace                       bool
	Count                                  int
	Still                                  template.URL
}

type limitRow struct{ Name, Check, Value, From, Why string }

func newPage(ctx context.Context, r *rules.PartReport, o Options) (*document, error) {
	d := &document{Part: partName(r), Path: filepath.ToSlash(r.Path), Totals: output.Count([]*rules.PartReport{r}),
		Checked: r.Status == rules.Checked, Bare: r.Bare, Failures: r.Failures, Cautions: r.Cautions, Unseen: r.Unseen, General: rules.GeneralNote}
	d.frameOfPage = newFrame(output.Clean(d.Part) + ", design check")
	if s := r.Spec; s != nil {
		d.Drawing = s.Drawing.V
		d.setup(r)
		for _, v := range s.Route.Steps.V {
			d.Steps = append(d.Steps, v.V)
		}
	}
	d.limits(r)
	d.seals(r)
	if err := d.findings(ctx, r); err != nil {
		return nil, err
	}
	if r.Mesh == nil || len(r.Mesh.Facets) == 0 || r.Measured.Box == nil {
		d.Why = "There is no mesh to show."
		if len(r.Failures) > 0 {
			d.Why = r.Failures[0].Why
		}
		return d, ctx.Err()
	}
	return d, d.view(ctx, r, o)
}

// view fills in what is drawn and measured.
func (d *document) view(ctx context.Context, r *rules.PartReport, o Options) error {
	d.HasMesh = true
	s, err := newScene(ctx, r, o.Facets)
	if err != nil {
		return err
	}
	text, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	// json.Marshal writes <, > and & as escapes, so nothing ends the element early.
	d.Data = template.HTML(`<script type="application/json" id="scene">` + string(text) + "</script>\n" +
		`<script type="text/plain" id="pack">` + s.pack + "</script>\n")
	d.Note = s.note
	png, err := still.Part(ctx, r, still.Options{Width: 800, Height: 600})
	if err != nil {
		return err
	}
	d.Overview = picture(png)
	d.Height, d.Lift = s.Size[2], s.Lift
	d.Profile = profile(s.Sections, s.Size[2])
	if c := r.Measured.Sections; c != nil && c.Largest >= 0 {
		d.SectionMost, d.SectionAt = c.AreaMM2[c.Largest], round(c.Z[c.Largest]+s.Lift, 1)
	}
	d.Legends = newLegends(r)
	d.Standings = newStandings(o.Orientation)
	d.facts(r)
	d.features(r)
	p, err := inclinationPlot(ctx, r)
	if err != nil {
		return err
	}
	d.Plots = append(d.Plots, p)
	for _, p := range []*plot{wallPlot(r), sectionPlot(r)} {
		if p != nil {
			d.Plots = append(d.Plots, p)
		}
	}
	return ctx.Err()
}

func picture(png []byte) template.URL {
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png))
}

// partName is what a part is called: by its spec, else by its file.
func partName(r *rules.PartReport) string {
	if r.Spec != nil && r.Spec.Name.Set && strings.TrimSpace(r.Spec.Name.V) != "" {
		return r.Spec.Name.V
	}
	return strings.TrimSuffix(filepath.Base(r.Path), ".part.toml")
}

func (d *document) setup(r *rules.PartReport) {
	s := r.Spec
	add := func(name, value string) {
		if value != "" {
			d.Setup = append(d.Setup, fact{name, value})
		}
	}
	add("Process", s.Process.V)
	add("Material", s.Material.V)
	add("Machine", s.Machine.V)
	if s.Quantity.Set {
		add("Quantity", fmt.Sprint(s.Quantity.V))
	}
	add("Use", s.Use.V)
}

// findings tells every finding, and draws the first that have a place.
func (d *document) findings(ctx context.Context, r *rules.PartReport) error {
	drawn := map[int]bool{}
	for i := range r.Findings {
		if r.Findings[i].HasPlace && len(drawn) < stillsMax {
			drawn[i] = true
		}
	}
	pictures, err := drawAll(ctx, r, drawn)
	if err != nil {
		return err
	}
	for i := range r.Findings {
		x := tell(r, &r.Findings[i])
		x.Number = i + 1
		if png := pictures[i]; png != nil {
			x.Still = picture(png)
		}
		d.Findings = append(d.Findings, x)
	}
	return ctx.Err()
}

// tell turns a finding into what the page says.
func tell(r *rules.PartReport, f *rules.Finding) finding {
	x := finding{Check: f.Check, Level: string(f.Level), Message: f.Message, Help: f.Help, Caution: f.Caution, Count: f.Count,
		Fingerprint: f.Fingerprint, HasPlace: f.HasPlace, Key: f.Where.Key}
	if f.LimitFrom != nil {
		x.Limit = output.SayOrigin(f.LimitFrom)
	}
	if doc := output.TextOf(r, f); doc != nil {
		p := doc.Position(f.Where.At.Start)
		x.Line = fmt.Sprintf("%s:%d:%d", filepath.ToSlash(r.Path), p.Line, p.Column)
		line := doc.LineRange(p.Line)
		x.Excerpt = shorten(strings.TrimSpace(string(doc.Text[line.Start:line.End])))
	}
	if f.HasPlace {
		x.Place = output.Vector(f.At) + " mm"
		if size := f.Box.Max.Sub(f.Box.Min); f.Count == 1 && size.Norm() > 0 {
			x.Size = fmt.Sprintf("%s x %s x %s mm", figure(round(size[0], 3)), figure(round(size[1], 3)), figure(round(size[2], 3)))
		}
	}
	if w := f.Waived; w != nil {
		x.Waived, x.Reason, x.Until = true, w.Reason.V, w.Until.V.String()
	}
	return x
}

// excerptMax is the longest line of a spec that is shown, in code points.
const excerptMax = 120

func shorten(s string) string {
	if r := []rune(s); len(r) > excerptMax {
		return string(r[:excerptMax]) + "..."
	}
	return s
}

func (d *document) limits(r *rules.PartReport) {
	for _, l := range r.Limits.All {
		row := limitRow{Name: l.Def.Name, Check: l.Check, Why: l.Silent}
		if l.Set {
			row.Value, row.From = sayQuantity(l.Q), output.SayOrigin(&l.Origin)
		}
		if l.Silent == "" {
			d.Limits = append(d.Limits, row)
		} else {
			d.Unused = append(d.Unused, row)
		}
	}
}

func sayQuantity(q spec.Quantity) string { return fmt.Sprint(q) }

// seals names what the page was made of, so that a signature means something.
func (d *document) seals(r *rules.PartReport) {
	add := func(name, value string) { d.Seals = append(d.Seals, fact{name, value}) }
	if r.Spec != nil && r.Spec.Doc != nil && !r.Bare {
		sum := sha256.Sum256(r.Spec.Doc.Text)
		add("Part spec", filepath.ToSlash(r.Path)+", SHA-256 "+hex.EncodeToString(sum[:]))
	}
	if m := r.Mesh; m != nil {
		add("Mesh", fmt.Sprintf("%s, %d facets, unit %s, SHA-256 %s", filepath.ToSlash(r.MeshPath), len(m.Facets), m.Source.Unit, m.Source.SHA256))
		for _, n := range m.Source.Notes {
			add("Read", n)
		}
	}
	for _, f := range r.Shop.Chain {
		if f.File == rules.BuiltinFile {
			continue
		}
		sum := sha256.Sum256(f.Doc.Text)
		rev := ""
		if f.Revision.Set {
			rev = ", revision " + f.Revision.V
		}
		add("Shop file", fmt.Sprintf("%s, %s%s, SHA-256 %s", f.Name.V, filepath.ToSlash(f.File), rev, hex.EncodeToString(sum[:])))
	}
	add("Checked by", "corbel "+rules.Version)
}

// facts groups the figures of the part.
func (d *document) facts(r *rules.PartReport) {
	m := r.Measured
	var part, stand, plan, sound factGroup
	part.Title, stand.Title, plan.Title, sound.Title = "The part", "As it stands", "Planning figures, not an offer", "The mesh"
	add := func(g *factGroup, name, value string) { g.Facts = append(g.Facts, fact{name, value}) }
	e := r.Estimate()
	if v := m.Mass; v != nil {
		add(&part, "Volume", figure(v.VolumeMM3/1000)+" cm3")
		add(&part, "Surface", figure(v.AreaMM2/100)+" cm2")
	}
	if e.MassG > 0 {
		add(&part, "Mass", figure(e.MassG)+" g"+against(r.Spec.Budget.Mass.Set, r.Spec.Budget.Mass.V.V, " g"))
	}
	if w := m.Wall; w != nil {
		add(&part, "Thinnest wall", orMore(w))
	}
	if w := m.Gap; w != nil {
		add(&part, "Narrowest gap", orMore(w))
	}
	if b := m.Ball; b != nil {
		add(&part, "Largest ball inside", figure(b.DiameterMM)+" mm")
	}
	for _, f := range r.Fits() {
		sizes, made := f.SayFit()
		add(&part, fmt.Sprintf("Hole %q", f.Decl.Name.V), sizes+". "+made+".")
	}
	if b := m.Box; b != nil {
		add(&stand, "Size x, y, z", fmt.Sprintf("%s x %s x %s mm", figure(b.Size[0]), figure(b.Size[1]), figure(b.Size[2])))
		z := m.Frame.Z
		add(&stand, "Up, mesh axes", fmt.Sprintf("(%s, %s, %s)", figure(round(z[0], 4)), figure(round(z[1], 4)), figure(round(z[2], 4))))
		if t := r.Spec.Orientation.Turn; t.Set {
			add(&stand, "Turned by", figure(t.V.V*180/math.Pi)+" deg")
		}
		add(&stand, "Lift above the platform", figure(m.Frame.Lift)+" mm")
		if xy, z := greenShare(r); xy > 0 || z > 0 {
			add(&stand, "Built larger than shown", fmt.Sprintf("x, y by %s %%, z by %s %%", figure(round(100*xy, 1)), figure(round(100*z, 1))))
		}
	}
	if o := m.Overhang; o != nil {
		n := 0
		for i := range o.Regions {
			if r.NeedsSupport(i) {
				n++
			}
		}
		add(&stand, "Overhang", fmt.Sprintf("%s mm2, %s; %d need support", figure(o.AreaMM2), plural(len(o.Regions), "region"), n))
	}
	if m.Has(rules.NeedStarts) {
		n := 0
		for _, st := range m.Starts {
			if r.StartCounts(st) {
				n++
			}
		}
		add(&stand, "Starts in mid-air", fmt.Sprintf("%d; %d need support", len(m.Starts), n))
	}
	if e.HasTime {
		add(&plan, "Support, solid", figure(e.Support/1000)+" cm3")
		if n, ok := r.SupportNeed(); ok && n.FootMM2 > 0 {
			add(&plan, "Support that lands on the part", fmt.Sprintf("%.0f %% of its foot", 100*n.OnPartShare()))
		}
		add(&plan, "Machine time a part", fmt.Sprintf("about %s h, %s to %s", figure2(e.TimeH), figure2(e.Hours.Low), figure2(e.Hours.High)))
	}
	if e.HasCost {
		add(&plan, "Cost a part", fmt.Sprintf("about %s %s, %s to %s", figure2(e.Cost), r.Shop.Currency(), figure2(e.Price.Low), figure2(e.Price.High))+
			against(r.Spec.Budget.Cost.Set, r.Spec.Budget.Cost.V, " "+r.Shop.Currency()))
		add(&plan, "Made of", rules.SayMade(e.Made))
	}
	if e.HasTime {
		given, usual, without := rules.SayInputs(e.Inputs)
		add(&plan, "Figures used", given)
		if usual != "" {
			add(&plan, "Taken as usual", usual)
		}
		if without != "" {
			add(&plan, "Left out", without)
		}
	}
	if i := m.Integrity; i != nil {
		add(&sound, "Facets", fmt.Sprint(len(r.Mesh.Facets)))
		add(&sound, "Shells", fmt.Sprint(i.Shells))
		add(&sound, "Open edges", fmt.Sprint(i.OpenEdges))
		add(&sound, "Edges of more than two", fmt.Sprint(i.NonmanifoldEdges))
		add(&sound, "Flipped facets", fmt.Sprint(i.FlippedFacets))
		add(&sound, "Crossings", fmt.Sprint(i.SelfIntersections))
	}
	for _, g := range []factGroup{part, stand, plan, sound} {
		if len(g.Facts) > 0 {
			d.Facts = append(d.Facts, g)
		}
	}
}

func figure2(v float64) string {
	if v == 0 {
		return "0"
	}
	p := math.Pow10(1 - int(math.Floor(math.Log10(math.Abs(v)))))
	return figure(math.Round(v*p) / p)
}

// greenShare is by what share a part to be sintered is built larger than drawn.
func greenShare(r *rules.PartReport) (xy, z float64) {
	if p := r.Spec.Process.V; p != rules.BinderJet && p != rules.Extrusion {
		return 0, 0
	}
	s := rules.Subject{Spec: r.Spec, Shop: r.Shop, Limits: r.Limits, Measured: r.Measured}
	xy, z = s.Shrinkage()
	return 1/(1-xy) - 1, 1/(1-z) - 1
}

func against(set bool, budget float64, unit string) string {
	if !set {
		return ""
	}
	return ", budget " + figure(budget) + unit
}

func orMore(w *mesh.ThicknessField) string {
	if math.IsInf(w.Min, 1) {
		return figure(w.Params.CapMM) + " mm or more"
	}
	return figure(w.Min) + " mm"
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
