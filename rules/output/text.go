package output

import (
	"bufio"
	"fmt"
	"io"
	"path"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/fatih/color"

	"corbel/rules"
	"corbel/spec"
)

// TextOptions steer Text.
type TextOptions struct {
	Color bool
	// General puts the general note and the cautions under the findings.
	General bool
}

// Text writes reports for people.
func Text(w io.Writer, reports []*rules.PartReport, o TextOptions) error {
	return writeText(w, cleaned(Checked(reports)), o)
}

// writeText writes a document for people: every finding in one sentence, under
// the place in the spec that decides it, then what would help and where the
// limit came from. Nothing is said by colour alone, so that it reads well
// aloud. A document that was read back has no text to quote from.
func writeText(w io.Writer, d *Document, o TextOptions) error {
	t := &text{w: bufio.NewWriter(w), o: o, empty: true}
	for i := range d.Parts {
		if d.Parts[i].Status == Unchanged {
			continue
		}
		t.gap()
		t.part(&d.Parts[i])
	}
	if len(d.Parts) > 0 || len(d.Missing) == 0 { // else nothing was checked
		t.cautions(d)
		t.totals(d)
	}
	return t.w.Flush()
}

type text struct {
	w     *bufio.Writer
	o     TextOptions
	empty bool // nothing written yet
}

func (t *text) line(format string, args ...any) {
	t.empty = false
	fmt.Fprintf(t.w, format+"\n", args...)
}

// gap is an empty line between what is written and what follows.
func (t *text) gap() {
	if !t.empty {
		t.line("")
	}
}

// ink colours a word where colour is wanted.
func (t *text) ink(s string, attrs ...color.Attribute) string {
	if !t.o.Color {
		return s
	}
	c := color.New(attrs...)
	c.EnableColor()
	return c.Sprint(s)
}

func (t *text) level(l string) string {
	switch rules.Level(l) {
	case rules.Error:
		return t.ink(l, color.FgRed, color.Bold)
	case rules.Warning:
		return t.ink(l, color.FgYellow, color.Bold)
	}
	return t.ink(l, color.FgCyan)
}

func (t *text) part(p *Part) {
	t.line("%s", t.ink(StartOfLine(p.Path), color.Bold)+partHeading(p))
	known := 0
	for i := range p.Findings {
		switch f := &p.Findings[i]; {
		case f.Waived != nil:
		case f.Known:
			known++
		default:
			t.finding(p, f)
		}
	}
	for i := range p.Findings {
		if f := &p.Findings[i]; f.Waived != nil {
			t.line("  waived until %s, %s: %s", f.Waived.Until, f.Check, clean(f.Message))
			t.line("    reason: %s", clean(f.Waived.Reason))
		}
	}
	for _, g := range p.Gone {
		t.line("  found no more: %s, %s: %s", g.Level, g.Check, g.Message)
	}
	if known > 0 {
		t.line("  %s of the baseline not shown", count(known, "finding"))
	}
	for _, f := range p.Failures {
		t.line("  %s: %s", t.ink("not checked", color.FgRed), clean(f.Why))
	}
	if len(p.Findings)+len(p.Failures)+len(p.Gone) == 0 {
		t.line("  nothing found")
	}
	if p.Unseen != "" {
		t.line("  powder: %s", clean(p.Unseen))
	}
}

// partHeading says what part, process, material and machine a report is about.
func partHeading(p *Part) string {
	var words []string
	for _, v := range []string{p.Part, p.Process, p.Material, p.Machine} {
		if v != "" {
			words = append(words, clean(v))
		}
	}
	if len(words) == 0 {
		return ""
	}
	return ": " + strings.Join(words, ", ")
}

func heading(r *rules.PartReport) string {
	p := PartOf(r)
	return partHeading(&p)
}

func (t *text) finding(p *Part, f *Finding) {
	t.line("  %s, %s: %s", t.level(f.Level), clean(f.Check), clean(f.Message))
	if f.Where != nil {
		t.line("    %s:%d:%d", StartOfLine(p.Path), f.Where.Start.Line, f.Where.Start.Column)
		if f.source != nil {
			t.excerpt(f.source, f.at)
		}
	}
	if f.Help != "" {
		t.line("    help: %s", clean(f.Help))
	}
	if f.LimitFrom != nil {
		t.line("    limit: %s", clean(f.LimitFrom.say()))
	}
}

// docOf is the text that a finding points into; nil for a bare mesh.
func docOf(r *rules.PartReport, f *rules.Finding) *spec.Doc {
	if r.Bare || r.Spec == nil || f.Where.File != r.Spec.File {
		return nil
	}
	return r.Spec.Doc
}

// excerptMax is the longest piece of a line that is shown, in code points.
const excerptMax = 100

