package output

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"corbel/rules"
)

func ownSchema(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	var b bytes.Buffer
	if known, err := Schema(&b, name); !known || err != nil {
		t.Fatalf("no schema %q: %v", name, err)
	}
	return validator(t, name+".json", b.Bytes())
}

// gitlabSchema is the code quality report as GitLab's manual describes it
// (docs.gitlab.com/ci/testing/code_quality, "Code quality report format",
// read 2026-11): an array, these keys required, these five severities.
const gitlabSchema = `{"type":"array","items":{"type":"object","required":["description","check_name","fingerprint","severity","location"],
"properties":{"description":{"type":"string","minLength":1},"check_name":{"type":"string","minLength":1},"fingerprint":{"type":"string","pattern":"^[0-9a-f]{32}$"},
"severity":{"enum":["info","minor","major","critical","blocker"]},
"location":{"type":"object","required":["path","lines"],"properties":{"path":{"type":"string","not":{"pattern":"^\\./"}},
"lines":{"type":"object","required":["begin"],"properties":{"begin":{"type":"integer","minimum":1},"end":{"type":"integer","minimum":1}}}}}}},"uniqueItems":true}`

// Every document that is JSON holds against its schema: of parts with
// findings, of none, of evil ones, read back or not.
func TestDocumentsValidate(t *testing.T) {
	check, gitlab := ownSchema(t, "check"), validator(t, "gitlab.json", []byte(gitlabSchema))
	empty := NewDocument(nil)
	empty.Count()
	sharded := some(4)
	sharded.Shard = &Shard{2, 5}
	for _, d := range []*Document{Checked(reports(t, false)), hostile(), empty, sharded} {
		validate(t, check, written(t, "json", d, Options{}))
		validate(t, gitlab, written(t, "gitlab", d, Options{}))
	}
	var b bytes.Buffer
	into := func(name string, write func(io.Writer) error) {
		t.Helper()
		b.Reset()
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		validate(t, ownSchema(t, name), b.Bytes())
	}
	into("measure", func(w io.Writer) error { return MeasureJSON(w, reports(t, true)[0]) })
	into("limits", func(w io.Writer) error { return LimitsJSON(w, reports(t, false)[0]) })
	shop := func(text string) *rules.ShopReport {
		e := rules.New(rules.Options{ReadFile: func(_, _ string) ([]byte, error) { return []byte("schema = 1\nshop = \"Test\"\n" + text), nil }})
		return e.ShopFile(context.Background(), "shop.toml")
	}
	diff := NewDiff(shop(""), shop("[limits.\"PBF-LB/M\"]\nwall.thickness = \"0.9 mm\"\n[levels]\nwall = \"note\"\n"), some(3).Parts)
	for _, c := range diff.Limits[1:] { // materials that had a value of their own
		if c.Material == "" || *c.Old == *diff.Limits[0].Old || *c.New != 0.9 {
			t.Errorf("%+v", c)
		}
	}
	if diff.Limits[0].Material != "" || !diff.Limits[0].Tighter || *diff.Limits[0].New != 0.9 || len(diff.Other) != 1 {
		t.Errorf("limits %+v, other %+v", diff.Limits, diff.Other)
	}
	into("diff", func(w io.Writer) error { return DiffJSON(w, diff) })
	e := rules.New(rules.Options{})
	latch := filepath.Join(start, "../../testdata/demo/parts/latch.part.toml")
	stood, err := e.Orient(context.Background(), latch)
	if err != nil || len(stood.Choices) == 0 {
		t.Fatalf("%+v, %v", stood, err)
	}
	into("orient", func(w io.Writer) error { return OrientJSON(w, stood) })
	compared, err := e.Compare(context.Background(), latch)
	if err != nil || len(compared.Options) == 0 {
		t.Fatalf("%+v, %v", compared, err)
	}
	into("compare", func(w io.Writer) error { return CompareJSON(w, compared) })
	bad := bytes.Replace(written(t, "json", some(2), Options{}), []byte(`"status"`), []byte(`"state"`), 1)
	doc, _ := jsonschema.UnmarshalJSON(bytes.NewReader(bad))
	if check.Validate(doc) == nil {
		t.Error("the schema takes anything")
	}
}

