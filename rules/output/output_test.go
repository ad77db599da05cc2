package output

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/tools/txtar"

	"corbel/mesh/meshtest"
	"corbel/rules"
	"corbel/rules/store"
)

var update = flag.Bool("update", false, "rewrite the golden files; read the difference")

// reports checks the parts of testdata/parts.txtar.
func reports(t *testing.T, measure bool) []*rules.PartReport {
	t.Helper()
	if made[measure] == nil {
		made[measure] = check(t, measure)
	}
	return made[measure]
}

// made keeps the reports for all tests: making them takes seconds.
var made = map[bool][]*rules.PartReport{}

func check(t *testing.T, measure bool) []*rules.PartReport {
	t.Helper()
	specs := workspace(t)
	return checked(specs, rules.Options{Measure: measure})
}

// checked checks specs on the day of the tests.
func checked(specs []string, o rules.Options) []*rules.PartReport {
	o.Now = func() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }
	e := rules.New(o)
	var out []*rules.PartReport
	for _, s := range specs {
		out = append(out, e.Part(context.Background(), s, rules.Full))
	}
	return out
}

// workspace writes testdata/parts.txtar into a folder of its own, goes there and
// returns the part specs.
func workspace(t *testing.T) []string {
	t.Helper()
	a, err := txtar.ParseFile(filepath.Join(start, "testdata/parts.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var specs []string
	for _, f := range a.Files {
		name, data := f.Name, f.Data
		if stl, ok := strings.CutSuffix(name, ".recipe"); ok {
			m, err := meshtest.Recipe(string(data))
			if err != nil {
				t.Fatal(err)
			}
			name, data = stl, meshtest.BinarySTL(m, 1)
		}
		if strings.HasSuffix(name, ".part.toml") {
			specs = append(specs, name)
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if len(specs) == 0 {
		t.Fatal("no part specs")
	}
	t.Chdir(dir)
	return specs
}

func golden(t *testing.T, name string, write func(io.Writer) error) {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(start, "testdata", name)
	if *update {
		if err := os.WriteFile(file, b.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(b.String(), "\n")); d != "" {
		t.Errorf("%s (rewrite with go test ./rules/output -update, and read the difference):\n%s", name, d)
	}
}

// start is where the test began: reports changes the folder.
var start, _ = os.Getwd()

func TestGolden(t *testing.T) {
	rs := reports(t, false)
	golden(t, "check.txt", func(w io.Writer) error { return Text(w, rs, TextOptions{General: true}) })
	golden(t, "check.json", func(w io.Writer) error { return JSON(w, rs) })
	golden(t, "limits.txt", func(w io.Writer) error { return LimitsText(w, rs[0]) })
	golden(t, "limits.json", func(w io.Writer) error { return LimitsJSON(w, rs[0]) })
	golden(t, "checks.txt", CheckList)
	golden(t, "explain.txt", func(w io.Writer) error {
		for _, c := range rules.Checks() {
			if err := Explain(w, c); err != nil {
				return err
			}
			io.WriteString(w, "\n")
		}
		return nil
	})
}

func TestGoldenMeasure(t *testing.T) {
	r := reports(t, true)[0]
	golden(t, "measure.txt", func(w io.Writer) error { return MeasureText(w, r) })
	golden(t, "measure.json", func(w io.Writer) error { return MeasureJSON(w, r) })
}

// Colour changes nothing but colour.
func TestColour(t *testing.T) {
	rs := reports(t, false)
	var plain, coloured bytes.Buffer
	if err := Text(&plain, rs, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := Text(&coloured, rs, TextOptions{Color: true}); err != nil {
		t.Fatal(err)
	}
	s := coloured.String()
	if !strings.Contains(s, "\x1b[") || strings.Contains(plain.String(), "\x1b") {
		t.Error("colour where none is wanted, or none where it is")
	}
	for strings.Contains(s, "\x1b[") {
		i := strings.Index(s, "\x1b[")
		j := i + strings.IndexByte(s[i:], 'm')
		s = s[:i] + s[j+1:]
	}
	if s != plain.String() {
		t.Errorf("without its colour the text differs:\n%s", cmp.Diff(plain.String(), s))
	}
}

// Whatever a spec holds, no control character reaches the terminal.
func TestCleanText(t *testing.T) {
	for in, want := range map[string]string{
		"plain":              "plain",
		"\x1b[31mred":        `\u001b[31mred`,
		"a\tb":               "a b",
		"bad \xff byte":      `bad \xff byte`,
		"\u202eright":        `\u202eright`,
		"bell\a and\r\nline": `bell\u0007 and\u000d\u000aline`,
		"Ø 5 µm":             "Ø 5 µm",
		"\U000e0001":         `\U000e0001`,
	} {
		if got := clean(in); got != want {
			t.Errorf("clean(%q) = %q, want %q", in, got, want)
		}
	}
}

// The keys that the design promises, and no number that JSON can't hold.
func TestJSONKeys(t *testing.T) {
	var b bytes.Buffer
	if err := JSON(&b, reports(t, false)); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Schema int
		Tool   map[string]string
		Parts  []map[string]any
		Totals map[string]int
	}
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	has := func(m map[string]any, keys ...string) {
		t.Helper()
		for _, k := range keys {
			if _, ok := m[k]; !ok {
				t.Errorf("no key %q", k)
			}
		}
	}
	p := doc.Parts[0]
	has(p, "spec", "part", "status", "process", "material", "machine", "mesh", "measured", "findings")
	has(p["mesh"].(map[string]any), "file", "sha256", "facets", "units")
	has(p["measured"].(map[string]any), "volume", "area", "mass", "centroid", "box", "oriented_box", "integrity", "overhang", "floating_starts",
		"wall", "gap", "largest_ball", "holes", "pins", "voids", "support", "height", "time", "cost")
	f := p["findings"].([]any)[0].(map[string]any)
	has(f, "check", "level", "message", "count", "where", "fingerprint", "waived")
	for _, k := range []string{"error", "warning", "note", "waived", "unchecked"} {
		if _, ok := doc.Totals[k]; !ok {
			t.Errorf("no total of %q", k)
		}
	}
}

// Text and JSON are the same byte for byte without a cache, with an empty one
// and with a full one, on any number of cores.
func TestTheCacheDoesNotShow(t *testing.T) {
	specs := workspace(t)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	written := func(o rules.Options) string {
		var b bytes.Buffer
		rs := checked(specs, o)
		for _, err := range []error{Text(&b, rs, TextOptions{}), JSON(&b, rs), MeasureJSON(&b, rs[0]), MeasureText(&b, rs[0])} {
			if err != nil {
				t.Fatal(err)
			}
		}
		return b.String()
	}
	want := written(rules.Options{})
	for _, cores := range []int{1, 2, 8} {
		runtime.GOMAXPROCS(cores)
		dir := t.TempDir()
		for _, o := range []struct {
			name string
			rules.Options
		}{
			{"no cache", rules.Options{}},
			{"empty cache", rules.Options{Disk: store.New(dir, "test", 0)}},
			{"full cache", rules.Options{Disk: store.New(dir, "test", 0)}},
			{"full cache, with meshes", rules.Options{Disk: store.New(dir, "test", 0), Surface: true}},
		} {
			if d := cmp.Diff(want, written(o.Options)); d != "" {
				t.Errorf("%d cores, %s:\n%s", cores, o.name, d)
			}
		}
	}
}
