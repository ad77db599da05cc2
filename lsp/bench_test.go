package lsp

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/protocol"
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

// BenchmarkManyOpen is the time until 200 open specs have their findings, and
// the memory that they then take.
func BenchmarkManyOpen(b *testing.B) {
	const texts = 200
	folder := filepath.Dir(workspace(b))
	b.ReportAllocs()
	for b.Loop() {
		e := startReal(b, Options{Cache: os.TempDir()})
		e.Initialize(nil)
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

// BenchmarkManyEdits is the memory that 5,000 edits of one text leave behind.
func BenchmarkManyEdits(b *testing.B) {
	path := workspace(b)
	for b.Loop() {
		e := startReal(b, Options{Cache: os.TempDir()})
		e.Initialize(nil)
		e.Open(path, longSpec())
		for i := range 5000 {
			e.Replace(path, "\"4 mm\"", fmt.Sprintf("\"4 mm\" # %d\n#", i))
			if i%100 == 0 {
				e.WaitShown(path, "findings", nil)
			}
			if i%50 == 0 {
				e.Rewrite(path, longSpec())
			}
		}
		e.WaitShown(path, "the last findings", nil)
		b.ReportMetric(heapMB(), "heap-MB")
		e.Shutdown()
	}
}

// heapMB is what the process holds after a collection, the test's editor included.
func heapMB() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}
