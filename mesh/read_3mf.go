package mesh

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path"
	"slices"
	"strings"
)

// max3MFInstances bounds the objects that a 3MF archive places. The other bounds
// are those of LoadOptions, of which MaxBytes holds for all parts together that
// are unpacked.
const max3MFInstances = 1_000_000

const (
	ns3MF        = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
	ns3MFProd    = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
	ns3MFSlice   = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
	ns3MFBeam    = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
	type3MFModel = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
)

// harmless3MF lists the extensions that a file may require without changing what
// its triangles mean: what they add is either read here (production) or named
// in the notes (beams, slices). All others are refused, as the core
// specification (1.3, "requiredextensions") demands.
var harmless3MF = map[string]bool{
	ns3MFProd: true, ns3MFSlice: true, ns3MFBeam: true,
	"http://schemas.microsoft.com/3dmanufacturing/beamlattice/balls/2020/07": true,
	"http://schemas.microsoft.com/3dmanufacturing/material/2015/02":          true,
	"http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07":      true,
}

// units3MF maps the unit names of the core specification to ours.
var units3MF = map[string]string{"": "mm", "micron": "um", "millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "in", "foot": "ft"}

// read3MF reads a 3MF package after the core specification, with model parts
// split over several files (production extension): every build item of type
// model, its components and transforms. Beam lattices, slices, colours and
// objects of other types are left out, with a note where geometry is lost.
func read3MF(ctx context.Context, in *input) (*raw, error) {
	z, err := zip.NewReader(bytes.NewReader(in.data), int64(len(in.data)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, in.bad(helpExport, "it can't be opened as the ZIP archive that a 3MF file is: %v", err)
	}
	a := &archive3MF{in: in, ctx: ctx, files: map[string]*zip.File{}, left: in.max.MaxBytes, models: map[string]*model3MF{}}
	if len(z.File) > in.max.MaxEntries {
		return nil, in.over(BoundEntries, helpExport, "the archive holds %d files, and %d are allowed", len(z.File), in.max.MaxEntries)
	}
	for _, f := range z.File {
		name := part3MF(f.Name)
		if a.files[name] != nil {
			return nil, in.bad(helpExport, "the archive holds two files named %q", name)
		}
		a.files[name] = f
	}
	root, err := a.root()
	if err != nil {
		return nil, err
	}
	return a.assemble(root)
}

// part3MF gives the one spelling of a part's name: names are compared without
// regard to case (Open Packaging Conventions, ECMA-376-2, 6.3.5).
func part3MF(name string) string {
	if u, err := url.PathUnescape(name); err == nil {
		name = u
	}
	return strings.ToLower(strings.TrimPrefix(path.Clean("/"+strings.ReplaceAll(name, "\\", "/")), "/"))
}

type archive3MF struct {
	in     *input
	ctx    context.Context // of the one call that this value lives for
	files  map[string]*zip.File
	left   int64 // bytes that may still be unpacked
	models map[string]*model3MF

	facets int64
	notes  []string
}

// unpack returns the contents of a part, within the bounds.
func (a *archive3MF) unpack(name string) ([]byte, error) {
	f := a.files[name]
	if f == nil {
		return nil, a.in.bad(helpExport, "the part %q that it refers to is not in the archive", name)
	}
	size := int64(min(f.UncompressedSize64, 1<<62))
	if size > 16<<20 && size/int64(a.in.max.MaxRatio) > int64(f.CompressedSize64) {
		return nil, a.in.over(BoundRatio, "Get the file from its author again: a mesh is not packed like this.",
			"part %q claims to unpack to %d times its size, and %d times are allowed", name, size/max(1, int64(f.CompressedSize64)), a.in.max.MaxRatio)
	}
	if size > a.left {
		return nil, a.in.over(BoundBytes, helpLimit, "it unpacks to more than the %d bytes that are allowed", a.in.max.MaxBytes)
	}
	r, err := f.Open()
	if err != nil {
		return nil, a.in.bad(helpExport, "part %q can't be unpacked: %v", name, err)
	}
	defer r.Close()
	// The stated size may lie, so what is allocated at once is no more than
	// models usually unpack to.
	var buf bytes.Buffer
	buf.Grow(int(min(size, 32*int64(min(f.CompressedSize64, uint64(len(a.in.data)))))) + bytes.MinRead)
	for {
		if err := a.ctx.Err(); err != nil {
			return nil, err
		}
		n, err := io.CopyN(&buf, r, min(1<<22, a.left+1-int64(buf.Len())))
		if int64(buf.Len()) > a.left {
			return nil, a.in.over(BoundBytes, helpLimit, "it unpacks to more than the %d bytes that are allowed", a.in.max.MaxBytes)
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, a.in.bad(helpExport, "part %q can't be unpacked: %v after %d bytes", name, err, int64(buf.Len())+n)
		}
	}
	a.left -= int64(buf.Len())
	return utf8XML(buf.Bytes()), nil
}

// root finds and reads the model that the package is about.
func (a *archive3MF) root() (*model3MF, error) {
	name := "3d/3dmodel.model"
	if a.files["_rels/.rels"] != nil {
		data, err := a.unpack("_rels/.rels")
		if err != nil {
			return nil, err
		}
		var rels struct {
			Relationship []struct {
				Target string `xml:",attr"`
				Type   string `xml:",attr"`
			}
		}
		if err := xml.Unmarshal(data, &rels); err != nil {
			return nil, a.in.bad(helpExport, "its list of relationships is broken: %s", sayXML(err))
		}
		i := slices.IndexFunc(rels.Relationship, func(r struct {
			Target string `xml:",attr"`
			Type   string `xml:",attr"`
		}) bool {
			return r.Type == type3MFModel
		})
		if i < 0 {
			return nil, a.in.bad(helpFormat, "the archive names no 3D model among its relationships")
		}
		name = part3MF(rels.Relationship[i].Target)
	} else if a.files[name] == nil {
		return nil, a.in.bad(helpFormat, "it is a ZIP archive, but not a 3MF package: it has no _rels/.rels")
	}
	return a.model(name)
}

// model reads a model part, once.
func (a *archive3MF) model(name string) (*model3MF, error) {
	if m := a.models[name]; m != nil {
		return m, nil
	}
	data, err := a.unpack(name)
	if err != nil {
		return nil, err
	}
	m := &model3MF{a: a, name: name, objects: map[string]*object3MF{}}
	if err := m.parse(data); err != nil {
		return nil, err
	}
	a.models[name] = m
	return m, nil
}

// assemble places the build items of the root model.
func (a *archive3MF) assemble(root *model3MF) (*raw, error) {
	r := &raw{format: "3MF", unit: root.unit}
	p := &placer3MF{a: a, r: r, root: root}
	if len(root.items) == 0 {
		return nil, a.in.bad(helpExport, "it has no build item, so it does not say which object is the part")
	}
	for i := range root.items {
		if err := p.place(&root.items[i], root, identity3MF, 0); err != nil {
			return nil, err
		}
	}
	r.facets = int(a.facets)
	r.notes = append(r.notes, a.notes...)
	if r.facets == 0 {
		what := "it is a good 3MF file, but holds no triangles"
		if p.beams > 0 {
			what = fmt.Sprintf("it holds no triangles but %s of a beam lattice, which is no mesh", plural(int64(p.beams), "beam"))
		}
		return nil, a.in.bad("Export the part with its lattice turned into a mesh.", "%s", what)
	}
	if p.beams > 0 {
		r.notes = append(r.notes, fmt.Sprintf("%s of a beam lattice were left out: beams are not triangles.", plural(int64(p.beams), "beam")))
	}
	if p.sliced {
		r.notes = append(r.notes, "Slices were left out: only the triangles were read, which may be no more than a stand-in for them.")
	}
	if p.coloured {
		r.notes = append(r.notes, "Colours and materials of facets were left out, unchecked.")
	}
	if p.skipped > 0 {
		r.notes = append(r.notes, fmt.Sprintf("%s of other types than model (support and the like) %s left out.", plural(int64(p.skipped), "object"), wasWere(int64(p.skipped))))
	}
	return r, nil
}

// placer3MF walks through items and components.
type placer3MF struct {
	a         *archive3MF
	r         *raw
	root      *model3MF
	instances int
	beams     int
	skipped   int
	sliced    bool
	coloured  bool
	path      []*object3MF // from the item down, to find cycles
}

// place appends the bodies of one item or component, of model m.
func (p *placer3MF) place(ref *ref3MF, m *model3MF, t transform3MF, depth int) error {
	in := p.a.in
	if err := p.a.ctx.Err(); err != nil {
		return err
	}
	if p.instances++; p.instances > max3MFInstances {
		return in.bad(helpExport, "it places more than %d objects", max3MFInstances)
	}
	if depth > in.max.MaxNesting {
		return in.over(BoundNesting, helpExport, "its objects are nested more than the %d levels deep that are allowed", in.max.MaxNesting)
	}
	if ref.path != "" {
		var err error
		if m, err = p.a.model(part3MF(ref.path)); err != nil {
			return err
		}
		if m.unit != p.root.unit {
			return in.bad(helpExport, "part %q has the unit %s, but the package has %s", m.name, m.unit, p.root.unit)
		}
	}
	o := m.objects[ref.object]
	if o == nil {
		return in.bad(helpExport, "%s %q, line %d, refers to object %q, which is not there", ref.kind, m.name, ref.line, ref.object)
	}
	if slices.Contains(p.path, o) {
		return in.bad(helpExport, "object %q is a component of itself", ref.object)
	}
	if o.kind != "" && o.kind != "model" {
		p.skipped++
		return nil
	}
	if o.coarse != "" {
		return in.bad("Export the part with its full-resolution mesh.", "the mesh of object %q is marked %s: a stand-in, not the part", ref.object, o.coarse)
	}
	t = ref.transform.then(t)
	p.path = append(p.path, o)
	defer func() { p.path = p.path[:len(p.path)-1] }()
	p.beams += o.beams
	p.sliced = p.sliced || o.sliced
	p.coloured = p.coloured || o.coloured
	if len(o.facets) > 0 {
		if err := p.body(o, t); err != nil {
			return err
		}
	}
	for i := range o.components {
		if err := p.place(&o.components[i], m, t, depth+1); err != nil {
			return err
		}
	}
	return nil
}

// body appends an object's mesh, moved to its place.
func (p *placer3MF) body(o *object3MF, t transform3MF) error {
	if p.a.facets += int64(len(o.facets)); p.a.facets > int64(p.a.in.max.MaxFacets) {
		return p.a.in.tooMany(p.a.facets)
	}
	b := body{verts: o.verts, facets: o.facets}
	if t != identity3MF {
		b.verts = make([]Vec, len(o.verts))
		for i, v := range o.verts {
			b.verts[i] = t.apply(v)
		}
	}
	switch d := t.det(); {
	case d == 0 || d-d != 0:
		return p.a.in.bad(helpExport, "a transform flattens an object: its determinant is %v", d)
	case d < 0: // mirrored: turn the facets, so that their outside stays outside
		b.facets = make([][3]int32, len(o.facets))
		for i, f := range o.facets {
			b.facets[i] = [3]int32{f[0], f[2], f[1]}
		}
	}
	p.r.bodies = append(p.r.bodies, b)
	return nil
}

// transform3MF is an affine map of row vectors, the twelve numbers of a 3MF
// transform in their order: (x y z 1) times four rows of three.
type transform3MF [12]float64

var identity3MF = transform3MF{0: 1, 4: 1, 8: 1}

func (t *transform3MF) apply(v Vec) (w Vec) {
	for k := range w {
		w[k] = v.Dot(Vec{t[k], t[3+k], t[6+k]}) + t[9+k]
	}
	return w
}

// then gives the map that does t first and u after it.
func (t transform3MF) then(u transform3MF) (w transform3MF) {
	for r := range 4 {
		for k := range 3 {
			w[3*r+k] = Vec{t[3*r], t[3*r+1], t[3*r+2]}.Dot(Vec{u[k], u[3+k], u[6+k]})
			if r == 3 {
				w[9+k] += u[9+k]
			}
		}
	}
	return w
}

func (t *transform3MF) det() float64 {
	return Vec{t[0], t[1], t[2]}.Dot(Vec{t[3], t[4], t[5]}.Cross(Vec{t[6], t[7], t[8]}))
}
