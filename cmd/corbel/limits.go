package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
	"corbel/spec"
)

func processes() []string {
	var out []string
	for _, c := range spec.Processes {
		out = append(out, c.Value)
	}
	return out
}

func contains(list []string, s string) bool { return slices.Contains(list, s) }

func (a *app) limitsCommand() *cobra.Command {
	var process, material, machine, shop, format, root string
	c := &cobra.Command{
		Use:   "limits [SPEC]",
		Short: "Show every effective limit, its value and where it came from",
		Long: "Shows the limits that hold for a part spec. Without one, those of --process, --material and --machine\n" +
			"under the shop file of --shop, or under the nearest shop.toml upward.",
		Args: specArguments(0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := textOrJSON(format); err != nil {
				return err
			}
			if !contains(processes(), process) {
				return fmt.Errorf("--process takes %s, not %q", strings.Join(processes(), ", "), process)
			}
			e := rules.New(rules.Options{Root: root, RootOf: workspaceOf})
			var r *rules.PartReport
			if len(args) == 1 {
				r = e.Part(c.Context(), args[0], rules.Text)
			} else {
				r = e.Defaults(shop, process, material, machine)
			}
			tellUnchecked(a.err, []*rules.PartReport{r})
			if r.Spec == nil {
				a.code = exitUnchecked
				return nil
			}
			return a.write("", func(w io.Writer) error {
				if format == "json" {
					return output.LimitsJSON(w, r)
				}
				return output.LimitsText(w, r)
			})
		},
	}
	c.Flags().StringVar(&process, "process", rules.LaserPBF, "process, without a spec")
	c.Flags().StringVar(&material, "material", "", "material, without a spec")
	c.Flags().StringVar(&machine, "machine", "", "machine, without a spec")
	c.Flags().StringVar(&shop, "shop", "", "shop `FILE`, without a spec; else the nearest shop.toml upward")
	addFormat(c, &format)
	addRoot(c, &root)
	return c
}

func (a *app) explainCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "explain [CHECK]",
		Short: "Say what a check means, why, and on what it rests",
		Args:  arguments(0, 1),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return checkNames(), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return output.CheckList(a.out)
			}
			c := rules.ByName(args[0])
			if c == nil {
				names := checkNames()
				if meant := spec.Nearest(args[0], names); meant != "" {
					return fmt.Errorf("there is no check %q; did you mean %q?", args[0], meant)
				}
				return fmt.Errorf("there is no check %q; there are %s", args[0], strings.Join(names, ", "))
			}
			return output.Explain(a.out, c)
		},
	}
}

func checkNames() []string {
	var names []string
	for _, c := range rules.Checks() {
		names = append(names, c.Name)
	}
	return names
}
