package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
	"corbel/spec"
)

type diffFlags struct {
	format, output, failOn string
	bounds                 boundFlags
	cache                  cacheFlags
}

func (a *app) diffCommand() *cobra.Command {
	var f diffFlags
	c := &cobra.Command{
		Use:   "diff OLD-SHOP NEW-SHOP [PATH...]",
		Short: "Say what another shop file changes: limits, and the findings of parts",
		Long: "Says which limits, levels, policies, machines and materials two shop files give differently, and which parts' findings\n" +
			"change with them: those under the new file, in its folder or in the paths given. What the old file extends is read\n" +
			"beside the old file, so that the two may be taken from an earlier revision; where it is not there, beside the new one,\n" +
			"and that is said. For two trees of parts see corbel check --changed-since.\n\n" +
			"Exit code 0: no new finding at or above the level of --fail-on. 1: some. 2: something could not be checked.",
		Args: arguments(2, many),
		RunE: func(c *cobra.Command, args []string) error { return a.diff(c.Context(), args[0], args[1], args[2:], f) },
	}
	c.Flags().StringVar(&f.format, "format", "text", "what to write: text, json or markdown")
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	c.Flags().StringVar(&f.failOn, "fail-on", "error", "least level of a new finding that makes the exit code 1: error, warning or note")
	f.bounds.add(c)
	f.cache.add(c)
	return c
}

// swap reads the old shop file in the place of the new one, while it is on, and
// what it extends beside it.
type swap struct {
	old, now         string // absolute
	oldBase, nowBase string // absolute: what the old file extends, beside it and beside the new one; empty where nothing is there
	lacking          string // what the old file extends and is not beside it: what is beside the new one stands for it
	most             int64  // bytes of a text
	on               atomic.Bool
}

func newSwap(old, now string, most int64) (*swap, error) {
	s := &swap{most: most}
	var err error
	if s.old, err = filepath.Abs(old); err != nil {
		return nil, err
	}
	if s.now, err = filepath.Abs(now); err != nil {
		return nil, err
	}
	text, err := rules.ReadText("", s.old, most)
	if err != nil {
		return s, nil // reading it as a shop file says why
	}
	file, _ := spec.ParseShop(old, text)
	if !file.Extends.Set || filepath.IsAbs(filepath.FromSlash(file.Extends.V)) {
		return s, nil
	}
	base := rules.Beside(s.old, file.Extends.V)
	if _, err := os.Stat(base); err != nil {
		s.lacking = base
		return s, nil
	}
	s.oldBase, s.nowBase = base, rules.Beside(s.now, file.Extends.V)
	return s, nil
}

func (s *swap) read(root, path string) ([]byte, error) {
	if abs, err := filepath.Abs(path); s.on.Load() && err == nil {
		switch abs {
		case s.now:
			root, path = "", s.old // an older state may lie anywhere
		case s.nowBase:
			root, path = "", s.oldBase
		}
	}
	return rules.ReadText(root, path, s.most)
}

func (a *app) diff(ctx context.Context, old, now string, paths []string, f diffFlags) error {
	failOn := rules.Level(f.failOn)
	if failOn.Weight() == 0 {
		return fmt.Errorf("--fail-on takes error, warning or note, not %q", f.failOn)
	}
	if !slices.Contains([]string{"text", "json", "markdown"}, f.format) {
		return fmt.Errorf("--format takes text, json or markdown, not %q", f.format)
	}
	o, err := f.bounds.options()
	if err != nil {
		return err
	}
	s, err := newSwap(old, now, o.MaxTextBytes)
	if err != nil {
		return err
	}
	if s.lacking != "" {
		say(a.err, fmt.Sprintf("%s is not there, which %s extends: the one beside %s stands for it", s.lacking, old, now))
	}
	o.Disk, o.ReadFile = f.cache.open(), s.read
	k := newChecker("", o)
	after := k.engine.ShopFile(ctx, now)
	s.on.Store(true)
	before := k.engine.ShopFile(ctx, now)
	s.on.Store(false)
	before.Path = old
	for _, r := range []*rules.ShopReport{before, after} {
		if len(r.Failures) > 0 {
			return errors.New(r.Failures[0].Why)
		}
	}
	if len(paths) == 0 {
		paths = []string{filepath.Dir(now)}
	}
	specs, problems := findSpecs(paths)
	for _, p := range problems {
		say(a.err, p)
	}
	parts := a.heldAgainst(ctx, k, s, specs)
	if err := ctx.Err(); err != nil {
		return err
	}
	d := output.NewDiff(before, after, parts)
	for i := range d.Parts {
		tellFailures(a.err, d.Parts[i].Path, d.Parts[i].Failures)
	}
	switch {
	case d.Totals.Unchecked > 0:
		a.code = exitUnchecked
	case d.Totals.AtLeast(failOn) > 0:
		a.code = exitFindings
	}
	return a.write(f.output, func(w io.Writer) error {
		switch f.format {
		case "json":
			return output.DiffJSON(w, d)
		case "markdown":
			return output.DiffMarkdown(w, d, output.Options{FailOn: failOn, Path: inRepository()})
		}
		return output.DiffText(w, d, output.TextOptions{})
	})
}

// heldAgainst checks the parts that the new shop file is in force for, and
// marks the findings that they have under the old one. A mesh is measured once
// for both, as far as the limits ask for the same.
func (a *app) heldAgainst(ctx context.Context, k *checker, s *swap, specs []string) []output.Part {
	specs = slices.DeleteFunc(specs, func(f string) bool { return !slices.Contains(k.text(ctx, f).Deps, s.now) })
	p := newProgress(a.err, isTerminal(a.err))
	defer p.clear()
	d := output.NewDocument(k.all(ctx, specs, p))
	s.on.Store(true)
	base := output.NewDocument(k.all(ctx, specs, p))
	s.on.Store(false)
	d.Hold(base, s.old, func(name string) string { return name })
	return d.Parts
}
