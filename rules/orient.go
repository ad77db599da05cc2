package rules

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"corbel/mesh"
	"corbel/spec"
)

// This file looks for the ways up that suit a part best. The whole sphere is
// examined with quick sums (mesh.Stands), from a coarse grid to a fine one, and
// the part's own flat faces and bores are tried as they are. The best few are
// then measured as a check measures them.

// Orientation is what is known about the ways to stand a part.
type Orientation struct {
	Report   *PartReport // spec, shop, limits and mesh, and what was wrong with them; nothing judged
	Now      *Standing   // as the spec stands it
	Choices  []Standing  // best first, truly different ones
	Map      []MapPoint  // over the whole sphere, by the quick sums
	Inputs   []Input     // of the shop's figures
	Currency string
	Money    bool // costs are money; else hours, of the machine and by hand alike
	Looked   int  // directions examined
}

// MapPoint is one direction of the map, by the quick sums.
type MapPoint struct {
	Up        mesh.Vec
	Cost      float64
	ColumnMM3 float64 // of support, before tolerated ledges and bridges are taken off
	Fits      bool
	Harmed    int
}

// Standing is one way to stand the part. All but the bands are measured as the
// checks measure them.
type Standing struct {
	Up     mesh.Vec   // unit, mesh coordinates, as Text says it
	Text   string     // what to write for orientation.up
	Turn   string     // what to write for orientation.turn so that it fits; empty where the spec's will do
	Like   []mesh.Vec // directions that come to the same: the part's symmetry
	Reason string     // one sentence: what it has, and how that differs from the spec's own
	Facts  string     // the same without the difference

	HeightMM    float64 // without the lift
	OverhangMM2 float64 // that needs support
	ColumnMM3   float64 // under it, down to the part or the platform
	SupportMM3  float64 // solid share of it
	TouchMM2    float64 // where support touches the part, above and below
	FootMM2     float64 // footprint of the columns
	OnPartMM2   float64 // of it: on the part
	ByRays      bool    // columns and footprint by rays, good for about 2 %; else exact
	StuckMM2    float64 // overhang whose support no straight tool takes off, where that breaks the shop's limit
	RestMM2     float64 // flat on the platform
	Anchored    bool    // rests on so little that it has to be tied to the platform
	Starts      int     // places that start in the air
	Roofs       int     // holes whose roof is too wide to carry itself
	Fits        bool
	Lacks       string // where it does not fit, and by how much
	// Harms are declared holes and faces that suffer; starts in the air, where the
	// shop calls those an error; and more support that no tool takes off than
	// another way has, where it warns of that. What the shop has switched off harms
	// nothing.
	Harms []string

	PerJob  int // parts that a platform takes
	Jobs    int
	JobH    float64 // of a full job
	Hours   Band    // machine hours a part
	HandH   float64 // by hand a part
	Cost    Band    // a part
	Machine float64 // shares of Cost.Value: machine and gas
	Support float64 // what support adds: melting it, its powder, taking it off
	Edits   []spec.Fix
	IsNow   bool // it is the spec's own

	stuck bool // StuckMM2 is among the harms
}

const (
	// The grid of the sphere: about 8 degrees from one direction to the next.
	orientGrid = 600
	// Rings of directions around the best of the grid, halved from 6 degrees
	// down; a degree moves a cost by less than its band.
	orientStarts    = 8
	orientRing      = 6
	orientRingRad   = 6 * math.Pi / 180
	orientRounds    = 6
	orientSameRad   = 1e-3               // directions that are one
	orientApartRad  = 15 * math.Pi / 180 // choices nearer than this are one choice
	orientFlatShare = 0.005              // of the surface: flat faces tried
	orientFlatMost  = 40
	orientHoleMost  = 20
	orientChoices   = 5
	// startTouchMM2 is the foot of the post that a start in the air needs at
	// least (common practice, no source).
	startTouchMM2 = 4.0
	// A part is held on less than this share of its footprint only with an
	// anchor of this height under it (common practice, no source).
	anchorShare = 0.1
	anchorMM    = 3.0
	// A way that leaves more than so many times the support where no tool reaches
	// as another does is harmed by it (common practice, no source: money does not
	// weigh what stays in the part).
	stuckTimes = 2.0
	// orientRays look down from what needs support, where the columns of all
	// directions that are told apart would take more than orientExact facets to
	// measure: half a second of one core.
	orientRays  = 4000
	orientExact = 400_000
)

