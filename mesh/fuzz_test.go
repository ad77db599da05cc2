package mesh

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// fuzzRead feeds bytes to Load as a file of the kind. Whatever they are, there
// is a mesh that keeps Load's promises or one ReadError, soon.
func fuzzRead(f *testing.F, ending string) {
	files, err := filepath.Glob(filepath.Join(corpusDir, "*", "*"+ending))
	if err != nil || len(files) == 0 {
		f.Fatal("no seeds", err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		if len(data) < 20_000 {
			f.Add(data)
		}
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		file := filepath.Join(dir, "fuzz"+ending)
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		o := LoadOptions{Unit: "mm", MaxBytes: 1 << 24, MaxFacets: 100_000}
		if ending == ".3mf" {
			o.Unit = ""
		}
		m, err := Load(ctx, file, o)
		var e *ReadError
		switch {
		case ctx.Err() != nil:
			t.Fatal("too slow")
		case err == nil:
			checkMesh(t, m)
		case !errors.As(err, &e):
			t.Fatalf("not a ReadError: %v", err)
		case e.Help == "" || strings.ContainsAny(err.Error(), "\r\n") || len(e.What) > 1000:
			t.Fatalf("no good message: %q, help %q", err, e.Help)
		}
	})
}

// checkMesh holds what every mesh from Load keeps.
func checkMesh(t *testing.T, m *Mesh) {
	used := make([]bool, len(m.Verts))
	for _, c := range m.Facets {
		if isCollapsed(c) {
			t.Fatal("a collapsed facet")
		}
		for _, v := range c {
			used[v] = true // in range, or it panics
		}
	}
	for v, p := range m.Verts {
		for _, x := range p {
			if !(x >= -maxCoordMM && x <= maxCoordMM) {
				t.Fatal("a vertex at", p)
			}
		}
		if !used[v] {
			t.Fatal("an unused vertex")
		}
	}
	if len(m.Facets) == 0 || len(m.Facets)-m.mended.laid+m.mended.fins+m.collapsed+m.repeats != m.Source.Facets {
		t.Fatalf("%d facets, %d collapsed, %d repeats and %+v of %d", len(m.Facets), m.collapsed, m.repeats, m.mended, m.Source.Facets)
	}
	if len(m.Facets) < 300 {
		i, err := MeasureIntegrity(t.Context(), m)
		if err != nil || i.Shells == 0 {
			t.Fatal(i, err)
		}
		if _, err := MeasureMass(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if _, err := MeasureBox(t.Context(), m, NewFrame(Vec{1, 2, 3}, 1, 0)); err != nil {
			t.Fatal(err)
		}
	}
}

func FuzzSTL(f *testing.F) {
	f.Add(binarySTL(tetra()))
	f.Add(asciiSTL(tetra()))
	f.Add([]byte("solid a facet normal 0 0 1 outer loop vertex 1 2 3 vertex 1 2 4 vertex 1 3 3 endloop endfacet endsolid"))
	fuzzRead(f, ".stl")
}

func FuzzOBJ(f *testing.F) {
	f.Add([]byte("v 0 0 0\nv 4 0 0\nv 4 4 0\nv 1 1 0\nv 0 4 0\nf 1 2 3 4 5\nf -1/1/1 -2//2 -3\\\n -4\n"))
	fuzzRead(f, ".obj")
}

func FuzzPLY(f *testing.F) {
	f.Add([]byte("ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n4 0 1 2 3\n"))
	f.Add([]byte("ply\nformat binary_big_endian 1.0\nelement tristrips 1\nproperty list int int vertex_indices\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nend_header\n\x00\x00\x00\x03\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x02" + strings.Repeat("\x00\x00\x00\x00?\x80\x00\x00\x00\x00\x00\x00", 3)))
	fuzzRead(f, ".ply")
}

// Fuzz3MF mutates whole archives; most mutations end at a checksum, so
// Fuzz3MFModel puts mutated models into good ones.
func Fuzz3MF(f *testing.F) {
	f.Add(zip3MF(f, map[string]string{"3D/3dmodel.model": model3MFText("", `<object id="1">`+mesh3MF+`</object>`, `<item objectid="1"/>`)}))
	fuzzRead(f, ".3mf")
}

func Fuzz3MFModel(f *testing.F) {
	object := `<object id="1">` + mesh3MF + `</object>`
	f.Add(model3MFText("", object, `<item objectid="1"/>`), "")
	f.Add(model3MFText(`unit="inch"`, object+`<object id="2"><components><component objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/></components></object>`, `<item objectid="2"/>`), "")
	f.Add(model3MFText(`requiredextensions="p"`, "", `<item p:path="/3D/a.model" objectid="1"/>`), model3MFText("", object, ""))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, root, part string) {
		file := filepath.Join(dir, "fuzz.3mf")
		if err := os.WriteFile(file, zip3MF(t, map[string]string{"3D/3dmodel.model": root, "3D/a.model": part}), 0o600); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		m, err := Load(ctx, file, LoadOptions{MaxBytes: 1 << 24, MaxFacets: 100_000})
		var e *ReadError
		switch {
		case ctx.Err() != nil:
			t.Fatal("too slow")
		case err == nil:
			checkMesh(t, m)
		case !errors.As(err, &e) || e.Help == "" || strings.ContainsAny(err.Error(), "\r\n"):
			t.Fatalf("no good message: %q", err)
		}
	})
}
