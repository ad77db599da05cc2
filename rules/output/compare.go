package output

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"corbel/mesh"
	"corbel/rules"
)

// CompareDocument is the JSON document of compare. Units as for orient.
type CompareDocument struct {
	Schema   int       `json:"schema"`
	Tool     Tool      `json:"tool"`
	Spec     string    `json:"spec"`
	Part     string    `json:"part,omitempty"`
	Status   string    `json:"status"`
	Material string    `json:"material,omitempty"`
	Currency string    `json:"currency,omitempty"`
	Options  []Option  `json:"options"`
	Milling  *Milling  `json:"milling,omitempty"`
	Cut      []Cut     `json:"cut,omitempty"` // declared places that a tool finishes
	Favour   string    `json:"favour,omitempty"`
	Then     string    `json:"then_mill,omitempty"`
	Failures []Failure `json:"failures,omitempty"`
}

// Option is one machine or process.
type Option struct {
	Process   string    `json:"process"`
	Machine   string    `json:"machine,omitempty"`
	AsWritten bool      `json:"as_written"`
	Why       string    `json:"why,omitempty"` // why it can't make the part
	Checks    []Fail    `json:"checks,omitempty"`
	Error     int       `json:"error"`
	Warning   int       `json:"warning"`
	Note      int       `json:"note"`
	Failures  []Failure `json:"failures,omitempty"`
	CostUnit  string    `json:"cost_unit,omitempty"`
	Standing  *Standing `json:"standing,omitempty"`
	Steps     []string  `json:"steps,omitempty"`
	Inputs    []Input   `json:"inputs,omitempty"`
}

// Fail is what one check finds.
type Fail struct {
	Check string `json:"check"`
	Level string `json:"level"`
	Count int    `json:"count"`
	First string `json:"first"`
}

// Milling is milling from the full.
type Milling struct {
	Stock      string   `json:"stock"` // "block" or "bar"
	Size       mesh.Vec `json:"size"`
	Volume     float64  `json:"volume"`
	Mass       float64  `json:"mass,omitempty"`
	Ratio      float64  `json:"ratio"`
	Share      float64  `json:"reached_share"`
	ShareBand  float64  `json:"reached_band"`
	ToolWidth  float64  `json:"tool_diameter"`
	ToolLength float64  `json:"tool_length"`
	Missed     []Missed `json:"missed,omitempty"`
}

// Missed is where the tool does not reach.
type Missed struct {
	Area float64  `json:"area"`
	At   mesh.Vec `json:"at"`
	Box  Box      `json:"box"`
}

// Cut is a declared place that a tool finishes.
type Cut struct {
	Name    string  `json:"name"`
	Asks    string  `json:"asks"`
	Reached bool    `json:"reached"`
	Area    float64 `json:"area"`
}

// CompareJSON writes a comparison for programs.
func CompareJSON(w io.Writer, c *rules.Comparison) error {
	r := c.Report
	d := CompareDocument{Schema: 1, Tool: Tool{"corbel", rules.Version}, Spec: filepath.ToSlash(r.Path), Status: r.Status, Currency: c.Currency,
		Options: []Option{}, Favour: c.Favour, Then: c.Then}
	if s := r.Spec; s != nil {
		d.Part, d.Material = s.Name.V, s.Material.V
	}
	for i := range c.Options {
		d.Options = append(d.Options, option(c, &c.Options[i]))
	}
	if m := c.Mill; m != nil {
		d.Milling = milling(m)
	}
	for _, p := range c.Cut {
		d.Cut = append(d.Cut, Cut{p.Name, p.Asks, p.Reached, p.AreaMM2})
	}
	for _, f := range r.Failures {
		d.Failures = append(d.Failures, Failure(f))
	}
	return encode(w, &d)
}

func option(c *rules.Comparison, o *rules.Option) Option {
	out := Option{Process: o.Process, Machine: o.Machine, AsWritten: o.IsNow, Why: o.Why}
	if o.Why != "" {
		return out
	}
	out.Error, out.Warning, out.Note, out.Steps, out.Inputs = o.Errors, o.Warnings, o.Notes, o.Steps, inputs(o.Inputs)
	for _, f := range o.Fails {
		out.Checks = append(out.Checks, Fail{f.Check, string(f.Level), f.Count, f.First})
	}
	for _, f := range o.Failures {
		out.Failures = append(out.Failures, Failure(f))
	}
	st := standing(&o.Standing)
	st.AsWritten = true
	out.Standing, out.CostUnit = &st, unitOf(c, o)
	return out
}

func unitOf(c *rules.Comparison, o *rules.Option) string {
	if o.Money {
		return c.Currency
	}
	return "h"
}

