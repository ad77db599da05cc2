package rules

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"corbel/mesh"
	"corbel/spec"
)

// This file sets the processes and machines of a shop side by side for one
// part, and milling from the full beside them.

// Comparison is a part under every machine of the shop, as its spec stands it.
type Comparison struct {
	Report   *PartReport // spec, shop and mesh, and what was wrong with them; nothing judged
	Options  []Option    // the spec's own first, then what runs, the cheapest first, then the rest
	Mill     *Mill       // nil where the mesh does not tell inside from outside
	Cut      []CutPlace  // declared holes and faces that ask for a tool
	Favour   string      // one sentence: what the figures favour, and why
	Then     string      // one sentence: whether printing and then milling pays; empty where nothing is to be cut
	Currency string
}

// Option is one machine, or one process where the shop names no machine.
type Option struct {
	Process, Machine string
	IsNow            bool   // as the spec has it
	Why              string // why it can't make the part at all; the rest is then empty
	Fails            []Fail // by check, in the manual's order, waived ones left out
	Errors           int
	Warnings         int
	Notes            int
	Failures         []Failure // checks that could not be made
	Standing
	Money  bool     // Cost is money; else hours
	Steps  []string // after the build, in order
	Inputs []Input
}

// Fail is what one check finds under an option.
type Fail struct {
	Check string
	Level Level // the highest
	Count int
	First string // the first finding's words
}

// Mill is milling from the full.
type Mill struct {
	mesh.Milling
	Tool   mesh.Tool
	StockG float64 // what the stock weighs; 0 unknown
}

// CutPlace is a declared hole or face that a tool has to finish.
type CutPlace struct {
	Name    string // with its kind
	Asks    string // what it asks for
	Reached bool   // by a straight tool of its own, from any side
	AreaMM2 float64
}

// millTool is what reaches into a part: an end mill of 6 mm, six times as long
// as thick, in a holder (common practice, no source). millStockMM is what the
// stock is larger by, a side.
var millTool = mesh.Tool{DiameterMM: 6, LengthMM: 36, HolderMM: 30}

const millStockMM = 2.0

// Compare judges the part of a spec under every machine of its shop. What
// can't be read is told in the report, as for Part; the error is the context's.
func (e *Engine) Compare(ctx context.Context, path string) (*Comparison, error) {
	r := newReport(path)
	r.Deps = []string{absolute(path)}
	out := &Comparison{Report: r}
	text, err := e.parsePart(path)
	if err != nil {
		r.fail("spec", "Part spec "+quoted(path)+" can't be read: "+err.Error()+".")
		return out, nil
	}
	r.Spec = text.file
	r.Findings = problemFindings(path, text.problems)
	ctx, stop := e.timed(ctx)
	defer stop()
	err = e.compare(ctx, out)
	if err != nil && late(ctx) {
		r.fail("time", e.sayLate("compared"))
		return &Comparison{Report: r}, nil
	}
	return out, err
}

func (e *Engine) compare(ctx context.Context, out *Comparison) error {
	p, err := e.opened(ctx, out.Report)
	if err != nil || p == nil {
		return err
	}
	out.Currency = out.Report.Shop.Currency()
	c := comparison{Comparison: out, engine: e, subject: p}
	return c.run(ctx)
}

// opened reads the mesh of a report and lets others measure again.
func (e *Engine) opened(ctx context.Context, r *PartReport) (*Subject, error) {
	p, src, ok := e.prepare(ctx, r, Full)
	defer src.close()
	finish(r.Findings)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case !ok:
		return nil, nil
	case r.Info.Facets == 0:
		r.fail("mesh", "The mesh has no facets.")
		return nil, nil
	}
	if err := src.load(ctx); err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		r.fail("mesh", "Mesh "+quoted(r.Spec.Mesh.File.V)+" can't be measured: "+err.Error()+".")
		return nil, nil
	}
	r.Mesh, p.Mesh = src.mesh, src.mesh
	p.Measured.Frame = frameOf(p)
	return p, nil
}

type comparison struct {
	*Comparison
	engine  *Engine
	subject *Subject
}

func (c *comparison) run(ctx context.Context) error {
	for i, v := range c.variants() {
		c.engine.o.Progress(c.Report.Path, v.name(), float64(i)/float64(len(c.variants())+1))
		o, err := c.option(ctx, v)
		if err != nil {
			return err
		}
		c.Options = append(c.Options, *o)
	}
	c.sort()
	if err := c.milling(ctx); err != nil {
		return err
	}
	if err := c.cutPlaces(ctx); err != nil {
		return err
	}
	c.Favour = c.favour()
	c.Then = c.thenMill()
	return nil
}

