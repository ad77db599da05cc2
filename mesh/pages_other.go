//go:build !linux

package mesh

// HugePages does nothing where a system chooses its pages itself.
func HugePages(int) {}
