package mesh

import (
	"math"
	"slices"
	"unsafe"

	"golang.org/x/sys/cpu"
)

// lanesAVX2 says that this processor has what lanes_amd64.s uses. Tests turn it
// off to compare.
var lanesAVX2 = cpu.X86.HasAVX2 && cpu.X86.HasFMA && cpu.X86.HasBMI1

//go:noescape
func rayLeafAVX2(r *rayLanes, nodes *wideNode, blocks *block, stack *waiting, n, room int) (left int, leaf int32, mask uint32)

// rayLeaf is rayLeafGo. The assembly stops where the stack has no room.
func (b *BVH) rayLeaf(r *rayLanes, stack []waiting) (rest []waiting, leaf int32, mask uint32) {
	if !lanesAVX2 {
		return b.rayLeafGo(r, stack)
	}
	for {
		n, leaf, mask := rayLeafAVX2(r, unsafe.SliceData(b.nodes), unsafe.SliceData(b.blocks), unsafe.SliceData(stack), len(stack), cap(stack))
		if stack = stack[:n]; n == 0 || mask != 0 {
			return stack, leaf, mask
		}
		stack = slices.Grow(stack, cap(stack))
	}
}

//go:noescape
func rayFirstAVX2(o, d *Vec, tMin, tMax, most float64, nodes *wideNode, blocks *block, verts *Vec, facets *[3]int32, root int32) (t float64, facet int32, full bool)

// rayFirst is Ray; ok is false where the assembly can't tell, for want of room.
func (b *BVH) rayFirst(o, d *Vec, tMin, tMax float64) (h Hit, ok bool) {
	if !lanesAVX2 || len(b.blocks) == 0 {
		return Hit{}, false
	}
	var verts *Vec // of corners that the blocks don't hold as they are
	if !b.single {
		verts = unsafe.SliceData(b.m.Verts)
	}
	t, f, full := rayFirstAVX2(o, d, tMin, tMax, b.most, unsafe.SliceData(b.nodes), unsafe.SliceData(b.blocks), verts, unsafe.SliceData(b.m.Facets), b.root())
	return Hit{f, t}, !full
}

