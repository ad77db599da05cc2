package lsp

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// longSpec is a spec of about 200 lines beside the plate's mesh.
func longSpec() string {
	var b strings.Builder
	b.WriteString(plateText)
	for i := range 34 {
		fmt.Fprintf(&b, "\n[[hole]] # %d\nname     = \"seat %d\"\nat       = [10, 6, 0.2]\ndiameter = \"4 mm\"\n", i, i)
	}
	b.WriteString("# 0 end\n")
	return b.String()
}

// percentiles gives the median and the 99th percentile of times, the two figures
// that a user feels.
func percentiles(b *testing.B, times []time.Duration) {
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(times[(len(times)*99)/100].Microseconds())/1000, "p99-ms")
}

// BenchmarkEdit is the time from a change to the published findings of all
// checks, with a mesh that memory holds. Every edit makes a text that was not
// there before, so nothing but measurements can come from memory.
func BenchmarkEdit(b *testing.B) {
	path := workspace(b)
	e := startReal(b, Options{})
	e.Initialize(nil)
	text := longSpec()
	e.Open(path, text)
	thin := func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") }
	e.WaitShown(path, "all findings", thin)
	b.Logf("%d lines, %d findings", strings.Count(text, "\n"), len(e.Shown(path)[len(e.Shown(path))-1].Diagnostics))
	var times []time.Duration
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		began := time.Now()
		from, to := fmt.Sprintf("hole %d", i), fmt.Sprintf("hole %d", i+1)
		if i == 0 {
			from = "dowel"
		}
		e.Replace(path, "name     = \""+from, "name     = \""+to)
		e.WaitShown(path, "the findings after an edit", thin)
		times = append(times, time.Since(began))
	}
	percentiles(b, times)
}

// BenchmarkOpen is the time from opening a text to its first findings.
func BenchmarkOpen(b *testing.B) {
	path := workspace(b)
	e := startReal(b, Options{})
	e.Initialize(nil)
	var times []time.Duration
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		text := longSpec() + fmt.Sprintf("# %d\n", i)
		began := time.Now()
		e.Open(path, text)
		e.WaitShown(path, "the first findings", func(ds []protocol.Diagnostic) bool { return len(ds) > 0 })
		times = append(times, time.Since(began))
		e.Close(path)
		e.Wait("the findings to be cleared", func() bool {
			sets := e.ShownLocked(path)
			return len(sets[len(sets)-1].Diagnostics) == 0
		})
	}
	percentiles(b, times)
}

// BenchmarkInitialize is the time from the start of a server to its answer.
func BenchmarkInitialize(b *testing.B) {
	var times []time.Duration
	b.ReportAllocs()
	for b.Loop() {
		began := time.Now()
		e := startReal(b, Options{Cache: os.TempDir()})
		e.Initialize(nil)
		times = append(times, time.Since(began))
		e.Shutdown()
	}
	percentiles(b, times)
}

