package mesh

import (
	"context"
	"math"
	"math/bits"
	"slices"
)

// This file measures a passage that the grid has found: the shortest way out of it,
// by fast marching (Sethian 1996, "A fast marching level set method for
// monotonically advancing fronts"), which goes slower beside walls so that ways keep
// to the middle, and moved to the very middle on the mesh.

const (
	// passageErr is what the length of a way may be off by, as a share of it, beside
	// passageEndErr cells at its ends.
	passageErr    = 0.05
	passageEndErr = 4
	// passagePoints is how many points of its way a Passage keeps at most.
	passagePoints = 33
	// passageMeet is how much less deep than all of a passage, in radii tried, the
	// place may be where ways to two mouths part.
	passageMeet = 4
	// passageOpposite is how far apart, in lengths of the way to either, places of one
	// mouth lie that are open on opposite sides: 2 straight across, 1.4 at a corner.
	passageOpposite = 1.6
	// passageSlow is how much slower ways are on a wall than in the middle: so much that
	// a way does not cut a bend that is wider than the passage.
	passageSlow = 0.5
	// passageSlope is how much clearance a step gains at least beside a wall, for its
	// length: 1, 0.71 or 0.58 as the wall lies, less what a grid is off by.
	passageSlope = 0.45
	// passageMiddle is the least clearance of the middle, as a share of the greatest.
	passageMiddle = 0.5
	// passageReach is how far, in cells, a way may lie from the middle.
	passageReach = 2
	// passageEvenFar is the least evenness of a passage: blind and open sleeves, coils
	// and channels have 0.43 to 0.5, a gap open all round 0.365 to 0.39 however it lies.
	passageEvenFar = 0.41
	// passageFloor is the share of the usual clearance of a way below which it runs
	// into its end.
	passageFloor = 0.985
)

// front is how far it is from where there is room to the cells of a piece and of
// its mouths.
type front struct {
	*passages
	*frontMarks
	steps []gridStep
	first int       // the depth at which a piece begins
	cell  []int32   // the piece's, then those of its mouths
	piece int       // how many the piece has
	place []int32   // in the lists, by how many of their cells have lesser numbers
	far   []float64 // cells, in the middle; +Inf where not met
	wide  float64   // the greatest clearance of the piece, cells
	mouth []int32   // by which mouth the shortest way leads, 0 not known
	root  []int32   // and through which of its cells
	done  []bool
	queue wayQueue // of places in the lists
}

// frontMarks tell which cells are in the lists of a front.
type frontMarks struct {
	in []uint64 // bits by cell; none but while a front uses them
	// before is how many cells of a front come before those of a word of in; only
	// from its first cell to its last.
	before []int32
}

// newFront marches from where there is room through the mouths into a piece.
func (p *passages) newFront(ctx context.Context, w *frontMarks, cells []int32, mouth int) (*front, error) {
	f := &front{passages: p, frontMarks: w, steps: p.g.steps(), first: mouth + 1, piece: len(cells)}
	for _, c := range cells {
		f.add(c)
		f.wide = max(f.wide, float64(p.g.clear[c]))
	}
	var near [6]int32
	for i := 0; i < len(f.cell); i++ {
		c := f.cell[i]
		for _, n := range p.g.besides(c, &near) {
			if !p.roomy(n) && p.depth[n] < p.depth[c] {
				f.add(n)
			}
		}
	}
	f.index()
	f.nameMouths(mouth, min(2*mouth, max(mouth, (int(p.depth[cells[0]])-mouth)/2))) // a short channel has two
	for i, c := range f.cell {
		if p.depth[c] == 2 {
			f.reach(int32(i))
		}
	}
	for n := 0; len(f.queue.heap) > 0; n++ {
		if n&0xfff == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		i := f.queue.pop()
		if f.done[i] {
			continue
		}
		f.done[i] = true
		f.inherit(i)
		for _, c := range p.g.besides(f.cell[i], &near) {
			if j, ok := f.at(c); ok && !f.done[j] {
				f.reach(j)
			}
		}
	}
	return f, nil
}

// end clears what is kept for the next front.
func (f *front) end() {
	for _, c := range f.cell {
		f.in[c>>6] = 0
	}
}

func (f *front) add(c int32) {
	if bit(f.in, c) {
		return
	}
	setBit(f.in, c)
	f.cell = append(f.cell, c)
	f.far, f.mouth, f.done = append(f.far, math.Inf(1)), append(f.mouth, 0), append(f.done, false)
	f.root = append(f.root, -1)
}

// index makes at tell the places of all cells that were added.
func (f *front) index() {
	n := int32(0)
	for w := slices.Min(f.cell) >> 6; n < int32(len(f.cell)); w++ {
		f.before[w] = n
		n += int32(bits.OnesCount64(f.in[w]))
	}
	f.place = make([]int32, len(f.cell))
	for i, c := range f.cell {
		f.place[f.rank(c)] = int32(i)
	}
}

