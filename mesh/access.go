package mesh

import (
	"context"
	"math"
	"slices"
)

// This file measures where a straight tool gets at the surface: to take
// supports off, or to cut.

// Tool is a straight tool: a rod with a round end, and behind it the hand or
// the spindle that holds it.
type Tool struct {
	DiameterMM float64
	LengthMM   float64 // from the tip to the holder
	HolderMM   float64 // diameter of the holder; one no wider than the rod is none
}

// AccessParams steer MeasureAccess.
type AccessParams struct {
	Tool
	// Directions are those in which the rod may lead away from the part, of any
	// length but zero. Nil is all round: 256 evenly spread, the mesh's axes, and
	// at each place the surface's normal and the directions along the walls
	// around, so that a slot or bore is found however narrow its view is.
	Directions []Vec
	Samples    int     // about how many places to try in all regions together; 0 is 1024
	LeastMM2   float64 // regions smaller than this are not tried: their Share is 1, their Samples 0
}

// Access says how much of a region a tool reaches.
type Access struct {
	Share    float64 // of the region's area, 0 to 1
	ShareErr float64 // what Share may be off by: it is counted on samples
	Samples  int
	At       Vec // a place that is not reached; means nothing where Share is 1
	Missed   Box // of the places that are not reached
}

// MeasureAccess returns for each region (a list of facets; of bodies that meet, what
// their skin leaves of them) the share of its area that the tool reaches in a straight line from outside, past nothing but
// the part itself.
//
// A place is reached if the round end, pushed off the walls around it, comes to
// rest with its middle within a tool's diameter of the place, and from there
// the rod and its holder lead away clear of the part. So a corner that a round
// tool can't fill counts as reached, and a slot narrower than the tool does not.
//
// A fan of rays around the rod finds what blocks it fast; what passes is proved
// by walking a ball along the rod (Hart 1996, "Sphere tracing"), so that
// nothing thin slips between the rays. The proof is for a rod 3 % thinner than
// the tool; the front of the holder, as deep as its radius, is seen by the rays
// alone. The directions of the fan that come nearest to being clear are turned off
// what blocks them; a tool that would have to be tilted into a gap that leaves it
// no play, along no wall nearby, may be missed: the share is then too small.
func MeasureAccess(ctx context.Context, m *Mesh, regions [][]int32, p AccessParams) ([]Access, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	skin, err := m.united(ctx)
	if err != nil {
		return nil, err
	}
	bare := make([][]int32, len(regions))
	for i, facets := range regions {
		for _, f := range facets {
			for t, end := skin.pieces(f); t < end; t++ {
				bare[i] = append(bare[i], t)
			}
		}
	}
	return measureAccess(ctx, skin, bare, p, nil)
}

// MeasureSupportAccess returns for each overhang region the share from which
// the tool takes support off: where it reaches both the overhang and, where the
// column below stands on the part, that place too. The platform is gone by
// then.
func MeasureSupportAccess(ctx context.Context, m *Mesh, f Frame, o *Overhang, p AccessParams) ([]Access, error) {
	skin, err := m.united(ctx)
	if err != nil {
		return nil, err
	}
	bare := make([][]int32, len(o.Regions))
	for i := range o.Regions {
		bare[i] = skin.under(&o.Regions[i])
	}
	down := f.Z.Scale(-1)
	return measureAccess(ctx, skin, bare, p, &down)
}

const (
	accessSamples = 1024
	// A region has at most this many samples: shares to a few hundredths.
	accessSamplesMost = 512
	// ... and at least this many while regions are few: a share of a small one
	// means something too.
	accessSamplesLeast = 24
	accessFan          = 256
)

