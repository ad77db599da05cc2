package mesh

// This file gathers the facets of round surfaces: whole patches between
// creases first, then patches that grow from seeds.

import (
	"context"
	"math"
	"slices"
)

const degree = math.Pi / 180

// cylCreases are the angles at which surface is parted into patches. The first
// parts fine circles (30 sides and more) from shallow cones, the second circles
// of 11 sides and more from chamfers of 45 degrees, the others serve 8 to 10
// and 6 to 7 sides.
var cylCreases = [...]float64{12 * degree, 34 * degree, 50 * degree, 62 * degree}

const (
	// cylFlat is the turn below which two facets are one flat side.
	cylFlat = 0.05 * degree
	// cylGrowCrease bounds growing patches: circles of 8 sides turn by 45 degrees.
	cylGrowCrease = 50 * degree
	// cylTurnMax is the widest angle that one side of a circle may span.
	cylTurnMax = 62 * degree
	// cylSeed is the size of a seed in facets: a ring of 16 sides, or a patch
	// wide enough to average a few micrometres of noise.
	cylSeed = 32
	// cylMissMost is how far a seed may be from a cylinder, over the radius.
	cylMissMost = 0.1
	// cylCoarse is the turn from which edges are tried for the axis: circles of
	// 15 sides or fewer.
	cylCoarse = 24 * degree
	// cylTries is how often a facet may lie in surface that turned out to be no
	// cylinder before it is no seed any more.
	cylTries = 2
	// cylSample is how many corners or facets fits and medians are taken of
	// while a piece grows, at most.
	cylSample = 1024
	// cylBatch is the number of seeds that grow at once.
	cylBatch = 64
	// cylAhead is how many seeds a batch is chosen from.
	cylAhead = 512
)

// Tolerances follow the scatter of the surface itself, between these bounds.
const (
	cylRadialLeast = 0.001 // of the radius
	cylRadialMost  = 0.15  // of the radius
	cylLeanLeast   = 0.2 * degree
	cylLeanMost    = 20 * degree
)

// cylFinder holds what all steps share. Everything per facet is written before
// the goroutines that read it start.
type cylFinder struct {
	m        *Mesh
	topo     *Topology
	normal   []Vec     // per facet; of a facet without area, its neighbour's
	area     []float64 // per facet, mm2
	turn     []float32 // per half-edge: radians between the two facets; Inf where there is no neighbour
	taken    []bool    // per facet: belongs to a piece
	coordTol float64   // mm: what coordinates in single precision are good for
	diagonal float64   // mm, of the box
	pieces   []cylPiece
	free     chan *cylWork
}

// cylPiece is a round piece of surface with its fit.
type cylPiece struct {
	Cylinder
	fit cylFit
}

// cylWork is one goroutine's scratch.
type cylWork struct {
	x        *cylFinder
	epoch    int32
	seen     []int32 // per facet: epoch in which it was met
	epochV   int32
	seenV    []int32   // per vertex: epoch in which it was met
	bend     []float32 // per vertex, valid where seenV is the epoch: largest turn there
	members  []int32
	queue    []int32
	ids      []int32
	points   []Vec
	sample   []Vec
	vals     []float64
	pairs    [][2]float64
	tested   []int32
	gathered []int32 // what settle last looked at
	label    []int32 // if not nil, growing stays inside facets of this label
	only     int32
	angle    []float32 // per facet, made when first needed: the way round about an axis
}