// variant is a process and a machine to try.
type variant struct {
	process string
	machine Machine
	has     bool
	now     bool
}

func (v *variant) name() string {
	if v.has {
		return v.machine.Name.V
	}
	return v.process
}

// variants are the machines of the shop, or the processes where there are none
// or the spec names none.
func (c *comparison) variants() []variant {
	s := c.Report.Spec
	var out []variant
	if !s.Machine.Set && s.Process.Set {
		out = append(out, variant{process: s.Process.V, now: true})
	}
	for _, m := range c.Report.Shop.Machines() {
		if m.Process.Set {
			out = append(out, variant{m.Process.V, m, true, m.Name.V == s.Machine.V && m.Process.V == s.Process.V})
		}
	}
	if len(c.Report.Shop.Machines()) == 0 {
		for _, ch := range spec.Processes {
			if ch.Value != s.Process.V {
				out = append(out, variant{process: ch.Value})
			}
		}
	}
	return out
}

// option judges and prices one variant.
func (c *comparison) option(ctx context.Context, v variant) (*Option, error) {
	s := c.Report.Spec
	o := &Option{Process: v.process, IsNow: v.now}
	if v.has {
		o.Machine = v.machine.Name.V
		if s.Material.Set && !v.machine.Takes(s.Material.V) {
			o.Why = "does not run " + s.Material.V
			return o, nil
		}
	}
	part := *s
	part.Process.V, part.Process.Set = v.process, true
	part.Machine.V, part.Machine.Set = o.Machine, v.has
	if v.process != s.Process.V {
		part.Route.Steps = spec.Value[[]spec.Value[string]]{} // written for the spec's own: another has its usual steps
	}
	r := newReport(c.Report.Path)
	r.Spec = &part
	c.engine.judge(ctx, r, Full)
	if r.Err != nil {
		return nil, r.Err
	}
	o.count(r)
	return o, c.price(ctx, r, o)
}

// count sums the findings of the geometry, by check.
func (o *Option) count(r *PartReport) {
	o.Failures = r.Failures
	for i := range r.Findings {
		f := &r.Findings[i]
		if f.Waived != nil || f.Check == Spec.Name {
			continue
		}
		switch f.Level {
		case Error:
			o.Errors++
		case Warning:
			o.Warnings++
		default:
			o.Notes++
		}
		k := slices.IndexFunc(o.Fails, func(x Fail) bool { return x.Check == f.Check })
		if k < 0 {
			o.Fails = append(o.Fails, Fail{f.Check, f.Level, 1, f.Message})
			continue
		}
		o.Fails[k].Count++
		if f.Level.Weight() > o.Fails[k].Level.Weight() {
			o.Fails[k].Level, o.Fails[k].First = f.Level, f.Message
		}
	}
	at := func(name string) int {
		return slices.IndexFunc(Checks(), func(c *Check) bool { return c.Name == name })
	}
	slices.SortStableFunc(o.Fails, func(a, b Fail) int { return at(a.Check) - at(b.Check) })
}

// price stands the part as the spec does and prices it.
func (c *comparison) price(ctx context.Context, r *PartReport, o *Option) error {
	p := &Subject{Spec: r.Spec, Shop: r.Shop, Limits: r.Limits, Info: r.Info, Mesh: c.Report.Mesh, Measured: r.Measured}
	if p.Measured.Mass == nil {
		p.Measured = &Measured{Frame: frameOf(p)}
	}
	s := search{Subject: p, costs: p.costs(), engine: c.engine, path: r.Path, meshKey: c.engine.contentKey(p.Mesh.Source.SHA256, r.Spec.Mesh.Units.V, c.Report.MeshPath)}
	o.Money, o.Inputs = s.money, s.inputs
	if err := s.features(ctx); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		o.Failures = append(o.Failures, Failure{"price", "No price: " + err.Error() + "."})
		return nil
	}
	if err := s.prepare(ctx); err != nil {
		return err
	}
	if err := s.examine(ctx, []mesh.Vec{p.Measured.Frame.Z}, true); err != nil {
		return err
	}
	st, err := s.standing(ctx, &s.seen[0], true, true)
	if err != nil {
		return err
	}
	o.Standing = *st
	o.Reason = s.reason(st, st)
	o.Steps = workSteps(p, st)
	return nil
}

func (c *comparison) sort() {
	order := func(o *Option) int {
		switch {
		case o.IsNow:
			return 0
		case o.Why != "":
			return 3
		case !o.Money:
			return 2
		}
		return 1
	}
	slices.SortStableFunc(c.Options, func(a, b Option) int {
		return cmp.Or(order(&a)-order(&b), cmp.Compare(a.Cost.Value, b.Cost.Value))
	})
}

