package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
)

// This file looks at many build directions of one mesh: for each the sums that
// decide what it costs, in a fraction of a millisecond.

// StandParams steer NewStands.
type StandParams struct {
	AngleRad float64 // facets whose surface lies lower than this from the horizontal are overhang; equal passes
	SlackRad float64 // tessellation noise let pass, as in OverhangParams
	LiftMM   float64 // above the platform; where positive nothing rests
	LayerMM  float64 // as Frame.Layer
	Skip     []bool  // per facet: never overhang, as the roofs of holes that carry themselves; may be nil
	Room     *Room   // that the part is to fit; may be nil
	Rays     int     // most rays that look for the part under its overhang, a direction; 0 is standRays
}

// Stand is what a build direction costs in geometry. Height and areas are exact
// sums over facets; the others say what they may miss.
type Stand struct {
	Up           Vec        // unit, mesh coordinates
	HeightMM     float64    // extent along Up
	OverhangMM2  float64    // downskin lower than the angle, without what rests on the platform
	ProjectedMM2 float64    // the same, seen along Up
	ContactMM2   float64    // what rests on the platform
	ColumnMM3    float64    // columns from the overhang straight down to the platform, as if nothing of the part lay between; exact
	SupportMM3   float64    // columns down to the part or the platform: ColumnMM3 times the share that rays find
	OnPartMM2    float64    // of ProjectedMM2: what stands on the part, by the same rays
	Foot         [2]float64 // sides of the smallest rectangle about Up, longer first; up to 1 % small
	OverMM       float64    // how far it sticks out of the room at its best turn, as Fit has it; where it sticks out, up to 1 % of its size less
}

// Stands is a mesh made ready for many directions: facets sorted by normal in
// blocks, so that a direction looks only at the blocks that may face down
// enough, and samples of the surface to start rays from. It takes about 100
// bytes a facet and is safe for many goroutines.
type Stands struct {
	m       *Mesh
	p       StandParams
	cosMin  float64
	rows    []standRow
	blocks  []standBlock
	verts   []Vec // that facets use
	outline []Vec // the vertices that are farthest along some direction
	samples []standSample
	tol     float64
	skin    *skin

	sidesOnce sync.Once
	sides     []standSide
}

// standRow is a facet: its normal, its centre and its area.
type standRow struct {
	n, at Vec
	area  float64
	facet int32 // of the skin
}

// standBlock holds rows from..to, whose normals lie within a cone.
type standBlock struct {
	axis     Vec
	cos, sin float64 // of the cone's half angle
	from, to int32
}

type standSample struct {
	at, n Vec
}

const (
	standBlockSize = 32
	standSamples   = 8192
	standRays      = 192
	standOutline   = 400
	// outlineErr is by what share of its size the outline may be small: two of
	// its directions lie 10 degrees apart at most, and a ball loses least there.
	outlineErr = 0.01
)

// NewStands prepares a mesh.
func NewStands(ctx context.Context, m *Mesh, p StandParams) (*Stands, error) {
	if p.Rays <= 0 {
		p.Rays = standRays
	}
	s := &Stands{m: m, p: p, cosMin: math.Cos(max(0, p.AngleRad-p.SlackRad)), tol: platformShare * m.Box().Diagonal()}
	skin, err := m.united(ctx)
	if err != nil {
		return nil, err
	}
	s.skin = skin
	keys := make([]uint32, 0, len(skin.m.Facets))
	for i := range int32(len(skin.m.Facets)) {
		f := skin.facet(i)
		n := m.Normal(f)
		if n == (Vec{}) || p.Skip != nil && p.Skip[f] {
			continue
		}
		s.rows = append(s.rows, standRow{n, skin.m.Centre(i), skin.m.Area(i), i})
		keys = append(keys, normalKey(n))
	}
	s.verts = usedVerts(m)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s.sample() // in the order of the mesh
	s.sort(keys)
	s.outline, err = outermostOf(ctx, s.verts, standOutline)
	return s, err
}

// normalKey orders directions so that near ones mostly stand near: the unit
// sphere unfolded on a square (Meyer, Suessmuth, Sussner, Stamminger and Greiner
// 2010, "On Floating-Point Normal Vectors"), walked in Morton's order.
func normalKey(n Vec) uint32 {
	l := math.Abs(n[0]) + math.Abs(n[1]) + math.Abs(n[2])
	u, v := n[0]/l, n[1]/l
	if n[2] < 0 {
		u, v = math.Copysign(1-math.Abs(v), u), math.Copysign(1-math.Abs(u), v)
	}
	grid := func(x float64) uint32 { return uint32(math.Min(65535, (x+1)*32768)) }
	return mortonBits(grid(u)) | mortonBits(grid(v))<<1
}

