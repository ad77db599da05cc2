package rules

import (
	"os"
	"runtime/debug"
	"sync"

	"corbel/mesh"
)

// This file steers the heap, of which there is one for the process. It asks for
// huge pages before a mesh is read: on a virtual machine, pages of 4 KiB that were
// new took a fifth of all time that a million facets took.
//
// And it bounds the garbage that gathers beside large meshes. The runtime
// collects when as much was added as a share of all that is in use. A large
// share suits many small values full of pointers, which take long to look
// through. A mesh is a few long lists of numbers, which the collector does not
// look into at all: beside one, a small share costs next to nothing, and the
// garbage of one step is gone before the next one takes its own.

const (
	// garbageShare is the share, in per cent, beside a mesh of any size.
	garbageShare = 4
	// garbageMost is the share from which nothing is changed.
	garbageMost = 50
	// garbageLeast is about how many bytes may gather however small the mesh
	// is, and meshRest what a facet takes at rest, with its share of the corners.
	garbageLeast = 4 << 20
	meshRest     = facetRest + 12
	// garbageWorth is the size of a mesh from which garbage is dropped before the
	// steps that take most memory; each time takes some ten milliseconds.
	garbageWorth = 32 << 20
	// hugeLeast is for how many bytes huge pages are asked at first: room for all
	// that is measured of small parts, the grid of voids first.
	hugeLeast = 64 << 20
)

// garbage holds the facets of all meshes being measured in this process. The
// share is one for the process, so it is not the engine's.
var garbage struct {
	mu     sync.Mutex // guards the others
	facets int
	huge   int  // bytes for which huge pages were asked
	set    bool // the share is ours
	before int  // the share when it was not
}

// boundGarbage tells that so many facets more are being measured, or fewer.
// GOGC, if it is given, is what somebody wants, and stands.
func boundGarbage(facets int) {
	g := &garbage
	g.mu.Lock()
	defer g.mu.Unlock()
	g.facets += facets
	if need := hugeLeast + g.facets*facetBytesMost; need > g.huge {
		mesh.HugePages(need)
		g.huge = need
	}
	if os.Getenv("GOGC") != "" {
		return
	}
	share := garbageShare + 100*garbageLeast/(meshRest*max(g.facets, 1))
	switch eager := share < garbageMost; {
	case eager && !g.set:
		g.before, g.set = debug.SetGCPercent(share), true
	case eager:
		debug.SetGCPercent(share)
	case g.set:
		debug.SetGCPercent(g.before)
		g.set = false
	}
}

// dropGarbage gives what the steps before left beside a mesh of so many facets
// back to the system. Left to itself the runtime first lets the next step add to
// it: it looks for garbage once more is in use than when it looked last, which
// was while that step had its lists, and gives pages back later still.
func dropGarbage(facets int) {
	if large(facets) && os.Getenv("GOGC") == "" {
		debug.FreeOSMemory()
	}
}

// large reports whether a mesh takes more memory than garbage is to stay beside.
func large(facets int) bool { return facets*meshRest >= garbageWorth }
