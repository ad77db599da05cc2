package mesh

import (
	"math"
	"runtime"
	"slices"
	"sync"
)

// This file builds the search tree: a range of facets is split in two where the
// surface-area heuristic says (MacDonald and Booth 1990, with bins after Wald
// 2007), again and again until there are eight parts, which are a node's
// children. The cost of a part is its box's area times its blocks, rounded up,
// so that blocks come out full.

const (
	splitBins = 16
	// depthMost is the depth beyond which a range is halved by count, so that
	// no input can make a tree deep.
	depthMost = 24
	// taskFacets is the size from which parts are built by goroutines of their
	// own; the tree does not depend on which.
	taskFacets = 1 << 13
)

// box32 is a box in single precision.
type box32 struct{ lo, hi [3]float32 }

func emptyBox32() box32 {
	inf := float32(math.Inf(1))
	return box32{[3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}}
}

func (b *box32) join(c *box32) {
	for k := range 3 {
		b.lo[k] = min(b.lo[k], c.lo[k])
		b.hi[k] = max(b.hi[k], c.hi[k])
	}
}

// area is half the box's surface.
func (b *box32) area() float32 {
	x, y, z := b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], b.hi[2]-b.lo[2]
	return x*y + y*z + z*x
}

// item is a facet to be sorted into the tree: its box and number.
type item struct {
	box32
	facet int32
}

// mid is twice the box's middle along an axis.
func (it *item) mid(k int) float32 { return it.lo[k] + it.hi[k] }

// part is a range of items on its way to being a child.
type part struct {
	from, to int
	box      box32
}

// builder makes a subtree: nodes and blocks numbered from 0.
type builder struct {
	m      *Mesh
	items  []item
	slots  chan struct{} // a place for each further goroutine
	nodes  []wideNode
	cones  []wideCone
	blocks []block
}

func newBVH(m *Mesh) *BVH {
	b := &BVH{m: m, single: true}
	n := len(m.Facets)
	if n == 0 {
		return b
	}
	for _, v := range m.Verts {
		for _, x := range v {
			b.most = max(b.most, math.Abs(x))
			b.single = b.single && float64(float32(x)) == x
		}
	}
	items := make([]item, n)
	eachRange(n, func(from, to int) {
		for f := from; f < to; f++ {
			it := item{box32: emptyBox32(), facet: int32(f)}
			for _, v := range m.Facets[f] {
				for k, x := range m.Verts[v] {
					it.lo[k], it.hi[k] = min(it.lo[k], float32(x)), max(it.hi[k], float32(x))
				}
			}
			items[f] = it
		}
	})
	m.normals()
	t := builder{m: m, items: items, slots: make(chan struct{}, runtime.GOMAXPROCS(0)-1)}
	whole := part{0, n, t.bounds(0, n)}
	if n <= 8 {
		t.leaf(whole)
	} else {
		t.node(whole, 0)
	}
	b.nodes, b.cones, b.blocks = t.nodes, t.cones, t.blocks
	return b
}

// eachRange runs f on parts of 0..n by all processors.
func eachRange(n int, f func(from, to int)) {
	p := runtime.GOMAXPROCS(0)
	if n < 1<<14 || p == 1 {
		f(0, n)
		return
	}
	var wg sync.WaitGroup
	for i := range p {
		wg.Go(func() { f(i*n/p, (i+1)*n/p) })
	}
	wg.Wait()
}

func (t *builder) bounds(from, to int) box32 {
	b := emptyBox32()
	for i := from; i < to; i++ {
		b.join(&t.items[i].box32)
	}
	return b
}

// child makes a part's subtree and returns its reference, box and cone.
func (t *builder) child(p part, depth int) (int32, cone) {
	if p.to-p.from <= 8 {
		return t.leaf(p)
	}
	return t.node(p, depth)
}