// mortonBits puts a zero between the 16 bits of x.
func mortonBits(x uint32) uint32 {
	x = (x | x<<8) & 0x00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f
	x = (x | x<<2) & 0x33333333
	return (x | x<<1) & 0x55555555
}

// sort orders the rows by normal and makes the blocks.
func (s *Stands) sort(keys []uint32) {
	order := make([]uint64, len(keys))
	for i, k := range keys {
		order[i] = uint64(k)<<32 | uint64(i)
	}
	slices.Sort(order)
	rows := make([]standRow, len(order))
	for i, o := range order {
		rows[i] = s.rows[uint32(o)]
	}
	s.rows = rows
	for from := 0; from < len(rows); from += standBlockSize {
		b := standBlock{from: int32(from), to: int32(min(len(rows), from+standBlockSize))}
		for _, r := range rows[b.from:b.to] {
			b.axis = b.axis.Add(r.n)
		}
		b.axis = b.axis.Unit()
		b.cos = 1
		for _, r := range rows[b.from:b.to] {
			b.cos = min(b.cos, r.n.Dot(b.axis))
		}
		b.cos -= 1e-12 // rounding
		b.sin = math.Sqrt(max(0, 1-b.cos*b.cos))
		s.blocks = append(s.blocks, b)
	}
}

// sample spreads points over the surface, one for every equal share of the
// area.
func (s *Stands) sample() {
	total := 0.0
	for i := range s.rows {
		total += s.rows[i].area
	}
	step := total / standSamples
	if !(step > 0) {
		return
	}
	next := step / 2
	sum := 0.0
	for i := range s.rows {
		r := &s.rows[i]
		sum += r.area
		for ; next < sum && len(s.samples) < standSamples; next += step {
			s.samples = append(s.samples, standSample{s.skin.m.spot(r.facet, len(s.samples)), r.n})
		}
	}
}

func frac(x float64) float64 { return x - math.Floor(x) }

// outermostOf returns the points that are farthest along about so many
// directions, each once.
func outermostOf(ctx context.Context, points []Vec, count int) ([]Vec, error) {
	if len(points) == 0 {
		return nil, nil
	}
	dirs := SphereDirections(count)
	far := make([]int, len(dirs))
	err := parallel(ctx, len(dirs), 8, func(from, to int) error {
		for i := from; i < to; i++ {
			best := math.Inf(-1)
			for v := range points {
				if h := points[v].Dot(dirs[i]); h > best {
					best, far[i] = h, v
				}
			}
			if ctx.Err() != nil {
				return ctx.Err()
			}
		}
		return nil
	})
	slices.Sort(far)
	var out []Vec
	for _, v := range slices.Compact(far) {
		out = append(out, points[v])
	}
	return out, err
}

// Measure examines directions, which need not be units, in parallel.
func (s *Stands) Measure(ctx context.Context, ups []Vec) ([]Stand, error) {
	out := make([]Stand, len(ups))
	err := parallel(ctx, len(ups), 1, func(from, to int) error {
		for i := from; i < to; i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			out[i] = s.stand(ups[i].Unit())
		}
		return nil
	})
	return out, err
}

