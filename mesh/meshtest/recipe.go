package meshtest

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"

	"corbel/mesh"
)

// This file makes meshes from a few lines of text, so that a test archive can
// hold a part beside its spec.

// Recipe builds a mesh from text. Each line makes a shape or changes the last
// one; the shapes together are the mesh. "#" begins a comment.
//
//	box x0 y0 z0 x1 y1 z1
//	extrude z0 z1 : x y x y x y ...         a polygon raised along z
//	    : cx cy r n                         further groups of four: round holes
//	cylinder x y r z0 z1 n
//	tube ro ri z0 z1 n
//	sphere r n
//	turned half z0 z1 n : r z r z ...       a square block whose top goes on as a turned surface
//	turn ax ay az degrees                   the last shape
//	move dx dy dz                           the last shape
//	flip                                    the last shape, inside out
//	drop i                                  facet i of the last shape
//	turnfacet i                             winds facet i of the last shape the other way
//	scale f                                 the last shape
func Recipe(text string) (*mesh.Mesh, error) {
	var shapes []*mesh.Mesh
	lines := bufio.NewScanner(strings.NewReader(text))
	for n := 1; lines.Scan(); n++ {
		line, _, _ := strings.Cut(lines.Text(), "#")
		words := strings.Fields(strings.ReplaceAll(line, ":", " : "))
		if len(words) == 0 {
			continue
		}
		args, groups, err := numbers(words[1:])
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if made := shape(words[0], args, groups); made != nil {
			shapes = append(shapes, made)
			continue
		}
		if len(shapes) == 0 {
			return nil, fmt.Errorf("line %d: %q is no shape", n, words[0])
		}
		last := &shapes[len(shapes)-1]
		changed := change(*last, words[0], args)
		if changed == nil {
			return nil, fmt.Errorf("line %d: %q with %d numbers is nothing known", n, words[0], len(args))
		}
		*last = changed
	}
	return Collect(shapes), nil
}

// numbers splits the words of a line into the first group and those after colons.
func numbers(words []string) (args []float64, groups [][]float64, err error) {
	cur := &args
	for _, w := range words {
		if w == ":" {
			groups = append(groups, nil)
			cur = &groups[len(groups)-1]
			continue
		}
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			return nil, nil, fmt.Errorf("%q is no number", w)
		}
		*cur = append(*cur, v)
	}
	return args, groups, nil
}

func shape(name string, a []float64, groups [][]float64) *mesh.Mesh {
	switch {
	case name == "box" && len(a) == 6:
		return BoxAt(mesh.Vec{a[0], a[1], a[2]}, mesh.Vec{a[3], a[4], a[5]})
	case name == "extrude" && len(a) == 2 && len(groups) > 0:
		var holes [][]mesh.Vec
		for _, g := range groups[1:] {
			holes = append(holes, Circle(g[0], g[1], g[2], int(g[3])))
		}
		return Extrude(points(groups[0]), holes, a[0], a[1])
	case name == "cylinder" && len(a) == 6:
		return Cylinder(a[0], a[1], a[2], a[3], a[4], int(a[5]))
	case name == "tube" && len(a) == 5:
		return Tube(a[0], a[1], a[2], a[3], int(a[4]))
	case name == "sphere" && len(a) == 2:
		return Sphere(a[0], int(a[1]))
	case name == "turned" && len(a) == 4 && len(groups) == 1:
		return Turned(a[0], a[1], a[2], points(groups[0]), int(a[3]))
	}
	return nil
}

func points(g []float64) []mesh.Vec {
	var ps []mesh.Vec
	for i := 0; i+1 < len(g); i += 2 {
		ps = append(ps, mesh.Vec{g[i], g[i+1]})
	}
	return ps
}

func change(m *mesh.Mesh, name string, a []float64) *mesh.Mesh {
	switch {
	case name == "turn" && len(a) == 4:
		return Turn(m, mesh.Vec{a[0], a[1], a[2]}, a[3]*math.Pi/180)
	case name == "move" && len(a) == 3:
		return Move(m, mesh.Vec{a[0], a[1], a[2]})
	case name == "flip" && len(a) == 0:
		return Flip(m)
	case name == "scale" && len(a) == 1:
		return Map(m, func(p mesh.Vec) mesh.Vec { return p.Scale(a[0]) })
	case name == "drop" && len(a) == 1 && int(a[0]) < len(m.Facets):
		fs := append([][3]int32(nil), m.Facets[:int(a[0])]...)
		return mesh.New(m.Verts, append(fs, m.Facets[int(a[0])+1:]...))
	case name == "turnfacet" && len(a) == 1 && int(a[0]) < len(m.Facets):
		fs := append([][3]int32(nil), m.Facets...)
		f := &fs[int(a[0])]
		f[1], f[2] = f[2], f[1]
		return mesh.New(m.Verts, fs)
	}
	return nil
}

// Collect puts shapes side by side without making touching vertices one.
func Collect(shapes []*mesh.Mesh) *mesh.Mesh {
	var verts []mesh.Vec
	var facets [][3]int32
	for _, m := range shapes {
		base := int32(len(verts))
		verts = append(verts, m.Verts...)
		for _, f := range m.Facets {
			facets = append(facets, [3]int32{f[0] + base, f[1] + base, f[2] + base})
		}
	}
	return mesh.New(verts, facets)
}

// BinarySTL is the mesh as the bytes of a binary STL file, numbers divided by
// unitMM.
func BinarySTL(m *mesh.Mesh, unitMM float64) []byte {
	out := make([]byte, 80, 84+50*len(m.Facets))
	out = binary.LittleEndian.AppendUint32(out, uint32(len(m.Facets)))
	for f := range m.Facets {
		a, b, c := m.Corners(int32(f))
		for _, v := range []mesh.Vec{m.Normal(int32(f)), a.Scale(1 / unitMM), b.Scale(1 / unitMM), c.Scale(1 / unitMM)} {
			for _, x := range v {
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(x)))
			}
		}
		out = append(out, 0, 0)
	}
	return out
}
