package output

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
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

// limitJSON is one limit of the document of limits.
type limitJSON struct {
	Name   string   `json:"name"`
	Check  string   `json:"check"`
	Value  *float64 `json:"value,omitempty"` // mm, mm2, degrees, um, or a ratio
	Unit   string   `json:"unit,omitempty"`
	Layer  string   `json:"layer,omitempty"`
	File   string   `json:"file,omitempty"`
	Line   int      `json:"line,omitempty"`
	Source string   `json:"source,omitempty"`
	Unused string   `json:"unused,omitempty"` // why no check uses it here
}

// LimitsJSON writes the same for programs.
func LimitsJSON(w io.Writer, r *rules.PartReport) error {
	doc := struct {
		Schema   int         `json:"schema"`
		Process  string      `json:"process"`
		Material string      `json:"material,omitempty"`
		Machine  string      `json:"machine,omitempty"`
		Limits   []limitJSON `json:"limits"`
	}{1, r.Limits.Process, r.Limits.Material, r.Limits.Machine, []limitJSON{}}
	for _, x := range r.Limits.All {
		j := limitJSON{Name: x.Def.Name, Check: x.Check, Unit: x.Def.Unit, Unused: x.Silent}
		if x.Set {
			v := x.V
			switch x.Def.Dim {
			case spec.Angle:
				v = degrees(v)
			case spec.Roughness:
				v *= 1000
			}
			j.Value = number(v)
			j.Layer, j.File, j.Line, j.Source = x.Origin.Layer, filepath.ToSlash(x.Origin.File), x.Origin.Line, x.Origin.Source
		}
		doc.Limits = append(doc.Limits, j)
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(doc)
}
