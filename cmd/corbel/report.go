package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
	"corbel/rules/page"
	"corbel/rules/still"
)

type reportFlags struct {
	pictures bool
	output   string
	bounds   boundFlags
	cache    cacheFlags
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	c := &cobra.Command{
		Use:   "report [PATH...]",
		Short: "Write a page about a part: 3D, findings, plots, limits",
		Long: "Checks part specs and writes what was found as HTML pages that open offline and ask no host for anything.\n" +
			"One spec gives one page, NAME.report.html here; a folder, or several specs, give a page each and an index.html\n" +
			"in the folder corbel-report.\n\n" +
			"Exit code 0: written. 2: written, but something could not be checked.",
		RunE: func(c *cobra.Command, args []string) error { return a.report(c.Context(), args, f) },
	}
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE`, or FOLDER where there are several parts; - is the terminal")
	c.Flags().BoolVar(&f.pictures, "pictures", false, "write a PNG of each finding that has a place beside the page, NAME-N-CHECK.png by its number there, for a comment or a letter")
	f.bounds.add(c)
	f.cache.add(c)
	return c
}

// defaultReports is the folder that the pages of several parts go to.
const defaultReports = "corbel-report"

func (a *app) report(ctx context.Context, args []string, f reportFlags) error {
	o, err := f.bounds.options()
	if err != nil {
		return err
	}
	specs, problems := findSpecs(args)
	for _, s := range problems {
		say(a.err, s)
		a.code = exitUnchecked
	}
	if len(specs) == 0 {
		return nil
	}
	if f.pictures && f.output == "-" {
		return errors.New("--pictures needs a file or a folder, not the terminal")
	}
	p := newProgress(a.err, isTerminal(a.err))
	o.Measure, o.Surface, o.Disk, o.Progress = true, true, f.cache.open(), p.set
	w := &reportWriter{app: a, pictures: f.pictures, named: f.output, engine: rules.New(o), progress: p}
	if len(args) == 1 && specs[0] == args[0] {
		file := f.output
		if file == "" {
			file = reportName(specs[0])
		} else if info, err := os.Stat(file); err == nil && info.IsDir() {
			file = filepath.Join(file, reportName(specs[0]))
		}
		_, err := w.part(ctx, specs[0], file)
		return err
	}
	dir := f.output
	if dir == "" {
		dir = defaultReports
		if info, err := os.Lstat(dir); err == nil && !info.IsDir() {
			return fmt.Errorf("%q is no folder: name one with --output", dir)
		}
	}
	if dir == "-" || strings.HasSuffix(strings.ToLower(dir), ".html") {
		return fmt.Errorf("%d parts need a folder for their pages, not --output %q", len(specs), dir)
	}
	return w.folder(ctx, specs, problems, dir, args)
}

// reportName is the file of a spec's page.
func reportName(spec string) string {
	return strings.TrimSuffix(strings.TrimSuffix(filepath.Base(spec), ".toml"), ".part") + ".report.html"
}

type reportWriter struct {
	*app
	pictures bool
	named    string // by the user: the one file that may be a link to another place
	engine   *rules.Engine
	progress *progress
}

// part writes the page of one spec.
func (w *reportWriter) part(ctx context.Context, spec, file string) (*rules.PartReport, error) {
	r := w.engine.Part(ctx, spec, rules.Full)
	w.progress.clear()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r = page.GravestFirst(r)
	tellUnchecked(w.err, []*rules.PartReport{r})
	if r.Status != rules.Checked {
		w.code = exitUnchecked
	}
	o := page.Options{}
	if r.Mesh != nil {
		var err error
		if o.Orientation, err = w.engine.Orient(ctx, spec); err != nil {
			return nil, err
		}
		w.progress.clear()
	}
	err := w.put(file, func(out io.Writer) error { return page.Write(ctx, out, r, o) })
	if err == nil && file != "-" {
		_, err = fmt.Fprintln(w.out, output.StartOfLine(filepath.ToSlash(file)))
	}
	if err == nil && w.pictures && r.Mesh != nil {
		err = w.stills(ctx, r, strings.TrimSuffix(strings.TrimSuffix(file, ".html"), ".report"))
	}
	return r, err
}

// put writes a file. A name that was made of a spec's name may be a link in the
// tree that the spec came with: it is replaced, not followed.
func (w *reportWriter) put(file string, emit func(io.Writer) error) error {
	if file == w.named || file == "-" {
		return w.write(file, emit)
	}
	if err := replace(file, emit); err != nil {
		return fmt.Errorf("write %q: %w", file, err)
	}
	return nil
}

// stills writes a picture of each finding that has a place, STEM-N-CHECK.png,
// where N is its number on the page.
func (w *reportWriter) stills(ctx context.Context, r *rules.PartReport, stem string) error {
	for i := range r.Findings {
		f := &r.Findings[i]
		if !f.HasPlace {
			continue
		}
		png, err := still.Finding(ctx, r, f, still.Options{})
		if err != nil {
			return err
		}
		file := fmt.Sprintf("%s-%d-%s.png", stem, i+1, f.Check)
		if err := w.put(file, func(out io.Writer) error { _, err := out.Write(png); return err }); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(w.out, output.StartOfLine(filepath.ToSlash(file))); err != nil {
			return err
		}
	}
	return nil
}

// folder writes the pages of several specs and the index that leads to them,
// which comes last. Only the cards of the parts are kept meanwhile.
func (w *reportWriter) folder(ctx context.Context, specs, problems []string, dir string, args []string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("write %q: %w", dir, err)
	}
	var cards []page.Card
	taken := map[string]bool{"index.html": true}
	for _, spec := range specs {
		name := freeName(taken, reportName(spec))
		r, err := w.part(ctx, spec, filepath.Join(dir, name))
		if err != nil {
			return err
		}
		c, err := page.NewCard(ctx, r, name)
		if err != nil {
			return err
		}
		cards = append(cards, c)
	}
	title := "Design check"
	if len(args) == 1 {
		if abs, err := filepath.Abs(args[0]); err == nil {
			title = "Design check of " + filepath.Base(abs)
		}
	}
	index := filepath.Join(dir, "index.html")
	err := w.put(index, func(out io.Writer) error { return page.Index(out, title, cards, problems) })
	if err == nil {
		_, err = fmt.Fprintln(w.out, output.StartOfLine(filepath.ToSlash(index)))
	}
	return err
}

// freeName gives every page a name of its own, on file systems that tell no
// capitals too.
func freeName(taken map[string]bool, name string) string {
	stem := strings.TrimSuffix(name, ".report.html")
	for i := 2; taken[strings.ToLower(name)]; i++ {
		name = fmt.Sprintf("%s-%d.report.html", stem, i)
	}
	taken[strings.ToLower(name)] = true
	return name
}
