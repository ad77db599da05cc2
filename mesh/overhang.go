package mesh

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
)

// OverhangParams steer MeasureOverhang.
type OverhangParams struct {
	AngleRad float64 // facets whose surface lies lower than this from the horizontal are overhang; equal passes
	SlackRad float64 // tessellation noise let pass: flagged if inclination < AngleRad - SlackRad
	// EnoughMM is a reach beyond which it need not be known how far a region
	// reaches: one that reaches farther in straight lines is not searched on, so
	// that ReachMM, Kind and At are those of the lines. 0 searches all.
	EnoughMM float64
	// LeastMM2 is an area up to which it need not be known either; such a region
	// has ReachMM 0 and is a Ledge if it is not Free. 0 searches all.
	LeastMM2 float64
	HoleOf   []int32 // per facet the index of the hole it belongs to, or -1; regions end at a hole's rim; may be nil
	PinOf    []int32 // per facet the index of the pin it belongs to, or -1; may be nil
}

// OverhangKind says how a region is held.
type OverhangKind string

// Ledge is carried on one side, Bridge on opposite sides, Free nowhere, or it
// holds a place that starts in the air.
const (
	Ledge  OverhangKind = "ledge"
	Bridge OverhangKind = "bridge"
	Free   OverhangKind = "free"
)

// OverhangRegion is one connected piece of downskin below the angle.
type OverhangRegion struct {
	AreaMM2        float64
	ProjectedMM2   float64 // seen along the build direction
	InclinationRad float64 // least
	Whole          Ceiling // with the roofs of holes that it runs into, unless it is one
	ReachMM        float64 // largest distance from a point of the region to where it is carried from below
	RiseMM         float64 // how far the point of the largest reach lies above the nearest place that carries the region
	Kind           OverhangKind
	At             Vec     // the point of the largest reach, or the lowest point of a free region
	LowMM          float64 // height of its lowest point above the platform
	Box            Box     // mesh coordinates
	Hole           int32   // index of the hole whose roof this is, or -1
	Pins           []PinArea
	Facets         []int32
	Tiles          []int32 // of bodies that meet, what of Facets it is: tiles of their skin; else nil

	// Of a free region that starts in the air: how far it rises before it joins something
	// lower, up to StartAloneMost; how it is held but for that, empty where nothing carries
	// it, and the point of the largest reach.
	AloneMM float64
	Held    OverhangKind
	HeldAt  Vec
}

// Ceiling tells the shape of downskin: how flat, and how round.
type Ceiling struct {
	AreaMM2        float64
	ProjectedMM2   float64 // seen along the build direction
	InclinationRad float64 // least
	SteepestRad    float64 // greatest, of facets that have a sure one
}

func (c Ceiling) join(d Ceiling) Ceiling {
	return Ceiling{c.AreaMM2 + d.AreaMM2, c.ProjectedMM2 + d.ProjectedMM2, min(c.InclinationRad, d.InclinationRad), max(c.SteepestRad, d.SteepestRad)}
}

// PinArea is what of a region lies on a pin.
type PinArea struct {
	Pin     int32 // index
	AreaMM2 float64
}

// Overhang holds the regions, largest first.
type Overhang struct {
	AreaMM2  float64
	Regions  []OverhangRegion
	RestMM2  float64 // what faces down and lies on the platform
	ReachErr float64 // mm: what ReachMM may be off by
	// AreaErr is what AreaMM2 may be short of, mm2: surface that would be
	// overhang but for the doubt about its direction. On facets of micrometres
	// that is some per mille of a round surface; a face at just the angle is in
	// it as a whole.
	AreaErr float64
}

