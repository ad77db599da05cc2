package mesh

import (
	"context"
	"math"
	"slices"
)

// This file defines the stance: a mesh turned into the machine's axes, and the
// tolerances with which its heights and directions are read.

const (
	// platformShare is the share of the part's box diagonal within which the
	// lowest points count as resting on the platform: 2 um on a part of 200 mm,
	// a tenth of the thinnest layer in use.
	platformShare = 1e-5
	// noiseMaxRad is the doubt about a facet's direction from which on the facet
	// is called thin: it says nothing about where its surface faces.
	noiseMaxRad = 0.01
	// noiseMostRad is the doubt from which on not even thin facets together say
	// where they face.
	noiseMostRad = 0.1
)

// stance is a mesh as it stands in the machine. Coordinates run along the
// machine's axes from the lowest corner of the part's box, so a height is above
// the part's lowest point.
type stance struct {
	m      *Mesh
	frame  Frame
	origin Vec   // machine coordinates of the corner
	at     []Vec // of every vertex
	size   Vec   // of the box
	// quantum is what a coordinate may be off by: half the spacing of float32
	// values at the largest coordinate, which is what STL stores.
	quantum float64
	// levelTol is the difference of height that is none.
	levelTol float64
	// platformTol is how far above the lowest point a point still rests however
	// thin the first layer is.
	platformTol float64
}

