//go:build !amd64

package mesh

func (b *BVH) rayLeaf(r *rayLanes, stack []waiting) (rest []waiting, leaf int32, mask uint32) {
	return b.rayLeafGo(r, stack)
}
func (b *BVH) rayFirst(o, d *Vec, tMin, tMax float64) (h Hit, ok bool) { return Hit{}, false }
func (b *BVH) nearFirst(l *nearLanes) int32                            { return b.nearFirstGo(l) }
func (b *BVH) nearLeaf(l *nearLanes, stack []waiting) (rest []waiting, leaf int32, mask uint32) {
	return b.nearLeafGo(l, stack)
}
func nearBoxes(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32 {
	return nearBoxesGo(nd, l, d2) & nd.used()
}
func boxBoxes(nd *wideNode, l *boxLanes) uint32  { return boxBoxesGo(nd, l) & nd.used() }
func boxFacets(b *block, l *boxLanes) uint32     { return boxFacetsGo(b, l) & b.used() }
func besideFacets(b *block, l *sideLanes) uint32 { return besideFacetsGo(b, l) & b.used() }
func facingBoxes(nd *wideNode, c *wideCone, l *facingLanes, d2 *[8]float32) uint32 {
	return facingBoxesGo(nd, c, l, d2) & nd.used()
}
func facingFacets(b *block, l *facingLanes) uint32 { return facingFacetsGo(b, l) & b.used() }

func (c *splitCut) fill(items []item)              { c.fillGo(items) }
func extentOf(items []item) laneBox                { return extentGo(items) }
func (a *binAreas) sweep(bins *[splitBins]laneBox) { a.sweepGo(bins) }

func (b *basins) apart(i int) uint32 { return b.apartGo(i) }

func steepest(clear []float32, steps []gridStep, from int, up []uint8) bool { return false }

func (e *envelope) nearRow(d []float32) bool { return false }

func (e *envelope) nearColumns(d []float32, c, lines, n, stride int) bool { return false }
