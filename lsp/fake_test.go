package lsp

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.lsp.dev/uri"
	"go.uber.org/goleak"

	"corbel/lsp/lsptest"
	"corbel/rules"
	"corbel/spec"
)

// fake stands in for the rules, so that tests decide how long they take. Each
// word "bad" of a text is a finding of the text, each word "thin" one that
// needs geometry, and each line "rests PATH" names a file it rests on.
type fake struct {
	s *session

	mu       sync.Mutex
	warm     bool          // memory holds everything
	gate     chan struct{} // where not nil, measuring waits for a token
	measures int           // passes that have begun to measure
	stopped  int           // of those, passes that were stopped
	panics   string        // a text that makes the check panic
	events   chan string   // where not nil, told "measure" and "stop"
}

func (f *fake) Part(ctx context.Context, path string, mode rules.Mode) *rules.PartReport {
	text, err := f.s.readFile("", path)
	if err != nil {
		return &rules.PartReport{Path: path, Status: rules.Unchecked}
	}
	r := &rules.PartReport{Path: path, Status: rules.Checked, Complete: true, Deps: []string{path}}
	for line := range strings.Lines(string(text)) {
		if name, ok := strings.CutPrefix(strings.TrimSpace(line), "rests "); ok {
			r.Deps = append(r.Deps, filepath.Join(filepath.Dir(path), name))
			if other, err := f.s.readFile("", r.Deps[len(r.Deps)-1]); err == nil {
				r.Findings = append(r.Findings, finding(path, spec.Range{}, fmt.Sprintf("rests on %q", other)))
			}
		}
	}
	f.mu.Lock()
	panics, warm, gate := f.panics, f.warm, f.gate
	f.mu.Unlock()
	if panics != "" && strings.Contains(string(text), panics) {
		panic("this text is a trap")
	}
	r.Findings = append(r.Findings, words(path, text, "bad")...)
	if !bytes.Contains(text, []byte("thin")) {
		return r
	}
	if mode == rules.Full && !warm {
		f.mu.Lock()
		f.measures++
		f.mu.Unlock()
		f.tell("measure")
		f.s.stages.note(path, "walls", 0.5)
		if gate != nil {
			select {
			case <-gate:
			case <-ctx.Done():
				f.mu.Lock()
				f.stopped++
				f.mu.Unlock()
				f.tell("stop")
				r.Err = ctx.Err()
				return r
			}
		}
	}
	if mode == rules.Full || warm {
		r.Findings = append(r.Findings, words(path, text, "thin")...)
	} else {
		r.Complete = false
	}
	return r
}

func (f *fake) tell(event string) {
	if f.events != nil {
		f.events <- event
	}
}

// await waits for what passes do next, in any order; want is sorted.
func (f *fake) await(t *testing.T, want ...string) {
	t.Helper()
	var got []string
	for range want {
		select {
		case event := <-f.events:
			got = append(got, event)
		case <-time.After(lsptest.Deadline):
			t.Fatalf("waited in vain for %q, got %q", want, got)
		}
	}
	if slices.Sort(got); !slices.Equal(got, want) {
		t.Fatalf("passes did %q, want %q", got, want)
	}
}

func (f *fake) ShopFile(_ context.Context, path string) *rules.ShopReport {
	text, _ := f.s.readFile("", path)
	return &rules.ShopReport{Path: path, Findings: words(path, text, "bad"), Deps: []string{path}}
}

func (f *fake) counts() (measures, stopped int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.measures, f.stopped
}

func words(path string, text []byte, word string) []rules.Finding {
	var out []rules.Finding
	for at := 0; ; at += len(word) {
		i := bytes.Index(text[at:], []byte(word))
		if i < 0 {
			return out
		}
		at += i
		out = append(out, finding(path, spec.Range{Start: at, End: at + len(word)}, fmt.Sprintf("%s at %d", word, at)))
	}
}

func finding(path string, at spec.Range, message string) rules.Finding {
	return rules.Finding{
		Check: "wall", Level: rules.Warning, Message: message, Count: 1,
		Where: rules.Location{File: path, At: at},
	}
}

// startFake starts an editor and a server whose rules are a fake. Goroutines
// that outlive the test fail it.
func startFake(t testing.TB, f *fake, o Options) *lsptest.Editor {
	t.Helper()
	if f == nil {
		f = &fake{}
	}
	if o.Wait == 0 {
		o.Wait = time.Nanosecond
	}
	o.check = func(s *session) checker { f.s = s; return f }
	t.Cleanup(func() { goleak.VerifyNone(t) })
	return lsptest.Start(t, func(ctx context.Context, in io.Reader, out io.Writer) int {
		return Serve(ctx, in, out, o)
	})
}

// Paths need not exist: open texts are never read from disk.
func specPath(t testing.TB) string { return filepath.Join(t.TempDir(), "bracket.part.toml") }

func uriOf(path string) uri.URI { return uri.File(path) }
