package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file measures the columns of air under overhang.

// Support is the space under overhang regions, down to what lies below.
type Support struct {
	VolumeMM3   float64
	AreaMM2     float64   // seen along the build direction
	OnPartShare float64   // of AreaMM2: what stands on the part, not on the platform
	Columns     []Support // of each region, in the order of Overhang.Regions; nil within a column
	Stands      []int32   // facets of the part that the columns stand on, in order
	HighestMM   float64   // the highest column
	Region      int       // of a column
}

// MeasureSupport measures the column under every overhang region: straight down
// to the first surface that faces up, of this body or another, or to the
// platform. Each facet's shadow is cut by the facets below it, so volumes and
// areas are exact to rounding, also where surfaces run into each other: the column
// ends at the first one below.
//
// A solid support fills a share of this envelope; which regions need support at
// all is for a rule to say.
func MeasureSupport(ctx context.Context, m *Mesh, f Frame, o *Overhang) (Support, error) {
	if err := m.Prepare(ctx); err != nil {
		return Support{}, err
	}
	s, err := newStance(ctx, m, f)
	if err != nil {
		return Support{}, err
	}
	skin, err := m.united(ctx)
	if err != nil {
		return Support{}, err
	}
	type job struct{ region, piece int32 } // piece: of the skin
	var jobs []job
	for i := range o.Regions {
		for _, p := range skin.under(&o.Regions[i]) {
			jobs = append(jobs, job{int32(i), p})
		}
	}
	corners := func(j job) (t [3]Vec) {
		for k, v := range skin.m.Facets[j.piece] {
			t[k] = s.place(skin.m.Verts[v])
		}
		return t
	}
	roofs := newRoofs(s, len(jobs))
	for i, j := range jobs {
		if i%floorStep == 0 && ctx.Err() != nil {
			return Support{}, ctx.Err()
		}
		t := corners(j)
		roofs.add(&t, s.top(skin.facet(j.piece)))
	}
	g, err := newFloors(ctx, s, roofs)
	if err != nil {
		return Support{}, err
	}
	const chunk = 256
	parts := make([][]Support, (len(jobs)+chunk-1)/chunk)
	err = parallel(ctx, len(jobs), chunk, func(from, to int) error {
		var sums []Support
		c := column{ctx: ctx}
		for i := from; i < to; i++ {
			if i%16 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			if i == from || jobs[i].region != jobs[i-1].region {
				sums = append(sums, Support{Region: int(jobs[i].region)})
			}
			g.under(&c, skin.facet(jobs[i].piece), corners(jobs[i]), &sums[len(sums)-1])
		}
		parts[from/chunk] = sums
		return c.stopped
	})
	if err != nil {
		return Support{}, err
	}
	out := Support{Columns: make([]Support, len(o.Regions))}
	for _, sums := range parts {
		for i := range sums {
			out.Columns[sums[i].Region].add(&sums[i])
		}
	}
	for i := range out.Columns {
		c := &out.Columns[i]
		c.Region = i
		out.add(c)
		c.share()
	}
	out.share()
	return out, nil
}

// add sums columns; until share is called OnPartShare is an area.
func (s *Support) add(t *Support) {
	s.VolumeMM3 += t.VolumeMM3
	s.AreaMM2 += t.AreaMM2
	s.OnPartShare += t.OnPartShare
	s.HighestMM = max(s.HighestMM, t.HighestMM)
	s.Stands = append(s.Stands, t.Stands...)
}

func (s *Support) share() {
	slices.Sort(s.Stands)
	s.Stands = slices.Compact(s.Stands)
	if s.AreaMM2 > 0 {
		s.OnPartShare /= s.AreaMM2
	}
}

// roofs knows about how high overhang goes over each cell of a grid.
type roofs struct {
	n   int // cells along a side
	per point
	top []float64 // of each cell, -Inf where there is none
	any float64   // of what goes over too many cells to note it in each
}

const (
	// roofsMost is the largest number of cells along a side, roofsWide the number
	// of cells from which on a facet is not looked at in each.
	roofsMost = 512
	roofsWide = 256
)

// newRoofs makes a grid for so many pieces of overhang.
func newRoofs(s *stance, pieces int) *roofs {
	r := &roofs{n: min(roofsMost, 1+int(math.Sqrt(float64(pieces)))), any: math.Inf(-1)}
	for k := range r.per {
		if s.size[k] > 0 {
			r.per[k] = float64(r.n) / s.size[k]
		}
	}
	r.top = slices.Repeat([]float64{math.Inf(-1)}, r.n*r.n)
	return r
}

