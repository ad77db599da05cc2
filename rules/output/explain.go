package output

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode/utf8"

	"corbel/rules"
)

// wrapAt is the width of the manual's lines, in code points.
const wrapAt = 88

// CheckList writes the name and the summary of every check.
func CheckList(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, c := range rules.Checks() {
		fmt.Fprintf(tw, "%s\t%s\n", c.Name, c.Summary)
	}
	return tw.Flush()
}

// Explain writes the manual page of a check.
func Explain(w io.Writer, c *rules.Check) error {
	_, err := io.WriteString(w, page(c))
	return err
}

func page(c *rules.Check) string {
	var b strings.Builder
	b.WriteString(c.Name + "\n\n" + wrap(c.Summary, "", ""))
	section := func(title, text string) {
		if text != "" {
			b.WriteString("\n" + title + "\n" + wrap(text, "  ", "  "))
		}
	}
	section("Why it matters", c.Why)
	section("What goes wrong", c.Wrong)
	if len(c.Limits) > 0 {
		b.WriteString("\nLimits\n")
		for _, l := range c.Limits {
			b.WriteString(wrap(l.Name+": "+l.Doc, "  ", "    "))
		}
	}
	b.WriteString("\nProcesses\n")
	if c.Processes == nil {
		b.WriteString("  all\n")
	} else {
		b.WriteString(wrap(strings.Join(c.Processes, ", ")+". Elsewhere it says nothing: "+c.Elsewhere+".", "  ", "  "))
	}
	b.WriteString("\nSources\n")
	for _, s := range c.Sources {
		b.WriteString(wrap(s.Text+" ("+s.Status+")", "  ", "    "))
	}
	for _, k := range c.Cautions {
		section("Caution", k.Text)
	}
	return b.String()
}

// wrap breaks a text into lines: the first begins with indent, the others with hang.
func wrap(text, indent, hang string) string {
	var b strings.Builder
	n := 0
	for _, word := range strings.Fields(text) {
		k := utf8.RuneCountInString(word)
		switch {
		case n == 0:
			b.WriteString(indent + word)
			n = len(indent) + k
		case n+1+k > wrapAt:
			b.WriteString("\n" + hang + word)
			n = len(hang) + k
		default:
			b.WriteString(" " + word)
			n += 1 + k
		}
	}
	return b.String() + "\n"
}
