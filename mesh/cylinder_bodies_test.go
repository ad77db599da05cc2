package mesh_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Round surfaces of bodies that meet are what of them bounds their union: upright
// and turned, closed forms.
func TestCylindersOfBodies(t *testing.T) {
	plate := func(z, r float64) *mesh.Mesh {
		return meshtest.Plate(mesh.Vec{-15, -10, z}, mesh.Vec{15, 10, z + 6}, 48, [3]float64{0, 0, r})
	}
	block := func(lo, hi float64) *mesh.Mesh { return meshtest.BoxAt(mesh.Vec{-15, -10, lo}, mesh.Vec{15, 10, hi}) }
	peg := func(r, lo, hi float64) *mesh.Mesh { return meshtest.Cylinder(0, 0, r, lo, hi, 48) }
	lying := meshtest.Turn(peg(2, -15, 15), mesh.Vec{1, 0, 0}, math.Pi/2)
	for name, c := range map[string]struct {
		bodies      []*mesh.Mesh
		holes, pins []string
	}{
		"plugged":              {[]*mesh.Mesh{plate(0, 4), peg(4.5, -2, 8)}, nil, []string{"9 mm, 2 long, 1 held", "9 mm, 2 long, 1 held"}},
		"plugged halfway":      {[]*mesh.Mesh{plate(0, 4), peg(4.5, -2, 3)}, []string{"8 mm, 3 long, 1 open"}, []string{"9 mm, 2 long, 1 held"}},
		"under a lid":          {[]*mesh.Mesh{plate(0, 4), block(6, 9)}, []string{"8 mm, 6 long, 1 open"}, nil},
		"under a lid, sunk":    {[]*mesh.Mesh{plate(0, 4), block(5, 9)}, []string{"8 mm, 5 long, 1 open"}, nil},
		"post on a plate":      {[]*mesh.Mesh{block(0, 6), peg(4, 6, 18)}, nil, []string{"8 mm, 12 long, 1 held"}},
		"post sunk in a plate": {[]*mesh.Mesh{block(0, 6), peg(4, 3, 15)}, nil, []string{"8 mm, 9 long, 1 held"}},
		"strut":                {[]*mesh.Mesh{block(0, 6), block(20, 26), peg(4, 3, 22)}, nil, []string{"8 mm, 14 long, 2 held"}},
		"plates on each other": {[]*mesh.Mesh{plate(0, 4), plate(6, 4)}, []string{"8 mm, 12 long, 2 open"}, nil},
		"plates in each other": {[]*mesh.Mesh{plate(0, 4), plate(5, 4)}, []string{"8 mm, 11 long, 2 open"}, nil},
		"sleeve in a plate":    {[]*mesh.Mesh{plate(0, 4), meshtest.Tube(7, 4, 0, 12, 48)}, []string{"8 mm, 12 long, 2 open"}, []string{"14 mm, 6 long, 1 held"}},
		// Two circles of 4 and 6 mm: the saddle is sqrt(5) mm from the axis at its lowest.
		"rods that cross":        {[]*mesh.Mesh{peg(3, -15, 15), lying}, nil, []string{"4 mm, 12.8 long, 1 held", "4 mm, 12.8 long, 1 held", "6 mm, 30 long, 0 held"}},
		"rods in line":           {[]*mesh.Mesh{peg(3, 0, 10), peg(3, 10, 25)}, nil, []string{"6 mm, 25 long, 0 held"}},
		"hole in a body's inner": {[]*mesh.Mesh{plate(2, 4), block(0, 12)}, nil, nil},
	} {
		for turn, m := range []*mesh.Mesh{meshtest.Join(c.bodies...), meshtest.Single(meshtest.Turn(meshtest.Join(c.bodies...), mesh.Vec{1, 2, 3}, 0.7))} {
			found, err := mesh.MeasureCylinders(t.Context(), m)
			if err != nil {
				t.Fatal(err)
			}
			list := func(cylinders []mesh.Cylinder, ends string) (out []string) {
				for _, y := range cylinders {
					out = append(out, fmt.Sprintf("%.5g mm, %.3g long, %d %s", y.DiameterMM, y.LengthMM, y.OpenEnds, ends))
					if y.Concave && y.Through != (y.OpenEnds == 2) || !y.Concave && !(y.Solid || name == "sleeve in a plate") {
						t.Errorf("%s, turned %d: through %v, solid %v", name, turn, y.Through, y.Solid)
					}
				}
				return out
			}
			if holes, pins := list(found.Holes, "open"), list(found.Pins, "held"); !slices.Equal(holes, c.holes) || !slices.Equal(pins, c.pins) {
				t.Errorf("%s, turned %d: %q and %q, want %q and %q", name, turn, holes, pins, c.holes, c.pins)
			}
		}
	}
}
