package rules

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"

	"corbel/spec"
)

// This file reads what specs and shop files name: regular files of bounded
// size, inside the workspace. Every error is one sentence without the name.

var errOutside = errors.New("it lies outside the workspace")

// ReadText reads a spec or a shop file from disk: a regular file of at most so
// many bytes, inside root if that is not empty.
func ReadText(root, path string, most int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, plainError(err)
	}
	if err := regular(info); err != nil {
		return nil, err
	}
	if info.Size() > most {
		return nil, fmt.Errorf("it is %s large, and %s are read at most (--max-text)", sayBytes(info.Size()), sayBytes(most))
	}
	f, err := openWithin(root, path)
	if err != nil {
		return nil, plainError(err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, plainError(err)
	}
	if int64(len(text)) > most {
		return nil, fmt.Errorf("it grew past %s while it was read", sayBytes(most))
	}
	return text, nil
}

// regular refuses what is no file to read: a device may never end.
func regular(info fs.FileInfo) error {
	switch m := info.Mode(); {
	case m.IsRegular():
		return nil
	case m.IsDir():
		return errors.New("it is a folder")
	case m&fs.ModeDevice != 0:
		return errors.New("it is a device, no file")
	}
	return errors.New("it is no regular file")
}

// plainError says the usual causes without the system's wording.
func plainError(err error) error {
	var path *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &wrapped{"there is no such file", err}
	case errors.Is(err, fs.ErrPermission):
		return &wrapped{"reading it is not allowed", err}
	case errors.As(err, &path):
		return &wrapped{path.Err.Error(), err}
	}
	return err
}

type wrapped struct {
	text string
	err  error
}

func (w *wrapped) Error() string { return w.text }
func (w *wrapped) Unwrap() error { return w.err }

func sayBytes(n int64) string {
	switch {
	case n >= 1<<30:
		return fmt.Sprintf("%.1f GiB", float64(n)/(1<<30))
	case n >= 1<<20:
		return fmt.Sprintf("%.1f MiB", float64(n)/(1<<20))
	case n >= 1<<10:
		return fmt.Sprintf("%.1f KiB", float64(n)/(1<<10))
	}
	return fmt.Sprintf("%d bytes", n)
}

// Beside resolves a path that a file names, relative to that file's folder.
func Beside(file, name string) string {
	name = filepath.FromSlash(name)
	if filepath.IsAbs(name) {
		return filepath.Clean(name)
	}
	return filepath.Join(filepath.Dir(file), name)
}

// otherMesh is the mesh that a spec may mean by a name that leads nowhere, named as the
// spec would: in that folder one of nearly the same name, whatever its format, else the
// only one there that no other spec beside it is named after. Empty if there is none.
func (e *Engine) otherMesh(specFile, name string) string {
	const most = 1000 // files of a folder are looked at
	folder := filepath.Dir(Beside(specFile, name))
	if within(e.root(specFile), folder) != nil {
		return ""
	}
	f, err := os.Open(folder)
	if err != nil {
		return ""
	}
	defer f.Close()
	entries, _ := f.ReadDir(most)
	specs := map[string]bool{} // what they are named after
	var meshes, stems []string
	for _, entry := range entries {
		if stem, ok := strings.CutSuffix(entry.Name(), ".part.toml"); ok && entry.Name() != filepath.Base(specFile) {
			specs[stem] = true
		}
		if spec.IsMeshName(entry.Name()) && !entry.IsDir() {
			meshes = append(meshes, entry.Name())
		}
	}
	slices.Sort(meshes)
	stem := func(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }
	for _, m := range meshes {
		stems = append(stems, stem(m))
	}
	at := slices.Index(stems, spec.Nearest(stem(filepath.Base(name)), stems))
	switch {
	case at >= 0:
	case len(meshes) == 1 && !specs[stems[0]]:
		at = 0
	default:
		return ""
	}
	return path.Join(path.Dir(filepath.ToSlash(name)), meshes[at])
}

// root is the bound of what a spec or shop file may name.
func (e *Engine) root(path string) string {
	if e.o.Root == "" && e.o.RootOf != nil {
		return e.o.RootOf(path)
	}
	return e.o.Root
}

// within reports an error where path leads out of root, symbolic links
// followed as far as the path exists. An empty root is no bound.
func within(root, path string) error {
	if root == "" {
		return nil
	}
	_, _, err := inRoot(root, path)
	return err
}

// inRoot gives the root and the path from there on, symbolic links followed, or
// an error where that leads out.
func inRoot(root, path string) (real, name string, err error) {
	if real, err = realPath(root); err != nil {
		return "", "", err
	}
	p, err := realPath(path)
	if err != nil {
		return "", "", err
	}
	name, err = filepath.Rel(real, p)
	if err != nil || name == ".." || strings.HasPrefix(name, ".."+string(filepath.Separator)) {
		return "", "", errOutside
	}
	return real, name, nil
}

// openWithin opens a regular file for reading that lies in root, links followed;
// an empty root is no bound. What the links lead to now is opened from the root
// on, so that a link that is put there meanwhile can't lead out, nor a named pipe
// keep anybody waiting.
func openWithin(root, path string) (*os.File, error) {
	f, err := openRooted(root, path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil {
		err = regular(info)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func openRooted(root, path string) (*os.File, error) {
	flag := os.O_RDONLY
	if runtime.GOOS != "windows" {
		flag |= syscall.O_NONBLOCK
	}
	if root == "" {
		return os.OpenFile(path, flag, 0)
	}
	real, name, err := inRoot(root, path)
	if err != nil {
		return nil, err
	}
	r, err := os.OpenRoot(real)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return r.OpenFile(name, flag, 0)
}

// realPath is the absolute path with the links of what exists of it followed.
func realPath(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	rest := ""
	for at := abs; ; at = filepath.Dir(at) {
		if real, err := filepath.EvalSymlinks(at); err == nil {
			return filepath.Join(real, rest), nil
		}
		if filepath.Dir(at) == at {
			return abs, nil
		}
		rest = filepath.Join(filepath.Base(at), rest)
	}
}

func absolute(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		return abs
	}
	return path
}
