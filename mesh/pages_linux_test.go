package mesh_test

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"unsafe"

	"corbel/mesh"
)

// Lists that are made after HugePages stand on addresses that are marked, and
// nothing is touched to make room.
func TestHugePages(t *testing.T) {
	if _, err := os.Stat("/sys/kernel/mm/transparent_hugepage"); err != nil {
		t.Skip("this kernel has no huge pages")
	}
	// Of a heap that other tests have used, lists may stand where those stood.
	if os.Getenv("CORBEL_FRESH_HEAP") == "" {
		c := exec.Command(os.Args[0], "-test.run=^TestHugePages$")
		c.Env = append(os.Environ(), "CORBEL_FRESH_HEAP=1")
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("%v: %s", err, out)
		}
		return
	}
	const size = 256 << 20
	used := make([]byte, size/8) // addresses that were in use are cleared when they are handed out again
	for i := range used {
		used[i] = 1
	}
	runtime.KeepAlive(used)
	runtime.GC()
	before := pageFaults()
	mesh.HugePages(size)
	if n := pageFaults() - before; n > 1000 && !raced {
		t.Errorf("%d pages were touched to make room for %d bytes", n, size)
	}
	list := make([]int32, size/16)
	if at := uintptr(unsafe.Pointer(&list[len(list)/2])); !hugeAt(t, at) {
		t.Errorf("the address %x is not marked for huge pages", at)
	}
}

// pageFaults is how often the process touched a page that was not there.
func pageFaults() int64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return u.Minflt
}

// hugeAt reports whether an address may stand on a huge page, by the flags of
// its mapping.
func hugeAt(t *testing.T, at uintptr) bool {
	f, err := os.Open("/proc/self/smaps")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	inside := false
	for s := bufio.NewScanner(f); s.Scan(); {
		var from, to uintptr
		if n, _ := fmt.Sscanf(s.Text(), "%x-%x ", &from, &to); n == 2 {
			inside = from <= at && at < to
		} else if flags, ok := strings.CutPrefix(s.Text(), "VmFlags:"); ok && inside {
			return strings.Contains(flags+" ", " hg ")
		}
	}
	t.Fatalf("%x is nowhere", at)
	return false
}
