package mesh

import (
	"runtime/debug"
	"strings"
	"syscall"
	"unsafe"
)

// HugePages asks the system to back the next n bytes of the heap by huge pages,
// which many systems grant only to who asks. A mesh is long lists: on pages of
// 4 KiB the system is called for each when it is first touched, and every look
// at a far one begins with a search for it.
//
// The runtime has no call for it, but hands out the lowest addresses that are
// free. So a text of n bytes is made, never written, marked, and let go: the
// lists that follow stand there. Nothing is lost where a system or a runtime
// does otherwise. It takes a collection, some ten milliseconds beside a large
// mesh.
func HugePages(n int) {
	var b strings.Builder // a slice would be cleared, which takes the memory
	b.Grow(n)
	b.WriteByte(0)
	// It changes no result whether it was granted.
	_ = syscall.Madvise(unsafe.Slice(unsafe.StringData(b.String()), n), syscall.MADV_HUGEPAGE)
	debug.FreeOSMemory()
}
