package rules

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// What a bore opens into lets powder out: of the bores of galleries.scad only two sets
// are too long from one way out to the next, one with a long branch and three that are
// joined.
func TestBoresThatMeetLetPowderOut(t *testing.T) {
	data, err := os.ReadFile("../testdata/meshes/made/galleries.stl")
	if err != nil {
		t.Fatal(err)
	}
	b := orientBench(t, meshtest.Cube(1), "[orientation]\nup = \"+z\"\n")
	if err := os.WriteFile(b.path("part.stl"), data, 0o666); err != nil {
		t.Fatal(err)
	}
	r := b.Part(context.Background(), b.path("part.part.toml"), Full)
	var got []string
	for _, f := range r.Findings {
		if f.feature == "deep" {
			for _, p := range f.Places {
				got = append(got, fmt.Sprintf("%.1f at y %.0f", p.Measured, p.At[1]))
			}
			if want := "Hole of 4.0 mm leads 115 mm from one way out to the next, 29 times its diameter where powder comes out of 20 at most in 316L, in 5 places,"; !strings.HasPrefix(f.Message, want) {
				t.Errorf("%q, want %q", f.Message, want)
			}
		}
	}
	slices.Sort(got)
	want := []string{"27.5 at y 90", "28.0 at y 290", "28.0 at y 290", "28.0 at y 290", "28.7 at y 90"}
	if !slices.Equal(got, want) {
		t.Errorf("too deep: %q, want %q", got, want)
	}
}

// What is drawn at a limit passes, though the file rounds it to six digits.
func TestDrawnAtALimitPassesAsRounded(t *testing.T) {
	// A block with a bore that lies flat, and a wall between posts, far from the origin
	// and turned.
	part := func(wall, bore float64) *mesh.Mesh {
		plate := meshtest.Map(meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{20, 20, 30}, 48, [3]float64{10, 10, bore / 2}), mesh.NewFrame(mesh.Vec{0, 1, 0}, 0, 0).Turn)
		held := meshtest.Blocks([]float64{0, 5, 35, 40}, []float64{30, 37, 37 + wall, 44}, []float64{-20, 10}, func(i, j, k int) bool { return i != 1 || j == 1 })
		return meshtest.Move(meshtest.Turn(meshtest.Join(plate, held), mesh.Vec{0, 0, 1}, 0.3), mesh.Vec{113.3, 207.7, 20})
	}
	for _, c := range []struct {
		wall, bore float64
		want       []string
	}{{0.5, 8, nil}, {0.49, 8, []string{"wall"}}, {0.5, 8.02, []string{"hole"}}} {
		b := orientBench(t, meshtest.Cube(1), "[orientation]\nup = \"+z\"\n[limits]\nwall.thickness = \"0.5 mm\"\nhole.roof = \"8 mm\"\n")
		m := part(c.wall, c.bore)
		var text strings.Builder
		text.WriteString("solid part\n")
		for _, f := range m.Facets {
			text.WriteString("facet normal 0 0 0\nouter loop\n")
			for _, v := range f {
				p := m.Verts[v]
				fmt.Fprintf(&text, "vertex %.6g %.6g %.6g\n", p[0], p[1], p[2])
			}
			text.WriteString("endloop\nendfacet\n")
		}
		text.WriteString("endsolid\n")
		if err := os.WriteFile(b.path("part.stl"), []byte(text.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		got := slices.DeleteFunc(checksOf(r), func(check string) bool { return check != "wall" && check != "hole" })
		if !slices.Equal(got, c.want) {
			t.Errorf("wall of %g, bore of %g: %v, want %v", c.wall, c.bore, got, c.want)
		}
		if off := r.Info.Source.RoundMM; math.Abs(off-5e-4) > 1e-12 {
			t.Errorf("rounded by %g mm, want 0.0005: six digits of some 200 mm", off)
		}
	}
}
