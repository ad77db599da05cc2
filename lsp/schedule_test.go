package lsp

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/lsp/lsptest"
)

// has reports whether a finding says something.
func has(ds []protocol.Diagnostic, word string) bool {
	return slices.ContainsFunc(lsptest.Messages(ds), func(m string) bool { return strings.Contains(m, word) })
}

func TestTextFindingsDoNotWaitForGeometry(t *testing.T) {
	f := &fake{gate: make(chan struct{})}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "bad and thin")
	if got := e.WaitShown(path, "the text's findings", nil); !has(got, "bad") || has(got, "thin") {
		t.Errorf("first findings are %q", lsptest.Messages(got))
	}
	f.gate <- struct{}{}
	got := e.WaitShown(path, "the geometry's findings", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
	if !has(got, "bad") || len(got) != 2 {
		t.Errorf("final findings are %q", lsptest.Messages(got))
	}
}

func TestKnownGeometryIsJudgedAtOnce(t *testing.T) {
	f := &fake{warm: true}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "bad and thin")
	for range 20 {
		e.Replace(path, "bad", "bad ")
	}
	e.WaitShown(path, "the last version", nil)
	for _, set := range e.Shown(path) {
		if len(set.Diagnostics) != 2 {
			t.Errorf("version %v was shown with %q only", set.Version, lsptest.Messages(set.Diagnostics))
		}
	}
	if measures, _ := f.counts(); measures != 0 {
		t.Errorf("%d passes measured what memory held", measures)
	}
}

func TestMeasuringStopsAtTheNextEdit(t *testing.T) {
	f := &fake{gate: make(chan struct{}), events: make(chan string, 10)}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "thin")
	f.await(t, "measure")
	for range 5 {
		e.Replace(path, "thin", ". thin")
		f.await(t, "measure", "stop")
	}
	f.gate <- struct{}{}
	e.WaitShown(path, "the geometry's findings", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
	for _, set := range e.Shown(path) {
		if v, _ := set.Version.Get(); v != e.Version(path) && has(set.Diagnostics, "thin") {
			t.Errorf("a measuring of version %d was shown though it was stopped", v)
		}
	}
}

