package mesh

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"github.com/hschendel/stl"
)

// TestSTLAgainstLibrary reads with the library alone what it can read, and
// compares facet by facet.
func TestSTLAgainstLibrary(t *testing.T) {
	compared := 0
	for _, c := range corpus(t) {
		if !strings.HasSuffix(c.name, ".stl") || corpusRefused[c.name] != "" {
			continue
		}
		want, err := stl.ReadFile(filepath.Join(corpusDir, c.name))
		if err != nil || len(want.Triangles) != c.triangles {
			continue // what it can't read, or reads in part
		}
		compared++
		m := loadAsIs(t, c.name)
		f := 0
		for i, tri := range want.Triangles {
			v := tri.Vertices
			if v[0] == v[1] || v[1] == v[2] || v[2] == v[0] {
				continue
			}
			p, q, r := m.Corners(int32(f))
			f++
			for k, p := range []Vec{p, q, r} {
				if got := (stl.Vec3{float32(p[0]), float32(p[1]), float32(p[2])}); got != v[k] {
					t.Fatalf("%s: corner %d of facet %d is %v, want %v", c.name, k, i, got, v[k])
				}
			}
		}
		if f != len(m.Facets) {
			t.Errorf("%s: %d facets, want %d", c.name, len(m.Facets), f)
		}
	}
	if compared < 15 {
		t.Errorf("only %d files were compared", compared)
	}
	// And what it writes, in both forms.
	solid := &stl.Solid{Name: "made"}
	m := wavy(2000)
	for f := range m.Facets {
		a, b, c := m.Corners(int32(f))
		var tri stl.Triangle
		for i, p := range []Vec{a, b, c} {
			tri.Vertices[i] = stl.Vec3{float32(p[0]), float32(p[1]), float32(p[2])}
		}
		solid.AppendTriangle(tri)
	}
	for _, ascii := range []bool{false, true} {
		solid.SetASCII(ascii)
		var b bytes.Buffer
		if err := solid.WriteAll(&b); err != nil {
			t.Fatal(err)
		}
		got, err := readBytes(t, "a.stl", b.Bytes(), LoadOptions{})
		if err != nil || len(got.Facets) != len(m.Facets) || len(got.Verts) != len(m.Verts) || !got.Topology().Closed() {
			t.Errorf("ascii %v: %v", ascii, err)
		}
	}
}
