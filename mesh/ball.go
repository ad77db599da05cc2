package mesh

import (
	"cmp"
	"container/heap"
	"context"
	"math"
	"math/bits"
	"slices"
)

// This file defines the largest ball that a space holds: the material, or a
// sealed void. It is found by branch and bound over cubes, so that none can be
// missed however thin or hidden its place is: a cube is only put aside when no
// ball that is centred in it can be larger, by more than ballTol, than one that
// was found.

// Ball is the largest ball inside the material.
type Ball struct {
	DiameterMM float64
	At         Vec
	ErrMM      float64 // the true diameter is no smaller than DiameterMM and no larger by more than this
}

const (
	// ballTol is the relative band in which the largest ball is found. Walls
	// of even thickness hold as many largest balls as one likes, and telling
	// them apart costs about 1/ballTol.
	ballTol = 0.02
	// ballCubes bounds the work on meshes where bounds close slowly; what is
	// open then stands in ErrMM.
	ballCubes = 100_000
	// ballBatch cubes are looked at together, whatever the number of cores.
	ballBatch = 256
	// ballClimbs of a batch, its best, are moved to where their ball is largest.
	ballClimbs = 4
)

// MeasureLargestBall finds the largest ball inside the material.
func MeasureLargestBall(ctx context.Context, m *Mesh) (Ball, error) {
	if err := m.Prepare(ctx); err != nil {
		return Ball{}, err
	}
	if len(m.Facets) == 0 {
		return Ball{}, ctx.Err()
	}
	n, err := m.nested.get(ctx)
	if err != nil {
		return Ball{}, err
	}
	s, err := m.united(ctx)
	if err != nil {
		return Ball{}, err
	}
	return largestBall(ctx, s.m, n.box, n.solid, func(f int32) int { return n.weight(s.facet(f)) })
}

// ballCube is a cube of possible centres.
type ballCube struct {
	at    Vec
	half  float64
	bound float64 // no ball centred in it has a larger radius
	in    bool    // known to lie inside as a whole
	dist  float64 // radius at its centre
	isIn  bool    // centre is inside
	num   int     // order of making: breaks ties
}

type ballQueue []ballCube

func (q ballQueue) Len() int { return len(q) }
func (q ballQueue) Less(i, j int) bool {
	return q[i].bound > q[j].bound || q[i].bound == q[j].bound && q[i].num < q[j].num
}
func (q ballQueue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *ballQueue) Push(x any)   { *q = append(*q, x.(ballCube)) }
func (q *ballQueue) Pop() any {
	x := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return x
}

// everywhere bounds nothing.
var everywhere = [8]float64{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}

// largestBall finds the largest ball with its centre in box where inside holds.
// inside must not change between two points that no surface parts; facing is a
// hint that makes it fast.
func largestBall(ctx context.Context, m *Mesh, box Box, inside func(Vec) bool, facing func(f int32) int) (Ball, error) {
	s := ballSearch{m: m, inside: inside, facing: facing, reach: box.Diagonal()}
	s.start(box)
	batch := make([]ballCube, 0, ballBatch)
	octants := make([][8]float64, ballBatch)
	for s.looked < ballCubes && len(s.queue) > 0 && s.queue[0].bound > s.enough() {
		batch = batch[:0]
		for len(s.queue) > 0 && len(batch) < ballBatch && s.queue[0].bound > s.enough() {
			batch = append(batch, heap.Pop(&s.queue).(ballCube))
		}
		s.looked += len(batch)
		if err := each(ctx, len(batch), 8, func(i int) { s.look(&batch[i], &octants[i]) }); err != nil {
			return Ball{}, err
		}
		if err := s.take(ctx, batch); err != nil {
			return Ball{}, err
		}
		for i, c := range batch {
			s.split(c, &octants[i])
		}
	}
	err := ballTol * s.best
	if len(s.queue) > 0 {
		err = max(err, s.queue[0].bound-s.best)
	}
	return Ball{DiameterMM: 2 * s.best, At: s.at, ErrMM: 2 * err}, nil
}

