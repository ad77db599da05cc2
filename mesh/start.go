package mesh

import (
	"container/heap"
	"context"
	"math"
	"slices"
)

// This file finds where material starts in the air.

// FloatingStart is a connected local minimum of height with nothing below it
// to grow from.
type FloatingStart struct {
	At      Vec     // mesh coordinates
	Kind    string  // "point", "edge" or "face"
	AreaMM2 float64 // of a face; 0 else
	Height  float64 // above the platform, mm
	AloneMM float64 // how far it rises before it joins something lower, up to StartAloneMost
	Facets  []int32 // touching the minimum
}

// StartAloneMost is how far a floating start is followed, in mm.
const StartAloneMost = 1.0

// MeasureFloatingStarts finds every local minimum of height that is not on the
// platform, lowest first. It is exact on the mesh: vertices are compared, and
// what is level within the rounding of the coordinates is one minimum. One that
// joins something lower within a layer's height is none: no layer has it as an
// island. A minimum with material right below, as the floor of a cup or of a void, is
// none, nor is one that touches another body (looked for where the mesh has
// several shells, at the corners and centres of the minimum's facets).
//
// With lift 0 everything within the first layer, or within 1e-5 of the box's
// diagonal, of the lowest point is on the platform; with a lift nothing rests.
func MeasureFloatingStarts(ctx context.Context, m *Mesh, f Frame) ([]FloatingStart, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	s, err := newStance(ctx, m, f)
	if err != nil {
		return nil, err
	}
	mins, err := s.minima(ctx)
	if err != nil {
		return nil, err
	}
	skin, err := m.united(ctx)
	if err != nil {
		return nil, err
	}
	out := []FloatingStart{}
	for i := range mins {
		if !mins[i].carried {
			out = append(out, s.floatingStart(&mins[i], skin.share))
		}
	}
	return out, nil
}

// minimum is a connected local minimum of the solid's height, off the platform.
type minimum struct {
	verts   []int32 // level with the lowest, in order
	facets  []int32 // touching it, in order
	height  float64
	alone   float64 // how far it rises before it joins something lower
	carried bool    // touches another body
	held    []int32 // the vertices that do
}

// minima returns the minima with material above and air below, lowest first.
func (s *stance) minima(ctx context.Context) ([]minimum, error) {
	seeds, err := s.seeds(ctx)
	if err != nil || len(seeds) == 0 {
		return nil, err
	}
	around, err := newFans(ctx, s.m)
	if err != nil {
		return nil, err
	}
	skin, err := s.m.united(ctx)
	if err != nil {
		return nil, err
	}
	var out []minimum
	flood, met := make([]int32, len(s.at)), make([]int32, len(s.at))
	most := max(StartAloneMost, 2*s.frame.Layer)
	for n, v := range seeds {
		if n%256 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		verts := s.level(v, int32(n+1), around, flood)
		if verts == nil || s.rests(s.at[v][2]) || !s.airBelow(verts, around) {
			continue
		}
		alone := s.alone(ctx, v, verts, most, int32(n+1), around, met)
		if alone <= s.frame.Layer {
			continue // no layer has it as an island
		}
		mn := minimum{verts: verts, height: s.at[v][2], alone: alone}
		for _, w := range verts {
			mn.facets = append(mn.facets, around.of(w)...)
		}
		slices.Sort(mn.facets)
		mn.facets = slices.Compact(mn.facets)
		s.touch(&mn, skin)
		out = append(out, mn)
	}
	return s.joinFlush(out, skin), ctx.Err()
}

