package mesh

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// readBytes loads bytes as if from a file.
func readBytes(t testing.TB, name string, data []byte, o LoadOptions) (*Mesh, error) {
	t.Helper()
	if o.Unit == "" && !strings.HasSuffix(name, ".3mf") {
		o.Unit = "mm"
	}
	return Load(t.Context(), put(t, name, data), o)
}

// refused checks that reading ends in a ReadError that names the file, says
// what is asked and gives help, in one line.
func refused(t testing.TB, name string, data []byte, o LoadOptions, says string) {
	t.Helper()
	_, err := readBytes(t, name, data, o)
	var e *ReadError
	if !errors.As(err, &e) {
		t.Errorf("%s: got %v, want a ReadError about %q", says, err, says)
		return
	}
	if !strings.Contains(e.What, says) || e.Help == "" || !strings.Contains(err.Error(), e.File) {
		t.Errorf("got %q with help %q, want something about %q", err, e.Help, says)
	}
	if len(e.What) > 400 || strings.ContainsAny(err.Error(), "\n\r\x00") {
		t.Errorf("the message is no line to show: %q", err)
	}
}

// tetra is a small closed mesh.
func tetra() *Mesh {
	return New([]Vec{{0, 0, 0}, {10, 0, 0}, {0, 10, 0}, {0, 0, 10}}, [][3]int32{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}})
}

func edited(data []byte, at int, with ...byte) []byte {
	d := bytes.Clone(data)
	copy(d[at:], with)
	return d
}

func TestBadBinarySTL(t *testing.T) {
	good := binarySTL(tetra())
	count := func(n uint32) []byte { return edited(good, 80, binary.LittleEndian.AppendUint32(nil, n)...) }
	float := func(facet, corner, axis int, x float64) []byte {
		return edited(good, stlHead+stlFacet*facet+12*(corner+1)+4*axis, binary.LittleEndian.AppendUint32(nil, math.Float32bits(float32(x)))...)
	}
	refused(t, "a.stl", count(4294967295), LoadOptions{}, "promises 4294967295 facets (214748364834 bytes), but the file ends after 284 bytes, after facet 4")
	refused(t, "a.stl", good[:stlHead+stlFacet*3+7], LoadOptions{}, "the file ends after 241 bytes, within facet 4")
	refused(t, "a.stl", count(2), LoadOptions{}, "says 2 facets, but 100 bytes follow them, room for 2 more")
	refused(t, "a.stl", count(0), LoadOptions{}, "says 0 facets, but 200 bytes follow them")
	refused(t, "a.stl", append(bytes.Clone(good), make([]byte, 75)...), LoadOptions{}, "says 4 facets, but 75 bytes follow")
	refused(t, "a.stl", float(2, 1, 0, math.NaN()), LoadOptions{}, "facet 3 of 4 has a corner at (NaN, 10, 0)")
	refused(t, "a.stl", float(3, 2, 2, math.Inf(-1)), LoadOptions{}, "facet 4 of 4 has a corner at (0, 0, -Inf)")
	refused(t, "a.stl", float(3, 2, 2, 3e38), LoadOptions{}, "further than 1e+09 mm")
	refused(t, "a.stl", good[:60], LoadOptions{}, "it has 60 bytes")
	refused(t, "a.stl", []byte("solid x"), LoadOptions{}, "holds no facets")
	refused(t, "a.stl", append([]byte("solid of an exporter that writes so\x00"), good[36:200]...), LoadOptions{}, "promises 4 facets")
	refused(t, "a.stl", good, LoadOptions{MaxFacets: 3}, "holds 4 facets or more, and 3 are allowed")
	refused(t, "a.stl", good, LoadOptions{MaxBytes: 283}, "284 bytes, and 283 are allowed")
	refused(t, "a.stl", []byte(strings.Repeat("a poem, a poem, a poem\n", 20)), LoadOptions{}, "neither binary STL")

	for name, data := range map[string][]byte{
		"one byte too many": append(bytes.Clone(good), 'x'),
		"normal is nan":     float(1, -1, 0, math.NaN()),
		"starts with solid": edited(good, 0, []byte("solid facet endsolid")...),
		"attributes":        edited(good, stlHead+48, 0xff, 0xff),
	} {
		m, err := readBytes(t, "a.stl", data, LoadOptions{})
		if err != nil || len(m.Facets) != 4 || !m.Topology().Closed() || m.Source.Format != "STL binary" {
			t.Errorf("%s: %v", name, err)
		} else if wantNote := name == "one byte too many"; (len(m.Source.Notes) == 1) != wantNote {
			t.Errorf("%s: notes %q", name, m.Source.Notes)
		}
	}
	// Large but finite numbers add up to infinity: that alone is no error.
	big := New([]Vec{{3e8, 3e8, 3e8}, {2e8, 0, 0}, {0, 2e8, 0}}, [][3]int32{{0, 1, 2}})
	if _, err := readBytes(t, "a.stl", binarySTL(big), LoadOptions{}); err != nil {
		t.Errorf("a mesh of 300 km: %v", err)
	}
}

