package mesh_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// This file asks independent libraries, as they are installed here, and makes
// parts by two independent modellers. Where CORBEL_ORACLES is set, as .ci/run
// does, all of them have to be there; elsewhere a test without its library is
// skipped and says so.

// missing ends the test: a program or library that it needs is not there.
func missing(t testing.TB, what, packages string) {
	t.Helper()
	if os.Getenv("CORBEL_ORACLES") != "" {
		t.Fatalf("no %s: install the Debian packages %s, or unset CORBEL_ORACLES", what, packages)
	}
	t.Skipf("no %s is installed (Debian packages %s): nothing was compared with it", what, packages)
}

// oracleTime is far more than any of these programs takes.
const oracleTime = 5 * time.Minute

// runOracle runs a program to its end and returns what it printed.
func runOracle(t testing.TB, in []byte, name string, args ...string) []byte {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), oracleTime)
	defer stop()
	cmd := exec.CommandContext(ctx, name, args...)
	var trouble bytes.Buffer
	cmd.Stdin, cmd.Stderr = bytes.NewReader(in), &trouble
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, trouble.String())
	}
	return out
}

// builtOracle compiles testdata/oracle/name.cpp against the first of the
// libraries whose header is there, and returns the program. It is kept in the
// user's cache under what it was made from, since CGAL takes half a minute.
func builtOracle(t testing.TB, name, packages string, libraries [][]string) string {
	t.Helper()
	compiler, err := exec.LookPath("g++")
	if err != nil {
		missing(t, "C++ compiler", "g++")
	}
	var flags []string
	for _, l := range libraries {
		probe := exec.Command(compiler, "-E", "-include", l[0], "-x", "c++", os.DevNull)
		if flags == nil && probe.Run() == nil {
			flags = l[1:]
		}
	}
	if flags == nil {
		missing(t, libraries[0][0], packages)
	}
	sum := sha256.New()
	sum.Write(runOracle(t, nil, compiler, "--version"))
	sum.Write([]byte(strings.Join(flags, " ")))
	for _, f := range []string{"live.h", name + ".cpp"} {
		text, err := os.ReadFile(filepath.Join("testdata/oracle", f))
		if err != nil {
			t.Fatal(err)
		}
		sum.Write(text)
	}
	dir, err := os.UserCacheDir()
	if err != nil {
		dir = t.TempDir()
	}
	dir = filepath.Join(dir, "corbel-oracles")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, fmt.Sprintf("%s-%.8x", name, sum.Sum(nil)))
	if _, err := os.Stat(program); err == nil {
		return program
	}
	part := filepath.Join(t.TempDir(), "program")
	runOracle(t, nil, compiler, append([]string{"-O1", "-DNDEBUG", filepath.Join("testdata/oracle", name+".cpp"), "-o", part}, flags...)...)
	data, err := os.ReadFile(part)
	if err != nil {
		t.Fatal(err)
	}
	// Whole or not at all, whoever else builds it.
	whole := fmt.Sprintf("%s.%d", program, os.Getpid())
	if err := os.WriteFile(whole, data, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(whole, program); err != nil {
		t.Fatal(err)
	}
	return program
}

// oracleJob is a mesh with the questions that are asked of it (testdata/oracle/live.h).
type oracleJob struct {
	name    string
	m       *mesh.Mesh
	rays    []ray
	points  []mesh.Vec
	heights []float64
	ball    mesh.Ball // its centre is the first of the points; none where walls are even, which takes long
	cuts    *mesh.Sections
}

const oracleCuts = 20