// joinFlush makes one of minima whose faces go on into each other from body to
// body. One that goes on into a face that is no minimum is carried there.
func (s *stance) joinFlush(mins []minimum, skin *skin) []minimum {
	if skin.share == nil {
		return mins
	}
	of := map[int32]int32{} // which minimum a flat facet lies in
	parent := make([]int32, len(mins))
	for i := range mins {
		parent[i] = int32(i)
		for _, f := range mins[i].facets {
			if s.flat(f, &mins[i]) {
				of[f] = int32(i)
			}
		}
	}
	for f, i := range of {
		mn := &mins[i]
		for tile, end := skin.tilesOf(f); tile < end; tile++ {
			for side := range skin.rimOf(tile) {
				x := seam{tile: tile, side: int32(side)}
				a, b := skin.ends(x)
				y := skin.beyond(x, skin.m.Verts[a], skin.m.Verts[b])
				if y < 0 || !s.levelWith(skin.face(y), mn.height) {
					continue
				}
				if j, ok := of[skin.face(y)]; ok {
					i, j := root(parent, i), root(parent, j)
					parent[max(i, j)] = min(i, j)
				} else {
					mn.carried = true
				}
			}
		}
	}
	out := mins[:0]
	at := make([]int, len(mins))
	for i := range mins {
		r := root(parent, int32(i))
		if int(r) == i {
			at[i] = len(out)
			out = append(out, mins[i])
			continue
		}
		mn := &out[at[r]]
		mn.carried = mn.carried || mins[i].carried
		mn.alone = max(mn.alone, mins[i].alone)
		mn.held = append(mn.held, mins[i].held...)
		mn.verts, mn.facets = append(mn.verts, mins[i].verts...), append(mn.facets, mins[i].facets...)
		slices.Sort(mn.verts)
		slices.Sort(mn.facets)
	}
	return out
}

// levelWith reports whether all corners of a facet lie at a height.
func (s *stance) levelWith(f int32, height float64) bool {
	for _, v := range s.m.Facets[f] {
		if math.Abs(s.at[v][2]-height) > s.levelTol {
			return false
		}
	}
	return true
}

// below orders vertices by height, equal ones by number.
func (s *stance) below(a, b int32) bool {
	x, y := s.at[a][2], s.at[b][2]
	return x < y || x == y && a < b
}

// seeds returns the vertices with no lower neighbour, lowest first.
func (s *stance) seeds(ctx context.Context) ([]int32, error) {
	const used, higher = 1, 2
	mark := make([]uint8, len(s.at))
	for f, t := range s.m.Facets {
		if f%fanStep == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if a == b {
				continue
			}
			if s.below(b, a) {
				a, b = b, a
			}
			mark[a] |= used
			mark[b] |= used | higher
		}
	}
	var out []int32
	for v, k := range mark {
		if k == used {
			out = append(out, int32(v))
		}
	}
	slices.SortFunc(out, func(a, b int32) int {
		if s.below(a, b) {
			return -1
		}
		return 1
	})
	return out, ctx.Err()
}

// level returns the vertices that hang together with v no higher than a
// tolerance above it, or nil if something lower is among them: then v is noise
// on a slope or on a floor. Seeds come lowest first, so what an earlier seed
// reached (flood holds its number) leads down to that seed, and no vertex is
// looked at twice.
func (s *stance) level(v, seed int32, around fans, flood []int32) []int32 {
	if flood[v] != 0 {
		return nil
	}
	top := s.at[v][2] + s.levelTol
	flood[v] = seed
	queue := []int32{v}
	for i := 0; i < len(queue); i++ {
		for _, f := range around.of(queue[i]) {
			for _, w := range s.m.Facets[f] {
				switch {
				case s.at[w][2] > top || flood[w] == seed:
				case flood[w] != 0 || s.below(w, v):
					return nil
				default:
					flood[w] = seed
					queue = append(queue, w)
				}
			}
		}
	}
	slices.Sort(queue)
	return queue
}

// alone returns how far the minimum of v rises before it hangs together with something
// lower, up to most. What it met holds the seed's number in met.
func (s *stance) alone(ctx context.Context, v int32, verts []int32, most float64, seed int32, around fans, met []int32) float64 {
	low := s.at[v][2]
	next := &risingQueue{s: s}
	for _, w := range verts {
		met[w] = seed
		next.verts = append(next.verts, w) // all level, and so in order
	}
	rise := 0.0
	for n := 1; next.Len() > 0; n++ {
		if n%aloneStep == 0 && ctx.Err() != nil {
			break // minima asks as well
		}
		w := heap.Pop(next).(int32)
		if rise = max(rise, s.at[w][2]-low); rise >= most {
			break
		}
		for _, f := range around.of(w) {
			for _, u := range s.m.Facets[f] {
				switch {
				case met[u] == seed:
				case s.at[u][2] < low-s.levelTol:
					return rise
				default:
					met[u] = seed
					heap.Push(next, u)
				}
			}
		}
	}
	return most
}

