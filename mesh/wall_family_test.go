package mesh_test

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// famPart is one part of a family with the least wall or gap in closed form.
type famPart struct {
	m    *mesh.Mesh
	want float64 // +Inf: none below the cap
	cap  float64
	gap  bool
}

const famPatch = 0.5 // mm, the smallest place that matters

// wallFamilies are told by closed forms on the mesh as it is.
func wallFamilies(rng *rand.Rand) []struct {
	name  string
	band  float64 // relative, beyond the field's own error
	parts []famPart
} {
	none := math.Inf(1)
	var patch, rib, tube, tee, strut, fine, shell, corner, bodies, wedges, faces, clear, crevice, rim []famPart
	for _, s := range []float64{0.1, 0.5, 3} {
		for _, t := range []float64{0.1, 0.3, 0.8} {
			x, y := 1+90*rng.Float64(), 1+90*rng.Float64()
			patch = append(patch, famPart{meshtest.Join(
				meshtest.BoxAt(mesh.Vec{}, mesh.Vec{100, 100, 5}),
				meshtest.Flip(meshtest.BoxAt(mesh.Vec{x, y, t}, mesh.Vec{x + s, y + s, 4}))), t, 0.9, false})
		}
	}
	for _, w := range []float64{0.1, 0.4} {
		for _, a := range []float64{1, 5, 15, 25} { // of a flank
			tan := math.Tan(a * degree)
			foot := w/2 + 10*tan
			rib = append(rib, famPart{meshtest.Extrude([]mesh.Vec{{-20, -5}, {20, -5}, {20, 0}, {foot, 0}, {w / 2, 10}, {-w / 2, 10}, {-foot, 0}, {-20, 0}}, nil, 0, 8), w / math.Cos(a*degree), 2, false})
		}
	}
	for _, n := range []int{8, 24, 64} {
		for _, t := range []float64{0.3, 1} {
			in, out := meshtest.Circle(0, 0, 10-t, n), meshtest.Circle(0, 0, 10, n)
			tube = append(tube, famPart{meshtest.RingPrism(out, in, 0, 6), t * math.Cos(math.Pi/float64(n)), 2, false})
			clear = append(clear, famPart{meshtest.Join(meshtest.RingPrism(meshtest.Circle(0, 0, 13, n), out, 0, 6), meshtest.Prism(in, -2, 8)), t * math.Cos(math.Pi/float64(n)), 2, true})
			shell = append(shell, famPart{ballShell(4, t, n/8+7), shellWall(4, t, n/8+7), 2, false})
		}
	}
	for _, t := range []float64{0.2, 0.6} {
		for _, steps := range []int{2, 8, 24} {
			left, right := meshtest.Arc(-t/2-2, 7, 2, 0, -90, steps), meshtest.Arc(t/2+2, 7, 2, 270, 180, steps)
			ring := append([]mesh.Vec{{-15, 5}, {-15, 0}, {15, 0}, {15, 5}}, right...)
			ring = append(ring, mesh.Vec{t / 2, 20}, mesh.Vec{-t / 2, 20})
			tee = append(tee, famPart{meshtest.Extrude(append(ring, left...), nil, 0, 6), t, 3, false})
		}
	}
	rod := func(r float64, n int) famPart {
		return famPart{meshtest.Lattice(2, 5, 3, r, 0, 0, n), 2 * r * math.Cos(math.Pi/float64(n)), 1.5, false}
	}
	strut = append(strut, rod(0.15, 8), rod(0.5, 8), rod(0.3, 10))
	fine = append(fine, rod(0.4, 24))
	for _, n := range []int{4, 5, 6, 8} { // regular prisms: corners of 90 degrees and more
		corner = append(corner, famPart{meshtest.Prism(meshtest.Circle(0, 0, 10, n), 0, 15), none, 5, false})
	}
	ell := meshtest.Extrude([]mesh.Vec{{0, 0}, {20, 0}, {20, 8}, {8, 8}, {8, 20}, {0, 20}}, nil, 0, 20)
	corner = append(corner, famPart{meshtest.Cube(20), none, 5, false}, famPart{ell, none, 5, false}, famPart{ell, none, 5, true})
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	for _, l := range []float64{0, 0.01, 0.2} { // plates of 0.4 that touch or overlap by l
		two := meshtest.Join(box(0, 0, 0, 8, 8, 0.4), box(2, 2, 0.4-l, 6, 6, 0.8-l))
		bodies = append(bodies, famPart{two, 0.4, 1, false}, famPart{two, none, 1, true})
		// Blocks run into each other: nothing is thin.
		into := meshtest.Join(box(0, 0, 0, 8, 8, 8), box(8-l, 3, 3, 12, 6, 6))
		bodies = append(bodies, famPart{into, none, 1, false}, famPart{into, none, 1, true})
		// Two half plates side by side, run together, are one plate.
		side := meshtest.Join(box(0, 0, 0, 5, 3, 0.5), box(5-l, 0, 0, 8, 3, 0.5))
		bodies = append(bodies, famPart{side, 0.5, 1, false})
	}
	// A rod through a block, and a plate laid over another entirely: 0.7 of both.
	bodies = append(bodies,
		famPart{meshtest.Join(box(0, 0, 0, 8, 8, 8), meshtest.Cylinder(4, 4, 2, -3, 11, 16)), none, 1, false},
		famPart{meshtest.Join(box(0, 0, 0, 4, 4, 0.4), box(0, 0, 0.3, 4, 4, 0.7)), 0.7, 1, false})
	for _, a := range []float64{10, 30, 45, 59} {
		w := 2 * famPatch * math.Tan(a/2*degree)
		wedges = append(wedges, famPart{wedge(a, 20), w, 2, false})
		crevice = append(crevice, famPart{notched(a), w, 2, true})
	}
	for _, g := range []float64{0.1, 0.3, 1} {
		faces = append(faces,
			famPart{meshtest.Join(meshtest.Cube(60), meshtest.Move(meshtest.Cube(60), mesh.Vec{60 + g, 7, -11})), g, 2, true},
			famPart{meshtest.Extrude([]mesh.Vec{{0, 0}, {40, 0}, {40, 30}, {20 + g, 30}, {20 + g, 5}, {20, 5}, {20, 30}, {0, 30}}, nil, 0, 10), g, 2, true},
			famPart{meshtest.Join(ballShell(12, 12-5-g, 24), meshtest.Sphere(5, 24)), shellWall(5+g, g, 24), 2, true})
	}
	for _, n := range []int{12, 72} { // a bell whose rim is a knife
		bell := meshtest.Revolve([]mesh.Vec{{28, 30}, {32, 46}, {26.5, 46}, {26, 44}}, n)
		rim = append(rim, famPart{bell, none, 1.5, true})
	}
	return []struct {
		name  string
		band  float64
		parts []famPart
	}{
		{"thin patch in a large facet", 1e-9, patch},
		{"tapered ribs, flat tips", 1e-9, rib},
		{"tubes of 8 to 64 sides", 1e-9, tube},
		{"T-junctions with fillets", 1e-9, tee},
		{"lattice struts of 8 and 10 sides", 3.3 / 64, strut},
		{"lattice struts of 24 sides", 3.3 / 576, fine},
		{"shells of balls", 1e-9, shell},
		{"corners of 90 degrees", 0, corner},
		{"bodies that touch or overlap", 1e-9, bodies},
		{"wedges", 1e-9, wedges},
		{"gaps between faces and bodies", 1e-9, faces},
		{"gaps of pins in holes", 1e-9, clear},
		{"crevices", 1e-9, crevice},
		{"knife rims, gap", 0, rim},
	}
}

