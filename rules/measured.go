package rules

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"corbel/mesh"
)

// Need names a measurement that checks read.
type Need string

// The measurements.
const (
	NeedIntegrity Need = "integrity"
	NeedMass      Need = "mass properties"
	NeedBox       Need = "oriented box"
	NeedWays      Need = "ways that fit"
	NeedCylinders Need = "holes and pins"
	NeedOverhang  Need = "overhang regions"
	NeedSupport   Need = "support columns"
	NeedAccess    Need = "tool access"
	NeedFoot      Need = "foot"
	NeedStarts    Need = "floating starts"
	NeedWall      Need = "wall thickness"
	NeedGap       Need = "gap width"
	NeedFeather   Need = "feather edges"
	NeedBall      Need = "largest ball"
	NeedVoids     Need = "voids"
	NeedSections  Need = "sections"
	NeedSlender   Need = "slenderness"
	NeedPlatform  Need = "parts per platform"
)

// Measured holds the measurements of one part as it stands. A nil field was
// not asked for, or failed: then Failed has the reason.
type Measured struct {
	Frame     mesh.Frame
	Integrity *mesh.Integrity
	Mass      *mesh.Mass
	Box       *mesh.OrientedBox
	Ways      []Ways // of the spec's machine, then of the others; only where it does not fit as it stands
	Cylinders *mesh.Cylinders
	Overhang  *mesh.Overhang
	Support   *mesh.Support // columns of all overhang regions, in their order
	Access    []mesh.Access // to the supports of all overhang regions, in their order
	Foot      *mesh.Foot
	Starts    []mesh.FloatingStart // empty with Has(NeedStarts) means none there
	Wall, Gap *mesh.ThicknessField
	Feather   []mesh.FeatherEdge
	Ball      *mesh.Ball
	Voids     *mesh.Voids
	Sections  *mesh.Sections
	Slender   []mesh.Slender
	// PerPlatform is how many parts the machine's platform takes; only with
	// Has(NeedPlatform) and a machine.
	PerPlatform int

	Failed map[Need]error

	have map[Need]bool
}

// Has reports whether a measurement was made.
func (m *Measured) Has(n Need) bool { return m != nil && m.have[n] }

// measurement says how a need is met: with what parameters, how the result is
// kept, and what it weighs in memory and in work.
type measurement struct {
	need   Need
	framed bool // depends on how the part stands
	rests  bool // and on what rests on the platform, and so on the first layer
	large  bool // takes more memory a facet than most
	effort float64
	// reads are the measurements before it that it reads, or that may make it along
	// with their own; it is made after them. It sees no others.
	reads []Need
	// when says whether there is anything to measure, by what was measured before;
	// nil is always.
	when func(p *Subject) bool
	// key adds the parameters to the recipe.
	key func(p *params) string
	run func(ctx context.Context, m *mesh.Mesh, p *params) (value any, size int64, err error)
	put func(d *Measured, value any)
	// form is how it is kept on disk. One that needs its mesh for that is also
	// kept as its answers.
	form    *form
	answers *answers
	// ready, if not nil, makes what checks ask of the value under the limits in
	// force, so that they need not wait for it.
	ready func(ctx context.Context, value any, p *params) error
}

// params are the parameters of the measurements of one part. They come from
// the limits, in coarse steps, so that a new limit measures nothing again
// unless it is far larger than any before.
type params struct {
	frame     mesh.Frame
	turnRad   float64 // the spec's own
	rooms     []mesh.Room
	angleRad  float64 // overhang
	wallCapMM float64
	gapCapMM  float64
	patchMM   float64
	access    mesh.AccessParams
	beyond    float64 // work that may be spent on values that no limit asks for
	// needs are all that are met for the part. A run may find what another is for: it
	// tells that to also.
	needs map[Need]bool
	also  func(need Need, value any, size int64)
	// What checks ask of the whole measurements: not part of a recipe, but of
	// the answers that are kept.
	wallMM, gapMM     []float64
	jumpMM, jumpLeast float64
	cylinders         *mesh.Cylinders
	overhang          *mesh.Overhang
	plating           plating
	box               *mesh.OrientedBox
}

// reading returns the parameters with what a measurement reads of others.
func (p params) reading(s *measurement, m *Measured) params {
	for _, n := range s.reads {
		switch n {
		case NeedBox:
			p.box = m.Box
		case NeedCylinders:
			p.cylinders = m.Cylinders
		case NeedOverhang:
			p.overhang = m.Overhang
		}
	}
	return p
}