// MeasureOverhang finds the overhang regions of the part as it stands.
//
// A facet is overhang if it faces down and lies lower than the angle by more
// than the rounding of its corners (as float32) can explain, so that a face at
// just the angle passes. Facets that rest on the platform (all corners within
// the first layer, or within 1e-5 of the box's diagonal, above the part's lowest
// point, at lift 0) are none.
// A facet too thin to have a direction takes its neighbour's. What is let pass
// for the doubt about its direction stands in AreaErr.
//
// A region is carried from below where it rests on the platform or where, over
// an edge of it, the surface goes on downwards (a wall under a ceiling, the steeper
// flank under an arch's crown) or is ground that faces up (under the foot of a
// leaning beam). Where the surface goes on upwards, as at the rim of a ledge or all
// around the bottom of a ball, nothing carries it.
//
// Reach is measured horizontally, as layers see it, along the shortest way
// inside the region: a tongue that hangs next to a wall of its own region,
// across a slot, is as long as it is. A bridge of span s reaches s/2; where it bulges
// past the ends of what carries it, as the roof of a window in a round wall does, they
// count as drawn straight on. A free
// region without any hold reaches from its lowest points, of a flat start the one
// from which it is farthest, to its farthest. Where a region runs into the roof of
// a hole, ways lead on along that roof to what carries it.
//
// Where bodies of the same mesh touch or run into each other, surface of one that
// lies in or on another is no overhang and carries the region that ends there. Of
// a facet that lies there in part the rest counts, and the cut carries it; a facet
// that they part in two may lie in two regions.
func MeasureOverhang(ctx context.Context, m *Mesh, f Frame, p OverhangParams) (Overhang, error) {
	if err := m.Prepare(ctx); err != nil {
		return Overhang{}, err
	}
	s, err := newStance(ctx, m, f)
	if err != nil {
		return Overhang{}, err
	}
	o := overhang{stance: s, p: p}
	if o.skin, err = m.united(ctx); err != nil {
		return Overhang{}, err
	}
	if err := o.flag(ctx); err != nil {
		return Overhang{}, err
	}
	mins, err := s.minima(ctx)
	if err != nil {
		return Overhang{}, err
	}
	o.mark(mins)
	return o.regions(ctx)
}

// overhang is the work on one stance.
type overhang struct {
	*stance
	p       OverhangParams
	skin    *skin
	flagged []bool
	passed  []float64      // area let pass for doubt, of each chunk
	of      []int32        // region of a tile of a flagged facet, -1 else
	beside  [][]int32      // by region, unless it is the roof of a hole: those that it runs into, some often
	held    map[int32]bool // vertices that rest on another body
	starts  []minimum
	lowest  map[int32]int32 // the floating start that a facet touches
}

// flagChunk is how many facets are looked at together, for sums in fixed order.
const flagChunk = 1 << 14

// flag marks the facets that are overhang, and sums what is let pass for doubt.
func (o *overhang) flag(ctx context.Context) error {
	limit := o.p.AngleRad - o.p.SlackRad
	o.flagged = make([]bool, len(o.m.Facets))
	if limit <= 0 {
		return nil
	}
	o.m.Topology()
	cos, sin := math.Cos(limit), math.Sin(limit)
	o.passed = make([]float64, (len(o.m.Facets)+flagChunk-1)/flagChunk)
	return parallel(ctx, len(o.m.Facets), flagChunk, func(from, to int) error {
		passed := 0.0
		for f := int32(from); f < int32(to); f++ {
			n, noise := o.facing(f)
			// cos(limit -+ noise), to first order: noise is small.
			doubt := sin*noise + 1e-12
			if -n[2] <= cos-doubt || o.facetRests(f) || o.skin.share.buried(f) {
				continue
			}
			if o.flagged[f] = -n[2] > cos+doubt; !o.flagged[f] {
				passed += o.m.Area(f) * o.skin.share.of(f)
			}
		}
		o.passed[from/flagChunk] = passed
		return nil
	})
}

// mark notes which facets and vertices the minima touch.
func (o *overhang) mark(mins []minimum) {
	o.held, o.starts, o.lowest = map[int32]bool{}, mins, map[int32]int32{}
	for i, mn := range mins {
		for _, v := range mn.held {
			o.held[v] = true
		}
		if mn.carried {
			continue
		}
		for _, f := range mn.facets {
			o.lowest[f] = int32(i)
		}
	}
}