// Orient looks for better ways to stand the part of a spec. What can't be read
// is told in the report, as for Part; the error is the context's, or internal.
func (e *Engine) Orient(ctx context.Context, path string) (*Orientation, error) {
	r := newReport(path)
	r.Deps = []string{absolute(path)}
	text, err := e.parsePart(path)
	if err != nil {
		r.fail("spec", "Part spec "+quoted(path)+" can't be read: "+err.Error()+".")
		return &Orientation{Report: r}, nil
	}
	r.Spec = text.file
	r.Findings = problemFindings(path, text.problems)
	ctx, stop := e.timed(ctx)
	defer stop()
	o, err := e.orient(ctx, r)
	if err != nil && late(ctx) {
		r.fail("time", e.sayLate("oriented"))
		return &Orientation{Report: r}, nil
	}
	return o, err
}

func (e *Engine) orient(ctx context.Context, r *PartReport) (*Orientation, error) {
	p, src, ok := e.prepare(ctx, r, Full)
	defer src.close()
	finish(r.Findings)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if ok && !r.Spec.Process.Set {
		r.fail("orientation", "No process is given, so no limit applies and no orientation was looked for.")
		ok = false
	}
	if ok && r.Info.Facets == 0 {
		r.fail("orientation", "The mesh has no facets.")
		ok = false
	}
	if !ok {
		return &Orientation{Report: r}, nil
	}
	found, err := e.oriented(ctx, r, p, src)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		r.fail("mesh", "Mesh "+quoted(r.Spec.Mesh.File.V)+" can't be measured: "+err.Error()+".")
		return &Orientation{Report: r}, nil
	}
	r.Mesh = src.mesh
	out := *found
	out.Report = r
	out.Choices = slices.Clone(out.Choices)
	for i := range out.Choices {
		out.Choices[i].Edits = orientEdits(r.Spec, &out.Choices[i])
	}
	return &out, nil
}

// oriented searches once per mesh and figures.
func (e *Engine) oriented(ctx context.Context, r *PartReport, p *Subject, src *source) (*Orientation, error) {
	p.Measured.Frame = frameOf(p)
	s := search{Subject: p, costs: p.costs(), engine: e, path: r.Path, meshKey: src.key, bare: r.Bare}
	key := "orient|" + s.meshKey + "|" + s.recipe()
	if v, ok := e.cache.peek(key); ok {
		return v.(*Orientation), nil
	}
	if err := src.load(ctx); err != nil {
		return nil, err
	}
	p.Mesh = src.mesh
	v, err := e.cache.get(ctx, key, func(ctx context.Context) (any, int64, error) {
		o, err := s.run(ctx)
		return o, 64 << 10, err
	})
	if err != nil {
		return nil, err
	}
	return v.(*Orientation), nil
}

// search is the work on one part.
type search struct {
	*Subject
	costs
	engine  *Engine
	path    string
	meshKey string
	bare    bool // a mesh without a spec

	partMM3  float64
	declared []declaredPlace
	stands   *mesh.Stands
	seen     []candidate
}

// candidate is a direction and what the quick sums say of it.
type candidate struct {
	mesh.Stand
	cost   float64
	fits   bool
	harmed int
	own    bool // a flat face, a bore or an axis: not to be rounded away
}