// rank is how many cells of the lists have lesser numbers than one of them.
func (f *front) rank(c int32) int32 {
	return f.before[c>>6] + int32(bits.OnesCount64(f.in[c>>6]&(1<<(c&63)-1)))
}

// at returns the place of a cell in the lists, if it is in them.
func (f *front) at(c int32) (int32, bool) {
	if !bit(f.in, c) {
		return 0, false
	}
	return f.place[f.rank(c)], true
}

// nameMouths numbers the mouths: what of the piece is less deep than mouth and thick
// more, in pieces that hang together.
func (f *front) nameMouths(mouth, thick int) {
	names := int32(0)
	var stack []int32
	var near [6]int32
	for i, c := range f.cell[:f.piece] {
		if f.mouth[i] > 0 || int(f.depth[c]) > mouth+thick {
			continue
		}
		names++
		f.mouth[i] = names
		for stack = append(stack[:0], c); len(stack) > 0; {
			c := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, n := range f.g.besides(c, &near) {
				if j, ok := f.at(n); ok && int(j) < f.piece && f.mouth[j] == 0 && int(f.depth[n]) <= mouth+thick {
					f.mouth[j] = names
					stack = append(stack, n)
				}
			}
		}
	}
}

// reach works out how far a cell is from those next to it that are known.
func (f *front) reach(i int32) {
	var a [3]float64
	n := 0
	for k := range 3 {
		if v, _ := f.nearer(f.cell[i], k); v < math.Inf(1) {
			a[n] = v
			n++
		}
	}
	slices.Sort(a[:n])
	far := math.Inf(1)
	sum, squares := 0.0, 0.0
	slow := 1 + passageSlow*max(0, 1-float64(f.g.clear[f.cell[i]])/f.wide)
	for k := range n { // the root of sum (far - a)^2 = slow^2 over the nearest
		if a[k] >= far {
			break
		}
		sum, squares = sum+a[k], squares+a[k]*a[k]
		m := float64(k + 1)
		far = (sum + math.Sqrt(max(0, sum*sum-m*(squares-slow*slow)))) / m
	}
	if far < f.far[i] {
		f.far[i] = far
		f.queue.push(i, far)
	}
}

// nearer returns the lesser distance of the two cells next to one along an axis, and
// the way to it: -1 or 1.
func (f *front) nearer(c int32, k int) (far float64, dir int) {
	g := f.g
	s := int32(g.stride[k])
	far = math.Inf(1)
	for _, dir2 := range [2]int{-1, 1} {
		n := c + int32(dir2)*s
		if g.clear[n] == 0 || !g.open(int(c), k, dir2) {
			continue
		}
		v := math.Inf(1)
		if f.roomy(n) {
			v = 0
		} else if j, ok := f.at(n); ok && f.done[j] {
			v = f.far[j]
		}
		if v < far {
			far, dir = v, dir2
		}
	}
	return far, dir
}

// inherit takes over the mouth of the cell that a way leads on to.
func (f *front) inherit(i int32) {
	if c := f.cell[i]; f.mouth[i] > 0 && int(f.depth[c]) == f.first {
		f.root[i] = i
		return
	}
	least, from := math.Inf(1), int32(-1)
	var near [6]int32
	for _, n := range f.g.besides(f.cell[i], &near) {
		if j, ok := f.at(n); ok && f.done[j] && j != i && f.far[j] < least {
			least, from = f.far[j], j
		}
	}
	if from >= 0 {
		f.root[i] = f.root[from]
		if f.mouth[i] == 0 {
			f.mouth[i] = f.mouth[from]
		}
	}
}

// middle reports whether a cell lies in the middle of a passage: no step leads away
// from the surface as steeply as steps beside walls and in corners do.
func (f *front) middle(c int32) bool {
	if float64(f.g.clear[c]) < passageMiddle*f.wide {
		return false
	}
	for s := range f.steps {
		t := &f.steps[s]
		if (f.g.clear[c+int32(t.offset)]-f.g.clear[c])/t.length > passageSlope {
			return false
		}
	}
	return true
}

// evenness is the mean distance of a piece's cells over the greatest, from its
// nearest on: as passages.even, but for how the grid lies.
func (f *front) evenness() float64 {
	near, far, sum, n := math.Inf(1), 0.0, 0.0, 0
	for i, d := range f.far[:f.piece] {
		if f.done[i] {
			near, far = min(near, d), max(far, d)
			sum += d
			n++
		}
	}
	if n == 0 || far <= near {
		return 0
	}
	return (sum/float64(n) - near) / (far - near)
}

