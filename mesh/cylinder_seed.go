package mesh

// This file finds places from which cylinders may grow, and lets them.

import (
	"context"
	"math"
	"slices"
)

const (
	// cylFlat is the turn below which two facets are one flat side.
	cylFlat = 0.05 * degree
	// cylGrowCrease bounds the patches about seeds: circles of 8 sides turn by
	// 45 degrees.
	cylGrowCrease = 50 * degree
	// cylArcLeast is the share of a circle that a patch between creases must
	// show to be a seed.
	cylArcLeast = 0.15
	// cylMissMost is how far a seed may be from a cylinder, over the radius.
	cylMissMost = 0.1
	// cylCoarse is the turn from which edges are tried for the axis: circles of
	// 15 sides or fewer.
	cylCoarse = 24 * degree
	// cylTries is how often a facet may lie in surface that turned out to be no
	// cylinder before it is no seed any more.
	cylTries = 1
	// cylBatch is the number of seeds that grow at once, cylAhead how many they
	// are chosen from.
	cylBatch = 64
	// cylBatchLeast is how many grow at once although they may stand near each
	// other, so that not all processors but one wait.
	cylBatchLeast = 4
	cylAhead      = 512
	// cylAcrossMost is how many facets are gathered about an axis that only a ray
	// has told.
	cylAcrossMost = 1 << 8
	// cylStepsMost bounds how many facets seeds stand apart, and cylPatchSteps how
	// wide the patches are that they are judged by.
	cylStepsMost  = 12
	cylPatchSteps = 6
)

// cylSeedAt is a facet from which a cylinder may grow.
type cylSeedAt struct {
	facet  int32
	radius float64 // mm
	miss   float64 // how far the patch about it is from a cylinder, over the radius
	hint   Vec     // where to begin looking for the axis
	across float64 // mm: to the far side of the cylinder
	arc    []int32 // if not nil, the facets from which to begin instead of a patch about facet
}

// findGrown looks for seeds in what is left, and grows them in order of how
// well they fit.
func (x *cylFinder) findGrown(ctx context.Context) error {
	seeds, err := x.seeds(ctx)
	if err != nil {
		return err
	}
	// Seeds that differ by rounding only stay in the mesh's order. Arcs come
	// first, the longest ones foremost.
	slices.SortStableFunc(seeds, func(a, b cylSeedAt) int {
		return int(1000*a.miss) - int(1000*b.miss)
	})
	slices.SortStableFunc(x.arcs, func(a, b cylSeedAt) int { return len(b.arc) - len(a.arc) })
	seeds = append(x.arcs, seeds...)
	tries := make([]uint8, len(x.m.Facets))
	for len(seeds) > 0 {
		var batch []cylSeedAt
		var apart int
		batch, seeds, apart = x.batch(seeds, tries)
		grown := make([]*cylPiece, len(batch))
		failed := make([][]int32, len(batch))
		err := parallel(ctx, len(batch), 1, func(i, _ int) error {
			w := x.worker()
			defer x.release(w)
			from := slices.Clone(batch[i].arc)
			from = slices.DeleteFunc(from, func(f int32) bool { return x.taken[f] })
			if from == nil {
				from = w.seedPatch(batch[i].facet)
			}
			if fit, members, ok := w.start(from, batch[i].hint, x.radii()); ok {
				p, ok := w.settle(fit, members, 3*len(members))
				failed[i] = slices.Clone(w.gathered)
				if s := &batch[i]; s.across > 0 && (!ok || p.Share < cylShareMin) {
					// Of two or three long sides a patch says little: the far side says more.
					if q, round := w.settleAcross(fit, s); round && (!ok || q.Share > p.Share) {
						p, ok = q, true
					}
				}
				if ok {
					grown[i] = p
				}
			}
			return ctx.Err()
		})
		if err != nil {
			return err
		}
		x.grew += len(batch)
		for i, p := range grown {
			// One near others would not have been tried after them.
			if f := batch[i].facet; i >= apart && (x.taken[f] || tries[f] >= cylTries) {
				continue
			}
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

// settleAcross grows the cylinder whose axis stands in the middle between a seed
// and the surface across from it, out of facets that lie along it: what leans may
// be a band of anything.
func (w *cylWork) settleAcross(fit cylFit, s *cylSeedAt) (*cylPiece, bool) {
	out := w.x.normal(s.facet).Scale(-fit.sign)
	fit.r = s.across / 2
	fit.c = w.x.m.Centre(s.facet).Add(out.Scale(fit.r))
	fit.inside = fit.r * (1 - math.Cos(cylTurnMax/2))
	fit.wide = 2 * fit.r * math.Sin(cylTurnMax/2)
	fit.tolR, fit.tolT = cylRadialMost*fit.r, math.Sin(cylLeanLeast)
	members, _ := w.gather(&fit, []int32{s.facet}, cylAcrossMost)
	return w.settle(fit, slices.Clone(members), 3*len(members))
}

// batch splits off the seeds that grow at once, on the surface that was free
// before. They stand apart, so that one cylinder is not found many times over;
// what still overlaps a piece that comes first in the batch grows anew in a
// later one. Where only few do, as on one large curved surface, some that stand
// nearer follow them. The batch does not depend on the number of cores, and so
// neither does what is found.
func (x *cylFinder) batch(seeds []cylSeedAt, tries []uint8) (batch, rest []cylSeedAt, apart int) {
	near := func(s cylSeedAt, radii float64) bool {
		return slices.ContainsFunc(batch, func(b cylSeedAt) bool {
			return x.m.Centre(b.facet).Sub(x.m.Centre(s.facet)).Norm() < radii*max(s.radius, b.radius)
		})
	}
	keep := 0
	i := 0
	for ; i < len(seeds) && i < cylAhead && len(batch) < cylBatch; i++ {
		s := seeds[i]
		switch {
		case x.taken[s.facet] || tries[s.facet] >= cylTries:
		case near(s, 4):
			seeds[keep] = s
			keep++
		default:
			batch = append(batch, s)
		}
	}
	apart = len(batch)
	passed := slices.DeleteFunc(seeds[:keep], func(s cylSeedAt) bool {
		if len(batch) >= cylBatchLeast || near(s, 0.5) {
			return false
		}
		batch = append(batch, s)
		return true
	})
	// Those passed over stand before those not reached.
	rest = seeds[i-len(passed):]
	copy(rest, passed)
	return batch, rest, apart
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
			patch := w.seedPatch(f)
			for _, hint := range x.axisHints(f) {
				fit, members, ok := w.start(patch, hint, extent{across / 3, min(across/1.2, x.radii().hi)})
				if !ok {
					continue
				}
				out := x.normal(f).Scale(-fit.sign)
				if miss := w.miss(&fit, members); miss < cylMissMost &&
					x.enclosed(fit.a, x.m.Centre(f).Add(out.Scale(across/2)), out, across/2) && !w.bends(&fit, members) {
					parts[from/step] = append(parts[from/step], cylSeedAt{facet: f, radius: fit.r, miss: miss, hint: hint, across: across})
					break
				}
			}
		}
		return nil
	})
	return slices.Concat(parts...), err
}

