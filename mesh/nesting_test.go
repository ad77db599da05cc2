package mesh_test

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// A facet and its back, as some exports leave on a surface, enclose nothing, whatever
// rounding makes of their volume: neither is inside out, nor a body that meets another.
func TestFacetsAndTheirBacksAreNoBodies(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	for round := range 40 {
		b := mesh.Vec{50 + r.Float64(), 20 + r.Float64(), 70 + r.Float64()}
		parts := []*mesh.Mesh{meshtest.BoxAt(mesh.Vec{}, b)}
		for range 5 {
			at := func() mesh.Vec { return mesh.Vec{b[0] * r.Float64(), b[1] * r.Float64(), b[2] + 1e-3*r.Float64()} }
			o := at()
			one := mesh.New([]mesh.Vec{o, o.Add(at().Scale(1e-5)), o.Add(at().Scale(1e-5))}, [][3]int32{{0, 1, 2}, {1, 0, 2}})
			parts = append(parts, one)
		}
		file := filepath.Join(t.TempDir(), "part.stl")
		if err := os.WriteFile(file, meshtest.BinarySTL(meshtest.Join(parts...), 1), 0o666); err != nil {
			t.Fatal(err)
		}
		m, err := mesh.Load(t.Context(), file, mesh.LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		i, err := mesh.MeasureIntegrity(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		if i.Shells < 2 || i.InvertedShells != 0 || i.TurnedShells != 0 || i.MeetingShells != 0 {
			t.Fatalf("round %d: of %d shells %d inside out, %d turned, %d meeting", round, i.Shells, i.InvertedShells, i.TurnedShells, i.MeetingShells)
		}
	}
}
