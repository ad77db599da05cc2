package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file finds what stands tall and thin.

// Slender is a tall thin feature that stands free above some height.
type Slender struct {
	Ratio    float64 // HeightMM over WidthMM
	HeightMM float64 // from where it stands free to its top, or to where it joins what stands beside it
	WidthMM  float64 // least width of its section where it starts to stand free
	Kind     string  // "wall" (long section) or "column" (compact section)
	Z        float64 // where it starts to stand free, above the part's lowest point
	At       Vec     // at its top, mesh coordinates
	Box      Box     // mesh coordinates
}

const (
	// wallShape is how much longer than wide the section of a wall is.
	wallShape = 3
	// slenderLeast is the ratio below which nothing is called tall (limits in
	// use start at 8), and slenderStep by how much the ratio must fall and rise
	// again for two features on top of each other.
	slenderLeast = 2
	slenderStep  = 1.5
)

// MeasureSlenderness finds what stands free, most slender first, on cuts at the
// middle of slices of the pitch.
//
// Above every cut, each island of the section carries something: what is
// connected to it above. That stands free up to its top, or up to where it
// joins what stands on another island of the same cut: a leg under a table is
// free until the table top is reached, as the machine builds it. The ratio is
// that height over the island's least width, the narrowest gap between two
// parallel lines that the island's outline fits in; so a thin wall that ends in
// a thick post, or that closes to a tube, is as wide as the post or the tube.
// The island of the largest ratio is the foot of a feature. Width is taken at the foot,
// not at the top, since a pointed or rounded top is no thin wall. An island whose
// width grows faster upward than under sides of 45 degrees is no foot: what
// spreads like that is carried by support, and a round underside is as narrow as
// the pitch is fine.
//
// Bodies that overlap are one island. Heights are known to one pitch; what is no
// higher than that is left out. What a wall does beyond the outline of its island,
// as a thin wing on a thick post, is not seen. Features with a ratio below 2 are
// left out.
func MeasureSlenderness(ctx context.Context, m *Mesh, f Frame, pitchMM float64) ([]Slender, error) {
	c, err := newSlicer(ctx, m, f, pitchMM)
	if err != nil {
		return nil, err
	}
	return c.slender(ctx, func(int, *cut) {})
}

// slender finds what stands free, and passes on every cut; many at once.
func (c *slicer) slender(ctx context.Context, each func(k int, x *cut)) ([]Slender, error) {
	t := tower{slicer: c}
	if err := t.cutAll(ctx, each); err != nil {
		return nil, err
	}
	t.free()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return t.features(), ctx.Err()
}

// tower is the islands of all cuts and what connects them.
type tower struct {
	*slicer
	storeys []storey
	first   []int32 // per storey, into islands; one more at the end
	islands []island
}

// storey is one cut, and the slab between it and the next cut.
type storey struct {
	islands []island
	// slab groups the islands of this cut, then those of the next, by what is
	// connected inside the slab: the number of a group each.
	slab   []int32
	groups int32
	first  []int32 // per group, into member; one more at the end
	member []int32 // the islands of each group, numbered as in slab
}

// island is one area of material in a cut.
type island struct {
	width, long float64 // least width and the extent across it, mm
	spot        point   // on its outline, near its middle
	lo, hi      point
	top         int32 // last cut that what stands on it reaches, free or not
	freeTop     int32 // last cut that it reaches on its own
	// ratio ranks islands by the height that is certain, up to the last cut: the
	// last island under a tip may be as narrow as it likes.
	ratio float64
}

func (t *tower) cutAll(ctx context.Context, each func(k int, x *cut)) error {
	t.storeys = make([]storey, t.n)
	scratch := spares[*mason]{make: func() *mason { return newMason(t.slicer) }}
	err := parallel(ctx, t.blocks(), 1, func(b, _ int) error {
		w := scratch.get()
		defer scratch.put(w)
		return w.work(ctx, b, t.storeys, each)
	})
	if err != nil {
		return err
	}
	t.first = make([]int32, t.n+1)
	for k := range t.storeys {
		t.islands = append(t.islands, t.storeys[k].islands...)
		t.first[k+1] = int32(len(t.islands))
	}
	return nil
}

