package main

import (
	"errors"
	"fmt"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"corbel/mesh"
	"corbel/rules"
)

// boundFlags bound what the input may take and reach: the commands that read
// meshes share them, so that a part refused by one is refused by all.
type boundFlags struct {
	memory size
	text   size
	time   time.Duration
	root   string
	load   mesh.LoadOptions
}

// add declares the options. Their defaults let every part pass that was made in
// good faith.
func (f *boundFlags) add(c *cobra.Command) {
	f.memory, f.text = rules.DefaultMemory, rules.DefaultMaxTextBytes
	f.load.MaxBytes = mesh.DefaultMaxBytes
	s := c.Flags()
	s.Var(&f.memory, "memory", "memory for meshes and what is kept of them; a mesh that does not fit is refused")
	s.Var(&f.text, "max-text", "largest part spec or shop file")
	s.Var((*size)(&f.load.MaxBytes), "max-mesh", "largest mesh file, and what one may unpack to")
	s.IntVar(&f.load.MaxFacets, "max-facets", mesh.DefaultMaxFacets, "facets of the largest mesh")
	s.IntVar(&f.load.MaxRatio, "max-ratio", mesh.DefaultMaxRatio, "how many times its size a large file of an archive may unpack to")
	s.IntVar(&f.load.MaxEntries, "max-entries", mesh.DefaultMaxEntries, "files in an archive")
	s.IntVar(&f.load.MaxNesting, "max-nesting", mesh.DefaultMaxNesting, "levels of objects in each other in an archive")
	s.DurationVar(&f.time, "max-time", rules.DefaultMaxTime, "time that one part may take, such as 90s or 10m; 0 is no bound")
	addRoot(c, &f.root)
}

// options are what the flags say. The runtime is told to collect garbage more
// eagerly as the bound on memory comes near; GOMEMLIMIT stands where it asks
// for less. It collects once half as much was added as is in use, not as much
// again, unless GOGC says otherwise: most of the memory are numbers of meshes,
// which cost a collection next to nothing.
func (f *boundFlags) options() (rules.Options, error) {
	if f.time < 0 {
		return rules.Options{}, fmt.Errorf("--max-time takes a time like 10m, not %s", f.time)
	}
	o := rules.Options{Memory: int64(f.memory), MaxTextBytes: int64(f.text), MaxTime: f.time, Load: f.load, Root: f.root, RootOf: workspaceOf}
	for name, n := range map[string]*int{"facets": &o.Load.MaxFacets, "ratio": &o.Load.MaxRatio, "entries": &o.Load.MaxEntries, "nesting": &o.Load.MaxNesting} {
		if *n < 1 {
			return rules.Options{}, fmt.Errorf("--max-%s takes a number from 1 on, not %d", name, *n)
		}
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	if o.Memory < debug.SetMemoryLimit(-1) {
		debug.SetMemoryLimit(o.Memory)
	}
	return o, nil
}

const gcPercent = 50

// addRoot declares the option that bounds the files that specs may name.
func addRoot(c *cobra.Command, dir *string) {
	c.Flags().StringVar(dir, "root", "", "`FOLDER` that specs and all files named by them must lie in, links followed; the repository or the shop's folder by default")
}

// size is a number of bytes as people write it.
type size int64

func (s *size) Type() string { return "SIZE" }

func (s *size) String() string {
	for _, u := range []struct {
		name string
		of   size
	}{{"GiB", 1 << 30}, {"MiB", 1 << 20}, {"KiB", 1 << 10}} {
		if *s != 0 && *s%u.of == 0 {
			return strconv.FormatInt(int64(*s/u.of), 10) + u.name
		}
	}
	return strconv.FormatInt(int64(*s), 10)
}

// Set understands 512MB, 2GiB, 1.5g and plain bytes.
func (s *size) Set(text string) error {
	num := strings.TrimRightFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	unit := strings.ToLower(strings.TrimSpace(text[len(num):]))
	v, err := strconv.ParseFloat(num, 64)
	factor, ok := map[string]float64{"": 1, "b": 1, "k": 1 << 10, "kb": 1e3, "kib": 1 << 10, "m": 1 << 20, "mb": 1e6, "mib": 1 << 20,
		"g": 1 << 30, "gb": 1e9, "gib": 1 << 30}[unit]
	if err != nil || !ok || v*factor < 1 || v*factor > 1<<50 {
		return errors.New("it takes a size like 512MiB or 2GiB")
	}
	*s = size(v * factor)
	return nil
}
