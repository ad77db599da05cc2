package mesh

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"corbel/mesh/meshtest/accuracy"
)

// oracle reads a table of figures from another program: column by file and name.
func oracle(t testing.TB, name string) map[string]map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata/oracle", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 20 {
		t.Fatal(len(rows), err)
	}
	table := map[string]map[string]string{}
	for _, r := range rows[1:] {
		table[r[0]] = map[string]string{}
		for i, c := range rows[0] {
			table[r[0]][c] = r[i]
		}
	}
	return table
}

// loadAsIs reads a file of the corpus without mending cracks.
func loadAsIs(t testing.TB, name string) *Mesh {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(corpusDir, name))
	if err != nil {
		t.Fatal(err)
	}
	in := &input{file: name, data: data, max: LoadOptions{}.WithDefaults()}
	read, err := in.reader()
	if err != nil {
		t.Fatal(err)
	}
	r, err := read(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	m, err := build(t.Context(), r, 1)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func nearCell(t *testing.T, what string, got float64, cell string, tol float64) {
	t.Helper()
	if cell == "" {
		return
	}
	if want, err := strconv.ParseFloat(cell, 64); err != nil || !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.15g, want %s within %.2g", what, got, cell, tol)
	}
}

// TestAgainstCGAL compares with testdata/oracle/cgal.csv. Both programs sum in
// double precision, CGAL without compensation and from the file's own origin.
func TestAgainstCGAL(t *testing.T) {
	sums := accuracy.Of("mass", "volume and area", "meshes of others, as CGAL has them", accuracy.OfBand, 1)
	right := accuracy.Of("integrity", "facets, pieces, intersections", "meshes of others, as CGAL has them", accuracy.Wrong, 0)
	defer func() { sums.Hold(t); right.Hold(t) }()
	number := func(cell string) float64 { x, _ := strconv.ParseFloat(cell, 64); return x }
	for name, want := range oracle(t, "cgal.csv") {
		m := loadAsIs(t, name)
		mass, err := MeasureMass(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		i, err := MeasureIntegrity(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		flat := 0
		for f := range m.Facets {
			if a, b, c := m.Corners(int32(f)); !hasArea(a, b, c) {
				flat++
			}
		}
		reach, tol := m.Box().Diagonal(), 1e-12
		if name == "parts/feature_block.ply" {
			tol = 1e-8 // text declared as float, which CGAL rounds to single precision
		}
		area := areaAsIs(t, m, mass)
		sums.Within(area, number(want["area"]), tol*area)
		if want["volume"] != "" {
			sums.Within(mass.VolumeMM3, number(want["volume"]), tol*mass.AreaMM2*reach)
		}
		right.Right(len(m.Facets)-flat == int(number(want["facets"])))
		if want["pieces"] != "" {
			right.Right(i.Shells == int(number(want["pieces"])))
		}
		if want["intersections"] != "-1" {
			right.Right(i.SelfIntersections == int(number(want["intersections"])))
		}
		nearCell(t, name+": facets with an area", float64(len(m.Facets)-flat), want["facets"], 0)
		nearCell(t, name+": area", area, want["area"], tol*area)
		nearCell(t, name+": volume", mass.VolumeMM3, want["volume"], tol*mass.AreaMM2*reach)
		for k, c := range []string{"x", "y", "z"} {
			nearCell(t, name+": centroid "+c, mass.Centroid[k], want[c], 1e-9*reach)
		}
		nearCell(t, name+": pieces", float64(i.Shells), want["pieces"], 0)
		if want["intersections"] != "-1" {
			nearCell(t, name+": intersections", float64(i.SelfIntersections), want["intersections"], 0)
		}
	}
}

// areaAsIs is the area of all facets, which mass has unless bodies meet: then it is
// that of their skin.
func areaAsIs(t *testing.T, m *Mesh, mass Mass) float64 {
	skin, err := m.united(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if skin.of == nil {
		return mass.AreaMM2
	}
	var s sum
	for f := range m.Facets {
		s.add(m.Area(int32(f)))
	}
	return s.value()
}

// TestAgainstVTK compares with testdata/oracle/vtk.csv; VTK keeps coordinates in
// single precision, and its volume is a weighted mean of three.
func TestAgainstVTK(t *testing.T) {
	for name, want := range oracle(t, "vtk.csv") {
		m := loadAsIs(t, name)
		mass, err := MeasureMass(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		top := m.Topology()
		nearCell(t, name+": facets", float64(len(m.Facets)), want["facets"], 0)
		nearCell(t, name+": open edges", float64(top.OpenEdges), want["open"], 0)
		nearCell(t, name+": non-manifold edges", float64(top.NonmanifoldEdges), want["nonmanifold"], 0)
		nearCell(t, name+": area", areaAsIs(t, m, mass), want["area"], 2e-7*mass.AreaMM2)
		if top.FlippedEdges == 0 {
			nearCell(t, name+": volume", mass.VolumeMM3, want["volume"], 1e-6*mass.AreaMM2*m.Box().Diagonal())
		}
	}
}
