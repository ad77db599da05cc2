package output

import (
	"bufio"
	"fmt"
	"io"
	"text/tabwriter"

	"corbel/rules"
)

// DiffDocument is the JSON document of diff.
type DiffDocument struct {
	Schema int           `json:"schema" doc:"version of this description"`
	Tool   Tool          `json:"tool"`
	Old    string        `json:"old" doc:"the shop file before"`
	New    string        `json:"new" doc:"the shop file now"`
	Limits []LimitChange `json:"limits" doc:"limits in force that changed"`
	Other  []ShopChange  `json:"other" doc:"levels, policy, machines and materials that changed"`
	Parts  []Part        `json:"parts" doc:"parts under the new shop file; known findings were there under the old one"`
	Totals *Totals       `json:"totals"`
}

// LimitChange is a limit that changed.
type LimitChange struct {
	Process  string   `json:"process"`
	Material string   `json:"material,omitempty"`
	Machine  string   `json:"machine,omitempty"`
	Name     string   `json:"name"`
	Old      *float64 `json:"old,omitempty" doc:"absent where there was none"`
	New      *float64 `json:"new,omitempty" doc:"absent where there is none"`
	Unit     string   `json:"unit,omitempty"`
	Tighter  bool     `json:"tighter"`

	old, now string // as written
}

// ShopChange is another change.
type ShopChange struct {
	What string `json:"what"`
	Old  string `json:"old,omitempty" doc:"absent where it was not there"`
	New  string `json:"new,omitempty" doc:"absent where it is no more"`
}

// NewDiff is the document of two shops and of the parts under the new one,
// held against the old one.
func NewDiff(old, now *rules.ShopReport, parts []Part) *DiffDocument {
	limits, rest := rules.DiffShops(old.Shop, now.Shop)
	checked := NewDocument(parts)
	checked.Count()
	d := &DiffDocument{1, checked.Tool, old.Path, now.Path, []LimitChange{}, []ShopChange{}, checked.Parts, checked.Totals}
	for _, c := range limits {
		x := LimitChange{Process: c.Process, Material: c.Material, Machine: c.Machine, Name: c.New.Def.Name, Unit: c.New.Def.Unit, Tighter: c.Tighter(), old: "none", now: "none"}
		if c.Old.Set {
			x.Old, x.old = limitNumber(c.Old.Def, c.Old.V), c.Old.Q.String()
		}
		if c.New.Set {
			x.New, x.now = limitNumber(c.New.Def, c.New.V), c.New.Q.String()
		}
		d.Limits = append(d.Limits, x)
	}
	for _, c := range rest {
		d.Other = append(d.Other, ShopChange(c))
	}
	return d
}

// DiffJSON writes it for programs.
func DiffJSON(w io.Writer, d *DiffDocument) error { return write(w, rounded(*d)) }

// DiffText writes it for people: the limits, the rest, then the parts whose
// findings change with them.
func DiffText(w io.Writer, d *DiffDocument, o TextOptions) error {
	fmt.Fprintf(w, "From %s to %s\n", clean(d.Old), clean(d.New))
	if len(d.Limits)+len(d.Other) == 0 {
		fmt.Fprintln(w, "\nNo limit, level, policy, machine or material differs.")
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if len(d.Limits) > 0 {
		fmt.Fprintln(w, "\nLimits:")
	}
	for _, c := range d.Limits {
		way := map[bool]string{true: "tighter", false: "looser"}[c.Tighter]
		fmt.Fprintf(tw, "  %s\t%s\t%s to %s\t%s\n", clean(c.holds()), c.Name, clean(c.old), clean(c.now), way)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if len(d.Other) > 0 {
		fmt.Fprintln(w, "\nOther:")
	}
	for _, c := range d.Other {
		fmt.Fprintf(w, "  %s: %s to %s\n", clean(c.What), orNone(c.Old), orNone(c.New))
	}
	fmt.Fprintln(w)
	doc := cleaned(NewDocument(changed(d.Parts)))
	doc.Totals, doc.Baseline = d.Totals, &Baseline{d.Old}
	t := &text{w: bufio.NewWriter(w), o: o, empty: true}
	for i := range doc.Parts {
		t.gap()
		t.part(&doc.Parts[i])
	}
	t.gap()
	t.line("%s, of them %d with other findings: %d new, %d found no more.", count(len(d.Parts), "part"), len(doc.Parts),
		d.Totals.Error+d.Totals.Warning+d.Totals.Note, d.Totals.Gone)
	return t.w.Flush()
}

// DiffMarkdown writes it as a comment for a pull request: the limits as a
// table, the rest, then the findings that are new and those found no more.
func DiffMarkdown(w io.Writer, d *DiffDocument, o Options) error {
	m := &markdownPage{o: o}
	m.line("<!-- corbel diff -->")
	m.line("## Shop rules: %s, %s", count(len(d.Limits), "changed limit"), count(d.Totals.Error+d.Totals.Warning+d.Totals.Note, "new finding"))
	m.line("\nFrom %s to %s.", code(clean(o.path(d.Old))), code(clean(o.path(d.New))))
	m.limits(d.Limits)
	if len(d.Other) > 0 {
		m.line("\n### Other changes\n")
	}
	for _, c := range d.Other {
		if s := fmt.Sprintf("- %s: %s to %s", markdown(clean(c.What)), markdown(orNone(c.Old)), markdown(orNone(c.New))); m.room(s) {
			m.line("%s", s)
		}
	}
	doc := cleaned(NewDocument(changed(d.Parts)))
	doc.Totals = d.Totals
	m.unchecked(doc)
	m.folded("New findings", doc, func(f *Finding) bool { return !f.Known && f.Waived == nil })
	m.gone(doc)
	m.line("\n%s, of them %d with other findings: %d found no more.", count(len(d.Parts), "part"), len(doc.Parts), d.Totals.Gone)
	m.end(doc)
	_, err := io.WriteString(w, m.b.String())
	return err
}

// limits is the table of the limits that changed.
func (m *markdownPage) limits(changes []LimitChange) {
	if len(changes) > 0 {
		m.line("\n| for | limit | before | now | |\n|---|---|---|---|---|")
	}
	for _, c := range changes {
		way := map[bool]string{true: "tighter", false: "looser"}[c.Tighter]
		if s := fmt.Sprintf("| %s | %s | %s | %s | %s |", markdown(clean(c.holds())), code(c.Name), markdown(clean(c.old)), markdown(clean(c.now)), way); m.room(s) {
			m.line("%s", s)
		}
	}
}

// changed are the parts whose findings changed.
func changed(parts []Part) []Part {
	var out []Part
	for _, p := range parts {
		differs := len(p.Gone) > 0 || len(p.Failures) > 0
		for i := range p.Findings {
			differs = differs || !p.Findings[i].Known && p.Findings[i].Waived == nil
		}
		if differs {
			out = append(out, p)
		}
	}
	return out
}

// holds says for what a limit holds.
func (c *LimitChange) holds() string {
	s := c.Process
	for _, n := range []string{c.Material, c.Machine} {
		if n != "" {
			s += ", " + n
		}
	}
	return s
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return clean(s)
}