// aloneStep is how many vertices are looked at between two questions whether to go on.
const aloneStep = 1 << 12

// risingQueue hands out vertices, the lowest first.
type risingQueue struct {
	s     *stance
	verts []int32
}

func (q *risingQueue) Len() int           { return len(q.verts) }
func (q *risingQueue) Less(i, j int) bool { return q.s.below(q.verts[i], q.verts[j]) }
func (q *risingQueue) Swap(i, j int)      { q.verts[i], q.verts[j] = q.verts[j], q.verts[i] }
func (q *risingQueue) Push(v any)         { q.verts = append(q.verts, v.(int32)) }
func (q *risingQueue) Pop() any {
	last := len(q.verts) - 1
	v := q.verts[last]
	q.verts = q.verts[:last]
	return v
}

// airBelow reports whether a minimum has air below and so material above. At a
// vertex of which all surface goes up the nearest point to a point just below
// is the vertex itself, so the sign of the angle-weighted normal tells the
// sides apart (Baerentzen and Aanaes 2005, "Signed distance computation using
// the angle weighted pseudonormal").
func (s *stance) airBelow(verts []int32, around fans) bool {
	var z float64
	for _, v := range verts {
		for _, f := range around.of(v) {
			n, area, _ := s.normal(f)
			if area > 0 {
				z += s.cornerAngle(f, v) * n[2]
			}
		}
	}
	return z < -1e-9
}

// cornerAngle returns the angle of facet f at its corner v.
func (s *stance) cornerAngle(f, v int32) float64 {
	t := s.m.Facets[f]
	for k := range 3 {
		if t[k] == v {
			p := s.at[v]
			a, b := s.at[t[(k+1)%3]].Sub(p), s.at[t[(k+2)%3]].Sub(p)
			return math.Atan2(a.Cross(b).Norm(), a.Dot(b))
		}
	}
	return 0
}

// touchSpots is at how many places of a face in part on another body it is asked
// whether that carries it, rather than lies beside it.
const touchSpots = 64

// touch finds where a minimum touches another body that goes on below it: one
// right below, or one that a facet beside it lies against or runs into.
func (s *stance) touch(mn *minimum, skin *skin) {
	if s.m.Topology().Shells < 2 {
		return
	}
	down := s.frame.Z.Scale(-2 * s.platformTol)
	for _, v := range mn.verts {
		if s.m.inside(s.m.Verts[v].Add(down)) {
			mn.held = append(mn.held, v)
		}
	}
	for _, f := range mn.facets {
		switch {
		case s.flat(f, mn):
			mn.carried = mn.carried || s.m.inside(s.m.Centre(f).Add(down))
			for k := 0; k < touchSpots && !mn.carried && !skin.share.whole(f); k++ {
				mn.carried = s.m.inside(s.m.spot(f, k).Add(down))
			}
		case !skin.share.whole(f):
			into := down.Add(s.m.Normal(f).Scale(2 * s.platformTol))
			t := s.m.Facets[f]
			for k, v := range t {
				if !mn.holds(v) {
					continue
				}
				if s.m.inside(s.m.Verts[v].Add(into)) {
					mn.held = append(mn.held, v)
				}
				if !mn.holds(t[(k+1)%3]) {
					continue
				}
				for _, p := range skin.hidden(f, k) {
					mn.carried = mn.carried || s.m.inside(p.Add(into))
				}
			}
		}
	}
	mn.carried = mn.carried || len(mn.held) > 0
}

// flat reports whether a facet lies in the minimum with all corners.
func (s *stance) flat(f int32, mn *minimum) bool {
	t := s.m.Facets[f]
	return mn.holds(t[0]) && mn.holds(t[1]) && mn.holds(t[2])
}

func (mn *minimum) holds(v int32) bool {
	_, ok := slices.BinarySearch(mn.verts, v)
	return ok
}

