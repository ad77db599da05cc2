package mesh

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
)

// Bounds that hold where LoadOptions name none.
const (
	DefaultMaxBytes  = 4 << 30    // bytes of a file, and of an archive unpacked
	DefaultMaxFacets = 15_000_000 // some 3.5 GB while they are measured (10 million took 2.1)

	DefaultMaxRatio   = 300    // unpacked over packed size of a large file in an archive; real models reach some 30
	DefaultMaxEntries = 10_000 // files in an archive
	DefaultMaxNesting = 64     // objects of an archive in each other
)

// maxCoordMM bounds coordinates: a thousand kilometres, far beyond any machine,
// and small enough that no product of three of them leaves double precision.
const maxCoordMM = 1e9

// LoadOptions bound and steer reading.
type LoadOptions struct {
	Unit      string // "mm", "um", "cm", "m", "in", "ft": needed where the format carries none; an error where it disagrees
	MaxBytes  int64  // largest file, and largest unpacked archive; 0 = DefaultMaxBytes
	MaxFacets int    // 0 = DefaultMaxFacets

	// Open opens the file for reading; nil is os.Open.
	Open func(path string) (*os.File, error)

	// Of archives; 0 is the default of each.
	MaxRatio, MaxEntries, MaxNesting int
}

// WithDefaults fills in the bounds that are not given.
func (o LoadOptions) WithDefaults() LoadOptions {
	if o.Open == nil {
		o.Open = os.Open
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = DefaultMaxBytes
	}
	if o.MaxFacets <= 0 || o.MaxFacets > math.MaxInt32/3 {
		o.MaxFacets = DefaultMaxFacets
	}
	if o.MaxRatio <= 0 {
		o.MaxRatio = DefaultMaxRatio
	}
	if o.MaxEntries <= 0 {
		o.MaxEntries = DefaultMaxEntries
	}
	if o.MaxNesting <= 0 {
		o.MaxNesting = DefaultMaxNesting
	}
	return o
}

// Bound names a bound of LoadOptions.
type Bound string

// Bounds that a file may go beyond.
const (
	BoundBytes   Bound = "bytes"
	BoundFacets  Bound = "facets"
	BoundRatio   Bound = "ratio"
	BoundEntries Bound = "entries"
	BoundNesting Bound = "nesting"
)

// ErrUnit is wrapped by ReadErrors that say that no unit is known.
var ErrUnit = errors.New("unit unknown")

// ErrUnitConflict is wrapped by ReadErrors that say that the unit asked for is
// not the one that the file states.
var ErrUnitConflict = errors.New("unit disagrees with the file")

// ErrTooMany is wrapped by ReadErrors that say that a file holds more facets
// than allowed.
var ErrTooMany = errors.New("too many facets")

// ReadError says what was wrong with a mesh file and what to do.
type ReadError struct {
	File string // as given
	What string // one sentence without the file name: what was expected, what was found, how far it got
	Help string // what to do
	Over Bound  // that the file goes beyond; empty for any other fault
	Err  error  // cause, may be nil
}

func (e *ReadError) Error() string { return "read mesh \"" + e.File + "\": " + e.What }

// Unwrap returns the cause.
func (e *ReadError) Unwrap() error { return e.Err }

// What a user can do about a file, said the same way everywhere.
const (
	helpExport = "Export the mesh again, or copy the file again if it came over a network."
	helpFormat = "Export the part as STL, 3MF, OBJ or PLY."
	helpLimit  = "Export with a coarser tolerance, or allow more."
)

// input is a file's bytes and the bounds on what may be made of them.
type input struct {
	file string
	data []byte
	max  LoadOptions // with its defaults
}

// bad makes the error that a reader returns.
func (in *input) bad(help, format string, args ...any) *ReadError {
	return &ReadError{File: in.file, What: fmt.Sprintf(format, args...), Help: help}
}

// over makes the error for a file that goes beyond a bound.
func (in *input) over(b Bound, help, format string, args ...any) *ReadError {
	e := in.bad(help, format, args...)
	e.Over = b
	return e
}

// tooMany says that the file holds more facets than allowed.
func (in *input) tooMany(n int64) *ReadError {
	e := in.over(BoundFacets, helpLimit, "it holds %d facets or more, and %d are allowed", n, in.max.MaxFacets)
	e.Err = ErrTooMany
	return e
}

// raw is what a format's reader found, in the numbers of the file.
type raw struct {
	format string
	unit   string // the unit that the file states, one of units; "" if it states none
	bodies []body
	facets int // in the file, before anything was dropped
	notes  []string
}

