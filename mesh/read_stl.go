package mesh

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/hschendel/stl"
)

// A binary STL file is a head of 80 free bytes and a count of facets, then 50
// bytes a facet: normal, three corners (float32 each) and 16 bits of anything.
const (
	stlHead  = 84
	stlFacet = 50
)

// stlCount returns the count that the head of a binary file states.
func stlCount(d []byte) uint32 { return binary.LittleEndian.Uint32(d[stlHead-4:]) }

// readSTL reads either form. Binary is told by its size, never by its first
// word: many programs write "solid" there too.
func readSTL(ctx context.Context, in *input) (*raw, error) {
	size := int64(len(in.data))
	exact := size >= stlHead && stlHead+stlFacet*int64(stlCount(in.data)) == size
	switch {
	case exact:
		return readSTLBinary(ctx, in)
	case looksASCII(in.data):
		return readSTLASCII(ctx, in)
	case size < stlHead:
		return nil, in.bad(helpExport, "it has %d bytes, and even an empty binary STL file has %d", size, stlHead)
	}
	return readSTLOdd(ctx, in)
}

// looksASCII tells text from a binary file that starts with "solid" and has the
// wrong size: that one has NULs up front, in attributes if nowhere else. Blank
// lines are for the text reader to complain about.
func looksASCII(d []byte) bool {
	d = d[:min(len(d), 4096)]
	w := firstWord(d)
	return (w == "solid" || w == "facet" || len(bytes.TrimSpace(d)) == 0) && printable(bytes.TrimPrefix(d, []byte("\xef\xbb\xbf")))
}

// readSTLOdd deals with a binary file whose size does not fit its count. Less
// than a facet's bytes at the end is what careless writers leave; anything else
// means that either the count or the file is not what was exported.
func readSTLOdd(ctx context.Context, in *input) (*raw, error) {
	count, room := int64(stlCount(in.data)), int64(len(in.data)-stlHead)
	whole, rest := room/stlFacet, room%stlFacet
	switch {
	case count == whole: // rest is not 0
		r, err := readSTLBinary(ctx, in)
		if err == nil {
			r.notes = append(r.notes, fmt.Sprintf("%s after the last facet %s left out.", plural(rest, "byte"), wasWere(rest)))
		}
		return r, err
	case count > whole && printable(in.data[:stlHead]):
		return nil, in.bad(helpFormat, "it is neither binary STL (its size fits no count of facets) nor ASCII STL (it does not start with \"solid\")")
	case count > whole:
		return nil, in.bad(helpExport, "its head promises %d facets (%d bytes), but the file ends after %d bytes, %s",
			count, stlHead+stlFacet*count, len(in.data), cutAt(whole, rest))
	}
	return nil, in.bad(helpExport, "its head says %d facets, but %d bytes follow them, room for %d more", count, room-stlFacet*count, whole-count)
}

func cutAt(whole, rest int64) string {
	if rest == 0 {
		return fmt.Sprintf("after facet %d", whole)
	}
	return fmt.Sprintf("within facet %d", whole+1)
}

func printable(d []byte) bool {
	for _, c := range d {
		if c < ' ' && !isBlank(c) || c == 0x7f {
			return false
		}
	}
	return true
}

func plural(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func wasWere(n int64) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

// readSTLBinary sends the facets through the STL library in pieces, one a
// goroutine at a time: the library allocates for every facet and takes 0.1 s a
// million facets on one core, so pieces keep the collector and all cores busy
// and leave a place to stop between them. Each piece gets a head of its own
// with a count that fits, so the library never sees a lying one, and never
// falls back to its ASCII reader.
func readSTLBinary(ctx context.Context, in *input) (*raw, error) {
	n := int(stlCount(in.data))
	if n > in.max.MaxFacets {
		return nil, in.tooMany(int64(n))
	}
	corners := make([][3]float32, 3*n)
	err := parallel(ctx, n, 1<<14, func(from, to int) error {
		sink := &stlSink{in: in, first: from, corners: corners[3*from : 3*from : 3*to]}
		return sink.read(in.data[stlHead+stlFacet*from : stlHead+stlFacet*to])
	})
	if err != nil {
		return nil, err
	}
	return &raw{format: "STL binary", bodies: []body{{corners: corners}}, facets: n}, nil
}

// stlSink is the stl.Writer for one piece of a file. Stored normals are not
// used: they are redundant, often zero, and sometimes wrong.
type stlSink struct {
	in      *input
	first   int // number of the piece's first facet
	corners [][3]float32
	bad     error
}

func (s *stlSink) SetName(string)          {}
func (s *stlSink) SetBinaryHeader([]byte)  {}
func (s *stlSink) SetASCII(bool)           {}
func (s *stlSink) SetTriangleCount(uint32) {}

func (s *stlSink) AppendTriangle(t stl.Triangle) {
	for _, v := range t.Vertices {
		if d := v[0] + v[1] + v[2]; d-d != 0 && s.bad == nil { // one is not finite, or the sum is huge
			for _, x := range v {
				if x-x != 0 {
					s.bad = s.in.bad(helpExport, "facet %d of %d has a corner at (%v, %v, %v), which is no place",
						s.first+len(s.corners)/3+1, stlCount(s.in.data), v[0], v[1], v[2])
				}
			}
		}
		s.corners = append(s.corners, v)
	}
}

// read sends whole facets through the library.
func (s *stlSink) read(facets []byte) error {
	p := &stlPiece{facets: facets}
	binary.LittleEndian.PutUint32(p.head[stlHead-4:], uint32(len(facets)/stlFacet))
	if err := stl.CopyAll(p, s); err != nil {
		return s.in.bad(helpExport, "facets from %d on can't be read: %v", s.first+1, err)
	}
	return s.bad
}

// stlPiece is a binary file made of a head and some facets of another.
type stlPiece struct {
	head   [stlHead]byte
	facets []byte
	pos    int
}

func (p *stlPiece) Read(b []byte) (int, error) {
	n := 0
	if p.pos < stlHead {
		n = copy(b, p.head[p.pos:])
	}
	if p.pos+n >= stlHead {
		n += copy(b[n:], p.facets[p.pos+n-stlHead:])
	}
	p.pos += n
	if n == 0 && len(b) > 0 {
		return 0, io.EOF
	}
	return n, nil
}

// Seek knows the two places that the library asks for.
func (p *stlPiece) Seek(offset int64, whence int) (int64, error) {
	switch {
	case offset == 0 && whence == io.SeekStart:
		p.pos = 0
	case offset == 0 && whence == io.SeekEnd:
		p.pos = stlHead + len(p.facets)
	default:
		return 0, errors.ErrUnsupported
	}
	return int64(p.pos), nil
}
