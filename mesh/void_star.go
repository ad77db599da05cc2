package mesh

import (
	"context"
	"math"
)

// This file tells parts that can have no vented void without looking for one.

const (
	// starShare is the share of the grid's pitch that all undercuts of a
	// star-shaped part may measure together.
	starShare = 0.01
	// starRounds bounds how often a centre is tried. Most centres that there
	// are, the first or the second finds.
	starRounds = 4
	// starSteps bounds the way from one centre to the next, and starDeep is how
	// far behind a facet's plane a centre is moved, as a share of the part's
	// size.
	starSteps = 200
	starDeep  = 1e-3
)

// starShaped reports whether a part is one closed shell that is seen whole from
// a point inside (Preparata and Shamos 1985, "Computational Geometry", 7.2.6:
// the kernel of a polyhedron), up to undercuts that measure no more than most
// mm together.
//
// Enlarged about that point a star-shaped part covers itself. So any ball in
// the empty space around it, enlarged likewise, is in empty space still: going
// away from the point, every ball gets out, into ever more room, and there is
// no chamber. An undercut is as deep as the facets are high, as seen from the
// point, that show it their backs.
func starShaped(ctx context.Context, n *nest, most float64) (bool, error) {
	m := n.m
	// By Euler's formula, a closed surface of another sum has a handle, such as a
	// through hole, and is never seen whole.
	if len(n.shells) != 1 || !n.shells[0].closed || 2*len(m.Verts)-len(m.Facets) != 4 {
		return false, ctx.Err()
	}
	at := n.centroid()
	deep := starDeep * n.box.Diagonal()
	var backs []int32
	for range starRounds {
		depth, more, err := n.undercuts(ctx, at)
		if err != nil || depth <= most {
			return err == nil, err
		}
		backs = append(backs, more...)
		for range starSteps {
			moved := false
			for _, f := range backs {
				normal := m.Normal(f).Scale(float64(n.turn[f]))
				a, _, _ := m.Corners(f)
				if d := a.Sub(at).Dot(normal); d < deep { // by relaxation (Agmon 1954)
					at = at.Sub(normal.Scale(1.5 * (deep - d)))
					moved = true
				}
			}
			if !moved {
				break
			}
		}
	}
	return false, ctx.Err()
}

// undercuts adds up how high the facets are, as seen from a point, that show
// it their backs, and returns some of these: of each part of the mesh, and each
// eighth of the directions that they face, the one that turns away most.
func (n *nest) undercuts(ctx context.Context, at Vec) (depth float64, backs []int32, err error) {
	const step = 1 << 12
	type part struct {
		depth float64
		away  [8]float64
		worst [8]int32
	}
	m := n.m
	parts := make([]part, (len(m.Facets)+step-1)/step)
	err = parallel(ctx, len(m.Facets), step, func(from, to int) error {
		var p part
		for f := from; f < to; f++ {
			t := &m.Facets[f]
			o := &m.Verts[t[0]]
			nx, ny, nz := m.cross(int32(f))
			rx, ry, rz := o[0]-at[0], o[1]-at[1], o[2]-at[2]
			d := float64(n.turn[f]) * dot3(nx, ny, nz, rx, ry, rz)
			if d >= 0 {
				continue
			}
			u, v := m.Verts[t[1]].Sub(*o), m.Verts[t[2]].Sub(*o)
			w, normal := v.Sub(u), Vec{nx, ny, nz}
			far := norm(rx, ry, rz)
			p.depth -= d / (far * math.Sqrt(max(u.Dot(u), v.Dot(v), w.Dot(w))))
			d /= far * normal.Norm()
			if k := eighth(normal); d < p.away[k] {
				p.away[k], p.worst[k] = d, int32(f)
			}
		}
		parts[from/step] = p
		return nil
	})
	for _, p := range parts {
		depth += p.depth
		for k, f := range p.worst {
			if p.away[k] < 0 {
				backs = append(backs, f)
			}
		}
	}
	return depth, backs, err
}

// eighth numbers the eighth of space that a direction points into.
func eighth(d Vec) (k int) {
	for i, x := range d {
		if x < 0 {
			k |= 1 << i
		}
	}
	return k
}

// centroid returns the middle of the volume, or of the box where there is none.
func (n *nest) centroid() Vec {
	var x, y, z, volume float64
	middle := n.box.Min.Add(n.box.Size().Scale(0.5))
	for f := range n.m.Facets {
		t := &n.m.Facets[f]
		a, b, c := &n.m.Verts[t[0]], &n.m.Verts[t[1]], &n.m.Verts[t[2]]
		v := float64(n.turn[f]) * det(&middle, a, b, c)
		volume += v
		quarter := v / 4
		x += float64(quarter * ((a[0] - middle[0]) + (b[0] - middle[0]) + (c[0] - middle[0])))
		y += float64(quarter * ((a[1] - middle[1]) + (b[1] - middle[1]) + (c[1] - middle[1])))
		z += float64(quarter * ((a[2] - middle[2]) + (b[2] - middle[2]) + (c[2] - middle[2])))
	}
	if !(volume > 0) {
		return middle
	}
	return middle.Add(Vec{x, y, z}.Scale(1 / volume))
}