func (o *overhang) hole(f int32) int32 {
	if o.p.HoleOf == nil {
		return -1
	}
	return o.p.HoleOf[f]
}

// regions joins tiles of flagged facets over their sides and measures what came out.
func (o *overhang) regions(ctx context.Context) (Overhang, error) {
	topo := o.m.Topology()
	var out Overhang
	for f := range int32(len(o.m.Facets)) {
		if o.facetRests(f) {
			if n, area, _ := o.normal(f); n[2] < -0.5 {
				out.RestMM2 += area * o.skin.share.of(f)
			}
		}
	}
	o.of = make([]int32, o.skin.count())
	for t := range o.of {
		o.of[t] = -1
	}
	for t := range o.of {
		face := o.skin.face(int32(t))
		if !o.flagged[face] || o.of[t] >= 0 {
			continue
		}
		hole := o.hole(face)
		id := int32(len(out.Regions))
		var tiles []int32
		out.Regions, o.beside = append(out.Regions, OverhangRegion{Hole: hole}), append(o.beside, nil)
		join := func(t int32) {
			switch f := o.skin.face(t); {
			case !o.flagged[f]:
			case o.hole(f) != hole:
				o.meet(id, o.of[t], out.Regions)
			case o.of[t] < 0:
				o.of[t] = id
				tiles = append(tiles, t)
			}
		}
		join(int32(t))
		for i := 0; i < len(tiles); i++ {
			if o.skin.share == nil {
				for k := range 3 {
					if g := topo.Neighbour(tiles[i], k); g >= 0 {
						join(g)
					}
				}
				continue
			}
			for k := range o.skin.rimOf(tiles[i]) {
				for _, y := range o.skin.seamsOf(tiles[i], k) {
					join(y.tile)
				}
				x := seam{tile: tiles[i], side: int32(k)}
				a, b := o.skin.ends(x)
				if y := o.skin.beyond(x, o.skin.m.Verts[a], o.skin.m.Verts[b]); y >= 0 {
					join(y)
				}
			}
		}
		slices.Sort(tiles)
		r := &out.Regions[id]
		r.Facets = tiles
		if o.skin.share != nil {
			r.Tiles, r.Facets = tiles, make([]int32, len(tiles))
			for i, t := range tiles {
				r.Facets[i] = o.skin.face(t)
			}
			r.Facets = slices.Compact(r.Facets) // tiles are in the order of facets
		}
	}
	if err := each(ctx, len(out.Regions), 16, func(i int) { o.sum(&out.Regions[i]) }); err != nil {
		return Overhang{}, err
	}
	errs := make([]float64, len(out.Regions))
	err := parallel(ctx, len(out.Regions), 1, func(i, _ int) error {
		e, err := o.measure(ctx, out.Regions, int32(i))
		errs[i] = e
		return err
	})
	if err != nil {
		return Overhang{}, err
	}
	for _, a := range o.passed {
		out.AreaErr += a
	}
	for i := range out.Regions {
		out.AreaMM2 += out.Regions[i].AreaMM2
		out.ReachErr = max(out.ReachErr, errs[i])
	}
	slices.SortStableFunc(out.Regions, func(a, b OverhangRegion) int { return cmp.Compare(b.AreaMM2, a.AreaMM2) })
	return out, nil
}

// meet notes that two regions run into each other, the first over a tile of the
// second, which is -1 where it is not known yet: then it will meet the first.
func (o *overhang) meet(id, other int32, known []OverhangRegion) {
	if other < 0 {
		return
	}
	for _, p := range [2][2]int32{{id, other}, {other, id}} {
		if known[p[0]].Hole < 0 {
			o.beside[p[0]] = append(o.beside[p[0]], p[1])
		}
	}
}

