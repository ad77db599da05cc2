package page

import (
	"context"
	"fmt"
	"image/color"
	"math"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/still"
)

// This file makes what the page's script draws. Lengths are mm along the
// machine's axes, from the corner of the part's box; heights too, so that the
// platform lies at minus the lift.

// scene goes into the page as JSON, and pack beside it.
type scene struct {
	Facets   int         `json:"facets"`
	Verts    int         `json:"verts"`
	Edges    int         `json:"edges"`
	Size     mesh.Vec    `json:"size"`
	Lift     float64     `json:"lift"`
	Axes     [3]mesh.Vec `json:"axes"`   // the machine's axes in mesh coordinates
	Origin   mesh.Vec    `json:"origin"` // the corner, along the machine's axes
	UnitMM   float64     `json:"unit"`   // of the mesh file's numbers
	UnitName string      `json:"unit_name"`
	Build    *build      `json:"build,omitempty"`
	Angle    float64     `json:"angle"`    // overhang limit, degrees
	WallCap  float64     `json:"wall_cap"` // 0: not measured
	Wall     float64     `json:"wall"`     // limit
	Sections *sections   `json:"sections,omitempty"`
	Findings []placed    `json:"findings"`
	Corner   mesh.Vec    `json:"corner"` // from where the part is first seen
	Colors   palette     `json:"colors"`
	Scale    []scaleStop `json:"scale"`

	pack string
	note string // what was simplified
}

type build struct {
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	Z        float64 `json:"z"`
	Diameter float64 `json:"diameter"` // 0: a box
}

type sections struct {
	Z       []float64 `json:"z"`
	Area    []float64 `json:"area"`
	Islands []int     `json:"islands"`
}

// placed is where a finding is and how it is looked at.
type placed struct {
	Number int        `json:"n"`
	Level  int        `json:"level"` // 1 note, 2 warning, 3 error
	At     mesh.Vec   `json:"at"`
	Look   mesh.Vec   `json:"look"` // the middle of what is shown
	Half   float64    `json:"half"`
	From   mesh.Vec   `json:"from"`
	Hidden bool       `json:"hidden"`
	Ball   float64    `json:"ball"`
	Places []mesh.Vec `json:"places"`
	Facets int        `json:"facets"` // of the lists in the pack, in order
}

type palette struct {
	Stone   string    `json:"stone"`
	Cut     string    `json:"cut"`
	Levels  [4]string `json:"levels"`
	Support [3]string `json:"support"` // by kind: carries itself, needs support, stood on
}

type scaleStop struct {
	At    float64 `json:"at"`
	Color string  `json:"color"`
}

