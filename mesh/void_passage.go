package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file defines the exact width of a way that the grid has found: the grid
// gives a line of cells, the mesh says how wide it is.

// squeeze is a way through a narrow place, moved to its middle.
type squeeze struct {
	line   []Vec
	clear  []float64 // distance to the surface at each point
	narrow int       // the point where it is least
}

const (
	// squeezeWide is how much wider than its narrowest place a way is followed.
	squeezeWide = 1.6
	// squeezePitch spaces points in clearances of the narrowest place. Near an
	// obstacle of clearance r the clearance at a distance s along the middle is
	// at most sqrt(r*r+s*s), so points 0.4 r apart miss 2 % at most.
	squeezePitch = 0.4
	// squeezeFine spaces the last look around the narrowest place: 0.1 %.
	squeezeFine = 0.1
	// squeezeFar keeps the look for detours to the narrow part.
	squeezeFar = 1.5
	// squeezeStill is how much wider than its narrowest place a way stays where
	// it is: past its mouths (squeezeMouth).
	squeezeStill = 1.25
	// squeezePoints bounds the work on one way.
	squeezePoints = 2000
)

// wayPoint is a point of a way with the clearance that the grid gives it.
type wayPoint struct {
	at    Vec
	clear float64
}

// narrowestPass returns the narrowest place of a way, on the mesh. The grid says
// where to look: first where it has the way narrowest, then wherever else it has
// it narrower than what was found, since a way that hugs a wall in a wide place
// looks narrow too.
func narrowestPass(ctx context.Context, m *Mesh, way []wayPoint, h float64) (squeeze, error) {
	var found squeeze
	seen := make([]bool, len(way))
	for {
		at := -1
		for i, p := range way {
			if !seen[i] && (at < 0 || p.clear < way[at].clear) {
				at = i
			}
		}
		if at < 0 || len(found.line) > 0 && way[at].clear >= found.clear[found.narrow] {
			return found, nil
		}
		wide := squeezeWide*way[at].clear + h
		from, to := at, at
		for from > 0 && way[from].clear <= wide {
			from--
		}
		for to < len(way)-1 && way[to].clear <= wide {
			to++
		}
		for i := from; i <= to; i++ {
			seen[i] = true
		}
		s, err := newSqueeze(ctx, m, way[from:to+1], h)
		if err != nil {
			return s, err
		}
		if len(found.line) == 0 || s.width() < found.width() {
			found = s
		}
	}
}

// newSqueeze moves a way to the middle of the channel: every point climbs in the
// plane across the way to where the surface is farthest. Points start within a
// cell, h, of the middle. Steps stay inside empty balls, so that the way never
// leaves its channel, and the width can only come out too small where a climb
// ends early, or too large by what lies between two points.
func newSqueeze(ctx context.Context, m *Mesh, way []wayPoint, h float64) (squeeze, error) {
	var s squeeze
	for _, p := range way {
		s.line = append(s.line, p.at)
	}
	pitch := h / 2
	for range 3 {
		s.line = evenly(s.line, pitch)
		if err := s.middle(ctx, m, 1.5*h, climbRough, squeezeStill); err != nil {
			return s, err
		}
		s.cutLoops()
		pitch = min(squeezePitch*s.clear[s.narrow], h)
	}
	return s, s.refine(ctx, m)
}

func narrowest(way []wayPoint) int {
	at := 0
	for i, p := range way {
		if p.clear < way[at].clear {
			at = i
		}
	}
	return at
}

// evenly lays points along a line at an even pitch.
func evenly(line []Vec, pitch float64) []Vec {
	length := lineLength(line)
	n := min(squeezePoints, int(math.Ceil(length/pitch)))
	if n < 2 {
		n = 2
	}
	out := []Vec{line[0]}
	gap := length / float64(n)
	need := gap
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		l := b.Sub(a).Norm()
		if l == 0 {
			continue
		}
		done := 0.0
		for l-done >= need && len(out) < n {
			done += need
			out = append(out, a.Add(b.Sub(a).Scale(done/l)))
			need = gap
		}
		need -= l - done
	}
	return append(out, line[len(line)-1])
}

func lineLength(line []Vec) float64 {
	var l float64
	for i := 1; i < len(line); i++ {
		l += line[i].Sub(line[i-1]).Norm()
	}
	return l
}

