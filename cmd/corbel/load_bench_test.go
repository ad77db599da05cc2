//go:build unix

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"corbel/mesh/meshtest"
)

// BenchmarkCheckMany checks so many parts, each with a mesh of its own of some
// 220 facets, in one process: cold, then from the cache.
func BenchmarkCheckMany(b *testing.B) {
	for _, n := range []int{100, 2000} {
		dir := b.TempDir()
		for i := range n {
			m, err := meshtest.Recipe(fmt.Sprintf("sphere %d 16\nscale 1.%04d\n", 5+i%10, i))
			if err != nil {
				b.Fatal(err)
			}
			put := func(ending string, data []byte) {
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("p%04d.%s", i, ending)), data, 0o666); err != nil {
					b.Fatal(err)
				}
			}
			put("stl", meshtest.BinarySTL(m, 1))
			put("part.toml", fmt.Appendf(nil, "schema = 1\npart = \"P %d\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\n[mesh]\nfile = \"p%04d.stl\"\nunits = \"mm\"\n", i, i))
		}
		for _, kind := range []string{"cold", "kept"} {
			cache := filepath.Join(dir, ".cache")
			b.Run(fmt.Sprintf("%s/%d", kind, n), func(b *testing.B) {
				const memory = 1 << 30
				var peak int64
				for b.Loop() {
					if kind == "cold" {
						b.StopTimer()
						if err := os.RemoveAll(cache); err != nil {
							b.Fatal(err)
						}
						b.StartTimer()
					}
					c := faulty(dir, "check", "--cache", cache, "--memory", fmt.Sprint(memory, "B"), "--format", "json", "-o", filepath.Join(dir, "out.json"), ".")
					if err := c.Run(); err != nil && exitOf(err) != exitFindings {
						b.Fatal(err)
					}
					rss := c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss
					if runtime.GOOS == "linux" {
						rss <<= 10 // kilobytes there
					}
					if peak = max(peak, rss); peak > memory {
						b.Fatalf("takes %d bytes, may take %d", peak, memory)
					}
				}
				b.ReportMetric(float64(peak)/(1<<20), "peak-MiB")
				b.ReportMetric(float64(b.Elapsed())/float64(time.Millisecond)/float64(b.N)/float64(n), "ms/part")
			})
		}
	}
}
