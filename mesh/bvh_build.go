package mesh

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
)

// This file builds the search tree: a range of facets is split in two where the
// surface-area heuristic says (MacDonald and Booth 1990, with bins after Wald
// 2007), again and again until there are eight parts, which are a node's
// children. The cost of a part is its box's area times its blocks, rounded up,
// so that blocks come out full. Nodes are made first, subtrees beside each
// other; the blocks, which are most of the tree, are filled in one go once
// their number is known.

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

// builder makes a subtree: nodes and leaves numbered from 0.
type builder struct {
	m      *Mesh
	ctx    context.Context
	items  []item
	slots  chan struct{} // a place for each further goroutine
	nodes  []wideNode
	cones  []wideCone
	leaves []leafItems
}

// leafItems are the items of a leaf.
type leafItems struct{ from, to int32 }

// newBVH builds the tree. Once ctx is over it returns without one.
func newBVH(ctx context.Context, m *Mesh) (*BVH, error) {
	b := &BVH{m: m, single: true}
	n := len(m.Facets)
	if n == 0 {
		return b, nil
	}
	if err := b.measure(ctx); err != nil {
		return nil, err
	}
	if _, err := m.normals.get(ctx); err != nil {
		return nil, err
	}
	t := builder{m: m, ctx: ctx, items: make([]item, n), slots: make(chan struct{}, runtime.GOMAXPROCS(0)-1)}
	if err := parallel(ctx, n, 1<<14, t.makeItems); err != nil {
		return nil, err
	}
	whole := part{0, n, t.bounds(0, n)}
	if n <= 8 {
		t.leaf(whole)
	} else {
		t.node(whole, 0)
	}
	if err := ctx.Err(); err != nil {
		return nil, err // and the tree is not whole
	}
	b.nodes, b.cones = t.nodes, t.cones
	b.blocks = make([]block, len(t.leaves))
	err := parallel(ctx, len(t.leaves), 1<<10, func(from, to int) error {
		for i := from; i < to; i++ {
			t.fill(&b.blocks[i], t.leaves[i])
		}
		return nil
	})
	return b, err
}

// measure finds what the coordinates are like.
func (b *BVH) measure(ctx context.Context) error {
	const step = 1 << 16
	type share struct {
		most   float64
		single bool
	}
	parts := make([]share, (len(b.m.Verts)+step-1)/step)
	err := parallel(ctx, len(b.m.Verts), step, func(from, to int) error {
		s := share{single: true}
		for _, v := range b.m.Verts[from:to] {
			for _, x := range v {
				s.most = max(s.most, math.Abs(x))
				s.single = s.single && float64(float32(x)) == x
			}
		}
		parts[from/step] = s
		return nil
	})
	for _, s := range parts {
		b.most, b.single = max(b.most, s.most), b.single && s.single
	}
	return err
}

