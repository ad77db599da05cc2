package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules/output"
	"corbel/spec"
)

func (a *app) schemaCommand() *cobra.Command {
	var file string
	names, about := output.Documents()
	long := "Writes the JSON Schema (draft 2020-12) of a file that people write, or of a document that the program writes:\n\n" +
		"  part     the part spec, NAME.part.toml\n  shop     the shop file, shop.toml\n"
	for i, n := range names {
		long += fmt.Sprintf("  %-8s %s\n", n, about[i])
	}
	all := append([]string{"part", "shop"}, names...)
	c := &cobra.Command{
		Use:       "schema " + strings.Join(all, "|"),
		Short:     "Write the JSON Schema of a file or of an output",
		Long:      strings.TrimRight(long, "\n"),
		Args:      arguments(1, 1),
		ValidArgs: all,
		RunE: func(_ *cobra.Command, args []string) error {
			kind := map[string]spec.FileKind{"part": spec.PartFile, "shop": spec.ShopFile}
			emit := func(w io.Writer) error {
				known, err := output.Schema(w, args[0])
				if !known {
					return fmt.Errorf("there is no schema %q; there are %s", args[0], strings.Join(all, ", "))
				}
				return err
			}
			if k, ok := kind[args[0]]; ok {
				emit = func(w io.Writer) error { _, err := w.Write(spec.Schema(k)); return err }
			}
			return a.write(file, emit)
		},
	}
	c.Flags().StringVarP(&file, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	return c
}
