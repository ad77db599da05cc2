package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
	"corbel/spec"
)

// judgeFlags say what fails.
type judgeFlags struct{ failOn, baseline string }

func (f *judgeFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.failOn, "fail-on", "error", "least level that makes the exit code 1: error, warning or note")
	c.Flags().StringVar(&f.baseline, "baseline", "", "`FILE` that an earlier check --format json wrote: only findings that it does not have fail")
}

// read returns the level, and the baseline or nil.
func (f *judgeFlags) read() (rules.Level, *output.Document, error) {
	level := rules.Level(f.failOn)
	if level.Weight() == 0 {
		return "", nil, fmt.Errorf("--fail-on takes error, warning or note, not %q", f.failOn)
	}
	if f.baseline == "" {
		return level, nil, nil
	}
	d, err := readDocument(f.baseline)
	return level, d, err
}

func readDocument(file string) (*output.Document, error) {
	in, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("read %q: %w", file, err)
	}
	defer in.Close()
	d, err := output.Read(in)
	if err != nil {
		return nil, fmt.Errorf("read %q: %w", file, err)
	}
	return d, nil
}

// namedFrom names a file from the folder that the command was started in, so
// that parts are the same ones however they were reached.
func namedFrom() func(string) string {
	wd, err := os.Getwd()
	return func(file string) string {
		name := filepath.FromSlash(file)
		if filepath.IsAbs(name) && err == nil {
			if rel, err := filepath.Rel(wd, name); err == nil {
				name = rel
			}
		}
		return filepath.ToSlash(filepath.Clean(name))
	}
}

// checker checks files.
type checker struct {
	since    string // the tree as it was; empty without one
	progress *progress
	engine   *rules.Engine
}

func newChecker(since string, o rules.Options) *checker {
	c := &checker{since: since}
	o.Progress = func(path, stage string, share float64) {
		if p := c.progress; p != nil {
			p.set(path, stage, share)
		}
	}
	c.engine = rules.New(o)
	return c
}

// all checks files, some at once, and returns them in their order. What is
// kept of a part holds no mesh, so that thousands fit into memory.
func (c *checker) all(ctx context.Context, files []string, p *progress) []output.Part {
	c.progress = p
	// More than the engine measures at once, so that reading text does not wait.
	slots := make(chan struct{}, 16)
	parts := make([]output.Part, len(files))
	var wg sync.WaitGroup
	for i, file := range files {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			parts[i] = c.file(ctx, file)
		})
	}
	wg.Wait()
	return parts
}

// file checks a file, and holds it against the tree as it was.
func (c *checker) file(ctx context.Context, file string) output.Part {
	if c.since == "" {
		return c.now(ctx, file)
	}
	old := filepath.Join(c.since, namedFrom()(file))
	if _, err := os.Stat(old); err != nil {
		return c.now(ctx, file) // a new part: all its findings are new
	}
	if c.same(ctx, file, old) {
		return c.unchanged(ctx, file)
	}
	now, before := c.now(ctx, file), c.now(ctx, old)
	d, base := output.NewDocument([]output.Part{now}), output.NewDocument([]output.Part{before})
	d.Hold(base, c.since, func(string) string { return "" })
	return d.Parts[0]
}

func (c *checker) now(ctx context.Context, file string) output.Part {
	if isShopFile(file) {
		return output.ShopOf(c.engine.ShopFile(ctx, file))
	}
	return output.PartOf(c.engine.Part(ctx, file, rules.Full))
}

// unchanged is a part that need not be checked.
func (c *checker) unchanged(ctx context.Context, file string) output.Part {
	p := c.text(ctx, file)
	p.Status, p.Findings, p.Failures, p.Checks, p.Cautions = output.Unchanged, []output.Finding{}, nil, nil, nil
	return p
}

// text understands a file without opening its mesh.
func (c *checker) text(ctx context.Context, file string) output.Part {
	if isShopFile(file) {
		return c.now(ctx, file)
	}
	return output.PartOf(c.engine.Part(ctx, file, rules.Text))
}

// findBefore looks for the tree as it was.
func (c *checker) findBefore() error {
	if c.since == "" {
		return nil
	}
	if info, err := os.Stat(c.since); err != nil {
		return fmt.Errorf("--changed-since: %w", err)
	} else if !info.IsDir() {
		return fmt.Errorf("--changed-since takes a folder, and %q is none", c.since)
	}
	return nil
}

// same reports whether a file of both trees was made from the same bytes: its
// own, the shop files in force and the mesh, each at the same place.
func (c *checker) same(ctx context.Context, file, old string) bool {
	wd, err := filepath.Abs(".")
	if err != nil {
		return false
	}
	before, err := filepath.Abs(c.since)
	if err != nil {
		return false
	}
	a, b := c.text(ctx, file).Deps, c.text(ctx, old).Deps
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	for i := range a {
		x, e1 := filepath.Rel(wd, a[i])
		y, e2 := filepath.Rel(before, b[i])
		if e1 != nil || e2 != nil || x != y || !sameBytes(a[i], b[i]) {
			return false
		}
	}
	return true
}

// sameBytes compares two files; those that can't be read differ, so that they
// are looked at.
func sameBytes(a, b string) bool {
	x, err := os.Open(a)
	if err != nil {
		return false
	}
	defer x.Close()
	y, err := os.Open(b)
	if err != nil {
		return false
	}
	defer y.Close()
	p, err := x.Stat()
	q, e := y.Stat()
	if err != nil || e != nil || !p.Mode().IsRegular() || !q.Mode().IsRegular() || p.Size() != q.Size() {
		return false
	}
	u, v := make([]byte, 1<<16), make([]byte, 1<<16)
	for {
		n, err := io.ReadFull(x, u)
		m, e := io.ReadFull(y, v)
		if !bytes.Equal(u[:n], v[:m]) {
			return false
		}
		if err != nil || e != nil {
			return ended(err) && ended(e)
		}
	}
}

func ended(err error) bool { return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) }

// isShopFile tells a shop file from a part spec: by its name, and where that
// says neither, by what it holds.
func isShopFile(file string) bool {
	name := filepath.Base(file)
	if isSpecName(name) || !strings.HasSuffix(name, ".toml") {
		return false
	}
	if isShopName(name) {
		return true
	}
	info, err := os.Stat(file)
	if err != nil || !info.Mode().IsRegular() || info.Size() > rules.DefaultMaxTextBytes {
		return false
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return false
	}
	part, _ := spec.ParsePart(file, text)
	return !part.Name.Set && !part.Mesh.File.Set && !part.Process.Set
}
