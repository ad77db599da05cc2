package rules

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"runtime/debug"
	"slices"
	"strings"

	"corbel/mesh"
)

// This file measures what the checks need, runs them, and makes the findings
// of a report out of what they return.

// running returns the checks that apply: to the process, not switched off,
// and asked for.
func (e *Engine) running(p *Subject) []*Check {
	var out []*Check
	for _, c := range Checks() {
		if c.Judge != nil && p.told(c) && (e.o.Checks == nil || e.o.Checks[c.Name]) {
			out = append(out, c)
		}
	}
	return out
}

// alwaysMeasured is what every report shows, asked for by a check or not.
var alwaysMeasured = []Need{NeedMass, NeedBox, NeedPlatform}

// measure makes the measurements that the running checks need; in Known mode
// it takes what memory holds. The error is the context's, or the file's.
func (e *Engine) measure(ctx context.Context, r *PartReport, p *Subject, src *source, mode Mode) error {
	needs := map[Need]bool{}
	for _, c := range e.running(p) {
		for _, n := range c.Needs {
			needs[n] = true
		}
		if c.Solid {
			needs[NeedIntegrity] = true
		}
	}
	for _, n := range alwaysMeasured {
		needs[n] = true
	}
	if needs[NeedOverhang] {
		needs[NeedSupport] = true
	}
	if e.o.Measure {
		for i := range measurements {
			needs[measurements[i].need] = true
		}
	}
	todo := needsOf(needs)
	m := p.Measured
	m.Frame, m.have, m.Failed = frameOf(p), map[Need]bool{}, map[Need]error{}
	par := e.paramsOf(p)
	par.needs = needs
	if mode == Known {
		r.Mesh = src.inMemory()
		if len(p.Spec.Faces) > 0 && r.Mesh == nil {
			r.Complete = false
			return nil
		}
		for _, s := range todo {
			if s.when != nil && !s.when(p) {
				m.have[s.need] = true
				continue
			}
			par := par.reading(s, m)
			v, ok := e.known(s, src.key, &par)
			if !ok {
				r.Complete = false
				continue
			}
			if err := s.prepare(ctx, v, &par); err != nil {
				return err
			}
			m.put(s, v)
		}
		return nil
	}
	defer func() { r.Mesh = src.mesh }() // also where time runs out, for what is judged all the same
	if e.o.Surface || len(p.Spec.Faces) > 0 {
		if err := src.load(ctx); err != nil {
			return err
		}
	}
	w := steps{e: e, report: r, part: p, src: src, par: par, todo: todo}
	return w.run(ctx)
}

// failed is a measurement that could not be made. It is kept like a value, so
// that it is not tried again at every keystroke.
type failed struct{ err error }

// prepare makes a value ready for the limits in force. The error is the context's.
func (s *measurement) prepare(ctx context.Context, v any, par *params) error {
	if _, bad := v.(failed); bad || s.ready == nil {
		return nil
	}
	return s.ready(ctx, v, par)
}

// put puts a value, or why there is none, into what was measured.
func (m *Measured) put(s *measurement, v any) {
	if f, bad := v.(failed); bad {
		m.Failed[s.need] = f.err
		return
	}
	m.have[s.need] = true
	s.put(m, v)
}

// frameOf is how the spec stands the part.
func frameOf(p *Subject) mesh.Frame {
	o := &p.Spec.Orientation
	up, turn, lift := mesh.Vec{0, 0, 1}, 0.0, 0.0
	if v := mesh.Vec(o.Up.V); o.Up.Set {
		// The length means nothing, so it must not overflow.
		if longest := max(math.Abs(v[0]), math.Abs(v[1]), math.Abs(v[2])); longest > 0 {
			up = v.Scale(1 / longest)
		}
	}
	if o.Turn.Set {
		turn = o.Turn.V.V
	}
	if o.Lift.Set {
		lift = o.Lift.V.V
	}
	f := mesh.NewFrame(up, turn, lift)
	f.Layer = firstLayer(p)
	return f
}

// thinLayerMM is the layer where no machine names one: as thin as any is laid
// (common practice, no source).
const thinLayerMM = 0.02

// firstLayer is what Frame.Layer is to be, mm: what begins in the first layer lies
// on the platform as it is built.
func firstLayer(p *Subject) float64 {
	if m, ok := p.Shop.Machine(p.Spec.Machine.V); ok && m.Layer.Set {
		return m.Layer.V.V
	}
	return thinLayerMM
}

func (e *Engine) paramsOf(p *Subject) params {
	value := func(name string, otherwise float64) float64 {
		if l, ok := p.Limit(name); ok {
			return l.V
		}
		return otherwise
	}
	beyond := float64(beyondCheck)
	if e.o.Measure {
		beyond = beyondMeasure
	}
	given := func(names ...string) (out []float64) {
		for _, n := range names {
			if l, ok := p.Limit(n); ok {
				out = append(out, l.V)
			}
		}
		return out
	}
	c := p.costs()
	return params{
		plating:   p.plating(&c),
		wallMM:    given("wall.thickness", "wall.free"),
		gapMM:     given("gap.width"),
		jumpMM:    value("section-jump.height", math.NaN()),
		jumpLeast: value("section-jump.ratio", 0),
		beyond:    beyond,
		frame:     p.Measured.Frame,
		turnRad:   p.Spec.Orientation.Turn.V.V,
		rooms:     p.rooms(),
		angleRad:  value("overhang.angle", math.Pi/4),
		wallCapMM: capFor(math.Max(value("wall.thickness", 0), value("wall.free", 0)), wallCapLeastMM),
		gapCapMM:  capFor(value("gap.width", 0), gapCapLeastMM),
		patchMM:   patchFor(value("wall.area", 1)),
		access: mesh.AccessParams{LeastMM2: value("overhang.area", 1), Tool: mesh.Tool{
			DiameterMM: value("support-access.diameter", 6), LengthMM: value("support-access.length", 60), HolderMM: holderOver * value("support-access.diameter", 6)}},
	}
}