// middle smooths the line once, then lets its points climb, those first where it
// is narrow. Climbing only widens, so points stay that are wider as they are than
// the narrowest place so far, still times.
func (s *squeeze) middle(ctx context.Context, m *Mesh, reach, tol, still float64) error {
	old := slices.Clone(s.line)
	n := len(old)
	s.clear = make([]float64, n)
	order := make([]int, n)
	for i, p := range old {
		if i%64 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		near, _ := m.BVH().Nearest(p, math.Inf(1), nil)
		if i > 0 && i < n-1 {
			off := old[i-1].Add(old[i+1]).Scale(0.5).Sub(p)
			p = p.Add(off.Scale(min(0.5, 0.9*near.Dist/max(off.Norm(), 1e-300))))
			near, _ = m.BVH().Nearest(p, math.Inf(1), nil)
		}
		s.line[i], s.clear[i], order[i] = p, near.Dist, i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(s.clear[i], s.clear[j]) })
	least := math.Inf(1)
	for k, i := range order {
		if k%64 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if s.clear[i] > still*least {
			break
		}
		along := old[min(i+1, n-1)].Sub(old[max(i-1, 0)]).Unit()
		s.line[i], s.clear[i] = climb(m, s.line[i], along, reach, tol)
		least = min(least, s.clear[i])
	}
	s.find()
	return nil
}

func (s *squeeze) find() {
	s.narrow = 0
	for i, c := range s.clear {
		if c < s.clear[s.narrow] {
			s.narrow = i
		}
	}
}

// cutLoops takes out what lies between two points that see each other across
// less than the usual gap: a detour of the grid's way.
func (s *squeeze) cutLoops() {
	var kept []int
	for i := 0; i < len(s.line); i++ {
		kept = append(kept, i)
		for j := len(s.line) - 1; j > i+2; j-- {
			if s.line[j].Sub(s.line[i]).Norm() < 0.5*min(s.clear[i], s.clear[j], squeezeFar*s.clear[s.narrow]) {
				i = j - 1
				break
			}
		}
	}
	for n, i := range kept {
		s.line[n], s.clear[n] = s.line[i], s.clear[i]
	}
	s.line, s.clear = s.line[:len(kept)], s.clear[:len(kept)]
	s.find()
}

// refine looks between the points around the narrowest one, and climbs with care
// where others are narrower still, as ends of hasty climbs are.
func (s *squeeze) refine(ctx context.Context, m *Mesh) error {
	from, to := max(0, s.narrow-2), min(len(s.line)-1, s.narrow+2)
	f := squeeze{line: evenly(s.line[from:to+1], squeezeFine*s.clear[s.narrow])}
	if err := f.middle(ctx, m, s.clear[s.narrow], climbFine, squeezeMouth); err != nil {
		return err
	}
	s.line = slices.Concat(s.line[:from], f.line, s.line[to+1:])
	s.clear = slices.Concat(s.clear[:from], f.clear, s.clear[to+1:])
	careful := make([]bool, len(s.line))
	for i := range f.line {
		careful[from+i] = true
	}
	for s.find(); !careful[s.narrow]; s.find() {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		i := s.narrow
		s.line[i], s.clear[i] = climb(m, s.line[i], s.along(i), s.clear[i], climbFine)
		careful[i] = true
	}
	return nil
}

// along is the direction of the line at a point.
func (s *squeeze) along(i int) Vec {
	return s.line[min(i+1, len(s.line)-1)].Sub(s.line[max(i-1, 0)]).Unit()
}

// width is the diameter of the largest ball that gets through.
func (s *squeeze) width() float64 { return 2 * s.clear[s.narrow] }

// squeezeMouth widens the narrowest place to where a channel is taken to end.
// The clearance at a distance x outside the mouth of a hole of radius r is
// sqrt(r*r+x*x), so that end lies 0.458 r outside.
const squeezeMouth = 1.1

// length is the length of the narrow part of the way, mouth to mouth.
func (s *squeeze) length() float64 {
	r := s.clear[s.narrow]
	limit := squeezeMouth * r
	l := 0.0
	for _, dir := range [2]int{-1, 1} {
		i := s.narrow
		open := false
		for !open && i+dir >= 0 && i+dir < len(s.line) {
			gap := s.line[i+dir].Sub(s.line[i]).Norm()
			a, b := s.clear[i], s.clear[i+dir]
			if open = b > limit; open {
				gap *= (limit - a) / (b - a)
			}
			l += gap
			i += dir
		}
		if open {
			l -= r * math.Sqrt(squeezeMouth*squeezeMouth-1)
		}
	}
	return max(l, 0)
}
