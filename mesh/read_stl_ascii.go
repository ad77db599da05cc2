package mesh

import (
	"bytes"
	"context"
	"fmt"
)

// readSTLASCII reads the text form with a scanner of our own: the library's
// takes 20 s a million facets, recurses on blank lines until the process dies,
// and stops at the first endsolid. Key words in any case, any blanks and line
// ends, a byte order mark, several solids and a missing last endsolid are all
// accepted; anything else that does not fit is refused with its facet and line.
// Numbers keep the double nearest to their text.
func readSTLASCII(ctx context.Context, in *input) (*raw, error) {
	s := &stlText{in: in}
	s.data = in.data
	if bytes.HasPrefix(s.data, []byte("\xef\xbb\xbf")) {
		s.pos = 3
	}
	guess := min(len(in.data)/180, in.max.MaxFacets) // some 200 bytes a facet are usual
	s.verts = make([]Vec, 0, 3*guess)
	for {
		if s.facets%4096 == 0 {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
		}
		more, err := s.next()
		if err != nil {
			return nil, err
		}
		if !more {
			break
		}
	}
	r := &raw{format: "STL ASCII", bodies: []body{{verts: s.verts}}, facets: s.facets}
	if s.solids > 1 {
		r.notes = append(r.notes, fmt.Sprintf("%d solids were read as one part.", s.solids))
	}
	if s.open {
		r.notes = append(r.notes, "The file ends without endsolid; it may have been cut short after a whole facet.")
	}
	return r, nil
}

type stlText struct {
	scanner
	in     *input
	verts  []Vec
	facets int
	solids int
	open   bool // inside a solid
}

// next reads one facet, or one line that begins or ends a solid.
func (s *stlText) next() (more bool, err error) {
	w := s.word()
	switch {
	case is(w, "facet"):
		if s.facets++; s.facets > s.in.max.MaxFacets {
			return false, s.in.tooMany(int64(s.facets))
		}
		return true, s.facet()
	case is(w, "solid"):
		s.solids++
		s.open = true
		s.skipName()
	case is(w, "endsolid") || is(w, "end") && is(s.lineWord(), "solid"):
		s.open = false
		s.skipName()
	case len(w) == 0:
		if s.solids == 0 && s.facets == 0 {
			return false, s.in.bad(helpFormat, "it holds nothing but blanks")
		}
		return false, nil
	default:
		return false, s.broken(w, "facet or endsolid")
	}
	return true, nil
}

// skipName skips the name of a solid: the rest of the line, but where a file has
// no line ends, only up to the words that begin the next thing.
func (s *stlText) skipName() {
	for {
		before := s.pos
		w := s.lineWord()
		if len(w) == 0 {
			return
		}
		after := s.pos
		if is(w, "facet") && is(s.lineWord(), "normal") || is(w, "endsolid") {
			s.pos = before
			return
		}
		s.pos = after
	}
}

// facet reads what follows the word facet. The normal is skipped: it is
// redundant, and writers put nan there for facets without area.
func (s *stlText) facet() error {
	w := s.word()
	for n := 0; !is(w, "outer"); n++ {
		if n > 4 || len(w) == 0 || is(w, "vertex") || is(w, "facet") {
			return s.broken(w, "outer loop")
		}
		w = s.word()
	}
	if w = s.word(); !is(w, "loop") {
		return s.broken(w, "loop")
	}
	for range 3 {
		if w = s.word(); !is(w, "vertex") {
			return s.broken(w, "vertex")
		}
		var p Vec
		for k := range p {
			var ok bool
			w = s.word()
			if p[k], ok = parseNumber(w); !ok {
				return s.broken(w, "a number")
			}
		}
		s.verts = append(s.verts, p)
	}
	if w = s.word(); !is(w, "endloop") {
		return s.broken(w, "endloop")
	}
	if w = s.word(); !is(w, "endfacet") {
		return s.broken(w, "endfacet")
	}
	return nil
}

// broken says where the text stopped making sense.
func (s *stlText) broken(w []byte, want string) error {
	if len(w) == 0 {
		return s.in.bad(helpExport, "the text ends within facet %d, where %s should follow; the file was cut short", s.facets, want)
	}
	return s.in.bad(helpExport, "line %d, facet %d: found %s where %s should stand", s.line(), max(s.facets, 1), shown(w), want)
}
