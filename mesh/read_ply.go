package mesh

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
)

// readPLY reads the x, y and z of the vertices and the vertex lists of the
// faces (or triangle strips) of a PLY file, ASCII or binary of either byte
// order; every other element and property is skipped.
func readPLY(ctx context.Context, in *input) (*raw, error) {
	p := &plyFile{in: in, cutter: cutter{work: cutWork}}
	p.data = in.data
	if err := p.header(); err != nil {
		return nil, err
	}
	for i := range p.elements {
		if err := p.element(ctx, &p.elements[i]); err != nil {
			return nil, err
		}
	}
	if err := p.cutFaces(ctx); err != nil {
		return nil, err
	}
	r := &raw{format: "PLY", bodies: []body{{verts: p.verts, facets: p.out}}, facets: len(p.out) + int(p.lines)}
	if p.lines > 0 {
		r.notes = append(r.notes, fmt.Sprintf("%s with fewer than 3 corners were left out.", plural(p.lines, "face")))
	}
	p.noteFans(r)
	return r, nil
}

type plyFile struct {
	scanner
	cutter
	in       *input
	order    binary.ByteOrder // nil: ASCII
	elements []plyElement
	haveXYZ  bool
	corners  []int32
	ends     []int
	facets   int64
	lines    int64
}

type plyElement struct {
	name  string
	count int64
	props []plyProp
}

type plyProp struct {
	kind  plyKind
	count plyKind // of the length, for a list; 0 for a single value
	use   plyUse
}

type plyUse int

const (
	plySkip plyUse = iota
	plyX
	plyY
	plyZ
	plyFace
	plyStrip
)

// plyKind is a type of number.
type plyKind int

const (
	plyInt8 plyKind = iota + 1
	plyUint8
	plyInt16
	plyUint16
	plyInt32
	plyUint32
	plyFloat32
	plyFloat64
)

var plyKinds = map[string]plyKind{
	"char": plyInt8, "uchar": plyUint8, "short": plyInt16, "ushort": plyUint16, "int": plyInt32, "uint": plyUint32, "float": plyFloat32, "double": plyFloat64,
	"int8": plyInt8, "uint8": plyUint8, "int16": plyInt16, "uint16": plyUint16, "int32": plyInt32, "uint32": plyUint32, "float32": plyFloat32, "float64": plyFloat64,
}

// size is in bytes.
func (k plyKind) size() int {
	switch k {
	case plyInt8, plyUint8:
		return 1
	case plyInt16, plyUint16:
		return 2
	case plyFloat64:
		return 8
	}
	return 4
}

// header reads up to end_header and its line end.
func (p *plyFile) header() error {
	if w := p.lineWord(); string(w) != "ply" {
		return p.in.bad(helpFormat, "a PLY file starts with the line \"ply\", and this one does not")
	}
	format := ""
	for {
		p.skipLine()
		if p.pos >= len(p.data) || p.pos > 1<<20 {
			return p.in.bad(helpExport, "its header has no end_header")
		}
		w := p.lineWord()
		switch string(w) {
		case "format":
			format = string(p.lineWord())
		case "element":
			name := string(p.lineWord())
			w := p.lineWord()
			n, ok := parseIndex(w)
			if !ok || n < 0 {
				return p.in.bad(helpExport, "line %d: found %s where the number of %s should stand", p.line(), shown(w), shown([]byte(name)))
			}
			p.elements = append(p.elements, plyElement{name: name, count: n})
		case "property":
			if err := p.property(); err != nil {
				return err
			}
		case "comment", "obj_info", "":
		case "end_header":
			p.skipLine()
			return p.checkHeader(format)
		default:
			return p.in.bad(helpExport, "line %d: found %s where a line of a PLY header should stand", p.line(), shown(w))
		}
	}
}

