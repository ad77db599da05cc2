package rules

import (
	"bufio"
	"cmp"
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// coldShapes are made to about as many facets as their names say.
var coldShapes = []struct {
	name   string
	facets int
	make   func() *mesh.Mesh
}{
	{"lumpy", 10_000, func() *mesh.Mesh { return lumpy(10_000) }},
	{"lumpy", 100_000, func() *mesh.Mesh { return lumpy(100_000) }},
	{"lumpy", 1_000_000, func() *mesh.Mesh { return lumpy(1_000_000) }},
	{"lumpy", 4_000_000, func() *mesh.Mesh { return lumpy(4_000_000) }},
	{"lumpy", 10_000_000, func() *mesh.Mesh { return lumpy(10_000_000) }},
	{"bracket", 15_000, func() *mesh.Mesh { return bracket(1) }},
	{"bracket", 60_000, func() *mesh.Mesh { return bracket(2) }},
	{"bracket", 1_000_000, func() *mesh.Mesh { return bracket(4) }},
	{"bracket", 4_000_000, func() *mesh.Mesh { return bracket(5) }},
	{"gyroid", 10_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 1, 13) }},
	{"gyroid", 100_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 2, 15) }},
	{"gyroid", 1_000_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 3, 25) }},
	{"gyroid", 4_000_000, func() *mesh.Mesh { return meshtest.Gyroid(10, 1, 4, 32) }},
	// Round struts: of 2,700 and 22,800 in one body, of 2,744 and 21,952 that overlap.
	{"lattice", 150_000, func() *mesh.Mesh { return meshtest.Lattice(10, 4, 1.6, 0.5, 0, 0, 8) }},
	{"lattice", 1_300_000, func() *mesh.Mesh { return meshtest.Lattice(20, 4, 1.6, 0.5, 0, 0, 8) }},
	{"struts", 120_000, func() *mesh.Mesh { return meshtest.Struts(7, 4, 0.4, 12) }},
	{"struts", 1_000_000, func() *mesh.Mesh { return meshtest.Struts(14, 4, 0.4, 12) }},
}

// lumpy is a ball of 60 mm with dents and humps: smooth and solid.
func lumpy(facets int) *mesh.Mesh {
	m := meshtest.Sphere(30, int(math.Sqrt(float64(facets))))
	verts := make([]mesh.Vec, len(m.Verts))
	for i, v := range m.Verts {
		verts[i] = v.Scale(1 + 0.08*math.Sin(v[0]/4)*math.Sin(v[1]/5)*math.Cos(v[2]/6))
	}
	return mesh.New(verts, m.Facets)
}

// bracket is a plate with 28 bores, each facet split in four again and again:
// large flat faces and round ones, walls between bores.
func bracket(splits int) *mesh.Mesh {
	var holes [][3]float64
	for i := range 28 {
		holes = append(holes, [3]float64{8 + 12*float64(i%7), 8 + 12*float64(i/7), 0.4 + 0.15*float64(i)})
	}
	return meshtest.Refine(meshtest.Plate(mesh.Vec{}, mesh.Vec{88, 52, 6}, 32, holes...), splits)
}

var alone = flag.Bool("alone", false, "CheckCold and CheckDemo: one measurement at a time, and the seconds of each")

// coldOptions are those of a first run of a day.
func coldOptions(steps *stepTimes) Options {
	o := Options{Now: testDay}
	if *alone {
		o.Jobs, o.Progress = 1, steps.step
	}
	return o
}

// BenchmarkCheckCold checks a part from its file with every check, as the first
// run of a day does: where the system tells, the seconds of processor time in all
// and the peak of memory per facet.
func BenchmarkCheckCold(b *testing.B) {
	defer debug.SetGCPercent(debug.SetGCPercent(50)) // as the program does
	mesh.HugePages(1 << 30)                          // as of a program whose heap nothing used before
	for _, s := range coldShapes {
		b.Run(fmt.Sprintf("%s/%d", s.name, s.facets), func(b *testing.B) {
			path := coldPart(b, s.make())
			b.ReportAllocs()
			var steps stepTimes
			facets := 0
			var peak int64
			busy := 0.0
			const memory = 8 << 30
			for b.Loop() {
				debug.FreeOSMemory()
				base := resetPeak()
				busy -= cpuSeconds()
				steps.begin()
				o := coldOptions(&steps)
				o.Memory = memory
				r := New(o).Part(context.Background(), path, Full)
				if r.Err != nil || r.Info == nil || r.Status != Checked {
					b.Fatalf("%v %+v", r.Err, r.Failures)
				}
				busy += cpuSeconds()
				facets = r.Info.Facets
				if peak = max(peak, peakBytes()-base); peak > memory {
					b.Fatalf("takes %d bytes, may take %d", peak, memory)
				}
			}
			b.ReportMetric(float64(facets), "facets")
			b.ReportMetric(float64(peak)/float64(facets), "peakB/facet")
			b.ReportMetric(busy/float64(b.N), "cpu-s")
			steps.report(b)
		})
	}
}

