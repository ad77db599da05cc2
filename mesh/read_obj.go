package mesh

import (
	"bytes"
	"context"
	"fmt"
	"math"
)

// readOBJ reads the vertices and faces of a Wavefront OBJ file; texture and
// normal indices, groups, materials, points and lines are skipped. Faces of
// more than three corners are cut into triangles. Free-form curves and surfaces
// are not triangles and are named in the notes.
func readOBJ(ctx context.Context, in *input) (*raw, error) {
	o := &objText{in: in, cutter: cutter{work: cutWork}}
	o.data = in.data
	if bytes.HasPrefix(o.data, []byte("\xef\xbb\xbf")) {
		o.pos = 3
	}
	for n := 0; o.pos < len(o.data); n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err := o.statement(); err != nil {
			return nil, err
		}
		o.skipLine()
	}
	// An index may point forward, so the faces are cut when all vertices are known.
	if err := o.cutFaces(ctx); err != nil {
		return nil, err
	}
	r := &raw{format: "OBJ", bodies: []body{{verts: o.verts, facets: o.out}}, facets: len(o.out)}
	if o.freeform > 0 {
		r.notes = append(r.notes, fmt.Sprintf("Free-form curves and surfaces (%s) were left out.", plural(o.freeform, "line")))
	}
	o.noteFans(r)
	return r, nil
}

type objText struct {
	scanner
	cutter
	in       *input
	corners  []int32 // of all faces
	ends     []int   // where each face ends in corners
	places   []int   // where each face stands in the text, every 64th
	facets   int64
	words    int64
	freeform int64
}

// objWord returns the next word of the line; a backslash at its end joins the
// next line to it.
func (o *objText) objWord() []byte {
	for {
		w := o.lineWord()
		if len(w) == 0 || w[len(w)-1] != '\\' {
			return w
		}
		o.skipLine()
		if len(w) > 1 {
			return w[:len(w)-1]
		}
	}
}

// statement reads one line.
func (o *objText) statement() error {
	w := o.lineWord()
	if len(w) > 0 && !printable(w) {
		return o.in.bad(helpFormat, "line %d: found %s, which is no text; this is not an OBJ file", o.line(), shown(w))
	}
	switch string(w) {
	case "v":
		o.words++
		var p Vec
		for k := range p {
			w := o.objWord()
			var ok bool
			if p[k], ok = parseNumber(w); !ok {
				return o.in.bad(helpExport, "line %d, vertex %d: found %s where a number should stand", o.line(), len(o.verts)+1, shown(w))
			}
		}
		if len(o.verts) == math.MaxInt32 {
			return o.in.tooMany(int64(len(o.verts)))
		}
		o.verts = append(o.verts, p)
	case "f", "fo":
		o.words++
		return o.face()
	case "curv", "curv2", "surf", "cstype":
		o.words++
		o.freeform++
	case "vn", "vt", "vp", "o", "g", "s", "mtllib", "usemtl":
		o.words++
	}
	return nil
}

// face reads the corners of a face.
func (o *objText) face() error {
	from := len(o.corners)
	if len(o.ends)%64 == 0 {
		o.places = append(o.places, o.pos)
	}
	for {
		w := o.objWord()
		if len(w) == 0 || w[0] == '#' {
			break
		}
		if i := bytes.IndexByte(w, '/'); i >= 0 {
			w = w[:i]
		}
		v, ok := parseIndex(w)
		switch {
		case !ok || v == 0 || v > math.MaxInt32:
			return o.in.bad(helpExport, "line %d, face %d: found %s where the number of a vertex should stand (1 is the first)", o.line(), len(o.ends)+1, shown(w))
		case v > 0:
			v--
		case v < -int64(len(o.verts)):
			return o.in.bad(helpExport, "line %d, face %d: vertex %d counts back beyond the first of %d vertices", o.line(), len(o.ends)+1, v, len(o.verts))
		default:
			v += int64(len(o.verts))
		}
		o.corners = append(o.corners, int32(v))
	}
	n := len(o.corners) - from
	if n < 3 {
		return o.in.bad(helpExport, "line %d: face %d has %s, and a face has 3 or more", o.line(), len(o.ends)+1, plural(int64(n), "corner"))
	}
	if o.facets += int64(n - 2); o.facets > int64(o.in.max.MaxFacets) {
		return o.in.tooMany(o.facets)
	}
	o.ends = append(o.ends, len(o.corners))
	return nil
}

// cutFaces turns the faces into triangles.
func (o *objText) cutFaces(ctx context.Context) error {
	if o.words == 0 {
		return o.in.bad(helpFormat, "no line of it is one of an OBJ file")
	}
	o.out = make([][3]int32, 0, o.facets)
	from := 0
	for i, to := range o.ends {
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		for _, v := range o.corners[from:to] {
			if int(v) >= len(o.verts) {
				o.pos = o.places[i/64]
				return o.in.bad(helpExport, "face %d, at or soon after line %d, asks for vertex %d, but there are %d", i+1, o.line(), v+1, len(o.verts))
			}
		}
		if err := o.cut(ctx, o.corners[from:to]); err != nil {
			return err
		}
		from = to
	}
	return nil
}