func (t *builder) makeItems(from, to int) error {
	for f := from; f < to; f++ {
		it := item{box32: emptyBox32(), facet: int32(f)}
		for _, v := range t.m.Facets[f] {
			for k, x := range t.m.Verts[v] {
				it.lo[k], it.hi[k] = min(it.lo[k], float32(x)), max(it.hi[k], float32(x))
			}
		}
		t.items[f] = it
	}
	return nil
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
	if p.to-p.from >= taskFacets && t.ctx.Err() != nil {
		return 0, cone{} // newBVH notices
	}
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
		refs, cones = t.fork(parts[:n], depth+1)
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
func (t *builder) fork(of []part, depth int) (refs [8]int32, cones [8]cone) {
	parts := slices.Clone(of) // what goroutines see can't stay on the stack of small nodes
	subs := make([]builder, len(parts))
	var wg sync.WaitGroup
	for i := range parts {
		run := func() {
			subs[i] = builder{m: t.m, ctx: t.ctx, items: t.items, slots: t.slots}
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
	nodes, leaves := 0, 0
	for i := range subs {
		nodes, leaves = nodes+len(subs[i].nodes), leaves+len(subs[i].leaves)
	}
	t.nodes, t.cones, t.leaves = slices.Grow(t.nodes, nodes), slices.Grow(t.cones, nodes), slices.Grow(t.leaves, leaves)
	for i := range subs {
		s := &subs[i]
		nn, nb := int32(len(t.nodes)), int32(len(t.leaves))
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
		t.leaves = append(t.leaves, s.leaves...)
		refs[i] = shift(refs[i])
	}
	return refs, cones
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

// splitCut is what a part is split by: the extent of its items' middles and the
// items in bins between them, along each axis.
type splitCut struct {
	mids  box32
	scale [3]float32
	bins  [3][splitBins]bin
}

func newCut(mids box32) (c splitCut) {
	c.mids = mids
	for k := range 3 {
		if s := mids.hi[k] - mids.lo[k]; s > 0 {
			c.scale[k] = splitBins * (1 - 0x1p-20) / s
		}
		for i := range c.bins[k] {
			c.bins[k][i].box = emptyBox32()
		}
	}
	return c
}

// binOf returns the bin of an item along an axis.
func (c *splitCut) binOf(it *item, k int) int {
	return int((it.mid(k)-c.mids.lo[k])*c.scale[k]) & (splitBins - 1)
}

func (c *splitCut) fill(items []item) {
	for i := range items {
		it := &items[i]
		for k := range 3 {
			b := &c.bins[k][c.binOf(it, k)]
			b.count++
			b.box.join(&it.box32)
		}
	}
}

// join adds the items of another cut of the same part.
func (c *splitCut) join(o *splitCut) {
	for k := range 3 {
		for i := range c.bins[k] {
			c.bins[k][i].count += o.bins[k][i].count
			c.bins[k][i].box.join(&o.bins[k][i].box)
		}
	}
}

// extentOf returns the extent of the middles of items, times two.
func extentOf(items []item) box32 {
	mids := emptyBox32()
	for i := range items {
		for k := range 3 {
			x := items[i].mid(k)
			mids.lo[k], mids.hi[k] = min(mids.lo[k], x), max(mids.hi[k], x)
		}
	}
	return mids
}

// cutLarge is newCut and fill on several processors: extents and counts come
// out the same in any order.
func cutLarge(ctx context.Context, items []item) (*splitCut, error) {
	const step = 1 << 16
	var mu sync.Mutex
	mids := emptyBox32()
	err := parallel(ctx, len(items), step, func(from, to int) error {
		b := extentOf(items[from:to])
		mu.Lock()
		defer mu.Unlock()
		mids.join(&b)
		return nil
	})
	if err != nil {
		return nil, err
	}
	c := newCut(mids)
	return &c, parallel(ctx, len(items), step, func(from, to int) error {
		own := newCut(mids)
		own.fill(items[from:to])
		mu.Lock()
		defer mu.Unlock()
		c.join(&own)
		return nil
	})
}

// split cuts a part of more than eight facets in two. Once the context is over
// the second is empty.
func (t *builder) split(p part, depth int) (l, r part) {
	items := t.items[p.from:p.to]
	var c splitCut
	if len(items) < taskFacets {
		c = newCut(extentOf(items))
		c.fill(items)
	} else if large, err := cutLarge(t.ctx, items); err == nil {
		c = *large
	} else {
		return p, part{p.to, p.to, emptyBox32()}
	}
	axis, at := bestSplit(&c.bins, &c.scale)
	if axis < 0 || depth >= depthMost {
		return t.halve(p, c.mids)
	}
	// Swap items of the upper bins to the end.
	i, j := 0, len(items)
	for i < j {
		if j-i&(1<<16-1) == 0 && t.ctx.Err() != nil {
			break
		}
		if c.binOf(&items[i], axis) < at {
			i++
		} else {
			j--
			items[i], items[j] = items[j], items[i]
		}
	}
	l, r = part{p.from, p.from + i, emptyBox32()}, part{p.from + i, p.to, emptyBox32()}
	for i := range c.bins[axis] {
		if i < at {
			l.box.join(&c.bins[axis][i].box)
		} else {
			r.box.join(&c.bins[axis][i].box)
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

// leaf notes a leaf of eight facets at most.
func (t *builder) leaf(p part) (int32, cone) {
	items := t.items[p.from:p.to]
	slices.SortFunc(items, func(a, b item) int { return int(a.facet - b.facet) })
	var cones [8]cone
	for i := range items {
		n := t.m.Normal(items[i].facet)
		cones[i] = cone{axis: n, none: n == Vec{}}
	}
	t.leaves = append(t.leaves, leafItems{int32(p.from), int32(p.to)})
	return ^int32(len(t.leaves) - 1), joinCones(cones[:len(items)])
}

// fill makes a leaf's block.
func (t *builder) fill(bl *block, l leafItems) {
	items := t.items[l.from:l.to]
	bl.used = 1<<len(items) - 1
	for i := range items {
		f := items[i].facet
		for c, v := range t.m.Facets[f] {
			for k, x := range t.m.Verts[v] {
				bl.v[3*c+k][i] = float32(x)
			}
		}
		for k, x := range t.m.Normal(f) {
			bl.n[k][i] = float32(x)
		}
		bl.facet[i] = f
	}
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