// BenchmarkCheckDemo checks each part of the demo, or of the folder that CORBEL_PARTS
// names, as BenchmarkCheckCold does the made ones.
func BenchmarkCheckDemo(b *testing.B) {
	defer debug.SetGCPercent(debug.SetGCPercent(50)) // as the program does
	folder := cmp.Or(os.Getenv("CORBEL_PARTS"), "../testdata/demo/parts")
	specs, err := filepath.Glob(filepath.Join(folder, "*.part.toml"))
	if err != nil || len(specs) == 0 {
		b.Fatal(err, specs)
	}
	for _, path := range specs {
		b.Run(strings.TrimSuffix(filepath.Base(path), ".part.toml"), func(b *testing.B) {
			var steps stepTimes
			busy := -cpuSeconds()
			for b.Loop() {
				steps.begin()
				r := New(coldOptions(&steps)).Part(context.Background(), path, Full)
				if r.Err != nil || r.Status != Checked {
					b.Fatalf("%v %+v", r.Err, r.Failures)
				}
			}
			b.ReportMetric((busy+cpuSeconds())/float64(b.N), "cpu-s")
			steps.report(b)
		})
	}
}

// BenchmarkCancel stops a check at a random moment and reports the longest time
// until it has ended, and during which step. A check that took no longer than
// it would have to be stopped counts too.
func BenchmarkCancel(b *testing.B) {
	for _, s := range coldShapes {
		b.Run(fmt.Sprintf("%s/%d", s.name, s.facets), func(b *testing.B) {
			path := coldPart(b, s.make())
			var now atomic.Pointer[string]
			check := func(ctx context.Context) {
				New(Options{Now: testDay, Progress: func(_, stage string, _ float64) { now.Store(&stage) }}).Part(ctx, path, Full)
			}
			from := time.Now()
			check(context.Background())
			whole := time.Since(from)
			random := rand.New(rand.NewPCG(1, 2))
			var worst time.Duration
			during := ""
			for b.Loop() {
				ctx, stop := context.WithCancel(context.Background())
				var at time.Time
				var stage string
				timer := time.AfterFunc(time.Duration(random.Float64()*float64(whole)), func() {
					stage, at = *now.Load(), time.Now()
					stop()
				})
				check(ctx)
				end := time.Now()
				if !timer.Stop() {
					<-ctx.Done()
					if late := end.Sub(at); late > worst {
						worst, during = late, stage
					}
				}
				stop()
			}
			b.ReportMetric(float64(worst)/1e6, "worst-ms")
			b.Logf("longest during %s", during)
		})
	}
}

// coldPart writes a part spec and its mesh, and returns the spec's path.
func coldPart(b *testing.B, m *mesh.Mesh) string {
	dir := b.TempDir()
	path := filepath.Join(dir, "part.part.toml")
	if err := os.WriteFile(path, []byte(ledgeSpec), 0o600); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "part.stl"), meshtest.BinarySTL(m, 1), 0o600); err != nil {
		b.Fatal(err)
	}
	return path
}

// stepTimes sums the time between stages.
type stepTimes struct {
	names []string
	sum   []time.Duration
	at    int
	since time.Time
}

func (t *stepTimes) begin() { t.at, t.since = -1, time.Now() }

func (t *stepTimes) step(_, stage string, _ float64) {
	now := time.Now()
	if t.at >= 0 {
		t.sum[t.at] += now.Sub(t.since)
	}
	t.since = now
	for t.at = 0; t.at < len(t.names) && t.names[t.at] != stage; t.at++ {
	}
	if t.at == len(t.names) {
		t.names, t.sum = append(t.names, stage), append(t.sum, 0)
	}
}

// report tells the seconds of each step of a run.
func (t *stepTimes) report(b *testing.B) {
	for i, name := range t.names {
		b.ReportMetric(t.sum[i].Seconds()/float64(b.N), strings.ReplaceAll(name, " ", "-")+"-s")
	}
}

// resetPeak forgets the process' peak of memory and returns what it takes now;
// 0 where the system can't.
func resetPeak() int64 {
	if os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) != nil {
		return 0
	}
	return peakBytes()
}

// peakBytes is the largest resident size of the process since resetPeak.
func peakBytes() int64 {
	f, err := os.Open("/proc/self/status")
	if err != nil {
		return 0
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		var kB int64
		if n, _ := fmt.Sscanf(s.Text(), "VmHWM: %d kB", &kB); n == 1 {
			return kB << 10
		}
	}
	return 0
}
