package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

// checkFlags are the options of check.
type checkFlags struct {
	color, shard string
	jobs         int
	watch        bool
	out          outputFlags
	judge        judgeFlags
	since        string
	bounds       boundFlags
	cache        cacheFlags
}

func (a *app) checkCommand() *cobra.Command {
	var f checkFlags
	c := &cobra.Command{
		Use:   "check [PATH...]",
		Short: "Check part specs and shop files, or the folders that hold them",
		Long: "Checks part specs and shop files; folders are searched for *.part.toml and shop.toml. Without a path, the folder it is\n" +
			"started in.\n\n" +
			"Exit code 0: nothing at or above the level of --fail-on. 1: findings. 2: something could not be checked.\n\n" +
			"Formats:\n" + output.FormatsAbout(),
		RunE: func(c *cobra.Command, args []string) error { return a.check(c.Context(), args, f) },
	}
	f.out.add(c)
	f.judge.add(c)
	c.Flags().StringVar(&f.since, "changed-since", "", "`FOLDER` that holds the tree as it was: files that are the same there are not checked, and findings that\n"+
		"were there do not count; it stands for the folder the command was started in")
	c.Flags().StringVar(&f.shard, "shard", "", "`I/N`: check every N-th part from the I-th on; corbel merge makes one result of them")
	c.Flags().IntVar(&f.jobs, "jobs", 0, "parts measured at once; 0 is one a core")
	f.bounds.add(c)
	f.cache.add(c)
	c.Flags().StringVar(&f.color, "color", "auto", "auto, always or never; NO_COLOR is honoured")
	c.Flags().BoolVar(&f.watch, "watch", false, "check again when a file changes, until stopped")
	return c
}

func (a *app) check(ctx context.Context, args []string, f checkFlags) error {
	failOn, base, err := f.judge.read()
	if err != nil {
		return err
	}
	if base != nil && f.since != "" {
		return errors.New("--baseline and --changed-since both say what was there before: give one")
	}
	targets, err := f.out.targets()
	if err != nil {
		return err
	}
	o, err := f.bounds.options()
	if err != nil {
		return err
	}
	color, err := coloured(f.color, a.out)
	if err != nil {
		return err
	}
	shard, err := parseShard(f.shard)
	if err != nil {
		return err
	}
	o.Jobs, o.Disk = f.jobs, f.cache.open()
	k := newChecker(f.since, o)
	if err := k.findBefore(); err != nil {
		return err
	}
	round := func(ctx context.Context) (*output.Document, error) {
		d, err := a.round(ctx, k, args, shard)
		if err != nil {
			return nil, err
		}
		if base != nil {
			d.Hold(base, filepath.ToSlash(f.judge.baseline), namedFrom())
		}
		tellDocument(a.err, d)
		a.judge(d, failOn)
		return d, a.writeAll(targets, d, output.Options{Color: color, FailOn: failOn, Path: inRepository()})
	}
	if f.watch {
		return a.watch(ctx, args, round)
	}
	_, err = round(ctx)
	return err
}

// round checks everything once.
func (a *app) round(ctx context.Context, k *checker, args []string, shard *output.Shard) (*output.Document, error) {
	files, problems := findFiles(args)
	if shard != nil {
		var mine []string
		for _, i := range shard.Share(len(files)) {
			mine = append(mine, files[i])
		}
		files = mine
	}
	p := newProgress(a.err, isTerminal(a.err))
	d := output.NewDocument(k.all(ctx, files, p))
	p.clear()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	d.Shard = shard
	if k.since != "" {
		d.Baseline = &output.Baseline{From: filepath.ToSlash(k.since)}
	}
	for _, s := range problems {
		say(a.err, s)
		d.Missing = append(d.Missing, output.Failure{What: "path", Why: s})
	}
	return d, nil
}

// judge counts the findings and sets the exit code.
func (a *app) judge(d *output.Document, failOn rules.Level) {
	totals := d.Count()
	switch {
	case len(d.Missing) > 0 || totals.Unchecked > 0:
		a.code = exitUnchecked
	case totals.AtLeast(failOn) > 0:
		a.code = exitFindings
	default:
		a.code = exitClean
	}
}

// parseShard understands "2/5".
func parseShard(s string) (*output.Shard, error) {
	if s == "" {
		return nil, nil
	}
	i, n, _ := strings.Cut(s, "/")
	index, err := strconv.Atoi(i)
	of, e := strconv.Atoi(n)
	if err != nil || e != nil || index < 1 || index > of || of > output.ShardsMax {
		return nil, fmt.Errorf("--shard takes I/N with I from 1 to N, such as 2/5, not %q", s)
	}
	return &output.Shard{Index: index, Of: of}, nil
}

// tellDocument says on stderr what could not be checked; the report says it too.
func tellDocument(w io.Writer, d *output.Document) {
	for i := range d.Parts {
		tellFailures(w, d.Parts[i].Path, d.Parts[i].Failures)
	}
}

func tellFailures(w io.Writer, path string, failures []output.Failure) {
	more := ""
	switch n := len(failures); {
	case n == 0:
		return
	case n > 1:
		more = fmt.Sprintf(" (and %d more)", n-1)
	}
	fmt.Fprintf(w, "corbel: %s: %s%s\n", output.Clean(path), output.Clean(failures[0].Why), more)
}

// tellUnchecked says the same of reports.
func tellUnchecked(w io.Writer, reports []*rules.PartReport) {
	for _, r := range reports {
		p := output.PartOf(r)
		tellFailures(w, p.Path, p.Failures)
	}
}