// recipe names everything that the result depends on.
func (s *search) recipe() string {
	k := fmt.Sprintf("%v|%s|%v|%v|%v|%v", s.bare, s.Spec.Process.V, s.Measured.Frame, s.job, s.rates, s.inputs)
	for _, l := range s.Limits.All {
		k += fmt.Sprintf("|%g", l.V)
	}
	for _, c := range checks {
		k += "|" + string(s.level(c))
	}
	if s.hasMachine {
		b := s.machine.Build
		k += fmt.Sprintf("|%v %v %v %v %v", b.X.V, b.Y.V, b.Z.V, b.Diameter.V, s.machine.Margin.V)
	}
	for i := range s.Spec.Holes {
		h := &s.Spec.Holes[i]
		k += fmt.Sprintf("|%q %v %v %v", h.Name.V, h.At.V, h.Diameter.V, h.Finish.V)
	}
	for i := range s.Spec.Faces {
		f := &s.Spec.Faces[i]
		k += fmt.Sprintf("|%q %v %v %v", f.Name.V, f.At.V, f.Finish.V, f.Roughness.V)
	}
	return k
}

func (s *search) run(ctx context.Context) (*Orientation, error) {
	say := func(stage string, share float64) { s.engine.o.Progress(s.path, stage, share) }
	say("holes and pins", 0)
	if err := s.features(ctx); err != nil {
		return nil, err
	}
	say("directions", 0.2)
	if err := s.prepare(ctx); err != nil {
		return nil, err
	}
	own, err := s.ownDirections(ctx)
	if err != nil {
		return nil, err
	}
	if err := s.examine(ctx, own, true); err != nil {
		return nil, err
	}
	n := len(s.seen)
	if err := s.examine(ctx, mesh.SphereDirections(orientGrid), false); err != nil {
		return nil, err
	}
	grid := slices.Clone(s.seen[n:])
	if err := s.findFit(ctx); err != nil {
		return nil, err
	}
	o := &Orientation{Currency: s.Shop.Currency(), Money: s.money, Inputs: s.inputs}
	for i := range grid {
		g := &grid[i]
		o.Map = append(o.Map, MapPoint{g.Up, g.cost, g.SupportMM3, g.fits, g.harmed})
	}
	say("directions", 0.4)
	if err := s.refine(ctx); err != nil {
		return nil, err
	}
	o.Looked = len(s.seen)
	say("best directions", 0.6)
	return o, s.choose(ctx, o)
}

// findFit adds a way that fits, where the grid has none: it may be narrower than
// the grid is wide.
func (s *search) findFit(ctx context.Context) error {
	rooms := s.rooms()
	if len(rooms) == 0 || slices.ContainsFunc(s.seen, func(c candidate) bool { return c.fits }) {
		return nil
	}
	f, err := mesh.FitTilted(ctx, s.Mesh, rooms[0])
	if err != nil || !f.Fits() {
		return err
	}
	return s.examine(ctx, []mesh.Vec{f.Up, f.Up.Scale(-1)}, true)
}

// features measures what does not depend on the direction.
func (s *search) features(ctx context.Context) error {
	for _, n := range []Need{NeedMass, NeedCylinders} {
		i := slices.IndexFunc(measurements, func(m measurement) bool { return m.need == n })
		if s.Measured.have == nil {
			s.Measured.have, s.Measured.Failed = map[Need]bool{}, map[Need]error{}
		}
		v, ok := s.engine.kept(&measurements[i], s.meshKey, &params{})
		if !ok {
			var err error
			if v, err = s.engine.measureOne(ctx, &measurements[i], s.Mesh, s.meshKey, params{}); err != nil {
				return err
			}
		}
		s.Measured.put(&measurements[i], v)
		if err := s.Measured.Failed[n]; err != nil {
			return err
		}
	}
	s.partMM3 = max(0, s.Measured.Mass.VolumeMM3)
	s.declared = s.places()
	return nil
}

// supported reports whether the process needs support under overhang.
func (p *Subject) supported() bool { return Overhang.Applies(p.Spec.Process.V) }

func (s *search) prepare(ctx context.Context) error {
	q := mesh.StandParams{SlackRad: angleSlackRad, LiftMM: s.Measured.Frame.Lift, LayerMM: s.Measured.Frame.Layer}
	if rooms := s.rooms(); len(rooms) > 0 {
		q.Room = &rooms[0]
	}
	if l, ok := s.Limit("overhang.angle"); ok && s.supported() {
		q.AngleRad = l.V
	}
	// Roofs that carry themselves lying flat do so at any tilt.
	if roof, ok := s.Limit("hole.roof"); ok {
		q.Skip = make([]bool, len(s.Mesh.Facets))
		for _, h := range s.Measured.Cylinders.Holes {
			for _, f := range h.Facets {
				q.Skip[f] = h.DiameterMM <= roof.V
			}
		}
	}
	var err error
	s.stands, err = mesh.NewStands(ctx, s.Mesh, q)
	return err
}

