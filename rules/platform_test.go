package rules

import (
	"context"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// Parts that fit in no row along the sides: a bar of 100 x 10 on a square of 90,
// whose diagonal is 127, a disc as wide as a round platform, and a bar too long
// for the diagonal; a bar that has room for two beside each other.
func TestPartsAcrossThePlatform(t *testing.T) {
	square, round := mesh.Platform{XMM: 90, YMM: 90}, mesh.Platform{DiameterMM: 100}
	for _, c := range []struct {
		name  string
		m     *mesh.Mesh
		l     plating
		want  int
		atAll bool // want or more
	}{
		{"bar across", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{100, 10, 5}), plating{square, 30, 1}, 1, false},
		{"bars across", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{95, 3, 5}), plating{square, 2, 1}, 2, true},
		{"bar too long", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{125, 10, 5}), plating{square, 2, 1}, 0, false},
		{"bar grown too long", meshtest.BoxAt(mesh.Vec{}, mesh.Vec{100, 10, 5}), plating{square, 2, 1.25}, 0, false},
		{"round on round", meshtest.Cylinder(3, -7, 50, 0, 5, 90), plating{round, 2, 1}, 1, false},
		{"too wide", meshtest.Cylinder(3, -7, 51, 0, 5, 90), plating{round, 2, 1}, 0, false},
	} {
		for _, turn := range []float64{0, 0.3} {
			f := mesh.NewFrame(mesh.Vec{0, 0, 1}, turn, 0)
			box, err := mesh.MeasureBox(context.Background(), c.m, f)
			if err != nil {
				t.Fatal(err)
			}
			got, err := c.l.count(context.Background(), c.m, f, &box)
			if err != nil || got != c.want && !(c.atAll && got > c.want) {
				t.Errorf("%s, turned by %g: %d, want %d (%v)", c.name, turn, got, c.want, err)
			}
		}
	}
}