// BenchmarkManyOpen is the time until 500 specs that are opened at once have
// their findings, and the memory that they then take. Their mesh was measured
// for another spec before.
func BenchmarkManyOpen(b *testing.B) {
	const texts = 500
	folder := filepath.Dir(workspace(b))
	b.ReportAllocs()
	for b.Loop() {
		e := startReal(b, Options{Cache: os.TempDir()})
		e.Initialize(nil)
		b.StopTimer()
		first := filepath.Join(folder, "plate.part.toml")
		e.Open(first, longSpec())
		e.WaitShown(first, "the measurements", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
		b.StartTimer()
		path := func(i int) string { return filepath.Join(folder, fmt.Sprintf("p%d.part.toml", i)) }
		for i := range texts {
			e.Open(path(i), longSpec()+fmt.Sprintf("# %d\n", i))
		}
		for i := range texts {
			e.WaitShown(path(i), "all findings", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
		}
		b.ReportMetric(heapMB(), "heap-MB")
		e.Shutdown()
	}
}

// BenchmarkCompletion and BenchmarkHover are the time to an answer right after
// an edit, which no answer from before can serve.
func BenchmarkCompletion(b *testing.B) {
	afterEdits(b, func(e *lsptest.Editor, at protocol.TextDocumentPositionParams) error {
		return e.Call(protocol.MethodTextDocumentCompletion, &protocol.CompletionParams{TextDocumentPositionParams: at}, new(protocol.CompletionList))
	})
}

func BenchmarkHover(b *testing.B) {
	afterEdits(b, func(e *lsptest.Editor, at protocol.TextDocumentPositionParams) error {
		return e.Call(protocol.MethodTextDocumentHover, &protocol.HoverParams{TextDocumentPositionParams: at}, new(protocol.Hover))
	})
}

// afterEdits edits a measured spec of 200 lines and asks at once, on the
// machine's name.
func afterEdits(b *testing.B, ask func(*lsptest.Editor, protocol.TextDocumentPositionParams) error) {
	path := workspace(b)
	e := startReal(b, Options{})
	e.Initialize(nil)
	e.Open(path, longSpec())
	e.WaitShown(path, "all findings", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
	var at protocol.TextDocumentPositionParams
	at.TextDocument.URI = uriOf(path)
	at.Position = lsptest.Position(longSpec(), strings.Index(longSpec(), "bay 2")+1, e.Unit)
	var times []time.Duration
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		e.Replace(path, fmt.Sprintf("# %d end", i), fmt.Sprintf("# %d end", i+1))
		began := time.Now()
		if err := ask(e, at); err != nil {
			b.Fatal(err)
		}
		times = append(times, time.Since(began))
	}
	percentiles(b, times)
}

// BenchmarkShopChange is the time from a change of a shop file to the findings
// of 200 open specs that rest on it.
func BenchmarkShopChange(b *testing.B) {
	const texts = 200
	path := workspace(b)
	folder := filepath.Dir(path)
	e := startReal(b, Options{Cache: b.TempDir()})
	e.Initialize(nil)
	spec := func(i int) string { return filepath.Join(folder, fmt.Sprintf("p%d.part.toml", i)) }
	for i := range texts {
		e.Open(spec(i), longSpec()+fmt.Sprintf("# %d\n", i))
	}
	says := func(limit string) {
		for i := range texts {
			e.WaitShown(spec(i), "findings by "+limit, func(ds []protocol.Diagnostic) bool { return has(ds, "thinner than "+limit) })
		}
	}
	says("0.6 mm")
	shop := filepath.Join(folder, "shop.toml")
	text, err := os.ReadFile(shop)
	if err != nil {
		b.Fatal(err)
	}
	e.Open(shop, string(text))
	var times []time.Duration
	now := "0.6"
	for i := 0; b.Loop(); i++ {
		next := fmt.Sprintf("0.%d", 610+i)
		began := time.Now()
		e.Replace(shop, `wall.thickness = { value = "`+now+` mm"`, `wall.thickness = { value = "`+next+` mm"`)
		says(strings.TrimRight(next, "0") + " mm")
		times = append(times, time.Since(began))
		now = next
	}
	percentiles(b, times)
}

// BenchmarkManyEdits is the memory that edits of one text leave behind, each of
// another text.
func BenchmarkManyEdits(b *testing.B) {
	for _, edits := range []int{100, 1000, 10000} {
		b.Run(strconv.Itoa(edits), func(b *testing.B) {
			path := workspace(b)
			for b.Loop() {
				e := startReal(b, Options{Cache: os.TempDir()})
				e.Initialize(nil)
				e.Open(path, longSpec())
				for i := range edits {
					e.Replace(path, fmt.Sprintf("# %d end", i), fmt.Sprintf("# %d end", i+1))
					if i%10 == 0 {
						e.WaitShown(path, "findings", nil)
					}
				}
				e.WaitShown(path, "the last findings", func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") })
				b.ReportMetric(heapMB(), "heap-MB")
				e.Shutdown()
			}
		})
	}
}

// heapMB is what the process holds after a collection, the test's editor included.
func heapMB() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}