type ballSearch struct {
	m      *Mesh
	inside func(Vec) bool
	facing func(f int32) int // +1 where a facet's winding faces away from the inside, -1 where it faces it
	reach  float64           // of a climb
	queue  ballQueue
	best   float64 // radius
	at     Vec
	looked int
	made   int
}

func (s *ballSearch) enough() float64 { return s.best * (1 + ballTol) }

// start lays cubes over the box, a few along its shortest side.
func (s *ballSearch) start(box Box) {
	size := box.Size()
	edge := max(min(size[0], size[1], size[2]), max(size[0], size[1], size[2])/16)
	if edge == 0 {
		return
	}
	var n [3]int
	for k := range n {
		n[k] = max(1, int(math.Ceil(size[k]/edge)))
	}
	for x := range n[0] {
		for y := range n[1] {
			for z := range n[2] {
				at := box.Min.Add(Vec{float64(x) + .5, float64(y) + .5, float64(z) + .5}.Scale(edge))
				s.queue = append(s.queue, ballCube{at: at, half: edge / 2, bound: math.Inf(1), num: s.made})
				s.made++
			}
		}
	}
	heap.Init(&s.queue)
}

// look bounds the balls that are centred in a cube, and in each of its octants.
// It only reads s.
func (s *ballSearch) look(c *ballCube, octants *[8]float64) {
	*octants = everywhere
	near, ok := s.m.BVH().Nearest(c.at, math.Inf(1), nil)
	if !ok {
		c.bound = 0
		return
	}
	reach := c.half * math.Sqrt(3)
	c.dist = near.Dist
	c.bound = min(c.bound, near.Dist+reach)
	if c.bound <= s.enough() {
		return
	}
	// Seen from outside, a ball lies behind the surface: its centre is as far
	// beyond as its radius is long.
	if c.isIn = c.in || s.inside(c.at); !c.isIn {
		c.bound = min(c.bound, reach-near.Dist)
	}
	if c.bound <= s.enough() {
		return
	}
	s.between(c, near, octants)
	c.bound = min(c.bound, slices.Max(octants[:]))
	c.in = c.isIn && c.dist >= reach // no surface in the cube
}

// between bounds a cube's balls by surface on opposite sides of it. A ball's
// radius is at most its centre's distance to any facet, so at most the mean of
// its distances to two; both are convex and so largest at a corner of the space
// looked at. Between parallel faces the mean is the same everywhere: whole
// plates are settled by a few cubes. Each octant of the cube takes what serves
// it best of the nearest facet, the one behind the material there, and their
// neighbours.
func (s *ballSearch) between(c *ballCube, near Near, octants *[8]float64) {
	from, dir := near.Point, s.m.Normal(near.Facet).Scale(-float64(s.facing(near.Facet)))
	if c.in {
		from, dir = c.at, c.at.Sub(near.Point).Unit()
	}
	facets := [2]int32{near.Facet, -1}
	if hit, ok := s.m.BVH().Ray(from, dir, 1e-6*c.half, 2*(c.bound+c.half)); ok {
		facets[1] = hit.Facet
	}
	var sides [2]ballSide
	for i, f := range facets {
		sides[i].add(s.m, c, f, allCorners)
	}
	tighten(octants, &sides, math.Inf(-1))
	open := uint32(0)
	for octant, bound := range octants {
		if bound > s.enough() {
			open |= cornersOf[octant]
		}
	}
	if open == 0 {
		return
	}
	for i, f := range facets {
		for k := 0; f >= 0 && k < 3; k++ {
			sides[i].add(s.m, c, s.m.Topology().Neighbour(f, k), open)
		}
	}
	tighten(octants, &sides, s.enough())
}

// ballSide holds the distances from the 27 corners of a cube's octants, or those
// that are asked for, to a facet and its neighbours.
type ballSide struct {
	n    int
	dist [4][27]float64
}

