package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"

	"github.com/spf13/cobra"

	"corbel/rules/output"
)

func (a *app) mergeCommand() *cobra.Command {
	var out outputFlags
	var judge judgeFlags
	var color string
	c := &cobra.Command{
		Use:   "merge FILE...",
		Short: "Make one result of many that check wrote as JSON",
		Long: "Makes one result of those that check --format json wrote: of the shards of a run, what the run would have written uncut,\n" +
			"in any format; a shard that is missing is said. Of a folder it takes every *.json.\n\n" +
			"Exit code as that of check.",
		Args: arguments(1, many),
		RunE: func(_ *cobra.Command, args []string) error {
			failOn, base, err := judge.read()
			if err != nil {
				return err
			}
			targets, err := out.targets()
			if err != nil {
				return err
			}
			paint, err := coloured(color, a.out)
			if err != nil {
				return err
			}
			d, err := mergeFiles(args)
			if err != nil {
				return err
			}
			if base != nil {
				d.Hold(base, filepath.ToSlash(judge.baseline), namedFrom())
			}
			for _, m := range d.Missing {
				say(a.err, m.Why)
			}
			tellDocument(a.err, d)
			a.judge(d, failOn)
			return a.writeAll(targets, d, output.Options{Color: paint, FailOn: failOn, Path: inRepository()})
		},
	}
	out.add(c)
	judge.add(c)
	c.Flags().StringVar(&color, "color", "auto", "auto, always or never; NO_COLOR is honoured")
	return c
}

func mergeFiles(args []string) (*output.Document, error) {
	var files []string
	for _, arg := range args {
		info, err := os.Stat(arg)
		if err != nil || !info.IsDir() {
			files = append(files, arg)
			continue
		}
		found, err := filepath.Glob(filepath.Join(arg, "*.json"))
		if err != nil {
			return nil, err
		}
		if len(found) == 0 {
			return nil, fmt.Errorf("no *.json in %q", arg)
		}
		sort.Strings(found)
		files = append(files, found...)
	}
	var docs []*output.Document
	for _, f := range files {
		d, err := readDocument(f)
		if err != nil {
			return nil, err
		}
		docs = append(docs, d)
	}
	d, err := output.Merge(docs)
	if err != nil {
		return nil, fmt.Errorf("merge: %w", err)
	}
	return d, nil
}
