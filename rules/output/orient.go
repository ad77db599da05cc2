package output

import (
	"fmt"
	"io"
	"path/filepath"
	"reflect"
	"text/tabwriter"

	"corbel/mesh"
	"corbel/rules"
)

// OrientDocument is the JSON document of orient. Lengths are mm, areas mm2,
// volumes mm3, times h; cost is in the currency or, without rates, in hours.
type OrientDocument struct {
	Schema   int        `json:"schema"`
	Tool     Tool       `json:"tool"`
	Spec     string     `json:"spec"`
	Part     string     `json:"part,omitempty"`
	Status   string     `json:"status"`
	Process  string     `json:"process,omitempty"`
	Material string     `json:"material,omitempty"`
	Machine  string     `json:"machine,omitempty"`
	CostUnit string     `json:"cost_unit,omitempty"` // the currency, or "h"
	Looked   int        `json:"looked"`              // directions examined
	Now      *Standing  `json:"now,omitempty"`
	Choices  []Standing `json:"choices"`
	Map      []MapPoint `json:"map"`
	Inputs   []Input    `json:"inputs"`
	Failures []Failure  `json:"failures,omitempty"`
}

// Standing is one way up.
type Standing struct {
	Up           mesh.Vec   `json:"up"`
	Text         string     `json:"text"` // for orientation.up
	Turn         string     `json:"turn,omitempty"`
	AsWritten    bool       `json:"as_written"`
	Like         []mesh.Vec `json:"like,omitempty"`
	Reason       string     `json:"reason"`
	Height       float64    `json:"height"`
	OverhangArea float64    `json:"overhang_area"` // that needs support
	ColumnVolume float64    `json:"column_volume"`
	Support      float64    `json:"support_volume"` // solid share of the columns
	TouchArea    float64    `json:"touch_area" doc:"mm2, where support touches the part, above and below"`
	FootArea     float64    `json:"foot_area" doc:"mm2, footprint of the columns"`
	OnPartArea   float64    `json:"on_part_area" doc:"mm2 of the footprint that lands on the part"`
	StuckArea    float64    `json:"out_of_reach_area" doc:"mm2 of overhang whose support no straight tool takes off, where that breaks the shop's limit"`
	ByRays       bool       `json:"by_rays,omitempty" doc:"columns and footprint are sampled, good for about 2 %; else exact"`
	RestArea     float64    `json:"rest_area"`
	Starts       int        `json:"floating_starts"`
	Roofs        int        `json:"hole_roofs"`
	Fits         bool       `json:"fits"`
	Lacks        string     `json:"lacks,omitempty"`
	Harms        []string   `json:"harms,omitempty"`
	PerJob       int        `json:"per_job"`
	Jobs         int        `json:"jobs"`
	JobTime      float64    `json:"job_time"`
	Time         Band       `json:"time"`
	HandTime     float64    `json:"hand_time"`
	Cost         Band       `json:"cost"`
	SupportCost  float64    `json:"support_cost"`
}

// Band is a figure and what it may be.
type Band struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// MapPoint is a direction of the map.
type MapPoint struct {
	Up     mesh.Vec `json:"up"`
	Cost   float64  `json:"cost"`
	Column float64  `json:"column_volume"`
	Fits   bool     `json:"fits"`
	Harmed int      `json:"harmed,omitempty"`
}

// Input is a figure that went into the estimates.
type Input struct {
	What  string `json:"what"`
	Value string `json:"value"`
	From  string `json:"from"`
	Guess bool   `json:"guess,omitempty"`
}

// OrientJSON writes an orientation for programs.
func OrientJSON(w io.Writer, o *rules.Orientation) error {
	r := o.Report
	d := OrientDocument{Schema: 1, Tool: Tool{"corbel", rules.Version}, Spec: filepath.ToSlash(r.Path), Status: r.Status, Looked: o.Looked,
		Choices: []Standing{}, Map: []MapPoint{}, Inputs: inputs(o.Inputs)}
	if s := r.Spec; s != nil {
		d.Part, d.Process, d.Material, d.Machine = s.Name.V, s.Process.V, s.Material.V, s.Machine.V
	}
	if o.Now != nil {
		v := standing(o.Now)
		d.Now, d.CostUnit = &v, costUnit(o)
	}
	for i := range o.Choices {
		d.Choices = append(d.Choices, standing(&o.Choices[i]))
	}
	for _, p := range o.Map {
		d.Map = append(d.Map, MapPoint{p.Up, p.Cost, p.ColumnMM3, p.Fits, p.Harmed})
	}
	for _, f := range r.Failures {
		d.Failures = append(d.Failures, Failure(f))
	}
	return encode(w, &d)
}

