//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"corbel/mesh/meshtest"
)

// faultFolder is a folder with a small part, and what an
// undisturbed check says of it.
func faultFolder(t *testing.T) (dir string, want []byte) {
	t.Helper()
	dir = t.TempDir()
	m, err := meshtest.Recipe("extrude 0 20 : 0 0 10 0 10 10 20 10 20 15 0 15\nturn 1 0 0 90\n")
	if err != nil {
		t.Fatal(err)
	}
	spec := "schema = 1\npart = \"Ledge\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\nuse = \"general\"\n[mesh]\nfile = \"part.stl\"\nunits = \"mm\"\n"
	err = errors.Join(os.WriteFile(filepath.Join(dir, "part.stl"), meshtest.BinarySTL(m, 1), 0o666),
		os.WriteFile(filepath.Join(dir, "part.part.toml"), []byte(spec), 0o666), os.Mkdir(filepath.Join(dir, ".git"), 0o777))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := faulty(dir, "check", "--no-cache", "--format", "json", "-o", "want.json", "part.part.toml").CombinedOutput(); err != nil && exitOf(err) != exitFindings {
		t.Fatal(err)
	}
	if want, err = os.ReadFile(filepath.Join(dir, "want.json")); err != nil {
		t.Fatal(err)
	}
	return dir, want
}

// faulty is the program, to be run in a folder.
func faulty(dir string, args ...string) *exec.Cmd {
	c := exec.Command("corbel", args...)
	c.Dir = dir
	return c
}

func exitOf(err error) int {
	if e := new(exec.ExitError); errors.As(err, &e) {
		return e.ExitCode()
	}
	return 0
}

// A process that is killed or interrupted leaves outputs whole or not there, and
// a cache that is good, wherever it was: the signal comes once the cache holds so
// many entries.
func TestStoppedAnywhere(t *testing.T) {
	dir, want := faultFolder(t)
	for _, sign := range []os.Signal{syscall.SIGKILL, os.Interrupt} {
		for _, entries := range []int{0, 2, 11} {
			name := fmt.Sprintf("%v after %d entries", sign, entries)
			cache := filepath.Join(t.TempDir(), "cache")
			out := filepath.Join(t.TempDir(), "out.json")
			args := []string{"check", "--cache", cache, "--format", "json", "-o", out, "part.part.toml"}
			c := faulty(dir, args...)
			var errs bytes.Buffer
			c.Stderr = &errs
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			ended := make(chan error, 1)
			go func() { ended <- c.Wait() }()
			err := stopWhen(c.Process, sign, ended, func() bool {
				found, _ := filepath.Glob(filepath.Join(cache, "entries-1", "*", "[0-9a-f]*"))
				return len(found) >= entries
			})
			if sign == os.Interrupt && err != nil && exitOf(err) != 130 && exitOf(err) != exitFindings && exitOf(err) != -1 {
				t.Errorf("%s: %v, %s", name, err, &errs)
			}
			if have, err := os.ReadFile(out); err == nil && !bytes.Equal(have, want) {
				t.Errorf("%s: half an output of %d bytes", name, len(have))
			}
			if _, err := faulty(dir, args...).CombinedOutput(); err != nil && exitOf(err) != exitFindings {
				t.Errorf("%s: then %v", name, err)
			}
			if have, _ := os.ReadFile(out); !bytes.Equal(have, want) {
				t.Errorf("%s: the cache that was left gave another result", name)
			}
		}
	}
}

// stopWhen sends a signal once a state is there, or the process has ended
// without it, and waits for the end.
func stopWhen(p *os.Process, sign os.Signal, ended chan error, there func() bool) error {
	tick := time.NewTicker(200 * time.Microsecond)
	defer tick.Stop()
	for {
		if there() {
			_ = p.Signal(sign) // it may have ended by itself
			return <-ended
		}
		select {
		case err := <-ended:
			return err
		case <-tick.C:
		}
	}
}

// Processes that check at once with one cache say the same as one alone.
func TestManyProcessesOnOneCache(t *testing.T) {
	dir, want := faultFolder(t)
	cache := filepath.Join(t.TempDir(), "cache")
	outs := make([]bytes.Buffer, 3)
	var running []*exec.Cmd
	for i := range outs {
		c := faulty(dir, "check", "--cache", cache, "--format", "json", "part.part.toml")
		c.Stdout = &outs[i]
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		running = append(running, c)
	}
	for i, c := range running {
		if err := c.Wait(); err != nil && exitOf(err) != exitFindings {
			t.Error(err)
		}
		if !bytes.Equal(outs[i].Bytes(), want) {
			t.Errorf("process %d says something else", i)
		}
	}
}