// inside reports whether material is at p: whether the surface winds around it.
// Rays run askew to every usual axis, so that they meet no edge. Where some shells
// are closed and others open, one ray tells how often the closed ones wind, and most
// of six, two ways along three lines, how often the others: a sheet is seen by three.
func (m *Mesh) inside(p Vec) bool {
	const a, b, c = 0.2709, 0.1413, 0.9522
	up := Vec{a, b, c}
	all := func(int32) bool { return true }
	t := m.Topology()
	if t.Shells < 2 {
		return m.windAskew(p, up, all) > 0
	}
	n := m.nested.now()
	if n.sound {
		return m.windAskew(p, up, all) > 0
	}
	closed := func(f int32) bool { return n.shells[t.Shell[f]].closed }
	open := func(f int32) bool { return !closed(f) }
	var votes [6]int
	for i, d := range [3]Vec{up, {c, a, b}, {b, c, a}} {
		votes[2*i], votes[2*i+1] = m.windAskew(p, d, open), m.windAskew(p, d.Scale(-1), open)
	}
	slices.Sort(votes[:])
	return m.windAskew(p, up, closed)+max(votes[2], 0)+min(votes[3], 0) > 0
}

// windAskew is how often some facets wind around p, by one ray.
func (m *Mesh) windAskew(p, d Vec, counts func(f int32) bool) (wind int) {
	for _, h := range m.BVH().RayAll(p, d, 0, math.Inf(1), nil) {
		switch z := m.Normal(h.Facet).Dot(d); {
		case !counts(h.Facet):
		case z > 0:
			wind++
		case z < 0:
			wind--
		}
	}
	return wind
}

func (s *stance) floatingStart(mn *minimum, share exposure) FloatingStart {
	st := FloatingStart{Kind: "point", Height: mn.height + s.frame.Lift, AloneMM: min(mn.alone, StartAloneMost), Facets: mn.facets}
	var mid Vec
	box := EmptyBox()
	for _, v := range mn.verts {
		mid = mid.Add(s.at[v])
		box = box.Grow(s.at[v])
	}
	mid = mid.Scale(1 / float64(len(mn.verts)))
	// The place is the point of the minimum nearest to its middle: a corner, or
	// the centre of an edge or a facet in it.
	best, at := math.Inf(1), Vec{}
	try := func(p Vec) {
		if d := p.Sub(mid).Norm(); d < best {
			best, at = d, p
		}
	}
	for _, v := range mn.verts {
		try(s.at[v])
	}
	area := 0.0
	for _, f := range mn.facets {
		t := s.m.Facets[f]
		if s.flat(f, mn) {
			area += s.m.Area(f) * share.of(f)
			try(s.at[t[0]].Add(s.at[t[1]]).Add(s.at[t[2]]).Scale(1.0 / 3))
		}
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; mn.holds(a) && mn.holds(b) {
				try(s.at[a].Add(s.at[b]).Scale(0.5))
			}
		}
	}
	// What is no wider than a tolerance is a line, no longer one a point.
	long := box.Diagonal()
	switch {
	case area > s.platformTol*long:
		st.Kind, st.AreaMM2 = "face", area
	case long > s.platformTol:
		st.Kind = "edge"
	}
	st.At = s.back(at)
	return st
}

// fans lists the facets around every vertex.
type fans struct {
	first  []int32
	facets []int32
}

func newFans(ctx context.Context, m *Mesh) (fans, error) {
	fs := fans{first: make([]int32, len(m.Verts)+1), facets: make([]int32, 3*len(m.Facets))}
	for f, t := range m.Facets {
		if f%fanStep == 0 && ctx.Err() != nil {
			return fans{}, ctx.Err()
		}
		for _, v := range t {
			fs.first[v+1]++
		}
	}
	for v := range m.Verts {
		fs.first[v+1] += fs.first[v]
	}
	next := slices.Clone(fs.first)
	for f, t := range m.Facets {
		if f%fanStep == 0 && ctx.Err() != nil {
			return fans{}, ctx.Err()
		}
		for _, v := range t {
			fs.facets[next[v]] = int32(f)
			next[v]++
		}
	}
	return fs, nil
}

// fanStep is how many facets are looked at between two questions whether to go on.
const fanStep = 1 << 15

func (fs fans) of(v int32) []int32 { return fs.facets[fs.first[v]:fs.first[v+1]] }