//go:noescape
func nearBoxesAVX2(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32

func nearBoxes(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32 {
	if lanesAVX2 {
		return nearBoxesAVX2(nd, l, d2)
	}
	return nearBoxesGo(nd, l, d2) & nd.used()
}

//go:noescape
func nearFirstAVX2(l *nearLanes, nodes *wideNode) int32

// nearFirst is nearFirstGo.
func (b *BVH) nearFirst(l *nearLanes) int32 {
	if lanesAVX2 && len(b.nodes) > 0 {
		return nearFirstAVX2(l, unsafe.SliceData(b.nodes))
	}
	return b.nearFirstGo(l)
}

//go:noescape
func nearLeafAVX2(l *nearLanes, nodes *wideNode, blocks *block, stack *waiting, n, room int) (left int, leaf int32, mask uint32)

// nearLeaf is nearLeafGo, but looks at facets closer. The assembly stops where
// the stack has no room.
func (b *BVH) nearLeaf(l *nearLanes, stack []waiting) (rest []waiting, leaf int32, mask uint32) {
	if !lanesAVX2 {
		return b.nearLeafGo(l, stack)
	}
	for {
		n, leaf, mask := nearLeafAVX2(l, unsafe.SliceData(b.nodes), unsafe.SliceData(b.blocks), unsafe.SliceData(stack), len(stack), cap(stack))
		if stack = stack[:n]; n == 0 || mask != 0 {
			return stack, leaf, mask
		}
		stack = slices.Grow(stack, cap(stack))
	}
}

//go:noescape
func boxBoxesAVX2(nd *wideNode, l *boxLanes) uint32

func boxBoxes(nd *wideNode, l *boxLanes) uint32 {
	if lanesAVX2 {
		return boxBoxesAVX2(nd, l)
	}
	return boxBoxesGo(nd, l) & nd.used()
}

//go:noescape
func boxFacetsAVX2(b *block, l *boxLanes) uint32

func boxFacets(b *block, l *boxLanes) uint32 {
	if lanesAVX2 {
		return boxFacetsAVX2(b, l)
	}
	return boxFacetsGo(b, l) & b.used()
}

//go:noescape
func besideFacetsAVX2(b *block, l *sideLanes) uint32

func besideFacets(b *block, l *sideLanes) uint32 {
	if lanesAVX2 {
		return besideFacetsAVX2(b, l)
	}
	return besideFacetsGo(b, l) & b.used()
}

//go:noescape
func facingBoxesAVX2(nd *wideNode, c *wideCone, l *facingLanes, d2 *[8]float32) uint32

func facingBoxes(nd *wideNode, c *wideCone, l *facingLanes, d2 *[8]float32) uint32 {
	if lanesAVX2 {
		return facingBoxesAVX2(nd, c, l, d2)
	}
	return facingBoxesGo(nd, c, l, d2) & nd.used()
}

//go:noescape
func facingFacetsAVX2(b *block, l *facingLanes) uint32

func facingFacets(b *block, l *facingLanes) uint32 {
	if lanesAVX2 {
		return facingFacetsAVX2(b, l)
	}
	return facingFacetsGo(b, l) & b.used()
}

//go:noescape
func fillAVX2(c *splitCut, items *item, n int)

func (c *splitCut) fill(items []item) {
	if lanesAVX2 {
		fillAVX2(c, unsafe.SliceData(items), len(items))
		return
	}
	c.fillGo(items)
}

//go:noescape
func extentAVX2(items *item, n int, mids *laneBox)

func extentOf(items []item) laneBox {
	if lanesAVX2 {
		var mids laneBox
		extentAVX2(unsafe.SliceData(items), len(items), &mids)
		return mids
	}
	return extentGo(items)
}

//go:noescape
func sweepAVX2(a *binAreas, bins *[splitBins]laneBox)

func (a *binAreas) sweep(bins *[splitBins]laneBox) {
	if lanesAVX2 {
		sweepAVX2(a, bins)
		return
	}
	a.sweepGo(bins)
}

//go:noescape
func steepestAVX2(clear *float32, steps *gridStep, up *uint8, n int)

// steepest picks, for each cell of part of a row, the step that basins.climb would if
// all steps were free. It reports whether it did: some processors can't, and short
// rows are not worth it.
func steepest(clear []float32, steps []gridStep, from int, up []uint8) bool {
	if !lanesAVX2 || len(up) < 8 {
		return false
	}
	steepestAVX2(&clear[from], &steps[0], &up[0], len(up))
	return true
}

//go:noescape
func apartAVX2(of *int32, across, up int) uint32

// apart returns a bit for each step that leads from a cell inside the grid to another
// basin.
func (b *basins) apart(i int) uint32 {
	if lanesAVX2 {
		return apartAVX2(&b.of[i], b.g.stride[1], b.g.stride[2])
	}
	return b.apartGo(i)
}

//go:noescape
func takeAVX2(to, from *float32, apart, n int, stay *[8]int32)

//go:noescape
func leastAVX2(d, near *float32, stay *[8]int32, squares *float32, apart, beside, n, reach int) (done int)

// nearSquares are the squares of the numbers of cells that leastAVX2 asks for.
var nearSquares = func() (s [nearReach + 2]float32) {
	for i := range s {
		s[i] = float32(i * i)
	}
	return s
}()

// nearRow does what spread does to a row, eight cells at a time, and looks for what
// comes from cells around each. Across cells that are passed over there is nothing
// that counts (see grid.acrossLayers), so that it need not stop there. It reports
// whether it could: it leaves a row as it was where something may come from too far.
func (e *envelope) nearRow(d []float32) bool {
	n := len(d)
	if !lanesAVX2 || n < 8 {
		return false
	}
	near := e.near[nearFrom:]
	for i := range near[n : n+nearReach+8] {
		near[n+i] = float32(math.Inf(1))
	}
	last := n - 8 // the last eight once more
	var stay [8]int32
	takeAVX2(&near[0], &d[0], 8, n/8, &stay)
	takeAVX2(&near[last], &d[last], 8, 1, &stay)
	stay = [8]int32{}
	done := leastAVX2(&d[0], &near[0], &stay, &nearSquares[0], 8, 1, n/8, nearReach)
	if done == n/8 && leastAVX2(&d[last], &near[last], &stay, &nearSquares[0], 8, 1, 1, nearReach) == 1 {
		return true
	}
	for i := range d[:8*done] {
		if d[i] >= 0 {
			d[i] = near[i]
		}
	}
	return false
}

// nearColumns does to a few columns from the c-th on what nearRow does to a row.
func (e *envelope) nearColumns(d []float32, c, lines, n, stride int) bool {
	var stay [8]int32 // -1 for columns that were done before
	if lines < 8 {
		for i := range 8 - lines {
			stay[i] = -1
		}
		c -= 8 - lines
	}
	if !lanesAVX2 || c < 0 {
		return false
	}
	near := e.near[nearFrom:]
	for i := range near[8*n : 8*n+8*(nearReach+1)] {
		near[8*n+i] = float32(math.Inf(1))
	}
	takeAVX2(&near[0], &d[c], stride, n, &stay)
	done := leastAVX2(&d[c], &near[0], &stay, &nearSquares[0], stride, 8, n, nearReach)
	if done == n {
		return true
	}
	for i := range done {
		for l, v := range near[8*i : 8*i+8] {
			if p := &d[c+i*stride+l]; stay[l] == 0 && *p >= 0 {
				*p = v
			}
		}
	}
	return false
}
