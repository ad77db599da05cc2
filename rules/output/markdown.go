package output

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"corbel/rules"
)

// This file writes a comment for a pull request: what fails first and in the
// open, the rest folded away. It begins with a mark by which a script finds
// the comment of the run before and replaces it.

// markdownMark is the first line.
const markdownMark = "<!-- corbel check -->"

// markdownMax keeps the comment under the 65536 characters that GitHub takes.
const markdownMax = 60000

func writeMarkdown(w io.Writer, d *Document, o Options) error {
	m := &markdownPage{o: o}
	m.line(markdownMark)
	m.line("## Design check: %s", m.verdict(d))
	m.line("")
	m.line("%s.", sayTotals(d))
	m.unchecked(d)
	m.open(d)
	m.folded("Also found", d, func(f *Finding) bool { return !o.fails(f) && f.Waived == nil && !f.Known })
	m.folded("Waived", d, func(f *Finding) bool { return f.Waived != nil })
	m.folded("Of the baseline, still there", d, func(f *Finding) bool { return f.Known && f.Waived == nil })
	m.gone(d)
	m.end(d)
	_, err := io.WriteString(w, m.b.String())
	return err
}

type markdownPage struct {
	o    Options
	b    strings.Builder
	left int // findings that found no room
}

func (m *markdownPage) line(format string, args ...any) { fmt.Fprintf(&m.b, format+"\n", args...) }

// room reports whether a piece may still be written, and counts it if not.
func (m *markdownPage) room(s string) bool {
	if m.b.Len()+len(s) <= markdownMax {
		return true
	}
	m.left++
	return false
}

// verdict says in a few words what a reviewer has to know.
func (m *markdownPage) verdict(d *Document) string {
	fail := 0
	for i := range d.Parts {
		if m.pick(&d.Parts[i], m.o.fails) != nil {
			fail++
		}
	}
	switch {
	case fail > 0 && len(d.Parts) == 1:
		return "fails"
	case fail > 0:
		return fmt.Sprintf("%d of %s fail", fail, sayParts(d))
	case d.Totals.Unchecked > 0 || len(d.Missing) > 0:
		return "not everything could be checked"
	case d.Totals.Error+d.Totals.Warning+d.Totals.Note == 0 && d.Baseline != nil:
		return "nothing new found"
	case d.Totals.Error+d.Totals.Warning+d.Totals.Note == 0:
		return "nothing found"
	}
	return "passes, with remarks"
}

// pick returns the findings of a part that a condition holds for.
func (m *markdownPage) pick(p *Part, is func(*Finding) bool) []*Finding {
	var out []*Finding
	for i := range p.Findings {
		if is(&p.Findings[i]) {
			out = append(out, &p.Findings[i])
		}
	}
	return out
}

func (m *markdownPage) unchecked(d *Document) {
	var lines []string
	for _, x := range d.Missing {
		lines = append(lines, "- "+markdown(x.Why))
	}
	for i := range d.Parts {
		for _, x := range d.Parts[i].Failures {
			lines = append(lines, fmt.Sprintf("- %s: %s", code(m.o.path(d.Parts[i].Path)), markdown(x.Why)))
		}
	}
	if len(lines) == 0 {
		return
	}
	m.line("\n### Not checked\n")
	for _, s := range lines {
		if m.room(s) {
			m.line("%s", s)
		}
	}
}

// open shows what fails, part by part.
func (m *markdownPage) open(d *Document) {
	first := true
	for i := range d.Parts {
		p := &d.Parts[i]
		found := m.pick(p, m.o.fails)
		if found == nil {
			continue
		}
		if first {
			m.line("\n### To mend")
			first = false
		}
		m.part(p, found)
	}
}

// folded shows findings that don't fail behind a line that opens.
func (m *markdownPage) folded(title string, d *Document, is func(*Finding) bool) {
	n, parts := 0, 0
	for i := range d.Parts {
		if k := len(m.pick(&d.Parts[i], is)); k > 0 {
			n, parts = n+k, parts+1
		}
	}
	if n == 0 {
		return
	}
	m.line("\n<details><summary>%s: %s in %s</summary>", title, count(n, "finding"), count(parts, "file"))
	for i := range d.Parts {
		if found := m.pick(&d.Parts[i], is); found != nil {
			m.part(&d.Parts[i], found)
		}
	}
	m.line("\n</details>")
}

func (m *markdownPage) part(p *Part, found []*Finding) {
	head := fmt.Sprintf("\n**%s**, %s\n\n", markdown(partName(p)), code(m.o.path(p.Path)))
	for _, f := range found {
		s := markdownFinding(f)
		if !m.room(head + s) {
			continue
		}
		m.b.WriteString(head + s)
		head = ""
	}
}

func markdownFinding(f *Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "- **%s, %s**", markdown(f.Level), markdown(f.Check))
	if f.Where != nil {
		fmt.Fprintf(&b, ", line %d", f.Where.Start.Line)
	}
	fmt.Fprintf(&b, ": %s\n", markdown(f.Message))
	sub := func(title, s string) {
		if s != "" {
			fmt.Fprintf(&b, "  - %s%s\n", title, markdown(s))
		}
	}
	if v := f.Waived; v != nil {
		sub("waived until ", v.Until+": "+v.Reason)
		return b.String()
	}
	sub("", f.Help)
	if f.LimitFrom != nil {
		sub("limit: ", f.LimitFrom.say())
	}
	return b.String()
}

func (m *markdownPage) gone(d *Document) {
	if d.Totals.Gone == 0 {
		return
	}
	m.line("\n<details><summary>Found no more: %s</summary>\n", count(d.Totals.Gone, "finding"))
	for i := range d.Parts {
		p := &d.Parts[i]
		for _, g := range p.Gone {
			if s := fmt.Sprintf("- %s: %s, %s: %s", code(m.o.path(p.Path)), markdown(g.Level), markdown(g.Check), markdown(g.Message)); m.room(s) {
				m.line("%s", s)
			}
		}
	}
	m.line("\n</details>")
}

func (m *markdownPage) end(d *Document) {
	if m.left > 0 {
		m.line("\n%s found no room here; the full report has them.", count(m.left, "line"))
	}
	for _, c := range cautionsOf(d) {
		names := firstFew(c.parts)
		for i := range names {
			names[i] = markdown(names[i])
		}
		m.line("\n> **Caution**, %s: %s", strings.Join(names, ", "), markdown(c.text))
	}
	m.line("\n<sub>%s corbel %s.</sub>", markdown(rules.GeneralNote), markdown(d.Tool.Version))
}

// markdown makes text from input plain text in Markdown: no marks, no HTML,
// nobody called by name, no address turned into a link.
func markdown(s string) string {
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case strings.ContainsRune("\\`*_[]{}#|~!$", r):
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '@':
			b.WriteString("@&#8203;")
		case r == ':' && strings.HasPrefix(s[i:], "://"):
			b.WriteString(":&#8203;")
		case r == 'w' && strings.HasPrefix(s[i:], "www."):
			b.WriteString("w&#8203;")
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// code writes a code span, whatever the text holds.
func code(s string) string {
	run, longest := 0, 0
	for _, r := range s {
		if r != '`' {
			run = 0
			continue
		}
		run++
		longest = max(longest, run)
	}
	fence := strings.Repeat("`", longest+1)
	first, _ := utf8.DecodeRuneInString(s)
	last, _ := utf8.DecodeLastRuneInString(s)
	if first == '`' || last == '`' || s == "" {
		s = " " + s + " "
	}
	return fence + s + fence
}