// Rods and struts of few sides in one body: no thicker than across flats, or from a side to
// the corner across where sides are odd, and thinner by what ThicknessField says of them.
func TestRodsOfFewSides(t *testing.T) {
	band := func(n int) float64 {
		if thin, few := map[int]float64{4: 0, 5: 0.32, 6: 0, 7: 0.22}[n]; few {
			return thin
		}
		return 3.3 / float64(n*n)
	}
	rods := accuracy.Of("wall", "least thickness", "rods and struts of 4 to 16 sides, one body", accuracy.OfBand, 1)
	for n := 4; n <= 16; n++ {
		across := 2 * math.Cos(math.Pi/float64(n))
		if n%2 == 1 {
			across = 1 + math.Cos(math.Pi/float64(n))
		}
		for _, m := range []*mesh.Mesh{meshtest.Cylinder(0, 0, 1, 0, 20, n), meshtest.Lattice(2, 8, 4, 1, 0, 0, n)} {
			f, err := mesh.MeasureThickness(t.Context(), m, mesh.ThicknessParams{CapMM: 3, PatchMM: 0.3})
			if err != nil {
				t.Fatal(err)
			}
			thin := 1 - f.Min/across
			rods.Within(thin, 0, band(n)+1e-6)
			if thin < -1e-6 {
				t.Errorf("%d sides: %g mm, thicker than %g across", n, f.Min, across)
			}
		}
	}
	rods.Hold(t)
}