// sum fills in what a region's facets say, each for itself.
func (o *overhang) sum(r *OverhangRegion) {
	least := math.Inf(1)
	low, lowAt := math.Inf(1), Vec{}
	r.Box = EmptyBox()
	pins := map[int32]float64{}
	steepest := 0.0
	for _, piece := range o.skin.under(r) {
		f := o.skin.facet(piece)
		n, area, noise := o.normal(f)
		if o.skin.share != nil {
			area = o.skin.m.Area(piece)
		}
		r.AreaMM2 += area
		if o.p.PinOf != nil && o.p.PinOf[f] >= 0 {
			pins[o.p.PinOf[f]] += area
		}
		r.ProjectedMM2 += area * math.Abs(n[2])
		// The flattest, a facet's doubt added: the thinner, the less it says.
		if a := math.Atan2(math.Hypot(n[0], n[1]), -n[2]); area > 0 && a+noise < least {
			least, r.InclinationRad = a+noise, a
		} else if noise < noiseMaxRad {
			steepest = max(steepest, a)
		}
		for _, v := range o.skin.m.Facets[piece] {
			r.Box = r.Box.Grow(o.skin.m.Verts[v])
			if p := o.corner(v); p[2] < low {
				low, lowAt = p[2], p
			}
		}
		if i := o.startAt(piece); i >= 0 {
			r.AloneMM = max(r.AloneMM, min(o.starts[i].alone, StartAloneMost))
		}
	}
	for _, i := range slices.Sorted(maps.Keys(pins)) {
		r.Pins = append(r.Pins, PinArea{i, pins[i]})
	}
	r.Whole = Ceiling{r.AreaMM2, r.ProjectedMM2, r.InclinationRad, max(steepest, r.InclinationRad)}
	r.LowMM, r.At = low+o.frame.Lift, o.back(lowAt)
	if r.Kind = Ledge; r.AloneMM > 0 {
		r.Kind = Free
	}
}

// measure finds how a region is held, after all are summed, and returns the error of
// its reach.
func (o *overhang) measure(ctx context.Context, all []OverhangRegion, id int32) (float64, error) {
	r := &all[id]
	if r.AreaMM2 <= o.p.LeastMM2 {
		return 0, nil
	}
	c := o.ceiling(all, id)
	for _, i := range c.beside {
		r.Whole = r.Whole.join(all[i].Whole)
	}
	h := o.carriers(c)
	carried := len(h.pieces) > 0
	if !carried {
		r.Kind = Free
		h = o.freeStarts(&c.OverhangRegion, o.place(r.At))
	}
	reach, err := o.reach(ctx, c, h)
	if err != nil {
		return 0, err
	}
	r.ReachMM, r.RiseMM = reach.dist, h.below(reach.at, math.Tan(o.p.AngleRad))
	kind, at := Ledge, o.back(reach.at)
	if reach.spanRad > bridgeSpanRad {
		kind = Bridge
	}
	switch {
	case r.Kind != Free:
		r.Kind, r.At = kind, at
	case carried:
		r.Held, r.HeldAt = kind, at
	}
	return reach.err, nil
}

// ceiling is what the ways of a region lead over: it and the roofs of holes that it
// runs into.
type ceiling struct {
	OverhangRegion // Facets and Tiles of all
	id             int32
	beside         []int32 // in order
}

func (o *overhang) ceiling(all []OverhangRegion, id int32) *ceiling {
	slices.Sort(o.beside[id])
	c := &ceiling{all[id], id, slices.Compact(o.beside[id])}
	if len(c.beside) == 0 {
		return c
	}
	c.Facets, c.Tiles = slices.Clone(c.Facets), slices.Clone(c.Tiles)
	for _, i := range c.beside {
		c.Facets, c.Tiles = append(c.Facets, all[i].Facets...), append(c.Tiles, all[i].Tiles...)
	}
	slices.Sort(c.Facets)
	slices.Sort(c.Tiles)
	c.Facets = slices.Compact(c.Facets)
	return c
}

// holds reports whether a region, or -1, belongs to the ceiling.
func (c *ceiling) holds(region int32) bool {
	if region == c.id {
		return true
	}
	_, ok := slices.BinarySearch(c.beside, region)
	return ok
}