func (c *comparison) milling(ctx context.Context) error {
	i, err := mesh.MeasureIntegrity(ctx, c.Report.Mesh)
	if err != nil {
		return err
	}
	if !i.Solid() {
		return nil
	}
	bores, err := c.bores(ctx)
	if err != nil {
		return err
	}
	m, err := mesh.MeasureMilling(ctx, c.Report.Mesh, mesh.MillParams{Tool: millTool, AllowanceMM: millStockMM, Bores: bores})
	if err != nil {
		return err
	}
	c.Mill = &Mill{Milling: m, Tool: millTool}
	if mat, ok := c.subject.Material(); ok && mat.Density.Set {
		c.Mill.StockG = m.Stock.VolumeMM3 / 1000 * mat.Density.V
	}
	return nil
}

// bores are the part's recognised holes, found once.
func (c *comparison) bores(ctx context.Context) (*mesh.Cylinders, error) {
	if c.subject.Measured.Cylinders == nil {
		v, err := mesh.MeasureCylinders(ctx, c.Report.Mesh)
		if err != nil {
			return nil, err
		}
		c.subject.Measured.Cylinders = v
	}
	return c.subject.Measured.Cylinders, nil
}

// cutPlaces asks whether a straight tool gets at what the spec declares to be cut.
func (c *comparison) cutPlaces(ctx context.Context) error {
	p := c.subject
	var regions [][]int32
	var tools []mesh.Tool
	add := func(name, asks string, facets []int32, tool mesh.Tool) {
		place := CutPlace{Name: name, Asks: asks}
		for _, f := range facets {
			place.AreaMM2 += p.Mesh.Area(f)
		}
		c.Cut = append(c.Cut, place)
		regions, tools = append(regions, facets), append(tools, tool)
	}
	if len(p.Spec.Holes) > 0 {
		v, err := c.bores(ctx)
		if err != nil {
			return err
		}
		p.Measured.Cylinders = v
		matched := matchHoles(p)
		for i := range p.Spec.Holes {
			d := &p.Spec.Holes[i]
			h, ok := matched[i]
			if !ok || !machined(d.Finish.V) {
				continue
			}
			hole := v.Holes[h]
			// The tool goes down the bore: thin enough, and as long as it is deep.
			dia := 0.8 * hole.DiameterMM
			add(fmt.Sprintf("hole %q", d.Name.V), strings.TrimSpace(d.Finish.V+" "+d.Tolerance.V), hole.Facets, mesh.Tool{DiameterMM: dia, LengthMM: hole.LengthMM + 2*dia})
		}
	}
	for i := range p.Spec.Faces {
		f := &p.Spec.Faces[i]
		if !f.At.Set || !cut(f.Finish.V) {
			continue
		}
		if at := p.facetAt(f.At.V); at >= 0 {
			add(fmt.Sprintf("face %q", f.Name.V), f.Finish.V, flatAround(p.Mesh, at), millTool)
		}
	}
	for i := range regions {
		a, err := mesh.MeasureAccess(ctx, p.Mesh, regions[i:i+1], mesh.AccessParams{Tool: tools[i], Samples: 256})
		if err != nil {
			return err
		}
		c.Cut[i].Reached = a[0].Share >= 0.9 // the rest is a corner that the tool leaves
	}
	return nil
}

// flatAround is the smooth surface around a facet, no steeper to it than a degree.
func flatAround(m *mesh.Mesh, seed int32) []int32 {
	topo, n := m.Topology(), m.Normal(seed)
	seen := map[int32]bool{seed: true}
	out := []int32{seed}
	for i := 0; i < len(out); i++ {
		for k := range 3 {
			if g := topo.Neighbour(out[i], k); g >= 0 && !seen[g] && m.Normal(g).Dot(n) > math.Cos(math.Pi/180) {
				seen[g] = true
				out = append(out, g)
			}
		}
	}
	return out
}

// workSteps are the steps after the build that the process, the material, the
// use and the declared finishes ask for, in the order of work, and inspection
// at the end. Steps that are only advised are left out.
func workSteps(p *Subject, st *Standing) []string {
	m := *p.Measured
	m.Overhang = &mesh.Overhang{} // support is as the way up has it
	q := *p
	q.Measured = &m
	steps := []string{"inspect"}
	if st != nil && q.supported() && st.ColumnMM3 > 0.5 {
		steps = append(steps, "remove supports")
	}
	for _, n := range q.stepsNeeded() {
		if n.shift >= 0 && !slices.Contains(steps, n.any[0]) {
			steps = append(steps, n.any[0])
		}
	}
	sortBy(steps, rank)
	return steps
}