// deepest returns the deepest cell in the middle.
func (f *front) deepest() int32 {
	best := int32(-1)
	for i, c := range f.cell {
		if f.done[i] && (best < 0 || f.far[i] > f.far[best]) && f.middle(c) {
			best = int32(i)
		}
	}
	return max(best, 0)
}

// part reports whether ways lead from two cells to different mouths, or to places of
// one that lie on opposite sides, such as the ends of a slot between fins.
func (f *front) part(i, j int32) bool {
	if f.root[i] < 0 || f.root[j] < 0 {
		return false
	}
	if f.mouth[i] != f.mouth[j] {
		return true
	}
	apart := f.g.at(f.cell[f.root[i]]).Sub(f.g.at(f.cell[f.root[j]])).Norm()
	return apart > passageOpposite*f.g.h*(f.far[i]+f.far[j])/2
}

// meet returns the two cells, next to one another, from which ways part, at the
// deepest place in the middle where they do.
func (f *front) meet() (a, b int32, ok bool) {
	most := 0.0
	var near [6]int32
	for i, c := range f.cell {
		if !f.done[i] || f.far[i] <= most || !f.middle(c) {
			continue
		}
		for _, n := range f.g.besides(c, &near) {
			if j, in := f.at(n); in && f.done[j] && min(f.far[i], f.far[j]) > most && f.part(int32(i), j) {
				most, a, b, ok = min(f.far[i], f.far[j]), int32(i), j, true
			}
		}
	}
	return a, b, ok
}

// way follows the slope from a cell to where there is room, and keeps to the side of
// where ways part that the cell lies on.
func (f *front) way(i int32) []wayPoint {
	g := f.g
	var way []wayPoint
	add := func(c int32, at Vec) {
		if g.clear[c] < 1 { // else the cell may lie across the surface from its centre
			at = g.at(c)
		}
		way = append(way, wayPoint{at, float64(g.clear[c]) * g.h})
	}
	c := f.cell[i]
	at := g.at(c)
	add(c, at)
	for !f.roomy(c) && len(way) <= 8*len(f.cell)+16 {
		next := at.Add(f.slope(c, i).Scale(-g.h / 2))
		n, ok := g.cellAt(next)
		if !ok || n != c && !f.downhill(c, n, i) {
			if n, ok = f.below(c, i); !ok {
				break
			}
			next = g.at(n)
		}
		c, at = n, next
		add(c, at)
	}
	return way
}

// slope is the direction in which the distance grows, from cells on the side of one.
func (f *front) slope(c, side int32) (d Vec) {
	far := f.farOf(c, side)
	for k, s := range f.g.stride {
		least := far
		for _, dir := range [2]int{-1, 1} {
			n := c + int32(dir*s)
			if v := f.farOf(n, side); v < least && f.g.open(int(c), k, dir) {
				least, d[k] = v, float64(-dir)*(far-v)
			}
		}
	}
	return d.Unit()
}

// farOf is how far it is to an empty cell on the side of one; +Inf to others.
func (f *front) farOf(c, side int32) float64 {
	if f.g.clear[c] == 0 {
		return math.Inf(1)
	}
	if f.roomy(c) {
		return 0
	}
	if i, ok := f.at(c); ok && !f.part(side, i) {
		return f.far[i]
	}
	return math.Inf(1)
}

// downhill reports whether a free step leads from one cell to another that is nearer.
func (f *front) downhill(c, n, side int32) bool {
	if f.farOf(n, side) >= f.farOf(c, side) {
		return false
	}
	return slices.ContainsFunc(f.steps, func(s gridStep) bool { return c+int32(s.offset) == n && f.g.free(int(c), &s) })
}

// below returns the cell next to one that the distance falls to most.
func (f *front) below(c, side int32) (best int32, ok bool) {
	fall := 0.0
	for s := range f.steps {
		t := &f.steps[s]
		n := c + int32(t.offset)
		if v := (f.farOf(c, side) - f.farOf(n, side)) / float64(t.length); v > fall && f.g.free(int(c), t) {
			fall, best, ok = v, n, true
		}
	}
	return best, ok
}

