package mesh

import "golang.org/x/sys/cpu"

// lanesAVX2 says that this processor has what lanes_amd64.s uses. Tests turn it
// off to compare.
var lanesAVX2 = cpu.X86.HasAVX2 && cpu.X86.HasFMA

//go:noescape
func rayBoxesAVX2(nd *wideNode, r *rayLanes, t *[8]float32) uint32

func rayBoxes(nd *wideNode, r *rayLanes, t *[8]float32) uint32 {
	if lanesAVX2 {
		return rayBoxesAVX2(nd, r, t)
	}
	return rayBoxesGo(nd, r, t) & nd.used
}

//go:noescape
func rayFacetsAVX2(b *block, r *rayLanes) uint32

func rayFacets(b *block, r *rayLanes) uint32 {
	if lanesAVX2 {
		return rayFacetsAVX2(b, r)
	}
	return rayFacetsGo(b, r) & b.used
}

//go:noescape
func nearBoxesAVX2(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32

func nearBoxes(nd *wideNode, l *pointLanes, d2 *[8]float32) uint32 {
	if lanesAVX2 {
		return nearBoxesAVX2(nd, l, d2)
	}
	return nearBoxesGo(nd, l, d2) & nd.used
}

//go:noescape
func nearFacetsAVX2(b *block, l *pointLanes) uint32

func nearFacets(b *block, l *pointLanes) uint32 {
	if lanesAVX2 {
		return nearFacetsAVX2(b, l)
	}
	return nearFacetsGo(b, l) & b.used
}

//go:noescape
func boxBoxesAVX2(nd *wideNode, l *boxLanes) uint32

func boxBoxes(nd *wideNode, l *boxLanes) uint32 {
	if lanesAVX2 {
		return boxBoxesAVX2(nd, l)
	}
	return boxBoxesGo(nd, l) & nd.used
}

//go:noescape
func boxFacetsAVX2(b *block, l *boxLanes) uint32

func boxFacets(b *block, l *boxLanes) uint32 {
	if lanesAVX2 {
		return boxFacetsAVX2(b, l)
	}
	return boxFacetsGo(b, l) & b.used
}

//go:noescape
func besideFacetsAVX2(b *block, l *sideLanes) uint32

func besideFacets(b *block, l *sideLanes) uint32 {
	if lanesAVX2 {
		return besideFacetsAVX2(b, l)
	}
	return besideFacetsGo(b, l) & b.used
}

//go:noescape
func facingFacetsAVX2(b *block, l *facingLanes) uint32

func facingFacets(b *block, l *facingLanes) uint32 {
	if lanesAVX2 {
		return facingFacetsAVX2(b, l)
	}
	return facingFacetsGo(b, l) & b.used
}