// A pass that does not notice that it was stopped is dropped all the same.
func TestStaleFindingsAreDropped(t *testing.T) {
	f := &fake{}
	f.gate = make(chan struct{})
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	path := specPath(t)
	rng := rand.New(rand.NewPCG(3, 4))
	e.Open(path, "thin")
	for i := range 300 {
		if rng.IntN(3) == 0 {
			select {
			case f.gate <- struct{}{}:
			default:
			}
		}
		e.Edit(path, 0, 0, fmt.Sprint(i%10))
	}
	f.mu.Lock()
	f.gate = nil
	f.mu.Unlock()
	e.Edit(path, 0, 0, "x")
	e.WaitShown(path, "the last findings", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
	for _, set := range e.Shown(path) {
		v, _ := set.Version.Get()
		want := fmt.Sprintf("thin at %d", v-1) // each edit puts one byte before the word
		for _, m := range lsptest.Messages(set.Diagnostics) {
			if m != want {
				t.Fatalf("version %d was shown with %q", v, m)
			}
		}
	}
}

func TestClosingClears(t *testing.T) {
	f := &fake{gate: make(chan struct{})}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "bad thin")
	e.WaitShown(path, "findings", nil)
	e.Close(path)
	empty := func() bool {
		sets := e.ShownLocked(path)
		return len(sets[len(sets)-1].Diagnostics) == 0
	}
	e.Wait("the findings to be cleared", empty)
	// Measuring that was under way must not bring them back.
	f.mu.Lock()
	f.gate = nil
	f.mu.Unlock()
	other := filepath.Join(filepath.Dir(path), "other.part.toml")
	e.Open(other, "thin")
	e.WaitShown(other, "another text's geometry", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
	e.Wait("nothing more", empty)
	e.Open(path, "bad")
	if got := e.WaitShown(path, "findings of the text opened again", func(ds []protocol.Diagnostic) bool { return len(ds) > 0 }); len(got) != 1 {
		t.Errorf("findings are %q", lsptest.Messages(got))
	}
}

func TestShopInTheEditorCountsAtOnce(t *testing.T) {
	e := startFake(t, &fake{gate: make(chan struct{})}, Options{})
	e.Initialize(nil)
	dir := t.TempDir()
	part, shop := filepath.Join(dir, "a.part.toml"), filepath.Join(dir, "shop.toml")
	write(t, shop, "on disk")
	says := func(word string) func([]protocol.Diagnostic) bool {
		return func(ds []protocol.Diagnostic) bool { return has(ds, fmt.Sprintf("rests on %q", word)) }
	}
	e.Open(part, "rests shop.toml\n")
	e.WaitShown(part, "the shop file on disk", says("on disk"))
	e.Open(shop, "opened")
	e.WaitShown(part, "the opened shop file", says("opened"))
	e.Rewrite(shop, "bad")
	e.WaitShown(part, "the edited shop file", says("bad"))
	if got := e.WaitShown(shop, "the shop file's own findings", func(ds []protocol.Diagnostic) bool { return has(ds, "bad") }); len(got) != 1 {
		t.Errorf("shop file's findings are %q", lsptest.Messages(got))
	}
	e.Close(shop)
	e.WaitShown(part, "the shop file on disk again", says("on disk"))
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// touched tells the server of changed files, as an editor that watches does.
func touched(e *lsptest.Editor, paths ...string) {
	var events []protocol.FileEvent
	for _, p := range paths {
		events = append(events, protocol.FileEvent{URI: uri.File(p), Type: protocol.FileChangeTypeChanged})
	}
	e.Notify(protocol.MethodWorkspaceDidChangeWatchedFiles, &protocol.DidChangeWatchedFilesParams{Changes: events})
}

func TestFilesChangedOnDisk(t *testing.T) {
	for _, told := range []bool{true, false} {
		t.Run(fmt.Sprintf("told %v", told), func(t *testing.T) {
			f := &fake{}
			e := startFake(t, f, Options{})
			e.Initialize(nil)
			dir := t.TempDir()
			mesh := filepath.Join(dir, "a.stl")
			specs := []string{filepath.Join(dir, "a.part.toml"), filepath.Join(dir, "b.part.toml"), filepath.Join(dir, "c.part.toml")}
			write(t, mesh, "v1")
			e.Open(specs[0], "rests a.stl\n")
			e.Open(specs[1], "rests a.stl\n")
			e.Open(specs[2], "bad")
			says := func(text string) func([]protocol.Diagnostic) bool {
				return func(ds []protocol.Diagnostic) bool { return has(ds, fmt.Sprintf("rests on %q", text)) }
			}
			e.WaitShown(specs[0], "the first mesh", says("v1"))
			e.WaitShown(specs[1], "the first mesh", says("v1"))
			e.WaitShown(specs[2], "findings", nil)
			write(t, mesh, "version 2")
			if told {
				touched(e, mesh)
			}
			e.WaitShown(specs[0], "the second mesh", says("version 2"))
			e.WaitShown(specs[1], "the second mesh", says("version 2"))
			if err := os.Remove(mesh); err != nil {
				t.Fatal(err)
			}
			if told {
				touched(e, mesh)
			}
			e.WaitShown(specs[0], "no mesh", func(ds []protocol.Diagnostic) bool { return !has(ds, "rests") })
			if n := len(e.Shown(specs[2])); n != 1 {
				t.Errorf("a spec that does not rest on the mesh was shown %d times", n)
			}
		})
	}
}

// While a new mesh is measured, the findings of the old one stay: the text they
// stand against has not changed, and an empty list would read as all clear.
func TestFinalFindingsAreNotReplacedByPartialOnes(t *testing.T) {
	f := &fake{}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	dir := t.TempDir()
	path, mesh := filepath.Join(dir, "a.part.toml"), filepath.Join(dir, "a.stl")
	write(t, mesh, "v1")
	e.Open(path, "rests a.stl\nthin")
	e.WaitShown(path, "all findings", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
	before := len(e.Shown(path))
	write(t, mesh, "version 2")
	touched(e, mesh)
	e.WaitShown(path, "the new mesh", func(ds []protocol.Diagnostic) bool { return has(ds, "version 2") })
	for _, set := range e.Shown(path)[before:] {
		if !has(set.Diagnostics, "thin") {
			t.Errorf("findings were replaced by partial ones: %q", lsptest.Messages(set.Diagnostics))
		}
	}
}

func TestNearerShopFileIsNoticed(t *testing.T) {
	f := &fake{}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	dir := t.TempDir()
	path := filepath.Join(dir, "x", "a.part.toml")
	if err := os.Mkdir(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	e.Open(path, "bad")
	e.WaitShown(path, "findings", nil)
	write(t, filepath.Join(dir, "shop.toml"), "new")
	e.Wait("the spec to be checked again", func() bool { return len(e.ShownLocked(path)) == 2 })
}

func TestProgressCanBeStopped(t *testing.T) {
	f := &fake{gate: make(chan struct{})}
	e := startFake(t, f, Options{patience: time.Nanosecond})
	yes := true
	e.Initialize(&protocol.ClientCapabilities{Window: &protocol.WindowClientCapabilities{WorkDoneProgress: &yes}})
	path := specPath(t)
	e.Open(path, "bad thin")
	e.WaitShown(path, "the text's findings", nil)
	kinds := func() (out []string) {
		for _, m := range e.ToldLocked() {
			if m.Method == protocol.MethodProgress {
				for _, k := range []string{"begin", "report", "end"} {
					if strings.Contains(string(m.Params), `"kind":"`+k+`"`) {
						out = append(out, k)
					}
				}
			}
		}
		return out
	}
	var told []string
	e.Wait("progress to be reported", func() bool { told = kinds(); return slices.Contains(told, "report") })
	e.Notify(protocol.MethodWindowWorkDoneProgressCancel, &protocol.WorkDoneProgressCancelParams{Token: protocol.String("corbel/1")})
	got := e.WaitShown(path, "a word about the geometry", func(ds []protocol.Diagnostic) bool { return has(ds, "Geometry is not checked") })
	if !has(got, "bad") {
		t.Errorf("findings are %q", lsptest.Messages(got))
	}
	e.Wait("progress to end", func() bool { told = kinds(); return slices.Contains(told, "end") })
	if told[0] != "begin" || told[len(told)-1] != "end" {
		t.Errorf("progress was %q", told)
	}
	f.mu.Lock()
	f.gate = nil
	f.mu.Unlock()
	e.Save(path)
	got = e.WaitShown(path, "geometry after saving", func(ds []protocol.Diagnostic) bool { return has(ds, "thin") })
	if has(got, "not checked") {
		t.Errorf("findings are %q", lsptest.Messages(got))
	}
}

func TestEditorsThatDoNotAnswerAreServed(t *testing.T) {
	yes := true
	caps := &protocol.ClientCapabilities{
		Window: &protocol.WindowClientCapabilities{WorkDoneProgress: &yes},
		Workspace: &protocol.WorkspaceClientCapabilities{
			DidChangeWatchedFiles: &protocol.DidChangeWatchedFilesClientCapabilities{DynamicRegistration: &yes},
		},
	}
	for name, manners := range map[string]lsptest.Manners{"answers": lsptest.Answers, "refuses": lsptest.Refuses, "silent": lsptest.Silent} {
		t.Run(name, func(t *testing.T) {
			f := &fake{gate: make(chan struct{})}
			e := startFake(t, f, Options{patience: time.Nanosecond})
			e.Manners = manners
			e.Initialize(caps)
			path := specPath(t)
			e.Open(path, "bad thin")
			e.Wait("both requests", func() bool { return len(e.AskedLocked()) == 2 })
			f.gate <- struct{}{}
			e.WaitShown(path, "all findings", func(ds []protocol.Diagnostic) bool { return len(ds) == 2 })
			if code := e.Shutdown(); code != 0 {
				t.Errorf("exit code %d, want 0", code)
			}
		})
	}
}

func TestPanicOfACheckIsAFinding(t *testing.T) {
	e := startFake(t, &fake{panics: "trap"}, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "a trap")
	got := e.WaitShown(path, "a word about the fault", nil)
	if len(got) != 1 || !has(got, "could not be checked") || got[0].Severity != protocol.DiagnosticSeverityError {
		t.Errorf("findings are %q", lsptest.Messages(got))
	}
	e.Rewrite(path, "bad")
	if got := e.WaitShown(path, "findings after the fault", nil); !has(got, "bad") {
		t.Errorf("findings are %q", lsptest.Messages(got))
	}
}

func TestOtherFilesAreLeftAlone(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	dir := t.TempDir()
	other, path := filepath.Join(dir, "go.toml"), filepath.Join(dir, "a.part.toml")
	e.Open(other, "bad")
	e.Edit(other, 0, 0, "x")
	e.Open(path, "bad")
	e.WaitShown(path, "findings", nil)
	if n := len(e.Shown(other)); n != 0 {
		t.Errorf("%d sets were published for a file that is not ours", n)
	}
}

func TestManyTextsAtOnce(t *testing.T) {
	const texts = 60
	f := &fake{}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(5, 6))
	path := func(i int) string { return filepath.Join(dir, fmt.Sprintf("p%d.part.toml", i)) }
	for i := range texts {
		e.Open(path(i), "start thin\n")
	}
	for range 1500 {
		p := path(rng.IntN(texts))
		start, end, insert := randomEdit(rng, e.Content(p))
		e.Edit(p, start, end, insert)
	}
	for i := range texts {
		text := []byte(e.Content(path(i)))
		want := append(words(path(i), text, "bad"), words(path(i), text, "thin")...)
		e.WaitShown(path(i), "the findings of a fresh start", func(ds []protocol.Diagnostic) bool {
			if len(ds) != len(want) {
				return false
			}
			for k, m := range lsptest.Messages(ds) {
				if m != want[k].Message {
					return false
				}
			}
			return true
		})
	}
}

func TestShutdownStopsMeasuring(t *testing.T) {
	f := &fake{gate: make(chan struct{})}
	e := startFake(t, f, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, "thin")
	e.WaitShown(path, "the text's findings", nil)
	if code := e.Shutdown(); code != 0 {
		t.Errorf("exit code %d, want 0", code)
	}
	if measures, stopped := f.counts(); measures != stopped {
		t.Errorf("%d passes measured, %d were stopped", measures, stopped)
	}
}
