package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"corbel/rules"
)

// oneFlags are the options of commands that look at one part and tell about it.
type oneFlags struct {
	format, output string
	bounds         boundFlags
}

func (f *oneFlags) add(c *cobra.Command) {
	addFormat(c, &f.format)
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	f.bounds.add(c)
}

// addFormat adds --format to a command that writes text or JSON.
func addFormat(c *cobra.Command, format *string) {
	c.Flags().StringVar(format, "format", "text", "what to write: text or json")
}

func textOrJSON(format string) error {
	if format != "text" && format != "json" {
		return fmt.Errorf("--format takes text or json, not %q", format)
	}
	return nil
}

// one lets an engine look at one part, with progress, and says on stderr what
// it could not do. More, where it is not nil, changes the engine's options.
func (a *app) one(f *oneFlags, more func(*rules.Options), look func(*rules.Engine) (*rules.PartReport, error)) error {
	if err := textOrJSON(f.format); err != nil {
		return err
	}
	options, err := f.bounds.options()
	if err != nil {
		return err
	}
	p := newProgress(a.err, isTerminal(a.err))
	options.Progress = p.set
	if more != nil {
		more(&options)
	}
	r, err := look(rules.New(options))
	p.clear()
	if err != nil {
		return err
	}
	tellUnchecked(a.err, []*rules.PartReport{r})
	if r.Status != rules.Checked {
		a.code = exitUnchecked
	}
	return nil
}

// tell writes what was found in the form that was asked for.
func tell[T any](a *app, f *oneFlags, found T, asJSON, asText func(io.Writer, T) error) error {
	return a.write(f.output, func(w io.Writer) error {
		if f.format == "json" {
			return asJSON(w, found)
		}
		return asText(w, found)
	})
}