// carriers returns the places where a ceiling is carried from below, laid into
// the platform.
func (o *overhang) carriers(c *ceiling) *hold {
	topo := o.m.Topology()
	h := newHold()
	var resting []int32 // vertices, the tip of a cone as often as facets meet there
	if o.skin.share != nil {
		for _, t := range c.Tiles {
			resting = o.cutCarriers(h, t, c, resting)
		}
		o.addPoints(h, resting)
		return h
	}
	for _, f := range c.Facets {
		t := o.m.Facets[f]
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			pa, pb := o.at[a], o.at[b]
			restA := o.rests(pa[2]) || o.held[a]
			restB := o.rests(pb[2]) || o.held[b]
			e := topo.Twin[3*f+int32(k)]
			switch {
			case restA && restB, e >= 0 && !c.holds(o.of[e/3]) && o.carriedOver(e, pa, pb):
				h.add(pa, pb)
				h.verts[a], h.verts[b] = true, true
			case restA:
				resting = append(resting, a)
			}
		}
	}
	o.addPoints(h, resting)
	return h
}

// cutCarriers adds what carries a tile where bodies meet: another body that it ends
// at or touches, or what carries the facet's edge. It returns resting, with the
// vertices that touch something.
func (o *overhang) cutCarriers(h *hold, tile int32, c *ceiling, resting []int32) []int32 {
	twin := o.m.Topology().Twin
	f := o.skin.face(tile)
	for side, rim := range o.skin.rimOf(tile) {
		x := seam{tile: tile, side: int32(side)}
		e := int32(-1)
		if rim.on != sideCut {
			e = twin[3*f+int32(rim.on)]
		}
		ends := [2]int32{}
		ends[0], ends[1] = o.skin.ends(x)
		held := false
		for _, part := range o.rims(x, c) {
			pa, pb := o.along(x, part[0]), o.along(x, part[1])
			a, b := o.place(pa), o.place(pb)
			mid := (part[0] + part[1]) / 2
			bare := !slices.ContainsFunc(o.skin.seamsOf(tile, side), func(y seam) bool { return o.skin.face(y.tile) == e/3 && y.lo <= mid && mid <= y.hi })
			carries := false
			switch {
			case o.rests(a[2]) && o.rests(b[2]), o.held[ends[0]] && o.held[ends[1]] && o.liesOn(a.Add(b).Scale(0.5)):
				carries = true
			case rim.on == sideCut, e >= 0 && bare:
				y := o.skin.beyond(x, pa, pb)
				carries = y < 0 || !o.flagged[o.skin.face(y)]
			default:
				carries = e >= 0 && o.carriedOver(e, a, b)
			}
			if !carries {
				continue
			}
			h.add(a, b)
			for _, v := range ends {
				if p := o.skin.m.Verts[v]; p == pa || p == pb {
					h.verts[v], held = true, true
				}
			}
		}
		if a := ends[0]; !held && (o.rests(o.corner(a)[2]) || o.held[a]) {
			resting = append(resting, a)
		}
	}
	return resting
}

// rims are what of a tile's side no other tile of its ceiling lies along, in mm from
// its start, parted where other tiles begin and end along it.
func (o *overhang) rims(x seam, c *ceiling) (out [][2]float64) {
	a, b := o.skin.ends(x)
	length := o.skin.m.Verts[b].Sub(o.skin.m.Verts[a]).Norm()
	doubt := 2 * seamDoubt * o.skin.touch
	seams := o.skin.seamsOf(x.tile, int(x.side)) // in order
	cuts := []float64{0, length}
	for _, y := range seams {
		cuts = append(cuts, y.lo, y.hi)
	}
	slices.Sort(cuts)
	from := 0.0
	for _, to := range cuts {
		if to <= from+doubt && !(from == 0 && to == length) {
			continue
		}
		mid := (from + to) / 2
		if !slices.ContainsFunc(seams, func(y seam) bool { return c.holds(o.of[y.tile]) && y.lo <= mid && mid <= y.hi }) {
			out = append(out, [2]float64{from, to})
		}
		from = to
	}
	return out
}