// body is one connected list of vertices. Vertices of different bodies are
// never made one: two 3MF objects that touch stay two objects.
type body struct {
	corners [][3]float32 // three a facet (binary STL), or:
	verts   []Vec
	facets  [][3]int32 // nil: the vertices are corners, three a facet
}

// units maps the names of units to millimetres.
var units = map[string]float64{"um": 0.001, "mm": 1, "cm": 10, "m": 1000, "in": 25.4, "ft": 304.8}

// Load reads, scales, welds and mends (see mend) a mesh file. The name's ending
// decides the format, and the contents where the ending says nothing. Every error
// is a *ReadError or the context's. Memory is bounded by the options, and by a small
// multiple of the file's size but for what an archive unpacks to and places more
// than once, whatever the file claims about itself.
func Load(ctx context.Context, file string, o LoadOptions) (*Mesh, error) {
	in := &input{file: file, max: o.WithDefaults()}
	if _, ok := units[o.Unit]; !ok && o.Unit != "" {
		e := in.bad("Use one of um, mm, cm, m, in, ft.", "%q is no unit of length that is known here", o.Unit)
		e.Err = ErrUnit
		return nil, e
	}
	if err := in.read(ctx); err != nil {
		return nil, err
	}
	sum := make(chan [sha256.Size]byte, 1)
	go func() { sum <- sha256.Sum256(in.data) }()
	m, err := in.mesh(ctx, o.Unit)
	if err == nil {
		m, err = mend(ctx, m)
	}
	s := <-sum
	if err != nil {
		return nil, err
	}
	m.Source.SHA256 = hex.EncodeToString(s[:])
	return m, nil
}

// mesh makes a mesh of the file's bytes, welded and as it is.
func (in *input) mesh(ctx context.Context, unit string) (*Mesh, error) {
	read, err := in.reader()
	if err != nil {
		return nil, err
	}
	r, err := read(ctx, in)
	if err != nil {
		return nil, err
	}
	scale, err := in.unit(r, unit)
	if err != nil {
		return nil, err
	}
	if r.facets == 0 {
		return nil, in.bad(helpFormat, "it is a good %s file, but holds no facets", r.format)
	}
	m, err := build(ctx, r, scale)
	if err != nil {
		return nil, err
	}
	if len(m.Facets) == 0 {
		return nil, in.bad(helpExport, "all of its %d facets are collapsed: each has two equal corners", r.facets)
	}
	if m, err = weldRims(ctx, m); err != nil {
		return nil, err
	}
	m.Source.File = in.file
	if b := m.Box(); max(-b.Min[0], -b.Min[1], -b.Min[2], b.Max[0], b.Max[1], b.Max[2]) > maxCoordMM {
		return nil, in.bad("Check the unit.", "its coordinates reach from %v to %v mm, further than %g mm", b.Min, b.Max, float64(maxCoordMM))
	}
	return m, nil
}

// unit reconciles the unit asked for with the one the file states, puts the
// result into r.unit and returns it in millimetres.
func (in *input) unit(r *raw, asked string) (float64, error) {
	switch {
	case asked == "" && r.unit == "":
		e := in.bad("Say the unit: um, mm, cm, m, in or ft.", "%s carries no unit of length", r.format)
		e.Err = ErrUnit
		return 0, e
	case r.unit == "":
		r.unit = asked
	case asked != "" && asked != r.unit:
		e := in.bad("Leave the unit out, or correct it.", "it states that its unit is %s, but %s was asked for", r.unit, asked)
		e.Err = ErrUnitConflict
		return 0, e
	}
	return units[r.unit], nil
}

// read takes the whole file into memory. Mapping it would be no faster, and a
// file that is exported anew while mapped ends the process.
func (in *input) read(ctx context.Context) error {
	// Stat first: opening a named pipe would wait for a writer.
	info, err := os.Stat(in.file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e := in.bad("Check the name and the folder.", "there is no such file")
		e.Err = fs.ErrNotExist
		return e
	case err != nil:
		return in.osError(err)
	case info.IsDir():
		return in.bad("Name a file in it.", "it is a folder")
	case !info.Mode().IsRegular():
		return in.bad("Name a plain file.", "it is not a plain file but a %s", kindOf(info.Mode()))
	case info.Size() == 0:
		return in.bad(helpExport, "the file is empty")
	case info.Size() > in.max.MaxBytes:
		return in.over(BoundBytes, helpLimit, "the file has %d bytes, and %d are allowed", info.Size(), in.max.MaxBytes)
	}
	f, err := in.max.Open(in.file)
	if err != nil {
		return in.osError(err)
	}
	defer f.Close()
	if info, err = f.Stat(); err != nil || !info.Mode().IsRegular() || info.Size() > in.max.MaxBytes {
		return in.bad("Try again when nothing writes to it.", "the file changed while it was opened")
	}
	data := make([]byte, info.Size())
	// On all cores, for most of the time goes into memory that is new.
	err = parallel(ctx, len(data), 4<<20, func(from, to int) error {
		n, err := f.ReadAt(data[from:to], int64(from))
		if err == io.EOF && n < to-from {
			return in.bad("Try again when nothing writes to it.", "the file shrank from %d to %d bytes while it was read", len(data), from+n)
		} else if err != nil && err != io.EOF {
			return in.osError(err)
		}
		return nil
	})
	if err != nil {
		return err
	}
	in.data = data
	return nil
}

