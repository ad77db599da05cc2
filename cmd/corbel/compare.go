package main

import (
	"context"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

func (a *app) compareCommand() *cobra.Command {
	var f oneFlags
	c := &cobra.Command{
		Use:   "compare SPEC",
		Short: "Set the machines of the shop side by side for a part",
		Long: "Judges and prices the part under every process and machine of the shop, as the spec stands it, and tells what\n" +
			"milling it from the full would waste and miss.",
		Args: specArguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.compare(c.Context(), args[0], f) },
	}
	f.add(c)
	return c
}

func (a *app) compare(ctx context.Context, path string, f oneFlags) error {
	var found *rules.Comparison
	err := a.one(&f, nil, func(e *rules.Engine) (*rules.PartReport, error) {
		var err error
		if found, err = e.Compare(ctx, path); err != nil {
			return nil, err
		}
		return found.Report, nil
	})
	if err != nil {
		return err
	}
	return tell(a, &f, found, output.CompareJSON, output.CompareText)
}
