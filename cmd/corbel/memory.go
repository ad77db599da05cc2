package main

import (
	"fmt"
	"runtime/debug"
	"strconv"
	"strings"
)

// defaultMemory is what ten million facets are read and measured in.
const defaultMemory = "8GiB"

// boundMemory reads --memory and tells the runtime to collect garbage more
// eagerly as the bound comes near. GOMEMLIMIT stands where it asks for less.
func boundMemory(text string) (int64, error) {
	n, err := parseBytes(text)
	if err == nil && n < debug.SetMemoryLimit(-1) {
		debug.SetMemoryLimit(n)
	}
	return n, err
}

// parseBytes understands 512MB, 2GiB, 1.5g and plain bytes.
func parseBytes(s string) (int64, error) {
	num := strings.TrimRightFunc(s, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	unit := strings.ToLower(strings.TrimSpace(s[len(num):]))
	v, err := strconv.ParseFloat(num, 64)
	factor, ok := map[string]float64{"": 1, "b": 1, "k": 1 << 10, "kb": 1e3, "kib": 1 << 10, "m": 1 << 20, "mb": 1e6, "mib": 1 << 20,
		"g": 1 << 30, "gb": 1e9, "gib": 1 << 30}[unit]
	if err != nil || !ok || v <= 0 || v*factor > 1<<50 {
		return 0, fmt.Errorf("--memory takes a size like 512MiB or 2GiB, not %q", s)
	}
	return int64(v * factor), nil
}