// Struts cut to needles, turned and rounded to single precision: needles have
// normals that turn any way, and must hide no edge of the round behind them.
func TestStrutsOfNeedles(t *testing.T) {
	const band = 0.02
	needles := accuracy.Of("wall", "least thickness", "struts of 16 and 24 sides cut to needles", accuracy.Share, band)
	for seed, n := range []int{16, 24} {
		rng := rand.New(rand.NewPCG(uint64(seed), 77))
		rod := meshtest.Lattice(2, 5, 3, 0.4, 0, 0, n)
		m := meshtest.Single(meshtest.Turn(slivers(rod, rng), meshtest.RandomDir(rng), 6*rng.Float64()))
		e := famError(t, m, famPart{m, 0.8 * math.Cos(math.Pi/float64(n)), 1.5, false}, 1)
		if needles.Add(e); !(e <= band) {
			t.Errorf("struts of %d sides: off by %.3g of itself", n, e)
		}
	}
	needles.Hold(t)
}

// notched is a block with a V-shaped notch of the angle.
func notched(a float64) *mesh.Mesh {
	w := 10 * math.Tan(a/2*degree)
	return meshtest.Extrude([]mesh.Vec{{-20, 0}, {20, 0}, {20, 20}, {w, 20}, {0, 10}, {-w, 20}, {-20, 20}}, nil, 0, 5)
}

// ballShell is a hollow ball, inside and outside of the same facets.
func ballShell(r, t float64, n int) *mesh.Mesh {
	return meshtest.Join(meshtest.Sphere(r, n), meshtest.Flip(meshtest.Sphere(r-t, n)))
}

// shellWall is the least distance of the planes of a ball's facets from those
// of the ball thinner by t.
func shellWall(r, t float64, n int) float64 {
	least := math.Inf(1)
	m := meshtest.Sphere(1, n)
	for f := range m.Facets {
		a, _, _ := m.Corners(int32(f))
		if m.Area(int32(f)) > 0 {
			least = min(least, t*m.Normal(int32(f)).Dot(a))
		}
	}
	return least
}

// Least walls and gaps against closed forms, over sizes and tessellations, as
// made and told in two other ways each.
func TestWallFamilies(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, fam := range wallFamilies(rng) {
		row := accuracy.Of("wall", "least thickness", fam.name, accuracy.Share, fam.band)
		if fam.parts[0].gap {
			row = accuracy.Of("gap", "least width", fam.name, accuracy.Share, fam.band)
		}
		for i, p := range fam.parts {
			for told := range 3 {
				m, how, k := p.m, "as made", 1.0
				if told > 0 {
					m, how, k = retold(p.m, rng)
				}
				e := famError(t, m, p, k)
				if !(e <= fam.band) {
					t.Errorf("%s: part %d %s: off by %.3g, band %g", fam.name, i, how, e, fam.band)
				}
				row.Add(e)
			}
		}
		row.Hold(t)
	}
}

// famError measures and returns the relative error beyond the field's own.
func famError(t *testing.T, m *mesh.Mesh, p famPart, k float64) float64 {
	t.Helper()
	work := mesh.MeasureThickness
	if p.gap {
		work = mesh.MeasureGap
	}
	f, err := work(context.Background(), m, mesh.ThicknessParams{CapMM: k * p.cap, PatchMM: k * famPatch})
	if err != nil {
		t.Fatal(err)
	}
	if math.IsInf(p.want, 1) || math.IsInf(f.Min, 1) {
		if math.IsInf(p.want, 1) && math.IsInf(f.Min, 1) {
			return 0
		}
		return math.Inf(1)
	}
	return max(0, math.Abs(f.Min/k-p.want)-f.Err/k) / p.want
}

// retold returns the same part told in another way, scaled by k.
func retold(m *mesh.Mesh, rng *rand.Rand) (out *mesh.Mesh, how string, k float64) {
	turned := func(m *mesh.Mesh) *mesh.Mesh {
		return meshtest.Move(meshtest.Turn(m, meshtest.RandomDir(rng), 6*rng.Float64()), mesh.Vec{3, -8, 5})
	}
	switch rng.IntN(8) {
	case 0:
		return turned(m), "turned", 1
	case 1:
		return meshtest.Single(turned(m)), "turned and rounded", 1
	case 2:
		return meshtest.Shuffle(m, rng), "renumbered", 1
	case 3:
		return meshtest.Mirror(m), "mirrored", 1
	case 4:
		return slivers(m, rng), "cut to needles", 1
	case 5:
		return meshtest.Single(turned(slivers(m, rng))), "cut to needles, turned and rounded", 1
	case 6:
		k = math.Pow(10, 2*rng.Float64()-1)
		return meshtest.Map(m, func(p mesh.Vec) mesh.Vec { return p.Scale(k) }), fmt.Sprintf("scaled by %.3g", k), k
	}
	return meshtest.Refine(m, 1), "refined", 1
}