// along is a point of a tile's side, that many mm from its start.
func (o *overhang) along(x seam, mm float64) Vec {
	a, b := o.skin.ends(x)
	pa, pb := o.skin.m.Verts[a], o.skin.m.Verts[b]
	if length := pb.Sub(pa).Norm(); mm < length {
		return pa.Add(pb.Sub(pa).Scale(mm / length))
	}
	return pb
}

// liesOn reports whether material is right below a place on the surface.
func (o *overhang) liesOn(p Vec) bool {
	return o.m.inside(o.back(p.Sub(Vec{0, 0, 2 * o.platformTol})))
}

// corner is a vertex of the skin as it stands.
func (o *overhang) corner(v int32) Vec { return o.place(o.skin.m.Verts[v]) }

// addPoints adds vertices to a hold, each once.
func (o *overhang) addPoints(h *hold, verts []int32) {
	slices.Sort(verts)
	for _, v := range slices.Compact(verts) {
		if !h.verts[v] {
			p := o.corner(v)
			h.add(p, p)
			h.verts[v] = true
		}
	}
}

// carriedOver reports whether the surface across half-edge h, from a facet's edge
// that runs from a to b, is no overhang itself and leads down from there, or is
// ground on which the facet stands: a beam that leans from a plate stands on it.
func (o *overhang) carriedOver(h int32, a, b Vec) bool {
	g := h / 3
	if o.flagged[g] {
		return false
	}
	if o.facetRests(g) {
		return true
	}
	down, _, own := o.normal(o.m.Topology().Twin[h] / 3)
	n, beyond, _ := o.faced(g)
	if beyond != g || own > noiseMaxRad {
		// Thin facets may lie any way round: what they are flaps of tells.
		if beyond < 0 {
			return false
		}
		t := o.m.Facets[beyond]
		mid := (o.at[t[0]][2] + o.at[t[1]][2] + o.at[t[2]][2]) / 3
		return mid < (a[2]+b[2])/2-o.levelTol
	}
	// A short edge points anywhere within the rounding of its ends.
	edge := b.Sub(a)
	far := o.at[o.m.Facets[g][(h+2)%3]].Sub(a)
	if n[2] > 0 && far.Dot(down) > 1e-6*far.Norm()+8*o.quantum {
		return true
	}
	into := n.Cross(edge.Scale(-1))
	return into[2] < -1e-6*edge.Norm()-8*o.quantum
}

// startAt is the floating start that a facet of the skin touches, or -1.
func (o *overhang) startAt(piece int32) int32 {
	i, ok := o.lowest[o.skin.facet(piece)]
	if !ok {
		return -1
	}
	touches := func(v int32) bool { return o.corner(v)[2] <= o.starts[i].height+o.levelTol }
	if t := o.skin.m.Facets[piece]; o.skin.share != nil && !touches(t[0]) && !touches(t[1]) && !touches(t[2]) {
		return -1 // another piece of the facet does
	}
	return i
}

// freeStarts returns the places that a region without any hold grows from: of each
// start the lowest point that has a place of the region farthest from it.
func (o *overhang) freeStarts(r *OverhangRegion, low Vec) *hold {
	h := newHold()
	starts := map[int32]bool{}
	var all [][2]float64
	for _, piece := range o.skin.under(r) {
		if i := o.startAt(piece); i >= 0 {
			starts[i] = true
		}
		for _, v := range o.skin.m.Facets[piece] {
			all = append(all, flatten(o.corner(v)))
		}
	}
	if len(starts) == 0 {
		h.add(low, low)
		return h
	}
	outline := convexHull(all)
	var verts []int32
	for i := range starts {
		far, at := -1.0, int32(0)
		for _, v := range o.starts[i].verts {
			p := flatten(o.at[v])
			for _, q := range outline {
				if d := p.sub(q).norm(); d > far {
					far, at = d, v
				}
			}
		}
		verts = append(verts, at)
	}
	o.addPoints(h, verts)
	return h
}
