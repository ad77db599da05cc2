package output

import (
	"fmt"
	"hash/fnv"
	"io"
	"net/url"
	"path"
	"strings"

	"corbel/mesh"
	"corbel/rules"
)

// This file writes SARIF 2.1.0 with errata 01 (OASIS, 2023). A rule is a
// check, a result a finding. Waivers are suppressions in the source; "absent"
// results are what the baseline has and the run has not.

const sarifSchema = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"

// sarifRoot names the root of the repository, which every relative path is under.
const sarifRoot = "%SRCROOT%"

type sarifLog struct {
	Schema  string     `json:"$schema"`
	Version string     `json:"version"`
	Runs    []sarifRun `json:"runs"`
}

type sarifRun struct {
	Tool struct {
		Driver sarifDriver `json:"driver"`
	} `json:"tool"`
	Invocations []sarifInvocation         `json:"invocations"`
	Bases       map[string]sarifDescribed `json:"originalUriBaseIds"`
	Columns     string                    `json:"columnKind"`
	Results     []sarifResult             `json:"results"`
	Properties  map[string]json1          `json:"properties,omitempty"`
}

// json1 is a value of a property bag.
type json1 = any

type sarifDescribed struct {
	Description sarifText `json:"description"`
}

type sarifText struct {
	Text     string `json:"text"`
	Markdown string `json:"markdown,omitempty"`
}

type sarifDriver struct {
	Name    string      `json:"name"`
	Version string      `json:"version"`
	Full    sarifText   `json:"fullDescription"`
	Rules   []sarifRule `json:"rules"`
}

type sarifRule struct {
	ID      string    `json:"id"`
	Short   sarifText `json:"shortDescription"`
	Full    sarifText `json:"fullDescription"`
	Help    sarifText `json:"help"`
	Default struct {
		Level string `json:"level"`
	} `json:"defaultConfiguration"`
	Properties struct {
		Sources []string `json:"sources"`
		Limits  []string `json:"limits,omitempty"`
	} `json:"properties"`
}

type sarifInvocation struct {
	Successful    bool                `json:"executionSuccessful"`
	Notifications []sarifNotification `json:"toolExecutionNotifications,omitempty"`
}

type sarifNotification struct {
	Level     string          `json:"level"`
	Message   sarifText       `json:"message"`
	Locations []sarifLocation `json:"locations,omitempty"`
}

type sarifResult struct {
	Rule         string             `json:"ruleId"`
	Index        *int               `json:"ruleIndex,omitempty"`
	Level        string             `json:"level"`
	Message      sarifText          `json:"message"`
	Locations    []sarifLocation    `json:"locations,omitempty"`
	Related      []sarifLocation    `json:"relatedLocations,omitempty"`
	Fingerprints map[string]string  `json:"partialFingerprints"`
	Suppressions []sarifSuppression `json:"suppressions"`
	State        string             `json:"baselineState,omitempty"`
	Fixes        []sarifFix         `json:"fixes,omitempty"`
	Properties   *sarifProperties   `json:"properties,omitempty"`
}

type sarifFix struct {
	Description sarifText     `json:"description"`
	Changes     []sarifChange `json:"artifactChanges"`
}

type sarifChange struct {
	Artifact     sarifArtifact      `json:"artifactLocation"`
	Replacements []sarifReplacement `json:"replacements"`
}

type sarifReplacement struct {
	Deleted  sarifRegion `json:"deletedRegion"`
	Inserted struct {
		Text Verbatim `json:"text"`
	} `json:"insertedContent"`
}

// sarifProperties holds the numbers of a finding for those who look for them.
type sarifProperties struct {
	Part     string    `json:"part,omitempty"`
	Measured *float64  `json:"measured,omitempty"`
	Limit    *float64  `json:"limit,omitempty"`
	Unit     string    `json:"unit,omitempty"`
	At       *mesh.Vec `json:"at,omitempty"`
	Count    int       `json:"count,omitempty"`
	Help     string    `json:"help,omitempty"`
}

type sarifSuppression struct {
	Kind          string `json:"kind"`
	Status        string `json:"status"`
	Justification string `json:"justification"`
}

type sarifLocation struct {
	ID       int            `json:"id,omitempty"`
	Physical *sarifPhysical `json:"physicalLocation,omitempty"`
	Logical  []sarifLogical `json:"logicalLocations,omitempty"`
	Message  *sarifText     `json:"message,omitempty"`
}