// under calls visit with the cells under a triangle's box, a row at a time. It
// reports whether they are too many.
func (r *roofs) under(t *[3]Vec, visit func(row []float64)) (wide bool) {
	lo, hi := span2(&[3]point{flatten(t[0]), flatten(t[1]), flatten(t[2])})
	var from, to [2]int
	for k := range 2 {
		from[k], to[k] = min(r.n-1, max(0, int(lo[k]*r.per[k]))), min(r.n, 1+max(0, int(hi[k]*r.per[k])))
	}
	if (to[0]-from[0])*(to[1]-from[1]) > roofsWide {
		return true
	}
	for i := from[0]; i < to[0]; i++ {
		visit(r.top[i*r.n+from[1] : i*r.n+to[1]])
	}
	return false
}

// add notes a piece of overhang up to a height.
func (r *roofs) add(t *[3]Vec, top float64) {
	wide := r.under(t, func(row []float64) {
		for i := range row {
			row[i] = max(row[i], top)
		}
	})
	if wide {
		r.any = max(r.any, top)
	}
}

// over reports whether overhang may go higher than the lowest corner of a facet.
func (r *roofs) over(t *[3]Vec) bool {
	low := min(t[0][2], t[1][2], t[2][2])
	over := r.any >= low
	return over || r.under(t, func(row []float64) { over = over || slices.Max(row) >= low }) || over
}

// floors finds the facets that face up below a place.
type floors struct {
	*stance
	tree *BVH // of those facets under overhang, as the part stands
}

// top returns the height of a facet's highest corner.
func (s *stance) top(f int32) float64 {
	t := &s.m.Facets[f]
	return max(s.at[t[0]][2], s.at[t[1]][2], s.at[t[2]][2])
}

