package mesh

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
)

// model3MF is one model part.
type model3MF struct {
	a       *archive3MF
	name    string
	unit    string
	objects map[string]*object3MF
	items   []ref3MF

	src *source3MF
	dec *xml.Decoder
}

type object3MF struct {
	kind       string // "model" if empty
	verts      []Vec
	facets     [][3]int32
	components []ref3MF
	beams      int
	sliced     bool   // has slices beside its mesh
	coloured   bool   // its facets have properties
	coarse     string // why the mesh is not the real one
}

// compact drops vertices that no facet uses where they are many: an object may
// be placed a million times, and only facets are counted.
func (o *object3MF) compact() {
	if len(o.verts) <= 3*len(o.facets) {
		return
	}
	o.verts = slices.Clone(dropUnused(o.verts, o.facets))
}

// ref3MF is a build item or a component.
type ref3MF struct {
	kind         string
	object, path string
	transform    transform3MF
	line         int
}

// source3MF hands its bytes to the XML decoder one at a time, so that the
// decoder never reads ahead and the lists of vertices and triangles, nearly all
// of a file, can be scanned past it.
type source3MF struct {
	scanner
	tag int // where the decoder started on what it reads now
}

// max3MFTag bounds one tag or text: the decoder takes some twelve times its
// size in memory. max3MFNest bounds the tags that are open at once.
const (
	max3MFTag  = 16 << 20
	max3MFNest = 256
)

var errTag = errors.New("a tag or text of more than 16 MiB")

func (s *source3MF) ReadByte() (byte, error) {
	if s.pos >= len(s.data) {
		return 0, io.EOF
	}
	if s.pos-s.tag > max3MFTag {
		return 0, errTag
	}
	s.pos++
	return s.data[s.pos-1], nil
}

func (s *source3MF) Read([]byte) (int, error) { return 0, errors.ErrUnsupported }

func (m *model3MF) bad(help, format string, args ...any) error {
	e := m.a.in.bad(help, format, args...)
	if m.name != "3d/3dmodel.model" {
		e.What = "part \"" + m.name + "\": " + e.What
	}
	return e
}

// utf8XML turns UTF-16, which the specification allows, into UTF-8.
func utf8XML(d []byte) []byte {
	var big bool
	switch {
	case bytes.HasPrefix(d, []byte{0xfe, 0xff}), bytes.HasPrefix(d, []byte{0, '<'}):
		big = true
	case bytes.HasPrefix(d, []byte{0xff, 0xfe}), bytes.HasPrefix(d, []byte{'<', 0}):
	default:
		return bytes.TrimPrefix(d, []byte("\xef\xbb\xbf"))
	}
	u := make([]uint16, len(d)/2)
	for i := range u {
		lo, hi := d[2*i], d[2*i+1]
		if big {
			lo, hi = hi, lo
		}
		u[i] = uint16(lo) | uint16(hi)<<8
	}
	return bytes.TrimPrefix([]byte(string(utf16.Decode(u))), []byte("\ufeff"))
}

// parse walks through the part with the XML decoder, but for the long lists.
func (m *model3MF) parse(data []byte) error {
	m.src = &source3MF{scanner: scanner{data: data}}
	m.dec = xml.NewDecoder(m.src)
	m.dec.CharsetReader = func(label string, r io.Reader) (io.Reader, error) {
		if strings.HasPrefix(strings.ToLower(label), "utf-") { // made UTF-8 before
			return m.src, nil
		}
		return nil, errors.New("encoding " + label + " is neither UTF-8 nor UTF-16")
	}
	var object *object3MF
	seen, depth := false, 0
	for {
		if err := m.a.ctx.Err(); err != nil {
			return err
		}
		m.src.tag = m.src.pos
		tok, err := m.dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return m.broken(err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			depth++
			switch {
			case depth > max3MFNest:
				return m.bad(helpExport, "line %d: more than %d tags are open at once", m.src.line(), max3MFNest)
			case !seen:
				if tok.Name.Local != "model" || tok.Name.Space != ns3MF {
					return m.bad(helpFormat, "it starts with <%s>, not with the <model> of the 3MF core specification", tok.Name.Local)
				}
				seen = true
				err = m.start(tok)
			case tok.Name.Local == "object" && tok.Name.Space == ns3MF:
				object, err = m.object(tok)
			default:
				err = m.element(tok, object)
			}
			if err != nil {
				return err
			}
		case xml.EndElement:
			depth--
			if tok.Name.Local == "object" && tok.Name.Space == ns3MF && object != nil {
				object.compact()
				object = nil
			}
		case xml.Directive:
			return m.bad(helpExport, "it holds a document type, which 3MF does not allow")
		}
	}
	if !seen {
		return m.bad(helpFormat, "it holds no <model>")
	}
	return nil
}

func (m *model3MF) broken(err error) error {
	return m.bad(helpExport, "line %d of its XML is broken: %s", m.src.line(), sayXML(err))
}