func (d *ballSide) add(m *Mesh, c *ballCube, f int32, corners uint32) {
	if f < 0 {
		return
	}
	x, y, z := m.Corners(f)
	s, dist := newSteady(x, y, z), &d.dist[d.n]
	for ; corners != 0; corners &= corners - 1 {
		i := bits.TrailingZeros32(corners)
		to := &cubeCorners[i]
		dist[i] = s.dist(c.at[0]+float64(to[0]*c.half), c.at[1]+float64(to[1]*c.half), c.at[2]+float64(to[2]*c.half))
	}
	d.n++
}

// cubeCorners are the 27 corners of the octants of a cube from -1 to 1.
var cubeCorners = func() (out [27]Vec) {
	for i := range out {
		out[i] = Vec{float64(i%3 - 1), float64(i/3%3 - 1), float64(i/9 - 1)}
	}
	return out
}()

// steady is a facet to which distances are asked from many places. It is
// nearestOnFacet with what stays the same worked out once: the sides u from a to b
// and v from a to c, their products, and the product of both, which is square to
// the facet.
type steady struct {
	a, b, c, u, v, n Vec
	uu, uv, vv, nn   float64
	thin             bool // rounding may hide which way it faces
}

// steadyShare is the least square of the sine between two sides of a facet whose
// plane is used.
const steadyShare = 1e-8

func newSteady(a, b, c Vec) (s steady) {
	s.a, s.b, s.c = a, b, c
	s.u, s.v = b.Sub(a), c.Sub(a)
	s.n = s.u.Cross(s.v)
	s.uu, s.uv, s.vv, s.nn = s.u.Dot(s.u), s.u.Dot(s.v), s.v.Dot(s.v), s.n.Dot(s.n)
	s.thin = !(s.nn > steadyShare*s.uu*s.vv)
	return s
}

// dist is the distance of a place.
func (s *steady) dist(x, y, z float64) float64 {
	if s.thin {
		p := Vec{x, y, z}
		return p.Sub(nearestOnFacet(p, s.a, s.b, s.c)).Norm()
	}
	x, y, z = x-s.a[0], y-s.a[1], z-s.a[2]
	ux, uy, uz, vx, vy, vz := s.u[0], s.u[1], s.u[2], s.v[0], s.v[1], s.v[2]
	d1, d2 := dot3(ux, uy, uz, x, y, z), dot3(vx, vy, vz, x, y, z)
	d3, d4, d5, d6 := d1-s.uu, d2-s.uv, d1-s.uv, d2-s.vv // from b and c
	vc := float64(d1*d4) - float64(d3*d2)
	vb := float64(d5*d2) - float64(d1*d6)
	switch {
	case d1 <= 0 && d2 <= 0: // nearest to a
	case d3 >= 0 && d4 <= d3: // to b
		x, y, z = x-ux, y-uy, z-uz
	case vc <= 0 && d1 >= 0 && d3 <= 0: // to the side from a to b
		t := d1 / s.uu
		x, y, z = x-float64(t*ux), y-float64(t*uy), z-float64(t*uz)
	case d6 >= 0 && d5 <= d6: // to c
		x, y, z = x-vx, y-vy, z-vz
	case vb <= 0 && d2 >= 0 && d6 <= 0: // to the side from a to c
		t := d2 / s.vv
		x, y, z = x-float64(t*vx), y-float64(t*vy), z-float64(t*vz)
	case d4 >= d3 && d5 >= d6 && float64(d3*d6) <= float64(d5*d4): // to the side from b to c
		t := (d4 - d3) / ((d4 - d3) + (d5 - d6))
		x, y, z = x-ux-float64(t*(vx-ux)), y-uy-float64(t*(vy-uy)), z-uz-float64(t*(vz-uz))
	default:
		return math.Abs(dot3(s.n[0], s.n[1], s.n[2], x, y, z)) / math.Sqrt(s.nn)
	}
	return math.Sqrt(dot3(x, y, z, x, y, z))
}

