package spec

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"corbel/spec/spectest"
)

// parseAny reads a text as the file that its name says.
func parseAny(name string, text []byte) (*Doc, []Problem) {
	if strings.HasSuffix(name, ".part.toml") {
		p, problems := ParsePart(name, text)
		return p.Doc, problems
	}
	s, problems := ParseShop(name, text)
	return s.Doc, problems
}

// TestProblems reads specs on whose lines stands what is wrong with them.
func TestProblems(t *testing.T) {
	files, err := filepath.Glob("testdata/problems/*.toml")
	if err != nil || len(files) < 3 {
		t.Fatalf("found %v, %v", files, err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			wants, err := spectest.Wants(text)
			if err != nil {
				t.Fatal(err)
			}
			doc, problems := parseAny(file, text)
			var got []spectest.Got
			for _, p := range problems {
				got = append(got, spectest.Got{Line: doc.LineOf(p.At.Start), Check: "spec", Message: p.Message})
			}
			for _, left := range spectest.Diff(wants, got) {
				t.Error(left)
			}
			for _, p := range problems {
				checkProblem(t, doc, p)
				for _, f := range p.Fixes {
					checkFix(t, file, doc, problems, p, f)
				}
			}
			checkRanges(t, doc)
		})
	}
}

// checkProblem checks what holds for the words of every problem.
func checkProblem(t *testing.T, doc *Doc, p Problem) {
	t.Helper()
	if !strings.HasSuffix(p.Message, ".") || strings.Contains(p.Message, ". ") || strings.Contains(p.Message, "\n") {
		t.Errorf("the message is not one sentence: %s", p.Message)
	}
	if !strings.HasSuffix(p.Help, ".") && !strings.HasSuffix(p.Help, "?") && !strings.Contains(p.Help, " = ") && !strings.HasSuffix(p.Help, "].") || p.Help == "" {
		t.Errorf("%s: the help is no sentence: %s", p.Message, p.Help)
	}
	if p.Level != "error" && p.Level != "warning" {
		t.Errorf("%s: the level is %q", p.Message, p.Level)
	}
	if p.At.Start < 0 || p.At.End < p.At.Start || p.At.End > len(doc.Text) {
		t.Errorf("%s: %v is outside the text", p.Message, p.At)
	}
	if strings.Contains(p.Key, "*") {
		t.Errorf("%s: the key is %s", p.Message, p.Key)
	}
}

// checkFix applies a fix and expects its problem to go and no syntax error to
// come.
func checkFix(t *testing.T, file string, doc *Doc, before []Problem, p Problem, f Fix) {
	t.Helper()
	if f.Title == "" {
		t.Errorf("%s: a fix has no title", p.Message)
	}
	fixed, after := parseAny(file, []byte(apply(string(doc.Text), f)))
	count := func(list []Problem) (n int) {
		for _, q := range list {
			if q.Message == p.Message {
				n++
			}
		}
		return n
	}
	if count(after) >= count(before) {
		t.Errorf("%s: the fix %q does not help", p.Message, f.Title)
	}
	broken := func(d *Doc) bool {
		return slices.ContainsFunc(d.Statements, func(s Statement) bool { return s.Broken })
	}
	if !broken(doc) && broken(fixed) {
		t.Errorf("%s: the fix %q breaks the text", p.Message, f.Title)
	}
}

// The order of problems depends on nothing but the text.
func TestProblemsAreInOrder(t *testing.T) {
	text, err := os.ReadFile("testdata/problems/part-values.part.toml")
	if err != nil {
		t.Fatal(err)
	}
	_, first := ParsePart("x.part.toml", text)
	for range 20 {
		_, again := ParsePart("x.part.toml", text)
		if len(again) != len(first) {
			t.Fatalf("%d problems, then %d", len(first), len(again))
		}
		for i := range first {
			if first[i].Message != again[i].Message || i > 0 && again[i].At.Start < again[i-1].At.Start {
				t.Fatalf("problem %d is %q, then %q", i, first[i].Message, again[i].Message)
			}
		}
	}
}

func TestEmptyFiles(t *testing.T) {
	for _, text := range []string{"", "\n", "# nothing yet\n", "\xef\xbb\xbf"} {
		for _, name := range []string{"x.part.toml", "shop.toml"} {
			doc, problems := parseAny(name, []byte(text))
			if len(problems) != 1 || !strings.HasSuffix(problems[0].Message, " is empty.") || len(problems[0].Fixes) != 1 {
				t.Errorf("%q as %s: %+v", text, name, problems)
				continue
			}
			checkProblem(t, doc, problems[0])
			checkFix(t, name, doc, problems, problems[0], problems[0].Fixes[0])
			if _, after := parseAny(name, []byte(apply(text, problems[0].Fixes[0]))); name == "shop.toml" && len(after) > 0 {
				t.Errorf("the starter %s has problems: %+v", name, after)
			}
		}
	}
}
