package mesh

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// wavy is a closed block with a wavy top: about n facets with vertices of six
// facets, as a CAD export of a curved face has.
func wavy(n int) *Mesh {
	k := int(math.Sqrt(float64(n) / 4))
	at := func(i, j int, top bool) int32 {
		v := int32(i*(k+1) + j)
		if top {
			v += int32((k + 1) * (k + 1))
		}
		return v
	}
	var vs []Vec
	for _, top := range []float64{0, 1} {
		for i := range k + 1 {
			for j := range k + 1 {
				x, y := 100*float64(i)/float64(k), 100*float64(j)/float64(k)
				vs = append(vs, Vec{x, y, top * (10 + math.Sin(x)*math.Cos(y))})
			}
		}
	}
	var fs [][3]int32
	quad := func(a, b, c, d int32) { fs = append(fs, [3]int32{a, b, c}, [3]int32{a, c, d}) }
	for i := range k {
		for j := range k {
			quad(at(i, j, true), at(i+1, j, true), at(i+1, j+1, true), at(i, j+1, true))
			quad(at(i, j, false), at(i, j+1, false), at(i+1, j+1, false), at(i+1, j, false))
		}
		quad(at(i, 0, false), at(i+1, 0, false), at(i+1, 0, true), at(i, 0, true))
		quad(at(i+1, k, false), at(i, k, false), at(i, k, true), at(i+1, k, true))
		quad(at(0, i+1, false), at(0, i, false), at(0, i, true), at(0, i+1, true))
		quad(at(k, i, false), at(k, i+1, false), at(k, i+1, true), at(k, i, true))
	}
	return New(vs, fs)
}

func binarySTL(m *Mesh) []byte {
	d := make([]byte, stlHead, stlHead+stlFacet*len(m.Facets))
	binary.LittleEndian.PutUint32(d[80:], uint32(len(m.Facets)))
	for f := range m.Facets {
		a, b, c := m.Corners(int32(f))
		for _, p := range []Vec{{}, a, b, c} {
			for _, x := range p {
				d = binary.LittleEndian.AppendUint32(d, math.Float32bits(float32(x)))
			}
		}
		d = append(d, 0, 0)
	}
	return d
}

func asciiSTL(m *Mesh) []byte {
	d := []byte("solid made\n")
	for f := range m.Facets {
		a, b, c := m.Corners(int32(f))
		d = fmt.Appendf(d, "  facet normal 0 0 1\n    outer loop\n")
		for _, p := range []Vec{a, b, c} {
			d = fmt.Appendf(d, "      vertex %.6e %.6e %.6e\n", p[0], p[1], p[2])
		}
		d = fmt.Appendf(d, "    endloop\n  endfacet\n")
	}
	return append(d, "endsolid made\n"...)
}

var benchSizes = []int{10_000, 100_000, 1_000_000}

func benchRead(b *testing.B, ending string, write func(*Mesh) []byte) {
	for _, n := range benchSizes {
		b.Run(fmt.Sprintf("wavy/%d", n), func(b *testing.B) {
			m := wavy(n)
			data := write(m)
			in := &input{file: "a" + ending, data: data, max: LoadOptions{}.WithDefaults()}
			read, err := in.reader()
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				r, err := read(b.Context(), in)
				if err != nil || r.facets != len(m.Facets) {
					b.Fatal(err, r)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Facets)), "ns/facet")
		})
	}
}

func writeOBJ(m *Mesh) []byte {
	var d []byte
	for _, v := range m.Verts {
		d = fmt.Appendf(d, "v %.6f %.6f %.6f\n", v[0], v[1], v[2])
	}
	for _, f := range m.Facets {
		d = fmt.Appendf(d, "f %d %d %d\n", f[0]+1, f[1]+1, f[2]+1)
	}
	return d
}

func binaryPLY(m *Mesh) []byte {
	d := fmt.Appendf(nil, "ply\nformat binary_little_endian 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nelement face %d\nproperty list uchar int vertex_indices\nend_header\n", len(m.Verts), len(m.Facets))
	for _, v := range m.Verts {
		for _, x := range v {
			d = binary.LittleEndian.AppendUint32(d, math.Float32bits(float32(x)))
		}
	}
	for _, f := range m.Facets {
		d = append(d, 3)
		for _, v := range f {
			d = binary.LittleEndian.AppendUint32(d, uint32(v))
		}
	}
	return d
}

func archive3MFOf(m *Mesh) []byte {
	d := []byte("<model xmlns=\"" + ns3MF + "\"><resources><object id=\"1\"><mesh><vertices>\n")
	for _, v := range m.Verts {
		d = fmt.Appendf(d, "<vertex x=\"%.6f\" y=\"%.6f\" z=\"%.6f\"/>\n", v[0], v[1], v[2])
	}
	d = append(d, "</vertices><triangles>\n"...)
	for _, f := range m.Facets {
		d = fmt.Appendf(d, "<triangle v1=\"%d\" v2=\"%d\" v3=\"%d\"/>\n", f[0], f[1], f[2])
	}
	d = append(d, "</triangles></mesh></object></resources><build><item objectid=\"1\"/></build></model>"...)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	f, _ := w.Create("3D/3dmodel.model")
	_, _ = f.Write(d)
	_ = w.Close()
	return b.Bytes()
}

func BenchmarkReadOBJ(b *testing.B)      { benchRead(b, ".obj", writeOBJ) }
func BenchmarkReadPLY(b *testing.B)      { benchRead(b, ".ply", binaryPLY) }
func BenchmarkRead3MF(b *testing.B)      { benchRead(b, ".3mf", archive3MFOf) }
func BenchmarkReadSTL(b *testing.B)      { benchRead(b, ".stl", binarySTL) }
func BenchmarkReadSTLASCII(b *testing.B) { benchRead(b, ".stl", asciiSTL) }

// BenchmarkLoad is the whole way from a file to a welded mesh.
func BenchmarkLoad(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(fmt.Sprintf("wavy/%d", n), func(b *testing.B) {
			m := wavy(n)
			file := filepath.Join(b.TempDir(), "a.stl")
			if err := os.WriteFile(file, binarySTL(m), 0o600); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				got, err := Load(b.Context(), file, LoadOptions{Unit: "mm"})
				if err != nil || len(got.Facets) != len(m.Facets) {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Facets)), "ns/facet")
		})
	}
}

func BenchmarkWeld(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(fmt.Sprintf("wavy/%d", n), func(b *testing.B) {
			m := wavy(n)
			in := &input{file: "a.stl", data: binarySTL(m), max: LoadOptions{}.WithDefaults()}
			r, err := readSTL(b.Context(), in)
			if err != nil {
				b.Fatal(err)
			}
			bodies := r.bodies
			b.ReportAllocs()
			for b.Loop() {
				r.bodies = append([]body(nil), bodies...)
				got, err := build(b.Context(), r, 1)
				if err != nil || len(got.Verts) != len(m.Verts) {
					b.Fatal(err, len(got.Verts), len(m.Verts))
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Facets)), "ns/facet")
		})
	}
}

func BenchmarkTopology(b *testing.B) {
	for _, n := range benchSizes {
		b.Run(fmt.Sprintf("wavy/%d", n), func(b *testing.B) {
			m := wavy(n)
			b.ReportAllocs()
			for b.Loop() {
				if t, err := newTopology(b.Context(), m); err != nil || !t.Closed() || t.Shells != 1 {
					b.Fatal("not one closed shell")
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Facets)), "ns/facet")
		})
	}
}
