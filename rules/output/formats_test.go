package output

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"corbel/mesh"
	"corbel/rules"
)

func written(t *testing.T, format string, d *Document, o Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, format, d, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What a reviewer sees in each place, read and kept.
func TestGoldenFormats(t *testing.T) {
	d := Checked(reports(t, false))
	for format, file := range map[string]string{"junit": "check.xml", "markdown": "check.md", "github": "check.github", "gitlab": "check.gitlab.json"} {
		golden(t, file, func(w io.Writer) error { return Write(w, format, d, Options{FailOn: rules.Warning}) })
	}
	golden(t, "check.sarif", func(w io.Writer) error {
		var log sarifLog
		if err := json.Unmarshal(written(t, "sarif", d, Options{}), &log); err != nil {
			return err
		}
		log.Runs[0].Tool.Driver.Rules = nil // they are the manual, which has its own
		return write(w, log)
	})
}

// sarifSchemaFile is the schema as OASIS publishes it; see the README beside it.
const sarifSchemaFile = "testdata/sarif/sarif-schema-2.1.0.json"

// validator compiles a JSON Schema.
func validator(t *testing.T, name string, text []byte) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(t *testing.T, s *jsonschema.Schema, text []byte) {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%v in %.2000s", err, text)
	}
	if err := s.Validate(doc); err != nil {
		t.Errorf("%v", err)
	}
}

func sarifValidator(t *testing.T) *jsonschema.Schema {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(start, sarifSchemaFile))
	if err != nil {
		t.Fatal(err)
	}
	return validator(t, "sarif.json", text)
}

// SARIF holds against the published schema: with findings, with none, with a
// baseline, with everything that could go wrong.
func TestSARIFValidates(t *testing.T) {
	s := sarifValidator(t)
	d := Checked(reports(t, false))
	validate(t, s, written(t, "sarif", d, Options{}))
	empty := NewDocument(nil)
	empty.Count()
	validate(t, s, written(t, "sarif", empty, Options{}))
	d.Baseline = &Baseline{"old.json"}
	d.Parts[0].Gone = []Gone{{"wall", "error", "Wall.", "wall:1"}}
	d.Parts[0].Findings[0].Known = true
	d.Missing = []Failure{{"nowhere", "nowhere does not exist"}}
	validate(t, s, written(t, "sarif", d, Options{}))
	validate(t, s, written(t, "sarif", hostile(), Options{}))
	bad := bytes.Replace(written(t, "sarif", d, Options{}), []byte(`"level": "error"`), []byte(`"level": "grave"`), 1)
	doc, _ := jsonschema.UnmarshalJSON(bytes.NewReader(bad))
	if s.Validate(doc) == nil {
		t.Error("the schema takes anything")
	}
}

// Rules carry help and sources, every result names its rule by number, a
// waiver is a suppression, and related places point at what explains.
func TestSARIFResults(t *testing.T) {
	d := Checked(reports(t, false))
	d.Parts[0].Findings[0].Related = []Related{{"the machine", "shop.toml", &Position{3, 1}, &Position{3, 9}}, {"the default", rules.BuiltinFile, nil, nil}}
	var log sarifLog
	if err := json.Unmarshal(written(t, "sarif", d, Options{}), &log); err != nil {
		t.Fatal(err)
	}
	run := log.Runs[0]
	for _, r := range run.Tool.Driver.Rules {
		if r.Short.Text == "" || len(r.Help.Text) < 200 || len(r.Help.Markdown) < 200 || len(r.Properties.Sources) == 0 {
			t.Errorf("rule %s lacks help or sources", r.ID)
		}
	}
	n, waived, related := 0, 0, 0
	prints := map[string]bool{}
	for i := range d.Parts {
		for k := range d.Parts[i].Findings {
			f, r := &d.Parts[i].Findings[k], run.Results[n]
			n++
			if r.Index == nil || run.Tool.Driver.Rules[*r.Index].ID != f.Check || r.Level != f.Level {
				t.Errorf("result %d is not the finding %q", n, f.Message)
			}
			if (f.Waived != nil) != (len(r.Suppressions) == 1) {
				t.Errorf("waiver of %q", f.Message)
			}
			waived += len(r.Suppressions)
			related += len(r.Related)
			print := r.Fingerprints["primaryLocationLineHash"]
			if prints[print] {
				t.Errorf("two results have the fingerprint %s", print)
			}
			prints[print] = true
		}
	}
	if n != len(run.Results) || waived == 0 || related != 1 {
		t.Errorf("%d results of %d findings, %d waived, %d related places", len(run.Results), n, waived, related)
	}
}

// junitShape is the part of JUnit that all readers share, as a strict reader
// would take it: unknown elements are errors.
type junitShape struct {
	XMLName  xml.Name `xml:"testsuites"`
	Tests    int      `xml:"tests,attr"`
	Failures int      `xml:"failures,attr"`
	Errors   int      `xml:"errors,attr"`
	Suites   []struct {
		Name  string `xml:"name,attr"`
		Tests int    `xml:"tests,attr"`
		Cases []struct {
			Name    string     `xml:"name,attr"`
			Class   string     `xml:"classname,attr"`
			Failure []struct{} `xml:"failure"`
			Error   []struct{} `xml:"error"`
			Skipped []struct{} `xml:"skipped"`
			Out     []string   `xml:"system-out"`
			Other   []struct{} `xml:",any"`
		} `xml:"testcase"`
		Other []struct{} `xml:",any"`
	} `xml:"testsuite"`
	Other []struct{} `xml:",any"`
}