func milling(m *rules.Mill) *Milling {
	out := &Milling{Stock: stockWord(m), Size: m.Stock.Size, Volume: m.Stock.VolumeMM3, Mass: m.StockG, Ratio: m.Ratio, Share: m.Share,
		ShareBand: m.ShareErr, ToolWidth: m.Tool.DiameterMM, ToolLength: m.Tool.LengthMM}
	for _, x := range m.Missed {
		out.Missed = append(out.Missed, Missed{x.AreaMM2, x.At, Box{x.Box.Min, x.Box.Max}})
	}
	return out
}

func stockWord(m *rules.Mill) string {
	if m.Stock.Round {
		return "bar"
	}
	return "block"
}

// CompareText writes a comparison for people.
func CompareText(w io.Writer, c *rules.Comparison) error {
	r := c.Report
	p := &printer{w: w}
	p.line("%s%s", StartOfLine(r.Path), heading(r))
	for _, f := range r.Failures {
		p.line("  not examined: %s", clean(f.Why))
	}
	if len(c.Options) == 0 {
		return p.err
	}
	p.line("")
	tw := tabwriter.NewWriter(p, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "  machine\tprocess\tcost a part\tmay be\tmachine, h\tin a job\tjobs\ta job, h\terror\twarning\tnote\n")
	for i := range c.Options {
		o := &c.Options[i]
		name := clean(o.Machine)
		if name == "" {
			name = "-"
		}
		if o.IsNow {
			name += " (now)"
		}
		if o.Why != "" {
			fmt.Fprintf(tw, "  %s\t%s\t%s\n", name, o.Process, clean(o.Why))
			continue
		}
		fmt.Fprintf(tw, "  %s\t%s\t%s %s\t%s to %s\t%s\t%d\t%d\t%s\t%d\t%d\t%d\n", name, o.Process, money(o.Cost.Value), unitOf(c, o), money(o.Cost.Low), money(o.Cost.High),
			short(o.Hours.Value), o.PerJob, o.Jobs, short(o.JobH), o.Errors, o.Warnings, o.Notes)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	for i := range c.Options {
		p.option(&c.Options[i])
	}
	if c.Mill != nil {
		p.mill(c.Mill)
	}
	p.line("")
	p.line("%s", clean(c.Favour))
	if c.Then != "" {
		p.line("%s", clean(c.Then))
	}
	p.line("Planning figures, not an offer. All stand as the spec stands the part.")
	return p.err
}

func (p *printer) option(o *rules.Option) {
	if o.Why != "" {
		return
	}
	p.line("")
	name := o.Process
	if o.Machine != "" {
		name = o.Machine + ", " + o.Process
	}
	p.line("%s", clean(name))
	for _, f := range o.Fails {
		more := ""
		if f.Count > 1 {
			more = fmt.Sprintf(" (%d in all)", f.Count)
		}
		p.line("  %s, %s: %s%s", f.Level, f.Check, clean(f.First), more)
	}
	for _, f := range o.Failures {
		p.line("  not checked: %s", clean(f.Why))
	}
	if len(o.Fails)+len(o.Failures) == 0 {
		p.line("  nothing found")
	}
	p.line("  %s", clean(o.Reason))
	p.line("  after the build: %s", strings.Join(o.Steps, ", "))
	p.inputs(o.Inputs)
}

func (p *printer) mill(m *rules.Mill) {
	p.line("")
	p.line("milling from the full")
	size := fmt.Sprintf("block of %s x %s x %s mm", short(m.Stock.Size[0]), short(m.Stock.Size[1]), short(m.Stock.Size[2]))
	if m.Stock.Round {
		size = fmt.Sprintf("bar of %s mm, %s mm long", short(m.Stock.Size[0]), short(m.Stock.Size[2]))
	}
	mass := ""
	if m.StockG > 0 {
		mass = fmt.Sprintf(", %s g", short(m.StockG))
	}
	p.line("  %s%s: %.1f times the part", size, mass, m.Ratio)
	p.line("  a straight tool of %g mm, %g mm long, reaches %.0f %% of the surface from six sides (+- %.0f), round holes drilled", m.Tool.DiameterMM, m.Tool.LengthMM, 100*m.Share, max(1, 100*m.ShareErr))
	for _, x := range firstN(m.Missed, 5) {
		p.line("  misses about %s mm2 near %s", short(x.AreaMM2), vec(roundVec(x.At)))
	}
}

func roundVec(v mesh.Vec) mesh.Vec {
	for k := range v {
		v[k] = float64(int(v[k]*10+sign(v[k])*0.5)) / 10
	}
	return v
}

func sign(x float64) float64 {
	if x < 0 {
		return -1
	}
	return 1
}