func (t *builder) node(p part, depth int) (int32, cone) {
	var parts [8]part
	n := t.parts(p, &parts, depth)
	id := int32(len(t.nodes))
	t.nodes = append(t.nodes, wideNode{used: 1<<n - 1})
	t.cones = append(t.cones, wideCone{})
	var refs [8]int32
	var cones [8]cone
	if p.to-p.from < taskFacets {
		for i := range n {
			refs[i], cones[i] = t.child(parts[i], depth+1)
		}
	} else {
		t.fork(parts[:n], depth+1, &refs, &cones)
	}
	nd, wc := &t.nodes[id], &t.cones[id]
	for i := range 8 {
		box := emptyBox32()
		if i < n {
			box = parts[i].box
		}
		for k := range 3 {
			nd.box[2*k][i], nd.box[2*k+1][i] = box.lo[k], box.hi[k]
		}
		nd.kid[i] = refs[i]
		wc.set(i, cones[i])
	}
	return id, joinCones(cones[:n])
}

// fork builds children as subtrees of their own, beside each other where a
// processor is free, and puts them together in order.
func (t *builder) fork(parts []part, depth int, refs *[8]int32, cones *[8]cone) {
	subs := make([]builder, len(parts))
	var wg sync.WaitGroup
	for i := range parts {
		run := func() {
			subs[i] = builder{m: t.m, items: t.items, slots: t.slots}
			refs[i], cones[i] = subs[i].child(parts[i], depth)
		}
		select {
		case t.slots <- struct{}{}:
			wg.Go(func() {
				run()
				<-t.slots
			})
		default:
			run()
		}
	}
	wg.Wait()
	for i := range subs {
		s := &subs[i]
		nn, nb := int32(len(t.nodes)), int32(len(t.blocks))
		shift := func(r int32) int32 {
			if r >= 0 {
				return r + nn
			}
			return r - nb
		}
		for j := range s.nodes {
			for k := range 8 {
				if s.nodes[j].used>>k&1 != 0 {
					s.nodes[j].kid[k] = shift(s.nodes[j].kid[k])
				}
			}
		}
		t.nodes = append(t.nodes, s.nodes...)
		t.cones = append(t.cones, s.cones...)
		t.blocks = append(t.blocks, s.blocks...)
		refs[i] = shift(refs[i])
	}
}

// parts splits a part in up to eight, always the one that costs most.
func (t *builder) parts(p part, out *[8]part, depth int) int {
	out[0] = p
	n := 1
	for n < 8 {
		best, cost := -1, float32(-1)
		for i := range n {
			if c := out[i].to - out[i].from; c > 8 {
				if a := out[i].box.area() * float32(c); a > cost {
					best, cost = i, a
				}
			}
		}
		if best < 0 {
			break
		}
		out[best], out[n] = t.split(out[best], depth)
		n++
	}
	return n
}

type bin struct {
	box   box32
	count int
}

// split cuts a part of more than eight facets in two.
func (t *builder) split(p part, depth int) (l, r part) {
	items := t.items[p.from:p.to]
	mids := emptyBox32()
	for i := range items {
		for k := range 3 {
			x := items[i].mid(k)
			mids.lo[k], mids.hi[k] = min(mids.lo[k], x), max(mids.hi[k], x)
		}
	}
	if depth >= depthMost {
		return t.halve(p, mids)
	}
	var bins [3][splitBins]bin
	var scale [3]float32
	for k := range 3 {
		if s := mids.hi[k] - mids.lo[k]; s > 0 {
			scale[k] = splitBins * (1 - 0x1p-20) / s
		}
		for i := range bins[k] {
			bins[k][i].box = emptyBox32()
		}
	}
	for i := range items {
		it := &items[i]
		for k := range 3 {
			b := &bins[k][int((it.mid(k)-mids.lo[k])*scale[k])&(splitBins-1)]
			b.count++
			b.box.join(&it.box32)
		}
	}
	axis, at := bestSplit(&bins, &scale)
	if axis < 0 {
		return t.halve(p, mids)
	}
	// Swap items of the upper bins to the end.
	i, j := 0, len(items)
	for i < j {
		if int((items[i].mid(axis)-mids.lo[axis])*scale[axis])&(splitBins-1) < at {
			i++
		} else {
			j--
			items[i], items[j] = items[j], items[i]
		}
	}
	l, r = part{p.from, p.from + i, emptyBox32()}, part{p.from + i, p.to, emptyBox32()}
	for i := range bins[axis] {
		if i < at {
			l.box.join(&bins[axis][i].box)
		} else {
			r.box.join(&bins[axis][i].box)
		}
	}
	return l, r
}

