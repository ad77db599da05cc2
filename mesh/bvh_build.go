package mesh

import (
	"context"
	"math"
	"slices"
	"sync"
)

// This file builds the search tree. A range of facets is split in two where the
// surface-area heuristic says (MacDonald and Booth 1990, with bins after Wald
// 2007), again and again until eight facets are left, which are a leaf. The cost
// of a part is its box's area times its leaves, rounded up, so that leaves come
// out full. Of these twigs, the nodes of eight children are then made that cost
// a ray least, by dynamic programming (Ylitie, Karras and Laine 2017, "Efficient
// Incoherent Ray Traversal on GPUs Through Compressed Wide BVHs"): nodes come
// out full too, since a small part is best a child of its grandparent. Parts
// below taskFacets are made beside each other, each with nodes and leaves of its
// own; the tree does not depend on who makes which. The blocks, which are most
// of the tree, are filled in one go once their number is known.

const (
	splitBins = 16
	// depthMost is the number of cuts beyond which a range is halved by count,
	// so that no input can make a tree deep.
	depthMost = 64
	// taskFacets is the size below which a part is built by one goroutine.
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
	from, to int32
	box      box32
}

// twig is a part in the tree of cuts.
type twig struct {
	part
	kids  int32 // the number of the first of its two halves; 0 if it is whole
	depth int32 // cuts above
	// cost is the least area of the nodes that its children need, were it cut
	// in up to one, two, ... seven children of one node.
	cost [7]float32
}

type twigs []twig

// add puts the halves of a twig after all.
func (t twigs) add(of int, l, r part) twigs {
	t[of].kids = int32(len(t))
	depth := t[of].depth + 1
	return append(t, twig{part: l, depth: depth}, twig{part: r, depth: depth})
}

// builder makes the tree.
type builder struct {
	m     *Mesh
	ctx   context.Context
	items []item
	node  float32 // what a node costs beside its area: the memory it takes
}

// branch is a subtree: nodes and leaves numbered from 0, and the root.
type branch struct {
	nodes  []wideNode
	cones  []wideCone
	leaves []leafItems
	root   int32
	cone   cone
}

// leafItems are the items of a leaf.
type leafItems struct{ from, to int32 }

// newBVH builds the tree of all facets. Once ctx is over it returns without one.
func newBVH(ctx context.Context, m *Mesh) (*BVH, error) {
	return newBVHOf(ctx, m, len(m.Facets), func(i int) int32 { return int32(i) })
}

