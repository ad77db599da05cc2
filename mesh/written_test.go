package mesh_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Coordinates are rounded to single precision, or to the digits that a program wrote.
func TestWrittenDigits(t *testing.T) {
	turned := meshtest.Move(meshtest.Turn(meshtest.Sphere(20, 24), mesh.Vec{1, 2, 3}, 0.7), mesh.Vec{130, 20, 0})
	drawn := meshtest.Blocks([]float64{0, 12.5, 40.25}, []float64{0, 130.125}, []float64{0, 10}, func(i, j, k int) bool { return true })
	written := func(m *mesh.Mesh, verb string) []byte {
		var b strings.Builder
		for _, v := range m.Verts {
			fmt.Fprintf(&b, "v "+verb+" "+verb+" "+verb+"\n", v[0], v[1], v[2])
		}
		for _, f := range m.Facets {
			fmt.Fprintf(&b, "f %d %d %d\n", f[0]+1, f[1]+1, f[2]+1)
		}
		return []byte(b.String())
	}
	single := func(m *mesh.Mesh) float64 { return m.Box().Max[0] * 0x1p-24 }
	for _, c := range []struct {
		name string
		data []byte
		unit string
		want float64
	}{
		{"turned, six digits.obj", written(turned, "%.6g"), "mm", 5e-4},
		{"turned, six digits, of centimetres.obj", written(turned, "%.6g"), "cm", 5e-3},
		{"turned, five digits.obj", written(turned, "%.5g"), "mm", 5e-3},
		{"turned, seven digits.obj", written(turned, "%.6e"), "mm", 5e-5},
		{"turned, of all digits.obj", written(turned, "%.17g"), "mm", single(turned)},
		{"turned, in single precision.stl", meshtest.BinarySTL(turned, 1), "mm", single(turned)},
		{"drawn to few digits.obj", written(drawn, "%g"), "mm", 130.125 * 0x1p-24},
	} {
		path := filepath.Join(t.TempDir(), c.name)
		if err := os.WriteFile(path, c.data, 0o666); err != nil {
			t.Fatal(err)
		}
		m, err := mesh.Load(t.Context(), path, mesh.LoadOptions{Unit: c.unit})
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Source.RoundMM; math.Abs(got-c.want) > 1e-3*c.want {
			t.Errorf("%s: rounded by %g mm, want %g", c.name, got, c.want)
		}
	}
}