// property reads what follows the word.
func (p *plyFile) property() error {
	if len(p.elements) == 0 {
		return p.in.bad(helpExport, "line %d: a property stands before any element", p.line())
	}
	e := &p.elements[len(p.elements)-1]
	var q plyProp
	w := p.lineWord()
	if string(w) == "list" {
		if q.count = plyKinds[string(p.lineWord())]; q.count == 0 || q.count >= plyFloat32 {
			return p.in.bad(helpExport, "line %d: the length of a list has no whole-number type", p.line())
		}
		w = p.lineWord()
	}
	if q.kind = plyKinds[string(w)]; q.kind == 0 {
		return p.in.bad(helpExport, "line %d: found %s where the type of a property should stand", p.line(), shown(w))
	}
	name := string(p.lineWord())
	switch {
	case e.name == "vertex" && q.count == 0:
		q.use = map[string]plyUse{"x": plyX, "y": plyY, "z": plyZ}[name]
	case e.name == "face" && q.count != 0 && (name == "vertex_indices" || name == "vertex_index"):
		q.use = plyFace
	case e.name == "tristrips" && q.count != 0 && (name == "vertex_indices" || name == "vertex_index"):
		q.use = plyStrip
	}
	if q.use >= plyFace && q.kind >= plyFloat32 {
		return p.in.bad(helpExport, "line %d: the vertices of a face have no whole-number type", p.line())
	}
	e.props = append(e.props, q)
	return nil
}

func (p *plyFile) checkHeader(format string) error {
	switch format {
	case "ascii":
	case "binary_little_endian":
		p.order = binary.LittleEndian
	case "binary_big_endian":
		p.order = binary.BigEndian
	default:
		return p.in.bad(helpExport, "its format is %s, not ascii, binary_little_endian or binary_big_endian", shown([]byte(format)))
	}
	for _, e := range p.elements {
		axes := 0
		for _, q := range e.props {
			if q.use >= plyX && q.use <= plyZ {
				axes |= 1 << q.use
			}
		}
		if e.name == "vertex" {
			p.haveXYZ = axes == 1<<plyX|1<<plyY|1<<plyZ
		}
	}
	if !p.haveXYZ {
		return p.in.bad(helpExport, "its vertices have no x, y and z")
	}
	return nil
}

// element reads the rows of one element.
func (p *plyFile) element(ctx context.Context, e *plyElement) error {
	if len(e.props) == 0 {
		return nil
	}
	if e.name == "vertex" {
		// A row takes a byte at least, so a lying count can't ask for more
		// memory than a multiple of the file's size.
		if e.count > int64(len(p.data)-p.pos) || e.count > math.MaxInt32 {
			return p.in.bad(helpExport, "its head promises %d vertices, more than the rest of the file can hold", e.count)
		}
		p.verts = make([]Vec, 0, e.count)
	}
	for row := range e.count {
		if row%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if err := p.row(e, row); err != nil {
			return err
		}
	}
	return nil
}

// row reads one row: a line of its own in ASCII.
func (p *plyFile) row(e *plyElement, row int64) error {
	var at Vec
	if p.order == nil {
		p.skipBlanks()
	}
	for i := range e.props {
		q := &e.props[i]
		if q.count != 0 {
			if err := p.list(e, q, row); err != nil {
				return err
			}
			continue
		}
		v, ok := p.value(q.kind)
		if !ok || q.use != plySkip && v-v != 0 {
			return p.rowError(e, row, v, ok)
		}
		if q.use != plySkip {
			at[q.use-plyX] = v
		}
	}
	if e.name == "vertex" {
		p.verts = append(p.verts, at)
	}
	if p.order == nil && len(p.lineWord()) > 0 {
		return p.in.bad(helpExport, "row %d of %s, line %d, has more numbers than the head says", row+1, shown([]byte(e.name)), p.line())
	}
	return nil
}