// Every output of the demo holds against its schema: all its parts and its shop
// file, in every format that has one, with the limits of each part.
func TestDemoValidates(t *testing.T) {
	specs, err := filepath.Glob(filepath.Join(start, "../../testdata/demo/parts/*.part.toml"))
	if err != nil || len(specs) < 5 {
		t.Fatalf("%d specs, %v", len(specs), err)
	}
	limits := ownSchema(t, "limits")
	e := rules.New(rules.Options{Now: func() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }})
	var parts []Part
	for _, s := range specs {
		r := e.Part(context.Background(), s, rules.Full)
		if r.Status != rules.Checked {
			t.Errorf("%s: %+v", s, r.Failures)
		}
		parts = append(parts, PartOf(r))
		var b bytes.Buffer
		if err := LimitsJSON(&b, r); err != nil {
			t.Fatal(err)
		}
		validate(t, limits, b.Bytes())
	}
	parts = append(parts, ShopOf(e.ShopFile(context.Background(), filepath.Join(start, "../../testdata/demo/shop.toml"))))
	d := NewDocument(parts)
	d.Count()
	validate(t, ownSchema(t, "check"), written(t, "json", d, Options{}))
	validate(t, sarifValidator(t), written(t, "sarif", d, Options{}))
	validate(t, validator(t, "gitlab.json", []byte(gitlabSchema)), written(t, "gitlab", d, Options{}))
	checkJUnit(t, d, rules.Warning)
	command := regexp.MustCompile(`^::(error|warning|notice) file=[^,:]+,line=\d+,endLine=\d+,(col=\d+,endColumn=\d+,)?title=[^,:]+::.+$`)
	lines := strings.Split(strings.TrimSpace(string(written(t, "github", d, Options{}))), "\n")
	for _, l := range lines {
		if !command.MatchString(l) {
			t.Errorf("no workflow command: %q", l)
		}
	}
	if n := d.Totals.Error + d.Totals.Warning + d.Totals.Note; len(lines) != n || n < 40 {
		t.Errorf("%d workflow commands for %d findings", len(lines), n)
	}
	md := string(written(t, "markdown", d, Options{FailOn: rules.Error}))
	for i := range d.Parts {
		if p := &d.Parts[i]; len(p.Findings) > 0 && !strings.Contains(md, p.Path) {
			t.Errorf("the comment does not name %s", p.Path)
		}
	}
}

// An edit that SARIF offers, laid over the spec by its lines and columns,
// mends the finding: the route of the demo's latch lacks a step.
func TestSARIFFixMends(t *testing.T) {
	file := filepath.Join(start, "../../testdata/demo/parts/latch.part.toml")
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	route := func(text []byte) *sarifResult {
		e := rules.New(rules.Options{ReadFile: func(_, path string) ([]byte, error) {
			if path == file {
				return text, nil
			}
			return os.ReadFile(path)
		}})
		var log sarifLog
		if err := json.Unmarshal(written(t, "sarif", Checked([]*rules.PartReport{e.Part(context.Background(), file, rules.Full)}), Options{}), &log); err != nil {
			t.Fatal(err)
		}
		for i := range log.Runs[0].Results {
			if r := &log.Runs[0].Results[i]; r.Rule == "route" {
				return r
			}
		}
		return nil
	}
	r := route(before)
	if r == nil || len(r.Fixes) != 1 || r.Fixes[0].Changes[0].Artifact != r.Locations[0].Physical.Artifact {
		t.Fatalf("%+v", r)
	}
	x := r.Fixes[0].Changes[0].Replacements[0]
	offset := func(line, column int) int {
		lines := strings.SplitAfter(string(before), "\n")
		return len(strings.Join(lines[:line-1], "")) + len(string([]rune(lines[line-1])[:column-1]))
	}
	a, b := offset(x.Deleted.StartLine, x.Deleted.StartColumn), offset(x.Deleted.EndLine, x.Deleted.EndColumn)
	after := string(before[:a]) + string(x.Inserted.Text) + string(before[b:])
	if got := route([]byte(after)); got != nil {
		t.Errorf("still %q after\n%s", got.Message.Text, after)
	}
}
