package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

type compareFlags struct {
	format, output string
	bounds         boundFlags
}

func (a *app) compareCommand() *cobra.Command {
	var f compareFlags
	c := &cobra.Command{
		Use:   "compare SPEC",
		Short: "Set the machines of the shop side by side for a part",
		Long: "Judges and prices the part under every process and machine of the shop, as the spec stands it, and tells what\n" +
			"milling it from the full would waste and miss.",
		Args: specArguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.compare(c.Context(), args[0], f) },
	}
	c.Flags().StringVar(&f.format, "format", "text", "what to write: text or json")
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	f.bounds.add(c)
	return c
}

func (a *app) compare(ctx context.Context, path string, f compareFlags) error {
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
	c, err := e.Compare(ctx, path)
	p.clear()
	if err != nil {
		return err
	}
	tellUnchecked(a.err, []*rules.PartReport{c.Report})
	if c.Report.Status != rules.Checked {
		a.code = exitUnchecked
	}
	return a.write(f.output, func(w io.Writer) error {
		if f.format == "json" {
			return output.CompareJSON(w, c)
		}
		return output.CompareText(w, c)
	})
}