// sayXML words an error of the XML decoder, which may repeat what the file says
// at any length, line ends and all.
func sayXML(err error) string {
	why := err.Error()
	if e := new(xml.SyntaxError); errors.As(err, &e) {
		why = e.Msg
	}
	if r := []rune(why); len(r) > 200 {
		why = string(r[:200]) + " ..."
	}
	q := strconv.Quote(why)
	return strings.ReplaceAll(q[1:len(q)-1], `\"`, `"`)
}

// start checks the <model> element.
func (m *model3MF) start(e xml.StartElement) error {
	spaces := map[string]string{}
	required, unit := "", ""
	for _, a := range e.Attr {
		switch {
		case a.Name.Space == "xmlns":
			spaces[a.Name.Local] = a.Value
		case a.Name.Space != "":
		case a.Name.Local == "unit":
			unit = a.Value
		case a.Name.Local == "requiredextensions":
			required = a.Value
		}
	}
	var ok bool
	if m.unit, ok = units3MF[unit]; !ok {
		return m.bad(helpExport, "its unit is %s, which is none of 3MF's", shown([]byte(unit)))
	}
	for _, prefix := range strings.Fields(required) {
		ns, ok := spaces[prefix]
		if !ok {
			return m.bad(helpExport, "it requires the extension %s, but does not say which that is", shown([]byte(prefix)))
		}
		if !harmless3MF[ns] {
			return m.bad("Export the part as plain 3MF or STL.", "it requires the extension %q, and a reader that does not know it must not read the file", ns)
		}
	}
	return nil
}

// object begins an object.
func (m *model3MF) object(e xml.StartElement) (*object3MF, error) {
	o := &object3MF{}
	id := ""
	for _, a := range e.Attr {
		switch {
		case a.Name.Space == "" && a.Name.Local == "id":
			id = a.Value
		case a.Name.Space == "" && a.Name.Local == "type":
			o.kind = a.Value
		case a.Name.Space == ns3MFSlice && a.Name.Local == "slicestackid":
			o.sliced = true
		case a.Name.Local == "meshresolution" || a.Name.Local == "modelresolution":
			if a.Value != "fullres" {
				o.coarse = a.Value
			}
		}
	}
	if id == "" || m.objects[id] != nil {
		return nil, m.bad(helpExport, "line %d: an object has no number of its own (%s)", m.src.line(), shown([]byte(id)))
	}
	m.objects[id] = o
	return o, nil
}

// element reads an element below <model>; those that say nothing about
// triangles are passed over.
func (m *model3MF) element(e xml.StartElement, o *object3MF) error {
	if e.Name.Space == ns3MFBeam && e.Name.Local == "beam" && o != nil {
		o.beams++
	}
	if e.Name.Space != ns3MF {
		return nil
	}
	switch e.Name.Local {
	case "vertices":
		if o != nil {
			return m.vertices(o)
		}
	case "triangles":
		if o != nil {
			return m.triangles(o)
		}
	case "component":
		if o == nil {
			return nil
		}
		r, err := m.ref(e, "component in")
		o.components = append(o.components, r)
		return err
	case "item":
		r, err := m.ref(e, "build item of")
		m.items = append(m.items, r)
		return err
	}
	return nil
}

// ref reads a build item or a component.
func (m *model3MF) ref(e xml.StartElement, kind string) (ref3MF, error) {
	r := ref3MF{kind: kind, transform: identity3MF, line: m.src.line()}
	for _, a := range e.Attr {
		switch {
		case a.Name.Space == ns3MFProd && a.Name.Local == "path":
			r.path = a.Value
		case a.Name.Space != "":
		case a.Name.Local == "objectid":
			r.object = a.Value
		case a.Name.Local == "transform":
			f := strings.Fields(a.Value)
			if len(f) != len(r.transform) {
				return r, m.bad(helpExport, "line %d: a transform has %d numbers, not %d", r.line, len(f), len(r.transform))
			}
			for i, w := range f {
				var ok bool
				if r.transform[i], ok = parseNumber([]byte(w)); !ok {
					return r, m.notNumber(r.line, []byte(w))
				}
			}
		}
	}
	return r, nil
}

func (m *model3MF) notNumber(line int, w []byte) error {
	if bytes.IndexByte(w, ',') >= 0 {
		return m.bad("Export with a point as decimal sign.", "line %d: %s is written with a comma, and 3MF has a point in numbers", line, shown(w))
	}
	return m.bad(helpExport, "line %d: found %s where a number should stand", line, shown(w))
}