// tighten lowers those bounds of octants that are above enough to what facets
// alone and pairs of facets give.
func tighten(octants *[8]float64, sides *[2]ballSide, enough float64) {
	a, b := sides[0].dist[:sides[0].n], sides[1].dist[:sides[1].n]
	for octant, least := range octants {
		if least <= enough {
			continue
		}
		corners := &octantCorners[octant]
		for _, side := range [2][][27]float64{a, b} {
			for i := range side {
				most := 0.0
				for _, p := range corners {
					most = max(most, side[i][p])
				}
				least = min(least, most)
			}
		}
		for i := range a {
			for j := range b {
				most := 0.0
				for _, p := range corners {
					if most = max(most, a[i][p]+b[j][p]); most >= 2*least {
						break
					}
				}
				least = min(least, most/2)
			}
		}
		octants[octant] = least
	}
}

// octantCorners numbers the corners of each octant among the 27.
var octantCorners = func() (out [8][8]uint8) {
	for octant := range out {
		for corner := range out[octant] {
			for k, w := range [3]int{1, 3, 9} {
				out[octant][corner] += uint8(w * (octant>>k&1 + corner>>k&1))
			}
		}
	}
	return out
}()

// cornersOf has the bits of an octant's corners set.
var cornersOf = func() (out [8]uint32) {
	for octant, corners := range octantCorners {
		for _, p := range corners {
			out[octant] |= 1 << p
		}
	}
	return out
}()

const allCorners = 1<<27 - 1

// take keeps the best of the balls at a batch's centres, after moving the
// largest few to where they grow no more.
func (s *ballSearch) take(ctx context.Context, batch []ballCube) error {
	var in []ballCube
	for _, c := range batch {
		if c.isIn && c.dist > s.best {
			in = append(in, c)
		}
	}
	slices.SortStableFunc(in, func(a, b ballCube) int { return cmp.Compare(b.dist, a.dist) })
	in = in[:min(len(in), ballClimbs)]
	err := each(ctx, len(in), 1, func(i int) { s.climb(&in[i]) })
	for _, c := range in {
		if c.dist > s.best {
			s.best, s.at = c.dist, c.at
		}
	}
	return err
}

// climb moves a centre to where its ball grows no more. In a mesh with holes
// that may lead out; then the centre stays.
func (s *ballSearch) climb(c *ballCube) {
	at, d := climb(s.m, c.at, Vec{}, s.reach, climbFine)
	if s.inside(at) {
		c.at, c.dist = at, d
	}
}

// split lays cubes over the octants of a cube that may hold a larger ball.
func (s *ballSearch) split(c ballCube, octants *[8]float64) {
	if c.bound <= s.enough() {
		return
	}
	for i, bound := range octants {
		if bound <= s.enough() {
			continue
		}
		d := c
		d.half, d.bound, d.num = c.half/2, min(c.bound, bound), s.made
		for k := range 3 {
			d.at[k] += d.half * float64(2*(i>>k&1)-1)
		}
		s.made++
		heap.Push(&s.queue, d)
	}
}

// climb moves a point, inside the plane with the given normal (zero: freely)
// and no further than reach, to a place where the surface is farthest, and
// returns the place and the distance, to within the share tol. It never crosses the surface: every step
// stays inside the ball that is known to be empty.
//
// The distance to a surface has kinks where its largest values are, so plain
// steepest ascent stalls. As in bundle methods (Lemaréchal 1975) the last few
// nearest points are kept, and the step goes along the shortest vector in the
// hull of the directions away from them, which raises all these distances.
func climb(m *Mesh, p Vec, normal Vec, reach, tol float64) (Vec, float64) {
	near, ok := m.BVH().Nearest(p, math.Inf(1), nil)
	if !ok {
		return p, 0
	}
	start, d := p, near.Dist
	touch := []Vec{near.Point}
	step := 0.5 * d
	for range climbSteps {
		if step < tol*d {
			break
		}
		dir := awayFrom(p, normal, touch)
		if dir.Norm() < climbFlat {
			// Held from all sides by what is touched within this step; a
			// smaller step is held by fewer.
			touch = nearestFew(p, touch, d+step/2)
			if step /= 2; len(touch) == 0 {
				break
			}
			continue
		}
		q := p.Add(dir.Unit().Scale(step))
		if off := q.Sub(start); off.Norm() > reach {
			q = start.Add(off.Unit().Scale(reach))
		}
		n := nearestBelow(m, q, touch)
		if n.Dist > d+0.1*step*dir.Norm() {
			p, d = q, n.Dist
			touch = append(nearestFew(p, touch, d+step), n.Point)
			step = min(1.5*step, 0.9*d)
			continue
		}
		touch = append(touch, n.Point)
		if len(touch) > climbTouch {
			touch = touch[1:]
		}
		step /= 2
	}
	return p, d
}