const (
	// angleSlackRad lets tessellation noise of half a degree pass (common practice, no source).
	angleSlackRad = 0.5 * math.Pi / 180
	// wedgeRad is the widest wedge that can be taken for a thin wall: walls are
	// opposed by more than 120 degrees, so edges of less than 60 degrees show in
	// the thickness, and the sharper ones among them are feather edges.
	wedgeRad = 60 * math.Pi / 180
	// Limits of walls in use lie between 0.2 and 2 mm, of gaps up to 1 mm: up to
	// there a new limit measures nothing, and from there caps go up by doubling.
	// What a cap costs goes with its third power.
	wallCapLeastMM, gapCapLeastMM = 2.0, 1.0
	// A pitch of 0.25 mm tells growth within 1 mm.
	sectionPitchMM = 0.25
	sectionBytes   = 64 << 10
)

// Work for thickness beyond what the limits ask, in pairs of facets that may
// face each other. A check spends little on it, measure some seconds.
const (
	beyondCheck   = 2e5
	beyondMeasure = 2e7
)

// thickness measures up to the cap that the limits ask for, and, where nothing
// is that thin and the work is bounded, up to twice that and so on: a report
// then shows the least wall of a stout part too.
func thickness(ctx context.Context, m *mesh.Mesh, capMM, askedMM float64, p *params,
	measure func(context.Context, *mesh.Mesh, mesh.ThicknessParams) (*mesh.ThicknessField, error)) (*mesh.ThicknessField, error) {
	across, n := m.Box().Diagonal(), float64(len(m.Facets))
	for {
		f, err := measure(ctx, m, mesh.ThicknessParams{CapMM: capMM, PatchMM: p.patchMM, AskedMM: askedMM})
		share := math.Min(1, 2*capMM/across)
		if err != nil || !math.IsInf(f.Min, 1) || capMM >= across || n*n*share*share > p.beyond {
			return f, err
		}
		capMM *= 2
	}
}

// capFor returns the resolved thickness for a limit: the next of least, twice
// that, and so on.
func capFor(limitMM, least float64) float64 {
	c := least
	for c < limitMM && c < 1024 {
		c *= 2
	}
	return c
}

// field is the measurement of walls or of gaps: up to which diameter, and what
// regions are asked for, the parameters say.
func field(need Need, effort float64, measure func(context.Context, *mesh.Mesh, mesh.ThicknessParams) (*mesh.ThicknessField, error),
	whole func(*mesh.KeptThickness, context.Context, *mesh.Mesh) (*mesh.ThicknessField, error),
	asked func(*params) (capMM float64, limitsMM []float64), put func(*Measured, *mesh.ThicknessField)) measurement {
	limits := func(p *params) []float64 { _, l := asked(p); return l }
	return measurement{need: need, large: true, effort: effort, form: fieldForm(whole), answers: fieldAnswers(limits),
		key: func(p *params) string {
			capMM, _ := asked(p)
			return fmt.Sprintf("cap %g patch %g beyond %g", capMM, p.patchMM, p.beyond)
		},
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			capMM, limitsMM := asked(p)
			v, err := thickness(ctx, m, capMM, slices.Max(append([]float64{0}, limitsMM...)), p, measure)
			return v, facetBytes(m, 64), err
		},
		ready: func(ctx context.Context, v any, p *params) error {
			return v.(*mesh.ThicknessField).FindRegions(ctx, limits(p)...)
		},
		put: func(d *Measured, v any) { put(d, v.(*mesh.ThicknessField)) }}
}

// patchFor returns the diameter of the disc of an area, down to a step of a
// quarter octave: a patch of the area can't be missed.
func patchFor(areaMM2 float64) float64 {
	d := math.Sqrt(4 * math.Max(areaMM2, 0.01) / math.Pi)
	return math.Exp2(math.Floor(4*math.Log2(d)) / 4)
}