// measureAccess takes regions of facets of a skin.
func measureAccess(ctx context.Context, skin *skin, regions [][]int32, p AccessParams, down *Vec) ([]Access, error) {
	m := skin.whole
	out := make([]Access, len(regions))
	if len(m.Facets) == 0 {
		return out, ctx.Err()
	}
	r := newReach(m, p)
	r.supports = down != nil
	samples := accessSamplesOf(skin, regions, p, r.radius)
	reached := make([]bool, len(samples))
	err := parallel(ctx, len(samples), 16, func(from, to int) error {
		var last Vec // what worked before works often again
		for i := from; i < to; i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			s := &samples[i]
			reached[i] = r.reaches(s.at, m.Normal(skin.facet(s.facet)), &last)
			if !reached[i] || down == nil {
				continue
			}
			if h, ok := r.bvh.Ray(s.at, *down, r.skin, math.Inf(1)); ok && m.Normal(h.Facet).Dot(*down) < 0 {
				reached[i] = r.reaches(s.at.Add(down.Scale(h.T)), m.Normal(h.Facet), &last)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i := range samples {
		out[samples[i].region].count(samples[i].at, reached[i])
	}
	for i := range out {
		out[i].sum()
	}
	return out, nil
}

// count adds a sample; until sum is called Share is a number of samples.
func (a *Access) count(at Vec, reached bool) {
	if a.Samples == 0 {
		a.Missed = EmptyBox()
	}
	if a.Samples++; reached {
		a.Share++
		return
	}
	if a.Missed.Min[0] > a.Missed.Max[0] {
		a.At = at
	}
	a.Missed = a.Missed.Grow(at)
}

func (a *Access) sum() {
	if a.Samples == 0 {
		a.Share = 1
		return
	}
	n := float64(a.Samples)
	a.Share /= n
	// Two standard deviations of a count, and a sample.
	a.ShareErr = min(1, 2*math.Sqrt(a.Share*(1-a.Share)/n)+1/n)
}

// accessSample is a place to be reached.
type accessSample struct {
	at            Vec
	region, facet int32
}

// accessSamplesOf spreads samples over the regions by area: one a square of a quarter of
// a tool's radius while there are not too many, and a few on the smallest region
// while there are not too many of those.
func accessSamplesOf(skin *skin, regions [][]int32, p AccessParams, radius float64) []accessSample {
	most := p.Samples
	if most <= 0 {
		most = accessSamples
	}
	counts, areas, total := make([]int, len(regions)), make([]float64, len(regions)), 0
	least := max(1, min(accessSamplesLeast, most/max(1, len(regions))))
	for i, facets := range regions {
		for _, f := range facets {
			areas[i] += skin.m.Area(f)
		}
		if areas[i] > 0 && areas[i] >= p.LeastMM2 {
			counts[i] = max(least, int(min(math.Ceil(16*areas[i]/(radius*radius)), accessSamplesMost)))
		}
		total += counts[i]
	}
	out := make([]accessSample, 0, min(total, most+len(regions)))
	for i, facets := range regions {
		if total > most && counts[i] > 0 {
			counts[i] = max(least, counts[i]*most/total)
		}
		out = spread(skin.m, facets, int32(i), areas[i], counts[i], out)
	}
	return out
}

// spread puts n samples on facets: evenly by area along the list, and within a
// facet where spot says.
func spread(m *Mesh, facets []int32, region int32, area float64, n int, out []accessSample) []accessSample {
	sum, next := 0.0, 0
	for _, f := range facets {
		sum += m.Area(f)
		for ; next < n && (float64(next)+0.5)*area <= float64(n)*sum; next++ {
			out = append(out, accessSample{m.spot(f, next), region, f})
		}
	}
	return out
}

// toolReach tries places. It is not changed after it was made.
type toolReach struct {
	m              *Mesh
	bvh            *BVH
	box            Box
	radius, length float64 // length from the middle of the round end to the holder
	holder         float64 // radius, 0 for none
	skin           float64 // distance that is none
	fan            []Vec
	local          bool // try directions of the place as well
	supports       bool // try from beside as well
}

func newReach(m *Mesh, p AccessParams) *toolReach {
	r := &toolReach{m: m, bvh: m.BVH(), box: m.Box(), radius: p.DiameterMM / 2, length: max(0, p.LengthMM-p.DiameterMM/2), local: p.Directions == nil}
	r.skin = 1e-6 * r.box.Diagonal()
	r.radius = max(r.radius, 10*r.skin)
	if p.HolderMM/2 > r.radius {
		r.holder = p.HolderMM / 2
	}
	if r.local {
		r.fan = append(r.fan, Vec{0, 0, -1}, Vec{0, 0, 1}, Vec{1, 0, 0}, Vec{-1, 0, 0}, Vec{0, 1, 0}, Vec{0, -1, 0})
		r.fan = append(r.fan, SphereDirections(accessFan)...)
		return r
	}
	for _, d := range p.Directions {
		r.fan = append(r.fan, d.Unit())
	}
	return r
}

// reaches reports whether the tool gets at a place whose outward normal is n.
// last is the direction that worked before, and takes the one that works now.
func (r *toolReach) reaches(at, n Vec, last *Vec) bool {
	if n == (Vec{}) {
		return false
	}
	c := at.Add(n.Scale(r.radius))
	if h, ok := r.bvh.Ray(at, n, r.skin, 2*r.radius); ok {
		c = at.Add(n.Scale(min(r.radius, h.T/2)))
	}
	c, ok := r.rest(at, c, 2*r.radius)
	return ok && (r.leads(c, n, last) || r.supports && c.Sub(at).Norm() <= (1+sideSlack)*r.radius && r.beside(at, n, last))
}

// beside reports whether the tool gets at a place from its side, as under the edge of
// a thin rib: with its round end no further than sideSlack of its radius away.
func (r *toolReach) beside(at, n Vec, last *Vec) bool {
	f := NewFrame(n, 0, 0)
	sin, cos := math.Sincos(sideTilt)
	for _, u := range rodSides {
		d := n.Scale(cos).Add(f.X.Scale(u[0] * sin)).Add(f.Y.Scale(u[1] * sin))
		if _, hit := r.bvh.Ray(at, d, r.skin, r.radius); hit {
			continue
		}
		if c, ok := r.rest(at, at.Add(d.Scale(r.radius)), (1+sideSlack)*r.radius); ok && r.leads(c, n, last) {
			return true
		}
	}
	return false
}

// leads reports whether the tool leads away from where its round end rests, at c
// beside a place whose outward normal is n.
func (r *toolReach) leads(c, n Vec, last *Vec) bool {
	try := func(d Vec) bool {
		if d == (Vec{}) || !r.clear(c, d) {
			return false
		}
		*last = d
		return true
	}
	if r.local && try(*last) || r.local && try(n) {
		return true
	}
	if r.local {
		for _, d := range r.alongWalls(c) {
			if try(d) {
				return true
			}
		}
	}
	var open []Vec
	for _, d := range r.fan {
		if !r.open(c, d) {
			continue
		}
		if r.fits(c, d) {
			*last = d
			return true
		}
		open = append(open, d)
	}
	if r.local {
		for _, d := range r.narrow(c, open) {
			if try(r.turned(c, d)) {
				return true
			}
		}
	}
	return false
}

const (
	// narrowMost is how many directions of the fan are turned off what blocks them,
	// turnSteps how often each, and turnMost how far in all, in radians: two
	// directions of the fan are about twice as far apart.
	narrowMost = 8
	turnSteps  = 12
	turnMost   = 0.13
)

// narrow returns those of the open directions along which no more than half of the
// rod's sides hit anything, the clearest first.
func (r *toolReach) narrow(c Vec, open []Vec) []Vec {
	const most = len(rodSides) / 2
	var by [most + 1][]Vec
	for _, d := range open {
		if n := r.hits(c, NewFrame(d, 0, 0), r.radius, 0, r.leaves(c, d), most); n <= most {
			by[n] = append(by[n], d)
		}
	}
	out := slices.Concat(by[:]...)
	return out[:min(len(out), narrowMost)]
}

// turned turns a rod from c along d off what it runs into, again and again, and
// returns where it then leads: nowhere, if it is not clear.
func (r *toolReach) turned(c, d Vec) Vec {
	from := d
	for range turnSteps {
		t, near, clear := r.walk(c, d, r.radius, 0, r.leaves(c, d))
		if clear {
			return d
		}
		off := c.Add(d.Scale(t)).Sub(near.Point)
		d = d.Add(off.Unit().Scale((r.radius - near.Dist) / max(t, r.skin))).Unit()
		if d.Dot(from) < math.Cos(turnMost) {
			break
		}
	}
	return Vec{}
}

const (
	// restSteps pushes leave a ball where it touches the walls of a corner.
	restSteps = 24
	// A ball rests if what touches it leaves it this much of its radius, and the
	// rod is proved clear for the other share.
	restShare, rodShare = 0.99, 0.97
	// A tool beside a place starts so far from its normal, and rests with this much of
	// its radius between them at most.
	sideTilt, sideSlack = 75 * math.Pi / 180, 0.25
)

// rest returns where the middle of the tool's round end comes to rest: from c, beside a
// place, pushed off whatever is nearer than the radius, and not further than most
// from the place.
func (r *toolReach) rest(at, c Vec, most float64) (Vec, bool) {
	for range restSteps {
		near, ok := r.bvh.Nearest(c, restShare*r.radius, nil)
		if !ok {
			return c, c.Sub(at).Norm() <= most
		}
		off := c.Sub(near.Point)
		if near.Dist <= r.skin {
			off = r.m.Normal(near.Facet).Scale(r.skin)
		}
		push := off.Unit().Scale(r.radius - near.Dist)
		if h, hit := r.bvh.Ray(c, push, r.skin/push.Norm(), 1); hit { // not the wall that it is pushed off
			push = push.Scale(h.T / 2) // never through a wall
		}
		c = c.Add(push)
	}
	return Vec{}, false
}

// clear reports whether the rod, its round end at c, leads away along the unit
// vector d, and its holder behind it.
func (r *toolReach) clear(c, d Vec) bool { return r.open(c, d) && r.fits(c, d) }

// open reports whether the middle of the rod leads away.
func (r *toolReach) open(c, d Vec) bool {
	_, hit := r.bvh.Ray(c, d, 0, math.Inf(1))
	return !hit
}

// fits reports whether the rest of the tool leads away where its middle does.
func (r *toolReach) fits(c, d Vec) bool {
	f := NewFrame(d, 0, 0)
	end := r.leaves(c, d)
	length := r.length
	if r.holder == 0 || length > end {
		length = end
	}
	held := r.holder > 0 && length < end
	switch {
	case r.fanHits(c, f, r.radius, 0, length):
		return false
	case held && (r.fanHits(c, f, r.holder, length, end) || r.fanHits(c, f, r.holder/2, length, end)):
		return false
	}
	// A ball that begins the holder would reach in front of it; the rays have
	// seen its front.
	return r.rodClear(c, d, r.radius, 0, length) && (!held || r.rodClear(c, d, r.holder, length+r.holder, end))
}

// leaves returns how far from c along d the tool is past the part's box.
func (r *toolReach) leaves(c, d Vec) float64 {
	far := 0.0
	wide := max(r.radius, r.holder)
	for i := range 8 {
		var corner Vec
		for k := range 3 {
			corner[k] = r.box.Min[k]
			if i>>k&1 == 1 {
				corner[k] = r.box.Max[k]
			}
		}
		far = max(far, corner.Sub(c).Dot(d))
	}
	return far + wide
}

// fanHits casts eight rays on the rod's surface from one distance to another.
func (r *toolReach) fanHits(c Vec, f Frame, radius, from, to float64) bool {
	return from < to && r.hits(c, f, radius, from, to, 0) > 0
}

// rodSides are where around the rod the eight rays run.
var rodSides = [8][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1},
	{math.Sqrt2 / 2, math.Sqrt2 / 2}, {-math.Sqrt2 / 2, -math.Sqrt2 / 2}, {math.Sqrt2 / 2, -math.Sqrt2 / 2}, {-math.Sqrt2 / 2, math.Sqrt2 / 2}}

// hits counts those of the eight rays that hit anything, as far as one more than
// most.
func (r *toolReach) hits(c Vec, f Frame, radius, from, to float64, most int) (n int) {
	for _, u := range rodSides {
		o := c.Add(f.X.Scale(u[0] * rodShare * radius)).Add(f.Y.Scale(u[1] * rodShare * radius))
		if _, hit := r.bvh.Ray(o, f.Z, from, to); hit {
			if n++; n > most {
				break
			}
		}
	}
	return n
}

// rodClear proves a rod clear: balls along it, each as large as its
// surroundings let it be, cover it.
func (r *toolReach) rodClear(c, d Vec, radius, from, to float64) bool {
	_, _, clear := r.walk(c, d, radius, from, to)
	return clear
}

// walk walks along a rod to where it is not clear, and what is near there.
func (r *toolReach) walk(c, d Vec, radius, from, to float64) (t float64, near Near, clear bool) {
	for t = from; t < to; {
		// Where nothing is near the distance is the most that was asked for.
		near, _ = r.bvh.Nearest(c.Add(d.Scale(t)), 8*radius, nil)
		if near.Dist < (restShare-0.005)*radius {
			return t, near, false
		}
		t += math.Sqrt(near.Dist*near.Dist - rodShare*rodShare*radius*radius)
	}
	return t, near, true
}

// alongWalls returns the directions along two of the walls around a place at a
// time: the axis of a bore, the length of a slot.
func (r *toolReach) alongWalls(c Vec) []Vec {
	const most = 24
	var walls, out []Vec
	known := func(list []Vec, v Vec) bool {
		for _, w := range list {
			if math.Abs(w.Dot(v)) > 0.995 {
				return true
			}
		}
		return false
	}
	for _, d := range accessProbes {
		if h, ok := r.bvh.Ray(c, d, 0, math.Inf(1)); ok {
			if n := r.m.Normal(h.Facet); n != (Vec{}) && !known(walls, n) {
				walls = append(walls, n)
			}
		}
	}
	for i, a := range walls {
		for _, b := range walls[:i] {
			v := a.Cross(b)
			if v.Norm() < 0.1 || known(out, v.Unit()) {
				continue
			}
			if v = v.Unit(); len(out) < most {
				out = append(out, v, v.Scale(-1))
			}
		}
	}
	return out
}

// accessProbes look for walls around a place.
var accessProbes = SphereDirections(16)
