package mesh_test

import (
	"bufio"
	"encoding/binary"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// treeDump makes TestTreeShapes write the meshes of these benchmarks for
// testdata/oracle/embree.cpp, which sends the same rays through them.
var treeDump = flag.String("treedump", "", "folder for the benchmarks' meshes as STL")

// treeShapes are a bracket, large flat facets beside fine bores and slivers,
// and a gyroid, small facets all alike and strongly curved.
var treeShapes = []struct {
	name   string
	facets int
	make   func() *mesh.Mesh
}{
	{"bracket", 15_000, sync.OnceValue(func() *mesh.Mesh { return single(bracket(32, 1)) })},
	{"bracket", 250_000, sync.OnceValue(func() *mesh.Mesh { return single(bracket(32, 3)) })},
	{"gyroid", 10_000, sync.OnceValue(func() *mesh.Mesh { return single(meshtest.Gyroid(10, 1, 1, 13)) })},
	{"gyroid", 100_000, sync.OnceValue(func() *mesh.Mesh { return single(meshtest.Gyroid(10, 1, 2, 15)) })},
	{"gyroid", 1_000_000, sync.OnceValue(func() *mesh.Mesh { return single(meshtest.Gyroid(10, 1, 3, 25)) })},
}

// bracket is a plate with 28 bores of n sides, each facet split in four.
func bracket(n, splits int) *mesh.Mesh {
	var holes [][3]float64
	for i := range 28 {
		holes = append(holes, [3]float64{8 + 12*float64(i%7), 8 + 12*float64(i/7), 0.4 + 0.15*float64(i)})
	}
	return meshtest.Refine(meshtest.Plate(mesh.Vec{}, mesh.Vec{88, 52, 6}, n, holes...), splits)
}

// single rounds vertices to single precision, as an STL file holds them.
func single(m *mesh.Mesh) *mesh.Mesh {
	verts := make([]mesh.Vec, len(m.Verts))
	for i, v := range m.Verts {
		for k, x := range v {
			verts[i][k] = float64(float32(x))
		}
	}
	return mesh.New(verts, m.Facets)
}

// mix is the generator of both programs: splitmix64 (Steele, Lea and Flood 2014).
type mix uint64

func (m *mix) next() float64 {
	*m += 0x9e3779b97f4a7c15
	z := uint64(*m)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) * 0x1p-53
}

const treeRays = 1 << 18

type ray struct{ o, d mesh.Vec }

// raysOf are the rays of one kind: coherent ones from a camera above a corner,
// incoherent ones from anywhere in the box to anywhere, inward ones from
// facets' middles against their normals.
func raysOf(m *mesh.Mesh, kind string) []ray {
	b := m.Box()
	s := b.Size()
	c := b.Min.Add(b.Max).Scale(0.5)
	rs := make([]ray, treeRays)
	gen := mix(1)
	for i := range rs {
		switch kind {
		case "coherent":
			side := int(math.Sqrt(treeRays))
			eye := c.Add(mesh.Vec{s[0], s[1], s[2]}.Scale(1.3))
			u := mesh.Vec{s[1], -s[0], 0}.Unit()
			v := u.Cross(c.Sub(eye).Unit())
			x, y := float64(i%side)/float64(side)-0.5, float64(i/side)/float64(side)-0.5
			at := c.Add(u.Scale(x * s.Norm() * 0.7)).Add(v.Scale(y * s.Norm() * 0.7))
			rs[i] = ray{eye, at.Sub(eye)}
		case "incoherent":
			o := b.Min.Add(mesh.Vec{s[0] * gen.next(), s[1] * gen.next(), s[2] * gen.next()})
			to := b.Min.Add(mesh.Vec{s[0] * gen.next(), s[1] * gen.next(), s[2] * gen.next()})
			rs[i] = ray{o, to.Sub(o)}
		case "inward":
			f := int32(float64(len(m.Facets)) * gen.next())
			n := m.Normal(f)
			rs[i] = ray{m.Centre(f).Sub(n.Scale(1e-4)), n.Scale(-1)}
		}
	}
	return rs
}

// pointsOf are query points: near the surface, or anywhere in the box.
func pointsOf(m *mesh.Mesh, kind string) []mesh.Vec {
	b := m.Box()
	s := b.Size()
	ps := make([]mesh.Vec, treeRays/8)
	gen := mix(2)
	for i := range ps {
		if kind == "near" {
			f := int32(float64(len(m.Facets)) * gen.next())
			ps[i] = m.Centre(f).Add(m.Normal(f).Scale(0.2 * gen.next()))
		} else {
			ps[i] = b.Min.Add(mesh.Vec{s[0] * gen.next(), s[1] * gen.next(), s[2] * gen.next()})
		}
	}
	return ps
}

func BenchmarkTreeBuild(b *testing.B) {
	for _, s := range treeShapes {
		b.Run(fmt.Sprintf("%s/%d", s.name, s.facets), func(b *testing.B) {
			m := s.make()
			b.ReportAllocs()
			for b.Loop() {
				if _, ok := mesh.New(m.Verts, m.Facets).BVH().Nearest(mesh.Vec{}, math.Inf(1), nil); !ok {
					b.Fatal("nothing there")
				}
			}
			perFacet(b, m)
		})
	}
}

func perFacet(b *testing.B, m *mesh.Mesh) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(m.Facets)), "ns/facet")
}

