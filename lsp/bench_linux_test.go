package lsp

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// These benchmarks run the program itself, as an editor does: times include its
// start, memory is what the system gives it (VmRSS).

// process is a server of its own.
type process struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out io.ReadCloser
}

func (p *process) Read(b []byte) (int, error)  { return p.out.Read(b) }
func (p *process) Write(b []byte) (int, error) { return p.in.Write(b) }
func (p *process) Close() error                { return p.in.Close() }

// built builds the program.
func built(b *testing.B) string {
	b.Helper()
	program := filepath.Join(b.TempDir(), "corbel")
	if out, err := exec.Command("go", "build", "-o", program, "../cmd/corbel").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	return program
}

// launch starts the program and connects an editor to it.
func launch(b *testing.B, program string) (*process, *lsptest.Editor) {
	b.Helper()
	p := &process{cmd: exec.Command(program, "serve")}
	p.cmd.Env = append(os.Environ(), "XDG_CACHE_HOME="+os.TempDir())
	var err error
	if p.in, err = p.cmd.StdinPipe(); err != nil {
		b.Fatal(err)
	}
	if p.out, err = p.cmd.StdoutPipe(); err != nil {
		b.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		b.Fatal(err)
	}
	return p, lsptest.Connect(b, p)
}

// leave ends a server in order.
func (p *process) leave(b *testing.B, e *lsptest.Editor) {
	b.Helper()
	if err := e.Call(protocol.MethodShutdown, nil, nil); err != nil {
		b.Fatal(err)
	}
	e.Notify(protocol.MethodExit, nil)
	if err := p.cmd.Wait(); err != nil {
		b.Fatal(err)
	}
}

// rssMB is the memory that a server has from the system.
func (p *process) rssMB(b *testing.B) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	var kB float64
	if _, err := fmt.Sscan(rest, &kB); err != nil {
		b.Fatal(err)
	}
	return kB / 1024
}

// BenchmarkProcessStart is the time from the start of the program to its answer
// to initialize, and its memory then. Processor time, to the end of a session
// that does nothing else, is what other work on the machine does not change.
func BenchmarkProcessStart(b *testing.B) {
	program := built(b)
	var times []time.Duration
	rss, used := 0.0, time.Duration(0)
	for b.Loop() {
		began := time.Now()
		p, e := launch(b, program)
		e.Initialize(nil)
		times = append(times, time.Since(began))
		rss = max(rss, p.rssMB(b))
		p.leave(b, e)
		used += p.cmd.ProcessState.UserTime() + p.cmd.ProcessState.SystemTime()
	}
	percentiles(b, times)
	b.ReportMetric(float64(times[0].Microseconds())/1000, "least-ms") // sorted by percentiles
	b.ReportMetric(used.Seconds()*1000/float64(len(times)), "cpu-ms")
	b.ReportMetric(rss, "rss-MB")
}

// BenchmarkProcessEdits is the memory after edits of one text, each followed by
// its findings.
func BenchmarkProcessEdits(b *testing.B) {
	program := built(b)
	for b.Loop() {
		path := workspace(b)
		p, e := launch(b, program)
		e.Initialize(nil)
		e.Open(path, longSpec())
		thin := func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") }
		e.WaitShown(path, "all findings", thin)
		for i := range 10000 {
			if i == 1000 {
				b.ReportMetric(p.rssMB(b), "rss-MB-after-1000")
			}
			e.Replace(path, fmt.Sprintf("# %d end", i), fmt.Sprintf("# %d end", i+1))
			e.WaitShown(path, "the findings of an edit", thin)
		}
		b.ReportMetric(p.rssMB(b), "rss-MB-after-10000")
		p.leave(b, e)
	}
}

// BenchmarkProcessManyOpen is the time until 200 specs under one shop file have
// their findings, and the memory then. Their mesh was measured before.
func BenchmarkProcessManyOpen(b *testing.B) {
	program := built(b)
	for b.Loop() {
		b.StopTimer()
		first := workspace(b)
		path := func(i int) string { return filepath.Join(filepath.Dir(first), fmt.Sprintf("p%d.part.toml", i)) }
		p, e := launch(b, program)
		e.Initialize(nil)
		e.Open(first, longSpec())
		thin := func(ds []protocol.Diagnostic) bool { return has(ds, "Wall is") }
		e.WaitShown(first, "the measurements", thin)
		b.StartTimer()
		for i := range 200 {
			e.Open(path(i), longSpec()+fmt.Sprintf("# %d\n", i))
		}
		for i := range 200 {
			e.WaitShown(path(i), "all findings", thin)
		}
		b.ReportMetric(p.rssMB(b), "rss-MB")
		b.StopTimer()
		p.leave(b, e)
		b.StartTimer()
	}
}