func ink(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// Kinds of facets in the view of supports.
const (
	carriesItself = 1 // overhang within its limits
	needsSupport  = 2
	standsOn      = 3 // a column of support stands on it
)

// thickMax stands for a wall beyond what was resolved.
const thickMax = 255

// newScene collects everything that is drawn.
func newScene(ctx context.Context, r *rules.PartReport, facetsMax int) (*scene, error) {
	v := newViewMesh(r.Mesh, facetsMax)
	frame := r.Measured.Frame
	s := &scene{Facets: len(v.Facets), Verts: len(v.Verts), Lift: frame.Lift, Axes: [3]mesh.Vec{frame.X, frame.Y, frame.Z},
		UnitMM: r.Mesh.Source.UnitMM, UnitName: r.Mesh.Source.Unit, Findings: []placed{}}
	if v.cellMM > 0 {
		s.note = fmt.Sprintf("The view shows %d of the mesh's %d facets: what lies within %s mm is drawn together. Every value was measured on the whole mesh.",
			len(v.Facets), len(r.Mesh.Facets), figure(v.cellMM))
	}
	box := mesh.EmptyBox()
	at := make([]mesh.Vec, len(v.Verts))
	for i, p := range v.Verts {
		at[i] = frame.Turn(p)
	}
	for _, t := range v.whole.Facets {
		for _, i := range t {
			box = box.Grow(frame.Turn(v.whole.Verts[i]))
		}
	}
	s.Origin, s.Size = box.Min, box.Size()
	for k := range 3 {
		s.Size[k] = max(s.Size[k], 1e-6)
	}
	s.colours()
	s.limits(r)
	s.machine(r)
	s.sections(r)

	var p packer
	for k := range 3 {
		p.addShares(len(at), func(i int) float64 { return (at[i][k] - s.Origin[k]) / s.Size[k] })
	}
	corners := make([]int32, 0, 3*len(v.Facets))
	for _, t := range v.Facets {
		corners = append(corners, t[0], t[1], t[2])
	}
	p.add(corners)
	s.normals(v, frame, &p)
	s.values(ctx, r, v, &p)
	s.edges(v, &p)
	s.findings(r, v, &p)
	s.pack = p.text()
	return s, ctx.Err()
}

func (s *scene) colours() {
	s.Colors = palette{Stone: ink(still.Stone), Cut: ink(still.Cut)}
	for i, l := range []rules.Level{rules.Off, rules.Note, rules.Warning, rules.Error} {
		s.Colors.Levels[i] = ink(still.LevelColor(l))
	}
	s.Colors.Levels[0] = ink(still.Stone)
	s.Colors.Support = [3]string{ink(still.Scale[4].Color), ink(still.Scale[2].Color), ink(still.Scale[0].Color)}
	for _, x := range still.Scale {
		s.Scale = append(s.Scale, scaleStop{x.At, ink(x.Color)})
	}
}

func (s *scene) limits(r *rules.PartReport) {
	s.Angle = angleLimit(r) * 180 / math.Pi
	if w := r.Measured.Wall; w != nil {
		s.WallCap, s.Wall = w.Params.CapMM, wallLimit(r)
	}
}

// angleLimit is the limit that inclination is coloured against, radians; 45
// degrees where a process has none.
func angleLimit(r *rules.PartReport) float64 {
	if l, ok := r.Limits.Get("overhang.angle"); ok && l.Set && l.V > 0 {
		return l.V
	}
	return math.Pi / 4
}

// wallLimit is the limit that walls are coloured against, mm; half of what was
// resolved where a process has none.
func wallLimit(r *rules.PartReport) float64 {
	if l, ok := r.Limits.Get("wall.thickness"); ok && l.Set && l.V > 0 {
		return l.V
	}
	return r.Measured.Wall.Params.CapMM / 2
}

func (s *scene) machine(r *rules.PartReport) {
	m, ok := r.Shop.Machine(r.Spec.Machine.V)
	if !ok || !m.Build.Set {
		return
	}
	b := m.Build
	s.Build = &build{b.X.V.V, b.Y.V.V, b.Z.V.V, b.Diameter.V.V}
}

// sectionsMax bounds the cuts that a page carries; of more, the largest of
// neighbours stay.
const sectionsMax = 400

func (s *scene) sections(r *rules.PartReport) {
	c := r.Measured.Sections
	if c == nil || len(c.Z) == 0 {
		return
	}
	s.Sections = &sections{}
	step := (len(c.Z) + sectionsMax - 1) / sectionsMax
	for i := 0; i < len(c.Z); i += step {
		k := i
		for j := i; j < min(i+step, len(c.Z)); j++ {
			if c.AreaMM2[j] > c.AreaMM2[k] {
				k = j
			}
		}
		s.Sections.Z = append(s.Sections.Z, round(c.Z[k], 3))
		s.Sections.Area = append(s.Sections.Area, round(c.AreaMM2[k], 1))
		s.Sections.Islands = append(s.Sections.Islands, c.Islands[k])
	}
}

func round(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(v*p)/p + 0
}

// normals packs the facets' directions, as two numbers each: the octahedron's
// faces laid flat (Cigolle et al. 2014, "A Survey of Efficient Representations
// for Independent Unit Vectors").
func (s *scene) normals(v *viewMesh, frame mesh.Frame, p *packer) {
	oct := make([][2]float64, len(v.Facets))
	for f := range oct {
		oct[f] = octahedral(frame.Turn(v.facing[f]))
	}
	for k := range 2 {
		p.addShares(len(oct), func(i int) float64 { return (oct[i][k] + 1) / 2 })
	}
}

// octahedral lays a direction into the square from -1 to 1.
func octahedral(n mesh.Vec) [2]float64 {
	sum := math.Abs(n[0]) + math.Abs(n[1]) + math.Abs(n[2])
	if sum == 0 {
		return [2]float64{}
	}
	x, y := n[0]/sum, n[1]/sum
	if n[2] < 0 {
		x, y = math.Copysign(1-math.Abs(y), x), math.Copysign(1-math.Abs(x), y)
	}
	return [2]float64{x, y}
}

// values packs what facets are coloured by: wall thickness in 255 steps up to
// the cap, the gravest finding, and support with the height it stands on.
func (s *scene) values(ctx context.Context, r *rules.PartReport, v *viewMesh, p *packer) {
	n := len(v.Facets)
	thick, level, kind, floor := make([]int32, n), make([]int32, n), make([]int32, n), make([]int32, n)
	for i := range thick {
		thick[i] = thickMax
	}
	if w := r.Measured.Wall; w != nil {
		for f, t := range w.FacetMM {
			step := min(thickMax, int32(thickMax*float64(t)/w.Params.CapMM))
			v.shown(int32(f), func(g int32) { thick[g] = min(thick[g], step) })
		}
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		if f.Waived != nil {
			continue
		}
		for j := range f.Places {
			for _, t := range f.Places[j].Facets {
				v.shown(t, func(g int32) { level[g] = max(level[g], int32(f.Level.Weight())) })
			}
		}
	}
	s.supports(ctx, r, v, kind, floor)
	p.add(thick)
	p.add(level)
	p.add(kind)
	p.add(floor)
}

// supports marks overhang, and for what needs support the height of the first
// surface below, in 65535 steps from the platform to the part's top.
func (s *scene) supports(ctx context.Context, r *rules.PartReport, v *viewMesh, kind, floor []int32) {
	o := r.Measured.Overhang
	if o == nil {
		return
	}
	needs := make([]bool, len(o.Regions))
	for i := range needs {
		needs[i] = r.NeedsSupport(i)
		if u := r.Measured.Support; u != nil && needs[i] {
			for _, f := range u.Columns[i].Stands {
				v.shown(f, func(g int32) { kind[g] = standsOn })
			}
		}
	}
	for i := range o.Regions {
		k := int32(carriesItself)
		if needs[i] {
			k = needsSupport
		}
		for _, f := range o.Regions[i].Facets {
			v.shown(f, func(g int32) {
				if kind[g] != needsSupport {
					kind[g] = k
				}
			})
		}
	}
	frame := r.Measured.Frame
	tree, down := v.whole.BVH(), frame.Z.Scale(-1)
	past := 1e-4 * v.whole.Box().Diagonal()
	for g := range kind {
		if g%4096 == 0 && ctx.Err() != nil {
			return
		}
		if kind[g] != needsSupport {
			continue
		}
		c := v.Centre(int32(g))
		top := frame.Turn(c)[2] - s.Origin[2] + s.Lift
		z := 0.0
		if hit, ok := tree.Ray(c, down, past, math.Inf(1)); ok {
			z = top - hit.T
		}
		floor[g] = int32(math.Round(65535 * min(1, max(0, z/(s.Size[2]+s.Lift)))))
	}
}

// creaseRad is the angle between neighbours from which on an edge is drawn.
const creaseRad = 28 * math.Pi / 180

// edges packs the edges that an engineer would draw: creases, and the borders of
// a mesh that is shown as it is.
func (s *scene) edges(v *viewMesh, p *packer) {
	least := math.Cos(creaseRad)
	t := v.Topology()
	var list []int32
	for f, c := range v.Facets {
		for k := range 3 {
			h := int32(3*f + k)
			w := t.Twin[h]
			switch {
			case w > h: // told by the other side
				continue
			case w >= 0 && v.facing[f].Dot(v.facing[w/3]) > least:
				continue
			case w < 0 && v.cellMM > 0: // drawing together tears and folds; not the part's borders
				continue
			}
			list = append(list, c[k], c[(k+1)%3])
		}
	}
	s.Edges = len(list) / 2
	p.add(list)
}

// findings packs the facets of every finding that has a place.
func (s *scene) findings(r *rules.PartReport, v *viewMesh, p *packer) {
	frame := r.Measured.Frame
	local := func(q mesh.Vec) mesh.Vec {
		q = frame.Turn(q).Sub(s.Origin)
		return mesh.Vec{round(q[0], 4), round(q[1], 4), round(q[2], 4)}
	}
	direction := func(q mesh.Vec) mesh.Vec {
		q = frame.Turn(q)
		return mesh.Vec{round(q[0], 4), round(q[1], 4), round(q[2], 4)}
	}
	s.Corner = direction(still.AimPart(r.Mesh, frame).From)
	for i := range r.Findings {
		f := &r.Findings[i]
		if !f.HasPlace {
			continue
		}
		a := still.AimFinding(r.Mesh, frame, f)
		x := placed{Number: i + 1, Level: f.Level.Weight(), At: local(f.At), Look: local(a.Centre), Half: round(a.HalfMM, 4),
			From: direction(a.From), Hidden: a.Hidden, Ball: round(still.BallMM(f), 4), Places: []mesh.Vec{}}
		mine := make([]bool, len(v.Facets))
		for j := range f.Places {
			x.Places = append(x.Places, local(f.Places[j].At))
			for _, t := range f.Places[j].Facets {
				v.shown(t, func(g int32) { mine[g] = true })
			}
		}
		var list []int32
		for g, yes := range mine {
			if yes {
				list = append(list, int32(g))
			}
		}
		x.Facets = len(list)
		p.add(list)
		s.Findings = append(s.Findings, x)
	}
}
