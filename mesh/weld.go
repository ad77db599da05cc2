package mesh

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"runtime"
	"slices"
)

// build welds and scales what a reader found.
func build(ctx context.Context, r *raw, scale float64) (*Mesh, error) {
	var verts []Vec
	var facets [][3]int32
	written := 0.0
	for i := range r.bodies {
		b := &r.bodies[i]
		written = max(written, writtenErr(b.verts))
		var first []int32
		var err error
		n := len(b.corners)
		at := func(i int) Vec {
			p := b.corners[i]
			return Vec{float64(p[0]), float64(p[1]), float64(p[2])}
		}
		if b.corners != nil {
			first, err = firstEqual(ctx, b.corners)
		} else {
			first, err = firstEqual(ctx, b.verts)
			n = len(b.verts)
			at = func(i int) Vec { return b.verts[i] }
		}
		if err != nil {
			return nil, err
		}
		// From here on first[i] is the number of the vertex.
		verts = slices.Grow(verts, countFirst(first))
		for i := range n {
			if first[i] != int32(i) {
				first[i] = first[first[i]]
				continue
			}
			first[i] = int32(len(verts))
			p := at(i)
			for k := range p {
				p[k] = p[k]*scale + 0 // -0 becomes 0
			}
			verts = append(verts, p)
		}
		facets = appendFacets(facets, b, first)
		*b = body{} // the collector may have it
	}
	collapsed := r.facets - len(facets)
	facets, repeats := leaveOutRepeats(facets)
	m := New(dropUnused(verts, facets), facets)
	m.Source = Source{Format: r.format, Unit: r.unit, UnitMM: scale, Facets: r.facets, Notes: r.notes}
	m.Source.RoundMM = max(written*scale, m.largest()*singleErr)
	m.collapsed, m.repeats = collapsed, repeats
	if repeats > 0 {
		note := "1 facet that repeats another was left out."
		if repeats > 1 {
			note = fmt.Sprintf("%d facets that repeat others were left out.", repeats)
		}
		m.Source.Notes = append(m.Source.Notes, note)
	}
	return m, nil
}

func countFirst(first []int32) (n int) {
	for i, j := range first {
		if j == int32(i) {
			n++
		}
	}
	return n
}

// appendFacets appends the facets of b, renumbered; those with two equal
// corners are left out, for they have no area and no place in the topology.
func appendFacets(to [][3]int32, b *body, number []int32) [][3]int32 {
	add := func(i, j, k int32) {
		if i != j && j != k && k != i {
			to = append(to, [3]int32{i, j, k})
		}
	}
	to = slices.Grow(to, max(len(number)/3, len(b.facets)))
	if b.facets == nil {
		for i := 0; i+2 < len(number); i += 3 {
			add(number[i], number[i+1], number[i+2])
		}
		return to
	}
	for _, f := range b.facets {
		add(number[f[0]], number[f[1]], number[f[2]])
	}
	return to
}

// dropUnused returns the vertices that the facets use, in their order, and
// renumbers the facets in place.
func dropUnused(verts []Vec, facets [][3]int32) []Vec {
	number := make([]int32, len(verts))
	for _, f := range facets {
		for _, v := range f {
			number[v] = 1
		}
	}
	n := int32(0)
	for v, used := range number {
		if used != 0 {
			verts[n], number[v] = verts[v], n
			n++
		}
	}
	if int(n) == len(verts) {
		return verts
	}
	for i, f := range facets {
		facets[i] = [3]int32{number[f[0]], number[f[1]], number[f[2]]}
	}
	return slices.Clip(verts[:n])
}

// firstEqual gives for every point the number of the first point that is equal
// to it (bit for bit, but -0 equals 0). One open-addressing hash table a core,
// each for its share of the hash values, keeps the answer independent of the
// number of cores. The hash starts from a random seed, so that nobody can make
// a file whose points all collide.
func firstEqual[P [3]float32 | Vec](ctx context.Context, pts []P) ([]int32, error) {
	n := len(pts)
	hash := make([]uint32, n)
	first := make([]int32, n)
	seed := [3]uint64{rand.Uint64(), rand.Uint64(), rand.Uint64()}
	err := parallel(ctx, n, 1<<16, func(from, to int) error {
		hashPoints(pts[from:to], hash[from:to], seed)
		return nil
	})
	if err != nil {
		return nil, err
	}
	shares := min(runtime.GOMAXPROCS(0), n/4096+1)
	err = parallel(ctx, shares, 1, func(share, _ int) error {
		return firstInShare(ctx, pts, hash, first, uint64(share), uint64(shares))
	})
	return first, err
}

func hashPoints[P [3]float32 | Vec](pts []P, hash []uint32, seed [3]uint64) {
	mix := func(a, b uint64) uint64 {
		hi, lo := bits.Mul64(a, b)
		return hi ^ lo
	}
	for i, p := range pts {
		var x, y, z uint64
		switch p := any(p).(type) {
		case [3]float32:
			x = uint64(math.Float32bits(p[0]+0)) | uint64(math.Float32bits(p[1]+0))<<32
			z = uint64(math.Float32bits(p[2] + 0))
		case Vec:
			x, y, z = math.Float64bits(p[0]+0), math.Float64bits(p[1]+0), math.Float64bits(p[2]+0)
		}
		h := mix(mix(x^seed[1], y^seed[0])^z^seed[2], 0x9e3779b97f4a7c15)
		hash[i] = uint32(h ^ h>>32)
	}
}

// firstInShare fills first for the points whose hash falls into the share.
func firstInShare[P [3]float32 | Vec](ctx context.Context, pts []P, hash []uint32, first []int32, share, shares uint64) error {
	type slot struct {
		hash  uint32
		point int32 // number of the point plus one; 0 is free
	}
	table := make([]slot, 1<<12)
	used := 0
	for i, h := range hash {
		if i&0xffff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if uint64(h)*shares>>32 != share {
			continue
		}
		if 2*used >= len(table) {
			old := table
			table = make([]slot, 4*len(old))
			for _, s := range old {
				if s.point != 0 {
					j := s.hash & uint32(len(table)-1)
					for table[j].point != 0 {
						j = (j + 1) & uint32(len(table)-1)
					}
					table[j] = s
				}
			}
		}
		for j := h & uint32(len(table)-1); ; j = (j + 1) & uint32(len(table)-1) {
			s := &table[j]
			if s.point == 0 {
				*s = slot{h, int32(i) + 1}
				used++
				first[i] = int32(i)
				break
			}
			if s.hash == h && pts[s.point-1] == pts[i] {
				first[i] = s.point - 1
				break
			}
		}
	}
	return nil
}
