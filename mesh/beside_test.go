package mesh_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"testing"
	"text/tabwriter"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// This file measures speed beside general-purpose libraries: the same work on
// the same meshes, one after the other on the same machine. A library that is
// not installed is left out, and that is said.

// beside is the table that grows with every library. Speeds are in units of
// work a second; for what is told in seconds they are the inverse.
type beside struct {
	rows []string
}

// add tells one kind of work by what it took in seconds here and there.
func (t *beside) add(work, shape, who, unit string, amount, ours, theirs float64) {
	t.rows = append(t.rows, fmt.Sprintf("%s\t%s\t%s\t%s\t%.3g\t%.3g\t%.2f", work, shape, unit, who, amount/ours, amount/theirs, theirs/ours))
}

func (t *beside) print() {
	out := tabwriter.NewWriter(os.Stdout, 0, 8, 2, ' ', 0)
	fmt.Fprintln(out, "\nwork\tmesh\tunit\tlibrary\tours\ttheirs\tours over theirs")
	for _, r := range t.rows {
		fmt.Fprintln(out, r)
	}
	out.Flush()
}

// least is the least of some runs of work, by a clock.
func least(clock func() float64, work func()) float64 {
	best := math.Inf(1)
	for range 5 {
		from := clock()
		work()
		best = min(best, clock()-from)
	}
	return best
}

func wallSeconds() float64 { return time.Since(started).Seconds() }

var started = time.Now()

// numbersIn returns the numbers of every line that matches.
func numbersIn(text []byte, pattern string) (rows [][]float64) {
	for _, m := range regexp.MustCompile(pattern).FindAllSubmatch(text, -1) {
		var row []float64
		for _, s := range m[1:] {
			x, err := strconv.ParseFloat(string(s), 64)
			if err != nil {
				panic(err)
			}
			row = append(row, x)
		}
		rows = append(rows, row)
	}
	return rows
}

// besideFile writes a mesh as binary STL, once.
func besideFile(b *testing.B, dir, name string, m *mesh.Mesh) string {
	path := filepath.Join(dir, name+".stl")
	if _, err := os.Stat(path); err != nil {
		writeSTL(b, path, m)
	}
	return path
}

// BenchmarkBeside prints one table. Each figure is the best of five in one run;
// both sides take turns library by library, so that what else the machine does
// meets both. Run it with -benchtime 1x.
func BenchmarkBeside(b *testing.B) {
	mesh.HugePages(1 << 30) // as the program does; the libraries ask for them too
	var t beside
	dir := b.TempDir()
	b.Run("Embree", func(b *testing.B) { besideEmbree(b, &t, dir) })
	b.Run("VTK", func(b *testing.B) { besideVTK(b, &t, dir) })
	b.Run("CGAL", func(b *testing.B) { besideCGAL(b, &t, dir) })
	b.Run("C", func(b *testing.B) { besideC(b, &t, dir) })
	t.print()
}

// besideEmbree: rays and nearest points one by one, processor time of one thread.
func besideEmbree(b *testing.B, t *beside, dir string) {
	program := builtOracle(b, "embree", "libembree-dev", [][]string{{"embree3/rtcore.h", "-O3", "-march=native", "-lembree3"}})
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	for _, s := range treeShapes[1:] {
		if s.facets == 10_000 {
			continue
		}
		m, name := s.make(), fmt.Sprintf("%s/%d", s.name, s.facets)
		theirs := runOracle(b, nil, program, besideFile(b, dir, fmt.Sprintf("%s-%d", s.name, s.facets), m))
		m.BVH()
		for _, kind := range []string{"coherent", "incoherent", "inward"} {
			rs := raysOf(m, kind)
			ours := least(threadSeconds, func() {
				for i := range rs {
					m.BVH().Ray(rs[i].o, rs[i].d, 0, math.Inf(1))
				}
			})
			best := 0.0 // of both qualities of its tree
			for _, r := range numbersIn(theirs, `ray `+kind+` +([0-9.]+) Mray`) {
				best = max(best, r[0])
			}
			n := float64(len(rs)) / 1e6
			t.add("rays, "+kind, name, "Embree", "Mray/s", n, ours, n/best)
		}
		for _, kind := range []string{"near", "anywhere"} {
			ps := pointsOf(m, kind)
			ours := least(threadSeconds, func() {
				for _, p := range ps {
					m.BVH().Nearest(p, math.Inf(1), nil)
				}
			})
			n := float64(len(ps)) / 1e6
			t.add("nearest point, "+kind, name, "Embree", "Mquery/s", n, ours, n/numbersIn(theirs, `nearest `+kind+` +([0-9.]+) M`)[0][0])
		}
	}
}