func newCylFinder(ctx context.Context, m *Mesh) (*cylFinder, error) {
	n := len(m.Facets)
	box := m.Box()
	x := &cylFinder{
		m: m, topo: m.Topology(),
		normal: make([]Vec, n), area: make([]float64, n),
		turn: make([]float32, 3*n), taken: make([]bool, n),
		free: make(chan *cylWork, 256),
	}
	if n == 0 {
		return x, ctx.Err()
	}
	x.diagonal = box.Diagonal()
	reach := 0.0
	for k := range 3 {
		reach = max(reach, math.Abs(box.Min[k]), math.Abs(box.Max[k]))
	}
	x.coordTol = max(reach*0x1p-22, m.Source.WeldTol)
	err := parallel(ctx, n, 1<<14, func(from, to int) error {
		for f := from; f < to; f++ {
			a, b, c := m.Corners(int32(f))
			d := b.Sub(a).Cross(c.Sub(a))
			l := d.Norm()
			x.area[f] = l / 2
			if l > 0 {
				x.normal[f] = d.Scale(1 / l)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	x.mendNormals()
	err = parallel(ctx, n, 1<<14, func(from, to int) error {
		for h := 3 * from; h < 3*to; h++ {
			t := x.topo.Twin[h]
			if t < 0 {
				x.turn[h] = float32(math.Inf(1))
				continue
			}
			a, b := x.normal[h/3], x.normal[t/3]
			// Both sides compute the same bits: the product's sign cancels in the norm.
			x.turn[h] = float32(math.Atan2(a.Cross(b).Norm(), a.Dot(b)))
		}
		return nil
	})
	return x, err
}

// mendNormals gives a facet that is too thin to have a normal of its own that of
// the facet across its longest edge, as if the edge were flipped: such facets
// lie in seams, and what they would say of creases there is noise.
func (x *cylFinder) mendNormals() {
	var thin []int32
	for f := range x.normal {
		a, b, c := x.m.Corners(int32(f))
		long := max(b.Sub(a).Norm(), c.Sub(b).Norm(), a.Sub(c).Norm())
		if 2*x.area[f] <= 2*x.coordTol*long {
			thin = append(thin, int32(f))
			x.normal[f] = Vec{}
		}
	}
	// Thin facets may lie side by side: a few rounds reach across.
	for range 8 {
		left := thin[:0]
		for _, f := range thin {
			p := [3]Vec{}
			p[0], p[1], p[2] = x.m.Corners(f)
			best, long := int32(-1), -1.0
			for k := range 3 {
				g := x.topo.Neighbour(f, k)
				if l := p[(k+1)%3].Sub(p[k]).Norm(); g >= 0 && l > long && x.normal[g] != (Vec{}) {
					best, long = g, l
				}
			}
			if best < 0 {
				left = append(left, f)
				continue
			}
			x.normal[f] = x.normal[best]
		}
		thin = left
	}
}

func (x *cylFinder) worker() *cylWork {
	select {
	case w := <-x.free:
		return w
	default:
		return &cylWork{
			x: x, seen: make([]int32, len(x.m.Facets)),
			seenV: make([]int32, len(x.m.Verts)), bend: make([]float32, len(x.m.Verts)),
		}
	}
}

func (x *cylFinder) release(w *cylWork) {
	w.label = nil
	select {
	case x.free <- w:
	default:
	}
}

// findWhole takes patches between creases whole: at each crease angle the
// connected pieces of what is not yet taken.
func (x *cylFinder) findWhole(ctx context.Context) error {
	n := len(x.m.Facets)
	parent := make([]int32, n)
	for f := range parent {
		parent[f] = int32(f)
	}
	label, order := make([]int32, n), make([]int32, n)
	size := make([]int32, n) // of the patch at the level before, by facet
	low := float32(-1)
	for _, crease := range cylCreases {
		if err := x.join(ctx, parent, low, float32(crease)); err != nil {
			return err
		}
		low = float32(crease)
		patches := x.patches(parent, label, order, size)
		found := make([]*cylPiece, len(patches))
		err := parallel(ctx, len(patches), 16, func(from, to int) error {
			w := x.worker()
			defer x.release(w)
			for i := from; i < to; i++ {
				if err := ctx.Err(); err != nil {
					return err
				}
				fs := patches[i]
				fit, members, ok := w.start(fs, Vec{})
				if !ok {
					continue
				}
				w.label, w.only = label, label[fs[0]]
				if p, ok := w.settle(fit, members, len(fs)); ok && p.Share >= cylShareMin {
					found[i] = p
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		for _, p := range found {
			if p != nil {
				x.take(p)
			}
		}
	}
	return nil
}

// join unites facets across edges that turn by more than low and at most high.
func (x *cylFinder) join(ctx context.Context, parent []int32, low, high float32) error {
	for h, t := range x.topo.Twin {
		if h&0xffff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if t < int32(h) || !(x.turn[h] > low && x.turn[h] <= high) {
			continue
		}
		a, b := int32(h/3), t/3
		if x.taken[a] || x.taken[b] {
			continue
		}
		a, b = root(parent, a), root(parent, b)
		if a != b {
			parent[max(a, b)] = min(a, b)
		}
	}
	return nil
}

func root(parent []int32, f int32) int32 {
	for parent[f] != f {
		parent[f] = parent[parent[f]]
		f = parent[f]
	}
	return f
}

// patches lists the facets of each patch of at least as many facets as a circle
// has sides that is not what it was at the level before. The lists are parts of
// order; label gets each facet's patch, and size its patch's facets.
func (x *cylFinder) patches(parent, label, order, size []int32) [][]int32 {
	count := make([]int32, len(parent)+1)
	for f := range parent {
		label[f] = root(parent, int32(f))
		count[label[f]+1]++
	}
	var out [][]int32
	for l := range parent {
		first, n := count[l], count[l+1]
		count[l+1] = first + n
		if n >= cylSidesMin && n != size[l] && !x.taken[l] {
			out = append(out, order[first:first+n:first+n])
		}
		size[l] = n
	}
	for f := range parent {
		l := label[f]
		order[count[l]] = int32(f)
		count[l]++
	}
	for f := range parent {
		size[f] = size[label[f]]
	}
	return out
}

func (x *cylFinder) take(p *cylPiece) {
	for _, f := range p.Facets {
		x.taken[f] = true
	}
	x.pieces = append(x.pieces, *p)
}

// cylSeedAt is a facet from which a cylinder may grow.
type cylSeedAt struct {
	facet  int32
	radius float64 // mm
	miss   float64 // how far the patch about it is from a cylinder, over the radius
	hint   Vec     // where to begin looking for the axis
}

// findGrown looks for seeds in what is left, and grows them in order of how
// well they fit.
func (x *cylFinder) findGrown(ctx context.Context) error {
	seeds, err := x.seeds(ctx)
	if err != nil {
		return err
	}
	// Seeds that differ by rounding only stay in the mesh's order.
	slices.SortStableFunc(seeds, func(a, b cylSeedAt) int {
		return int(1000*a.miss) - int(1000*b.miss)
	})
	tries := make([]uint8, len(x.m.Facets))
	for len(seeds) > 0 {
		var batch []cylSeedAt
		batch, seeds = x.batch(seeds, tries)
		grown := make([]*cylPiece, len(batch))
		failed := make([][]int32, len(batch))
		err := parallel(ctx, len(batch), 1, func(i, _ int) error {
			w := x.worker()
			defer x.release(w)
			if fit, members, ok := w.start(w.patch(batch[i].facet, cylSeed), batch[i].hint); ok {
				if p, ok := w.settle(fit, members, 3*len(members)); ok {
					grown[i] = p
				} else {
					failed[i] = slices.Clone(w.gathered)
				}
			}
			return ctx.Err()
		})
		if err != nil {
			return err
		}
		for i, p := range grown {
			switch {
			case p == nil:
				tries[batch[i].facet] = cylTries
				for _, f := range failed[i] {
					tries[f]++
				}
			case slices.ContainsFunc(p.Facets, func(f int32) bool { return x.taken[f] }):
				seeds = append(seeds, batch[i])
			default:
				x.take(p)
			}
		}
	}
	return nil
}

// batch splits off the seeds that grow at once, on the surface that was free
// before. They stand apart, so that one cylinder is not found many times over;
// what still overlaps a piece that comes first in the batch grows anew in a
// later one. The batch does not depend on the number of cores, and so neither
// does what is found.
func (x *cylFinder) batch(seeds []cylSeedAt, tries []uint8) (batch, rest []cylSeedAt) {
	keep := 0
	i := 0
	for ; i < len(seeds) && i < cylAhead && len(batch) < cylBatch; i++ {
		s := seeds[i]
		if x.taken[s.facet] || tries[s.facet] >= cylTries {
			continue
		}
		near := slices.ContainsFunc(batch, func(b cylSeedAt) bool {
			return x.m.Centre(b.facet).Sub(x.m.Centre(s.facet)).Norm() < 4*max(s.radius, b.radius)
		})
		if near {
			seeds[keep] = s
			keep++
			continue
		}
		batch = append(batch, s)
	}
	// Those passed over stand before those not reached.
	rest = seeds[i-keep:]
	copy(rest, seeds[:keep])
	return batch, rest
}

// seeds lists the facets about which the surface looks like a cylinder's and
// that see the far side of one.
func (x *cylFinder) seeds(ctx context.Context) ([]cylSeedAt, error) {
	const step = 1 << 12
	tryAt := x.sparse()
	parts := make([][]cylSeedAt, (len(tryAt)+step-1)/step)
	err := parallel(ctx, len(tryAt), step, func(from, to int) error {
		w := x.worker()
		defer x.release(w)
		for i, f := range tryAt[from:to] {
			if i&63 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			across, ok := x.across(f)
			if !ok {
				continue
			}
			patch := w.patch(f, cylSeed)
			for _, hint := range x.axisHints(f) {
				fit, members, ok := w.start(patch, hint)
				if !ok || across < 1.2*fit.r || across > 3*fit.r {
					continue
				}
				if miss := w.miss(&fit, members); miss < cylMissMost {
					parts[from/step] = append(parts[from/step], cylSeedAt{f, fit.r, miss, hint})
					break
				}
			}
		}
		return nil
	})
	return slices.Concat(parts...), err
}

// sparse lists facets that are not taken and at which the surface bends, no two
// of them neighbours: a cylinder has many, and one is enough.
func (x *cylFinder) sparse() []int32 {
	near := make([]bool, len(x.m.Facets))
	var out []int32
	for f := range near {
		if near[f] || x.taken[f] || !x.turns(int32(f)) {
			continue
		}
		out = append(out, int32(f))
		for k := range 3 {
			if g := x.topo.Neighbour(int32(f), k); g >= 0 {
				near[g] = true
			}
		}
	}
	return out
}

// across casts a ray from f to the side to which the surface bends: at a hole
// to the far wall, at a pin through the material to its far side. It returns the
// way to surface that faces f, if that is what the ray meets first and if it is
// about the diameter that the bend at f suggests. Fillets, slot ends and
// freeform surface mostly fail, and need not be looked at any closer.
func (x *cylFinder) across(f int32) (float64, bool) {
	n, o := x.normal[f], x.m.Centre(f)
	var bend, curve float64
	for k := range int32(3) {
		h := 3*f + k
		if t := float64(x.turn[h]); t > cylFlat && t <= cylGrowCrease {
			a, b := x.m.Verts[x.m.Facets[f][k]], x.m.Verts[x.m.Facets[f][(k+1)%3]]
			g := x.topo.Twin[h] / 3
			if l := b.Sub(a).Norm(); l > 0 {
				// The facets' heights over their edge make two sides.
				curve = max(curve, t*l/(x.area[f]+x.area[g]))
			}
			bend += t * x.m.Centre(g).Sub(o).Dot(n)
		}
	}
	d := n
	if bend < 0 {
		d = n.Scale(-1)
	}
	most := 16 / curve
	hit, ok := x.m.BVH().Ray(o, d, 1e-6*x.diagonal, min(most, 2*x.diagonal))
	return hit.T, ok && hit.T*curve > 0.5 && x.normal[hit.Facet].Dot(n) < -0.6
}

// axisHints lists directions from which to begin looking for the axis at f:
// what the patch's normals say (zero), and, where the surface turns so much
// that chamfers can't be told from sides by the turn, each edge at which it
// does.
func (x *cylFinder) axisHints(f int32) []Vec {
	hints := make([]Vec, 1, 4)
	for k := range int32(3) {
		if t := x.turn[3*f+k]; t > cylCoarse && t <= cylGrowCrease {
			a, b := x.m.Verts[x.m.Facets[f][k]], x.m.Verts[x.m.Facets[f][(k+1)%3]]
			hints = append(hints, b.Sub(a).Unit())
		}
	}
	return hints
}

// turns reports whether the surface bends at an edge of f: a facet in the
// middle of a plane is no seed.
func (x *cylFinder) turns(f int32) bool {
	for k := range int32(3) {
		if t := x.turn[3*f+k]; t > cylFlat && t <= cylGrowCrease {
			return true
		}
	}
	return false
}

// patch returns the n facets nearest to f by steps across edges that are no
// creases and lead to facets that are not taken.
func (w *cylWork) patch(f int32, n int) []int32 {
	x := w.x
	w.epoch++
	q := append(w.queue[:0], f)
	w.seen[f] = w.epoch
	for i := 0; i < len(q) && len(q) < n; i++ {
		for k := range int32(3) {
			h := 3*q[i] + k
			if x.turn[h] > cylGrowCrease {
				continue
			}
			if g := x.topo.Twin[h] / 3; w.seen[g] != w.epoch && !x.taken[g] {
				w.seen[g] = w.epoch
				q = append(q, g)
			}
		}
	}
	w.queue = q
	return q
}

// miss says how far the facets' planes are from touching one cylinder, as a
// share of the radius: their distances from the axis scatter, and they lean.
func (w *cylWork) miss(fit *cylFit, fs []int32) float64 {
	x := w.x
	var s, s1, s2, lean float64
	for _, f := range fs {
		px, py, _ := fit.point(x.m.Centre(f))
		n, a := x.normal[f], x.area[f]
		d := px*n.Dot(fit.u) + py*n.Dot(fit.v)
		t := n.Dot(fit.a)
		s += a
		s1 += a * d
		s2 += a * d * d
		lean += a * t * t
	}
	s1 /= s
	return math.Sqrt(max(s2/s-s1*s1, 0)/(fit.r*fit.r) + lean/s)
}

// settle fits, gathers and fits again until the surface stays the same, and
// judges it. A patch may grow threefold between two fits, so that an axis from
// a narrow patch is not trusted far away.
func (w *cylWork) settle(fit cylFit, seeds []int32, limit int) (*cylPiece, bool) {
	members := append(w.gathered[:0], seeds...)
	defer func() { w.gathered = members }()
	for round := range 24 {
		if !w.refine(&fit, members) {
			return nil, false
		}
		// By now what does not belong has been left out: give up on what bends
		// away from a cylinder before it grows large.
		if round >= 3 && fit.rms > cylRoundEnough*fit.r && w.patterned(&fit, members) {
			return nil, false
		}
		next, cut := w.gather(&fit, members, limit)
		if len(next) < 4 {
			return nil, false
		}
		same := !cut && slices.Equal(next, members)
		members = append(members[:0], next...)
		if same && round > 0 {
			break
		}
		limit = max(limit, 3*len(members))
	}
	members = w.absorb(&fit, members)
	return w.judge(fit, members)
}

// scatter returns the tolerance over the median deviation of n: 3.4 standard
// deviations of normal noise for many, and more for few, of which the median
// says less and of which none must be lost: eight sides less one are no circle.
func scatter(n int) float64 { return 5 * (1 + 4/math.Sqrt(float64(n))) }

// refine fits the cylinder to the corners at which the members turn, and sets
// the tolerances by their scatter.
func (w *cylWork) refine(fit *cylFit, members []int32) bool {
	x := w.x
	w.corners(fit, members)
	if len(w.points) < 5 || fit.turn <= 0 {
		return false
	}
	// A sample will do for now; judge fits to all.
	sample := w.sample[:0]
	for i := 0; i < len(w.points); i += 1 + len(w.points)/cylSample {
		sample = append(sample, w.points[i])
	}
	w.sample = sample
	fit.fitPoints(sample)
	if !(fit.r < 2*x.diagonal) {
		return false
	}
	w.vals = w.vals[:0]
	for _, p := range sample {
		px, py, _ := fit.point(p)
		w.vals = append(w.vals, math.Abs(math.Hypot(px, py)-fit.r))
	}
	fit.inside = fit.r * (1 - math.Cos(min(1.3*fit.turn, cylTurnMax)/2))
	fit.tolR = min(max(scatter(len(w.vals))*median(w.vals), cylRadialLeast*fit.r, 4*x.coordTol), cylRadialMost*fit.r)
	w.pairs = w.pairs[:0]
	for i := 0; i < len(members); i += 1 + len(members)/cylSample {
		f := members[i]
		w.pairs = append(w.pairs, [2]float64{math.Abs(x.normal[f].Dot(fit.a)), x.area[f]})
	}
	fit.tolT = min(max(scatter(len(w.pairs))*medianWeighted(w.pairs), math.Sin(cylLeanLeast)), math.Sin(cylLeanMost))
	return true
}

// corners collects into points (and ids) the members' corners at which the
// surface turns: corners inside a flat side lie off the circle and say nothing
// about it. It sets the typical turn: the mean over the edges between members,
// weighted by length and by the turn itself, so that flat edges don't count.
func (w *cylWork) corners(fit *cylFit, members []int32) {
	x := w.x
	w.epoch++
	w.epochV++
	w.ids, w.points = w.ids[:0], w.points[:0]
	for _, f := range members {
		w.seen[f] = w.epoch
	}
	var s1, s2 float64
	for _, f := range members {
		t := x.m.Facets[f]
		for _, v := range t {
			if w.seenV[v] != w.epochV {
				w.seenV[v] = w.epochV
				w.bend[v] = 0
				w.ids = append(w.ids, v)
			}
		}
		for k := range int32(3) {
			h := 3*f + k
			g := x.topo.Twin[h]
			if g < 0 || w.seen[g/3] != w.epoch || x.turn[h] > cylTurnMax {
				continue
			}
			a, b := t[k], t[(k+1)%3]
			l := x.m.Verts[b].Sub(x.m.Verts[a]).Norm() * float64(x.turn[h])
			s1 += l
			s2 += l * float64(x.turn[h])
			for _, v := range [2]int32{a, b} {
				if w.seenV[v] != w.epochV {
					w.seenV[v] = w.epochV
					w.bend[v] = 0
					w.ids = append(w.ids, v)
				}
				w.bend[v] = max(w.bend[v], x.turn[h])
			}
		}
	}
	if s1 > 0 {
		fit.turn = s2 / s1
	}
	n := 0
	for _, v := range w.ids {
		if float64(w.bend[v]) >= 0.25*fit.turn {
			w.ids[n] = v
			n++
			w.points = append(w.points, x.m.Verts[v])
		}
	}
	w.ids = w.ids[:n]
}

// gather walks from the members that lie on the fit to all facets that do, nearest first, up to limit (cut says that there were more).
// The facets come in ascending order.
func (w *cylWork) gather(fit *cylFit, members []int32, limit int) (got []int32, cut bool) {
	x := w.x
	w.epoch++
	q := w.queue[:0]
	for _, f := range members {
		if x.on(fit, f, fit.tolT) {
			w.seen[f] = w.epoch
			q = append(q, f)
		}
	}
	for i := 0; i < len(q); i++ {
		if len(q) >= limit {
			cut = true
			break
		}
		for k := range int32(3) {
			h := x.topo.Twin[3*q[i]+k]
			if h < 0 {
				continue
			}
			g := h / 3
			if w.seen[g] == w.epoch || x.taken[g] || w.label != nil && w.label[g] != w.only {
				continue
			}
			w.seen[g] = w.epoch
			if x.on(fit, g, fit.tolT) {
				q = append(q, g)
			}
		}
	}
	w.queue = q
	slices.Sort(q)
	return q, cut
}

// on reports whether a facet belongs to the fitted surface: it leans no more
// than lean (a sine) against the axis, faces the right way, spans no more than
// a few sides, and its corners lie between the circle and the middle of a chord.
func (x *cylFinder) on(fit *cylFit, f int32, lean float64) bool {
	n := x.normal[f]
	if math.Abs(n.Dot(fit.a)) > lean {
		return false
	}
	var px, py [3]float64
	lo, hi := fit.r-fit.inside-fit.tolR, fit.r+fit.tolR
	for k, v := range x.m.Facets[f] {
		px[k], py[k], _ = fit.point(x.m.Verts[v])
		if rho := px[k]*px[k] + py[k]*py[k]; rho > hi*hi || lo > 0 && rho < lo*lo {
			return false
		}
	}
	cx, cy := px[0]+px[1]+px[2], py[0]+py[1]+py[2]
	if fit.sign*(n.Dot(fit.u)*cx+n.Dot(fit.v)*cy) < 0.7*math.Hypot(cx, cy) {
		return false
	}
	span := min(2.5*fit.turn+degree, cylTurnMax)
	most := 2 * fit.r * math.Sin(span/2)
	for k := range 3 {
		j := (k + 1) % 3
		if dx, dy := px[j]-px[k], py[j]-py[k]; dx*dx+dy*dy > most*most {
			return false
		}
	}
	return true
}

// absorb adds the slivers that lie on the surface but whose normals say
// nothing: their corners are on the circle, and they lean by less than 45
// degrees.
func (w *cylWork) absorb(fit *cylFit, members []int32) []int32 {
	x := w.x
	w.epoch++
	for _, f := range members {
		w.seen[f] = w.epoch
	}
	round := *fit
	round.inside = 0
	for i := 0; i < len(members); i++ {
		f := members[i]
		for k := range int32(3) {
			t := x.topo.Twin[3*f+k]
			if t < 0 || w.seen[t/3] == w.epoch {
				continue
			}
			g := t / 3
			w.seen[g] = w.epoch
			if x.taken[g] || w.label != nil && w.label[g] != w.only {
				continue
			}
			if x.on(&round, g, math.Sqrt2/2) && x.thin(fit, g) {
				members = append(members, g)
			}
		}
	}
	slices.Sort(members)
	return members
}

// thin reports whether a facet's height is so small that the scatter of its
// corners may turn its normal.
func (x *cylFinder) thin(fit *cylFit, f int32) bool {
	a, b, c := x.m.Corners(f)
	long := max(b.Sub(a).Norm(), c.Sub(b).Norm(), a.Sub(c).Norm())
	sag := fit.r * (1 - math.Cos(min(fit.turn, cylTurnMax)/2))
	return 2*x.area[f] <= 4*(fit.tolR+sag)*long
}
