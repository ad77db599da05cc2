package output

import (
	"bufio"
	"fmt"
	"io"
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

// Text writes reports for people: every finding in one sentence, under the
// place in the spec that decides it, then what would help and where the limit
// came from. Nothing is said by colour alone, so that it reads well aloud.
func Text(w io.Writer, reports []*rules.PartReport, o TextOptions) error {
	t := &text{w: bufio.NewWriter(w), o: o}
	for i, r := range reports {
		if i > 0 {
			t.line("")
		}
		t.report(r)
	}
	t.cautions(reports)
	t.totals(reports)
	return t.w.Flush()
}

type text struct {
	w *bufio.Writer
	o TextOptions
}

func (t *text) line(format string, args ...any) { fmt.Fprintf(t.w, format+"\n", args...) }

// ink colours a word where colour is wanted.
func (t *text) ink(s string, attrs ...color.Attribute) string {
	if !t.o.Color {
		return s
	}
	c := color.New(attrs...)
	c.EnableColor()
	return c.Sprint(s)
}

func (t *text) level(l rules.Level) string {
	switch l {
	case rules.Error:
		return t.ink(string(l), color.FgRed, color.Bold)
	case rules.Warning:
		return t.ink(string(l), color.FgYellow, color.Bold)
	}
	return t.ink(string(l), color.FgCyan)
}

func (t *text) report(r *rules.PartReport) {
	t.line("%s", t.ink(clean(r.Path), color.Bold)+heading(r))
	for i := range r.Findings {
		if r.Findings[i].Waived == nil {
			t.finding(r, &r.Findings[i])
		}
	}
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Waived != nil {
			t.line("  waived until %s, %s: %s", f.Waived.Until.V, f.Check, clean(f.Message))
			t.line("    reason: %s", clean(f.Waived.Reason.V))
		}
	}
	for _, f := range r.Failures {
		t.line("  %s: %s", t.ink("not checked", color.FgRed), clean(f.Why))
	}
	if len(r.Findings) == 0 && len(r.Failures) == 0 {
		t.line("  nothing found")
	}
}

// heading says what part, process, material and machine a report is about.
func heading(r *rules.PartReport) string {
	if r.Spec == nil {
		return ""
	}
	var words []string
	for _, v := range []spec.Value[string]{r.Spec.Name, r.Spec.Process, r.Spec.Material, r.Spec.Machine} {
		if v.Set {
			words = append(words, clean(v.V))
		}
	}
	if len(words) == 0 {
		return ""
	}
	return ": " + strings.Join(words, ", ")
}

func (t *text) finding(r *rules.PartReport, f *rules.Finding) {
	t.line("  %s, %s: %s", t.level(f.Level), f.Check, clean(f.Message))
	if doc := docOf(r, f); doc != nil {
		p := doc.Position(f.Where.At.Start)
		t.line("    %s:%d:%d", clean(filepath.ToSlash(r.Path)), p.Line, p.Column)
		t.excerpt(doc, f.Where.At)
	}
	if f.Help != "" {
		t.line("    help: %s", clean(f.Help))
	}
	if f.LimitFrom != nil {
		t.line("    limit: %s", clean(sayOrigin(f.LimitFrom)))
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
	s := "built-in default"
	if o.Layer != "built-in" {
		s = o.Layer + " layer, " + filepath.ToSlash(o.File) + fmt.Sprintf(" line %d", o.Line)
	}
	if o.Source != "" {
		s += "; source: " + o.Source
	}
	return s
}

// cautions are said once, however many parts they are about.
func (t *text) cautions(reports []*rules.PartReport) {
	if !t.o.General {
		return
	}
	t.line("")
	t.line("%s", rules.GeneralNote)
	parts := map[string][]string{}
	for _, r := range reports {
		for _, c := range r.Cautions {
			parts[c.Name] = append(parts[c.Name], partName(r))
		}
	}
	for _, c := range rules.Cautions() {
		if names := parts[c.Name]; len(names) > 0 {
			t.line("")
			t.line("%s, %s: %s", t.ink("Caution", color.Bold), strings.Join(firstFew(names), ", "), c.Text)
		}
	}
}

func firstFew(names []string) []string {
	const few = 4
	if len(names) <= few {
		return names
	}
	return append(append([]string(nil), names[:few]...), fmt.Sprintf("and %d more", len(names)-few))
}

func partName(r *rules.PartReport) string {
	if r.Spec != nil && r.Spec.Name.Set {
		return clean(r.Spec.Name.V)
	}
	return clean(filepath.Base(r.Path))
}

func (t *text) totals(reports []*rules.PartReport) {
	c := Count(reports)
	t.line("")
	t.line("%s: %s, %s, %s, %d waived%s.", count(len(reports), "part"), count(c.Error, "error"), count(c.Warning, "warning"), count(c.Note, "note"), c.Waived, unchecked(c.Unchecked))
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

// Clean makes text from input harmless for a terminal.
func Clean(s string) string { return clean(s) }

// clean makes text from input harmless for a terminal: control and format
// characters become escapes that can be read, tabs become one blank.
func clean(s string) string {
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