// list reads a list: the corners of a face, a strip, or something to skip.
func (p *plyFile) list(e *plyElement, q *plyProp, row int64) error {
	n, ok := p.value(q.count)
	if !ok || n < 0 || n > float64(len(p.data)) || n != math.Trunc(n) {
		return p.rowError(e, row, n, ok)
	}
	from := len(p.corners)
	for range int(n) {
		v, ok := p.value(q.kind)
		if !ok {
			return p.rowError(e, row, v, ok)
		}
		switch {
		case q.use == plySkip:
			continue
		case v == -1 && q.use == plyStrip, v >= 0 && v < math.MaxInt32 && v == math.Trunc(v):
		default:
			return p.rowError(e, row, v, ok)
		}
		p.corners = append(p.corners, int32(v))
	}
	switch {
	case q.use == plySkip:
		return nil
	case q.use == plyStrip:
		return p.strip(from)
	case n < 3:
		p.corners = p.corners[:from]
		p.lines++
		return nil
	}
	return p.face()
}

// face ends a face at the end of the corners.
func (p *plyFile) face() error {
	from := 0
	if len(p.ends) > 0 {
		from = p.ends[len(p.ends)-1]
	}
	if p.facets += int64(len(p.corners) - from - 2); p.facets > int64(p.in.max.MaxFacets) {
		return p.in.tooMany(p.facets)
	}
	p.ends = append(p.ends, len(p.corners))
	return nil
}

// strip turns the corners from there on into triangles: each corner makes one
// with the two before it, every second one turned round; -1 starts anew.
func (p *plyFile) strip(from int) error {
	list := append([]int32(nil), p.corners[from:]...)
	p.corners = p.corners[:from]
	start := 0
	for i, v := range list {
		if v == -1 {
			start = i + 1
			continue
		}
		if i-start < 2 {
			continue
		}
		a, b := list[i-2], list[i-1]
		if (i-start)%2 == 1 {
			a, b = b, a
		}
		p.corners = append(p.corners, a, b, v)
		if err := p.face(); err != nil {
			return err
		}
	}
	return nil
}

// value reads one number.
func (p *plyFile) value(k plyKind) (float64, bool) {
	if p.order == nil {
		w := p.lineWord()
		if v, ok := parseNumber(w); ok || k < plyFloat32 || len(w) == 0 {
			return v, ok
		}
		v, err := strconv.ParseFloat(string(w), 64) // nan may stand in a property that is skipped
		return v, err == nil
	}
	n := k.size()
	if p.pos+n > len(p.data) {
		p.pos = len(p.data)
		return 0, false
	}
	d := p.data[p.pos:]
	p.pos += n
	switch k {
	case plyInt8:
		return float64(int8(d[0])), true
	case plyUint8:
		return float64(d[0]), true
	case plyInt16:
		return float64(int16(p.order.Uint16(d))), true
	case plyUint16:
		return float64(p.order.Uint16(d)), true
	case plyInt32:
		return float64(int32(p.order.Uint32(d))), true
	case plyUint32:
		return float64(p.order.Uint32(d)), true
	case plyFloat32:
		return float64(math.Float32frombits(p.order.Uint32(d))), true
	}
	return math.Float64frombits(p.order.Uint64(d)), true
}

func (p *plyFile) rowError(e *plyElement, row int64, v float64, ok bool) error {
	name := shown([]byte(e.name))
	switch {
	case p.pos >= len(p.data) && !ok:
		return p.in.bad(helpExport, "its head promises %d rows of %s, but the file ends within row %d", e.count, name, row+1)
	case !ok:
		return p.in.bad(helpExport, "row %d of %s, line %d, holds something that is not the number that should stand there", row+1, name, p.line())
	}
	return p.in.bad(helpExport, "row %d of %s holds %v, which has no meaning there", row+1, name, v)
}

// cutFaces turns the faces into triangles.
func (p *plyFile) cutFaces(ctx context.Context) error {
	p.out = make([][3]int32, 0, p.facets)
	from := 0
	for i, to := range p.ends {
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		for _, v := range p.corners[from:to] {
			if int(v) >= len(p.verts) {
				return p.in.bad(helpExport, "face %d asks for vertex %d (0 is the first), but there are %d", i+1, v, len(p.verts))
			}
		}
		if err := p.cut(ctx, p.corners[from:to]); err != nil {
			return err
		}
		from = to
	}
	return nil
}
