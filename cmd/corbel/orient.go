package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

type orientFlags struct {
	format, output string
	write          bool
	choice         int
	bounds         boundFlags
}

func (a *app) orientCommand() *cobra.Command {
	var f orientFlags
	c := &cobra.Command{
		Use:   "orient SPEC",
		Short: "Rank the ways to stand a part",
		Long: "Looks over the whole sphere for ways to stand the part, and ranks a few by what they cost the shop: machine time,\n" +
			"support and taking it off. What does not fit the machine, or harms a declared face or hole, comes after what does not.",
		Args: specArguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.orient(c.Context(), args[0], f) },
	}
	c.Flags().StringVar(&f.format, "format", "text", "what to write: text or json")
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	c.Flags().BoolVar(&f.write, "write", false, "put a choice into the spec; all else in it stays as it is")
	c.Flags().IntVar(&f.choice, "choice", 1, "which choice --write takes")
	f.bounds.add(c)
	return c
}

func (a *app) orient(ctx context.Context, path string, f orientFlags) error {
	if f.format != "text" && f.format != "json" {
		return fmt.Errorf("--format takes text or json, not %q", f.format)
	}
	options, err := f.bounds.options()
	if err != nil {
		return err
	}
	p := newProgress(a.err, isTerminal(a.err))
	options.Progress = p.set
	e := rules.New(options)
	o, err := e.Orient(ctx, path)
	p.clear()
	if err != nil {
		return err
	}
	tellUnchecked(a.err, []*rules.PartReport{o.Report})
	if o.Report.Status != rules.Checked {
		a.code = exitUnchecked
	}
	err = a.write(f.output, func(w io.Writer) error {
		if f.format == "json" {
			return output.OrientJSON(w, o)
		}
		return output.OrientText(w, o)
	})
	if err != nil || !f.write || o.Now == nil {
		return err
	}
	return a.writeChoice(path, o, f.choice)
}

// writeChoice edits the spec, whole or not at all.
func (a *app) writeChoice(path string, o *rules.Orientation, n int) error {
	if n < 1 || n > len(o.Choices) {
		return fmt.Errorf("--choice takes 1 to %d, not %d", len(o.Choices), n)
	}
	c := &o.Choices[n-1]
	if len(c.Edits) == 0 {
		fmt.Fprintf(a.err, "corbel: %s stands the part so already; nothing written\n", output.Clean(path))
		return nil
	}
	text := o.Report.Spec.Doc.Text
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, text) {
		return fmt.Errorf("%q has changed meanwhile; nothing written", path)
	}
	err := a.write(path, func(w io.Writer) error {
		_, err := w.Write(rules.Apply(text, c.Edits))
		return err
	})
	if err == nil {
		fmt.Fprintf(a.err, "corbel: wrote up = %s into %s\n", c.Text, output.Clean(path))
	}
	return err
}