// The same in any unit and format.
func TestWallFormats(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	formats := accuracy.Of("wall", "least thickness", "from STL, OBJ, 3MF in mm, in, m", accuracy.Share, 1e-9)
	units := []struct {
		name string
		mm   float64
	}{{"mm", 1}, {"in", 25.4}, {"m", 1000}}
	for i, fam := range wallFamilies(rng)[:4] {
		p := fam.parts[0]
		for k, kind := range []string{".stl", ".obj", ".3mf"} {
			unit := units[(i+k)%len(units)]
			opt := mesh.LoadOptions{Unit: unit.name}
			var data []byte
			switch kind {
			case ".stl":
				data = meshtest.BinarySTL(p.m, unit.mm)
			case ".obj":
				data = objText(p.m, unit.mm)
			case ".3mf":
				data, opt.Unit = model3MF(t, p.m, unit.mm), ""
			}
			path := filepath.Join(t.TempDir(), "a"+kind)
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			m, err := mesh.Load(context.Background(), path, opt)
			if err != nil {
				t.Fatalf("%s %s: %v", fam.name, kind, err)
			}
			e := famError(t, m, p, 1)
			if formats.Add(e); !(e <= fam.band) {
				t.Errorf("%s as %s in %s: off by %.3g", fam.name, kind, unit.name, e)
			}
		}
	}
	formats.Hold(t)
}

func objText(m *mesh.Mesh, unit float64) []byte {
	var b bytes.Buffer
	for _, v := range m.Verts {
		fmt.Fprintf(&b, "v %.17g %.17g %.17g\n", v[0]/unit, v[1]/unit, v[2]/unit)
	}
	for _, f := range m.Facets {
		fmt.Fprintf(&b, "f %d %d %d\n", f[0]+1, f[1]+1, f[2]+1)
	}
	return b.Bytes()
}

// model3MF is a 3MF package of one mesh.
func model3MF(t *testing.T, m *mesh.Mesh, unit float64) []byte {
	t.Helper()
	var b bytes.Buffer
	name := map[float64]string{1: "millimeter", 25.4: "inch", 1000: "meter"}[unit]
	fmt.Fprintf(&b, `<model unit=%q xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources><object id="1" type="model"><mesh><vertices>`, name)
	for _, v := range m.Verts {
		fmt.Fprintf(&b, `<vertex x="%.17g" y="%.17g" z="%.17g"/>`, v[0]/unit, v[1]/unit, v[2]/unit)
	}
	b.WriteString("</vertices><triangles>")
	for _, f := range m.Facets {
		fmt.Fprintf(&b, `<triangle v1="%d" v2="%d" v3="%d"/>`, f[0], f[1], f[2])
	}
	b.WriteString(`</triangles></mesh></object></resources><build><item objectid="1"/></build></model>`)
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for part, text := range map[string]string{
		"3D/3dmodel.model": b.String(),
		"_rels/.rels":      `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="a" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`,
	} {
		f, err := w.Create(part)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// Lattices are measured on few cells a facet, however many struts they have:
// time grows with them and no faster.
func TestLatticeCellsAreFew(t *testing.T) {
	cells := func(m *mesh.Mesh) float64 {
		f, err := mesh.MeasureThickness(t.Context(), m, mesh.ThicknessParams{CapMM: 3, PatchMM: 1})
		if err != nil {
			t.Fatal(err)
		}
		return float64(mesh.Cells(f)) / float64(len(m.Facets))
	}
	for k := 2; k <= 4; k += 2 {
		if n := cells(meshtest.Lattice(k, 4, 1.6, 0.5, 0, 0, 8)); !(n < 2) {
			t.Errorf("one body, %d nodes along an edge: %.1f cells a facet, want less than 2", k, n)
		}
	}
	few, many := cells(meshtest.Struts(2, 4, 0.4, 4)), cells(meshtest.Struts(3, 4, 0.4, 4))
	if !(many < 12 && many < 1.2*few) {
		t.Errorf("struts that overlap: %.1f cells a facet of 64, %.1f of 216", few, many)
	}
}
