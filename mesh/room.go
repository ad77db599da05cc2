package mesh

import (
	"container/heap"
	"context"
	"math"
	"slices"
)

// This file finds out whether a machine has room for a part: at some turn about
// a given build direction, or standing in any way at all.

// Room is the space that a machine offers, along its axes: a block, or a
// cylinder that stands upright where its platform is round.
type Room struct {
	Platform
	ZMM float64
}

// Over returns how far a part sticks out of the room where it does so most; not
// positive where it fits as it stands.
func (r Room) Over(b OrientedBox) float64 {
	if r.DiameterMM > 0 {
		return max(b.Size[2]-r.ZMM, 2*b.Radius-r.DiameterMM)
	}
	return max(b.Size[0]-r.XMM, b.Size[1]-r.YMM, b.Size[2]-r.ZMM)
}

// Fit is the way to stand a part that leaves it most room, among those looked at.
type Fit struct {
	Up      Vec     // unit, mesh coordinates
	TurnRad float64 // about Up, in (-pi/2, pi/2]; 0 on a round platform
	OverMM  float64 // how far the part sticks out where it does so most; not positive where it fits
	// Certain says, where it does not fit, that no other way fits either: of all
	// turns for FitTurned, of all ways to stand it for FitTilted.
	Certain bool
}

// Fits reports whether the room holds the part.
func (f Fit) Fits() bool { return f.OverMM <= 0 }

const (
	// fitSpareMM is what a way to stand a part has to leave free before FitTilted
	// is bound to find it. What fits more tightly may be found.
	fitSpareMM = 0.1
	// fitWork bounds the search, counted in looks at a corner along an axis: half
	// a second.
	fitWork = 50_000_000
	// fitPoints is with how many corners of the part it begins.
	fitPoints = 96
	// fitRounds of a walk to where more room is left, from steps of fitStepRad
	// downwards: the last step moves a part of 300 mm by less than 0.1 mm.
	fitRounds  = 14
	fitWalks   = 8 // each with the corners that stuck out after the one before
	fitStepRad = 4 * math.Pi / 180
)

// FitTurned returns the turn about a build direction that leaves most room. It
// is exact but for rounding: between two turns at which a side of the convex
// outline lies along a side of the room, each extent is the shadow of one chord
// and so a cosine of the turn, and the larger excess of the two is least at an
// end or where both are equal.
func FitTurned(ctx context.Context, m *Mesh, up Vec, r Room) (Fit, error) {
	f := NewFrame(up, 0, 0)
	if len(m.Facets) == 0 {
		return Fit{Up: f.Z}, nil
	}
	box, hull, err := shadow(ctx, m, f)
	if err != nil {
		return Fit{}, err
	}
	over, turn := r.turned(hull)
	return Fit{f.Z, turn, max(over, box.Size()[2]-r.ZMM), true}, nil
}

// turned returns by how much a convex outline is too large for the platform at
// the turn that suits it best, and that turn.
func (p Platform) turned(hull [][2]float64) (over, turn float64) {
	if p.DiameterMM > 0 {
		_, r := smallestCircle(hull)
		return 2*r - p.DiameterMM, 0
	}
	over = math.Inf(1)
	best := func(t, v float64) {
		t = -math.Remainder(t, math.Pi) // the part turns against its axes
		if t <= -math.Pi/2 {
			t = math.Pi / 2
		}
		if less := math.Abs(t) - math.Abs(turn); v < over-1e-9 || v <= over+1e-9 && (less < -1e-9 || less <= 1e-9 && t > turn) {
			over, turn = min(over, v), t
		}
	}
	c := newCaliper(hull)
	stops := c.stops()
	for i, t0 := range stops[:len(stops)-1] {
		t1 := stops[i+1]
		x, y := c.chords((t0 + t1) / 2)
		excess := func(t float64) float64 {
			s, c := math.Sincos(t)
			return max(float64(x[0]*c)+float64(x[1]*s)-p.XMM, float64(y[1]*c)-float64(y[0]*s)-p.YMM)
		}
		best(t0, excess(t0))
		best(t1, excess(t1))
		// Both are equal where a cos t + b sin t is the difference of the sides.
		a, b := x[0]-y[1], x[1]+y[0]
		cos := (p.XMM - p.YMM) / math.Hypot(a, b)
		if !(math.Abs(cos) <= 1) {
			continue
		}
		for _, t := range [2]float64{math.Atan2(b, a) + math.Acos(cos), math.Atan2(b, a) - math.Acos(cos)} {
			if t -= 2 * math.Pi * math.Floor((t-t0)/(2*math.Pi)); t < t1 {
				best(t, excess(t))
			}
		}
	}
	return over, turn
}