// runChecks judges every running check whose measurements are there.
func (e *Engine) runChecks(r *PartReport, p *Subject, w *waivers, judged map[string]bool) {
	e.counts.Judgements.Add(1)
	for _, c := range e.running(p) {
		if i := p.Measured.Integrity; c.Solid && i != nil && !i.Solid() {
			r.fail(c.Name, fmt.Sprintf("%s was not checked: the mesh does not tell inside from outside.", upperFirst(c.Name)))
			continue
		}
		if why := lacking(c, p.Measured); why != "" {
			if why != notThere {
				r.fail(c.Name, fmt.Sprintf("%s was not checked: %s.", upperFirst(c.Name), why))
			}
			continue
		}
		found, err := judgeGuarded(c, p)
		if err != nil {
			r.fail(c.Name, fmt.Sprintf("%s was not checked: %v. This is a fault of corbel, not of the part.", upperFirst(c.Name), err))
			continue
		}
		judged[c.Name] = true
		r.Findings = append(r.Findings, made(c, p, p.level(c), w, found)...)
	}
}

const notThere = "not measured"

// lacking says why a check can't run, or "".
func lacking(c *Check, m *Measured) string {
	for _, n := range c.Needs {
		if m.Has(n) {
			continue
		}
		if err := m.Failed[n]; err != nil {
			return fmt.Sprintf("%s: %v", n, err)
		}
		return notThere
	}
	return ""
}

func judgeGuarded(c *Check, p *Subject) (out []Finding, err error) {
	defer func() {
		if v := recover(); v != nil {
			out, err = nil, &panicError{v, string(debug.Stack())}
		}
	}()
	return c.Judge(p), nil
}

// made turns what a check found into findings: level, waiver, like places
// merged, words, fingerprint.
func made(c *Check, p *Subject, level Level, w *waivers, found []Finding) []Finding {
	for i := range found {
		f := &found[i]
		f.Check, f.Level = c.Name, level.shifted(f.shift)
		f.Waived = w.cover(p, f)
	}
	out := merge(found)
	for i := range out {
		f := &out[i]
		if c.Say != nil {
			c.Say(p, f)
		}
		f.Caution = cautionText(f.caution)
	}
	return out
}

// merge makes one finding of like places, the worst first: same words, level,
// limit, waiver and text that decides. Each check returns its worst first, or
// places of equal weight.
func merge(found []Finding) []Finding {
	type key struct {
		like, where string
		start       int
		level       Level
		waived      any
	}
	at := map[key]int{}
	var out []Finding
	for _, f := range found {
		k := key{f.like, f.Where.Key, f.Where.At.Start, f.Level, f.Waived}
		i, known := at[k]
		if f.like == "" || !known {
			if f.like != "" {
				at[k] = len(out)
			}
			out = append(out, f)
			continue
		}
		out[i].join(f)
	}
	return out
}

func (f *Finding) join(g Finding) {
	if g.worse(f) {
		*f, g = g, *f
	}
	f.Count += g.Count
	f.Places = append(f.Places, g.Places...)
	f.Places = f.Places[:min(len(f.Places), PlacesMax)]
	f.Box = f.Box.Join(g.Box)
	f.AreaMM2 += g.AreaMM2
}

// worse orders findings of one kind by how far they are past their limit.
func (f *Finding) worse(g *Finding) bool {
	return f.HasValue && g.HasValue && math.Abs(f.Measured-f.Limit) > math.Abs(g.Measured-g.Limit)
}

// finish gives findings their one total order and their fingerprints.
func finish(fs []Finding) {
	slices.SortStableFunc(fs, compareFindings)
	for i := range fs {
		fs[i].Fingerprint = fingerprint(&fs[i])
	}
}

func compareFindings(a, b Finding) int {
	return cmp.Or(
		cmp.Compare(a.Where.File, b.Where.File),
		cmp.Compare(a.Where.At.Start, b.Where.At.Start),
		cmp.Compare(a.Check, b.Check),
		slices.Compare(a.At[:], b.At[:]),
		cmp.Compare(a.Message, b.Message))
}

// fingerprint names a finding so that re-tessellation and small edits keep the
// name: check, feature, and the middle of its worst place on a coarse grid. The
// middle of the box stays where it is when the point of the worst value wanders
// along an edge. It holds no line and no measured number.
func fingerprint(f *Finding) string {
	name := strings.ReplaceAll(f.feature, " ", "-")
	if !f.HasPlace {
		if f.Check != Spec.Name {
			return f.Check + ":" + name
		}
		h := fnv.New32a()
		h.Write([]byte(f.Message))
		return fmt.Sprintf("%s:%s:%08x", f.Check, name, h.Sum32())
	}
	s := fmt.Sprintf("%s:%s", f.Check, name)
	at := f.At
	if len(f.Places) > 0 {
		at = f.Places[0].Box.Min.Add(f.Places[0].Box.Max).Scale(0.5)
	}
	for _, x := range at {
		s += fmt.Sprintf(":%d", int64(math.Round((x+placeShiftMM)/placeStepMM)))
	}
	return s
}

// placeStepMM is the grid of places in fingerprints: coarser than the spread
// of a place between two tessellations, finer than features stand apart.
const placeStepMM = 2.0

// placeShiftMM moves the grid's borders away from whole and half millimetres,
// where drawn features like to lie.
const placeShiftMM = 0.23