// bestSplit returns the axis and the bin before which to cut; axis -1 if no cut
// parts the facets.
func bestSplit(bins *[3][splitBins]bin, scale *[3]float32) (axis, at int) {
	axis = -1
	least := float32(math.Inf(1))
	for k := range 3 {
		if scale[k] == 0 {
			continue
		}
		var right [splitBins]float32
		box, count := emptyBox32(), 0
		for i := splitBins - 1; i > 0; i-- {
			b := &bins[k][i]
			box.join(&b.box)
			count += b.count
			right[i] = partCost(&box, count)
		}
		box, count = emptyBox32(), 0
		for i := 1; i < splitBins; i++ {
			b := &bins[k][i-1]
			box.join(&b.box)
			count += b.count
			if c := partCost(&box, count) + right[i]; c < least {
				least, axis, at = c, k, i
			}
		}
	}
	return axis, at
}

// partCost is infinite for an empty part, which makes no cut.
func partCost(b *box32, count int) float32 {
	if count == 0 {
		return float32(math.Inf(1))
	}
	return b.area() * float32((count+7)/8)
}

// halve cuts a part in two of equal count along its longest axis.
func (t *builder) halve(p part, mids box32) (l, r part) {
	k := 0
	for j := range 3 {
		if mids.hi[j]-mids.lo[j] > mids.hi[k]-mids.lo[k] {
			k = j
		}
	}
	slices.SortFunc(t.items[p.from:p.to], func(a, b item) int {
		if x, y := a.mid(k), b.mid(k); x != y {
			if x < y {
				return -1
			}
			return 1
		}
		return int(a.facet - b.facet)
	})
	mid := p.from + (p.to-p.from)/2
	return part{p.from, mid, t.bounds(p.from, mid)}, part{mid, p.to, t.bounds(mid, p.to)}
}

func (t *builder) leaf(p part) (int32, cone) {
	items := t.items[p.from:p.to]
	slices.SortFunc(items, func(a, b item) int { return int(a.facet - b.facet) })
	bl := block{used: 1<<len(items) - 1}
	var cones [8]cone
	for i := range items {
		f := items[i].facet
		for c, v := range t.m.Facets[f] {
			for k, x := range t.m.Verts[v] {
				bl.v[3*c+k][i] = float32(x)
			}
		}
		n := t.m.Normal(f)
		for k := range 3 {
			bl.n[k][i] = float32(n[k])
		}
		bl.facet[i] = f
		cones[i] = cone{axis: n, none: n == Vec{}}
	}
	t.blocks = append(t.blocks, bl)
	return ^int32(len(t.blocks) - 1), joinCones(cones[:len(items)])
}

// cone holds directions within half of its axis; none holds no direction.
type cone struct {
	axis Vec
	half float64
	none bool
}

// joinCones bounds cones by one about their mean axis: not the narrowest, but
// near it for cones that are alike, and it only has to be safe.
func joinCones(cs []cone) cone {
	var sum Vec
	none := true
	for _, c := range cs {
		if !c.none {
			none = false
			sum = sum.Add(c.axis)
		}
	}
	if none {
		return cone{none: true}
	}
	out := cone{axis: sum.Unit()}
	for _, c := range cs {
		if !c.none {
			out.half = max(out.half, c.half+angleBetween(out.axis, c.axis))
		}
	}
	if out.axis == (Vec{}) || out.half > math.Pi {
		out.half = math.Pi
	}
	return out
}

func (w *wideCone) set(i int, c cone) {
	for k := range 3 {
		w[k][i] = float32(c.axis[k])
	}
	switch {
	case c.none:
		w[3][i] = 2
	case c.half+math.Pi/3 >= math.Pi:
		w[3][i] = -2
	default:
		w[3][i] = float32(math.Cos(c.half+math.Pi/3)) - 1e-6
	}
}