// over returns by how much points are too large for the platform at one turn
// whose outline by some of them is known: as much at least as at the best turn.
func (p Platform) over(points []Vec, f Frame, hull [][2]float64) float64 {
	if p.DiameterMM > 0 {
		c, _ := smallestCircle(hull) // no turn: the hull has the axes of f
		far := 0.0
		for _, q := range points {
			far = max(far, math.Hypot(q.Dot(f.X)-c[0], q.Dot(f.Y)-c[1]))
		}
		return 2*far - p.DiameterMM
	}
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, q := range points {
		for k, axis := range [2]Vec{f.X, f.Y} {
			d := q.Dot(axis)
			low[k], high[k] = min(low[k], d), max(high[k], d)
		}
	}
	return max(high[0]-low[0]-p.XMM, high[1]-low[1]-p.YMM)
}

// caliper turns two pairs of parallel lines about a convex outline.
type caliper struct {
	hull [][2]float64
	far  [4]int // corners farthest along X, Y, -X and -Y
}

// newCaliper begins at no turn.
func newCaliper(hull [][2]float64) *caliper {
	c := &caliper{hull: hull}
	for j, p := range hull {
		for i, u := range [4][2]float64{{1, 0}, {0, 1}, {-1, 0}, {0, -1}} {
			q := hull[c.far[i]]
			if float64((p[0]-q[0])*u[0])+float64((p[1]-q[1])*u[1]) > 0 {
				c.far[i] = j
			}
		}
	}
	return c
}