// encode rounds a document and writes it.
func encode[T any](w io.Writer, d *T) error {
	roundValue(reflect.ValueOf(d).Elem())
	return write(w, d)
}

func inputs(in []rules.Input) []Input {
	out := []Input{}
	for _, i := range in {
		out = append(out, Input{i.What, i.Value, filepath.ToSlash(i.From), i.Guess})
	}
	return out
}

func costUnit(o *rules.Orientation) string {
	if o.Money {
		return o.Currency
	}
	return "h"
}

func standing(s *rules.Standing) Standing {
	return Standing{Up: s.Up, Text: s.Text, Turn: s.Turn, AsWritten: s.IsNow, Like: append([]mesh.Vec(nil), s.Like...), Reason: s.Reason, Height: s.HeightMM,
		OverhangArea: s.OverhangMM2, ColumnVolume: s.ColumnMM3, Support: s.SupportMM3, TouchArea: s.TouchMM2, FootArea: s.FootMM2, StuckArea: s.StuckMM2, ByRays: s.ByRays, OnPartArea: s.OnPartMM2, RestArea: s.RestMM2,
		Starts: s.Starts, Roofs: s.Roofs, Fits: s.Fits, Lacks: s.Lacks, Harms: s.Harms, PerJob: s.PerJob, Jobs: s.Jobs, JobTime: s.JobH,
		Time: Band(s.Hours), HandTime: s.HandH, Cost: Band(s.Cost), SupportCost: s.Support}
}

// OrientText writes an orientation for people.
func OrientText(w io.Writer, o *rules.Orientation) error {
	r := o.Report
	p := &printer{w: w}
	p.line("%s%s", StartOfLine(r.Path), heading(r))
	for _, f := range r.Failures {
		p.line("  not examined: %s", clean(f.Why))
	}
	if o.Now == nil {
		return p.err
	}
	unit := costUnit(o)
	p.line("")
	tw := tabwriter.NewWriter(p, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "  \tup\tcost, %s\tmay be\tmachine, h\tsupport, mm3\theight, mm\tharms\n", unit)
	row := func(mark string, s *rules.Standing) {
		fmt.Fprintf(tw, "  %s\t%s\t%s\t%s to %s\t%s\t%s\t%s\t%d\n", mark, s.Text, money(s.Cost.Value), money(s.Cost.Low), money(s.Cost.High),
			short(s.Hours.Value), short(s.SupportMM3), short(s.HeightMM), len(s.Harms))
	}
	row("now", o.Now)
	for i := range o.Choices {
		row(fmt.Sprint(i+1), &o.Choices[i])
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	p.line("")
	p.line("  now: %s", clean(o.Now.Reason))
	for i := range o.Choices {
		s := &o.Choices[i]
		more := ""
		if s.IsNow {
			more = " This is how the spec stands it."
		}
		if n := len(s.Like); n > 0 {
			more += fmt.Sprintf(" %s to the same.", pickWord(n, "1 other way comes", fmt.Sprintf("%d other ways come", n)))
		}
		if s.Turn != "" {
			more += fmt.Sprintf(" It fits with turn = %q.", s.Turn)
		}
		p.line("  %d: %s%s", i+1, clean(s.Reason), more)
	}
	p.line("")
	p.inputs(o.Inputs)
	for i := range o.Choices {
		if o.Choices[i].ByRays {
			p.line("  Columns of the choices are sampled, good for about 2 %%; those of now are exact.")
			break
		}
	}
	p.line("  %d directions examined. Planning figures, not an offer.", o.Looked)
	return p.err
}

func pickWord(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// printer writes lines and keeps the first error.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) Write(b []byte) (int, error) {
	if p.err != nil {
		return 0, p.err
	}
	n, err := p.w.Write(b)
	p.err = err
	return n, err
}

func (p *printer) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// inputs says which figures went in, and which of them nobody gave.
func (p *printer) inputs(in []rules.Input) {
	for _, l := range inputLines(in) {
		p.line("  %s", l)
	}
}

// inputLines says which figures went into an estimate, which of them are only
// usual, and what is left out.
func inputLines(in []rules.Input) []string {
	given, usual, without := rules.SayInputs(in)
	out := []string{"figures: " + clean(given)}
	if usual != "" {
		out = append(out, "taken as usual: "+clean(usual))
	}
	if without != "" {
		out = append(out, "left out: "+clean(without))
	}
	return out
}

// money says an amount to three figures: no estimate is better.
func money(v float64) string {
	switch {
	case v >= 100:
		return fmt.Sprintf("%.0f", v)
	case v >= 10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

// short says a number to three figures.
func short(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v >= 100:
		return fmt.Sprintf("%.0f", v)
	case v >= 10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2g", v)
}
