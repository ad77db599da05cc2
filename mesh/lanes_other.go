//go:build !amd64

package mesh

func rayBoxes(nd *wideNode, r *rayLanes, t *[8]float32) uint32 {
	return rayBoxesGo(nd, r, t) & nd.used
}
func rayFacets(b *block, r *rayLanes) uint32 { return rayFacetsGo(b, r) & b.used }
func nearBoxes(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32 {
	return nearBoxesGo(nd, l, d2) & nd.used
}
func nearFacets(b *block, l *pointLanes) uint32    { return nearFacetsGo(b, l) & b.used }
func boxBoxes(nd *wideNode, l *boxLanes) uint32    { return boxBoxesGo(nd, l) & nd.used }
func boxFacets(b *block, l *boxLanes) uint32       { return boxFacetsGo(b, l) & b.used }
func besideFacets(b *block, l *sideLanes) uint32   { return besideFacetsGo(b, l) & b.used }
func facingFacets(b *block, l *facingLanes) uint32 { return facingFacetsGo(b, l) & b.used }
