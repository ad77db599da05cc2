package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules"
	"corbel/rules/output"
)

type newFlags struct {
	output, units, process, material, machine string
	bounds                                    boundFlags
}

func (a *app) newCommand() *cobra.Command {
	var f newFlags
	c := &cobra.Command{
		Use:   "new MESH",
		Short: "Write a starter spec from a mesh",
		Long: "Writes a part spec with the mesh's holes, flat faces and inner spaces, the orientation that costs least and the usual\n" +
			"route. Guesses are marked as such. Nothing is overwritten.",
		Args: arguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.start(c.Context(), args[0], f) },
	}
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE`, which must not be there, instead of the terminal")
	c.Flags().StringVar(&f.units, "units", "", "unit of the mesh's numbers: mm, um, cm, m, in, ft; else guessed from its size and, of a small part, its holes")
	c.Flags().StringVar(&f.process, "process", "", "process; "+rules.LaserPBF+" without it")
	c.Flags().StringVar(&f.material, "material", "", "material; else one that the shop runs")
	c.Flags().StringVar(&f.machine, "machine", "", "machine of the shop; else the first that goes with the rest")
	f.bounds.add(c)
	return c
}

func (a *app) start(ctx context.Context, path string, f newFlags) error {
	if f.process != "" && !contains(processes(), f.process) {
		return fmt.Errorf("--process takes %s, not %q", strings.Join(processes(), ", "), f.process)
	}
	options, err := f.bounds.options()
	if err != nil {
		return err
	}
	if f.output == "-" {
		f.output = ""
	}
	if f.output != "" {
		if err := rules.NewFile(f.output); err != nil {
			return err
		}
	}
	p := newProgress(a.err, isTerminal(a.err))
	options.Progress, options.Surface = p.set, true
	e := rules.New(options)
	s, err := e.Starter(ctx, path, rules.StarterOptions{Spec: f.output,
		MeshOptions: rules.MeshOptions{Unit: f.units, Process: f.process, Material: f.material, Machine: f.machine}})
	p.clear()
	if err != nil {
		return err
	}
	tellUnchecked(a.err, []*rules.PartReport{s.Report})
	if len(s.Text) == 0 {
		a.code = exitUnchecked
		return nil
	}
	if f.output == "" {
		_, err := a.out.Write(s.Text)
		return err
	}
	if err := writeFresh(f.output, s.Text); err != nil {
		return err
	}
	fmt.Fprintf(a.err, "corbel: wrote %s\n", output.Clean(f.output))
	return nil
}

// writeFresh writes a file that was not there, whole or not at all: it is
// written beside and then linked, which fails where another has the name.
func writeFresh(path string, text []byte) error {
	fail := func(err error) error {
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("%q is there already; nothing written", path)
		}
		return fmt.Errorf("write %q: %w", path, err)
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fail(err)
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(text)
	if e := tmp.Chmod(0o644); err == nil {
		err = e
	}
	if e := tmp.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Link(tmp.Name(), path)
	}
	if err != nil {
		return fail(err)
	}
	return nil
}
