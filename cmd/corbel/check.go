package main

import (
	"context"
	"fmt"
	"io"
	"sync"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

// checkFlags are the options of check.
type checkFlags struct {
	failOn, color, memory, root string
	jobs                        int
	out                         outputFlags
	cache                       cacheFlags
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
	f.out.add(c)
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
	targets, err := f.out.targets()
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
	parts := checkAll(ctx, specs, f.root, o)
	p.clear()
	if err := ctx.Err(); err != nil {
		return err
	}
	d := output.NewDocument(parts)
	for _, s := range problems {
		fmt.Fprintln(a.err, "corbel:", s)
		d.Missing = append(d.Missing, output.Failure{What: "path", Why: s})
	}
	tellDocument(a.err, d)
	a.judge(d, failOn)
	return a.writeAll(targets, d, output.Options{Color: color, FailOn: failOn, Path: inRepository()})
}

// judge counts the findings and sets the exit code.
func (a *app) judge(d *output.Document, failOn rules.Level) {
	totals := d.Count()
	switch {
	case len(d.Missing) > 0 || totals.Unchecked > 0:
		a.code = exitUnchecked
	case totals.AtLeast(failOn) > 0:
		a.code = exitFindings
	}
}

// checkAll checks the specs, some at once, and returns the reports in the
// order of the specs. Specs of one workspace share an engine. What is kept of
// a part holds no mesh, so that thousands fit into memory.
func checkAll(ctx context.Context, specs []string, root string, o rules.Options) []output.Part {
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
	parts := make([]output.Part, len(specs))
	var wg sync.WaitGroup
	for i, s := range specs {
		e := engineOf(s)
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			parts[i] = output.PartOf(e.Part(ctx, s, rules.Full))
		})
	}
	wg.Wait()
	return parts
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