// ownDirections are those of the spec, the axes, flat faces and bores.
func (s *search) ownDirections(ctx context.Context) ([]mesh.Vec, error) {
	ups := []mesh.Vec{s.Measured.Frame.Z}
	add := func(v mesh.Vec) {
		for _, u := range ups {
			if u.Dot(v) > math.Cos(orientSameRad/10) {
				return
			}
		}
		ups = append(ups, v)
	}
	for k := range 3 {
		add(unitAxis(k))
		add(unitAxis(k).Scale(-1))
	}
	flats, err := mesh.FlatFaces(ctx, s.Mesh, orientFlatShare*s.Measured.Mass.AreaMM2, orientFlatMost)
	if err != nil {
		return nil, err
	}
	for _, f := range flats {
		add(f.Normal.Scale(-1))
		add(f.Normal)
	}
	for i, h := range slices.Backward(s.Measured.Cylinders.Holes) { // the largest stand last
		if len(s.Measured.Cylinders.Holes)-i > orientHoleMost {
			break
		}
		add(h.Axis)
		add(h.Axis.Scale(-1))
	}
	return ups, nil
}

// examine adds directions with their quick sums.
func (s *search) examine(ctx context.Context, ups []mesh.Vec, own bool) error {
	got, err := s.stands.Measure(ctx, ups)
	if err != nil {
		return err
	}
	for _, g := range got {
		c := candidate{Stand: g, own: own}
		c.harmed = len(s.harms(g.Up, g.ContactMM2 > 0))
		n := s.perJob(&s.costs, g.Foot)
		c.fits = !s.hasMachine || !s.machine.Build.Set || g.OverMM <= equalErr(s.room(s.machine).size[2])
		if c.fits {
			n = max(1, n) // across, or round on a round platform
		}
		c.cost = s.price(s.quickShape(g, n)).Cost.Sum
		s.seen = append(s.seen, c)
	}
	return nil
}

func (s *search) quickShape(g mesh.Stand, perJob int) shape {
	sh := shape{heightMM: g.HeightMM + s.Measured.Frame.Lift, partMM3: s.partMM3, perJob: perJob}
	if s.job.OutlineMMS > 0 {
		sh.sideMM2 = s.stands.SideMM2(g.Up)
	}
	if s.supported() {
		sh.columnMM3, sh.touchMM2 = g.SupportMM3, g.OverhangMM2+g.OnPartMM2
		lacks := anchor(g.Foot, g.ContactMM2, g.ProjectedMM2-g.OnPartMM2)
		sh.columnMM3 += lacks * anchorMM
		sh.touchMM2 += lacks
	}
	return sh
}

// better orders directions: what fits first, then what harms fewer declared
// places, then what costs less; equal ones by direction, so that the order is
// the same everywhere.
func (c *candidate) better(d *candidate) int {
	return cmp.Or(
		-boolCompare(c.fits, d.fits),
		cmp.Compare(c.harmed, d.harmed),
		compareNear(c.cost, d.cost, 1e-9),
		-boolCompare(c.own, d.own),
		slices.Compare(d.Up[:], c.Up[:]),
	)
}

