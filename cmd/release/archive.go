package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// file is one file of an archive.
type file struct {
	name string // with slashes, below the archive's own folder
	data []byte
	mode int64
}

// contents are the files of one archive, in the order they are written.
func contents(ctx context.Context, src source, t target, program string, mods []module) ([]file, error) {
	name := "corbel"
	if t.os == "windows" {
		name += ".exe"
	}
	data, err := os.ReadFile(program)
	if err != nil {
		return nil, err
	}
	files := []file{{name, data, 0o755}}
	for _, f := range []string{"LICENSE", "README.md"} {
		data, err := os.ReadFile(filepath.Join(src.root, f))
		if err != nil {
			return nil, err
		}
		files = append(files, file{f, data, 0o644})
	}
	notices, err := notices(ctx, src.root, mods)
	if err != nil {
		return nil, err
	}
	files = append(files, file{"NOTICES", notices, 0o644})
	manual := filepath.Join(src.root, "cmd", "corbel", "manual")
	err = filepath.WalkDir(manual, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		below, err := filepath.Rel(manual, path)
		if err != nil {
			return err
		}
		data, err := os.ReadFile(path)
		files = append(files, file{"manual/" + filepath.ToSlash(below), data, 0o644})
		return err
	})
	return files, err
}

// pack writes an archive: zip for Windows, tar.gz elsewhere.
func pack(dir, name string, t target, files []file, when time.Time) error {
	ext, write := ".tar.gz", writeTar
	if t.os == "windows" {
		ext, write = ".zip", writeZip
	}
	f, err := os.Create(filepath.Join(dir, name+ext))
	if err != nil {
		return err
	}
	if err := write(f, name, files, when); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func writeTar(w io.Writer, folder string, files []file, when time.Time) error {
	z := gzip.NewWriter(w)
	t := tar.NewWriter(z)
	for _, f := range files {
		h := &tar.Header{Name: folder + "/" + f.name, Mode: f.mode, Size: int64(len(f.data)), ModTime: when, Format: tar.FormatPAX}
		if err := t.WriteHeader(h); err != nil {
			return err
		}
		if _, err := t.Write(f.data); err != nil {
			return err
		}
	}
	if err := t.Close(); err != nil {
		return err
	}
	return z.Close()
}

func writeZip(w io.Writer, folder string, files []file, when time.Time) error {
	z := zip.NewWriter(w)
	for _, f := range files {
		h := &zip.FileHeader{Name: folder + "/" + f.name, Method: zip.Deflate, Modified: when}
		h.SetMode(os.FileMode(f.mode))
		e, err := z.CreateHeader(h)
		if err != nil {
			return err
		}
		if _, err := e.Write(f.data); err != nil {
			return err
		}
	}
	return z.Close()
}

// digests writes SHA256SUMS over all files of a folder, as sha256sum -c reads it.
func digests(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	var lines []string
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return err
		}
		lines = append(lines, fmt.Sprintf("%x  %s\n", sha256.Sum256(data), e.Name()))
	}
	slices.SortFunc(lines, func(a, b string) int { return strings.Compare(a[64:], b[64:]) })
	return os.WriteFile(filepath.Join(dir, "SHA256SUMS"), []byte(strings.Join(lines, "")), 0o644)
}
