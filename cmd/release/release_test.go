package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// checkout makes a small repository in the shape of this one.
func checkout(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod":                     "module corbel\n\ngo 1.26.0\n",
		"LICENSE":                    "Do as you like.\n",
		"README.md":                  "# corbel\n",
		"cmd/corbel/manual/guide.md": "# Guide\n",
		"cmd/corbel/manual/man/a.1":  ".TH a 1\n",
		"cmd/corbel/main.go":         "package main\n\nvar commit string\n\nfunc main() { println(commit) }\n",
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, args := range [][]string{
		{"init", "-q"}, {"add", "-A"},
		{"-c", "user.name=a", "-c", "user.email=a@example.com", "commit", "-q", "-m", "Begin", "--date=2026-01-02T03:04:05Z"},
	} {
		cmd := exec.Command("git", args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("git %v: %v\n%s", args, err, out)
		}
	}
	return dir
}

func TestReleaseIsWholeAndReproducible(t *testing.T) {
	t.Chdir(checkout(t))
	parent := t.TempDir()
	some := []target{{"linux", "amd64"}, {"windows", "arm64"}}
	read := func(out string) map[string][]byte {
		if err := release(context.Background(), out, some); err != nil {
			t.Fatal(err)
		}
		files := map[string][]byte{}
		entries, err := os.ReadDir(out)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if files[e.Name()], err = os.ReadFile(filepath.Join(out, e.Name())); err != nil {
				t.Fatal(err)
			}
		}
		return files
	}
	first, second := read(filepath.Join(parent, "a")), read(filepath.Join(parent, "b"))
	if len(first) != 4 || len(second) != 4 {
		t.Fatalf("%d and %d files, want two archives, a bill and the digests", len(first), len(second))
	}
	for name, data := range first {
		if !bytes.Equal(data, second[name]) {
			t.Errorf("%s differs between two runs", name)
		}
		if line := fmt.Sprintf("%x  %s\n", sha256.Sum256(data), name); name != "SHA256SUMS" && !strings.Contains(string(first["SHA256SUMS"]), line) {
			t.Errorf("the digests lack %s", name)
		}
		switch filepath.Ext(name) {
		case ".gz":
			checkNames(t, "corbel", tarNames(t, data))
		case ".zip":
			checkNames(t, "corbel.exe", zipNames(t, data))
		case ".json":
			var b billOfMaterials
			if err := json.Unmarshal(data, &b); err != nil || len(b.Components) != 1 || !strings.HasPrefix(b.Components[0].URL, "pkg:golang/std@1.") {
				t.Errorf("%s: %v\n%s", name, err, data)
			}
		}
	}
}

func TestReleaseRefuses(t *testing.T) {
	dir := checkout(t)
	t.Chdir(dir)
	out := filepath.Join(t.TempDir(), "dist")
	if err := os.Mkdir(out, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := release(context.Background(), out, targets); err == nil || !strings.Contains(err.Error(), "there already") {
		t.Errorf("a folder that is there: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "more.go"), []byte("package x\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := release(context.Background(), out+"2", targets); err == nil || !strings.Contains(err.Error(), "more.go") {
		t.Errorf("uncommitted changes: %v", err)
	}
	if _, err := os.Lstat(out + "2"); err == nil {
		t.Error("a refused release left its folder")
	}
}

func TestModuleWithoutLicenceIsRefused(t *testing.T) {
	dir := t.TempDir()
	if _, err := licences(dir); err == nil {
		t.Error("no licence file, and no complaint")
	}
	if err := os.WriteFile(filepath.Join(dir, "COPYING.txt"), []byte("Yours."), 0o666); err != nil {
		t.Fatal(err)
	}
	if l, err := licences(dir); err != nil || len(l) != 1 {
		t.Errorf("%d licences, %v", len(l), err)
	}
}

func checkNames(t *testing.T, program string, got []string) {
	t.Helper()
	for i := range got {
		_, got[i], _ = strings.Cut(got[i], "/")
	}
	want := []string{program, "LICENSE", "README.md", "NOTICES", "manual/guide.md", "manual/man/a.1"}
	if !slices.Equal(got, want) {
		t.Errorf("archive holds %q, want %q", got, want)
	}
}

func tarNames(t *testing.T, data []byte) (names []string) {
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return names
		}
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, h.Name)
	}
}

func zipNames(t *testing.T, data []byte) (names []string) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		names = append(names, f.Name)
	}
	return names
}