func newStance(ctx context.Context, m *Mesh, f Frame) (*stance, error) {
	s := &stance{m: m, frame: f, at: make([]Vec, len(m.Verts))}
	const step = 1 << 14
	err := parallel(ctx, len(m.Verts), step, func(from, to int) error {
		for i := from; i < to; i++ {
			q := &s.at[i]
			q[0], q[1], q[2] = f.turn(&m.Verts[i])
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	boxes := make([]Box, (len(m.Facets)+step-1)/step)
	err = parallel(ctx, len(m.Facets), step, func(from, to int) error {
		b := EmptyBox()
		for _, t := range m.Facets[from:to] {
			for _, v := range t {
				b.add(&s.at[v])
			}
		}
		boxes[from/step] = b
		return nil
	})
	if err != nil {
		return nil, err
	}
	b := EmptyBox()
	for i := range boxes {
		b = b.Join(boxes[i])
	}
	if len(m.Facets) == 0 {
		return s, nil
	}
	s.origin, s.size = b.Min, b.Size()
	s.quantum = m.largest() * singleErr
	s.levelTol = 8 * s.quantum
	s.platformTol = platformShare*b.Diagonal() + s.levelTol
	return s, parallel(ctx, len(s.at), step, func(from, to int) error {
		for i := from; i < to; i++ {
			p := &s.at[i]
			p[0], p[1], p[2] = p[0]-s.origin[0], p[1]-s.origin[1], p[2]-s.origin[2]
		}
		return nil
	})
}

// of is another mesh as it stands beside the stance's: in the same coordinates.
func (s *stance) of(ctx context.Context, m *Mesh) (*stance, error) {
	other := *s
	other.m, other.at = m, make([]Vec, len(m.Verts))
	return &other, parallel(ctx, len(m.Verts), 1<<16, func(from, to int) error {
		for i := from; i < to; i++ {
			other.at[i] = s.place(m.Verts[i])
		}
		return nil
	})
}

// place gives a point of the mesh in the stance's coordinates, back the reverse.
func (s *stance) place(p Vec) Vec { return s.frame.Turn(p).Sub(s.origin) }
func (s *stance) back(p Vec) Vec  { return s.frame.Back(p.Add(s.origin)) }

// RestMM is how far above the lowest point of a mesh surface still rests on the
// platform: the first layer, or more where the mesh is so large that rounding may
// explain more.
func (f Frame) RestMM(m *Mesh) float64 { return max(platformShare*m.Box().Diagonal(), f.Layer) }

// rests reports whether a height is on the platform.
func (s *stance) rests(h float64) bool {
	return s.frame.Lift <= 0 && h <= max(s.platformTol, s.frame.Layer)
}

// normal returns a facet's outward normal along the machine's axes, its area,
// and the angle that the rounding of its corners may turn it by.
func (s *stance) normal(f int32) (n Vec, area, noise float64) {
	t := s.m.Facets[f]
	a, b, c := &s.at[t[0]], &s.at[t[1]], &s.at[t[2]]
	x, y, z := crossOf(a, b, c)
	l := norm(x, y, z)
	if l == 0 {
		return Vec{}, 0, math.Inf(1)
	}
	// A corner that moves by e turns the facet by e over its height, which is
	// least over the longest edge. Three coordinates of two ends: 4 quanta.
	side := math.Sqrt(max(apart2(a, b), apart2(a, c), apart2(b, c)))
	by := 1 / l
	return Vec{by * x, by * y, by * z}, l / 2, 4 * s.quantum * side / l
}

// facing returns the direction in which a facet's surface faces. A thin facet
// takes that of the facet that it is a flap of: thin facets come in fans, so
// their neighbours are searched, over the longest edges first, for one that is
// not thin. Where none is near, several together have a direction: that of their
// area as a vector, which depends on their outer rim alone.
func (s *stance) facing(f int32) (n Vec, noise float64) {
	n, _, noise = s.faced(f)
	return n, noise
}

// faced is facing with the facet that told, the last that was looked at where
// several told together, and -1 where even that says nothing.
func (s *stance) faced(f int32) (n Vec, by int32, noise float64) {
	n, _, noise = s.normal(f)
	if noise <= noiseMaxRad {
		return n, f, noise
	}
	const most = 64
	type door struct {
		facet  int32
		length float64
	}
	topo := s.m.Topology()
	seen := append(make([]int32, 0, most), f)
	doors := make([]door, 0, most)
	for len(seen) < most {
		t := s.m.Facets[f]
		for k := range 3 {
			if g := topo.Neighbour(f, k); g >= 0 && !slices.Contains(seen, g) {
				d := s.at[t[(k+1)%3]].Sub(s.at[t[k]])
				doors = append(doors, door{g, d.Dot(d)})
			}
		}
		if len(doors) == 0 {
			break
		}
		best := 0
		for i, d := range doors {
			if d.length > doors[best].length {
				best = i
			}
		}
		f = doors[best].facet
		doors = slices.Delete(doors, best, best+1)
		if slices.Contains(seen, f) {
			continue
		}
		seen = append(seen, f)
		if n, _, noise = s.normal(f); noise <= noiseMaxRad {
			return n, f, noise
		}
	}
	if n, noise = s.together(seen[0]); noise <= noiseMostRad {
		return n, f, noise
	}
	return Vec{}, -1, 0
}

// together is the direction of the facets around one that may face as it does,
// as few as tell, and the angle that the rounding of their rim may turn it by: a rim of twice the box's
// diagonal that moves by e adds e times that to their vector of area.
func (s *stance) together(f int32) (n Vec, noise float64) {
	const most = 64
	topo := s.m.Topology()
	near := append(make([]int32, 0, most+2), f)
	own, _, doubt := s.normal(f)
	var sum Vec
	box := EmptyBox()
	noise = math.Inf(1)
	for i := 0; i < len(near) && i < most && noise > noiseMaxRad/10; i++ {
		t := s.m.Facets[near[i]]
		a, b, c := s.at[t[0]], s.at[t[1]], s.at[t[2]]
		sum = sum.Add(b.Sub(a).Cross(c.Sub(a)).Scale(0.5))
		box = box.Grow(a).Grow(b).Grow(c)
		noise = 2 * math.Sqrt(3) * s.quantum * box.Diagonal() / sum.Norm()
		for k := range 3 {
			g := topo.Neighbour(near[i], k)
			if g < 0 || len(near) == most || slices.Contains(near, g) {
				continue
			}
			if its, _, more := s.normal(g); its.Dot(own) >= math.Cos(min(doubt+more, math.Pi)) {
				near = append(near, g)
			}
		}
	}
	return sum.Unit(), noise
}