func (in *input) osError(err error) error {
	cause := err
	if p := new(fs.PathError); errors.As(err, &p) {
		cause = p.Err // without the path, which stands in the error already
	}
	e := in.bad("Check that the file can be read.", "%v", cause)
	e.Err = err
	return e
}

func kindOf(m fs.FileMode) string {
	switch {
	case m&fs.ModeNamedPipe != 0:
		return "named pipe"
	case m&fs.ModeSocket != 0:
		return "socket"
	}
	return "device"
}

type reader func(context.Context, *input) (*raw, error)

// reader chooses how to read the file: by the ending of its name, then, where
// that says nothing, by its contents. A file whose contents are plainly of
// another kind than its name says is refused, for somebody has mixed it up.
func (in *input) reader() (reader, error) {
	readers := map[string]reader{".stl": readSTL, ".3mf": read3MF, ".obj": readOBJ, ".ply": readPLY}
	ext := strings.ToLower(filepath.Ext(in.file))
	found, name := in.sniff()
	read, known := readers[ext]
	switch {
	case known && (found == "" || found == ext):
		return read, nil
	case known:
		return nil, in.bad("Give the file the ending of what it is, or export it again as "+strings.ToUpper(ext[1:])+".",
			"by its name it is %s, but its contents are %s", strings.ToUpper(ext[1:]), name)
	case readers[found] != nil:
		return readers[found], nil
	case found != "":
		return nil, in.bad(helpFormat, "it is %s, not a mesh that can be read", name)
	}
	return nil, in.bad(helpFormat, "neither its ending %q nor its contents are those of a mesh file", ext)
}

// sniff tells a kind of file by its contents: an ending and a name for a
// message, both empty where the contents don't say.
func (in *input) sniff() (ext, name string) {
	size := int64(len(in.data))
	if size >= stlHead && stlHead+stlFacet*int64(stlCount(in.data)) == size {
		return ".stl", "binary STL"
	}
	d := in.data[:min(len(in.data), 512)]
	for _, k := range []struct{ magic, ext, name string }{
		{"PK\x03\x04", ".3mf", "a ZIP archive, as 3MF is"},
		{"ply\n", ".ply", "PLY"},
		{"ply\r", ".ply", "PLY"},
		{"ISO-10303-21;", ".step", "STEP, a CAD format without facets"},
		{"glTF", ".glb", "binary glTF"},
		{"%PDF", ".pdf", "a PDF document"},
		{"\x89PNG", ".png", "a picture"},
		{"\x1f\x8b", ".gz", "a gzip archive"},
		{"\x7fELF", ".elf", "a program"},
		{"<!DOCTYPE html", ".html", "a web page"},
		{"<html", ".html", "a web page"},
		{"version https://git-lfs", ".lfs", "a pointer to a file in large-file storage, not the file"},
	} {
		if bytes.HasPrefix(d, []byte(k.magic)) {
			return k.ext, k.name
		}
	}
	if word := firstWord(d); word == "solid" && bytes.IndexByte(d, 0) < 0 {
		return ".stl", "ASCII STL"
	}
	if looksOBJ(in.data[:min(len(in.data), 4096)]) {
		return ".obj", "OBJ"
	}
	return "", ""
}

// looksOBJ reports whether the first line that is no comment is one of OBJ.
func looksOBJ(d []byte) bool {
	for s := (scanner{data: d}); s.pos < len(d); s.skipLine() {
		switch w := s.lineWord(); string(w) {
		case "v", "vn", "vt", "o", "g", "mtllib", "usemtl":
			return true
		default:
			if len(w) > 0 && w[0] != '#' {
				return false
			}
		}
	}
	return false
}

// firstWord returns the first word of a text in lower case.
func firstWord(d []byte) string {
	d = bytes.TrimPrefix(d, []byte("\xef\xbb\xbf"))
	if w := bytes.Fields(d); len(w) > 0 && len(w[0]) < 32 {
		return strings.ToLower(string(w[0]))
	}
	return ""
}