func TestOddASCIISTL(t *testing.T) {
	good := string(asciiSTL(tetra()))
	oneLine := strings.Join(strings.Fields(good), " ")
	for name, text := range map[string]string{
		"as it should be":  good,
		"upper case":       strings.ToUpper(good),
		"tabs":             strings.ReplaceAll(good, " ", "\t"),
		"leading blanks":   "\n\n  \t " + good,
		"byte order mark":  "\xef\xbb\xbf" + good,
		"CR":               strings.ReplaceAll(good, "\n", "\r"),
		"CR LF":            strings.ReplaceAll(good, "\n", "\r\n"),
		"no last newline":  strings.TrimSpace(good),
		"no endsolid":      good[:strings.Index(good, "endsolid")],
		"no name":          strings.ReplaceAll(good, " made", ""),
		"no blank":         strings.Replace(good, "solid made", "solid\t", 1),
		"long name":        strings.Replace(good, "made", strings.Repeat("long ", 1<<17), 1),
		"one line":         oneLine,
		"long line":        strings.ReplaceAll(oneLine, " ", strings.Repeat(" ", 1<<14)),
		"blank lines":      strings.Replace(good, "\n", strings.Repeat("\n", 5<<20), 1),
		"blank lines last": good + strings.Repeat("\n", 5<<20),
		"end solid":        strings.Replace(good, "endsolid", "end solid", 1),
		"nan normals":      strings.ReplaceAll(good, "0 0 1", "nan -nan(ind) 1.#QNAN"),
		"no normals":       strings.ReplaceAll(good, "normal 0 0 1", ""),
		"facet in name":    strings.Replace(good, "made", "facet made solid", 1),
		"plus and point":   strings.ReplaceAll(good, "1.000000e+01", "+.1E2"),
	} {
		m, err := readBytes(t, "a.stl", []byte(text), LoadOptions{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(m.Facets) != 4 || len(m.Verts) != 4 || !m.Topology().Closed() || m.Box().Max != (Vec{10, 10, 10}) {
			t.Errorf("%s: %d facets in %v", name, len(m.Facets), m.Box())
		}
		if wantNote := name == "no endsolid"; (len(m.Source.Notes) == 1) != wantNote {
			t.Errorf("%s: notes %q", name, m.Source.Notes)
		}
	}
	m, err := readBytes(t, "a.stl", []byte(good+strings.ReplaceAll(good, "1.000000e+01", "5")), LoadOptions{})
	if err != nil || len(m.Facets) != 8 || !strings.Contains(strings.Join(m.Source.Notes, ""), "2 solids") {
		t.Errorf("two solids: %v", err)
	}
}

func TestBadASCIISTL(t *testing.T) {
	good := string(asciiSTL(tetra()))
	swap := func(old, new string) []byte { return []byte(strings.Replace(good, old, new, 1)) }
	refused(t, "a.stl", swap("1.000000e+01", "nan"), LoadOptions{}, `line 5, facet 1: found "nan" where a number should stand`)
	refused(t, "a.stl", swap("1.000000e+01", "-inf"), LoadOptions{}, `"-inf"`)
	refused(t, "a.stl", swap("1.000000e+01", "1e999"), LoadOptions{}, `"1e999"`)
	refused(t, "a.stl", swap("1.000000e+01", "0x10"), LoadOptions{}, `"0x10"`)
	refused(t, "a.stl", swap("1.000000e+01", "10,0"), LoadOptions{}, `"10,0"`)
	refused(t, "a.stl", swap("1.000000e+01", "1_0"), LoadOptions{}, `"1_0"`)
	refused(t, "a.stl", swap("    endloop", "vertex 1 1 1\n endloop"), LoadOptions{}, `where endloop should stand`)
	refused(t, "a.stl", swap("outer loop", "inner loop"), LoadOptions{}, `where outer loop should stand`)
	refused(t, "a.stl", swap("  endfacet\n", ""), LoadOptions{}, `where endfacet should stand`)
	refused(t, "a.stl", []byte(good[:len(good)/2-30]), LoadOptions{}, `the text ends within facet 2`)
	refused(t, "a.stl", swap("facet normal", strings.Repeat("junk", 1<<16)), LoadOptions{}, `line 2, facet 1: found "junkjunk`)
	refused(t, "a.stl", []byte(good), LoadOptions{MaxFacets: 3}, "3 are allowed")
	refused(t, "a.stl", bytes.Repeat([]byte("\n"), 5<<20), LoadOptions{}, "nothing but blanks")
	refused(t, "a.stl", append([]byte("solid a\n"), bytes.Repeat([]byte("facet\n"), 1<<20)...), LoadOptions{}, "line 3, facet 1")
}

// refusedFile is refused for a file that is there already, or is not.
func refusedFile(t *testing.T, file, says string) {
	t.Helper()
	_, err := Load(t.Context(), file, LoadOptions{Unit: "mm"})
	var e *ReadError
	if !errors.As(err, &e) || !strings.Contains(e.What, says) || e.Help == "" {
		t.Errorf("got %v, want a ReadError about %q", err, says)
	}
}

func TestBadFiles(t *testing.T) {
	dir := t.TempDir()
	refusedFile(t, dir, "it is a folder")
	refusedFile(t, filepath.Join(dir, "none.stl"), "no such file")
	if _, err := Load(t.Context(), filepath.Join(dir, "none.stl"), LoadOptions{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v is not fs.ErrNotExist", err)
	}
	refusedFile(t, filepath.Join(dir, "a\x00b.stl"), "invalid argument")

	refused(t, "a.stl", nil, LoadOptions{}, "the file is empty")
	refused(t, "a.xyz", []byte("hello"), LoadOptions{}, `neither its ending ".xyz" nor its contents`)
	refused(t, "a.step", []byte("ISO-10303-21;\nHEADER;"), LoadOptions{}, "STEP, a CAD format")
	refused(t, "a.stl", []byte("ISO-10303-21;\nHEADER;"), LoadOptions{}, "by its name it is STL, but its contents are STEP")
	refused(t, "a.stl", []byte("PK\x03\x04"), LoadOptions{}, "by its name it is STL, but its contents are a ZIP archive")
	refused(t, "a.stl", []byte("# made\n\no part\nv 0 0 0\n"), LoadOptions{}, "by its name it is STL, but its contents are OBJ")
	refused(t, "a.3mf", binarySTL(tetra()), LoadOptions{Unit: "mm"}, "by its name it is 3MF, but its contents are binary STL")
	refused(t, "a.obj", asciiSTL(tetra()), LoadOptions{}, "by its name it is OBJ, but its contents are ASCII STL")
	refused(t, "a.ply", []byte("<!DOCTYPE html><p>404"), LoadOptions{}, "a web page")
	refused(t, "a.stl", []byte("version https://git-lfs.github.com/spec/v1\noid sha256:0"), LoadOptions{}, "pointer to a file")
	if m, err := readBytes(t, "A.STL", binarySTL(tetra()), LoadOptions{}); err != nil || len(m.Facets) != 4 {
		t.Errorf("an ending in upper case: %v", err)
	}
	if m, err := readBytes(t, "mesh.bin", binarySTL(tetra()), LoadOptions{}); err != nil || m.Source.Format != "STL binary" {
		t.Errorf("an unknown ending: %v", err)
	}
}

func TestOBJ(t *testing.T) {
	cube := "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 1 1 1\nv 0 1 1\n"
	quads := "f 4 3 2 1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n"
	for name, text := range map[string]string{
		"plain":         cube + quads,
		"faces first":   quads + cube,
		"comments":      "# made\n\n" + cube + "vn 0 0 1\nvt 0 0\no a\ng b\nusemtl c\nmtllib d\ns off\n" + quads + "l 1 2\np 1\n",
		"textures":      cube + "f 4/1/2 3//2 2/1 1/9/9\n" + quads[10:],
		"continued":     cube + "f 4 3 \\\n 2 1\n" + quads[10:],
		"continued 2":   cube + "f 4 3 2\\\n 1 # end\n" + quads[10:],
		"colours":       strings.ReplaceAll(cube, "\n", " 0.5 0.5 0.5\n") + quads,
		"CR":            strings.ReplaceAll(cube+quads, "\n", "\r"),
		"CR LF":         strings.ReplaceAll(cube+quads, "\n", "\r\n"),
		"no last line":  strings.TrimSpace(cube + quads),
		"relative":      cube + "f -5 -6 -7 -8\nf -4 -3 -2 -1\nf -8 -7 -3 -4\nf -7 -6 -2 -3\nf -6 -5 -1 -2\nf -5 -8 -4 -1\n",
		"free-form too": cube + quads + "cstype bezier\ncurv 0 1 1 2\n",
	} {
		m, err := readBytes(t, "a.obj", []byte(text), LoadOptions{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		mass, _ := MeasureMass(t.Context(), m)
		if len(m.Facets) != 12 || !m.Topology().Closed() || math.Abs(mass.VolumeMM3-1) > 1e-15 {
			t.Errorf("%s: %d facets, volume %v", name, len(m.Facets), mass.VolumeMM3)
		}
		if wantNote := name == "free-form too"; (len(m.Source.Notes) == 1) != wantNote {
			t.Errorf("%s: notes %q", name, m.Source.Notes)
		}
	}
	refused(t, "a.obj", []byte(cube+"f 1 2 9\n"), LoadOptions{}, "face 1, at or soon after line 9, asks for vertex 9, but there are 8")
	refused(t, "a.obj", []byte(cube+"f 1 2 -9\n"), LoadOptions{}, "line 9, face 1: vertex -9 counts back beyond")
	refused(t, "a.obj", []byte(cube+"f 1 2 0\n"), LoadOptions{}, `found "0"`)
	refused(t, "a.obj", []byte(cube+"f 1 2 99999999999\n"), LoadOptions{}, `found "99999999999"`)
	refused(t, "a.obj", []byte(cube+"f 1 2 x\n"), LoadOptions{}, `found "x"`)
	refused(t, "a.obj", []byte(cube+"f 1 2\n"), LoadOptions{}, "face 1 has 2 corners")
	refused(t, "a.obj", []byte("v 1 2\nf 1 1 1\n"), LoadOptions{}, `line 1, vertex 1: found ""`)
	refused(t, "a.obj", []byte("v 1 2 nan\n"), LoadOptions{}, `"nan"`)
	refused(t, "a.obj", []byte(cube), LoadOptions{}, "holds no facets")
	refused(t, "a.obj", []byte("hello\nworld\n"), LoadOptions{}, "no line of it")
	refused(t, "a.obj", []byte("v 1 2 3\n\x00\x01\x02\n"), LoadOptions{}, "line 2: found")
	refused(t, "a.obj", []byte(cube+quads), LoadOptions{MaxFacets: 11}, "11 are allowed")
}

func TestPLY(t *testing.T) {
	m := tetra()
	head := func(format, vertex, face string) string {
		return "ply\nformat " + format + " 1.0\ncomment made\nelement vertex 4\n" + vertex + "element face 4\n" + face + "end_header\n"
	}
	xyz := "property float x\nproperty double y\nproperty float32 z\n"
	ascii := head("ascii", xyz, "property list uchar int vertex_indices\n")
	for _, v := range m.Verts {
		ascii += fmt.Sprintln(v[0], v[1], v[2])
	}
	for _, f := range m.Facets {
		ascii += fmt.Sprintln(3, f[0], f[1], f[2])
	}
	binaryPLY := func(format string, o binary.AppendByteOrder) []byte {
		d := []byte(head(format, "property uchar red\n"+xyz+"property list short double skipped\n", "property list uint8 uint8 skipped\nproperty list uint16 int16 vertex_index\nproperty float quality\n"))
		for _, v := range m.Verts {
			d = append(d, 7)
			d = o.AppendUint32(d, math.Float32bits(float32(v[0])))
			d = o.AppendUint64(d, math.Float64bits(v[1]))
			d = o.AppendUint32(d, math.Float32bits(float32(v[2])))
			d = o.AppendUint16(d, 1)
			d = o.AppendUint64(d, math.Float64bits(math.NaN()))
		}
		for _, f := range m.Facets {
			d = append(d, 2, 1, 2)
			d = o.AppendUint16(d, 3)
			for _, v := range f {
				d = o.AppendUint16(d, uint16(v))
			}
			d = o.AppendUint32(d, math.Float32bits(float32(math.Inf(1))))
		}
		return d
	}
	strip := "ply\nformat ascii 1.0\nelement tristrips 1\nproperty list int int vertex_indices\nelement vertex 4\n" + xyz + "end_header\n" +
		"10 0 2 1 3 0 -1 1 3 2 0\n0 0 0\n10 0 0\n0 10 0\n0 0 10\n"
	for name, data := range map[string][]byte{
		"ascii":         []byte(ascii),
		"CR LF":         []byte(strings.ReplaceAll(ascii, "\n", "\r\n")),
		"CR":            []byte(strings.ReplaceAll(ascii, "\n", "\r")),
		"little endian": binaryPLY("binary_little_endian", binary.LittleEndian),
		"big endian":    binaryPLY("binary_big_endian", binary.BigEndian),
	} {
		got, err := readBytes(t, "a.ply", data, LoadOptions{})
		if err != nil || len(got.Facets) != 4 || !got.Topology().Closed() || got.Box() != m.Box() {
			t.Errorf("%s: %v", name, err)
		}
	}
	// The strip runs 0 2 1, 2 3 1, 1 3 0 and, after -1, 1 3 2 (again) and 2 3 0.
	got, err := loadUnmended(t.Context(), put(t, "a.ply", []byte(strip)), LoadOptions{Unit: "mm"})
	if err != nil || fmt.Sprint(got.Facets) != "[[0 2 1] [1 2 3] [1 3 0] [1 3 2] [2 3 0]]" {
		t.Errorf("strip: %v, %v", err, got)
	}

	swap := func(old, new string) []byte { return []byte(strings.Replace(ascii, old, new, 1)) }
	refused(t, "a.ply", swap("element vertex 4", "element vertex 400000000000"), LoadOptions{}, "promises 400000000000 vertices, more than")
	refused(t, "a.ply", swap("element vertex 4", "element vertex -4"), LoadOptions{}, `found "-4"`)
	refused(t, "a.ply", swap("element vertex 4", "element vertex 5"), LoadOptions{}, `row 5 of "vertex", line 15, has more numbers`)
	refused(t, "a.ply", swap("element vertex 4", "element vertex 3"), LoadOptions{}, `row 1 of "face"`)
	refused(t, "a.ply", swap("3 0 2 1", "3 0\n2 1"), LoadOptions{}, `row 1 of "face", line 15`)
	refused(t, "a.ply", swap("element face 4", "element face 999999999999"), LoadOptions{}, "the file ends within row 5")
	refused(t, "a.ply", swap("3 0 2 1", "3 0 2 4"), LoadOptions{}, "face 1 asks for vertex 4 (0 is the first), but there are 4")
	refused(t, "a.ply", swap("3 0 2 1", "3 0 2 -1"), LoadOptions{}, "holds -1")
	refused(t, "a.ply", swap("3 0 2 1", "-3 0 2 1"), LoadOptions{}, "holds -3")
	refused(t, "a.ply", swap("3 0 2 1", "1e9 0 2 1"), LoadOptions{}, "holds 1e+09")
	refused(t, "a.ply", swap("10 0 0", "nan 0 0"), LoadOptions{}, "holds NaN")
	refused(t, "a.ply", swap("10 0 0", "x 0 0"), LoadOptions{}, `row 2 of "vertex", line 12`)
	refused(t, "a.ply", swap("property float x", "property float u"), LoadOptions{}, "no x, y and z")
	refused(t, "a.ply", swap("property float x", "property quad x"), LoadOptions{}, `found "quad"`)
	refused(t, "a.ply", swap("list uchar int", "list float int"), LoadOptions{}, "length of a list has no whole-number type")
	refused(t, "a.ply", swap("list uchar int", "list uchar float"), LoadOptions{}, "vertices of a face have no whole-number type")
	refused(t, "a.ply", swap("format ascii", "format binary_middle_endian"), LoadOptions{}, "binary_middle_endian")
	refused(t, "a.ply", swap("end_header", "end_head"), LoadOptions{}, `found "end_head"`)
	refused(t, "a.ply", []byte("ply\nformat ascii 1.0\n"), LoadOptions{}, "no end_header")
	refused(t, "a.ply", []byte("plywood"), LoadOptions{}, `starts with the line "ply"`)
	refused(t, "a.ply", []byte(ascii), LoadOptions{MaxFacets: 3}, "3 are allowed")
	refused(t, "a.ply", binaryPLY("binary_little_endian", binary.LittleEndian)[:400], LoadOptions{}, "the file ends within row")
}

// zip3MF packs parts; the root model goes to 3D/3dmodel.model.
func zip3MF(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	if parts["_rels/.rels"] == "" {
		parts["_rels/.rels"] = `<Relationships xmlns="x"><Relationship Target="/3D/3dmodel.model" Id="a" Type="` + type3MFModel + `"/></Relationships>`
	}
	for name, text := range parts {
		if text == "none" {
			continue
		}
		method := zip.Deflate
		if len(text) > 1<<20 && len(strings.TrimSpace(text)) > len(text)/2 {
			method = zip.Store // saves time
		}
		f, err := w.CreateHeader(&zip.FileHeader{Name: name, Method: method})
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
	return b.Bytes()
}

// letters returns n letters that do not pack well.
func letters(n int) string {
	rng := rand.New(rand.NewPCG(1, 1))
	b := make([]byte, n)
	for i := range b {
		b[i] = 'a' + byte(rng.Uint32()%26)
	}
	return string(b)
}

const mesh3MF = `<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="10" y="0" z="0"/><!-- a > b --><vertex z="0" y="10" x="0" />
<vertex x='0' y='0' z='1e1'></vertex></vertices><triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>
<triangle v1="1" v2="2" v3="3"/><triangle v1="2" v2="0" v3="3"/></triangles></mesh>`

func model3MFText(attrs, resources, items string) string {
	return `<?xml version="1.0" encoding="utf-8"?><model xmlns="` + ns3MF + `" xmlns:p="` + ns3MFProd + `" xmlns:s="` + ns3MFSlice + `" xmlns:b="` + ns3MFBeam + `" ` + attrs + `>
<metadata name="Title">a &lt; b</metadata><resources>` + resources + `</resources><build>` + items + `</build></model>`
}

func Test3MF(t *testing.T) {
	object := `<object id="1">` + mesh3MF + `</object>`
	load := func(name string, parts map[string]string, facets int, volume float64, size Vec, notes string) {
		t.Helper()
		m, err := readBytes(t, "a.3mf", zip3MF(t, parts), LoadOptions{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
		mass, _ := MeasureMass(t.Context(), m)
		if len(m.Facets) != facets || !m.Topology().Closed() || math.Abs(mass.VolumeMM3-volume) > 1e-9*volume || m.Box().Size().Sub(size).Norm() > 1e-9 {
			t.Errorf("%s: %d facets, volume %v, size %v; want %d, %v, %v", name, len(m.Facets), mass.VolumeMM3, m.Box().Size(), facets, volume, size)
		}
		if got := strings.Join(m.Source.Notes, " "); !strings.Contains(got, notes) || (notes == "") != (got == "") {
			t.Errorf("%s: notes %q, want %q", name, got, notes)
		}
	}
	one := func(name, attrs, resources, items string, facets int, volume float64, size Vec, notes string) {
		t.Helper()
		load(name, map[string]string{"3D/3dmodel.model": model3MFText(attrs, resources, items)}, facets, volume, size, notes)
	}
	const v = 1000. / 6
	item := `<item objectid="1"/>`
	ten := Vec{10, 10, 10}
	one("plain", "", object, item, 4, v, ten, "")
	one("millimetres", `unit="millimeter"`, object, item, 4, v, ten, "")
	one("inches", `unit="inch"`, object, item, 4, v*25.4*25.4*25.4, ten.Scale(25.4), "")
	one("feet", `unit="foot"`, object, item, 4, v*304.8*304.8*304.8, ten.Scale(304.8), "")
	one("metres", `unit="meter"`, object, item, 4, v*1e9, ten.Scale(1000), "")
	one("centimetres", `unit="centimeter"`, object, item, 4, v*1e3, ten.Scale(10), "")
	one("micrometres", `unit="micron"`, object, item, 4, v*1e-9, ten.Scale(1e-3), "")
	one("moved", "", object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 5 6 7"/>`, 4, v, ten, "")
	one("scaled", "", object, `<item objectid="1" transform="2 0 0 0 3 0 0 0 4 0 0 0"/>`, 4, 24*v, Vec{20, 30, 40}, "")
	one("mirrored", "", object, `<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>`, 4, v, ten, "")
	one("two items", "", object, item+`<item objectid="1" transform="1 0 0 0 1 0 0 0 1 90 0 0"/>`, 8, 2*v, Vec{100, 10, 10}, "")
	one("components", "", object+`<object id="2"><components><component objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/><component objectid="1" transform="1 0 0 0 1 0 0 0 1 50 0 0"/></components></object>`+
		`<object id="3"><components><component objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 0"/></components></object>`,
		`<item objectid="3" transform="1 0 0 0 1 0 0 0 1 7 0 0"/>`, 8, 16*v, Vec{140, 20, 20}, "")
	one("support beside", "", object+`<object id="2" type="support">`+mesh3MF+`</object>`, item+`<item objectid="2"/>`, 4, v, ten, "1 object of other types than model")
	one("beams beside", `requiredextensions="b"`, `<object id="1">`+strings.Replace(mesh3MF, "</mesh>", `<b:beamlattice radius="1" minlength="1"><b:beams><b:beam v1="0" v2="1"/><b:beam v1="1" v2="2"/></b:beams></b:beamlattice></mesh>`, 1)+`</object>`, item, 4, v, ten, "2 beams")
	one("slices beside", `requiredextensions="s"`, strings.Replace(object, "<object", `<object s:slicestackid="9"`, 1), item, 4, v, ten, "Slices were left out")
	one("colours", "", strings.Replace(object, `v3="3"`, `v3="3" pid="1" p1="99999"`, 1), item, 4, v, ten, "unchecked")
	one("prefixes", "", strings.NewReplacer("<!", "<!", "</", "</c:", "<", "<c:").Replace(`<object xmlns:c="`+ns3MF+`" id="1">`+mesh3MF+`</object>`), item, 4, v, ten, "")
	two := `<object id="1">` + mesh3MF + `</object>`
	load("split", map[string]string{
		"3D/3dmodel.model": model3MFText(`requiredextensions="p"`, `<object id="7"><components><component p:path="/3D/sub/a.model" objectid="1" transform="1 0 0 0 1 0 0 0 1 20 0 0"/></components></object>`,
			`<item objectid="7"/><item p:path="/3d/SUB/b.model" objectid="1"/>`),
		"3D/sub/a.model": model3MFText("", two, ""),
		"3D/sub/b.model": model3MFText("", two, `<item objectid="99"/>`),
	}, 8, 2*v, Vec{30, 10, 10}, "")
	load("no relationships", map[string]string{"3D/3dmodel.model": model3MFText("", object, item), "_rels/.rels": "none"}, 4, v, ten, "")

	// UTF-16 is allowed.
	text := strings.Replace(model3MFText("", object, item), "utf-8", "utf-16", 1)
	wide := []byte{0xff, 0xfe}
	for _, c := range text {
		wide = append(wide, byte(c), 0)
	}
	load("UTF-16", map[string]string{"3D/3dmodel.model": string(wide)}, 4, v, ten, "")

	data := zip3MF(t, map[string]string{"3D/3dmodel.model": model3MFText(`unit="inch"`, object, item)})
	if _, err := readBytes(t, "a.3mf", data, LoadOptions{Unit: "mm"}); !errors.Is(err, ErrUnitConflict) {
		t.Errorf("a unit that disagrees: %v", err)
	}
	if m, err := readBytes(t, "a.3mf", data, LoadOptions{Unit: "in"}); err != nil || m.Source.UnitMM != 25.4 {
		t.Errorf("a unit that agrees: %v", err)
	}
	// Vertices of two objects that touch are not made one.
	m, err := readBytes(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": model3MFText("", object, item+`<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>`)}), LoadOptions{})
	if err != nil || len(m.Verts) != 8 || m.Topology().Shells != 2 || !m.Topology().Closed() {
		t.Errorf("two objects face to face: %v", err)
	}
}

func TestBad3MF(t *testing.T) {
	object := `<object id="1">` + mesh3MF + `</object>`
	item := `<item objectid="1"/>`
	bad := func(attrs, resources, items, says string) {
		t.Helper()
		refused(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": model3MFText(attrs, resources, items)}), LoadOptions{}, says)
	}
	swap := func(old, new string) string { return strings.Replace(object, old, new, 1) }
	bad(`unit="parsec"`, object, item, `unit is "parsec"`)
	bad(`xmlns:q="http://example.com/q" requiredextensions="q"`, object, item, `requires the extension "http://example.com/q"`)
	bad(`requiredextensions="zz"`, object, item, "does not say which")
	bad("", swap(`x="10"`, `x="10,0"`), item, "with a comma")
	bad("", swap(`x="10"`, `x="nan"`), item, `found "nan"`)
	bad("", swap(`x="10"`, ``), item, "vertex 1 has no x")
	bad("", swap(`v3="1"`, `v3="4"`), item, "triangle 0 asks for vertex 4 (0 is the first), but there are 4")
	bad("", swap(`v3="1"`, `v3="-1"`), item, "asks for vertex -1")
	bad("", swap(`v3="1"`, ``), item, `has "" as v3`)
	bad("", swap(`</vertices>`, ``), item, `found "triangles" in the list of vertices`)
	bad("", swap(`</vertices>`, `<vertex`), item, "line")
	bad("", object, `<item objectid="2"/>`, `refers to object "2", which is not there`)
	bad("", object, `<item objectid="1" transform="1 0 0"/>`, "a transform has 3 numbers")
	bad("", object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>`, "flattens an object")
	bad("", object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 1,5"/>`, "with a comma")
	bad("", object, "", "no build item")
	bad("", object+object, item, "no number of its own")
	bad("", `<object id="1"><components><component objectid="1"/></components></object>`, item, "component of itself")
	bad("", `<object id="1"><components><component objectid="2"/></components></object><object id="2"><components><component objectid="1"/></components></object>`, item, "component of itself")
	bad(`requiredextensions="s"`, strings.Replace(object, "<object", `<object s:meshresolution="lowres"`, 1), item, "marked lowres")
	bad("", `<object id="1"><mesh><vertices/><triangles/></mesh></object>`, item, "holds no triangles")
	bad("", `<object id="1" type="support">`+mesh3MF+`</object>`, item, "holds no triangles")
	bad("", strings.Repeat("<a>", 300), item, "more than 256 tags are open")
	bad("", object, `<item p:path="/3D/other.model" objectid="1"/>`, `"3d/other.model" that it refers to is not in the archive`)
	bad("", object[:200], item, "line")
	bad("", `<object id="1"><x y="`+letters(17<<20)+`"/></object>`, item, "more than 16 MiB")

	// A tower of components: 2^60 tetrahedra, and as many empty objects.
	for _, base := range []string{object, `<object id="1"><components/></object>`} {
		tower := base
		for i := 2; i < 62; i++ {
			tower += fmt.Sprintf(`<object id="%d"><components><component objectid="%d"/><component objectid="%d" transform="1 0 0 0 1 0 0 0 1 1 0 0"/></components></object>`, i, i-1, i-1)
		}
		bad("", tower, `<item objectid="61"/>`, "places more than 1000000 objects")
	}
	root := model3MFText("", object, item)
	refused(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": root}), LoadOptions{MaxFacets: 3}, "3 are allowed")
	refused(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": root, "3D/3DModel.MODEL": root}), LoadOptions{}, "two files named")
	refused(t, "a.3mf", zip3MF(t, map[string]string{"a.txt": "hello", "_rels/.rels": "<Relationships/>"}), LoadOptions{}, "names no 3D model")
	refused(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": "<model/>"}), LoadOptions{}, "not with the <model>")
	refused(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": "<!DOCTYPE a []>" + root}), LoadOptions{}, "document type")
	refused(t, "a.3mf", zip3MF(t, map[string]string{"3D/3dmodel.model": strings.Replace(root, "utf-8", "koi8-r", 1)}), LoadOptions{}, "neither UTF-8 nor UTF-16")
	whole := zip3MF(t, map[string]string{"3D/3dmodel.model": root})
	refused(t, "a.3mf", whole[:len(whole)-30], LoadOptions{}, "can't be opened as the ZIP archive")
	broken := bytes.Clone(whole)
	for i := 60; i < 90; i++ {
		broken[i] ^= 0x55
	}
	if _, err := readBytes(t, "a.3mf", broken, LoadOptions{}); err == nil {
		t.Error("a damaged archive was read")
	}
	many := map[string]string{"3D/3dmodel.model": root}
	for i := range DefaultMaxEntries {
		many[fmt.Sprint(i)] = ""
	}
	refused(t, "a.3mf", zip3MF(t, many), LoadOptions{}, "10000 are allowed")
}

// TestBoundsOfArchives: each bound of an archive can be given, and the error
// names the one that was met.
func TestBoundsOfArchives(t *testing.T) {
	object := `<object id="1">` + mesh3MF + `</object><object id="2"><components><component objectid="1"/></components></object>` +
		`<object id="3"><components><component objectid="2"/></components></object>`
	root := model3MFText("", object, `<item objectid="3"/>`)
	plain := zip3MF(t, map[string]string{"3D/3dmodel.model": root})
	long := zip3MF(t, map[string]string{"3D/3dmodel.model": root + strings.Repeat(" ", 8<<20) + "<!-- -->" + strings.Repeat(" ", 10<<20)})
	for _, c := range []struct {
		data          []byte
		tight, enough LoadOptions
		over          Bound
	}{
		{plain, LoadOptions{MaxBytes: int64(len(root)) - 1}, LoadOptions{MaxBytes: 1 << 20}, BoundBytes},
		{plain, LoadOptions{MaxFacets: 3}, LoadOptions{MaxFacets: 4}, BoundFacets},
		{plain, LoadOptions{MaxNesting: 1}, LoadOptions{MaxNesting: 2}, BoundNesting},
		{zip3MF(t, map[string]string{"3D/3dmodel.model": root, "a": ""}), LoadOptions{MaxEntries: 2}, LoadOptions{MaxEntries: 3}, BoundEntries},
		{long, LoadOptions{}, LoadOptions{MaxRatio: 2000}, BoundRatio},
	} {
		_, err := readBytes(t, "a.3mf", c.data, c.tight)
		if bad := new(ReadError); !errors.As(err, &bad) || bad.Over != c.over {
			t.Errorf("%+v: %v, want that the bound of %s is met", c.tight, err, c.over)
		}
		if m, err := readBytes(t, "a.3mf", c.data, c.enough); err != nil || len(m.Facets) != 4 {
			t.Errorf("%+v: %v", c.enough, err)
		}
	}
}

// TestBombs: a small archive that unpacks to much is refused before it takes
// memory or time.
func TestBombs(t *testing.T) {
	blanks := strings.Repeat(" ", 64<<20)
	bomb := zip3MF(t, map[string]string{"3D/3dmodel.model": model3MFText("", "", "") + blanks})
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	refused(t, "a.3mf", bomb, LoadOptions{}, "claims to unpack to")
	refused(t, "a.3mf", bomb, LoadOptions{MaxBytes: 1 << 20}, "claims to unpack to")
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 4<<20 {
		t.Errorf("refusing took %d bytes", used)
	}
	// A size field that lies: the archive says 1 kB.
	if i := bytes.LastIndex(bomb, []byte("PK\x01\x02")); i >= 0 {
		for ; i >= 0; i = bytes.LastIndex(bomb[:i], []byte("PK\x01\x02")) {
			binary.LittleEndian.PutUint32(bomb[i+24:], 1000)
		}
	}
	runtime.ReadMemStats(&before)
	if _, err := readBytes(t, "a.3mf", bomb, LoadOptions{MaxBytes: 1 << 20}); err == nil {
		t.Error("a bomb that lies about its size was read")
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 8<<20 {
		t.Errorf("refusing took %d bytes", used)
	}
	// What a lying count makes us allocate: nothing.
	runtime.ReadMemStats(&before)
	refused(t, "a.stl", edited(binarySTL(tetra()), 80, 0xff, 0xff, 0xff, 0xff), LoadOptions{}, "promises")
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
		t.Errorf("a lying count took %d bytes", used)
	}
}

// TestCancel: reading stops soon after the context ends, whatever it is at.
func TestCancel(t *testing.T) {
	m := wavy(100_000)
	ply := fmt.Appendf(nil, "ply\nformat binary_little_endian 1.0\nelement vertex %d\nproperty double x\nproperty double y\nproperty double z\nelement face %d\nproperty list uchar int vertex_indices\nend_header\n", len(m.Verts), len(m.Facets))
	for _, v := range m.Verts {
		for _, x := range v {
			ply = binary.LittleEndian.AppendUint64(ply, math.Float64bits(x))
		}
	}
	for _, f := range m.Facets {
		ply = append(ply, 3)
		for _, v := range f {
			ply = binary.LittleEndian.AppendUint32(ply, uint32(v))
		}
	}
	for name, data := range map[string][]byte{"a.stl": binarySTL(m), "b.stl": asciiSTL(m), "c.ply": ply} {
		file := put(t, name, data)
		for _, after := range []time.Duration{0, time.Millisecond, 20 * time.Millisecond} {
			ctx, cancel := context.WithTimeout(t.Context(), after)
			got, err := Load(ctx, file, LoadOptions{Unit: "mm"})
			cancel()
			if err != nil && !errors.Is(err, context.DeadlineExceeded) || err == nil && len(got.Facets) != len(m.Facets) {
				t.Errorf("%s after %v: %v", name, after, err)
			}
		}
	}
}