// oracleJobs are made shapes and parts of the corpus, told to single precision.
var oracleJobs = sync.OnceValues(func() ([]oracleJob, error) {
	tilt := func(m *mesh.Mesh) *mesh.Mesh { return single(tilted(m)) }
	overlapping := meshtest.Join(meshtest.Cylinder(0, 0, 3, 0, 10, 20), meshtest.BoxAt(mesh.Vec{-0.97, -6.1, 4}, mesh.Vec{1.04, 6, 7}), meshtest.Move(meshtest.Sphere(2, 12), mesh.Vec{1, 1, 10}))
	jobs := []oracleJob{
		{name: "bracket", m: tilt(bracket(12, 0))},
		{name: "gyroid", m: treeShapes[2].make()},
		{name: "shell", m: tilt(ballShell(4, 0.6, 14))},
		{name: "torus", m: tilt(meshtest.Torus(6, 2, 24, 12))},
		{name: "overlapping", m: tilt(overlapping)},
	}
	for _, f := range []string{"panel_6_holes.ply", "wing_nut.obj", "helix.stl", "bent_pipe.stl", "tube_wall_0p3.stl", "insert_base.stl", "pump_base.stl"} {
		m, err := mesh.Load(context.Background(), filepath.Join("../testdata/meshes/parts", f), mesh.LoadOptions{Unit: "mm"})
		if err != nil {
			return nil, err
		}
		jobs = append(jobs, oracleJob{name: f, m: m})
	}
	for i := range jobs {
		if err := jobs[i].ask(); err != nil {
			return nil, err
		}
	}
	return jobs, nil
})

// evenWalls are those whose largest ball is one of very many.
var evenWalls = []string{"gyroid", "shell", "bent_pipe.stl", "tube_wall_0p3.stl"}

// ask chooses the questions, and measures what they hang on.
func (j *oracleJob) ask() (err error) {
	ctx := context.Background()
	if !slices.Contains(evenWalls, j.name) {
		if j.ball, err = mesh.MeasureLargestBall(ctx, j.m); err != nil {
			return err
		}
	}
	if j.cuts, err = mesh.MeasureSections(ctx, j.m, plusZ, j.m.Box().Size()[2]/oracleCuts); err != nil {
		return err
	}
	for _, z := range j.cuts.Z {
		j.heights = append(j.heights, j.m.Box().Min[2]+z)
	}
	j.points = append(j.points, j.ball.At)
	for _, kind := range []string{"near", "anywhere"} {
		j.points = append(j.points, pointsOf(j.m, kind)[:150]...)
	}
	for _, kind := range []string{"incoherent", "inward"} {
		j.rays = append(j.rays, raysOf(j.m, kind)[:200]...)
	}
	return nil
}

func (j *oracleJob) write(b *bytes.Buffer) {
	fmt.Fprintln(b, "mesh", j.name, len(j.m.Verts), len(j.m.Facets), len(j.rays), len(j.points), len(j.heights))
	say := func(v mesh.Vec) { fmt.Fprintf(b, "%.17g %.17g %.17g\n", v[0], v[1], v[2]) }
	for _, v := range j.m.Verts {
		say(v)
	}
	for _, f := range j.m.Facets {
		fmt.Fprintln(b, f[0], f[1], f[2])
	}
	for _, r := range j.rays {
		say(r.o)
		say(r.d)
	}
	for _, p := range j.points {
		say(p)
	}
	for _, z := range j.heights {
		fmt.Fprintf(b, "%.17g\n", z)
	}
}

// oracleAnswers asks the program all jobs at once: values by mesh and quantity.
func oracleAnswers(t *testing.T, program string, jobs []oracleJob) map[string][]float64 {
	t.Helper()
	var in bytes.Buffer
	for i := range jobs {
		jobs[i].write(&in)
	}
	answers := map[string][]float64{}
	for line := range strings.Lines(string(runOracle(t, in.Bytes(), program))) {
		var name, quantity string
		var number int
		var value float64
		if _, err := fmt.Sscan(line, &name, &quantity, &number, &value); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		key := name + " " + quantity
		if number != len(answers[key]) {
			t.Fatalf("%q after %d answers", line, len(answers[key]))
		}
		answers[key] = append(answers[key], value)
	}
	return answers
}

// verdict compares values of one quantity and keeps the worst.
type verdict struct {
	t     *testing.T
	worst map[string]float64
}

func (v verdict) compare(j *oracleJob, quantity string, got, want []float64, tol float64) {
	v.t.Helper()
	if len(got) == 0 || len(got) != len(want) {
		v.t.Fatalf("%s: %d values of %s, %d of the other program", j.name, len(got), quantity, len(want))
	}
	for i, w := range want {
		off := math.Abs(got[i] - w)
		if !(off <= tol) {
			v.t.Errorf("%s: %s %d is %.15g, %.15g by the other program, within %.2g", j.name, quantity, i, got[i], w, tol)
		}
		if tol > 0 {
			v.worst[quantity] = max(v.worst[quantity], off/tol)
		}
	}
}