// excerpt shows the line of a range with its number, and a bar under the range.
func (t *text) excerpt(doc *spec.Doc, at spec.Range) {
	p := doc.Position(at.Start)
	whole := doc.LineRange(p.Line)
	line := string(doc.Text[whole.Start:whole.End])
	from := min(at.Start, whole.End) - whole.Start
	to := max(from, min(at.End, whole.End)-whole.Start)
	before, in, after := clean(line[:from]), clean(line[from:to]), clean(line[to:])
	if n := utf8.RuneCountInString(before); n > excerptMax/2 { // far out on a long line
		before = "..." + tail(before, excerptMax/2)
	}
	in, after = head(in, excerptMax), head(after, excerptMax/2)
	number := fmt.Sprintf("%d", p.Line)
	gutter := strings.Repeat(" ", len(number))
	t.line("    %s | %s", number, strings.TrimRight(before+in+after, " "))
	bar := strings.Repeat("~", max(1, utf8.RuneCountInString(in)))
	t.line("    %s | %s%s", gutter, strings.Repeat(" ", utf8.RuneCountInString(before)), t.ink(bar, color.FgGreen))
}

func head(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n]) + "..."
}

func tail(s string, n int) string {
	r := []rune(s)
	return string(r[max(0, len(r)-n):])
}

// sayOrigin says where a limit stands and what it rests on.
func sayOrigin(o *rules.Origin) string {
	return (&LimitFrom{o.Layer, filepath.ToSlash(o.File), o.Line, o.Source}).say()
}

func (o *LimitFrom) say() string {
	s := "built-in default"
	if o.Layer != "built-in" {
		s = fmt.Sprintf("%s layer, %s line %d", o.Layer, o.File, o.Line)
	}
	if o.Source != "" {
		s += "; source: " + o.Source
	}
	return s
}

// cautions are said once, however many parts they are about.
func (t *text) cautions(d *Document) {
	if !t.o.General {
		return
	}
	t.gap()
	t.line("%s", rules.GeneralNote)
	for _, c := range cautionsOf(d) {
		t.line("")
		t.line("%s, %s: %s", t.ink("Caution", color.Bold), strings.Join(firstFew(c.parts), ", "), clean(c.text))
	}
}

// caution is a caution and the parts it is about.
type caution struct {
	text  string
	parts []string
}

// cautionsOf gathers the cautions of a document, in the order of the manual.
func cautionsOf(d *Document) []caution {
	parts := map[string][]string{}
	for i := range d.Parts {
		for _, c := range d.Parts[i].Cautions {
			parts[c] = append(parts[c], partName(&d.Parts[i]))
		}
	}
	var out []caution
	for _, c := range rules.Cautions() {
		if names := parts[c.Text]; len(names) > 0 {
			out = append(out, caution{c.Text, names})
		}
	}
	return out
}

func firstFew(names []string) []string {
	const few = 4
	if len(names) <= few {
		return names
	}
	return append(append([]string(nil), names[:few]...), fmt.Sprintf("and %d more", len(names)-few))
}

func partName(p *Part) string {
	if p.Part != "" {
		return clean(p.Part)
	}
	return clean(path.Base(p.Path))
}

func (t *text) totals(d *Document) {
	t.gap()
	t.line("%s.", sayTotals(d))
}

// sayTotals says how many parts and findings there are.
func sayTotals(d *Document) string {
	c := *d.Totals
	s := fmt.Sprintf("%s: %s, %s, %s, %d waived", sayParts(d), count(c.Error, "error"), count(c.Warning, "warning"), count(c.Note, "note"), c.Waived)
	if d.Baseline != nil {
		s += fmt.Sprintf(", %d of the baseline, %d found no more", c.Known, c.Gone)
	}
	return s + unchecked(c.Unchecked)
}

// sayParts counts parts and shop files apart.
func sayParts(d *Document) string {
	shops := 0
	for i := range d.Parts {
		if d.Parts[i].Shop != "" {
			shops++
		}
	}
	s := count(len(d.Parts)-shops, "part")
	if shops > 0 {
		s += " and " + count(shops, "shop file")
	}
	if n := d.Totals.Unchanged; n > 0 {
		s += fmt.Sprintf(" (%d unchanged)", n)
	}
	return s
}

func unchecked(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("; %s not wholly checked", count(n, "part"))
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// StartOfLine is a path that begins a line. Some CI systems take a line that
// begins with two colons for a command, so a path may not.
func StartOfLine(path string) string {
	if strings.HasPrefix(strings.TrimLeftFunc(path, unicode.IsSpace), "::") {
		path = "./" + path
	}
	return clean(path)
}

// Clean makes text from input harmless for a terminal.
func Clean(s string) string { return clean(s) }

// clean makes text from input harmless for a terminal: control and format
// characters become escapes that can be read, tabs become one blank. "##[",
// which some CI systems obey anywhere in a line, is broken up.
func clean(s string) string {
	s = strings.ReplaceAll(s, "##[", "## [")
	plain := true
	for _, r := range s {
		if r == utf8.RuneError || r == '\t' || !unicode.IsPrint(r) {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n <= 1:
			fmt.Fprintf(&b, "\\x%02x", s[i])
		case r == '\t':
			b.WriteByte(' ')
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case r < 0x10000:
			fmt.Fprintf(&b, "\\u%04x", r)
		default:
			fmt.Fprintf(&b, "\\U%08x", r)
		}
		i += max(1, n)
	}
	return b.String()
}