// mason works through one block of cuts.
type mason struct {
	*slicer
	near         planeBlock
	lower, upper *cut
	lowerOf      []int32 // island of each loop of a cut, or -1
	upperOf      []int32
	piece        []int32 // of a facet in a slab, its number in pieces
	pieces       sets
	partly       []int32 // scratch: facets
	rows         rows
	hull         hullRoom
	ring         [][2]float64 // scratch
	inRow        []int32      // scratch
}

func newMason(c *slicer) *mason {
	return &mason{slicer: c, lower: c.newCut(), upper: c.newCut(), piece: make([]int32, len(c.m.Facets))}
}

// work goes through block b, and passes on its cuts.
func (w *mason) work(ctx context.Context, b int, out []storey, each func(k int, x *cut)) error {
	w.block(b, &w.near)
	end := w.near.first + sliceBlock
	for k := w.near.first; k <= min(w.n-1, end); k++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		w.lower, w.upper, w.lowerOf, w.upperOf = w.upper, w.lower, w.upperOf, w.lowerOf
		w.cutAt(k, &w.near, w.lower, w.upper)
		islands := w.find()
		if k > w.near.first {
			w.slab(k-1, &out[k-1], len(islands))
		}
		// The cut above a block belongs to the next.
		if k < end {
			out[k].islands = islands
			each(k, w.upper)
		}
	}
	if last := w.n - 1; last < end {
		out[last].setGroups(newSets(len(out[last].islands)))
	}
	return nil
}

// find fills upperOf and returns the islands of the upper cut, in the order of
// their outlines.
func (w *mason) find() []island {
	x := w.upper
	of := w.upperOf[:0]
	var islands []island
	holes := 0
	for i := range x.loops {
		if x.isFilled(&x.loops[i]) {
			of = append(of, int32(len(islands)))
			islands = append(islands, w.island(x, int32(i)))
			continue
		}
		of = append(of, -1)
		holes++
	}
	w.upperOf = of
	bodies := len(islands) > 1 && w.m.Topology().Shells > 1
	if len(islands) == 0 || holes == 0 && !bodies {
		return islands
	}
	w.rows.fill(x.segs)
	w.placeHoles(x, of)
	if bodies {
		islands = w.unite(x, of, islands)
	}
	return islands
}

// island measures the island that outlines make together.
func (w *mason) island(x *cut, outlines ...int32) island {
	inf := math.Inf(1)
	s := island{lo: point{inf, inf}, hi: point{-inf, -inf}}
	ps := w.ring[:0]
	var sumX, sumY, corners float64
	for _, o := range outlines {
		l := &x.loops[o]
		last := l.first
		for i, n := l.first, int32(0); n < l.size; i, n = x.segs[i].next, n+1 {
			p := &x.segs[i].from
			ps = append(ps, *p)
			sumX, sumY = sumX+p[0], sumY+p[1]
			for k := range 2 {
				s.lo[k], s.hi[k] = min(s.lo[k], p[k]), max(s.hi[k], p[k])
			}
			last = i
		}
		if l.open { // the last segment's end has no segment of its own
			ps = append(ps, x.segs[last].to)
		}
		corners += float64(l.size)
	}
	midX, midY := sumX/corners, sumY/corners
	best, at := inf, -1
	for i := range ps {
		dx, dy := ps[i][0]-midX, ps[i][1]-midY
		if d := float64(dx*dx) + float64(dy*dy); d < best {
			best, at = d, i
		}
	}
	if at >= 0 {
		s.spot = ps[at]
	}
	w.ring = ps
	s.width, s.long = leastWidth(w.hull.of(ps))
	return s
}

