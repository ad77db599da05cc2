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
	oneFlags
	write  bool
	choice int
}

func (a *app) orientCommand() *cobra.Command {
	var f orientFlags
	c := &cobra.Command{
		Use:   "orient SPEC",
		Short: "Rank the ways to stand a part",
		Long: "Looks over the whole sphere for ways to stand the part, and ranks a few by what they cost the shop: machine time,\n" +
			"support and taking it off. What does not fit the machine, harms a declared face or hole, or leaves more support\n" +
			"where no straight tool reaches, comes after what does not.",
		Args: specArguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.orient(c.Context(), args[0], f) },
	}
	f.add(c)
	c.Flags().BoolVar(&f.write, "write", false, "put a choice into the spec; all else in it stays as it is")
	c.Flags().IntVar(&f.choice, "choice", 1, "which choice --write takes")
	return c
}

func (a *app) orient(ctx context.Context, path string, f orientFlags) error {
	var o *rules.Orientation
	err := a.one(&f.oneFlags, nil, func(e *rules.Engine) (*rules.PartReport, error) {
		var err error
		if o, err = e.Orient(ctx, path); err != nil {
			return nil, err
		}
		return o.Report, nil
	})
	if err != nil {
		return err
	}
	err = tell(a, &f.oneFlags, o, output.OrientJSON, output.OrientText)
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
