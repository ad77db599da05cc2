package output

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"corbel/rules"
	"corbel/spec"
)

// LimitsText writes every limit, its value, and where it came from or why no
// check uses it.
func LimitsText(w io.Writer, r *rules.PartReport) error {
	l := r.Limits
	head := []string{l.Process}
	for _, s := range []string{l.Material, l.Machine} {
		if s != "" {
			head = append(head, s)
		}
	}
	fmt.Fprintf(w, "Limits for %s\n\n", clean(strings.Join(head, ", ")))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, x := range l.All {
		if x.Silent != "" {
			continue
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\n", x.Def.Name, x.Q, clean(sayOrigin(&x.Origin)))
		for _, u := range slices.Backward(x.Under) {
			fmt.Fprintf(tw, "  over\t%s\t%s\n", u.Q, clean(sayOrigin(&u.Origin)))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nNot used here:")
	for _, x := range l.All {
		if x.Silent != "" {
			fmt.Fprintf(tw, "%s\t%s\n", x.Def.Name, clean(x.Silent))
		}
	}
	return tw.Flush()
}

// LimitsDocument is the JSON document of limits.
type LimitsDocument struct {
	Schema   int         `json:"schema" doc:"version of this description"`
	Process  string      `json:"process"`
	Material string      `json:"material,omitempty"`
	Machine  string      `json:"machine,omitempty"`
	Limits   []LimitJSON `json:"limits"`
}

// LimitJSON is one limit of the document of limits.
type LimitJSON struct {
	Name   string       `json:"name"`
	Check  string       `json:"check" doc:"the check that reads it"`
	Value  *float64     `json:"value,omitempty" doc:"mm, mm2, degrees, um, or a ratio; absent where no layer gives one"`
	Unit   string       `json:"unit,omitempty"`
	Layer  string       `json:"layer,omitempty" enum:"built-in,shop,material,machine,part"`
	File   string       `json:"file,omitempty"`
	Line   int          `json:"line,omitempty" doc:"from 1"`
	Source string       `json:"source,omitempty" doc:"the reason or the published source"`
	Under  []LayerValue `json:"under,omitempty" doc:"what weaker layers say, the weakest first"`
	Unused string       `json:"unused,omitempty" doc:"why no check uses it here"`
}

// LayerValue is what a layer says of a limit.
type LayerValue struct {
	Value  *float64 `json:"value,omitempty"`
	Layer  string   `json:"layer" enum:"built-in,shop,material,machine,part"`
	File   string   `json:"file"`
	Line   int      `json:"line" doc:"from 1"`
	Source string   `json:"source,omitempty"`
}

// LimitsJSON writes the same for programs.
func LimitsJSON(w io.Writer, r *rules.PartReport) error {
	doc := LimitsDocument{1, r.Limits.Process, r.Limits.Material, r.Limits.Machine, []LimitJSON{}}
	for _, x := range r.Limits.All {
		j := LimitJSON{Name: x.Def.Name, Check: x.Check, Unit: x.Def.Unit, Unused: x.Silent}
		if x.Set {
			j.Value = limitNumber(x.Def, x.V)
			j.Layer, j.File, j.Line, j.Source = x.Origin.Layer, filepath.ToSlash(x.Origin.File), x.Origin.Line, x.Origin.Source
		}
		for _, u := range x.Under {
			j.Under = append(j.Under, LayerValue{limitNumber(x.Def, u.Q.V), u.Origin.Layer, filepath.ToSlash(u.Origin.File), u.Origin.Line, u.Origin.Source})
		}
		doc.Limits = append(doc.Limits, j)
	}
	return write(w, rounded(doc))
}

// limitNumber is a limit's value in the unit of the documents.
func limitNumber(def *rules.LimitDef, v float64) *float64 {
	switch def.Dim {
	case spec.Angle:
		v = degrees(v)
	case spec.Roughness:
		v *= 1000
	}
	return number(v)
}