// measure measures what a piece holds: the way from one mouth to another where ways
// to them part about as deep as the piece is, else from its deepest place to its
// mouth.
func (p *passages) measure(ctx context.Context, w *frontMarks, cells []int32, mouth int, r float64) (Passage, bool, error) {
	f, err := p.newFront(ctx, w, cells, mouth)
	if err != nil {
		return Passage{}, false, err
	}
	defer f.end()
	g := p.g
	out := Passage{Box: EmptyBox()}
	for _, c := range f.cell {
		if at := g.at(c); g.n.box.holds(at) {
			out.Box = out.Box.Grow(at)
			out.VolumeMM3 += g.h * g.h * g.h
		}
	}
	deep := f.deepest()
	if f.evenness() < passageEvenFar {
		return out, false, nil
	}
	var way []wayPoint
	a, b, ok := f.meet()
	if out.Through = ok && f.far[a] > f.far[deep]-passageMeet*r; out.Through {
		way = f.way(a)
		slices.Reverse(way)
		out.At = way[len(way)-1].at
		way = append(way, f.way(b)...)
	} else {
		way = f.way(deep)
		slices.Reverse(way)
		out.At = way[len(way)-1].at
	}
	if len(way) < 4 {
		return out, false, nil
	}
	s, err := middleOf(ctx, g.n.m, way, r*g.h, g.h, !out.Through)
	if err != nil {
		return out, false, err
	}
	if 2*s.usual() < voidSeen*g.h {
		return out, false, nil
	}
	fine := s // only for the width: points close to one another zigzag
	if err := fine.refine(ctx, g.n.m); err != nil {
		return out, false, err
	}
	out.WidthMM, out.NarrowAt = fine.width(), fine.line[fine.narrow]
	out.WidthErrMM = passErr * out.WidthMM
	out.LengthMM = lineLength(s.line) - s.outside(false)
	if out.Through {
		out.LengthMM -= s.outside(true)
	} else {
		last := len(s.line) - 1
		out.At = s.line[last]
		out.LengthMM += s.toEnd(g.n.m)
	}
	out.ErrMM = passageErr*out.LengthMM + passageEndErr*g.h
	out.Way = thinned(s.line)
	least := PassageLeast / passageStep * 2 * r * g.h
	if out.Through {
		least *= 2
	}
	// A way through something less than half as wide as all of it, such as a hole in
	// the side of a tube, says nothing of what is as wide as was tried.
	return out, out.LengthMM+out.ErrMM >= least && out.WidthMM >= s.usual(), ctx.Err()
}

// middleOf moves a way to the middle of its passage, which is no wider than r on
// either side. One that ends in the passage ends there where it comes too close to
// the end.
func middleOf(ctx context.Context, m *Mesh, way []wayPoint, r, h float64, ends bool) (squeeze, error) {
	var s squeeze
	for _, p := range way {
		s.line = append(s.line, p.at)
	}
	pitch := max(2*h, squeezePitch*r)
	for range 2 {
		s.line = evenly(s.line, pitch)
		if err := s.middle(ctx, m, passageReach*h, climbRough, squeezeStill); err != nil {
			return s, err
		}
		s.cutLoops()
		if ends {
			s.cutEnd()
		}
	}
	return s, nil
}

// usual is the clearance that half of the points fall short of.
func (s *squeeze) usual() float64 {
	clears := slices.Clone(s.clear)
	slices.Sort(clears)
	return clears[len(clears)/2]
}

// cutEnd cuts off the end of a line as far as it comes nearer to the surface than
// usual.
func (s *squeeze) cutEnd() {
	usual := s.usual()
	n := len(s.line)
	for n > 2 && s.clear[n-1] < passageFloor*usual && s.line[n-2].Sub(s.line[len(s.line)-1]).Norm() < 2*usual {
		n--
	}
	s.line, s.clear = s.line[:n], s.clear[:n]
	s.find()
}

// outside is how long the line goes on past a mouth, which a hole in a flat face has
// where the clearance begins to grow: at a distance x outside it is sqrt(r*r+x*x).
func (s *squeeze) outside(last bool) float64 {
	line, clear := s.line, s.clear
	if last {
		line, clear = slices.Clone(line), slices.Clone(clear)
		slices.Reverse(line)
		slices.Reverse(clear)
	}
	r := s.usual()
	in := slices.IndexFunc(clear, func(c float64) bool { return c <= squeezeMouth*r })
	past := lineLength(line[:in+1])
	c := clear[in]
	if in > 0 { // where it is squeezeMouth*r, between two points
		gap := line[in].Sub(line[in-1]).Norm()
		past -= gap * (squeezeMouth*r - c) / (clear[in-1] - c)
		c = squeezeMouth * r
	}
	return past + math.Sqrt(max(0, c*c-r*r))
}

// toEnd is how far it is from the end of the line, straight on, to the surface; 0
// where there is none, as where ways meet again.
func (s *squeeze) toEnd(m *Mesh) float64 {
	last := len(s.line) - 1
	before := last
	for before > 0 && s.line[last].Sub(s.line[before]).Norm() < s.clear[s.narrow] {
		before--
	}
	dir := s.line[last].Sub(s.line[before]).Unit()
	hit, _ := m.BVH().Ray(s.line[last], dir, 0, 3*s.clear[s.narrow])
	return hit.T
}

// thinned returns a few points of a line, its ends among them.
func thinned(line []Vec) []Vec {
	if len(line) <= passagePoints {
		return line
	}
	out := make([]Vec, passagePoints)
	for i := range out {
		out[i] = line[i*(len(line)-1)/(passagePoints-1)]
	}
	return out
}