// sparse lists facets that are not taken and at which the surface bends, some
// steps apart: a cylinder has many, and one is enough. What turns more than the
// surface around it, such as a small hole in a large fine one, has seeds of its
// own.
func (x *cylFinder) sparse() []int32 {
	near := make([]bool, len(x.m.Facets))
	var out, ring []int32
	for f := range near {
		if near[f] || x.taken[f] || !x.turns(int32(f)) {
			continue
		}
		out = append(out, int32(f))
		ring = append(ring[:0], int32(f))
		first := 0
		for step := range x.steps(int32(f)) {
			last := len(ring)
			for _, g := range ring[first:last] {
				for k := range 3 {
					if e := x.topo.Neighbour(g, k); e >= 0 && !near[e] && (step < cylPatchSteps || x.turns(e) && x.steps(e) > step) {
						near[e] = true
						ring = append(ring, e)
					}
				}
			}
			first = last
		}
	}
	return out
}

// steps returns how many facets seeds stand apart at f: more where the surface
// turns so little that a circle has a hundred sides and more, so that it has
// some sixteen seeds still.
func (x *cylFinder) steps(f int32) int {
	var turn float64
	for k := range int32(3) {
		if t := float64(x.turn[3*f+k]); t <= cylGrowCrease {
			turn = max(turn, t)
		}
	}
	return min(max(int(2*math.Pi/32/turn), 2), cylStepsMost)
}

// seedPatch returns the patch about f that a seed is judged by: as wide as seeds
// stand apart (up to a hundred facets), a ring of 16 sides or wide enough to
// average a few micrometres of noise.
func (w *cylWork) seedPatch(f int32) []int32 {
	n := min(w.x.steps(f), cylPatchSteps)
	return w.patch(f, max(32, 3*n*n))
}

// across casts a ray from f to the side to which the surface bends: at a hole
// to the far wall, at a pin through the material to its far side. It returns the
// way to surface that faces f, if that is what the ray meets first and if it is
// about the diameter that the bend at f suggests. Fillets, slot ends and
// freeform surface mostly fail, and need not be looked at any closer.
func (x *cylFinder) across(f int32) (float64, bool) {
	n, o := x.normal(f), x.m.Centre(f)
	var bend, curve float64
	for k := range int32(3) {
		h := 3*f + k
		if t := float64(x.turn[h]); t > cylFlat && t <= cylGrowCrease {
			a, b := x.m.Verts[x.m.Facets[f][k]], x.m.Verts[x.m.Facets[f][(k+1)%3]]
			g := x.topo.Twin[h] / 3
			if l := b.Sub(a).Norm(); l > 0 {
				// The facets' heights over their edge make two sides.
				curve = max(curve, t*l/(x.m.Area(f)+x.m.Area(g)))
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
	return hit.T, ok && hit.T*curve > 0.5 && x.normal(hit.Facet).Dot(n) < -0.6
}

// enclosed reports whether surface stands all round a place on the axis, r away
// from it, give or take a third: what rays across the axis meet, in all of six
// directions but one. The direction out and its opposite are not looked at.
func (x *cylFinder) enclosed(axis, middle, out Vec, r float64) bool {
	out = out.Sub(axis.Scale(out.Dot(axis))).Unit()
	side := axis.Cross(out)
	misses := 0
	for _, deg := range [6]float64{90, 270, 45, 225, 135, 315} {
		s, c := math.Sincos(deg * degree)
		hit, ok := x.m.BVH().Ray(middle, out.Scale(c).Add(side.Scale(s)), 0, 1.35*r)
		if !ok || hit.T < 0.65*r {
			if misses++; misses > 1 {
				return false
			}
		}
	}
	return true
}

// arcEnclosed is enclosed at the middle of a piece.
func (x *cylFinder) arcEnclosed(p *cylPiece) bool {
	return x.enclosed(p.Axis, p.At, x.m.Centre(p.Facets[0]).Sub(p.At), p.fit.r)
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
		n, a := x.face(f)
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
