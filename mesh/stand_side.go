package mesh

import (
	"math"
	"slices"
)

// This file sums the surface that outlines sweep, for many directions of one
// mesh.

// standSide is surface that faces about one way.
type standSide struct {
	n    Vec // unit
	area float64
}

// sideApart is the widest angle between normals that stand for one: 2 degrees
// move the sum by less than 0.1 % of the surface.
const sideApart = 2 * math.Pi / 180

// SideMM2 returns the integral over the height of the length of the outlines of
// all sections, to 0.1 % of the surface; MeasureBox has it exactly.
func (s *Stands) SideMM2(up Vec) float64 {
	s.sidesOnce.Do(s.findSides)
	sum := 0.0
	for i := range s.sides {
		c := s.sides[i].n.Dot(up)
		sum += s.sides[i].area * math.Sqrt(max(0, 1-c*c))
	}
	return sum
}

// findSides gathers the surface by its normal, runs of near ones along the curve
// that normalKey walks. Opposite normals count alike, so all face one half.
func (s *Stands) findSides() {
	keys := make([]uint64, 0, len(s.m.Facets))
	half := func(n Vec) Vec {
		if n[2] < 0 {
			return n.Scale(-1)
		}
		return n
	}
	for f := range s.m.Facets {
		if n := s.m.Normal(int32(f)); n != (Vec{}) {
			keys = append(keys, uint64(normalKey(half(n)))<<32|uint64(f))
		}
	}
	slices.Sort(keys)
	near := math.Cos(sideApart)
	first := Vec{}
	for _, k := range keys {
		f := int32(uint32(k))
		n, a := half(s.m.Normal(f)), s.m.Area(f)
		if len(s.sides) == 0 || n.Dot(first) < near {
			s.sides, first = append(s.sides, standSide{}), n
		}
		last := &s.sides[len(s.sides)-1]
		last.n, last.area = last.n.Add(n.Scale(a)), last.area+a
	}
	for i := range s.sides {
		s.sides[i].n = s.sides[i].n.Unit()
	}
}
