package rules

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"corbel/mesh/meshtest"
	"corbel/spec"
)

// The archives in testdata/checks, one a check: part specs with the finding
// expected on the line that decides it, and a recipe for each mesh.
//
//	up = "+z" # want overhang warning "reaches 10"
//
// Findings and expectations match one to one: line, check, level and sentence.
// A file NAME.stl.recipe makes NAME.stl. An expectation on the first line of a
// file as a comment of its own, "# unchecked "regexp"", is a failure expected.

const archiveDir = "../testdata/checks"

var (
	wantNote      = regexp.MustCompile(`# want (.*)$`)
	wantOne       = regexp.MustCompile(`([a-z-]+) (error|warning|note|waived) "((?:[^"\\]|\\.)*)"`)
	wantUnchecked = regexp.MustCompile(`(?m)^# unchecked "(.*)"$`)
)

type expectation struct {
	line         int
	check, level string
	text         *regexp.Regexp
	met          bool
}

func TestCheckArchives(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(archiveDir, "*.txtar"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no archives in %s (%v)", archiveDir, err)
	}
	specs := 0
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".txtar")
		dir := t.TempDir()
		for _, path := range unpack(t, file, dir) {
			specs++
			t.Run(name+"/"+strings.TrimSuffix(filepath.Base(path), ".part.toml"), func(t *testing.T) { runArchiveSpec(t, path) })
		}
	}
	if specs == 0 {
		t.Fatal("the archives hold no part spec")
	}
	if strings.Contains(flag.Lookup("test.run").Value.String(), "/") {
		return // not all of them ran
	}
	for _, c := range Checks() {
		for _, l := range c.Limits {
			if exact[l.Name] == "" && !doubtSeen[l.Name] {
				t.Errorf("no archive breaks %s with a value that may be off, and it is not said why it can't be", l.Name)
			}
		}
	}
}

// unpack writes an archive into a folder and returns its part specs.
func unpack(t *testing.T, file, dir string) []string {
	t.Helper()
	a, err := txtar.ParseFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var specs []string
	for _, f := range a.Files {
		path, data := filepath.Join(dir, f.Name), f.Data
		if stl, ok := strings.CutSuffix(path, ".recipe"); ok {
			m, err := meshtest.Recipe(string(data))
			if err != nil {
				t.Fatalf("%s: %s: %v", file, f.Name, err)
			}
			path, data = stl, meshtest.BinarySTL(m, 1)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(path, ".part.toml") {
			specs = append(specs, path)
		}
	}
	return specs
}

func runArchiveSpec(t *testing.T, path string) {
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// Voids take long to find, so only those archives look that are about them.
	run := map[string]bool{}
	for _, c := range Checks() {
		run[c.Name] = c != Powder || strings.Contains(t.Name(), "/powder/")
	}
	e := New(Options{Now: testDay, Checks: run})
	r := e.Part(context.Background(), path, Full)
	wants := expectations(t, string(text))
	for i := range r.Findings {
		f := &r.Findings[i]
		level := string(f.Level)
		if f.Waived != nil {
			level = "waived"
		}
		if !meet(wants, r.Spec.Doc.Position(f.Where.At.Start).Line, f.Check, level, f.Message) {
			t.Errorf("line %d: not expected: %s %s %q", r.Spec.Doc.Position(f.Where.At.Start).Line, f.Check, level, f.Message)
		}
	}
	for _, w := range wants {
		if !w.met {
			t.Errorf("line %d: no %s %s that matches %q", w.line, w.check, w.level, w.text)
		}
	}
	fixesParse(t, path, string(text), r)
	e.doubted(t, r)
	failures := wantUnchecked.FindAllStringSubmatch(string(text), -1)
	if len(failures) != len(r.Failures) {
		t.Errorf("failures %v, expected %v", r.Failures, failures)
	}
	for i, w := range failures {
		if i < len(r.Failures) && !regexp.MustCompile(w[1]).MatchString(r.Failures[i].Why) {
			t.Errorf("failure %q does not match %q", r.Failures[i].Why, w[1])
		}
	}
}

// fixesParse applies each fix that is offered: the text that it leaves has no
// more broken statements than before, and is another.
func fixesParse(t *testing.T, path, text string, r *PartReport) {
	t.Helper()
	broken := func(text string) (n int) {
		p, _ := spec.ParsePart(path, []byte(text))
		for _, s := range p.Doc.Statements {
			if s.Broken || s.Kind == spec.StatementBroken {
				n++
			}
		}
		return n
	}
	for _, f := range r.Findings {
		for _, fix := range f.Fixes {
			left := text[:fix.At.Start] + fix.Text + text[fix.At.End:]
			if f.Where.File == path && (left == text || broken(left) > broken(text)) {
				t.Errorf("%s: %q leaves\n%s", f.Check, fix.Title, left)
			}
		}
	}
}

// testDay is the day of every test.
func testDay() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }

func expectations(t *testing.T, text string) []*expectation {
	var out []*expectation
	for i, line := range strings.Split(text, "\n") {
		m := wantNote.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		all := wantOne.FindAllStringSubmatch(m[1], -1)
		if len(all) == 0 {
			t.Errorf("line %d: %q is no expectation", i+1, m[1])
		}
		for _, w := range all {
			out = append(out, &expectation{line: i + 1, check: w[1], level: w[2], text: regexp.MustCompile(strings.ReplaceAll(w[3], `\"`, `"`))})
		}
	}
	return out
}

func meet(wants []*expectation, line int, check, level, message string) bool {
	for _, w := range wants {
		if !w.met && w.line == line && w.check == check && w.level == level && w.text.MatchString(message) {
			w.met = true
			return true
		}
	}
	return false
}

// Every check has an archive with at least these four kinds of spec.
func TestEveryCheckHasAnArchive(t *testing.T) {
	for _, c := range Checks() {
		file := filepath.Join(archiveDir, c.Name+".txtar")
		a, err := txtar.ParseFile(file)
		if err != nil {
			t.Errorf("%s: %v", c.Name, err)
			continue
		}
		kinds := map[string]bool{}
		for _, f := range a.Files {
			for _, kind := range []string{"fires", "clean", "limit", "degenerate"} {
				if strings.HasPrefix(f.Name, kind) && strings.HasSuffix(f.Name, ".part.toml") {
					kinds[kind] = true
				}
			}
			if strings.HasPrefix(f.Name, "fires") && strings.HasSuffix(f.Name, ".part.toml") && !strings.Contains(string(f.Data), "# want "+c.Name) {
				t.Errorf("%s: %s expects no finding of %s", file, f.Name, c.Name)
			}
		}
		for _, kind := range []string{"fires", "clean", "limit", "degenerate"} {
			if !kinds[kind] {
				t.Errorf("%s has no %s*.part.toml", file, kind)
			}
		}
		if strings.TrimSpace(string(a.Comment)) == "" {
			t.Errorf("%s does not say what it shows", file)
		}
	}
}
