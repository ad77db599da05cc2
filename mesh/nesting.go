package mesh

import (
	"context"
	"math"
	"slices"
)

// inverted counts the closed shells whose winding does not fit their nesting, with a
// place on each of the first.
func (s *shells) inverted(ctx context.Context, m *Mesh, t *Topology) (inverted int, at []Vec, err error) {
	open := s.openBoxes()
	for i := range s.closed {
		if err := ctx.Err(); err != nil {
			return 0, nil, err
		}
		if !s.closed[i] || s.volume[i] == 0 || s.inOpen(i, open) {
			continue
		}
		if depth := len(s.holders(m, t, int32(i))); (depth%2 == 0) == (s.volume[i] > 0) {
			continue
		}
		if inverted++; len(at) < maxPlaces {
			at = append(at, m.Centre(s.largest[i]))
		}
	}
	return inverted, at, nil
}

// inOpen reports whether a shell may lie inside one of those that are not closed:
// then what it should hold is not known.
func (s *shells) inOpen(i int, open []Box) bool {
	return slices.ContainsFunc(open, func(b Box) bool { return b.Join(s.box[i]) == b })
}

// openBoxes returns the boxes of the shells that are not closed, one around all
// where they are many.
func (s *shells) openBoxes() (open []Box) {
	const most = 256
	all := EmptyBox()
	for i, c := range s.closed {
		if !c {
			open, all = append(open, s.box[i]), all.Join(s.box[i])
		}
	}
	if len(open) > most {
		return []Box{all}
	}
	return open
}

// shells holds what nesting asks of each shell.
type shells struct {
	closed  []bool     // no open edge, none of more than two facets, none wound both ways
	volume  []float64  // signed, mm3; 0 where rounding may have made all of it
	largest []int32    // facet with the largest area
	ends    [][6]int32 // facets that reach farthest either way along x, y and z
	box     []Box
	maxX    float64 // of the mesh
}

func newShells(ctx context.Context, m *Mesh, t *Topology) (*shells, error) {
	s := &shells{make([]bool, t.Shells), make([]float64, t.Shells), make([]int32, t.Shells), make([][6]int32, t.Shells), make([]Box, t.Shells), m.Box().Max[0]}
	for i := range s.closed {
		s.closed[i], s.box[i] = true, EmptyBox()
	}
	box := m.Box()
	sums, areas := make([]sum, t.Shells), make([]float64, t.Shells)
	most := make([]float64, t.Shells)
	mid := box.Min.Add(box.Max).Scale(.5)
	for f := range m.Facets {
		if f%(1<<16) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		i := t.Shell[f]
		corners := &m.Facets[f]
		a, b, c := &m.Verts[corners[0]], &m.Verts[corners[1]], &m.Verts[corners[2]]
		box := &s.box[i]
		for k := range 3 {
			if low := min(a[k], b[k], c[k]); low < box.Min[k] {
				box.Min[k], s.ends[i][2*k] = low, int32(f)
			}
			if high := max(a[k], b[k], c[k]); high > box.Max[k] {
				box.Max[k], s.ends[i][2*k+1] = high, int32(f)
			}
		}
		sums[i].add(det(&mid, a, b, c) / 6)
		area := m.Area(int32(f))
		if areas[i] += area; area > most[i] {
			most[i], s.largest[i] = area, int32(f)
		}
		for k := range 3 {
			h := t.Twin[3*f+k]
			if h < 0 || m.Facets[f][k] == m.Facets[h/3][h%3] {
				s.closed[i] = false
			}
		}
	}
	for i := range sums {
		if v := sums[i].value(); m.encloses(v, areas[i]) {
			s.volume[i] = v
		}
	}
	return s, nil
}

// holders are the other closed shells around shell i, of those whose box holds
// its box. Shells that cut each other are not nested: places all over the shell
// have to be inside, of the largest facet and of those that reach farthest.
func (s *shells) holders(m *Mesh, t *Topology, i int32) (around []int32) {
	asked := false
	for _, f := range append([]int32{s.largest[i]}, s.ends[i][:]...) {
		for k := 3; k >= 0 && (!asked || len(around) > 0); k-- {
			also, ok := s.around(m, t, i, f, k)
			switch {
			case !ok:
			case !asked:
				around, asked = also, true
			default:
				around = slices.DeleteFunc(around, func(j int32) bool { return !slices.Contains(also, j) })
			}
		}
	}
	return around
}

// around lists the closed shells around a place on a facet of shell i, near its
// corner k or anywhere (3): a ray along x crosses each of them an odd number of
// times. Whether it crosses a facet is an exact question in the plane across the
// ray; a ray that meets an edge or a corner proves nothing, and another place is
// tried. It reports false if all do.
func (s *shells) around(m *Mesh, t *Topology, i, f int32, k int) (list []int32, ok bool) {
	a, b, c := m.Corners(f)
	crossed := map[int32]int{}
	for try := range 16 {
		u, v := strewn(try)
		o := a.Add(b.Sub(a).Scale(u)).Add(c.Sub(a).Scale(v))
		if k < 3 {
			o = m.Verts[m.Facets[f][k]].Scale(0.99).Add(o.Scale(0.01))
		}
		clear(crossed)
		if ok = s.crossings(m, t, i, o, crossed); ok {
			break
		}
	}
	for j, n := range crossed {
		if n%2 == 1 {
			list = append(list, j)
		}
	}
	slices.Sort(list)
	return list, ok
}

// strewn is a place on a facet by the weights of its second and third corner.
// They have no pattern, so that symmetric parts are no trap.
func strewn(try int) (u, v float64) {
	u = math.Mod(0.2718281828+0.6180339887*float64(try), 1)
	v = math.Mod(0.3141592653+0.7548776662*float64(try), 1)
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	return u, v
}

// crossings counts how often the ray from o along x crosses each closed shell
// but i; false if it met an edge or a corner.
func (s *shells) crossings(m *Mesh, t *Topology, i int32, o Vec, crossed map[int32]int) bool {
	clean := true
	ray := Box{Min: o, Max: Vec{s.maxX, o[1], o[2]}}
	m.BVH().InBox(ray, func(f int32) bool {
		if j := t.Shell[f]; j == i || !s.closed[j] || s.box[j].Join(s.box[i]) != s.box[j] {
			return true
		}
		a, b, c := m.Corners(f)
		s1, s2, s3 := orient2(a, b, o, 0), orient2(b, c, o, 0), orient2(c, a, o, 0)
		switch {
		case s1 == s2 && s2 == s3 && s1 != 0:
			// In front of o where o lies behind the facet as seen along x.
			switch side := orient3(a, b, c, o); side {
			case 0:
				clean = false
			case -s1:
				crossed[t.Shell[f]]++
			}
		case s1 >= 0 && s2 >= 0 && s3 >= 0 || s1 <= 0 && s2 <= 0 && s3 <= 0:
			clean = false
		}
		return clean
	})
	return clean
}