// newBVHOf builds the tree of n facets.
func newBVHOf(ctx context.Context, m *Mesh, n int, facet func(i int) int32) (*BVH, error) {
	b := &BVH{m: m, single: true}
	if n == 0 {
		return b, nil
	}
	if err := b.measure(ctx); err != nil {
		return nil, err
	}
	t := builder{m: m, ctx: ctx, items: make([]item, n)}
	err := parallel(ctx, n, 1<<14, func(from, to int) error {
		for i := from; i < to; i++ {
			t.items[i] = newItem(m, facet(i))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	whole := part{0, int32(n), t.bounds(0, int32(n))}
	if t.node = whole.box.area() * 0x1p-20; t.node == 0 {
		t.node = 1
	}
	top, err := t.cut(whole)
	if err != nil {
		return nil, err
	}
	var tasks []*twig
	for i := range top {
		if top[i].kids == 0 {
			tasks = append(tasks, &top[i])
		}
	}
	slices.SortFunc(tasks, func(a, b *twig) int { return int(a.from - b.from) })
	branches := make([]branch, len(tasks))
	err = parallel(ctx, len(tasks), 1, func(i, _ int) error {
		branches[i] = t.branch(*tasks[i])
		return nil
	})
	if err != nil {
		return nil, err
	}
	return b, b.join(&t, top, tasks, branches)
}

// join makes the tree of its branches and what is above them.
func (b *BVH) join(t *builder, top twigs, tasks []*twig, branches []branch) error {
	var crown branch
	at := map[int32]int{} // of the branches, by their first item
	for i, w := range tasks {
		at[w.from] = i
	}
	crown.root, crown.cone = crown.grow(top, 0, func(w *twig) (int32, cone) {
		i := at[w.from]
		return ^int32(i), branches[i].cone
	})
	nodes, blocks := make([]int32, len(branches)+1), make([]int32, len(branches)+1)
	nodes[0] = int32(len(crown.nodes))
	for i := range branches {
		nodes[i+1] = nodes[i] + int32(len(branches[i].nodes))
		blocks[i+1] = blocks[i] + int32(len(branches[i].leaves))
	}
	b.nodes, b.cones = make([]wideNode, nodes[len(branches)]), make([]wideCone, nodes[len(branches)])
	b.blocks = make([]block, blocks[len(branches)])
	shift := func(r int32, i int) int32 {
		if r >= 0 {
			return r + nodes[i]
		}
		return r - blocks[i]
	}
	copy(b.nodes, crown.nodes)
	copy(b.cones, crown.cones)
	for i := range crown.nodes {
		for k, r := range b.nodes[i].kid {
			if r < 0 {
				b.nodes[i].kid[k] = shift(branches[^r].root, int(^r))
			}
		}
	}
	return parallel(t.ctx, len(branches), 1, func(i, _ int) error {
		own := b.nodes[nodes[i]:nodes[i+1]]
		copy(own, branches[i].nodes)
		copy(b.cones[nodes[i]:], branches[i].cones)
		for j := range own {
			for k, r := range own[j].kid {
				if r != noKid {
					own[j].kid[k] = shift(r, i)
				}
			}
		}
		for j, l := range branches[i].leaves {
			t.fill(&b.blocks[blocks[i]+int32(j)], l)
		}
		return nil
	})
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

func newItem(m *Mesh, f int32) item {
	it := item{box32: emptyBox32(), facet: f}
	for _, v := range m.Facets[f] {
		for k, x := range m.Verts[v] {
			it.lo[k], it.hi[k] = min(it.lo[k], float32(x)), max(it.hi[k], float32(x))
		}
	}
	return it
}

func (t *builder) bounds(from, to int32) box32 {
	b := emptyBox32()
	for i := from; i < to; i++ {
		b.join(&t.items[i].box32)
	}
	return b
}

// cut makes the tree of cuts down to parts below taskFacets. Halves come after
// what they are halves of.
func (t *builder) cut(whole part) (twigs, error) {
	all := twigs{{part: whole}}
	for from := 0; from < len(all); {
		row := all[from:]
		halves := make([][2]part, len(row))
		err := parallel(t.ctx, len(row), 1, func(i, _ int) error {
			if w := &row[i]; w.to-w.from >= taskFacets {
				halves[i][0], halves[i][1] = t.split(w.part, w.depth)
			}
			return t.ctx.Err()
		})
		if err != nil {
			return nil, err
		}
		for i, h := range halves {
			if h[0].to > h[0].from {
				all = all.add(from+i, h[0], h[1])
			}
		}
		from += len(row)
	}
	t.weigh(all)
	return all, nil
}

// branch makes a part's subtree.
func (t *builder) branch(w twig) branch {
	all := make(twigs, 1, (w.to-w.from)/2+1)
	all[0] = w
	leaves := 0
	for i := 0; i < len(all); i++ {
		w := all[i]
		if w.to-w.from <= 8 {
			leaves++
			continue
		}
		l, r := t.split(w.part, w.depth)
		all = all.add(i, l, r)
	}
	t.weigh(all)
	b := branch{leaves: make([]leafItems, 0, leaves)}
	// Nodes have five children or so, most of them leaves.
	b.nodes, b.cones = make([]wideNode, 0, leaves/4+1), make([]wideCone, 0, leaves/4+1)
	b.root, b.cone = b.grow(all, 0, func(w *twig) (int32, cone) {
		b.leaves = append(b.leaves, leafItems{w.from, w.to})
		return ^int32(len(b.leaves) - 1), t.leafCone(w.part)
	})
	return b
}

// weigh fills in what it costs to make nodes of twigs. Leaves cost the same
// however they are reached, and so are left out.
func (t *builder) weigh(all twigs) {
	for i := len(all) - 1; i >= 0; i-- {
		w := &all[i]
		if w.kids == 0 {
			continue
		}
		l, r := &all[w.kids], &all[w.kids+1]
		_, least := share(l, r, 8)
		w.cost[0] = t.node + w.box.area() + least
		for n := 2; n <= 7; n++ {
			_, least = share(l, r, n)
			w.cost[n-1] = min(w.cost[n-2], least)
		}
	}
}

// share returns how many of n children are best made of the first half, and what
// that costs.
func share(l, r *twig, n int) (of int, cost float32) {
	cost = float32(math.Inf(1))
	for k := 1; k < n; k++ {
		if c := l.cost[k-1] + r.cost[n-k-1]; c < cost {
			of, cost = k, c
		}
	}
	return of, cost
}

// grow makes the nodes of a twig; whole makes what is not cut.
func (b *branch) grow(all twigs, id int32, whole func(w *twig) (int32, cone)) (int32, cone) {
	if all[id].kids == 0 {
		return whole(&all[id])
	}
	var kids [8]int32
	n := 0
	var half func(id int32, of int)
	half = func(id int32, of int) {
		w := &all[id]
		for of > 1 && w.cost[of-1] == w.cost[of-2] {
			of--
		}
		if of == 1 {
			kids[n] = id
			n++
			return
		}
		k, _ := share(&all[w.kids], &all[w.kids+1], of)
		half(w.kids, k)
		half(w.kids+1, of-k)
	}
	k, _ := share(&all[all[id].kids], &all[all[id].kids+1], 8)
	half(all[id].kids, k)
	half(all[id].kids+1, 8-k)

	at := int32(len(b.nodes))
	b.nodes = append(b.nodes, wideNode{})
	b.cones = append(b.cones, wideCone{})
	var cones [8]cone
	for i, id := range kids {
		box, ref := emptyBox32(), int32(noKid)
		if i < n {
			box = all[id].box
			ref, cones[i] = b.grow(all, id, whole)
		}
		nd := &b.nodes[at]
		for k := range 3 {
			nd.box[2*k][i], nd.box[2*k+1][i] = box.lo[k], box.hi[k]
		}
		nd.kid[i] = ref
		b.cones[at].set(i, cones[i])
	}
	return at, joinCones(cones[:n])
}

// laneBox is a box in single precision in the order in which lanes_amd64.s
// reads it: the fourth of each is not used.
type laneBox struct{ lo, hi [4]float32 }

func emptyLaneBox() laneBox {
	inf := float32(math.Inf(1))
	return laneBox{[4]float32{inf, inf, inf, inf}, [4]float32{-inf, -inf, -inf, -inf}}
}

func (b *laneBox) join(c *laneBox) {
	for k := range 3 {
		b.lo[k] = min(b.lo[k], c.lo[k])
		b.hi[k] = max(b.hi[k], c.hi[k])
	}
}

func (b *laneBox) box32() box32 { return box32{[3]float32(b.lo[:3]), [3]float32(b.hi[:3])} }

// splitCut is what a part is split by: the extent of its items' middles and the
// items in bins between them, along each axis.
type splitCut struct {
	mids  laneBox
	scale [4]float32 // the fourth is 0
	bins  [3][splitBins]laneBox
	count [3][splitBins]int32
}

func newCut(mids laneBox) (c splitCut) {
	c.mids = mids
	for k := range 3 {
		if s := mids.hi[k] - mids.lo[k]; s > 0 {
			c.scale[k] = splitBins * (1 - 0x1p-20) / s
		}
		for i := range c.bins[k] {
			c.bins[k][i] = emptyLaneBox()
		}
	}
	return c
}

// binOf returns the bin of an item along an axis.
func (c *splitCut) binOf(it *item, k int) int {
	return int((it.mid(k)-c.mids.lo[k])*c.scale[k]) & (splitBins - 1)
}

// fillGo puts items into their bins.
func (c *splitCut) fillGo(items []item) {
	for i := range items {
		it := &items[i]
		for k := range 3 {
			bin := c.binOf(it, k)
			c.count[k][bin]++
			b := &c.bins[k][bin]
			for j := range 3 {
				b.lo[j] = min(b.lo[j], it.lo[j])
				b.hi[j] = max(b.hi[j], it.hi[j])
			}
		}
	}
}

// join adds the items of another cut of the same part.
func (c *splitCut) join(o *splitCut) {
	for k := range 3 {
		for i := range c.bins[k] {
			c.count[k][i] += o.count[k][i]
			c.bins[k][i].join(&o.bins[k][i])
		}
	}
}

// extentGo returns the extent of the middles of items, times two.
func extentGo(items []item) laneBox {
	mids := emptyLaneBox()
	for i := range items {
		for k := range 3 {
			x := items[i].mid(k)
			mids.lo[k], mids.hi[k] = min(mids.lo[k], x), max(mids.hi[k], x)
		}
	}
	return mids
}

// binAreas are half the surfaces of the boxes about all bins before one, and
// about it and all after it.
type binAreas struct{ left, right [splitBins]float32 }

func (a *binAreas) sweepGo(bins *[splitBins]laneBox) {
	area := func(b *laneBox) float32 {
		x, y, z := b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], b.hi[2]-b.lo[2]
		return x*y + y*z + z*x
	}
	box := emptyLaneBox()
	for i := splitBins - 1; i > 0; i-- {
		box.join(&bins[i])
		a.right[i] = area(&box)
	}
	box = emptyLaneBox()
	for i := 1; i < splitBins; i++ {
		box.join(&bins[i-1])
		a.left[i] = area(&box)
	}
}

// cutLarge is newCut and fill on several processors: extents and counts come
// out the same in any order.
func cutLarge(ctx context.Context, items []item) (*splitCut, error) {
	const step = 1 << 16
	var mu sync.Mutex
	mids := emptyLaneBox()
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
func (t *builder) split(p part, depth int32) (l, r part) {
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
	axis, at := c.best()
	if axis < 0 || depth >= depthMost {
		return t.halve(p, c.mids.box32())
	}
	// Swap items of the upper bins to the end.
	i, j := 0, len(items)
	for i < j {
		if (j-i)&(1<<16-1) == 0 && t.ctx.Err() != nil {
			break
		}
		if c.binOf(&items[i], axis) < at {
			i++
		} else {
			j--
			items[i], items[j] = items[j], items[i]
		}
	}
	mid := p.from + int32(i)
	left, right := emptyLaneBox(), emptyLaneBox()
	for i := range c.bins[axis] {
		if i < at {
			left.join(&c.bins[axis][i])
		} else {
			right.join(&c.bins[axis][i])
		}
	}
	return part{p.from, mid, left.box32()}, part{mid, p.to, right.box32()}
}

// best returns the axis and the bin before which to cut; axis -1 if no cut parts
// the facets.
func (c *splitCut) best() (axis, at int) {
	axis = -1
	least := float32(math.Inf(1))
	var areas binAreas
	for k := range 3 {
		if c.scale[k] == 0 {
			continue
		}
		areas.sweep(&c.bins[k])
		left, all := int32(0), int32(0)
		for _, n := range c.count[k] {
			all += n
		}
		for i := 1; i < splitBins; i++ {
			left += c.count[k][i-1]
			// A part without facets makes no cut.
			if left == 0 || left == all {
				continue
			}
			if cost := areas.left[i]*leavesOf(left) + areas.right[i]*leavesOf(all-left); cost < least {
				least, axis, at = cost, k, i
			}
		}
	}
	return axis, at
}

// leavesOf is how many leaves so many facets fill.
func leavesOf(count int32) float32 { return float32((count + 7) / 8) }

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

// leafCone puts the items of a leaf in order and bounds their normals.
func (t *builder) leafCone(p part) cone {
	items := t.items[p.from:p.to]
	slices.SortFunc(items, func(a, b item) int { return int(a.facet - b.facet) })
	var normals [8]Vec
	var sum Vec
	none := true
	for i := range items {
		normals[i] = t.m.Normal(items[i].facet)
		sum = sum.Add(normals[i])
		none = none && normals[i] == Vec{}
	}
	if none {
		return cone{none: true}
	}
	out := cone{axis: sum.Unit()}
	least := 1.0
	for i := range items {
		if n := normals[i]; n != (Vec{}) {
			least = min(least, out.axis.Dot(n))
		}
	}
	if out.half = math.Acos(max(least, -1)) + acosErr; out.axis == (Vec{}) || out.half > math.Pi {
		out.half = math.Pi
	}
	return out
}

// acosErr bounds what the rounding of a cosine does to an angle: near 0 and pi,
// the root of twice the former.
const acosErr = 1e-7

// fill makes a leaf's block.
func (t *builder) fill(bl *block, l leafItems) {
	items := t.items[l.from:l.to]
	for i := len(items); i < 8; i++ {
		bl.facet[i] = -1
	}
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