// leastWidth returns the least distance of two parallel lines that a convex
// polygon fits between, and its extent along them. One of them lies on an edge
// (Houle and Toussaint 1988, "Computing the width of a set").
func leastWidth(hull [][2]float64) (width, long float64) {
	n := len(hull)
	at := func(i int) point { return hull[i%n] }
	switch n {
	case 0, 1:
		return 0, 0
	case 2:
		return 0, at(1).sub(at(0)).norm()
	}
	width = math.Inf(1)
	var along point
	far := 1
	for i := range hull {
		e := at(i + 1).sub(at(i))
		l := e.norm()
		// Corners on a straight side turn by rounding only: step over them.
		for far = max(far, i+1); far < i+n; far++ {
			d := at(far + 1).sub(at(far))
			if e.cross(d) < -1e-9*l*d.norm() {
				break
			}
		}
		if d := e.cross(at(far).sub(at(i))) / l; d < width {
			width, along = d, point{e[0] / l, e[1] / l}
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range hull {
		t := along.dot(at(i))
		lo, hi = min(lo, t), max(hi, t)
	}
	return width, hi - lo
}

// placeHoles gives each hole's loop to the island around it: the first outline
// to the left of the hole's leftmost point is the island's, or that of another
// hole of the same island, whose leftmost point lies farther left. w.rows lists
// the segments.
func (w *mason) placeHoles(x *cut, of []int32) {
	type hole struct {
		at   point
		loop int32
	}
	holes := make([]hole, 0, len(x.loops))
	for i := range x.loops {
		if of[i] >= 0 {
			continue
		}
		h := hole{at: point{math.Inf(1), 0}, loop: int32(i)}
		l := &x.loops[i]
		for s, n := l.first, int32(0); n < l.size; s, n = x.segs[s].next, n+1 {
			if p := x.segs[s].from; p[0] < h.at[0] || p[0] == h.at[0] && p[1] < h.at[1] {
				h.at = p
			}
		}
		holes = append(holes, h)
	}
	slices.SortFunc(holes, func(a, b hole) int { return cmp.Compare(a.at[0], b.at[0]) })
	for _, h := range holes {
		if l := w.rows.leftOf(x.segs, h.at, h.loop); l >= 0 {
			of[h.loop] = of[l]
		}
	}
}

// rows lists segments by bands of y.
type rows struct {
	lo, step float64
	n        int
	first    []int32
	segs     []int32
}

func (r *rows) row(y float64) int { return min(max(int((y-r.lo)/r.step), 0), r.n-1) }

func (r *rows) fill(segs []seg) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range segs {
		lo, hi = min(lo, segs[i].from[1], segs[i].to[1]), max(hi, segs[i].from[1], segs[i].to[1])
	}
	r.n = min(max(1, len(segs)/8), 4096)
	r.lo, r.step = lo, max((hi-lo)/float64(r.n), 1e-300)
	r.first = append(r.first[:0], make([]int32, r.n+2)...)
	each := func(do func(row int, s int32)) {
		for i := range segs {
			a, b := r.row(segs[i].from[1]), r.row(segs[i].to[1])
			for k := min(a, b); k <= max(a, b); k++ {
				do(k, int32(i))
			}
		}
	}
	each(func(k int, _ int32) { r.first[k+2]++ })
	for k := 2; k < len(r.first); k++ {
		r.first[k] += r.first[k-1]
	}
	r.segs = append(r.segs[:0], make([]int32, r.first[r.n+1])...)
	each(func(k int, s int32) {
		r.segs[r.first[k+1]] = s
		r.first[k+1]++
	})
}

// leftOf returns the loop first met from p to the left, other than its own, or -1.
func (r *rows) leftOf(segs []seg, p point, own int32) int32 {
	best, loop := math.Inf(-1), int32(-1)
	k := r.row(p[1])
	for _, i := range r.segs[r.first[k]:r.first[k+1]] {
		a, b := segs[i].from, segs[i].to
		if segs[i].loop == own || (a[1] < p[1]) == (b[1] < p[1]) {
			continue
		}
		if x := a[0] + (b[0]-a[0])*(p[1]-a[1])/(b[1]-a[1]); x <= p[0] && x > best {
			best, loop = x, segs[i].loop
		}
	}
	return loop
}

// slab groups the islands of cut k (lower) and the next (upper) by what is
// connected between them. Two facets hang together inside a slab if their common
// edge passes through it; what lies along one piece of surface is one body. A loop
// is one piece, so facets tell by which loops they are cut, and of edges those
// alone count that lie inside the slab.
func (w *mason) slab(k int, out *storey, upper int) {
	loops := int32(len(w.lower.loops))
	w.pieces = newSetsIn(w.pieces, len(w.lower.loops)+len(w.upper.loops))
	w.partly = w.partly[:0]
	if w.near.like(k + 1) {
		for i := range loops {
			w.pieces.join(i, loops+i)
		}
		out.setGroups(w.group(len(out.islands), upper))
		return
	}
	lower, above := 0, 0 // segments passed
	for i, f := range w.near.facets {
		if !w.near.inSlab(i, k) {
			continue
		}
		down, up := w.near.meets(i, k), w.near.meets(i, k+1)
		switch {
		case down && up:
			w.pieces.join(w.lower.segs[lower].loop, loops+w.upper.segs[above].loop)
		case down:
			w.piece[f] = w.lower.segs[lower].loop
		case up:
			w.piece[f] = loops + w.upper.segs[above].loop
		default:
			w.piece[f] = int32(len(w.pieces))
			w.pieces = append(w.pieces, w.piece[f])
		}
		if down {
			lower++
		}
		if up {
			above++
		}
		if !down || !up {
			w.partly = append(w.partly, f)
		}
	}
	topo := w.m.Topology()
	zLo, zHi := w.z(k), w.z(k+1)
	for _, f := range w.partly {
		t := &w.m.Facets[f]
		var in [3]bool
		for e, v := range t {
			z := w.stance.at[v][2]
			in[e] = z >= zLo && z < zHi
		}
		for e := range 3 {
			if !in[e] || !in[(e+1)%3] {
				continue
			}
			if g := topo.Neighbour(f, e); g > f {
				w.pieces.join(w.piece[f], w.piece[g])
			}
		}
	}
	out.setGroups(w.group(len(out.islands), upper))
}

// setGroups keeps the sets of islands on either side of the slab.
func (s *storey) setGroups(set sets) {
	s.slab, s.groups = set.number()
	s.first = make([]int32, s.groups+1)
	for _, g := range s.slab {
		s.first[g+1]++
	}
	for g := range s.groups {
		s.first[g+1] += s.first[g]
	}
	s.member = make([]int32, len(s.slab))
	next := slices.Clone(s.first)
	for i, g := range s.slab {
		s.member[next[g]] = int32(i)
		next[g]++
	}
}

// group joins lower and upper islands whose loops lie on one piece of surface.
func (w *mason) group(lower, upper int) sets {
	set := newSets(lower + upper)
	first := make([]int32, len(w.pieces)) // island first seen on a piece, plus one
	see := func(of []int32, loop, island int) {
		for i, o := range of {
			if o < 0 {
				continue
			}
			o += int32(island)
			if at := &first[w.pieces.find(int32(loop+i))]; *at > 0 {
				set.join(*at-1, o)
			} else {
				*at = o + 1
			}
		}
	}
	see(w.lowerOf, 0, 0)
	see(w.upperOf, len(w.lowerOf), lower)
	return set
}

// sets is a union-find over numbers, the root the least of its set.
type sets []int32

func newSets(n int) sets { return newSetsIn(nil, n) }

// newSetsIn is newSets in the room of sets that are done with.
func newSetsIn(s sets, n int) sets {
	s = slices.Grow(s[:0], n)[:n]
	for i := range s {
		s[i] = int32(i)
	}
	return s
}

func (s sets) find(i int32) int32 {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

func (s sets) join(i, j int32) {
	i, j = s.find(i), s.find(j)
	s[max(i, j)] = min(i, j)
}

// number replaces each by the number of its set, in order of their roots.
func (s sets) number() ([]int32, int32) {
	out := make([]int32, len(s))
	n := int32(0)
	for i := range s {
		if r := s.find(int32(i)); r == int32(i) {
			out[i] = n
			n++
		} else {
			out[i] = out[r]
		}
	}
	return out, n
}

// bond says that two islands of a cut are joined above, at the lowest through
// the slab over cut at.
type bond struct{ a, b, at int32 }

// free works from the top down. At each cut it holds the least bonds that join
// the islands, lowest first (a minimum spanning forest), and so knows how far up
// each island stands alone.
func (t *tower) free() {
	var bonds []bond
	for k := t.n - 1; k >= 0; k-- {
		bonds = t.descend(k, bonds)
		for i := t.first[k]; i < t.first[k+1]; i++ {
			s := &t.islands[i]
			s.freeTop = s.top
		}
		for _, b := range bonds {
			for _, i := range [2]int32{b.a, b.b} {
				s := &t.islands[t.first[k]+i]
				s.freeTop = min(s.freeTop, b.at)
			}
		}
		for i := t.first[k]; i < t.first[k+1]; i++ {
			s := &t.islands[i]
			if !t.spreads(k, i-t.first[k]) {
				s.ratio = float64(s.freeTop-int32(k)) * t.pitch / max(s.width, t.levelTol)
			}
		}
	}
}

// spreads reports whether an island of cut k, alone in its slab, is wider by more
// than two pitches in the next cut.
func (t *tower) spreads(k int, i int32) bool {
	st := &t.storeys[k]
	g := st.slab[i]
	ms := st.member[st.first[g]:st.first[g+1]]
	lower := int32(len(st.islands))
	if len(ms) != 2 || ms[1] < lower { // members are in order, lower ones first
		return false
	}
	return t.islands[t.first[k+1]+ms[1]-lower].width-st.islands[i].width > 2*t.pitch*(1+1e-6)
}

// descend turns the bonds of cut k+1 into those of cut k and sets how far up
// cut k's islands reach.
func (t *tower) descend(k int, above []bond) []bond {
	st := &t.storeys[k]
	lower := int32(len(st.islands))
	set := newSets(int(st.groups))
	rep := make([]int32, st.groups) // an island of cut k in the set, or -1
	top := make([]int32, st.groups)
	for g := range rep {
		rep[g], top[g] = -1, int32(k)
	}
	var bonds []bond
	for i, g := range st.slab {
		if int32(i) >= lower {
			top[g] = max(top[g], t.islands[t.first[k+1]+int32(i)-lower].top)
			continue
		}
		if rep[g] >= 0 {
			bonds = append(bonds, bond{rep[g], int32(i), int32(k)})
		} else {
			rep[g] = int32(i)
		}
	}
	for _, b := range above {
		g, h := set.find(st.slab[lower+b.a]), set.find(st.slab[lower+b.b])
		if g == h {
			continue
		}
		if rep[g] >= 0 && rep[h] >= 0 {
			bonds = append(bonds, bond{rep[g], rep[h], b.at})
		}
		set.join(g, h)
		r := min(g, h)
		rep[r], top[r] = max(rep[g], rep[h]), max(top[g], top[h])
	}
	for i := range st.islands {
		t.islands[t.first[k]+int32(i)].top = top[set.find(st.slab[i])]
	}
	return bonds
}

// features returns the islands whose ratio is a peak among those connected to
// them from cut to cut, highest first.
func (t *tower) features() []Slender {
	order := make([]int32, 0, len(t.islands))
	for i := range t.islands {
		if t.islands[i].ratio >= slenderLeast {
			order = append(order, int32(i))
		}
	}
	slices.SortFunc(order, func(i, j int32) int {
		if c := cmp.Compare(t.islands[j].ratio, t.islands[i].ratio); c != 0 {
			return c
		}
		return cmp.Compare(i, j)
	})
	// Islands join from the highest ratio down. A peak ends where its set meets
	// that of a higher one, if it does not stand out from the saddle between.
	set, peak := newSets(len(t.islands)), make([]int32, len(t.islands))
	seen, dropped := make([]bool, len(t.islands)), make([]bool, len(t.islands))
	var peaks []int32
	for _, i := range order {
		seen[i], peak[i] = true, i
		peaks = append(peaks, i)
		t.neighbours(i, func(j int32) {
			a, b := set.find(i), set.find(j)
			if !seen[j] || a == b {
				return
			}
			hi, lo := peak[a], peak[b]
			if t.islands[lo].ratio > t.islands[hi].ratio {
				hi, lo = lo, hi
			}
			if t.islands[lo].ratio < slenderStep*t.islands[i].ratio {
				dropped[lo] = true
			}
			set.join(a, b)
			peak[set.find(a)] = hi
		})
	}
	out := []Slender{}
	for _, i := range peaks {
		if !dropped[i] {
			out = append(out, t.slender(i))
		}
	}
	slices.SortStableFunc(out, func(a, b Slender) int { return cmp.Compare(b.Ratio, a.Ratio) })
	return out
}

// storeyOf returns the cut of an island.
func (t *tower) storeyOf(i int32) int {
	k, _ := slices.BinarySearch(t.first, i+1)
	return k - 1
}

// neighbours calls visit for the islands of the next cuts below and above that
// an island is connected to.
func (t *tower) neighbours(i int32, visit func(j int32)) {
	k := t.storeyOf(i)
	t.across(k, i-t.first[k], false, visit)
	if k > 0 {
		t.across(k-1, int32(len(t.storeys[k-1].islands))+i-t.first[k], true, visit)
	}
}

// across calls visit for the islands on the other side of slab k.
func (t *tower) across(k int, i int32, down bool, visit func(j int32)) {
	st := &t.storeys[k]
	lower := int32(len(st.islands))
	g := st.slab[i]
	for _, j := range st.member[st.first[g]:st.first[g+1]] {
		switch {
		case (j < lower) != down:
		case down:
			visit(t.first[k] + j)
		default:
			visit(t.first[k+1] + j - lower)
		}
	}
}

// slender describes what stands on an island.
func (t *tower) slender(i int32) Slender {
	s := t.islands[i]
	k := t.storeyOf(i)
	height := float64(s.freeTop-int32(k)+1) * t.pitch
	out := Slender{
		Ratio: height / max(s.width, t.levelTol), WidthMM: s.width, HeightMM: height,
		Kind: "column", Z: float64(k) * t.pitch, Box: EmptyBox(),
	}
	if s.long >= wallShape*s.width {
		out.Kind = "wall"
	}
	seen := map[int32]bool{i: true}
	best, bestAt := k, i
	for queue := []int32{i}; len(queue) > 0; queue = queue[1:] {
		j := queue[0]
		l := t.storeyOf(j)
		if l > best || l == best && j < bestAt {
			best, bestAt = l, j
		}
		x := &t.islands[j]
		for _, p := range [4]point{x.lo, x.hi, {x.lo[0], x.hi[1]}, {x.hi[0], x.lo[1]}} {
			for _, z := range [2]float64{t.z(l) - t.pitch/2, min(t.z(l)+t.pitch/2, t.size[2])} {
				out.Box = out.Box.Grow(t.back(Vec{p[0], p[1], z}))
			}
		}
		t.neighbours(j, func(n int32) {
			if m := t.storeyOf(n); m > k && m <= int(s.freeTop) && !seen[n] {
				seen[n] = true
				queue = append(queue, n)
			}
		})
	}
	p := t.islands[bestAt].spot
	out.At = t.back(Vec{p[0], p[1], min(t.z(best)+t.pitch/2, t.size[2])})
	return out
}