// JUnit's sums are those of its tests, and names are unique in a suite, so
// that a reader can follow each.
func TestJUnitSums(t *testing.T) {
	for _, d := range []*Document{Checked(reports(t, false)), hostile()} {
		for _, level := range []rules.Level{rules.Error, rules.Warning, rules.Note} {
			checkJUnit(t, d, level)
		}
	}
}

func checkJUnit(t *testing.T, d *Document, level rules.Level) {
	t.Helper()
	var j junitShape
	if err := xml.Unmarshal(written(t, "junit", d, Options{FailOn: level}), &j); err != nil {
		t.Fatal(err)
	}
	tests, failures, errors := 0, 0, 0
	for _, s := range j.Suites {
		names := map[string]bool{}
		for _, c := range s.Cases {
			if names[c.Name] || c.Class == "" || len(c.Other) > 0 {
				t.Errorf("test %q of %s", c.Name, s.Name)
			}
			names[c.Name] = true
			tests, failures, errors = tests+1, failures+len(c.Failure), errors+len(c.Error)
		}
		if len(s.Cases) != s.Tests || len(s.Other) > 0 {
			t.Errorf("suite %s says %d tests and has %d", s.Name, s.Tests, len(s.Cases))
		}
	}
	if tests != j.Tests || failures != j.Failures || errors != j.Errors || tests == 0 {
		t.Errorf("%d/%d tests, %d/%d failures, %d/%d errors", tests, j.Tests, failures, j.Failures, errors, j.Errors)
	}
}

// evil is what a spec from a pull request may hold.
const evil = "::error::x\r\n::add-mask::y ##[add-path]z %0A \x1b[31m \x00\x07 \u202e \u2028 ]]> --> <script>alert(1)</script> `a` | # @everyone https://x.example \xff </details>"

// hostile is a document whose every text is evil.
func hostile() *Document {
	d := NewDocument(nil)
	p := Part{Status: "unchecked", Path: evil, Findings: []Finding{{Check: "wall", Level: "error", Where: &Where{}, LimitFrom: &LimitFrom{Layer: "shop", Line: 1}, Count: 1, At: &mesh.Vec{},
		Related: []Related{{}}}, {Check: "wall", Level: "note", Waived: &Waived{}}}, Failures: []Failure{{}}, Checks: []string{"wall"}}
	d.Parts = []Part{p}
	d.Missing = []Failure{{}}
	d.Baseline = &Baseline{}
	d.Parts[0].Gone = []Gone{{Check: "wall", Level: "error"}}
	poison(reflect.ValueOf(d).Elem())
	d.Tool = NewDocument(nil).Tool
	d.Parts[0].Findings[0].Where = &Where{evil, Position{3, 4}, Position{3, 9}}
	d.Count()
	return d
}

// poison puts evil into every text that is still empty.
func poison(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		if v.CanSet() && v.Len() == 0 {
			v.SetString(evil)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			poison(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			poison(v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			poison(v.Index(i))
		}
	}
}

// Nothing from input commands a terminal or a CI system, breaks out of XML, or
// calls anyone by name.
func TestHostileText(t *testing.T) {
	d := hostile()
	command := regexp.MustCompile(`^::(error|warning|notice) (file=[^,:]*,(line=\d+,endLine=\d+,(col=\d+,endColumn=\d+,)?)?)?title=[^,:]*::`)
	for _, f := range Formats() {
		text := string(written(t, f, d, Options{}))
		for _, r := range text {
			if r != '\n' && unicode.IsControl(r) || r == '\u202e' {
				t.Errorf("%s: %U reaches the output", f, r)
			}
		}
		for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
			begins := strings.HasPrefix(strings.TrimSpace(line), "::")
			if f == "github" && !command.MatchString(line) || f != "github" && begins {
				t.Errorf("%s: line %q", f, line)
			}
			if strings.Contains(line, "##[") {
				t.Errorf("%s: line %q", f, line)
			}
		}
	}
	md := string(written(t, "markdown", d, Options{}))
	outside := regexp.MustCompile("``.*?``").ReplaceAllString(md, "") // code spans show anything
	for _, bad := range []string{"<script", "@everyone", "https://x", "</details>]"} {
		if strings.Contains(outside, bad) {
			t.Errorf("markdown holds %q:\n%s", bad, outside)
		}
	}
	if n := strings.Count(outside, "<details>"); n != strings.Count(outside, "</details>") {
		t.Error("folds are not closed")
	}
}

// The comment keeps under what the service takes, and says what it leaves out.
func TestMarkdownIsBounded(t *testing.T) {
	d := Checked(reports(t, false))
	for len(d.Parts) < 2000 {
		d.Parts = append(d.Parts, d.Parts...)
	}
	d.Count()
	md := string(written(t, "markdown", d, Options{FailOn: rules.Note}))
	if n := len([]rune(md)); n > 65536 {
		t.Errorf("%d characters", n)
	}
	if !strings.Contains(md, "found no room here") {
		t.Error("what is left out is not said")
	}
}

// Two runs give the same bytes.
func TestFormatsAreDeterministic(t *testing.T) {
	a := reports(t, false)
	for _, f := range Formats() {
		if !bytes.Equal(written(t, f, Checked(a), Options{}), written(t, f, Checked(a), Options{})) {
			t.Errorf("%s differs from run to run", f)
		}
	}
}