const (
	climbSteps = 120
	climbFine  = 1e-4 // tolerance where the value counts
	climbRough = 1e-2 // tolerance where only the place counts
	climbFlat  = 1e-3 // a hull whose shortest vector is below this holds the point from all sides
	climbTouch = 6
)

// nearestBelow is the nearest point of the surface, which is no farther than any
// of the points of it that are touched: the search need not look beyond them.
func nearestBelow(m *Mesh, q Vec, touch []Vec) Near {
	most := math.Inf(1)
	for _, t := range touch {
		most = min(most, q.Sub(t).Norm())
	}
	// A touched point lies on its facet to rounding.
	const roundErr = 1e-9
	n, ok := m.BVH().Nearest(q, most*(1+roundErr)+roundErr, nil)
	if !ok {
		n, _ = m.BVH().Nearest(q, math.Inf(1), nil)
	}
	return n
}

// nearestFew keeps the touched points that are no farther from p than d.
func nearestFew(p Vec, touch []Vec, d float64) []Vec {
	kept := touch[:0]
	for _, q := range touch {
		if p.Sub(q).Norm() <= d {
			kept = append(kept, q)
		}
	}
	if len(kept) >= climbTouch {
		kept = append(kept[:0], kept[len(kept)-climbTouch+1:]...)
	}
	return kept
}

// awayFrom returns the shortest vector in the hull of the unit vectors from the
// touched points to p, laid into the plane with the given normal; zero where
// they surround it. It goes from triangle to triangle of the hull, each with the
// corner that is farthest back along the shortest vector so far, as in Gilbert,
// Johnson, Keerthi (1988), "A Fast Procedure for Computing the Distance Between
// Complex Objects in Three-Dimensional Space".
func awayFrom(p, normal Vec, touch []Vec) Vec {
	const close = 1e-6
	if len(touch) == 0 {
		return Vec{}
	}
	var us [climbTouch + 1]Vec
	for i, q := range touch {
		u := p.Sub(q).Unit()
		us[i] = u.Sub(normal.Scale(u.Dot(normal)))
	}
	v := us[0]
	corners := [3]Vec{v, v, v}
	for {
		low := us[0]
		for _, u := range us[1:len(touch)] {
			if u.Dot(v) < low.Dot(v) {
				low = u
			}
		}
		if v.Dot(v)-v.Dot(low) <= close {
			return v
		}
		best, from := v, corners
		for i := range 3 {
			t := [3]Vec{low, from[i], from[(i+1)%3]}
			if w := nearestOnFacet(Vec{}, t[0], t[1], t[2]); w.Dot(w) < best.Dot(best) {
				best, corners = w, t
			}
		}
		if best.Dot(best) >= v.Dot(v)-close*close { // on all sides of what is left
			return Vec{}
		}
		v = best
	}
}

// each calls work for 0..n-1 on all cores, in chunks of step.
func each(ctx context.Context, n, step int, work func(i int)) error {
	return parallel(ctx, n, step, func(from, to int) error {
		for i := from; i < to; i++ {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			work(i)
		}
		return nil
	})
}
