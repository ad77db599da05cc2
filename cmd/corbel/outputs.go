package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"corbel/rules/output"
)

// outputFlags say what is written, and where.
type outputFlags struct {
	format string
	files  []string
}

func (f *outputFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.format, "format", "text", "what to write: "+strings.Join(output.Formats(), ", "))
	c.Flags().StringArrayVarP(&f.files, "output", "o", nil, "write to this `FILE` instead of the terminal, whole or not at all; "+
		"FORMAT=FILE writes another format beside, and may be given many times")
}

// target is a document in one format and the file it goes to; "" is standard output.
type target struct{ format, file string }

// targets reads the options: a plain FILE takes the format of --format and
// stands for the terminal; FORMAT=FILE comes beside it.
func (f *outputFlags) targets() ([]target, error) {
	known := func(name string) bool { return slices.Contains(output.Formats(), name) }
	if !known(f.format) {
		return nil, fmt.Errorf("--format takes %s, not %q", strings.Join(output.Formats(), ", "), f.format)
	}
	var out []target
	terminal := true
	taken := map[string]bool{}
	for _, s := range f.files {
		t := target{f.format, s}
		if name, file, ok := strings.Cut(s, "="); ok && known(name) {
			t = target{name, file}
		} else {
			terminal = false
		}
		if t.file == "-" {
			t.file, terminal = "", false
		} else if t.file == "" {
			return nil, fmt.Errorf("--output %q names no file", s)
		}
		place := t.file
		if abs, err := filepath.Abs(t.file); err == nil && t.file != "" {
			place = abs
		}
		if taken[place] {
			return nil, fmt.Errorf("--output names %q twice", t.file)
		}
		taken[place] = true
		out = append(out, t)
	}
	if terminal {
		out = append(out, target{f.format, ""})
	}
	return out, nil
}

// writeAll writes a document to every target: the files first, so that a
// reader of the terminal's pipe who goes away takes nothing from them. One that
// can't be written does not keep the others back.
func (a *app) writeAll(targets []target, d *output.Document, o output.Options) error {
	var first error
	emit := func(t target) {
		o := o
		o.Color = o.Color && t.file == ""
		err := a.write(t.file, func(w io.Writer) error { return output.Write(w, t.format, d, o) })
		if first == nil {
			first = err
		}
	}
	for _, t := range targets {
		if t.file != "" {
			emit(t)
		}
	}
	for _, t := range targets {
		if t.file == "" {
			emit(t)
		}
	}
	return first
}

// write gives a document to standard output, or to a file that is there whole
// or not at all: it is written beside and renamed. A link stays a link, and
// what is no regular file, such as a pipe, is written to as it is.
func (a *app) write(file string, emit func(io.Writer) error) error {
	if file == "" || file == "-" {
		return emit(a.out)
	}
	at := file
	if real, err := filepath.EvalSymlinks(file); err == nil {
		at = real
	}
	var err error
	if info, e := os.Stat(at); e == nil && !info.Mode().IsRegular() {
		err = writeInto(at, emit)
	} else {
		err = replace(at, emit)
	}
	if err != nil {
		return fmt.Errorf("write %q: %w", file, err)
	}
	return nil
}

// writeInto writes a whole document to a pipe or a device.
func writeInto(file string, emit func(io.Writer) error) error {
	var b bytes.Buffer
	if err := emit(&b); err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(b.Bytes())
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}

// replace puts a document in the place of a file.
func replace(file string, emit func(io.Writer) error) error {
	tmp, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".*")
	if err != nil {
		return err
	}
	err = emit(tmp)
	if e := tmp.Chmod(0o644); err == nil {
		err = e
	}
	if e := tmp.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		os.Remove(tmp.Name())
	}
	return err
}

// inRepository returns what turns a path into one relative to the repository
// that holds the folder the command was started in; nil without one.
func inRepository() func(string) string {
	wd, err := os.Getwd()
	if err != nil {
		return nil
	}
	root := repositoryOf(wd)
	if root == "" {
		return nil
	}
	return func(file string) string {
		abs, err := filepath.Abs(filepath.FromSlash(file))
		if err != nil {
			return file
		}
		rel, err := filepath.Rel(root, abs)
		if err != nil || rel == ".." || strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
			return file
		}
		return filepath.ToSlash(rel)
	}
}

// repositoryOf is the nearest folder upward that holds a repository, or "".
func repositoryOf(dir string) string {
	for ; ; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, ".git")); err == nil {
			return dir
		}
		if filepath.Dir(dir) == dir {
			return ""
		}
	}
}