func boolCompare(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// compareNear takes values that differ by rounding for equal.
func compareNear(a, b, share float64) int {
	if math.Abs(a-b) <= share*max(math.Abs(a), math.Abs(b)) {
		return 0
	}
	return cmp.Compare(a, b)
}

// ranked returns the seen directions in order.
func (s *search) ranked() []*candidate {
	out := make([]*candidate, len(s.seen))
	for i := range s.seen {
		out[i] = &s.seen[i]
	}
	slices.SortStableFunc(out, (*candidate).better)
	return out
}

// refine walks downhill from the best places of the grid, each at least a ring
// from the others.
func (s *search) refine(ctx context.Context) error {
	var at []candidate
	for _, c := range s.ranked() {
		if !slices.ContainsFunc(at, func(d candidate) bool { return d.Up.Dot(c.Up) > math.Cos(2*orientRingRad) }) {
			if at = append(at, *c); len(at) == orientStarts {
				break
			}
		}
	}
	step := make([]float64, len(at))
	for i := range step {
		step[i] = orientRingRad
	}
	for range orientRounds {
		var ups []mesh.Vec
		for i := range at {
			ups = append(ups, mesh.DirectionsAround(at[i].Up, step[i], orientRing)...)
		}
		n := len(s.seen)
		if err := s.examine(ctx, ups, false); err != nil {
			return err
		}
		for i := range at {
			best := &at[i]
			for k := range orientRing {
				if c := &s.seen[n+i*orientRing+k]; c.better(best) < 0 {
					best = c
				}
			}
			if best == &at[i] {
				step[i] /= 2
			}
			at[i] = *best
		}
	}
	return nil
}

// choose measures the best directions and ranks them.
func (s *search) choose(ctx context.Context, o *Orientation) error {
	most := max(6, min(16, 800_000/len(s.Mesh.Facets)))
	now := s.seen[0] // the spec's own
	picked := []candidate{now}
	like := [][]mesh.Vec{nil}
	// The cheapest way is told whatever it harms: a shop may see to that.
	ranked := s.ranked()
	cheapest := slices.MinFunc(ranked, func(a, b *candidate) int {
		return cmp.Or(-boolCompare(a.fits, b.fits), compareNear(a.cost, b.cost, 1e-9))
	})
	for _, c := range append([]*candidate{cheapest}, ranked...) {
		c = s.plainer(c)
		i := slices.IndexFunc(picked, func(d candidate) bool { return same(&d, c) })
		near := false
		for k := range picked {
			near = near || picked[k].better(c) <= 0 && nearAny(c.Up, picked[k].Up, like[k])
		}
		switch {
		case i >= 0:
			if !nearAny(c.Up, picked[i].Up, like[i]) {
				like[i] = append(like[i], c.Up)
			}
		case !near && len(picked) < most:
			picked, like = append(picked, *c), append(like, nil)
		}
	}
	out := make([]Standing, len(picked))
	exact := len(picked)*len(s.Mesh.Facets) <= orientExact
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range picked {
		g.Go(func() error {
			v, err := s.standing(ctx, &picked[i], i == 0, exact || i == 0)
			if err == nil {
				v.Like = like[i]
				out[i] = *v
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	s.harmStuck(out)
	o.Now = &out[0]
	o.Choices = s.rankedChoices(out)
	for i := range o.Choices {
		c := &o.Choices[i]
		c.Reason, c.Facts = s.reason(c, o.Now), s.reason(c, c)
	}
	o.Now.Reason = s.reason(o.Now, o.Now)
	o.Now.Facts = o.Now.Reason
	return nil
}

// harmStuck adds to the harms of each way what it leaves more than the best that
// fits of support that no tool takes off, unless the shop only notes it.
func (s *search) harmStuck(all []Standing) {
	if s.level(SupportAccess).Weight() < Warning.Weight() {
		return
	}
	least := math.Inf(1)
	for i := range all {
		if all[i].Fits {
			least = min(least, all[i].StuckMM2)
		}
	}
	area, _ := s.Limit("overhang.area")
	for i := range all {
		if c := &all[i]; c.StuckMM2 > stuckTimes*least+area.V {
			c.stuck = true
			c.Harms = append(c.Harms, fmt.Sprintf("%s, where another way leaves %s", c.sayStuck(), pick(least >= 0.5, rounded(least)+" mm2", "none")))
		}
	}
}

// plainer takes a flat face, a bore or an axis near by in place of a direction
// that is hardly cheaper: a part that is laid on its round side, say, lies on a
// line and not on some line or other.
func (s *search) plainer(c *candidate) *candidate {
	if c.own {
		return c
	}
	var best *candidate
	for i := range s.seen {
		d := &s.seen[i]
		if d.own && d.Up.Dot(c.Up) > math.Cos(orientApartRad) && d.fits == c.fits && d.harmed <= c.harmed && d.cost <= 1.01*c.cost && (best == nil || d.better(best) < 0) {
			best = d
		}
	}
	if best == nil {
		return c
	}
	return best
}

// same reports whether two directions come to the same in all figures, as the
// symmetry of a part makes them.
func same(a, b *candidate) bool {
	near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-3*max(x, y)+1e-6 }
	return a.harmed == b.harmed && a.fits == b.fits && near(a.HeightMM, b.HeightMM) && near(a.OverhangMM2, b.OverhangMM2) &&
		near(a.ColumnMM3, b.ColumnMM3) && near(a.ContactMM2, b.ContactMM2) && near(a.Foot[0], b.Foot[0]) && near(a.Foot[1], b.Foot[1])
}

// nearAny reports whether a direction is hardly another than one of those.
func nearAny(v, up mesh.Vec, like []mesh.Vec) bool {
	near := func(u mesh.Vec) bool { return u.Dot(v) > math.Cos(orientApartRad) }
	return near(up) || slices.ContainsFunc(like, near)
}

// rankedChoices orders what was measured and keeps the first few that are
// truly different: not beside a better one, and not to be told from it by any
// figure, as all ways to lay a round part down. The cheapest of all is among them.
func (s *search) rankedChoices(all []Standing) []Standing {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b Standing) int { return a.better(&b) })
	cheapest := slices.MinFunc(all, func(a, b Standing) int {
		return cmp.Or(-boolCompare(a.Fits, b.Fits), compareNear(a.Cost.Value, b.Cost.Value, 1e-6))
	})
	var out []Standing
	for _, c := range all {
		i := slices.IndexFunc(out, func(d Standing) bool { return d.alike(&c) })
		told := slices.ContainsFunc(out, func(d Standing) bool { return d.covers(&cheapest) })
		switch {
		case slices.ContainsFunc(out, func(d Standing) bool { return nearAny(c.Up, d.Up, d.Like) }):
		case i >= 0:
			out[i].Like = append(slices.Clone(out[i].Like), c.Up)
		case len(out) == orientChoices, len(out) == orientChoices-1 && !told && !c.covers(&cheapest):
		default:
			out = append(out, c)
		}
	}
	return out
}

// alike reports whether a shop would not tell two ways apart.
func (c *Standing) alike(d *Standing) bool {
	near := func(x, y, share, least float64) bool { return math.Abs(x-y) <= share*max(x, y)+least }
	return c.Fits == d.Fits && len(c.Harms) == len(d.Harms) && c.Roofs == d.Roofs && near(c.Cost.Value, d.Cost.Value, 0.02, 0) &&
		near(c.HeightMM, d.HeightMM, 0.03, 0.1) && near(c.ColumnMM3, d.ColumnMM3, 0.05, 0.002*c.HeightMM*c.HeightMM*c.HeightMM) && near(c.RestMM2, d.RestMM2, 0.05, 1)
}

// covers reports whether a choice stands for another way, too.
func (c *Standing) covers(d *Standing) bool {
	return nearAny(d.Up, c.Up, c.Like) || c.alike(d)
}

func (c *Standing) better(d *Standing) int {
	return cmp.Or(-boolCompare(c.Fits, d.Fits), cmp.Compare(len(c.Harms), len(d.Harms)), compareNear(c.Cost.Value, d.Cost.Value, 1e-6),
		cmp.Compare(c.Starts, d.Starts), -boolCompare(c.IsNow, d.IsNow), slices.Compare(d.Up[:], c.Up[:]))
}

// Better returns the first choice if it is worth a change of the spec: it fits
// or harms less where the spec's own does not, or costs less by more than
// worth of the cost, 0.05 say. Else nil.
func (o *Orientation) Better(worth float64) *Standing {
	if o.Now == nil || len(o.Choices) == 0 || o.Choices[0].IsNow {
		return nil
	}
	b, n := &o.Choices[0], o.Now
	if b.Fits != n.Fits || len(b.Harms) != len(n.Harms) || b.Cost.Value < (1-worth)*n.Cost.Value {
		return b
	}
	return nil
}