// Rays by one goroutine, in its processor time where the system tells it:
// compare with the oracle's.
func BenchmarkRay(b *testing.B) {
	for _, kind := range []string{"coherent", "incoherent", "inward"} {
		for _, s := range treeShapes {
			b.Run(fmt.Sprintf("%s/%s/%d", kind, s.name, s.facets), func(b *testing.B) {
				m := s.make()
				rs := raysOf(m, kind)
				t := m.BVH()
				hits := 0
				least := leastTime(b, func() {
					hits = 0
					for i := range rs {
						if _, ok := t.Ray(rs[i].o, rs[i].d, 0, math.Inf(1)); ok {
							hits++
						}
					}
				})
				b.ReportMetric(treeRays/least/1e6, "Mray/s")
				b.ReportMetric(float64(hits)/treeRays, "hit")
			})
		}
	}
}

func BenchmarkNearest(b *testing.B) {
	for _, kind := range []string{"near", "anywhere"} {
		for _, s := range treeShapes {
			b.Run(fmt.Sprintf("%s/%s/%d", kind, s.name, s.facets), func(b *testing.B) {
				m := s.make()
				ps := pointsOf(m, kind)
				t := m.BVH()
				sum := 0.0
				least := leastTime(b, func() {
					sum = 0
					for _, p := range ps {
						n, _ := t.Nearest(p, math.Inf(1), nil)
						sum += n.Dist
					}
				})
				b.ReportMetric(float64(len(ps))/least/1e6, "Mquery/s")
				b.ReportMetric(sum/float64(len(ps)), "mm")
			})
		}
	}
}

// leastTime runs work some times and returns the least seconds it took.
func leastTime(b *testing.B, work func()) float64 {
	b.ReportAllocs()
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	least := math.Inf(1)
	for b.Loop() {
		from := threadSeconds()
		work()
		least = min(least, threadSeconds()-from)
	}
	return least
}

// singleTol is five steps of single precision at 88 mm, the largest coordinate.
const singleTol = 5 * 0x1p-17

// TestAgainstEmbree compares with testdata/oracle/embree.csv, which was found
// in single precision: along the surface's normal it may be off by the rounding
// of the ray's origin, direction and length.
func TestAgainstEmbree(t *testing.T) {
	f, err := os.Open("testdata/oracle/embree.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 400 {
		t.Fatal(len(rows), err)
	}
	shapes := map[string]*mesh.Mesh{}
	for _, s := range treeShapes[:3] {
		shapes[fmt.Sprintf("%s-%d", s.name, s.facets)] = s.make()
	}
	rs, ps := map[string][]ray{}, map[string][]mesh.Vec{}
	var worst float64
	for _, r := range rows[1:] {
		m := shapes[r[0]]
		name := r[0] + " " + r[1]
		i, err := strconv.Atoi(r[2])
		want, err2 := strconv.ParseFloat(r[3], 64)
		if m == nil || err != nil || err2 != nil {
			t.Fatal(r)
		}
		if r[1] == "near" || r[1] == "anywhere" {
			if ps[name] == nil {
				ps[name] = pointsOf(m, r[1])
			}
			got, _ := m.BVH().Nearest(ps[name][i], math.Inf(1), nil)
			worst = max(worst, math.Abs(got.Dist-want))
			if math.Abs(got.Dist-want) > singleTol {
				t.Errorf("%s %d: nearest %v mm, want %v", name, i, got.Dist, want)
			}
			continue
		}
		if rs[name] == nil {
			rs[name] = raysOf(m, r[1])
		}
		q := rs[name][i]
		got, ok := m.BVH().Ray(q.o, q.d, 0, math.Inf(1))
		if !ok {
			got.T = -1
		}
		off := math.Abs(got.T-want) * q.d.Norm()
		if ok {
			off *= math.Abs(m.Normal(got.Facet).Dot(q.d.Unit()))
		}
		worst = max(worst, off)
		if ok != (want >= 0) || off > singleTol {
			t.Errorf("%s %d: ray to %v, want %v", name, i, got.T, want)
		}
	}
	t.Logf("%d rows, off by %.2g mm", len(rows)-1, worst)
}

// The meshes are closed, so that the benchmarks measure parts.
func TestTreeShapes(t *testing.T) {
	for _, s := range treeShapes[:3] {
		m := s.make()
		if top := m.Topology(); !top.Closed() {
			t.Errorf("%s of %d facets is not closed", s.name, len(m.Facets))
		}
		if n := float64(len(m.Facets)) / float64(s.facets); n < 0.7 || n > 1.4 {
			t.Errorf("%s: %d facets, called %d", s.name, len(m.Facets), s.facets)
		}
	}
	if *treeDump != "" {
		for _, s := range treeShapes {
			writeSTL(t, filepath.Join(*treeDump, fmt.Sprintf("%s-%d.stl", s.name, s.facets)), s.make())
		}
	}
}

func writeSTL(t testing.TB, name string, m *mesh.Mesh) {
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := bufio.NewWriter(f)
	w.Write(make([]byte, 80))
	binary.Write(w, binary.LittleEndian, uint32(len(m.Facets)))
	for i := range m.Facets {
		var r [12]float32
		a, b, c := m.Corners(int32(i))
		for j, v := range [4]mesh.Vec{m.Normal(int32(i)), a, b, c} {
			for k := range 3 {
				r[3*j+k] = float32(v[k])
			}
		}
		binary.Write(w, binary.LittleEndian, r)
		w.Write([]byte{0, 0})
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
}
