package mesh

import (
	"context"
	"slices"
)

// tips returns the tips at corners of pieces, where the surface of several bodies
// meets, as findTips does those at vertices of the mesh; sharp are the edges of the
// skin that are sharp, between verts, and sides tells which facets of the whole mesh are no
// slivers.
func (s *skin) tips(ctx context.Context, least float64, verts []Vec, sharp []sharpFeature, sides []bool) ([]sharpFeature, error) {
	if s.of == nil {
		return nil, nil
	}
	corners, err := s.corners(ctx)
	if err != nil {
		return nil, err
	}
	pieces := map[int32][]int32{} // facets of the skin by corner
	for f, t := range s.m.Facets {
		for _, v := range t {
			if c := corners[v]; c >= 0 && sides[s.of[f]] {
				pieces[c] = append(pieces[c], int32(f))
			}
		}
	}
	at := make([]int32, 0, len(pieces))
	for v, fs := range pieces {
		n := s.m.Normal(fs[0])
		if slices.ContainsFunc(fs[1:], func(f int32) bool { return n.Dot(s.whole.Normal(s.of[f])) < 0.5 }) {
			at = append(at, v)
		}
	}
	slices.Sort(at)
	doubt := seamDoubt * s.touch
	edges := newSharpTree(verts, sharp)
	found := make([][]sharpFeature, len(at))
	err = each(ctx, len(at), 1<<6, func(i int) {
		v := at[i]
		o := s.m.Verts[v]
		faces := make([]int32, 0, len(pieces[v]))
		for _, f := range pieces[v] {
			faces = append(faces, s.of[f])
		}
		slices.Sort(faces)
		side := func(f, g int32) int {
			var c sideCount
			n := s.whole.Normal(f)
			for _, p := range pieces[v] {
				if s.of[p] != g {
					continue
				}
				for _, w := range s.m.Facets[p] {
					if w != v && corners[w] != v {
						c.add(s.m.Verts[w].Sub(o).Dot(n), doubt)
					}
				}
			}
			return c.all()
		}
		onEdge := false
		if edges != nil {
			_, onEdge = edges.mesh.BVH().Nearest(o, doubt, nil)
		}
		found[i], _ = tipsAt(context.Background(), v, slices.Compact(faces), s.whole.Normal, side, least, onEdge)
	})
	return slices.Concat(found...), err
}

// corners tells which corners of pieces are one: by vertex the first of them, -1
// for those of the whole mesh.
func (s *skin) corners(ctx context.Context) ([]int32, error) {
	first := int32(len(s.whole.Verts))
	n := len(s.m.Verts) - int(first)
	points := make([][3]int32, n)
	for i := range points {
		v := first + int32(i)
		points[i] = [3]int32{v, v, v}
	}
	near := New(s.m.Verts, points)
	if _, err := near.bvh.get(ctx); err != nil {
		return nil, err
	}
	beside := make([][]int32, n) // of each those that come before
	doubt := seamDoubt * s.touch
	err := each(ctx, n, 1<<10, func(i int) {
		p := s.m.Verts[first+int32(i)]
		near.BVH().InBox(Box{p, p}.Widened(doubt), func(j int32) bool {
			if int(j) < i && s.m.Verts[first+j].Sub(p).Norm() <= doubt {
				beside[i] = append(beside[i], j)
			}
			return true
		})
	})
	out := slices.Repeat([]int32{-1}, len(s.m.Verts))
	for i, list := range beside {
		v := first + int32(i)
		out[v] = v
		for _, j := range list {
			out[v] = min(out[v], out[first+j])
		}
	}
	return out, err
}
