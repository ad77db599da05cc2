package mesh_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Boxes at whole millimetres, that run into each other, touch and share faces any
// way: volume and area of their union are counted cell by cell.
func TestUnionOfBoxes(t *testing.T) {
	const size = 6
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 1))
		var solid [size + 2][size + 2][size + 2]bool // a layer of air around
		var parts []*mesh.Mesh
		for range 2 + r.IntN(4) {
			var lo, hi [3]int
			for k := range 3 {
				lo[k] = r.IntN(size - 1)
				hi[k] = lo[k] + 1 + r.IntN(size-lo[k])
			}
			if slices.ContainsFunc(parts, func(p *mesh.Mesh) bool { return nested(p.Box(), lo, hi) }) {
				continue
			}
			parts = append(parts, meshtest.BoxAt(mesh.Vec{float64(lo[0]), float64(lo[1]), float64(lo[2])}, mesh.Vec{float64(hi[0]), float64(hi[1]), float64(hi[2])}))
			for i := lo[0]; i < hi[0]; i++ {
				for j := lo[1]; j < hi[1]; j++ {
					for k := lo[2]; k < hi[2]; k++ {
						solid[i+1][j+1][k+1] = true
					}
				}
			}
		}
		volume, area := 0.0, 0.0
		for i := 1; i <= size; i++ {
			for j := 1; j <= size; j++ {
				for k := 1; k <= size; k++ {
					if !solid[i][j][k] {
						continue
					}
					volume++
					for _, beside := range [6]bool{solid[i-1][j][k], solid[i+1][j][k], solid[i][j-1][k], solid[i][j+1][k], solid[i][j][k-1], solid[i][j][k+1]} {
						if !beside {
							area++
						}
					}
				}
			}
		}
		m := meshtest.Collect(parts)
		if seed%2 == 1 {
			m = meshtest.Turn(m, meshtest.RandomDir(r), 6*r.Float64())
		}
		got, err := mesh.MeasureMass(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.VolumeMM3-volume) > 1e-4*volume || math.Abs(got.AreaMM2-area) > 1e-4*area {
			t.Errorf("seed %d, %d boxes: %v mm3, %v mm2; want %v, %v", seed, len(parts), got.VolumeMM3, got.AreaMM2, volume, area)
		}
	}
}

// A pin that stands on a slanted bar, its foot in the bar, lies in the bar's box
// but not in the bar: it is no void, and adds what stands out.
func TestPinOnASlantedBar(t *testing.T) {
	bar := meshtest.BoxAt(mesh.Vec{-20, -2, -2}, mesh.Vec{20, 2, 2})
	pin := meshtest.BoxAt(mesh.Vec{-1, -1, 0}, mesh.Vec{1, 1, 5})
	m := meshtest.Turn(meshtest.Collect([]*mesh.Mesh{bar, pin}), mesh.Vec{1, 1, 0}, math.Pi/4)
	i, err := mesh.MeasureIntegrity(t.Context(), m)
	if err != nil || i.InvertedShells != 0 {
		t.Errorf("%d shells turned inside out, want none (%v)", i.InvertedShells, err)
	}
	if got, err := mesh.MeasureMass(t.Context(), m); err != nil || math.Abs(got.VolumeMM3-(40*4*4+2*2*3)) > 1e-3 {
		t.Errorf("%v mm3, want 652 (%v)", got.VolumeMM3, err)
	}
}

// nested reports whether one of two boxes lies in the other: what is drawn so
// is a body with a void.
func nested(b mesh.Box, lo, hi [3]int) bool {
	in, out := true, true
	for k := range 3 {
		in = in && float64(lo[k]) >= b.Min[k] && float64(hi[k]) <= b.Max[k]
		out = out && float64(lo[k]) <= b.Min[k] && float64(hi[k]) >= b.Max[k]
	}
	return in || out
}

// Where three bodies meet in a point their surface tapers to it, and no wall ends
// there: struts read what they do once OpenSCAD has made one body of them.
func TestTipsWhereBodiesMeet(t *testing.T) {
	for _, c := range []struct{ r, n, want float64 }{{0.4, 4, 0.200417}, {0.3, 4, 0.150314}, {0.4, 6, 0.062420}, {0.7, 6, 0.109234}} {
		f, err := mesh.MeasureThickness(t.Context(), meshtest.Struts(1, 4, c.r, int(c.n)), mesh.ThicknessParams{CapMM: 2, PatchMM: 1})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(f.Min-c.want) > 2*f.Err+1e-6 {
			t.Errorf("struts of %v sides, radius %v: %v mm at %v, want %v", c.n, c.r, f.Min, f.MinAt, c.want)
		}
	}
}