// measurements in the order in which they are made: cheap ones and those that
// others read first, with some between for the time that those take.
var measurements = []measurement{
	{need: NeedIntegrity, effort: 2, form: plainForm[mesh.Integrity](),
		run: func(ctx context.Context, m *mesh.Mesh, _ *params) (any, int64, error) {
			v, err := mesh.MeasureIntegrity(ctx, m)
			return &v, 4096, err
		},
		put: func(d *Measured, v any) { d.Integrity = v.(*mesh.Integrity) }},
	{need: NeedMass, effort: 0.1, form: plainForm[mesh.Mass](),
		run: func(ctx context.Context, m *mesh.Mesh, _ *params) (any, int64, error) {
			v, err := mesh.MeasureMass(ctx, m)
			return &v, 256, err
		},
		put: func(d *Measured, v any) { d.Mass = v.(*mesh.Mass) }},
	{need: NeedBox, framed: true, effort: 0.2, form: plainForm[mesh.OrientedBox](),
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			v, err := mesh.MeasureBox(ctx, m, p.frame)
			return &v, 256, err
		},
		put: func(d *Measured, v any) { d.Box = v.(*mesh.OrientedBox) }},
	{need: NeedWays, framed: true, effort: 0.5, reads: []Need{NeedBox}, form: listForm[Ways](), when: (*Subject).overflows,
		key: func(p *params) string { return fmt.Sprintf("turn %g rooms %v", p.turnRad, p.rooms) },
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			v, err := measureWays(ctx, m, p)
			return v, 512, err
		},
		put: func(d *Measured, v any) { d.Ways = v.([]Ways) }},
	{need: NeedPlatform, framed: true, effort: 0.3, reads: []Need{NeedBox}, form: plainForm[platformCount](),
		key: func(p *params) string { return p.plating.recipe() },
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			if p.box == nil || !p.plating.known() {
				return &platformCount{}, 64, nil
			}
			n, err := p.plating.count(ctx, m, p.frame, p.box)
			return &platformCount{n}, 64, err
		},
		put: func(d *Measured, v any) { d.PerPlatform = v.(*platformCount).Parts }},
	{need: NeedFoot, framed: true, rests: true, effort: 0.1, form: plainForm[mesh.Foot](),
		run: func(_ context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			v := mesh.FootOf(m, p.frame)
			return &v, 256, nil
		},
		put: func(d *Measured, v any) { d.Foot = v.(*mesh.Foot) }},
	{need: NeedStarts, framed: true, rests: true, effort: 0.3, form: listForm[mesh.FloatingStart](),
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			v, err := mesh.MeasureFloatingStarts(ctx, m, p.frame)
			return v, facetBytes(m, 1), err
		},
		put: func(d *Measured, v any) { d.Starts = v.([]mesh.FloatingStart) }},
	{need: NeedFeather, effort: 0.3, form: listForm[mesh.FeatherEdge](),
		run: func(ctx context.Context, m *mesh.Mesh, _ *params) (any, int64, error) {
			v, err := mesh.MeasureFeatherEdges(ctx, m, wedgeRad)
			return v, facetBytes(m, 2), err
		},
		put: func(d *Measured, v any) { d.Feather = v.([]mesh.FeatherEdge) }},
	{need: NeedBall, effort: 2, form: plainForm[mesh.Ball](),
		run: func(ctx context.Context, m *mesh.Mesh, _ *params) (any, int64, error) {
			v, err := mesh.MeasureLargestBall(ctx, m)
			return &v, 128, err
		},
		put: func(d *Measured, v any) { d.Ball = v.(*mesh.Ball) }},
	{need: NeedCylinders, large: true, effort: 2, form: plainForm[mesh.Cylinders](),
		run: func(ctx context.Context, m *mesh.Mesh, _ *params) (any, int64, error) {
			v, err := mesh.MeasureCylinders(ctx, m)
			return v, facetBytes(m, 12), err
		},
		put: func(d *Measured, v any) { d.Cylinders = v.(*mesh.Cylinders) }},
	{need: NeedVoids, large: true, effort: 4, form: plainForm[mesh.Voids](),
		run: func(ctx context.Context, m *mesh.Mesh, _ *params) (any, int64, error) {
			v, err := mesh.MeasureVoids(ctx, m, mesh.VoidParams{})
			return v, facetBytes(m, 1), err
		},
		put: func(d *Measured, v any) { d.Voids = v.(*mesh.Voids) }},
	{need: NeedOverhang, large: true, framed: true, rests: true, effort: 1, reads: []Need{NeedCylinders}, form: plainForm[mesh.Overhang](),
		key: func(p *params) string { return fmt.Sprintf("angle %g holes %t", p.angleRad, p.cylinders != nil) },
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			o := mesh.OverhangParams{AngleRad: p.angleRad, SlackRad: angleSlackRad}
			if p.cylinders != nil {
				o.HoleOf, o.PinOf = p.cylinders.HoleOf, p.cylinders.PinOf()
			}
			v, err := mesh.MeasureOverhang(ctx, m, p.frame, o)
			return &v, facetBytes(m, 8), err
		},
		put: func(d *Measured, v any) { d.Overhang = v.(*mesh.Overhang) }},
	{need: NeedSupport, large: true, framed: true, rests: true, effort: 0.5, reads: []Need{NeedCylinders, NeedOverhang}, form: plainForm[mesh.Support](),
		key: func(p *params) string { return fmt.Sprintf("angle %g holes %t", p.angleRad, p.cylinders != nil) },
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			if p.overhang == nil {
				return nil, 0, errNoOverhang
			}
			v, err := mesh.MeasureSupport(ctx, m, p.frame, p.overhang)
			return &v, facetBytes(m, 4), err
		},
		put: func(d *Measured, v any) { d.Support = v.(*mesh.Support) }},
	{need: NeedAccess, framed: true, rests: true, effort: 1, reads: []Need{NeedCylinders, NeedOverhang}, form: listForm[mesh.Access](),
		key: func(p *params) string {
			return fmt.Sprintf("angle %g holes %t tool %g %g least %g", p.angleRad, p.cylinders != nil, p.access.DiameterMM, p.access.LengthMM, p.access.LeastMM2)
		},
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			if p.overhang == nil {
				return nil, 0, errNoOverhang
			}
			v, err := mesh.MeasureSupportAccess(ctx, m, p.frame, p.overhang, p.access)
			return v, 512 + 120*int64(len(v)), err
		},
		put: func(d *Measured, v any) { d.Access = v.([]mesh.Access) }},
	{need: NeedSections, large: true, framed: true, effort: 1, form: wholeSections, answers: sectionAnswers,
		key: func(*params) string { return fmt.Sprintf("pitch %g", sectionPitchMM) },
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			if !p.needs[NeedSlender] {
				v, err := mesh.MeasureSections(ctx, m, p.frame, sectionPitchMM)
				return v, sectionBytes, err
			}
			v, slender, err := mesh.MeasureSlices(ctx, m, p.frame, sectionPitchMM)
			if err == nil {
				p.also(NeedSlender, slender, sectionBytes)
			}
			return v, sectionBytes, err
		},
		put: func(d *Measured, v any) { d.Sections = v.(*mesh.Sections) }},
	{need: NeedSlender, framed: true, effort: 1, reads: []Need{NeedSections}, form: listForm[mesh.Slender](),
		key: func(*params) string { return fmt.Sprintf("pitch %g", sectionPitchMM) },
		run: func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			v, err := mesh.MeasureSlenderness(ctx, m, p.frame, sectionPitchMM)
			return v, sectionBytes, err
		},
		put: func(d *Measured, v any) { d.Slender = v.([]mesh.Slender) }},
	// Last, since their maps are of the whole surface and stay to be asked.
	field(NeedWall, 4, mesh.MeasureThickness, (*mesh.KeptThickness).Thickness,
		func(p *params) (float64, []float64) { return p.wallCapMM, p.wallMM },
		func(d *Measured, f *mesh.ThicknessField) { d.Wall = f }),
	field(NeedGap, 3, mesh.MeasureGap, (*mesh.KeptThickness).Gap,
		func(p *params) (float64, []float64) { return p.gapCapMM, p.gapMM },
		func(d *Measured, f *mesh.ThicknessField) { d.Gap = f }),
}

// platformCount is a count as it is kept.
type platformCount struct{ Parts int }

var errNoOverhang = errors.New("overhang regions were not measured")

func facetBytes(m *mesh.Mesh, each int64) int64 { return 512 + each*int64(len(m.Facets)) }

// recipe is the key of a measurement: everything its value depends on.
func (s *measurement) recipe(meshKey string, p *params) string {
	k := meshKey + "|" + string(s.need)
	if s.framed {
		// The lift shifts a part and changes what rests on the platform.
		k += fmt.Sprintf("|frame %v %v %v %g", p.frame.X, p.frame.Y, p.frame.Z, p.frame.Lift)
	}
	if s.rests {
		k += fmt.Sprintf("|layer %g", p.frame.Layer)
	}
	if s.key != nil {
		k += "|" + s.key(p)
	}
	return k
}

// needsOf returns the measurements that a set of needs takes, in their order.
func needsOf(needs map[Need]bool) []*measurement {
	var out []*measurement
	for i := range measurements {
		m := &measurements[i]
		if needs[m.need] {
			out = append(out, m)
		}
	}
	return out
}
