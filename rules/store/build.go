package store

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
)

// Build names the program that runs, so that what one build computed is never
// given out by another that may compute otherwise: its module's version where
// that says it all, else a digest of the executable. It is empty where neither
// is known; then nothing should be kept.
var Build = sync.OnceValue(func() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	name := info.Main.Version
	if name == "" || name == "(devel)" || strings.Contains(name, "dirty") || info.Main.Replace != nil {
		if name = executable(); name == "" {
			return ""
		}
	}
	// Compilers fuse and order floating-point operations in their own ways.
	return strings.Join([]string{name, runtime.Version(), runtime.GOARCH}, " ")
})

func executable() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}
