package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"corbel/spec"
)

// many is no bound on the number of arguments.
const many = math.MaxInt

// arguments lets a command be called with as many arguments as from least to most.
func arguments(least, most int) cobra.PositionalArgs {
	takes := fmt.Sprintf("%d to %d arguments", least, most)
	switch {
	case most == 0:
		takes = "no argument"
	case least == 1 && most == 1:
		takes = "one argument"
	case least == 0 && most == 1:
		takes = "one argument at most"
	case most == many:
		takes = fmt.Sprintf("%d or more arguments", least)
	}
	return func(c *cobra.Command, args []string) error {
		if least <= len(args) && len(args) <= most {
			return nil
		}
		return fmt.Errorf("%s takes %s, not %d: %s", c.Name(), takes, len(args), c.UseLine())
	}
}

// specArguments is arguments where a mesh in the place of its spec is told apart.
func specArguments(least, most int) cobra.PositionalArgs {
	number := arguments(least, most)
	return func(c *cobra.Command, args []string) error {
		if err := number(c, args); err != nil {
			return err
		}
		for _, arg := range args {
			if err := noMesh(arg); err != nil {
				return err
			}
		}
		return nil
	}
}

// noMesh says what to do with a mesh, or with what is to become one, that was
// given for a part spec.
func noMesh(path string) error {
	switch {
	case spec.IsCADName(path):
		return fmt.Errorf("%q is a CAD file without facets: export a mesh from CAD (STL, 3MF, OBJ or PLY), and corbel new MESH writes a part spec for it", path)
	case !spec.IsMeshName(path):
		return nil
	}
	return fmt.Errorf("%q is a mesh: give the part spec that names it; corbel new %q writes one", path, path)
}
