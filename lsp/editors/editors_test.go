// Package editors drives real editors without a screen: each opens a part of
// the demo, edits it and prints what its user would see, which is compared with
// what the rules say. Editors that are not installed are named and passed over;
// .ci/run installs them.
package editors

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"corbel/lsp"
	"corbel/rules"
)

// serveVariable makes the test's own binary the language server.
const serveVariable = "CORBEL_TEST_SERVES"

func TestMain(m *testing.M) {
	if os.Getenv(serveVariable) == "other" {
		serveOther(os.Stdin, os.Stdout)
		os.Exit(1)
	}
	if os.Getenv(serveVariable) != "" {
		log := slog.New(slog.NewTextHandler(os.Stderr, nil))
		os.Exit(lsp.Serve(context.Background(), os.Stdin, os.Stdout, lsp.Options{Log: log}))
	}
	os.Exit(m.Run())
}

// shown is one finding as an editor shows it. Columns are those of the editor.
type shown struct {
	Line      int    `json:"line"`
	Column    int    `json:"column"`
	EndLine   int    `json:"end_line"`
	EndColumn int    `json:"end_column"`
	Severity  int    `json:"severity"`
	Message   string `json:"message"`
	Source    string `json:"source"`
	Code      string `json:"code"`
}

// editor is an editor that can be driven.
type editor struct {
	program string
	args    []string
	bytes   bool // columns count bytes, not characters
}

var known = map[string]editor{
	"neovim": {"nvim", []string{"--headless", "--clean", "-u", "NONE", "-c", "luafile testdata/drive.lua"}, true},
	"emacs":  {"emacs", []string{"-q", "--batch", "-l", "testdata/drive.el"}, false},
}

const (
	demoPart = "../../testdata/demo/parts/distributor.part.toml"
	// extra is the line that the editors put after the first.
	extra = "nonsense = \"µ 🔩\" \n"
	// hoverLine is the line, from 0, that the editors ask about: its key.
	hoverLine = "5"
)

func TestEditorsShowWhatTheRulesSay(t *testing.T) {
	path, err := filepath.Abs(demoPart)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	first := bytes.IndexByte(text, '\n') + 1
	edited := slices.Concat(text[:first], []byte(extra), text[first:])
	for name, ed := range known {
		program, err := exec.LookPath(ed.program)
		if err != nil {
			t.Logf("%s is not installed: nothing is known about it", name)
			continue
		}
		t.Run(name, func(t *testing.T) {
			want := map[string][]shown{
				"opened": expect(t, path, text, ed), "edited": expect(t, path, edited, ed), "restored": expect(t, path, text, ed),
			}
			out := drive(t, program, ed, path, len(want["opened"]), len(want["edited"]))
			for step, w := range want {
				if got := parse(t, step, out); !slices.Equal(got, w) {
					t.Errorf("%s: the editor shows\n%+v\nthe rules say\n%+v", step, got, w)
				}
			}
			for _, line := range []string{"hover {", "Density, price, shrinkage", "stopped"} {
				if !strings.Contains(out, "\n"+line) && !strings.Contains(hoverOf(out), line) {
					t.Errorf("no %q in\n%s", line, out)
				}
			}
		})
	}
}

// hoverOf returns the line with the answer to the hover.
func hoverOf(out string) string {
	for line := range strings.Lines(out) {
		if strings.HasPrefix(line, "hover ") {
			return line
		}
	}
	return ""
}

// drive runs an editor and returns what it printed.
func drive(t *testing.T, program string, ed editor, path string, opened, edited int) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	here, err := filepath.Abs(".")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(ctx, program, ed.args...)
	cmd.Env = append(os.Environ(),
		serveVariable+"=1", "HOME="+t.TempDir(), "XDG_CONFIG_HOME="+t.TempDir(), "LC_ALL=C.UTF-8",
		"CORBEL_SERVER="+os.Args[0], "CORBEL_EDITORS="+here, "CORBEL_FILE="+path, "CORBEL_HOVER="+hoverLine,
		"CORBEL_OPENED="+jsonOf(opened), "CORBEL_EDITED="+jsonOf(edited))
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s\n%s", err, stdout.String(), stderr.String())
	}
	t.Logf("on stderr:\n%s", stderr.String())
	return stdout.String()
}

func jsonOf(v any) string {
	b, _ := json.Marshal(v)
	return string(b)
}

// parse reads the findings that were printed for a step.
func parse(t *testing.T, step, out string) []shown {
	t.Helper()
	found := []shown{}
	for line := range strings.Lines(out) {
		rest, ok := strings.CutPrefix(line, step+" ")
		if !ok {
			continue
		}
		if strings.TrimSpace(rest) == "done" {
			slices.SortFunc(found, order)
			return found
		}
		var s shown
		if err := json.Unmarshal([]byte(rest), &s); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		found = append(found, s)
	}
	t.Fatalf("step %q was not reached:\n%s", step, out)
	return nil
}

func order(a, b shown) int {
	return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Code, b.Code), strings.Compare(a.Message, b.Message))
}

// expect returns what an editor should show for a text, straight from the rules.
func expect(t *testing.T, path string, text []byte, ed editor) []shown {
	t.Helper()
	engine := rules.New(rules.Options{ReadFile: func(_, p string) ([]byte, error) {
		if p == path {
			return text, nil
		}
		return os.ReadFile(p)
	}})
	report := engine.Part(t.Context(), path, rules.Full)
	out := []shown{}
	for _, f := range report.Findings {
		if f.Waived != nil {
			continue
		}
		s := shown{
			Severity: map[rules.Level]int{rules.Error: 1, rules.Warning: 2, rules.Note: 3}[f.Level],
			Message:  strings.TrimSpace(f.Message + " " + f.Caution), Source: "corbel", Code: f.Check,
		}
		s.Line, s.Column = place(text, f.Where.At.Start, ed.bytes)
		s.EndLine, s.EndColumn = place(text, f.Where.At.End, ed.bytes)
		out = append(out, s)
	}
	slices.SortFunc(out, order)
	return out
}

// place counts lines and columns from 0. The demo's lines end in line feeds.
func place(text []byte, offset int, inBytes bool) (line, column int) {
	before := text[:offset]
	line = bytes.Count(before, []byte("\n"))
	rest := before[bytes.LastIndexByte(before, '\n')+1:]
	if inBytes {
		return line, len(rest)
	}
	return line, len([]rune(string(rest)))
}
