//go:build unix

package mesh

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// TestNoPlainFiles: what is there but holds no bytes to read is not opened, so
// that nothing waits for it.
func TestNoPlainFiles(t *testing.T) {
	refusedFile(t, "/dev/zero", "not a plain file but a device")
	pipe := filepath.Join(t.TempDir(), "pipe.stl")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	refusedFile(t, pipe, "named pipe")
	loop := filepath.Join(t.TempDir(), "loop.stl")
	if err := os.Symlink(loop, loop); err != nil {
		t.Fatal(err)
	}
	refusedFile(t, loop, "too many levels of symbolic links")
}