// stops are the turns in 0..pi, both ends among them, at which a pair of lines
// comes to lie on a side.
func (c *caliper) stops() []float64 {
	out := []float64{0, math.Pi / 2, math.Pi}
	for i, p := range c.hull {
		q := c.hull[(i+1)%len(c.hull)]
		if p == q {
			continue // a single point
		}
		a := math.Mod(math.Atan2(q[1]-p[1], q[0]-p[0])+2*math.Pi, math.Pi/2)
		out = append(out, a, a+math.Pi/2)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// chords returns the chords that span the outline along X and Y, turned by t.
// From one call to the next t grows.
func (c *caliper) chords(t float64) (x, y [2]float64) {
	s, k := math.Sincos(t)
	n := len(c.hull)
	for i, u := range [4][2]float64{{k, s}, {-s, k}, {-k, -s}, {s, -k}} {
		along := func(j int) float64 { p := c.hull[j%n]; return float64(p[0]*u[0]) + float64(p[1]*u[1]) }
		j := c.far[i]
		for k := 0; k < n && along(j+1) >= along(j); k++ {
			j++
		}
		c.far[i] = j % n
	}
	sub := func(i, j int) [2]float64 {
		p, q := c.hull[c.far[i]], c.hull[c.far[j]]
		return [2]float64{p[0] - q[0], p[1] - q[1]}
	}
	return sub(0, 2), sub(1, 3)
}

// FitTilted looks for a way to stand the part in the room among all of them,
// and walks from the first that it finds to one that leaves more room near by.
//
// It branches and bounds over the directions of half the sphere (turned upside
// down a part needs the same room), nearest misses first. A piece of the sphere
// is ruled out where no direction and no turn in it can leave fitSpareMM: a
// chord of length d that makes an angle a with an axis spans at least
// d cos(a+r) along every axis within r of it, and no extent changes faster than
// by the way that the part's corners go. Corners are added as they are found to
// stick out of what fitted the others, so that what is ruled out is ruled out
// for the part, and what fits, fits with all its corners. Where the search is
// not done within its bound, nothing is certain.
func FitTilted(ctx context.Context, m *Mesh, r Room) (Fit, error) {
	s := tilts{verts: farVerts(usedVerts(m)), room: r, axis: 2}
	if r.DiameterMM <= 0 {
		s.room, s.axis = r.onSide()
	}
	if len(s.verts) == 0 {
		return Fit{Up: Vec{0, 0, 1}}, nil
	}
	points, err := outermostOf(ctx, s.verts, fitPoints)
	if err != nil {
		return Fit{}, err
	}
	s.grow(points...)
	for face := range 3 {
		s.push(tiltCell{face: face, half: 1})
	}
	nearest := Fit{OverMM: math.Inf(1)}
	for len(s.cells) > 0 && s.work < fitWork {
		c := heap.Pop(&s.cells).(tiltCell)
		out, err := s.settle(ctx, &c)
		switch {
		case err != nil:
			return Fit{}, err
		case c.fit.Fits():
			if f, err := s.roomiest(ctx, m, r, c.fit); err != nil || f.Fits() {
				return f, err
			}
			s.verts = usedVerts(m) // one that was left out sticks out
			heap.Push(&s.cells, c)
			continue
		case c.fit.OverMM < nearest.OverMM:
			nearest = c.fit
		}
		if out {
			continue
		}
		for _, d := range [4][2]float64{{-1, -1}, {1, -1}, {-1, 1}, {1, 1}} {
			h := c.half / 2
			s.push(tiltCell{face: c.face, u: c.u + d[0]*h, v: c.v + d[1]*h, half: h})
		}
	}
	out, err := FitTurned(ctx, m, s.build(nearest), r)
	out.Certain = len(s.cells) == 0
	return out, err
}

// onSide lays a block on its largest side, so that its least side stands up, and
// says which of its axes then was Z.
func (r Room) onSide() (laid Room, axis int) {
	switch min(r.XMM, r.YMM, r.ZMM) {
	case r.ZMM:
		return r, 2
	case r.XMM:
		return Room{Platform{XMM: r.YMM, YMM: r.ZMM}, r.XMM}, 1
	default:
		return Room{Platform{XMM: r.ZMM, YMM: r.XMM}, r.YMM}, 0
	}
}

// usedVerts returns the vertices that facets use.
func usedVerts(m *Mesh) []Vec {
	used := make([]bool, len(m.Verts))
	for _, t := range m.Facets {
		used[t[0]], used[t[1]], used[t[2]] = true, true, true
	}
	out := make([]Vec, 0, len(m.Verts))
	for v, u := range used {
		if u {
			out = append(out, m.Verts[v])
		}
	}
	return out
}

// farCells is the number of squares along an edge of the cube that farVerts
// looks through.
const farCells = 32

// farVerts leaves out of many vertices most that can't matter: of those seen from
// the middle through one small square of the cube about it, the farthest stays.
// What it leaves out may be a corner all the same, by a hair.
func farVerts(verts []Vec) []Vec {
	if len(verts) <= 6*farCells*farCells {
		return verts
	}
	box := EmptyBox()
	for _, v := range verts {
		box = box.Grow(v)
	}
	mid := box.Min.Add(box.Max).Scale(0.5)
	far := make([]float64, 6*farCells*farCells)
	at := make([]int, len(far))
	for i, v := range verts {
		d := v.Sub(mid)
		k := 0
		for j := range d {
			if math.Abs(d[j]) > math.Abs(d[k]) {
				k = j
			}
		}
		if d[k] == 0 {
			continue // the middle
		}
		square := func(x float64) int { return min(farCells-1, int((x/math.Abs(d[k])+1)*farCells/2)) }
		c := (2*k*farCells+square(d[(k+1)%3]))*farCells + square(d[(k+2)%3])
		if d[k] < 0 {
			c += farCells * farCells
		}
		if l := d.Dot(d); l > far[c] {
			far[c], at[c] = l, i
		}
	}
	var out []Vec
	for c, l := range far {
		if l > 0 {
			out = append(out, verts[at[c]])
		}
	}
	return out
}

// tilts is a search over the directions.
type tilts struct {
	room   Room    // its least side up, where it is a block: that one rules out most
	axis   int     // of room: where the build direction points
	verts  []Vec   // corners of the part: all, or nearly so
	points []Vec   // corners of the part that decided something so far
	mid    Vec     // of the first of them
	reach  float64 // twice the distance of the farthest point from mid: no extent grows by more than this times the way of a unit vector
	cells  tiltHeap
	seen   int
	work   int
}

// tiltCell is a square on a face of the cube about the sphere.
type tiltCell struct {
	face       int
	u, v, half float64
	fit        Fit // in its middle, by the points
	id         int
}

// up is the direction to a point of the cell's face.
func (c *tiltCell) up(u, v float64) Vec {
	var d Vec
	d[c.face], d[(c.face+1)%3], d[(c.face+2)%3] = 1, u, v
	return d.Unit()
}

// radius is the largest angle between the middle and a direction of the cell,
// which one of its corners makes.
func (c *tiltCell) radius() float64 {
	mid, r := c.up(c.u, c.v), 0.0
	for _, d := range [4][2]float64{{-1, -1}, {1, -1}, {-1, 1}, {1, 1}} {
		q := c.up(c.u+d[0]*c.half, c.v+d[1]*c.half)
		r = max(r, math.Atan2(mid.Cross(q).Norm(), mid.Dot(q)))
	}
	return r
}

// tiltHeap has the cell on top that comes nearest to fitting.
type tiltHeap []tiltCell

func (h tiltHeap) Len() int      { return len(h) }
func (h tiltHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h tiltHeap) Less(i, j int) bool {
	if a, b := h[i].fit.OverMM, h[j].fit.OverMM; a != b {
		return a < b
	}
	return h[i].id < h[j].id
}
func (h *tiltHeap) Push(x any) { *h = append(*h, x.(tiltCell)) }
func (h *tiltHeap) Pop() any {
	last := len(*h) - 1
	c := (*h)[last]
	*h = (*h)[:last]
	return c
}

func (s *tilts) push(c tiltCell) {
	s.seen++
	c.id, c.fit = s.seen, s.at(c.up(c.u, c.v))
	heap.Push(&s.cells, c)
}

func (s *tilts) grow(ps ...Vec) {
	if len(s.points) == 0 {
		box := EmptyBox()
		for _, p := range ps {
			box = box.Grow(p)
		}
		s.mid = box.Min.Add(box.Max).Scale(0.5)
	}
	for _, p := range ps {
		s.points = append(s.points, p)
		s.reach = max(s.reach, 2*p.Sub(s.mid).Norm())
	}
}

// outline returns the convex outline of the points along a frame's X and Y, and
// their extent along Z.
func (s *tilts) outline(f Frame) (hull [][2]float64, height float64) {
	s.work += 16 * len(s.points) // they are sorted
	ps := make([][2]float64, len(s.points))
	low, high := math.Inf(1), math.Inf(-1)
	for i, p := range s.points {
		q := f.Turn(p)
		ps[i] = [2]float64{q[0], q[1]}
		low, high = min(low, q[2]), max(high, q[2])
	}
	return convexHull(ps), high - low
}

// at stands the points.
func (s *tilts) at(up Vec) Fit {
	hull, height := s.outline(NewFrame(up, 0, 0))
	over, turn := s.room.turned(hull)
	return Fit{Up: up, TurnRad: turn, OverMM: max(over, height-s.room.ZMM)}
}

// settle rules a cell out, or adds corners of the part until its middle is as
// the whole part has it.
func (s *tilts) settle(ctx context.Context, c *tiltCell) (out bool, err error) {
	for {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		c.fit = s.at(c.fit.Up)
		if !c.fit.Fits() && s.rulesOut(c) {
			return true, nil
		}
		if more := s.sticksOut(&c.fit); len(more) > 0 {
			s.grow(more...)
			continue
		}
		return false, nil
	}
}

// sticksOut returns corners by which the part is larger than the points as they
// stand: by which it breaks the room, where the points fit, else by more than
// decides anything.
func (s *tilts) sticksOut(fit *Fit) []Vec {
	s.work += 3 * len(s.verts)
	f := NewFrame(fit.Up, fit.TurnRad, 0)
	hull, height := s.outline(f)
	// grown reports whether an extent is larger than that of the points.
	grown := func(size, have, room float64) bool {
		if fit.Fits() {
			return size > room*(1+1e-12)
		}
		return size > have+fitSpareMM/2
	}
	var low, high [3]int
	var l, h Vec
	far, out := -1, []Vec(nil)
	centre, radius := smallestCircle(hull)
	most := 0.0
	for i, p := range s.verts {
		q := f.Turn(p)
		for k := range 3 {
			if i == 0 || q[k] < l[k] {
				l[k], low[k] = q[k], i
			}
			if i == 0 || q[k] > h[k] {
				h[k], high[k] = q[k], i
			}
		}
		if d := math.Hypot(q[0]-centre[0], q[1]-centre[1]); s.room.DiameterMM > 0 && d > most {
			most, far = d, i
		}
	}
	if far >= 0 && grown(2*most, 2*radius, s.room.DiameterMM) {
		out = append(out, s.verts[far])
	}
	for k, room := range [3]float64{s.room.XMM, s.room.YMM, s.room.ZMM} {
		if k == 2 && grown(h[k]-l[k], height, room) || k < 2 && s.room.DiameterMM <= 0 && fit.Fits() && grown(h[k]-l[k], 0, room) {
			out = append(out, s.verts[low[k]], s.verts[high[k]])
		}
	}
	return out
}

// roomiest walks from a way that fits to one near by that leaves more room.
func (s *tilts) roomiest(ctx context.Context, m *Mesh, r Room, from Fit) (Fit, error) {
	for range fitWalks {
		if err := ctx.Err(); err != nil {
			return Fit{}, err
		}
		at := s.walk(from.Up)
		more := s.sticksOut(&at)
		if len(more) == 0 {
			from = at
			break
		}
		s.grow(more...)
	}
	return FitTurned(ctx, m, s.build(from), r)
}

// build is the build direction of a fit.
func (s *tilts) build(fit Fit) Vec {
	f := NewFrame(fit.Up, fit.TurnRad, 0)
	return [3]Vec{f.X, f.Y, f.Z}[s.axis]
}

// walk goes downhill by the points, in steps that it halves.
func (s *tilts) walk(up Vec) Fit {
	at, step := s.at(up), fitStepRad
	for range fitRounds {
		best := at
		for _, up := range DirectionsAround(at.Up, step, 8) {
			if f := s.at(up); f.OverMM < best.OverMM-1e-9 {
				best = f
			}
		}
		if best == at {
			step /= 2
		}
		at = best
	}
	return at
}

// rulesOut reports whether no direction of a cell leaves room for the points, at
// any turn.
func (s *tilts) rulesOut(c *tiltCell) bool {
	r := c.radius()
	if c.fit.OverMM-2*math.Sin(r/2)*s.reach > -fitSpareMM || s.chord(c.fit.Up, r)-s.room.ZMM > -fitSpareMM {
		return true
	}
	f := NewFrame(c.fit.Up, 0, 0)
	rim := s.rim(f)
	if s.room.DiameterMM > 0 {
		s.work += len(rim) * len(rim)
		return leastAcross(rim, f.Z, r)-s.room.DiameterMM > -fitSpareMM
	}
	const parts = 8
	for i := range parts {
		if !s.turnsOut(rim, f, r, math.Pi*float64(i)/parts, math.Pi*float64(i+1)/parts) {
			return false
		}
	}
	return true
}

// turnsOut reports whether the rim is too large along X or Y for every frame
// whose Z is within r of f's, turned by between t0 and t1.
func (s *tilts) turnsOut(rim []Vec, f Frame, r, t0, t1 float64) bool {
	s.work += 2 * len(rim)
	mid, half := (t0+t1)/2, (t1-t0)/2
	sin, cos := math.Sincos(mid)
	x := f.X.Scale(cos).Add(f.Y.Scale(sin))
	if leastAlong(widest(rim, x), x, r+half)-s.room.XMM > -fitSpareMM {
		return true
	}
	y := f.Y.Scale(cos).Sub(f.X.Scale(sin))
	if leastAlong(widest(rim, y), y, r+half)-s.room.YMM > -fitSpareMM {
		return true
	}
	return half > r && s.turnsOut(rim, f, r, t0, mid) && s.turnsOut(rim, f, r, mid, t1)
}

// chord returns a height that the points have at least along every direction
// within r of up.
func (s *tilts) chord(up Vec, r float64) float64 {
	low, high := s.points[0], s.points[0]
	for _, p := range s.points {
		if p.Dot(up) < low.Dot(up) {
			low = p
		}
		if p.Dot(up) > high.Dot(up) {
			high = p
		}
	}
	s.work += 4 * len(s.points)
	// A chord that is a little shorter but more upright may say more.
	best := leastAlong(high.Sub(low), up, r)
	from := high
	for _, p := range s.points {
		if l := leastAlong(from.Sub(p), up, r); l > best {
			best, low = l, p
		}
	}
	for _, p := range s.points {
		best = max(best, leastAlong(p.Sub(low), up, r))
	}
	return best
}

// rim returns the points on the convex outline along a frame's X and Y.
func (s *tilts) rim(f Frame) []Vec {
	hull, _ := s.outline(f)
	out := make([]Vec, 0, len(hull))
	for _, p := range s.points {
		if q := f.Turn(p); slices.Contains(hull, [2]float64{q[0], q[1]}) {
			out = append(out, p)
		}
	}
	return out
}

// widest returns the chord of the points along an axis.
func widest(points []Vec, axis Vec) Vec {
	low, high := 0, 0
	var l, h float64
	for i, p := range points {
		d := p.Dot(axis)
		if i == 0 || d < l {
			l, low = d, i
		}
		if i == 0 || d > h {
			h, high = d, i
		}
	}
	return points[high].Sub(points[low])
}

// leastAlong returns the least extent of a chord along directions within r of a
// unit axis.
func leastAlong(chord, axis Vec, r float64) float64 {
	along := chord.Dot(axis)
	return float64(along*math.Cos(r)) - float64(chord.Sub(axis.Scale(along)).Norm()*math.Sin(r))
}

// leastAcross returns a length that the points' outline has at least, seen along
// any direction within r of a unit one.
func leastAcross(rim []Vec, up Vec, r float64) float64 {
	sin, cos := math.Sincos(r)
	out := 0.0
	for i, p := range rim {
		for _, q := range rim[:i] {
			d := p.Sub(q)
			along := math.Abs(d.Dot(up))
			across := d.Cross(up).Norm()
			out = max(out, float64(across*cos)-float64(along*sin))
		}
	}
	return out
}
