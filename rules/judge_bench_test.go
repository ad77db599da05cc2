package rules

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// BenchmarkJudge judges a measured part again after a limit was typed: what an
// editor waits for between a key and the findings. Every round asks for another
// limit, so that no kept verdict can answer.
func BenchmarkJudge(b *testing.B) {
	type shape struct {
		name string
		m    *mesh.Mesh
	}
	var shapes []shape
	for _, segments := range []int{70, 220, 700} { // facets: twice its square
		shapes = append(shapes, shape{"torus", meshtest.Torus(30, 10, segments, segments)})
	}
	for _, n := range []int{20, 60} { // as many thin places as sharp edges, eight facets for each
		var knives []*mesh.Mesh
		for i := range n * n {
			x, y := 3*float64(i%n), 3*float64(i/n)
			knives = append(knives, meshtest.Prism([]mesh.Vec{{x, y, 0}, {x + 2, y - 0.15, 0}, {x + 2, y + 0.15, 0}}, 0, 5))
		}
		shapes = append(shapes, shape{"knives", meshtest.Join(knives...)})
	}
	for _, s := range shapes {
		m := s.m
		b.Run(fmt.Sprintf("%s/%d", s.name, len(m.Facets)), func(b *testing.B) {
			w := newBench(b, Options{})
			if err := os.WriteFile(w.path("part.stl"), meshtest.BinarySTL(m, 1), 0o666); err != nil {
				b.Fatal(err)
			}
			w.full()
			before := w.Counts().Measurements
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				w.write("part.part.toml", fmt.Sprintf("%s[limits]\nwall.thickness = \"%d.%d mm\"\n", ledgeSpec, 1+i/1000%9, i%1000))
				if r := w.Part(context.Background(), w.path("part.part.toml"), Full); r.Err != nil || r.Status != Checked {
					b.Fatal(r.Status, r.Err)
				}
			}
			if after := w.Counts().Measurements; fmt.Sprint(after) != fmt.Sprint(before) {
				b.Fatal("a limit measured something again: ", strings.TrimSpace(fmt.Sprint(before, after)))
			}
		})
	}
}