type sarifPhysical struct {
	Artifact sarifArtifact `json:"artifactLocation"`
	Region   *sarifRegion  `json:"region,omitempty"`
}

type sarifArtifact struct {
	URI  string `json:"uri"`
	Base string `json:"uriBaseId,omitempty"`
}

type sarifRegion struct {
	StartLine   int `json:"startLine"`
	StartColumn int `json:"startColumn,omitempty"`
	EndLine     int `json:"endLine,omitempty"`
	EndColumn   int `json:"endColumn,omitempty"`
}

type sarifLogical struct {
	Name string `json:"fullyQualifiedName"`
	Kind string `json:"kind"`
}

func writeSARIF(w io.Writer, d *Document, o Options) error {
	s := &sarif{o: o, index: map[string]int{}, run: sarifRun{Columns: "unicodeCodePoints", Results: []sarifResult{}}}
	s.run.Bases = map[string]sarifDescribed{sarifRoot: {sarifText{Text: "The root of the repository that holds the part specs."}}}
	s.driver(d)
	s.invocation(d)
	for i := range d.Parts {
		p := &d.Parts[i]
		seen := map[string]int{}
		for k := range p.Findings {
			f := &p.Findings[k]
			seen[f.Fingerprint]++
			s.run.Results = append(s.run.Results, s.result(d, p, f, seen[f.Fingerprint]))
		}
		for _, g := range p.Gone {
			s.run.Results = append(s.run.Results, s.absent(p, g))
		}
	}
	return write(w, sarifLog{sarifSchema, "2.1.0", []sarifRun{s.run}})
}

type sarif struct {
	o     Options
	index map[string]int // of each check among the rules
	run   sarifRun
}

// driver describes the checks that the findings are of, and all others: a
// reader learns what was looked for.
func (s *sarif) driver(d *Document) {
	v := &s.run.Tool.Driver
	v.Name, v.Version = d.Tool.Name, d.Tool.Version
	v.Full = sarifText{Text: rules.GeneralNote}
	for i, c := range rules.Checks() {
		s.index[c.Name] = i
		r := sarifRule{ID: c.Name, Short: sarifText{Text: c.Summary}, Full: sarifText{Text: c.Why}}
		r.Help = sarifText{Text: page(c), Markdown: pageMarkdown(c)}
		r.Default.Level = string(rules.DefaultLevel(c.Name))
		for _, x := range c.Sources {
			r.Properties.Sources = append(r.Properties.Sources, x.Text+" ("+x.Status+")")
		}
		for _, x := range c.Limits {
			r.Properties.Limits = append(r.Properties.Limits, x.Name)
		}
		v.Rules = append(v.Rules, r)
	}
}

// invocation says what could not be checked: findings alone would look as if
// the rest were good.
func (s *sarif) invocation(d *Document) {
	v := sarifInvocation{Successful: d.Totals.Unchecked == 0 && len(d.Missing) == 0}
	for _, m := range d.Missing {
		v.Notifications = append(v.Notifications, sarifNotification{Level: "error", Message: sarifText{Text: m.Why}})
	}
	for i := range d.Parts {
		p := &d.Parts[i]
		for _, x := range p.Failures {
			n := sarifNotification{Level: "error", Message: sarifText{Text: x.Why}}
			if p.File() != "" {
				n.Locations = []sarifLocation{{Physical: s.physical(p.File(), nil)}}
			}
			v.Notifications = append(v.Notifications, n)
		}
	}
	s.run.Invocations = []sarifInvocation{v}
}