// A reader that goes away ends the program quietly; files that it was to write
// are whole.
func TestReaderGoesAway(t *testing.T) {
	dir, want := faultFolder(t)
	for _, args := range [][]string{
		{"check", "--no-cache", "-o", "json=out.json", "part.part.toml"},
		{"measure", "--no-cache", "part.part.toml"},
		{"limits"}, {"schema", "part"}, {"explain"}, {"version"},
	} {
		r, w, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		r.Close()
		c := faulty(dir, args...)
		var errs bytes.Buffer
		c.Stdout, c.Stderr = w, &errs
		err = c.Run()
		w.Close()
		status, _ := c.ProcessState.Sys().(syscall.WaitStatus)
		if err == nil || status.Signal() != syscall.SIGPIPE || errs.Len() > 0 {
			t.Errorf("%v: %v, %s", args, err, &errs)
		}
	}
	if have, _ := os.ReadFile(filepath.Join(dir, "out.json")); !bytes.Equal(have, want) {
		t.Error("the file beside the pipe is not whole")
	}
}

// Names and texts that a part brings reach no terminal with their control
// characters, and begin no line that a CI system takes for a command.
func TestNothingFromInputIsObeyed(t *testing.T) {
	dir := t.TempDir()
	const evil = "\x1b[31m\x07\u202e\u009b2J"
	for _, name := range []string{"a" + evil + ".part.toml", "::error ::b.part.toml", " \t::warning::c.part.toml", "d\n::error::d.part.toml", "##[error]e.part.toml"} {
		text := "schema = 1\npart = \"\\u001b[31m\\n::error::part\"\nprocess = \"PBF-LB/M\"\nmaterial = \"\\u001b]0;x\\u0007 ##[add-path]y\"\nmachine = \"\\n::add-mask::m\"\n" +
			"\"" + strings.ReplaceAll(evil, "\x1b", "\\u001b") + "\" = 1\n[mesh]\nfile = \"\\n::error::\\u001b[2J.stl\"\nunits = \"mm\"\n"
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	whole := []string{"check", "--no-cache", "."}
	var runs [][]string
	for _, format := range []string{"text", "json", "sarif", "junit", "markdown", "github", "gitlab"} {
		runs = append(runs, append([]string{"--format", format}, whole...))
	}
	found, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if err != nil || len(found) != 5 {
		t.Fatal(found, err)
	}
	for _, f := range found {
		for _, command := range []string{"measure", "orient", "compare", "limits", "report"} {
			runs = append(runs, []string{command, filepath.Base(f)})
		}
		if !strings.Contains(f, "\n") && !strings.Contains(f, "\x1b") {
			continue // the two worst stand for all where a name is only quoted
		}
		runs = append(runs, []string{"new", filepath.Base(f)}, []string{"check", filepath.Base(f) + "\n::error::gone"}, []string{"explain", filepath.Base(f)},
			[]string{"diff", filepath.Base(f), filepath.Base(f)}, []string{"merge", filepath.Base(f)}, []string{filepath.Base(f)},
			[]string{"check", "--format", filepath.Base(f)}, []string{"check", "--baseline", filepath.Base(f)}, []string{"check", "-o", "no/" + filepath.Base(f), "."})
	}
	for _, args := range runs {
		c := faulty(dir, args...)
		both, _ := c.CombinedOutput() // most fail, and all have to say it harmlessly
		obeyed(t, args, string(both), len(args) > 1 && args[1] == "github")
	}
	pages, err := filepath.Glob(filepath.Join(dir, "*.html"))
	if err != nil || len(pages) != 5 {
		t.Fatal(pages, err)
	}
	for _, p := range pages {
		page, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		if bad := strings.IndexAny(string(page), "\x1b\x07\u202e\u009b"); bad >= 0 {
			t.Errorf("%q holds %q", p, page[bad:min(bad+20, len(page))])
		}
	}
}

// obeyed looks for what a terminal or a CI system would obey. Lines that the
// format for annotations makes are our own.
func obeyed(t *testing.T, args []string, out string, annotations bool) {
	t.Helper()
	if out == "" {
		t.Errorf("%q says nothing", args)
	}
	if json.Valid([]byte(out)) {
		out = strings.ReplaceAll(out, "##[", "") // a text in JSON begins no line, and is shown by none
	}
	for line := range strings.SplitSeq(out, "\n") {
		if bad := strings.IndexAny(line, "\x1b\x07\u202e\u009b\r"); bad >= 0 {
			t.Errorf("%q: %q", args, line)
		}
		if strings.Contains(line, "##[") {
			t.Errorf("%q: %q", args, line)
		}
		if at := strings.TrimSpace(line); strings.HasPrefix(at, "::") && !(annotations && strings.Contains(at, "title=corbel")) {
			t.Errorf("%q: %q", args, line)
		}
	}
}
