package output

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"corbel/rules"
)

// This file writes findings in the forms that code hosts show beside the text.
// Only findings that are neither waived nor of the baseline are shown.

// shown is a finding to show and the part it is of.
type shown struct {
	part *Part
	*Finding
}

func shownOf(d *Document) []shown {
	var out []shown
	for i := range d.Parts {
		p := &d.Parts[i]
		for k := range p.Findings {
			if f := &p.Findings[k]; f.Waived == nil && !f.Known {
				out = append(out, shown{p, f})
			}
		}
	}
	return out
}

// writeGitHub writes workflow commands. A step shows only a few annotations of
// each kind, so the worst come first: what could not be checked, then errors,
// warnings, notes.
func writeGitHub(w io.Writer, d *Document, o Options) error {
	b := bufio.NewWriter(w)
	for _, m := range d.Missing {
		fmt.Fprintf(b, "::error title=%s::%s\n", commandProperty("corbel: not checked"), commandData(m.Why))
	}
	for i := range d.Parts {
		p := &d.Parts[i]
		for _, x := range p.Failures {
			fmt.Fprintf(b, "::error file=%s,title=%s::%s\n", commandProperty(o.path(p.Path)), commandProperty("corbel: not checked"), commandData(x.Why))
		}
	}
	fs := shownOf(d)
	slices.SortStableFunc(fs, func(a, b shown) int { return rules.Level(b.Level).Weight() - rules.Level(a.Level).Weight() })
	for _, f := range fs {
		command := map[string]string{"error": "error", "warning": "warning"}[f.Level]
		if command == "" {
			command = "notice"
		}
		properties := "file=" + commandProperty(o.path(f.part.Path))
		if q := f.Where; q != nil {
			properties += fmt.Sprintf(",line=%d,endLine=%d", q.Start.Line, q.End.Line)
			if q.Start.Line == q.End.Line { // columns of several lines are refused
				properties += fmt.Sprintf(",col=%d,endColumn=%d", q.Start.Column, q.End.Column)
			}
		}
		text := f.Message
		if f.Help != "" {
			text += "\n" + f.Help
		}
		if f.Caution != "" {
			text += "\n" + f.Caution
		}
		fmt.Fprintf(b, "::%s %s,title=%s::%s\n", command, properties, commandProperty("corbel: "+f.Check), commandData(text))
	}
	return b.Flush()
}

var (
	dataEscapes     = strings.NewReplacer("%", "%25", "\r", "%0D", "\n", "%0A")
	propertyEscapes = strings.NewReplacer("%", "%25", "\r", "%0D", "\n", "%0A", ":", "%3A", ",", "%2C")
)

func commandData(s string) string     { return dataEscapes.Replace(s) }
func commandProperty(s string) string { return propertyEscapes.Replace(s) }

// codeQuality is one entry of GitLab's code quality report.
type codeQuality struct {
	Description string `json:"description"`
	Check       string `json:"check_name"`
	Fingerprint string `json:"fingerprint"`
	Severity    string `json:"severity"`
	Location    struct {
		Path  string `json:"path"`
		Lines struct {
			Begin int `json:"begin"`
			End   int `json:"end,omitempty"`
		} `json:"lines"`
	} `json:"location"`
}

// severities of GitLab by our levels. Blocker is left for what could not be
// checked: nobody knows how bad that is.
var severities = map[string]string{"error": "critical", "warning": "major", "note": "info"}

func writeGitLab(w io.Writer, d *Document, o Options) error {
	out := []codeQuality{}
	seen := map[string]int{}
	add := func(file, check, name, severity, text string, where *Where) {
		q := codeQuality{Description: text, Check: check, Severity: severity}
		q.Location.Path = o.path(file)
		q.Location.Lines.Begin = 1
		if where != nil {
			q.Location.Lines.Begin, q.Location.Lines.End = where.Start.Line, where.End.Line
		}
		key := q.Location.Path + "|" + name
		seen[key]++
		sum := sha256.Sum256(fmt.Appendf(nil, "%s|%d", key, seen[key]))
		q.Fingerprint = hex.EncodeToString(sum[:16])
		out = append(out, q)
	}
	for _, m := range d.Missing {
		add(".", "not-checked", "missing", "blocker", m.Why, nil)
	}
	for i := range d.Parts {
		p := &d.Parts[i]
		for _, x := range p.Failures {
			add(p.Path, "not-checked", "not-checked|"+x.What, "blocker", x.Why, nil)
		}
	}
	for _, f := range shownOf(d) {
		text := f.Message
		if f.Help != "" {
			text += " " + f.Help
		}
		add(f.part.Path, f.Check, f.Fingerprint, severities[f.Level], text, f.Where)
	}
	return write(w, out)
}
