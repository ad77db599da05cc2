package mesh

// This file takes pieces of surface between creases whole.

import (
	"context"
)

// cylCreases are the angles at which surface is parted into patches. The first
// parts fine circles (30 sides and more) from shallow cones, the second circles
// of 11 sides and more from chamfers of 45 degrees, the others serve 8 to 10
// and 6 to 7 sides.
var cylCreases = [...]float64{12 * degree, 34 * degree, 50 * degree, 62 * degree}

// findWhole takes patches between creases whole: at each crease angle the
// connected pieces of what is not yet taken.
func (x *cylFinder) findWhole(ctx context.Context, scratch []int32) error {
	n := len(x.m.Facets)
	parent, label, order := scratch[:n], scratch[n:2*n], scratch[2*n:3*n]
	size := scratch[3*n : 4*n] // of the patch at the level before, by facet
	count := scratch[4*n:]
	for f := range parent {
		parent[f] = int32(f)
	}
	low := float32(-1)
	for _, crease := range cylCreases {
		joined, err := x.join(ctx, parent, low, float32(crease))
		if err != nil {
			return err
		}
		if low >= 0 && !joined {
			continue // the patches are those of the level before
		}
		low = float32(crease)
		patches := x.patches(parent, label, order, size, count)
		found := make([]*cylPiece, len(patches))
		// One by one, for a few may be most of the work.
		err = parallel(ctx, len(patches), 1, func(i, _ int) error {
			w := x.worker()
			defer x.release(w)
			fs := patches[i]
			if fit, members, ok := w.start(fs, Vec{}, x.radii()); ok {
				w.label, w.only = label, label[fs[0]]
				if p, ok := w.settle(fit, members, len(fs)); ok {
					found[i] = p
				}
			}
			return ctx.Err()
		})
		if err != nil {
			return err
		}
		for _, p := range found {
			switch {
			case p == nil:
			case p.Share >= cylShareMin:
				x.take(p)
			case p.Share >= cylArcLeast && x.arcEnclosed(p):
				x.arcs = append(x.arcs, cylSeedAt{facet: p.Facets[0], radius: p.fit.r, arc: p.Facets})
			}
		}
	}
	return nil
}

// join unites facets across edges that turn by more than low and at most high,
// and reports whether there were any to unite.
func (x *cylFinder) join(ctx context.Context, parent []int32, low, high float32) (joined bool, err error) {
	for h, t := range x.topo.Twin {
		if h&0xffff == 0 && ctx.Err() != nil {
			return false, ctx.Err()
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
			joined = true
		}
	}
	return joined, nil
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
// order; label gets each facet's patch, and size its patch's facets; count is
// scratch.
func (x *cylFinder) patches(parent, label, order, size, count []int32) [][]int32 {
	clear(count)
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
