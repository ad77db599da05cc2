package lsp

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// plateText is the spec of a small plate with a hole: a thin wall, and a shop
// with layers of limits.
const plateText = `schema   = 1
part     = "Plate"
process  = "PBF-LB/M"
material = "AlSi10Mg"
machine  = "bay 2"

[mesh]
file  = "plate.obj"
units = "mm"

[orientation]
up = "+y"

[[hole]]
name     = "dowel"
at       = [10, 6, 0.2]
diameter = "4 mm"

[budget]
cost = 400
mass = "300 g"
`

// workspace makes a folder with the demo's shop file, a plate of 20 x 12 x 0.4
// mm with a hole of 4 mm, and the plate's spec, whose path it returns. The mesh
// is measured in milliseconds.
func workspace(t testing.TB) (path string) {
	t.Helper()
	dir := t.TempDir()
	shop, err := os.ReadFile(filepath.Join(demo, "shop.toml"))
	if err != nil {
		t.Fatal(err)
	}
	plate := meshtest.Plate(mesh.Vec{0, 0, 0}, mesh.Vec{20, 12, 0.4}, 24, [3]float64{10, 6, 2})
	path = filepath.Join(dir, "plate.part.toml")
	for name, text := range map[string][]byte{"shop.toml": shop, "plate.obj": obj(plate), "plate.part.toml": []byte(plateText)} {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			t.Fatal(err)
		}
		// A file that was written just now is not trusted to stay as it is.
		if old := time.Now().Add(-time.Hour); os.Chtimes(filepath.Join(dir, name), old, old) != nil {
			t.Fatal("the time of a file can't be set")
		}
	}
	return path
}

// obj writes a mesh as an OBJ file.
func obj(m *mesh.Mesh) []byte {
	var b bytes.Buffer
	for _, v := range m.Verts {
		fmt.Fprintf(&b, "v %v %v %v\n", v[0], v[1], v[2])
	}
	for _, f := range m.Facets {
		fmt.Fprintf(&b, "f %d %d %d\n", f[0]+1, f[1]+1, f[2]+1)
	}
	return b.Bytes()
}