// besideVTK: welding, and every facet's neighbours; processor time of all
// threads on our side, of its one on the other.
func besideVTK(b *testing.B, t *beside, dir string) {
	var versions [][]string
	for _, v := range []string{"9.1", "9.2", "9.3", "9.4", "9.5"} {
		l := []string{"/usr/include/vtk-" + v + "/vtkCleanPolyData.h", "-O3", "-I/usr/include/vtk-" + v}
		for _, part := range []string{"IOGeometry", "FiltersCore", "CommonDataModel", "CommonExecutionModel", "CommonCore"} {
			l = append(l, "-lvtk"+part+"-"+v)
		}
		versions = append(versions, l)
	}
	program := builtOracle(b, "vtk_weld", "libvtk9-dev", versions)
	for _, s := range treeShapes[3:] {
		name := fmt.Sprintf("%s/%d", s.name, s.facets)
		file := besideFile(b, dir, fmt.Sprintf("%s-%d", s.name, s.facets), s.make())
		theirs := [2]float64{math.Inf(1), math.Inf(1)}
		for range 3 {
			r := numbersIn(runOracle(b, nil, program, file), `weld ([0-9.]+) s, topology ([0-9.]+) s`)[0]
			theirs[0], theirs[1] = min(theirs[0], r[0]), min(theirs[1], r[1])
		}
		facets, weld, err := mesh.ReadSTLFile(b.Context(), file)
		if err != nil {
			b.Fatal(err)
		}
		var m *mesh.Mesh
		ours := least(processSeconds, func() { m, err = weld() })
		if err != nil {
			b.Fatal(err)
		}
		n := float64(facets) / 1e6
		t.add("welding", name, "VTK", "Mfacet/s", n, ours, theirs[0])
		ours = least(processSeconds, func() { _, err = mesh.NewTopology(b.Context(), m) })
		if err != nil {
			b.Fatal(err)
		}
		t.add("topology", name, "VTK", "Mfacet/s", n, ours, theirs[1])
	}
}

// besideCGAL: wall thickness beside a cone of 25 rays a facet, and 2,500 layers
// beside 100 of its slicer, its tree once and its cuts 25 times; processor time
// of all threads on our side, of its one on the other.
func besideCGAL(b *testing.B, t *beside, dir string) {
	cone := builtOracle(b, "cgal_cone", "libcgal-dev", [][]string{{"CGAL/version.h", "-O3", "-march=native", "-lgmp", "-lmpfr"}})
	slice := builtOracle(b, "cgal_slice", "libcgal-dev", [][]string{{"CGAL/version.h", "-O3", "-lgmp", "-lmpfr"}})
	for _, s := range []int{0, 3} {
		m, name := treeShapes[s].make(), fmt.Sprintf("%s/%d", treeShapes[s].name, treeShapes[s].facets)
		file := besideFile(b, dir, fmt.Sprintf("%s-%d", treeShapes[s].name, treeShapes[s].facets), m)
		theirs := numbersIn(runOracle(b, nil, cone, file), `facets ([0-9.]+) s`)[0][0]
		ours := least(processSeconds, func() {
			// A fresh mesh: its search tree, as CGAL's, is built on the way.
			if _, err := mesh.MeasureThickness(b.Context(), mesh.New(m.Verts, m.Facets), mesh.ThicknessParams{CapMM: 2, PatchMM: 1}); err != nil {
				b.Fatal(err)
			}
		})
		t.add("wall thickness", name, "CGAL, 25 rays", "Mfacet/s", float64(len(m.Facets))/1e6, ours, theirs)
	}
	ball := single(meshtest.Sphere(50, 1000))
	file := besideFile(b, dir, "ball-1000000", ball)
	r := numbersIn(runOracle(b, nil, slice, file, "100"), `tree ([0-9.]+) s, cuts ([0-9.]+) s`)[0]
	work := func() {
		if _, err := mesh.MeasureSections(b.Context(), ball, plusZ, 0.04); err != nil {
			b.Fatal(err)
		}
	}
	t.add("slicing, 2,500 layers", "ball/1000000", "CGAL", "klayer/s", 2.5, least(processSeconds, work), r[0]+25*r[1])
	t.add("the same, all cores", "ball/1000000", "CGAL", "klayer/s", 2.5, least(wallSeconds, work), r[0]+25*r[1])
}

// besideC: reading alone, by the wall clock, since it waits for pages.
func besideC(b *testing.B, t *beside, dir string) {
	program := builtOracle(b, "stl_read", "g++", [][]string{{"charconv", "-O3"}})
	m := treeShapes[4].make()
	binary := besideFile(b, dir, "gyroid-1000000", m)
	text := filepath.Join(dir, "text.stl")
	var d bytes.Buffer
	d.WriteString("solid made\n")
	for f := range m.Facets {
		p, q, r := m.Corners(int32(f))
		fmt.Fprintf(&d, "  facet normal 0 0 1\n    outer loop\n")
		for _, v := range []mesh.Vec{p, q, r} {
			fmt.Fprintf(&d, "      vertex %.6e %.6e %.6e\n", v[0], v[1], v[2])
		}
		d.WriteString("    endloop\n  endfacet\n")
	}
	d.WriteString("endsolid made\n")
	if err := os.WriteFile(text, d.Bytes(), 0o600); err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct{ work, file, who string }{{"reading binary STL", binary, "C, in bulk"}, {"reading ASCII STL", text, "C++ from_chars"}} {
		theirs := math.Inf(1)
		for range 3 {
			theirs = min(theirs, numbersIn(runOracle(b, nil, program, c.file), `facets ([0-9.]+) s`)[0][0])
		}
		ours := least(wallSeconds, func() {
			if _, _, err := mesh.ReadSTLFile(b.Context(), c.file); err != nil {
				b.Fatal(err)
			}
		})
		info, err := os.Stat(c.file)
		if err != nil {
			b.Fatal(err)
		}
		t.add(c.work, "gyroid/1000000", c.who, "MB/s", float64(info.Size())/1e6, ours, theirs)
	}
}
