package mesh_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

func countOn(t testing.TB, m *mesh.Mesh, turn float64, p mesh.Platform, spacing, scale float64, most int) int {
	t.Helper()
	n, err := mesh.PlatformCount(context.Background(), m, mesh.NewFrame(mesh.Vec{0, 0, 1}, turn, 0), p, spacing, scale, most)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Sizes that the grid bears exactly: 192 mm in cells of 1 mm.
func TestPlatformCountClosedForms(t *testing.T) {
	square := mesh.Platform{XMM: 192, YMM: 192}
	block := meshtest.BoxAt(mesh.Vec{7, -3, 5}, mesh.Vec{29, 7, 9}) // 22 x 10
	row := accuracy.Of("platform", "parts on it", "blocks and squares, on squares and discs", accuracy.Wrong, 0)
	defer row.Hold(t)
	angle := meshtest.Extrude([]mesh.Vec{{0, 0, 0}, {40, 0, 0}, {40, 8, 0}, {8, 8, 0}, {8, 40, 0}, {0, 40, 0}}, nil, 0, 5)
	for _, c := range []struct {
		name           string
		m              *mesh.Mesh
		turn           float64
		p              mesh.Platform
		spacing, scale float64
		want           int
	}{
		{"blocks without space", block, 0, square, 0, 1, 8 * 19},
		{"blocks 2 mm apart", block, 0, square, 2, 1, 8 * 16},
		{"turned by a quarter", block, math.Pi / 2, square, 2, 1, 16 * 8},
		{"twice as large", block, 0, square, 2, 2, 4 * 8},
		{"one just fits", meshtest.Cube(192), 0, square, 5, 1, 1},
		{"one is too large", meshtest.Cube(193.5), 0, square, 5, 1, 0},
		{"a disc holds its inscribed square", meshtest.Cube(134), 0, mesh.Platform{DiameterMM: 192}, 0, 1, 1}, // 192 / sqrt 2 = 135.8
		{"and no larger one", meshtest.Cube(137), 0, mesh.Platform{DiameterMM: 192}, 0, 1, 0},
	} {
		got := countOn(t, c.m, c.turn, c.p, c.spacing, c.scale, 1000)
		row.Right(got == c.want)
		if got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
	// Angles of 40 x 40 with legs of 8 lie in each other's arms: by their boxes 16.
	if got := countOn(t, angle, 0, square, 2, 1, 1000); got < 24 || float64(got) > 192*192/(40*8+32*8.) {
		t.Errorf("angles: %d", got)
	}
	if got := countOn(t, block, 0, square, 2, 1, 5); got != 5 {
		t.Errorf("most: %d", got)
	}
}

// What is counted never lies nearer than asked: the shadow's area with half the
// space around it fits so often into the platform's, and no part is smaller in
// the count than in the world. A finer mesh of the same part counts the same.
func TestPlatformCountProperties(t *testing.T) {
	p := mesh.Platform{XMM: 200, YMM: 150}
	for _, r := range []float64{5, 9.7, 22} {
		m := meshtest.Cylinder(0, 0, r, 0, 3, 90)
		got := countOn(t, m, 0.3, p, 4, 1, 10000)
		// Discs in a plane fill at most pi / sqrt 12 of it (Fejes Toth 1940); at
		// the edge half the space may stand over.
		most := (200 + 4) * (150 + 4.) * math.Pi / math.Sqrt(12) / (math.Pi * (r + 2) * (r + 2))
		rows := math.Floor(204/(2*r+4)) * math.Floor(154/(2*r+4))
		if float64(got) > most || float64(got) < 0.8*rows {
			t.Errorf("discs of %g: %d, at most %g, in rows %g", r, got, most, rows)
		}
		if fine := countOn(t, meshtest.Refine(m, 2), 0.3, p, 4, 1, 10000); fine != got {
			t.Errorf("discs of %g: %d, refined %d", r, got, fine)
		}
	}
}

func BenchmarkPlatformCount(b *testing.B) {
	for _, n := range []int{100, 316, 1000} {
		m := meshtest.Torus(18, 6, n, n/2)
		b.Run(fmt.Sprintf("torus/%d", len(m.Facets)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				countOn(b, m, 0, mesh.Platform{XMM: 250, YMM: 250}, 3, 1, 10000)
			}
		})
	}
}