func (s *sarif) result(d *Document, p *Part, f *Finding, nth int) sarifResult {
	r := sarifResult{Rule: f.Check, Level: f.Level, Message: sarifText{Text: f.Message}, Suppressions: []sarifSuppression{},
		Fingerprints: s.fingerprints(p.File(), f.Fingerprint, nth)}
	if i, ok := s.index[f.Check]; ok {
		r.Index = &i
	}
	if p.File() != "" {
		at := sarifLocation{Physical: s.physical(p.File(), f.Where.region())}
		if f.Where != nil && f.Where.Key != "" {
			at.Logical = []sarifLogical{{f.Where.Key, "property"}}
		}
		r.Locations = []sarifLocation{at}
	}
	for i, x := range f.Related {
		if x.File != rules.BuiltinFile {
			r.Related = append(r.Related, sarifLocation{ID: i + 1, Physical: s.physical(x.File, span(x.Start, x.End)), Message: &sarifText{Text: x.Message}})
		}
	}
	if o := f.LimitFrom; o != nil && o.Layer != "built-in" {
		r.Related = append(r.Related, sarifLocation{ID: len(f.Related) + 1, Physical: s.physical(o.File, &sarifRegion{StartLine: o.Line}),
			Message: &sarifText{Text: "the limit in force"}})
	}
	if v := f.Waived; v != nil {
		r.Suppressions = append(r.Suppressions, sarifSuppression{"inSource", "accepted", fmt.Sprintf("%s (waived until %s)", v.Reason, v.Until)})
	}
	if d.Baseline != nil {
		r.State = map[bool]string{true: "unchanged", false: "new"}[f.Known]
	}
	for _, x := range f.Fixes {
		r.Fixes = append(r.Fixes, s.fix(p.File(), x))
	}
	r.Properties = &sarifProperties{p.Part, f.Measured, f.Limit, f.Unit, f.At, f.Count, f.Help}
	return r
}

// fix is an edit of the file of the finding.
func (s *sarif) fix(file string, x Fix) sarifFix {
	r := sarifReplacement{Deleted: *span(&x.Start, &x.End)}
	r.Inserted.Text = x.Text
	return sarifFix{sarifText{Text: x.Title}, []sarifChange{{s.physical(file, nil).Artifact, []sarifReplacement{r}}}}
}

func (s *sarif) absent(p *Part, g Gone) sarifResult {
	r := sarifResult{Rule: g.Check, Level: g.Level, Message: sarifText{Text: g.Message}, State: "absent", Suppressions: []sarifSuppression{},
		Locations: []sarifLocation{{Physical: s.physical(p.File(), nil)}}, Fingerprints: s.fingerprints(p.File(), g.Fingerprint, 1)}
	if i, ok := s.index[g.Check]; ok {
		r.Index = &i
	}
	return r
}

// fingerprints names a result for services that follow it from run to run.
// primaryLocationLineHash is the one that GitHub reads; ours holds no line, so
// that a finding stays the same one when the text above it changes.
func (s *sarif) fingerprints(file, fingerprint string, nth int) map[string]string {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s|%s", s.o.path(file), fingerprint)
	return map[string]string{
		"corbel/v1":               fmt.Sprintf("%s#%d", fingerprint, nth),
		"primaryLocationLineHash": fmt.Sprintf("%016x:%d", h.Sum64(), nth),
	}
}

func (s *sarif) physical(file string, region *sarifRegion) *sarifPhysical {
	v := &sarifPhysical{Region: region}
	v.Artifact.URI = uri(s.o.path(file))
	if !path.IsAbs(s.o.path(file)) {
		v.Artifact.Base = sarifRoot
	}
	return v
}

// uri writes a path as a URI reference.
func uri(file string) string {
	u := url.URL{Path: file}
	if path.IsAbs(file) {
		u.Scheme = "file"
	}
	return u.String()
}

func (w *Where) region() *sarifRegion {
	if w == nil {
		return nil
	}
	return span(&w.Start, &w.End)
}

func span(a, b *Position) *sarifRegion {
	if a == nil || b == nil {
		return nil
	}
	return &sarifRegion{a.Line, a.Column, b.Line, b.Column}
}

// pageMarkdown is the manual page of a check in Markdown. Its words are our
// own, so that only what Markdown would take for marks is escaped.
func pageMarkdown(c *rules.Check) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n**Why it matters.** %s\n\n**What goes wrong.** %s\n", markdown(c.Summary), markdown(c.Why), markdown(c.Wrong))
	if len(c.Limits) > 0 {
		b.WriteString("\n**Limits**\n\n")
	}
	for _, l := range c.Limits {
		fmt.Fprintf(&b, "- `%s`: %s\n", l.Name, markdown(l.Doc))
	}
	b.WriteString("\n**Sources**\n\n")
	for _, s := range c.Sources {
		fmt.Fprintf(&b, "- %s (%s)\n", markdown(s.Text), markdown(s.Status))
	}
	for _, k := range c.Cautions {
		fmt.Fprintf(&b, "\n**Caution.** %s\n", markdown(k.Text))
	}
	return b.String()
}
