package output

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"corbel/rules"
)

// This file writes JUnit XML as the common readers take it: a suite is a part,
// a test is a check that ran on it. Names hold no numbers, so that a reader
// can follow a test from run to run. Findings below the level that fails are
// said in the test's output. There is no standard of the format; the elements
// and attributes used here are those that all of its descriptions share, and
// file.

type junitSuites struct {
	XMLName  xml.Name     `xml:"testsuites"`
	Name     string       `xml:"name,attr"`
	Tests    int          `xml:"tests,attr"`
	Failures int          `xml:"failures,attr"`
	Errors   int          `xml:"errors,attr"`
	Skipped  int          `xml:"skipped,attr"`
	Time     string       `xml:"time,attr"`
	Suites   []junitSuite `xml:"testsuite"`
}

type junitSuite struct {
	Name     string      `xml:"name,attr"`
	Tests    int         `xml:"tests,attr"`
	Failures int         `xml:"failures,attr"`
	Errors   int         `xml:"errors,attr"`
	Skipped  int         `xml:"skipped,attr"`
	Time     string      `xml:"time,attr"`
	Cases    []junitCase `xml:"testcase"`
}

type junitCase struct {
	Name    string        `xml:"name,attr"`
	Class   string        `xml:"classname,attr"`
	File    string        `xml:"file,attr,omitempty"`
	Time    string        `xml:"time,attr"`
	Skipped *junitSkipped `xml:"skipped"`
	Error   *junitTrouble `xml:"error"`
	Failure *junitTrouble `xml:"failure"`
	Out     string        `xml:"system-out,omitempty"`
}

type junitSkipped struct {
	Message string `xml:"message,attr"`
}

type junitTrouble struct {
	Message string `xml:"message,attr"`
	Type    string `xml:"type,attr"`
	Text    string `xml:",chardata"`
}

func writeJUnit(w io.Writer, d *Document, o Options) error {
	all := junitSuites{Name: "corbel", Time: "0"}
	if len(d.Missing) > 0 {
		s := junitSuite{Name: "command line", Time: "0"}
		for _, m := range d.Missing {
			s.add(junitCase{Name: m.Why, Class: "command line", Time: "0", Error: &junitTrouble{m.Why, "unchecked", m.Why}})
		}
		all.add(s)
	}
	for i := range d.Parts {
		if d.Parts[i].Status != Unchanged {
			all.add(junitPart(&d.Parts[i], o))
		}
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	e := xml.NewEncoder(w)
	e.Indent("", "  ")
	if err := e.Encode(all); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func (a *junitSuites) add(s junitSuite) {
	a.Suites = append(a.Suites, s)
	a.Tests, a.Failures, a.Errors, a.Skipped = a.Tests+s.Tests, a.Failures+s.Failures, a.Errors+s.Errors, a.Skipped+s.Skipped
}

func (s *junitSuite) add(c junitCase) {
	s.Tests++
	switch {
	case c.Error != nil:
		s.Errors++
	case c.Failure != nil:
		s.Failures++
	case c.Skipped != nil:
		s.Skipped++
	}
	s.Cases = append(s.Cases, c)
}

func junitPart(p *Part, o Options) junitSuite {
	name := o.path(p.Path)
	s := junitSuite{Name: name, Time: "0"}
	tests, findings := checksOf(p)
	for _, check := range tests {
		c := junitCase{Name: check, Class: name, File: clean(o.path(p.File())), Time: "0"}
		c.judge(p, findings[check], o)
		s.add(c)
	}
	for _, x := range p.Failures {
		why := x.Why
		s.add(junitCase{Name: x.What + ", not checked", Class: name, Time: "0", Error: &junitTrouble{why, "unchecked", why}})
	}
	return s
}

// checksOf returns the checks that ran on a part or found something, in the
// order of the manual, and the findings of each.
func checksOf(p *Part) ([]string, map[string][]*Finding) {
	findings := map[string][]*Finding{}
	for i := range p.Findings {
		f := &p.Findings[i]
		findings[f.Check] = append(findings[f.Check], f)
	}
	ran := map[string]bool{}
	for _, c := range p.Checks {
		ran[c] = true
	}
	var out []string
	for _, c := range rules.Checks() {
		if ran[c.Name] || findings[c.Name] != nil {
			out = append(out, c.Name)
		}
	}
	return out, findings
}

// judge puts the findings of one check into its test.
func (c *junitCase) judge(p *Part, found []*Finding, o Options) {
	var bad, other []string
	waived := 0
	worst := ""
	for _, f := range found {
		switch {
		case o.fails(f):
			bad = append(bad, junitLines(p, f))
			if worst == "" || rules.Level(f.Level).Weight() > rules.Level(worst).Weight() {
				worst = f.Level
			}
		case f.Waived != nil:
			waived++
			other = append(other, fmt.Sprintf("waived until %s: %s\n  reason: %s", f.Waived.Until, f.Message, f.Waived.Reason))
		case f.Known:
			other = append(other, "of the baseline: "+junitLines(p, f))
		default:
			other = append(other, junitLines(p, f))
		}
	}
	c.Out = strings.Join(other, "\n")
	switch {
	case len(bad) > 0:
		c.Failure = &junitTrouble{firstMessage(found, o), worst, strings.Join(bad, "\n")}
	case waived > 0 && waived == len(found):
		c.Skipped = &junitSkipped{"waived: " + found[0].Waived.Reason}
	}
}

// firstMessage is the failing finding that a reader shows in a list.
func firstMessage(found []*Finding, o Options) string {
	n, s := 0, ""
	for _, f := range found {
		if o.fails(f) {
			if n++; n == 1 {
				s = f.Message
			}
		}
	}
	if n > 1 {
		s += fmt.Sprintf(" (and %d more)", n-1)
	}
	return s
}

func junitLines(p *Part, f *Finding) string {
	s := f.Level + ": " + f.Message
	if f.Where != nil {
		s += fmt.Sprintf("\n  %s:%d:%d", p.Path, f.Where.Start.Line, f.Where.Start.Column)
	}
	if f.Help != "" {
		s += "\n  help: " + f.Help
	}
	if f.LimitFrom != nil {
		s += "\n  limit: " + f.LimitFrom.say()
	}
	return s
}
