package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/output"
)

type measureFlags struct {
	format, output, units, up, process, material string
	bounds                                       boundFlags
	cache                                        cacheFlags
}

func (a *app) measureCommand() *cobra.Command {
	var f measureFlags
	c := &cobra.Command{
		Use:   "measure SPEC or MESH",
		Short: "Measure a part without judging it",
		Long: "Measures the mesh of a part spec, or a bare mesh (.stl .3mf .obj .ply).\n" +
			"A bare mesh stands with +z up as PBF-LB/M where nothing else is said.",
		Args: arguments(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.measure(c.Context(), args[0], f) },
	}
	c.Flags().StringVar(&f.format, "format", "text", "what to write: text or json")
	c.Flags().StringVarP(&f.output, "output", "o", "", "write to this `FILE` instead of the terminal, whole or not at all")
	c.Flags().StringVar(&f.units, "units", "", "unit of a bare mesh's numbers: mm, um, cm, m, in, ft")
	c.Flags().StringVar(&f.up, "up", "+z", "direction of a bare mesh that points away from the platform: +z, -x, or x,y,z")
	c.Flags().StringVar(&f.process, "process", rules.LaserPBF, "process that a bare mesh is looked at for")
	c.Flags().StringVar(&f.material, "material", "", "material of a bare mesh")
	f.bounds.add(c)
	f.cache.add(c)
	return c
}

func (a *app) measure(ctx context.Context, path string, f measureFlags) error {
	if f.format != "text" && f.format != "json" {
		return fmt.Errorf("--format takes text or json, not %q", f.format)
	}
	o, err := f.bounds.options()
	if err != nil {
		return err
	}
	up, err := parseUp(f.up)
	if err != nil {
		return err
	}
	if !contains(processes(), f.process) {
		return fmt.Errorf("--process takes %s, not %q", strings.Join(processes(), ", "), f.process)
	}
	p := newProgress(a.err, isTerminal(a.err))
	o.Measure, o.Progress, o.Disk = true, p.set, f.cache.open()
	e := rules.New(o)
	var r *rules.PartReport
	if strings.HasSuffix(path, ".toml") {
		r = e.Part(ctx, path, rules.Full)
	} else {
		r = e.Mesh(ctx, path, rules.MeshOptions{Unit: f.units, Up: up, Process: f.process, Material: f.material}, rules.Full)
	}
	p.clear()
	if r.Err != nil {
		return r.Err
	}
	tellUnchecked(a.err, []*rules.PartReport{r})
	if r.Status != rules.Checked {
		a.code = exitUnchecked
		if r.Bare && r.Info == nil && f.units == "" {
			fmt.Fprintln(a.err, "corbel: a bare mesh that does not say its unit takes it from --units: um, mm, cm, m, in or ft")
		}
	}
	return a.write(f.output, func(w io.Writer) error {
		if f.format == "json" {
			return output.MeasureJSON(w, r)
		}
		return output.MeasureText(w, r)
	})
}

// parseUp understands "+z", "-x" and "0,0,1".
func parseUp(s string) (mesh.Vec, error) {
	bad := fmt.Errorf("--up takes +x, -x, +y, -y, +z, -z or three numbers x,y,z, not %q", s)
	axes := map[string]mesh.Vec{"+x": {1, 0, 0}, "-x": {-1, 0, 0}, "+y": {0, 1, 0}, "-y": {0, -1, 0}, "+z": {0, 0, 1}, "-z": {0, 0, -1},
		"x": {1, 0, 0}, "y": {0, 1, 0}, "z": {0, 0, 1}}
	if v, ok := axes[strings.ToLower(s)]; ok {
		return v, nil
	}
	words := strings.Split(strings.Trim(s, "[]() "), ",")
	var v mesh.Vec
	if len(words) != 3 {
		return v, bad
	}
	for k, w := range words {
		x, err := strconv.ParseFloat(strings.TrimSpace(w), 64)
		if err != nil || x-x != 0 { // NaN and infinities
			return v, bad
		}
		v[k] = x
	}
	if v.Norm() == 0 {
		return v, bad
	}
	return v, nil
}
