package rules

import (
	"context"
	"math"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// The roof of a tunnel carries itself as far as that of a round hole does if it is
// as round, whatever way the tunnel goes; a ceiling that is not is a bridge.
func TestArchesAreHeldToRoundHoles(t *testing.T) {
	// A tunnel along y through a block, of half the width w, h high over its walls,
	// of n sides: an ellipse where rounding is 1, flat with such corners below.
	sided := func(n int, w, h, rounding float64) *mesh.Mesh {
		var ps []mesh.Vec
		for i := -n; i <= n; i += 2 {
			s, c := math.Sincos(float64(i) / float64(n) * math.Pi / 2)
			p := mesh.Vec{w*(1-rounding)*math.Copysign(1, s) + w*rounding*s, h*(1-rounding) + h*rounding*c}
			if i == 0 {
				p[0] = 0
			}
			if len(ps) == 0 || p != ps[len(ps)-1] {
				ps = append(ps, p)
			}
		}
		ps = append(ps, mesh.Vec{w, -4}, mesh.Vec{-w, -4})
		block := meshtest.Extrude([]mesh.Vec{{-14, -8}, {14, -8}, {14, 14}, {-14, 14}}, [][]mesh.Vec{ps}, 0, 60)
		return meshtest.Map(block, mesh.NewFrame(mesh.Vec{0, 1, 0}, 0, 0).Turn)
	}
	tunnel := func(w, h, rounding float64) *mesh.Mesh { return sided(96, w, h, rounding) }
	lean := func(m *mesh.Mesh, deg float64) *mesh.Mesh {
		return meshtest.Turn(m, mesh.Vec{1, 0, 0}, deg*math.Pi/180)
	}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		word string // of the finding; "" is none
	}{
		{"round, 4 mm wide", tunnel(2, 2, 1), ""},
		{"round, 7.9 mm wide", tunnel(3.95, 3.95, 1), ""},
		{"round, 8.2 mm wide", tunnel(4.1, 4.1, 1), "Arch"},
		{"round, 7 mm wide, of 8 sides, an edge on top", sided(8, 3.5, 3.5, 1), ""},
		{"round, 7 mm wide, of 9 sides, one on top", sided(9, 3.5, 3.5, 1), ""},
		{"round, 4 mm wide, and flat from there on, 5 mm wide", meshtest.Join(tunnel(2, 2, 1), meshtest.Move(tunnel(2.5, 2, 0), mesh.Vec{0, 60, 0})), "Bridge"},
		{"pointed more than round", tunnel(3, 5, 1), ""},
		{"flatter than round", tunnel(3, 1.5, 1), "Bridge"},
		{"flat, 1.9 mm wide", tunnel(0.95, 0.95, 0), ""},
		{"flat, 2.1 mm wide", tunnel(1.05, 1.05, 0), "Bridge"},
		{"corners rounded half the way", tunnel(2, 2, 0.5), "Bridge"},
		{"corners rounded nearly to the middle", tunnel(2, 2, 0.95), ""},
		{"round, leaning by 30 degrees", lean(tunnel(3.5, 3.5, 1), 30), ""},
		{"round, leaning by 40 degrees", lean(tunnel(3.9, 3.9, 1), 40), ""},
		{"dome, 7 mm wide", meshtest.Join(meshtest.BoxAt(mesh.Vec{-10, -10, -10}, mesh.Vec{10, 10, 10}), meshtest.Flip(meshtest.Sphere(3.5, 48))), ""},
		{"dome, 9 mm wide", meshtest.Join(meshtest.BoxAt(mesh.Vec{-10, -10, -10}, mesh.Vec{10, 10, 10}), meshtest.Flip(meshtest.Sphere(4.5, 48))), "Arch"},
	} {
		b := orientBench(t, c.m, "[orientation]\nup = \"+z\"\n")
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		said := ""
		for _, f := range r.Findings {
			if f.Check == Overhang.Name && !strings.Contains(f.Message, "nothing below") && !strings.HasPrefix(f.Message, "Ledge") {
				said += f.Message
			}
		}
		if c.word == "" && said != "" || !strings.HasPrefix(said, c.word) {
			t.Errorf("%s: %q, want %q", c.name, said, c.word)
		}
	}
}

// A roof that runs into the roofs of bores is carried beyond: of elbows.scad only the
// flat ceiling needs support, however the block is moved about.
func TestRoofsThatRunIntoBores(t *testing.T) {
	m, err := mesh.Load(t.Context(), "../testdata/meshes/made/elbows.stl", mesh.LoadOptions{Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	for name, m := range map[string]*mesh.Mesh{
		"as made":  m,
		"turned":   meshtest.Turn(m, mesh.Vec{0, 0, 1}, 0.7),
		"mirrored": meshtest.Flip(meshtest.Map(m, func(p mesh.Vec) mesh.Vec { return mesh.Vec{-p[0], p[1], p[2]} })),
	} {
		b := orientBench(t, m, "[orientation]\nup = \"+z\"\n")
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		said := messagesOf(r, Overhang)
		if len(said) != 1 || !strings.HasPrefix(said[0], "Bridge lies at 0 deg, below 45 deg, and spans 6 mm, further than 2 mm for 316L, over 120 mm2 near") {
			t.Errorf("%s: %q", name, said)
		}
	}
}