// vertices scans a list of vertices past the decoder.
func (m *model3MF) vertices(o *object3MF) error {
	names := [4]string{"x", "y", "z"}
	if o.verts != nil {
		return m.bad(helpExport, "line %d: an object has two lists of vertices", m.src.line())
	}
	o.verts = []Vec{}
	return m.list("vertex", "vertices", func(s *element3MF) error {
		var p Vec
		for k := range p {
			w, ok := s.attr(names[k])
			if !ok {
				return m.bad(helpExport, "line %d: vertex %d has no %s", m.src.line(), len(o.verts), names[k])
			}
			if p[k], ok = parseNumber(bytes.TrimSpace(w)); !ok {
				return m.notNumber(m.src.line(), w)
			}
		}
		o.verts = append(o.verts, p)
		return nil
	})
}

// triangles scans a list of triangles past the decoder.
func (m *model3MF) triangles(o *object3MF) error {
	names := [3]string{"v1", "v2", "v3"}
	return m.list("triangle", "triangles", func(s *element3MF) error {
		var f [3]int32
		for k := range f {
			w, _ := s.attr(names[k])
			v, ok := parseIndex(bytes.TrimSpace(w))
			if !ok {
				return m.bad(helpExport, "line %d: triangle %d has %s as %s, not the number of a vertex", m.src.line(), len(o.facets), shown(w), names[k])
			}
			if v < 0 || v >= int64(len(o.verts)) {
				return m.bad(helpExport, "line %d: triangle %d asks for vertex %d (0 is the first), but there are %d", m.src.line(), len(o.facets), v, len(o.verts))
			}
			f[k] = int32(v)
		}
		if len(o.facets) >= m.a.in.max.MaxFacets {
			return m.a.in.tooMany(int64(len(o.facets)) + 1)
		}
		o.facets = append(o.facets, f)
		o.coloured = o.coloured || bytes.Contains(s.attrs, []byte("pid="))
		return nil
	})
}

// list calls one for every element named item up to the end tag of the list,
// and leaves that tag to the decoder.
func (m *model3MF) list(item, list string, one func(*element3MF) error) error {
	s := m.src
	if s.pos >= 2 && s.data[s.pos-2] == '/' {
		return nil // <vertices/>
	}
	e := &element3MF{}
	for n := 0; ; n++ {
		if n%4096 == 0 && m.a.ctx.Err() != nil {
			return m.a.ctx.Err()
		}
		before := s.pos
		if !e.next(&s.scanner) {
			return m.bad(helpExport, "the text ends within the list of %s", list)
		}
		switch {
		case e.closing && local(e.name) == list:
			s.pos = before
			return nil
		case e.closing && local(e.name) == item, len(e.name) > 0 && (e.name[0] == '!' || e.name[0] == '?'):
		case !e.closing && local(e.name) == item:
			if err := one(e); err != nil {
				return err
			}
		default:
			return m.bad(helpExport, "line %d: found %s in the list of %s", s.line(), shown(e.name), list)
		}
	}
}

func local(name []byte) string {
	return string(name[bytes.IndexByte(name, ':')+1:])
}

// element3MF is a tag of a list: the quick reader for the only part of a file
// that is long.
type element3MF struct {
	name    []byte // with prefix; "!" for a comment, "?" for an instruction
	closing bool
	attrs   []byte // text of the attributes
}

// next reads the next tag; false at the end of the text.
func (e *element3MF) next(s *scanner) bool {
	d := s.data
	i := bytes.IndexByte(d[s.pos:], '<')
	if i < 0 {
		return false
	}
	from := s.pos + i + 1
	for _, skip := range []struct{ open, end, name string }{{"!--", "-->", "!"}, {"?", "?>", "?"}} {
		if bytes.HasPrefix(d[from:], []byte(skip.open)) {
			i := bytes.Index(d[from:], []byte(skip.end))
			if i < 0 {
				return false
			}
			s.pos = from + i + len(skip.end)
			e.name, e.closing = []byte(skip.name), false
			return true
		}
	}
	i = bytes.IndexByte(d[from:], '>')
	if i < 0 {
		return false
	}
	s.pos = from + i + 1
	tag := d[from : from+i]
	e.closing = len(tag) > 0 && tag[0] == '/'
	if e.closing {
		tag = tag[1:]
	}
	n := 0
	for n < len(tag) && !isBlank(tag[n]) && tag[n] != '/' {
		n++
	}
	e.name, e.attrs = tag[:n], tag[n:]
	return true
}

// attr returns the value of an attribute without prefix. Attributes are mostly
// asked for in the order in which they stand.
func (e *element3MF) attr(name string) ([]byte, bool) {
	d := e.attrs
	for i := 0; i < len(d); {
		for i < len(d) && (isBlank(d[i]) || d[i] == '/') {
			i++
		}
		from := i
		for i < len(d) && d[i] != '=' && !isBlank(d[i]) {
			i++
		}
		key := d[from:i]
		for i < len(d) && d[i] != '"' && d[i] != '\'' {
			i++
		}
		if i >= len(d) {
			return nil, false
		}
		end := bytes.IndexByte(d[i+1:], d[i])
		if end < 0 {
			return nil, false
		}
		if string(key) == name {
			return d[i+1 : i+1+end], true
		}
		i += end + 2
	}
	return nil, false
}