func (v verdict) print(who string) {
	for _, q := range []string{"area", "volume", "centroid", "ray", "near", "section", "perimeter"} {
		if w, ok := v.worst[q]; ok {
			v.t.Logf("worst: %s against %s: %.2g of the rounding allowed", q, who, w)
		}
	}
}

// rayEnds returns, across the facet that each ray hits, how far it got; -1 for a miss.
func (j *oracleJob) rayEnds() (ends []float64, steep []float64) {
	for _, r := range j.rays {
		hit, ok := j.m.BVH().Ray(r.o, r.d, 0, math.Inf(1))
		if !ok {
			ends, steep = append(ends, -1), append(steep, 1)
			continue
		}
		ends, steep = append(ends, hit.T), append(steep, r.d.Norm()*math.Abs(j.m.Normal(hit.Facet).Dot(r.d.Unit())))
	}
	return ends, steep
}

func (j *oracleJob) distances() (ds []float64) {
	for _, p := range j.points {
		n, _ := j.m.BVH().Nearest(p, math.Inf(1), nil)
		ds = append(ds, n.Dist)
	}
	return ds
}

// across scales rays' ends to distances across the facets hit, so that a graze
// counts as what it is.
func across(ends, steep []float64) []float64 {
	out := make([]float64, len(ends))
	for i, e := range ends {
		if out[i] = e * steep[i]; e < 0 {
			out[i] = -1
		}
	}
	return out
}

// TestLiveCGAL compares what is counted and summed, rays and nearest points,
// sections and the largest ball with CGAL. Both compute in double precision.
func TestLiveCGAL(t *testing.T) {
	jobs, err := oracleJobs()
	if err != nil {
		t.Fatal(err)
	}
	answers := oracleAnswers(t, builtOracle(t, "live_cgal", "libcgal-dev", [][]string{{"CGAL/version.h", "-lgmp", "-lmpfr"}}), jobs)
	v := verdict{t, map[string]float64{}}
	for i := range jobs {
		j := &jobs[i]
		of := func(quantity string) []float64 { return answers[j.name+" "+quantity] }
		reach := j.m.Box().Diagonal()
		mass, err := mesh.MeasureMass(t.Context(), j.m)
		if err != nil {
			t.Fatal(err)
		}
		sound, err := mesh.MeasureIntegrity(t.Context(), j.m)
		if err != nil {
			t.Fatal(err)
		}
		if j.name != "overlapping" { // there CGAL sums up bodies; for their union see TestUnionOfBoxes
			v.compare(j, "area", []float64{mass.AreaMM2}, of("area"), 1e-12*mass.AreaMM2)
			v.compare(j, "volume", []float64{mass.VolumeMM3}, of("volume"), 1e-12*mass.AreaMM2*reach)
			v.compare(j, "centroid", mass.Centroid[:], of("centroid"), 1e-9*reach)
		}
		v.compare(j, "pieces", []float64{float64(sound.Shells)}, of("pieces"), 0)
		v.compare(j, "intersections", []float64{float64(sound.SelfIntersections)}, of("intersections"), 0)
		ends, steep := j.rayEnds()
		v.compare(j, "ray", across(ends, steep), across(of("ray"), steep), 1e-12*reach)
		var crossed []float64
		for _, r := range j.rays {
			crossed = append(crossed, float64(len(j.m.BVH().RayAll(r.o, r.d, 0, math.Inf(1), nil))))
		}
		v.compare(j, "crossed", crossed, of("crossed"), 0)
		v.compare(j, "near", j.distances(), of("near"), 1e-12*reach)
		if j.name == "overlapping" {
			continue // there the other program sums outlines up, and takes bodies in bodies for holes
		}
		v.compare(j, "section", j.cuts.AreaMM2, of("section"), 1e-11*mass.AreaMM2)
		v.compare(j, "perimeter", j.cuts.PerimeterMM, of("perimeter"), 1e-10*mass.AreaMM2/reach)
		// The largest ball touches the surface from inside.
		if in, r := of("inside")[0], of("near")[0]; j.ball.DiameterMM > 0 && (in != 1 || math.Abs(2*r-j.ball.DiameterMM) > 1e-9*reach) {
			t.Errorf("%s: ball of %v mm; by CGAL its centre is inside (%v), and %v mm fit", j.name, j.ball.DiameterMM, in, 2*r)
		}
	}
	v.print("CGAL")
}

