package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

// checkFlags are the options of check.
type checkFlags struct {
	format, output, failOn, color, memory, root string
	jobs                                        int
	cache                                       cacheFlags
}

func (a *app) checkCommand() *cobra.Command {
	var f checkFlags
	c := &cobra.Command{
		Use:   "check [PATH...]",
		Short: "Check part specs, or the folders that hold them",
		Long: "Checks part specs; folders are searched for *.part.toml. Without a path, the folder it is started in.\n\n" +
			"Exit code 0: nothing at or above the level of --fail-on. 1: findings. 2: something could not be checked.",
		RunE: func(c *cobra.Command, args []string) error { return a.check(c.Context(), args, f) },
	}
	c.Flags().StringVar(&f.format, "format", "text", "what to write: text or json")
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	c.Flags().StringVar(&f.failOn, "fail-on", "error", "least level that makes the exit code 1: error, warning or note")
	c.Flags().IntVar(&f.jobs, "jobs", 0, "parts measured at once; 0 is one a core")
	c.Flags().StringVar(&f.memory, "memory", defaultMemory, "memory for meshes and what is kept of them; a mesh that does not fit is refused")
	f.cache.add(c)
	c.Flags().StringVar(&f.color, "color", "auto", "auto, always or never; NO_COLOR is honoured")
	c.Flags().StringVar(&f.root, "root", "", "`FOLDER` that all files named by specs must lie in; the repository or the shop's folder by default")
	return c
}

func (a *app) check(ctx context.Context, args []string, f checkFlags) error {
	failOn := rules.Level(f.failOn)
	if failOn.Weight() == 0 {
		return fmt.Errorf("--fail-on takes error, warning or note, not %q", f.failOn)
	}
	format, err := formatter(f)
	if err != nil {
		return err
	}
	memory, err := boundMemory(f.memory)
	if err != nil {
		return err
	}
	color, err := coloured(f.color, a.out)
	if err != nil {
		return err
	}
	specs, problems := findSpecs(args)
	p := newProgress(a.err, isTerminal(a.err))
	o := rules.Options{Jobs: f.jobs, Memory: memory, Progress: p.set, Disk: f.cache.open()}
	reports := checkAll(ctx, specs, f.root, o)
	p.clear()
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, s := range problems {
		fmt.Fprintln(a.err, "corbel:", s)
	}
	tellUnchecked(a.err, reports)
	totals := output.Count(reports)
	switch {
	case len(problems) > 0 || totals.Unchecked > 0:
		a.code = exitUnchecked
	case totals.AtLeast(failOn) > 0:
		a.code = exitFindings
	}
	return a.write(f.output, func(w io.Writer) error { return format(w, reports, color && f.output == "") })
}

// checkAll checks the specs, some at once, and returns the reports in the
// order of the specs. Specs of one workspace share an engine.
func checkAll(ctx context.Context, specs []string, root string, o rules.Options) []*rules.PartReport {
	engines := map[string]*rules.Engine{}
	engineOf := func(spec string) *rules.Engine {
		r := root
		if r == "" {
			r = workspaceOf(spec)
		}
		if engines[r] == nil {
			o := o
			o.Root = r
			engines[r] = rules.New(o)
		}
		return engines[r]
	}
	// More than the engine measures at once, so that reading text does not wait.
	slots := make(chan struct{}, 16)
	reports := make([]*rules.PartReport, len(specs))
	var wg sync.WaitGroup
	for i, s := range specs {
		e := engineOf(s)
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			reports[i] = e.Part(ctx, s, rules.Full)
		})
	}
	wg.Wait()
	return reports
}

// tellUnchecked says on stderr what could not be checked; the report says it too.
func tellUnchecked(w io.Writer, reports []*rules.PartReport) {
	for _, r := range reports {
		more := ""
		switch n := len(r.Failures); {
		case n == 0:
			continue
		case n > 1:
			more = fmt.Sprintf(" (and %d more)", n-1)
		}
		fmt.Fprintf(w, "corbel: %s: %s%s\n", output.Clean(r.Path), output.Clean(r.Failures[0].Why), more)
	}
}

// formatter returns the writer of a format.
func formatter(f checkFlags) (func(io.Writer, []*rules.PartReport, bool) error, error) {
	switch f.format {
	case "text":
		return func(w io.Writer, rs []*rules.PartReport, color bool) error {
			return output.Text(w, rs, output.TextOptions{Color: color, General: true})
		}, nil
	case "json":
		return func(w io.Writer, rs []*rules.PartReport, _ bool) error { return output.JSON(w, rs) }, nil
	}
	return nil, fmt.Errorf("--format takes text or json, not %q", f.format)
}

// write gives a document to stdout, or to a file that is there whole or not at
// all: it is written beside and renamed.
func (a *app) write(file string, emit func(io.Writer) error) error {
	if file == "" || file == "-" {
		return emit(a.out)
	}
	tmp, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".*")
	if err != nil {
		return fmt.Errorf("write %q: %w", file, err)
	}
	err = emit(tmp)
	if e := tmp.Chmod(0o644); err == nil {
		err = e
	}
	if e := tmp.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		os.Remove(tmp.Name())
		return fmt.Errorf("write %q: %w", file, err)
	}
	return nil
}
