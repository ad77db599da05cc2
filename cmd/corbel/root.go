package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"corbel/rules"
	"corbel/rules/output"
)

// Exit codes.
const (
	exitClean     = 0 // nothing at or above the level
	exitFindings  = 1
	exitUnchecked = 2 // something could not be checked, or the command line is wrong
)

// app is what the commands share: streams, and the exit code they leave.
type app struct {
	in       io.Reader
	out, err io.Writer
	code     int
}

// run is the whole program but the process: arguments in, exit code out.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	a := &app{in: in, out: out, err: errs}
	root := a.command()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	if err := root.ExecuteContext(ctx); err != nil {
		if ctx.Err() != nil && errors.Is(err, context.Canceled) {
			say(errs, "stopped before the end")
			return 130 // as a shell says it
		}
		say(errs, err.Error())
		return exitUnchecked
	}
	return a.code
}

// say tells something on stderr. What it quotes from input stays harmless, and
// every line begins with our name: a CI system takes none for a command.
func say(w io.Writer, text string) {
	for line := range strings.SplitSeq(strings.TrimRight(text, "\n"), "\n") {
		fmt.Fprintf(w, "corbel: %s\n", output.Clean(line))
	}
}

func (a *app) command() *cobra.Command {
	root := &cobra.Command{
		Use:   "corbel",
		Short: "Check the design of metal additive-manufacturing parts",
		Long: "corbel checks part specs (NAME.part.toml) and the meshes they name against the limits of a process, a material,\n" +
			"a machine and a shop. " + rules.GeneralNote,
		SilenceUsage:  true,
		SilenceErrors: true,
		Version:       rules.Version,
	}
	root.SetVersionTemplate("corbel {{.Version}}\n")
	root.AddCommand(a.checkCommand(), a.measureCommand(), a.orientCommand(), a.compareCommand(), a.newCommand(), a.reportCommand(), a.limitsCommand(),
		a.explainCommand(), a.serveCommand(), a.mergeCommand(), a.diffCommand(), a.schemaCommand(), a.versionCommand())
	complete(root)
	return root
}

// complete tells shells the words that options take.
func complete(c *cobra.Command) {
	for flag, words := range map[string][]string{
		"fail-on": {"error", "warning", "note"},
		"color":   {"auto", "always", "never"},
		"process": processes(),
		"units":   {"mm", "um", "cm", "m", "in", "ft"},
	} {
		if c.Flags().Lookup(flag) != nil {
			_ = c.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)) // the flag is there
		}
	}
	for _, sub := range c.Commands() {
		complete(sub)
	}
}

// isTerminal reports whether a stream is a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// coloured decides about colour: "always", "never", or "auto": a terminal
// that is not dumb, and NO_COLOR not set.
func coloured(choice string, w io.Writer) (bool, error) {
	switch choice {
	case "always":
		return true, nil
	case "never":
		return false, nil
	case "auto":
		return isTerminal(w) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb", nil
	}
	return false, fmt.Errorf("--color takes auto, always or never, not %q", choice)
}