func (s *Stands) stand(up Vec) Stand {
	out := Stand{Up: up}
	if len(s.verts) == 0 {
		return out
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range s.verts {
		h := s.verts[i].Dot(up)
		lo, hi = min(lo, h), max(hi, h)
	}
	out.HeightMM = hi - lo
	floor := lo - max(0, s.p.LiftMM)
	sinMin := math.Sqrt(max(0, 1-s.cosMin*s.cosMin))
	for i := range s.blocks {
		b := &s.blocks[i]
		// No normal of the block is nearer to straight down than the limit if the
		// axis is farther from it than the limit and the cone together.
		if c := -b.axis.Dot(up); b.cos > -s.cosMin && c <= s.cosMin*b.cos-sinMin*b.sin {
			continue
		}
		for j := b.from; j < b.to; j++ {
			if c := -s.rows[j].n.Dot(up); c > s.cosMin {
				s.count(&out, &s.rows[j], c, lo, floor)
			}
		}
	}
	s.look(&out, lo, floor)
	hull := s.shadow(up)
	out.Foot, _ = smallestRectangle(hull)
	if r := s.p.Room; r != nil {
		over, turn := r.turned(hull)
		if over <= 0 && over > -outlineErr*out.Foot[0] { // the outline may be small by more
			over = r.over(s.verts, NewFrame(up, turn, 0), hull)
		}
		out.OverMM = max(over, out.HeightMM-r.ZMM)
	}
	return out
}

// count adds a facet that faces down by the cosine c.
func (s *Stands) count(out *Stand, r *standRow, c, lo, floor float64) {
	h := r.at.Dot(out.Up)
	if rest := max(s.tol, s.p.LayerMM); s.p.LiftMM <= 0 && h-lo <= rest {
		p, q, t := s.skin.m.Corners(r.facet)
		if max(p.Dot(out.Up), q.Dot(out.Up), t.Dot(out.Up))-lo <= rest {
			out.ContactMM2 += r.area
			return
		}
	}
	out.OverhangMM2 += r.area
	out.ProjectedMM2 += r.area * c
	out.ColumnMM3 += r.area * c * (h - floor)
}

// look sends rays down from samples of the overhang. The share of the column's
// height that is air stands for all of it, so that a part without anything
// under its overhang has no error at all; else the error is about one over the
// root of the rays.
func (s *Stands) look(out *Stand, lo, floor float64) {
	out.SupportMM3 = out.ColumnMM3
	if out.OverhangMM2 == 0 {
		return
	}
	n := 0
	for i := range s.samples {
		if -s.samples[i].n.Dot(out.Up) > s.cosMin {
			n++
		}
	}
	every := max(1, (n+s.p.Rays-1)/s.p.Rays)
	bvh, down := s.m.BVH(), out.Up.Scale(-1)
	k := 0
	var full, air, seen, landed float64
	for i := range s.samples {
		c := -s.samples[i].n.Dot(out.Up)
		if c <= s.cosMin {
			continue
		}
		if k++; k%every != 0 {
			continue
		}
		h := s.samples[i].at.Dot(out.Up) - floor
		if s.p.LiftMM <= 0 && h <= max(2*s.tol, s.p.LayerMM) {
			continue
		}
		full += c * h
		seen += c
		hit, ok := bvh.Ray(s.samples[i].at, down, s.tol, h)
		if ok {
			h = hit.T
			landed += c
		}
		air += c * h
	}
	if full > 0 {
		out.SupportMM3 = out.ColumnMM3 * air / full
		out.OnPartMM2 = out.ProjectedMM2 * landed / seen
	}
}

// Columns is the space under chosen facets, down to the part or the platform.
type Columns struct {
	VolumeMM3    float64
	ProjectedMM2 float64 // seen along the build direction, exact
	OnPartMM2    float64 // of it: what stands on the part
	Rays         int
}

// Columns measures the space under facets by rays, so that its cost does not
// depend on what lies below. As for Measure, the height down to the platform is
// exact and rays find the share of it that is air: with nothing of the part
// below there is no error, else a few thousand rays are good for about 2 % (see
// MeasureSupport for the exact columns). Facets that do not face down are left
// out.
func (s *Stands) Columns(ctx context.Context, up Vec, facets []int32, rays int) (Columns, error) {
	up = up.Unit()
	if s.skin.share != nil { // bodies may part a facet in two regions
		facets = slices.Compact(slices.Sorted(slices.Values(facets)))
	}
	var out Columns
	project := func(piece int32) float64 {
		return max(0, -s.m.Normal(s.skin.facet(piece)).Dot(up)*s.skin.m.Area(piece))
	}
	lo := math.Inf(1)
	for i := range s.verts {
		lo = min(lo, s.verts[i].Dot(up))
	}
	floor := lo - max(0, s.p.LiftMM)
	var full float64
	for _, f := range facets {
		for i, end := s.skin.pieces(f); i < end; i++ {
			c := project(i)
			out.ProjectedMM2 += c
			full += c * (s.skin.m.Centre(i).Dot(up) - floor)
		}
	}
	if !(out.ProjectedMM2 > 0) {
		return out, nil
	}
	var sum, next, seen, air, landed float64
	step := out.ProjectedMM2 / float64(rays)
	next = step / 2
	bvh, down := s.m.BVH(), up.Scale(-1)
	for _, f := range facets {
		for i, end := s.skin.pieces(f); i < end; i++ {
			sum += project(i)
			for ; next < sum; next += step {
				if out.Rays++; out.Rays%1024 == 0 && ctx.Err() != nil {
					return out, ctx.Err()
				}
				p := s.skin.m.spot(i, out.Rays)
				h := p.Dot(up) - floor
				seen += h
				hit, ok := bvh.Ray(p, down, s.tol, h)
				if ok {
					h = hit.T
					landed++
				}
				air += h
			}
		}
	}
	out.VolumeMM3 = full
	if seen > 0 {
		out.VolumeMM3 = full * air / seen
		out.OnPartMM2 = out.ProjectedMM2 * landed / float64(out.Rays)
	}
	return out, nil
}

// spot returns the k-th of a sequence of points on a facet, evenly spread: the
// R2 sequence of Roberts (2018, "The unreasonable effectiveness of quasirandom
// sequences").
func (m *Mesh) spot(f int32, k int) Vec {
	u, v := frac(0.5+float64(k)*0.7548776662466927), frac(0.5+float64(k)*0.5698402909980532)
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	a, b, c := m.Corners(f)
	return a.Add(b.Sub(a).Scale(u)).Add(c.Sub(a).Scale(v))
}

// shadow returns the convex outline seen along up.
func (s *Stands) shadow(up Vec) [][2]float64 {
	f := NewFrame(up, 0, 0)
	ps := make([][2]float64, len(s.outline))
	for i, p := range s.outline {
		ps[i] = [2]float64{p.Dot(f.X), p.Dot(f.Y)}
	}
	return convexHull(ps)
}

// FlatFace is a connected flat piece of surface.
type FlatFace struct {
	Normal  Vec // outward
	AreaMM2 float64
	At      Vec  // centroid
	Outer   bool // on the convex hull: the part can stand on it
	Facets  []int32
}

// flatTol is how far, in radians, the normals of one flat face may differ from
// that of its first facet: below any tessellated curve that is meant as one.
const flatTol = 1e-3

// restTol is the share of the box's diagonal that a corner may lie beyond a
// face's plane and the part still stands on it; wider than float32 rounding
// (6e-8 of the coordinates).
const restTol = 1e-6

// FlatFaces returns the flat pieces of at least leastMM2, largest first, at
// most count of them (0 = all).
func FlatFaces(ctx context.Context, m *Mesh, leastMM2 float64, count int) ([]FlatFace, error) {
	topo := m.Topology()
	seen := make([]bool, len(m.Facets))
	cosTol := math.Cos(flatTol)
	tol := restTol * m.Box().Diagonal()
	var out []FlatFace
	var queue []int32
	for f := range m.Facets {
		if f%(1<<14) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if seen[f] || m.Normal(int32(f)) == (Vec{}) {
			continue
		}
		n := m.Normal(int32(f))
		seen[f] = true
		queue = append(queue[:0], int32(f))
		face := FlatFace{}
		var sum Vec
		for len(queue) > 0 {
			g := queue[len(queue)-1]
			queue = queue[:len(queue)-1]
			a := m.Area(g)
			face.AreaMM2 += a
			face.At = face.At.Add(m.Centre(g).Scale(a))
			sum = sum.Add(m.Normal(g).Scale(a))
			face.Facets = append(face.Facets, g)
			for k := range 3 {
				if h := topo.Neighbour(g, k); h >= 0 && !seen[h] && m.Normal(h).Dot(n) >= cosTol {
					seen[h] = true
					queue = append(queue, h)
				}
			}
		}
		if face.AreaMM2 < leastMM2 || face.AreaMM2 == 0 {
			continue
		}
		face.Normal = sum.Unit()
		face.At = face.At.Scale(1 / face.AreaMM2)
		slices.Sort(face.Facets)
		out = append(out, face)
	}
	slices.SortStableFunc(out, func(a, b FlatFace) int { return cmp.Compare(b.AreaMM2, a.AreaMM2) })
	if count > 0 && len(out) > count {
		out = out[:count]
	}
	for i := range out {
		out[i].Outer = outermost(m, out[i], tol)
	}
	return out, nil
}

// outermost reports whether no vertex lies beyond the face's plane. Vertices
// of the face itself may wander by flatTol, so they set the plane.
func outermost(m *Mesh, f FlatFace, tol float64) bool {
	plane := math.Inf(-1)
	for _, g := range f.Facets {
		for _, v := range m.Facets[g] {
			plane = max(plane, m.Verts[v].Dot(f.Normal))
		}
	}
	for _, t := range m.Facets {
		for _, v := range t {
			if m.Verts[v].Dot(f.Normal) > plane+tol {
				return false
			}
		}
	}
	return true
}

// SphereDirections returns about count directions spread evenly over the
// sphere: the golden-section spiral (Saff and Kuijlaars 1997, "Distributing
// many points on a sphere").
func SphereDirections(count int) []Vec {
	out := make([]Vec, count)
	golden := math.Pi * (3 - math.Sqrt(5))
	for i := range out {
		z := 1 - (2*float64(i)+1)/float64(count)
		r := math.Sqrt(max(0, 1-z*z))
		s, c := math.Sincos(golden * float64(i))
		out[i] = Vec{r * c, r * s, z}
	}
	return out
}

// DirectionsAround returns count directions on a circle of the given angle
// about a direction.
func DirectionsAround(d Vec, angleRad float64, count int) []Vec {
	f := NewFrame(d, 0, 0)
	sa, ca := math.Sincos(angleRad)
	out := make([]Vec, count)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(count))
		out[i] = f.Z.Scale(ca).Add(f.X.Scale(sa * c)).Add(f.Y.Scale(sa * s))
	}
	return out
}