func newFloors(ctx context.Context, s *stance, r *roofs) (*floors, error) {
	parts := make([][]int32, (len(s.m.Facets)+floorStep-1)/floorStep)
	err := parallel(ctx, len(s.m.Facets), floorStep, func(from, to int) error {
		for f := int32(from); f < int32(to); f++ {
			t := s.m.Facets[f]
			if s.shadow(f) > 0 && r.over(&[3]Vec{s.at[t[0]], s.at[t[1]], s.at[t[2]]}) {
				parts[from/floorStep] = append(parts[from/floorStep], f)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	up := slices.Concat(parts...)
	tree, err := newBVHOf(ctx, New(s.at, s.m.Facets), len(up), func(i int) int32 { return up[i] })
	return &floors{stance: s, tree: tree}, err
}

// shadow returns the area of a facet seen from above, negative if it faces down.
func (s *stance) shadow(f int32) float64 {
	t := s.m.Facets[f]
	a := flatten(s.at[t[0]])
	return flatten(s.at[t[1]]).sub(a).cross(flatten(s.at[t[2]]).sub(a)) / 2
}

// floorStep is how many facets are laid out between two questions whether to
// go on.
const floorStep = 1 << 14

// shade is a convex polygon in the platform's plane, counter-clockwise.
type shade struct {
	n int
	p [shadeMax]point
}

// shadeMax corners are more than a cut by a triangle adds to half as many.
const shadeMax = 16

// rise is a height as a linear function of the place: of the plane of a facet.
type rise struct{ x, y, c float64 }

func (r rise) at(p point) float64 { return float64(r.x*p[0]) + float64(r.y*p[1]) + r.c }

func (r rise) less(q rise) rise { return rise{r.x - q.x, r.y - q.y, r.c - q.c} }

// rise returns the plane of a facet that is not upright.
func (s *stance) rise(f int32) rise {
	t := s.m.Facets[f]
	a := &s.at[t[0]]
	x, y, z := crossOf(a, &s.at[t[1]], &s.at[t[2]])
	r := rise{x: -x / z, y: -y / z}
	r.c = a[2] - float64(r.x*a[0]) - float64(r.y*a[1])
	return r
}

const (
	// A piece of overhang over more than floorsMost facets is given up for four
	// smaller ones after floorsWork looks at a facet below, as long as a split
	// leaves fewer of them (it does not where they lie on top of each other or
	// meet in a point).
	floorsMost  = 24
	floorsWork  = 1000
	floorsFewer = 0.8
	floorsDeep  = 24
	// What an overhang facet stands on is looked for floorsFirst times as far below
	// it as it is wide, then for what falls past that floorsMore times as far, and
	// so on: in a lattice most of what is below lies under other floors.
	floorsFirst = 8
	floorsMore  = 4
	floorsLeast = 1e-5 // of the part's height: no facet counts as less wide
)

// below is one facet that faces up under a piece of overhang.
type below struct {
	facet  int32
	tri    [3]point
	lo, hi point // its extent
	rise   rise
	top    float64 // height of its highest corner
}

// under adds the column under an overhang facet, or a piece of it.
func (g *floors) under(c *column, f int32, t [3]Vec, sum *Support) {
	// It faces down: seen from above it runs the other way.
	tri := [3]point{flatten(t[2]), flatten(t[1]), flatten(t[0])}
	shadow := tri[1].sub(tri[0]).cross(tri[2].sub(tri[0])) / 2
	if shadow <= 0 {
		return
	}
	c.floors, c.roof, c.top, c.sum = g, g.rise(f), g.top(f), sum
	low := min(t[0][2], t[1][2], t[2][2])
	deep := floorsFirst * max(math.Sqrt(shadow), floorsLeast*g.size[2])
	c.falls = append(c.falls[:0], fall{tri: tri, facet: -1, floor: rise{c: -g.frame.Lift}, from: math.Inf(1), deep: deep})
	for len(c.falls) > 0 && c.stopped == nil {
		last := len(c.falls) - 1
		c.fall = c.falls[last]
		c.falls = c.falls[:last]
		above := c.from
		if c.from = low - c.deep; c.from <= 0 {
			c.from = math.Inf(-1)
		}
		c.find(&c.tri, above)
		c.piece(&c.tri, c.lists, math.MaxInt, 0)
	}
}

// fall is a part of a facet's shadow, seen from above, that falls past all facets
// whose highest corners lie at from or above.
type fall struct {
	tri   [3]point
	facet int32 // on which it falls if on nothing before; -1 for the platform
	floor rise  // the plane of that
	from  float64
	deep  float64 // how far below the overhang to look, see floorsMore
}

// column is the work under one facet.
type column struct {
	*floors
	fall         // being looked at, down to from
	falls []fall // to be looked at
	roof  rise
	top   float64 // its highest corner
	sum   *Support
	pool  []below  // the facets below, highest first
	lists []int32  // the candidates, as numbers in the pool: all, then those of each piece being split
	cands []int32  // of the piece being resolved
	steps [3]shade // of it, left by the sides of the candidate being looked at
	least float64  // area that is none
	work  int      // candidates still to be looked at

	// One facet over many that cross each other falls into any number of pieces.
	ctx     context.Context
	looks   int
	stopped error
}

// piece measures under a part of the facet that has these candidates below. The
// piece that it is a part of had so many. Most pieces have few facets in sight,
// with or without many layers of others below; one with many in sight is split.
func (c *column) piece(tri *[3]point, cands []int32, before, depth int) {
	if c.stopped != nil {
		return
	}
	n := len(cands)
	c.work = math.MaxInt
	if n > floorsMost && depth < floorsDeep && (depth < 3 || float64(n) < floorsFewer*float64(before)) {
		c.work = floorsWork
	}
	c.cands = cands
	var p shade
	p.n = copy(p.p[:], tri[:])
	c.least = 1e-12 * p.area()
	was, falls := *c.sum, len(c.falls)
	if c.resolve(&p, c.facet, c.floor, 0); c.work > 0 {
		return
	}
	*c.sum, c.falls = was, c.falls[:falls]
	ab, bc, ca := tri[0].mid(tri[1]), tri[1].mid(tri[2]), tri[2].mid(tri[0])
	for _, t := range [4][3]point{{tri[0], ab, ca}, {ab, tri[1], bc}, {ca, bc, tri[2]}, {ab, bc, ca}} {
		from := len(c.lists)
		c.piece(&t, c.meeting(&t, cands), n, depth+1)
		c.lists = c.lists[:from]
	}
}

// span2 returns the extent of a triangle.
func span2(tri *[3]point) (lo, hi point) {
	lo = point{min(tri[0][0], tri[1][0], tri[2][0]), min(tri[0][1], tri[1][1], tri[2][1])}
	hi = point{max(tri[0][0], tri[1][0], tri[2][0]), max(tri[0][1], tri[1][1], tri[2][1])}
	return lo, hi
}

// meeting lists those of the candidates that may be the floor of a part of a
// triangle, in the same order: they overlap it, and none above them hides all
// of it.
func (c *column) meeting(tri *[3]point, cands []int32) []int32 {
	from := len(c.lists)
	hidden := math.Inf(-1) // what lies lower is
	for _, i := range cands {
		b := &c.pool[i]
		if b.top < hidden {
			break // and all that follow
		}
		how := overlap(tri, &b.tri)
		if how == beside {
			continue
		}
		c.lists = append(c.lists, i)
		if how == covered {
			hidden = max(hidden, c.hides(b, tri))
		}
	}
	return c.lists[from:]
}

// hides returns the least height of a facet over a triangle that it covers, if
// it lies below the overhang there.
func (c *column) hides(b *below, tri *[3]point) float64 {
	low := math.Inf(1)
	for _, p := range tri {
		h := b.rise.at(p)
		if h > c.roof.at(p)+c.levelTol {
			return math.Inf(-1)
		}
		low = min(low, h)
	}
	return low
}

// How a triangle lies to another, seen from above.
const (
	beside  = iota // no area in common
	across         // some, perhaps
	covered        // all of it
)

// overlap says how p lies to t, both counter-clockwise: a line along an edge
// parts them or none does.
func overlap(p, t *[3]point) int {
	how := covered
	for k := range 3 {
		switch n := leftOf(&t[k], &t[(k+1)%3], p); {
		case n == 0:
			return beside
		case n < 3:
			how = across
		}
	}
	if how == covered {
		return covered
	}
	for k := range 3 {
		if leftOf(&p[k], &p[(k+1)%3], t) == 0 {
			return beside
		}
	}
	return across
}

// leftOf counts the corners of a triangle to the left of the line from a to b,
// 0 if none lies truly to its left, those on the line counted else.
func leftOf(a, b *point, t *[3]point) int {
	dx, dy := b[0]-a[0], b[1]-a[1]
	x := float64(dx*(t[0][1]-a[1])) - float64(dy*(t[0][0]-a[0]))
	y := float64(dx*(t[1][1]-a[1])) - float64(dy*(t[1][0]-a[0]))
	z := float64(dx*(t[2][1]-a[1])) - float64(dy*(t[2][0]-a[0]))
	switch {
	case max(x, y, z) <= 0:
		return 0
	case min(x, y, z) >= 0:
		return 3
	}
	return 1
}

// find collects in the pool the facets that face up below a triangle of the
// overhang, with highest corners from c.from up to above, highest first, and lists
// them all.
func (c *column) find(tri *[3]point, above float64) {
	c.pool, c.lists = c.pool[:0], c.lists[:0]
	lo, hi := span2(tri)
	boxes := newBoxLanes(Box{Vec{lo[0], lo[1], c.from}, Vec{hi[0], hi[1], min(above, c.top)}})
	sides := c.tree.belowLanes(tri, c.roof)
	c.tree.besideIn(&boxes, &sides, func(f int32) bool {
		t := &c.m.Facets[f]
		a, b, d := &c.stance.at[t[0]], &c.stance.at[t[1]], &c.stance.at[t[2]]
		top := max(a[2], b[2], d[2])
		if top >= above || top < c.from || min(a[2], b[2], d[2]) > c.top {
			return true
		}
		n := len(c.pool)
		c.pool = slices.Grow(c.pool, 1)[:n+1]
		g := &c.pool[n]
		for k, p := range [3]*Vec{a, b, d} {
			g.tri[k][0], g.tri[k][1] = p[0], p[1]
		}
		if overlap(tri, &g.tri) == beside {
			c.pool = c.pool[:n]
			return true
		}
		g.facet, g.rise, g.top = f, c.stance.rise(f), top
		g.lo, g.hi = span2(&g.tri)
		return true
	})
	slices.SortFunc(c.pool, func(a, b below) int {
		if a.top != b.top {
			return cmp.Compare(b.top, a.top)
		}
		return cmp.Compare(a.facet, b.facet)
	})
	for i := range c.pool {
		c.lists = append(c.lists, int32(i))
	}
}

// belowLanes are the sides of what lies straight below a triangle of a roof.
func (b *BVH) belowLanes(tri *[3]point, roof rise) sideLanes {
	at := func(p point) Vec { return Vec{p[0], p[1], roof.at(p)} }
	o, up := at(tri[0]), Vec{0, 0, 1}
	u, v := at(tri[1]).Sub(o), at(tri[2]).Sub(o)
	l := b.sidesFrom(&o, &u, &v, &[4]Vec{u.Cross(up), v.Sub(u).Cross(up), up.Cross(v), {-roof.x, -roof.y, 1}}, 0)
	l.low = float32(math.Inf(-1))
	return l
}

// resolve finds what a piece of shadow falls on: floor, found so far, or one of
// the candidates from number i on where that is higher. It gives up when no work
// is left.
func (c *column) resolve(p *shade, facet int32, floor rise, i int) {
	if p.n > shadeMax/2 {
		// Too many corners for more cuts: two halves.
		var a, b shade
		h := p.n / 2
		a.n = copy(a.p[:], p.p[:h+1])
		b.n = copy(b.p[:], p.p[h:p.n])
		b.p[b.n] = p.p[0]
		b.n++
		c.resolve(&a, facet, floor, i)
		c.resolve(&b, facet, floor, i)
		return
	}
	low := p.least(floor)
	lo, hi := p.extent()
	var lifted, ducks bool // whether the facet met lies all above the floor, and all below the roof
	for ; ; i++ {
		if i == len(c.cands) || c.pool[c.cands[i]].top < low { // as are all that follow
			c.add(p, facet, floor)
			return
		}
		g := &c.pool[c.cands[i]]
		if c.looks++; c.looks%(1<<12) == 0 && c.ctx.Err() != nil {
			c.stopped, c.work = c.ctx.Err(), 0
		}
		if c.work--; c.work <= 0 {
			return
		}
		if g.lo[0] >= hi[0] || g.lo[1] >= hi[1] || g.hi[0] <= lo[0] || g.hi[1] <= lo[1] || p.beside(&g.tri) {
			continue
		}
		in, ok := p.inside(&g.tri, &c.steps)
		if !ok || in.area() <= c.least {
			continue
		}
		var some, any bool
		lifted, some = in.over(g.rise.less(floor), c.levelTol)
		ducks, any = in.over(c.roof.less(g.rise), c.levelTol)
		if some && (ducks || any) {
			break
		}
	}
	c.split(p, facet, floor, i, lifted, ducks)
}

// split goes on with what of a piece candidate i is not under, and with what it is:
// c.steps.
func (c *column) split(p *shade, facet int32, floor rise, i int, lifted, ducks bool) {
	g := &c.pool[c.cands[i]]
	steps := c.steps
	var out, high, ducked shade
	rest := p
	for k := range 3 {
		rest.cut(g.tri[(k+1)%3], g.tri[k], &out)
		c.past(&out, facet, floor, i)
		rest = &steps[k]
	}
	if !lifted {
		rest.part(floor.less(g.rise), &out)
		c.past(&out, facet, floor, i)
		rest.part(g.rise.less(floor), &high)
		rest = &high
	}
	if !ducks {
		rest.part(g.rise.less(c.roof), &out)
		c.past(&out, facet, floor, i)
		rest.part(c.roof.less(g.rise), &ducked)
		rest = &ducked
	}
	c.past(rest, g.facet, g.rise, i)
}

// past goes on after candidate i with a part of the shadow.
func (c *column) past(p *shade, facet int32, floor rise, i int) {
	if p.n >= 3 && p.area() > c.least {
		c.resolve(p, facet, floor, i+1)
	}
}

// add counts a piece of shadow on one floor.
func (c *column) add(p *shade, facet int32, floor rise) {
	a, mid := p.area(), p.centre()
	if a <= 0 {
		return
	}
	if p.least(floor) < c.from {
		for i := 2; i < p.n; i++ {
			c.falls = append(c.falls, fall{[3]point{p.p[0], p.p[i-1], p.p[i]}, facet, floor, c.from, c.deep * floorsMore})
		}
		return
	}
	c.sum.AreaMM2 += a
	c.sum.VolumeMM3 += a * max(0, c.roof.at(mid)-floor.at(mid))
	if facet >= 0 {
		c.sum.OnPartShare += a
	}
	// What is seen past a facet's edge by rounding alone is no place to stand.
	if lo, hi := p.extent(); a <= c.levelTol*max(hi[0]-lo[0], hi[1]-lo[1]) {
		return
	}
	for _, q := range p.p[:p.n] {
		c.sum.HighestMM = max(c.sum.HighestMM, c.roof.at(q)-floor.at(q))
	}
	if facet >= 0 {
		if n := len(c.sum.Stands); n == 0 || c.sum.Stands[n-1] != facet {
			c.sum.Stands = append(c.sum.Stands, facet)
		}
	}
}

// cut makes out what lies to the left of the line from a to b.
func (s *shade) cut(a, b point, out *shade) {
	dx, dy := b[0]-a[0], b[1]-a[1]
	var left heights
	for i := range s.n {
		p := &s.p[i]
		left[i] = float64(dx*(p[1]-a[1])) - float64(dy*(p[0]-a[0]))
	}
	s.above(&left, out)
}

// part makes out where a linear function is positive.
func (s *shade) part(r rise, out *shade) {
	var h heights
	for i := range s.n {
		h[i] = r.at(s.p[i])
	}
	s.above(&h, out)
}

// heights are the values of a linear function at the corners of a polygon.
type heights [shadeMax]float64

// above makes out where a linear function is positive (Sutherland and Hodgman 1974,
// "Reentrant polygon clipping").
func (s *shade) above(h *heights, out *shade) {
	out.n = 0
	for i := range s.n {
		j := i + 1
		if j == s.n {
			j = 0
		}
		p, q, hp, hq := &s.p[i], &s.p[j], h[i], h[j]
		if hp >= 0 {
			out.p[out.n] = *p
			out.n++
		}
		if (hp > 0 && hq < 0) || (hp < 0 && hq > 0) {
			t := hp / (hp - hq)
			out.p[out.n] = point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
			out.n++
		}
	}
}

// over reports whether a linear function is positive all over the polygon, or
// anywhere, a band around 0 aside.
func (s *shade) over(r rise, band float64) (all, some bool) {
	all = true
	for _, p := range s.p[:s.n] {
		h := r.at(p)
		all, some = all && h >= -band, some || h > band
	}
	return all, some
}

// extent returns the corners of the box of the polygon.
func (s *shade) extent() (lo, hi point) {
	lo, hi = s.p[0], s.p[0]
	for _, q := range s.p[1:s.n] {
		for k := range 2 {
			lo[k], hi[k] = min(lo[k], q[k]), max(hi[k], q[k])
		}
	}
	return lo, hi
}

// beside reports whether an edge of a triangle parts it from the polygon.
func (s *shade) beside(t *[3]point) bool {
	for k := range 3 {
		a, b := &t[k], &t[(k+1)%3]
		dx, dy := b[0]-a[0], b[1]-a[1]
		out := true
		for i := range s.n {
			if q := &s.p[i]; float64(dx*(q[1]-a[1]))-float64(dy*(q[0]-a[0])) > 0 {
				out = false
				break
			}
		}
		if out {
			return true
		}
	}
	return false
}

// inside returns what lies in a triangle, the last of what is left after one side
// after another, and whether there is any.
func (s *shade) inside(t *[3]point, steps *[3]shade) (*shade, bool) {
	left := s
	for k := range 3 {
		left.cut(t[k], t[(k+1)%3], &steps[k])
		if left = &steps[k]; left.n < 3 {
			return left, false
		}
	}
	return left, true
}

func (s *shade) area() (a float64) {
	for i := 1; i+1 < s.n; i++ {
		a += s.fan(i) / 2
	}
	return a
}

// fan is twice the area of the triangle of corners 0, i and the next.
func (s *shade) fan(i int) float64 {
	o, p, q := &s.p[0], &s.p[i], &s.p[i+1]
	return float64((p[0]-o[0])*(q[1]-o[1])) - float64((p[1]-o[1])*(q[0]-o[0]))
}

// centre returns the centroid: the mean of a linear function is its value there.
func (s *shade) centre() point {
	var sum point
	var area float64
	for i := 1; i+1 < s.n; i++ {
		a := s.fan(i)
		area += a
		for k := range 2 {
			sum[k] += a * (s.p[0][k] + s.p[i][k] + s.p[i+1][k]) / 3
		}
	}
	if area == 0 {
		return s.p[0]
	}
	return point{sum[0] / area, sum[1] / area}
}

// least returns the lowest height of a plane over the polygon.
func (s *shade) least(r rise) float64 {
	h := math.Inf(1)
	for _, p := range s.p[:s.n] {
		h = min(h, r.at(p))
	}
	return h
}