// TestLiveEmbree compares rays and nearest points with Embree, which computes
// in single precision.
func TestLiveEmbree(t *testing.T) {
	jobs, err := oracleJobs()
	if err != nil {
		t.Fatal(err)
	}
	answers := oracleAnswers(t, builtOracle(t, "live_embree", "libembree-dev", [][]string{{"embree4/rtcore.h", "-lembree4"}, {"embree3/rtcore.h", "-lembree3"}}), jobs)
	v := verdict{t, map[string]float64{}}
	for i := range jobs {
		j := &jobs[i]
		b := j.m.Box()
		tol := 0x1p-20 * max(b.Min.Norm(), b.Max.Norm())
		ends, steep := j.rayEnds()
		v.compare(j, "ray", across(ends, steep), across(answers[j.name+" ray"], steep), tol)
		v.compare(j, "near", j.distances(), answers[j.name+" near"], tol)
	}
	v.print("Embree")
}

// made runs a modeller and loads the STL file that it leaves.
func made(t *testing.T, program, packages string, args func(out string) []string) *mesh.Mesh {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		missing(t, program, packages)
	}
	out := filepath.Join(t.TempDir(), "made.stl")
	runOracle(t, nil, path, args(out)...)
	m, err := mesh.Load(t.Context(), out, mesh.LoadOptions{Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	i, err := mesh.MeasureIntegrity(t.Context(), m)
	if err != nil || !i.Sound() || i.SelfIntersections > 0 {
		t.Fatalf("%s made a mesh that is not sound: %+v, %v", program, i, err)
	}
	return m
}

// bands keep the worst error of each measurement, as a part of its value.
type bands struct {
	t     *testing.T
	where string
	order []string
	worst map[string]float64
}

// within notes got against lo..hi, with tol beyond either.
func (b *bands) within(name string, got, lo, hi, tol float64) {
	b.t.Helper()
	off := max(lo-got, got-hi, 0)
	if !(off <= tol) {
		b.t.Errorf("%s: %s is %.9g, want %.9g to %.9g within %.2g", b.where, name, got, lo, hi, tol)
	}
	if _, ok := b.worst[name]; !ok {
		b.order = append(b.order, name)
	}
	b.worst[name] = max(b.worst[name], off/hi)
}

func (b *bands) print(who string) {
	for _, n := range b.order {
		b.t.Logf("worst: %s, made by %s: %.2g of itself", n, who, b.worst[n])
	}
}

// hole finds the hole of the diameter that runs along the axis.
func (b *bands) hole(name string, cs *mesh.Cylinders, axis mesh.Vec, d, tol float64) {
	b.t.Helper()
	best := mesh.Cylinder{}
	for _, c := range cs.Holes {
		if math.Abs(c.DiameterMM-d) < math.Abs(best.DiameterMM-d) {
			best = c
		}
	}
	b.within(name, best.DiameterMM, d, d, tol)
	if a := math.Acos(min(1, math.Abs(best.Axis.Dot(axis.Unit())))) / degree; !(a <= 0.2) {
		b.t.Errorf("%s: %s: axis off by %.3g degrees", b.where, name, a)
	}
}

// sealedAndVented returns the sealed and the vented void of a part with one each, at most.
func sealedAndVented(t *testing.T, m *mesh.Mesh) (sealed, vented mesh.Void) {
	t.Helper()
	vs, err := mesh.MeasureVoids(t.Context(), m, mesh.VoidParams{MaxCells: 1 << 19})
	if err != nil {
		t.Fatal(err)
	}
	if len(vs.Voids) > 2 {
		t.Errorf("%d voids", len(vs.Voids))
	}
	for _, v := range vs.Voids {
		if v.Sealed {
			sealed = v
		} else {
			vented = v
		}
	}
	return sealed, vented
}

// TestLiveOpenSCAD measures blocks that OpenSCAD cuts out, whose volume, holes,
// walls, gaps and voids are known.
func TestLiveOpenSCAD(t *testing.T) {
	b := &bands{t: t, worst: map[string]float64{}}
	for _, c := range []struct {
		d, wall, gap, tilt, s float64
		n                     int
	}{{4, 0.6, 0.5, 0, 1, 24}, {3.3, 0.15, 0.12, 17, 1, 40}, {5, 1.1, 0.9, 31, 0.2, 16}, {4.4, 0.4, 0.3, 5, 12, 64}} {
		m := made(t, "openscad", "openscad", func(out string) []string {
			args := []string{"-q", "--export-format", "binstl", "-o", out}
			for name, v := range map[string]float64{"d": c.d, "n": float64(c.n), "wall": c.wall, "gap": c.gap, "tilt": c.tilt, "s": c.s} {
				args = append(args, "-D", fmt.Sprintf("%s=%.17g", name, v))
			}
			return append(args, "testdata/oracle/live.scad")
		})
		b.where = fmt.Sprintf("%+v", c)
		round := 4e-6 * m.Box().Diagonal() // text of six figures, single precision
		disc := func(d float64) float64 { return float64(c.n) / 8 * d * d * math.Sin(2*math.Pi/float64(c.n)) }
		volume := 50*30*12 - 12*disc(c.d) - 7*disc(0.7*c.d) - 8*disc(0.6*c.d) - 4*disc(1.6*c.d) -
			64*(12-c.wall) - 30*8*c.gap - 60 - 512 - 6*disc(0.5*c.d)
		mass, err := mesh.MeasureMass(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		b.within("volume", mass.VolumeMM3, volume*c.s*c.s*c.s, volume*c.s*c.s*c.s, round*mass.AreaMM2/10)

		cs, err := mesh.MeasureCylinders(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		if len(cs.Holes) != 5 || len(cs.Pins) != 0 {
			t.Errorf("%s: %d holes and %d pins, want 5 and none", b.where, len(cs.Holes), len(cs.Pins))
		}
		x, z := scadAxes(c.tilt)
		for _, h := range []struct {
			name string
			d    float64
			axis mesh.Vec
		}{{"bore", c.d, z}, {"blind bore", 0.7 * c.d, z}, {"counterbored hole", 0.6 * c.d, z}, {"counterbore", 1.6 * c.d, z}, {"vent's bore", 0.5 * c.d, x}} {
			b.hole(h.name, cs, h.axis, h.d*c.s, 4*round)
		}
		b.field("wall", mesh.MeasureThickness, m, c.s*c.wall, c.s*c.wall, 1.5*c.s*c.wall, c.s, round)
		b.field("gap", mesh.MeasureGap, m, c.s*c.gap, c.s*c.gap, 1.5*c.s*c.gap, c.s, round)
		sealed, vented := sealedAndVented(t, m)
		b.within("sealed void", sealed.VolumeMM3, 60*c.s*c.s*c.s, 60*c.s*c.s*c.s, 100*round*c.s*c.s)
		way := 0.5 * c.d * c.s * math.Cos(math.Pi/float64(c.n)) // the circle inside the polygon
		b.within("way out", vented.EscapeMM, way*0.98, way, vented.ErrMM)
	}
	b.print("OpenSCAD")
}

// scadAxes are two axes of the block after OpenSCAD's rotate([a, 2a, 3a]).
func scadAxes(a float64) (x, z mesh.Vec) {
	m := mesh.New([]mesh.Vec{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, nil)
	for k, axis := range []mesh.Vec{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}} {
		m = meshtest.Turn(m, axis, float64(k+1)*a*degree)
	}
	return m.Verts[0], m.Verts[2]
}

// field compares the least wall or gap.
func (b *bands) field(name string, work func(context.Context, *mesh.Mesh, mesh.ThicknessParams) (*mesh.ThicknessField, error), m *mesh.Mesh, lo, hi, limit, patch, round float64) {
	b.t.Helper()
	f, err := work(b.t.Context(), m, mesh.ThicknessParams{CapMM: limit, PatchMM: 0.5 * patch})
	if err != nil {
		b.t.Fatal(err)
	}
	b.within(name, f.Min, lo, hi, f.Err+round)
}

// TestLiveGmsh measures blocks that gmsh cuts and meshes, coarse and fine: its
// corners lie on the shape.
func TestLiveGmsh(t *testing.T) {
	b := &bands{t: t, worst: map[string]float64{}}
	for _, c := range []struct{ size, sides, tilt, s float64 }{{20, 14, 0, 1}, {3, 24, 0.5, 1}, {1.5, 30, 1.1, 25.4}, {6, 60, 2.3, 0.1}} {
		m := made(t, "gmsh", "gmsh", func(out string) []string {
			args := []string{"-2", "-v", "2", "-format", "stl", "-o", out}
			for name, v := range map[string]float64{"size": c.size, "sides": c.sides, "tilt": c.tilt, "s": c.s} {
				args = append(args, "-setnumber", name, fmt.Sprintf("%.17g", v))
			}
			return append(args, "testdata/oracle/live.geo")
		})
		b.where = fmt.Sprintf("%+v of %d facets", c, len(m.Facets))
		round := 4e-7 * m.Box().Diagonal()
		cs, err := mesh.MeasureCylinders(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		if len(cs.Holes) != 4 || len(cs.Pins) != 0 {
			t.Errorf("%s: %d holes and %d pins, want 4 and none", b.where, len(cs.Holes), len(cs.Pins))
		}
		turn := func(v mesh.Vec) mesh.Vec {
			return meshtest.Turn(mesh.New([]mesh.Vec{v}, nil), mesh.Vec{1, 2, 3}.Unit(), c.tilt).Verts[0]
		}
		z := turn(mesh.Vec{0, 0, 1})
		b.hole("bore", cs, z, 5*c.s, 4*round)
		b.hole("its neighbour", cs, z, 3*c.s, 4*round)
		b.hole("leaning bore", cs, turn(mesh.Vec{4, 0, 12}), 2.5*c.s, 4*round)
		b.hole("blind bore", cs, z, 1.5*c.s, 4*round)
		// Chords leave more material than circles: of both bores between them.
		chord := 4 * (1 - math.Cos(math.Pi/c.sides))
		b.field("wall between bores", mesh.MeasureThickness, m, 1.2*c.s, (1.2+chord)*c.s, 1.6*c.s, c.s, round)
		// A ball's volume from chords: at most 2 (pi/sides)^2 less, and some.
		ball := 4.0 / 3 * math.Pi * 2.5 * 2.5 * 2.5 * c.s * c.s * c.s
		sealed, _ := sealedAndVented(t, m)
		b.within("sealed ball", sealed.VolumeMM3, ball*(1-3*math.Pow(math.Pi/c.sides, 2)), ball, round*ball)
	}
	b.print("gmsh")
}

// TestLiveUnion measures bodies that run into each other, and what OpenSCAD makes
// of them: one body, which must read the same.
func TestLiveUnion(t *testing.T) {
	b := &bands{t: t, worst: map[string]float64{}}
	box := func(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
		return meshtest.BoxAt(mesh.Vec{x0, y0, z0}, mesh.Vec{x1, y1, z1})
	}
	turned := meshtest.Turn(box(-7, 0, 0, 7, 0.5, 5), mesh.Vec{0, 0, 1}, 0.4)
	pin := func(x, y, r, top float64, n int) *mesh.Mesh { return meshtest.Cylinder(x, y, r, 0, top, n) }
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		errs float64 // how many times Err gaps may differ: cuts are made off the surface
	}{
		{"a rib on a block", meshtest.Join(box(0, 0, 0, 10, 8, 4), box(2, 1, 3, 2.4, 7, 9)), 1},
		{"a fin through a block", meshtest.Join(box(0, 0, 0, 6, 8, 4), box(-3, 1.1, 1, 9, 1.5, 3)), 1},
		{"a plate on pins", meshtest.Join(box(0, 0, 4, 10, 10, 4.5), pin(2, 2, 1, 4.2, 24), pin(7, 7, 0.4, 5.2, 16), pin(7, 3, 0.4, 4.2, 16)), 1},
		{"plates that cross at 23 degrees", meshtest.Join(box(0, 0, 0, 10, 0.4, 6), turned), 4},
		{"struts of six sides", meshtest.Struts(1, 4, 0.7, 6), 1},
	} {
		text := filepath.Join(t.TempDir(), "union.scad")
		if err := os.WriteFile(text, []byte(scadUnion(c.m)), 0o600); err != nil {
			t.Fatal(err)
		}
		one := made(t, "openscad", "openscad", func(out string) []string {
			return []string{"-q", "--export-format", "binstl", "-o", out, text}
		})
		round := 4e-6 * one.Box().Diagonal() // text of six figures, single precision
		b.where = c.name
		got, want := sectionsOf(t, c.m, plusZ, 0.11), sectionsOf(t, one, plusZ, 0.11)
		for k := range want.Z {
			b.within("section", got.AreaMM2[k], want.AreaMM2[k], want.AreaMM2[k], 4*round*want.PerimeterMM[k])
			b.within("outline", got.PerimeterMM[k], want.PerimeterMM[k], want.PerimeterMM[k], 1e-3*want.PerimeterMM[k])
		}
		for name, work := range map[string]func(context.Context, *mesh.Mesh, mesh.ThicknessParams) (*mesh.ThicknessField, error){
			"wall": mesh.MeasureThickness, "gap": mesh.MeasureGap,
		} {
			b.where = c.name
			p := mesh.ThicknessParams{CapMM: 1.5, PatchMM: 0.2}
			got, err := work(t.Context(), c.m, p)
			if err != nil {
				t.Fatal(err)
			}
			want, err := work(t.Context(), one, p)
			if err != nil {
				t.Fatal(err)
			}
			times := 1.0
			if name == "gap" {
				times = c.errs
			}
			if !math.IsInf(want.Min, 1) || !math.IsInf(got.Min, 1) {
				b.within("least "+name, got.Min, want.Min, want.Min, times*got.Err+round)
			}
			limit := 0.6
			rs, ws := got.Regions(limit), want.Regions(limit)
			if len(rs) != len(ws) {
				t.Errorf("%s: %d regions of %s, want %d", c.name, len(rs), name, len(ws))
				continue
			}
			var area, of, free float64
			for i, r := range rs {
				area, of = area+r.AreaMM2, of+ws[i].AreaMM2
				if r.Free {
					free += r.AreaMM2
				}
				if ws[i].Free {
					free -= ws[i].AreaMM2
				}
			}
			if math.Abs(free) > 0.01*of+0.02 {
				t.Errorf("%s: %.3g mm2 more of free-standing %s than there are", c.name, free, name)
			}
			if of > 0 {
				// Cells are cut of other facets, and tell another extent.
				b.within("area of thin "+name, area, of, of, 0.025*of+0.02)
			}
		}
	}
	b.print("OpenSCAD")
}

// scadUnion is the text that makes one body of the shells of a mesh.
func scadUnion(m *mesh.Mesh) string {
	top := m.Topology()
	shells := make([]struct{ verts, facets strings.Builder }, top.Shells)
	number := map[int32]int{}
	count := make([]int, top.Shells)
	for f, t := range m.Facets {
		s := top.Shell[f]
		for _, v := range t {
			if _, ok := number[v]; !ok {
				number[v] = count[s]
				count[s]++
				p := m.Verts[v]
				fmt.Fprintf(&shells[s].verts, "[%.17g,%.17g,%.17g],", p[0], p[1], p[2])
			}
		}
		fmt.Fprintf(&shells[s].facets, "[%d,%d,%d],", number[t[0]], number[t[2]], number[t[1]])
	}
	var b strings.Builder
	b.WriteString("union() {\n")
	for i := range shells {
		fmt.Fprintf(&b, "polyhedron([%s], [%s]);\n", &shells[i].verts, &shells[i].facets)
	}
	return b.String() + "}\n"
}
