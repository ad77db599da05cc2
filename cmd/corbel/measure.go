package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"corbel/mesh"
	"corbel/rules"
	"corbel/rules/output"
)

type measureFlags struct {
	oneFlags
	units, up, process, material string
	cache                        cacheFlags
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
	f.add(c)
	c.Flags().StringVar(&f.units, "units", "", "unit of a bare mesh's numbers: mm, um, cm, m, in, ft")
	c.Flags().StringVar(&f.up, "up", "+z", "direction of a bare mesh that points away from the platform: +z, -x, or x,y,z")
	c.Flags().StringVar(&f.process, "process", rules.LaserPBF, "process that a bare mesh is looked at for")
	c.Flags().StringVar(&f.material, "material", "", "material of a bare mesh")
	f.cache.add(c)
	return c
}

func (a *app) measure(ctx context.Context, path string, f measureFlags) error {
	up, err := parseUp(f.up)
	if err != nil {
		return err
	}
	if !contains(processes(), f.process) {
		return fmt.Errorf("--process takes %s, not %q", strings.Join(processes(), ", "), f.process)
	}
	disk := f.cache.open()
	var r *rules.PartReport
	err = a.one(&f.oneFlags, func(o *rules.Options) { o.Measure, o.Disk = true, disk }, func(e *rules.Engine) (*rules.PartReport, error) {
		if strings.HasSuffix(path, ".toml") {
			r = e.Part(ctx, path, rules.Full)
		} else {
			r = e.Mesh(ctx, path, rules.MeshOptions{Unit: f.units, Up: up, Process: f.process, Material: f.material}, rules.Full)
		}
		return r, r.Err
	})
	if err != nil {
		return err
	}
	return tell(a, &f.oneFlags, r, output.MeasureJSON, output.MeasureText)
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
