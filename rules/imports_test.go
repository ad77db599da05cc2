package rules

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Imports run downward only. A folder may import the folders named, and
// whatever lies in itself.
var mayImport = map[string][]string{
	"spec":  {},
	"mesh":  {},
	"rules": {"spec", "mesh"},
	"lsp":   {"rules", "spec", "mesh"},
	"cmd":   {"lsp", "rules", "spec", "mesh"},
}

// neverImports are packages of the standard library and of others that a
// folder has no use for: the geometry logs nothing, the rules know no flags.
var neverImports = map[string][]string{
	"spec":  {"log", "log/slog", "flag", "os", "go.lsp.dev", "github.com/spf13"},
	"mesh":  {"log", "log/slog", "flag", "go.lsp.dev", "github.com/spf13", "github.com/BurntSushi/toml"},
	"rules": {"log", "log/slog", "flag", "go.lsp.dev", "github.com/spf13"},
	"lsp":   {"flag", "github.com/spf13"},
}

func TestImportsRunDownward(t *testing.T) {
	files := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && d.Name() != ".."):
			return fs.SkipDir
		case !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		files++
		folder := strings.Split(filepath.ToSlash(path), "/")[1]
		allowed, known := mayImport[folder]
		if !known {
			t.Errorf("%s: a new folder; say in this test what it may import", path)
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, s := range f.Imports {
			name, _ := strconv.Unquote(s.Path.Value)
			judgeImport(t, path, folder, allowed, name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 20 {
		t.Fatalf("found %d files: this test looks in the wrong place", files)
	}
}

func judgeImport(t *testing.T, path, folder string, allowed []string, name string) {
	if own, ok := strings.CutPrefix(name, "corbel/"); ok {
		to := strings.Split(own, "/")[0]
		if to == folder {
			return
		}
		for _, a := range allowed {
			if a == to {
				return
			}
		}
		t.Errorf("%s imports %s: %s may import %v", path, name, folder, allowed)
		return
	}
	for _, no := range neverImports[folder] {
		if name == no || strings.HasPrefix(name, no+"/") || strings.HasPrefix(no, "go.") && strings.HasPrefix(name, no) {
			t.Errorf("%s imports %s, which %s has no use for", path, name, folder)
		}
	}
}

// Checks are pure: no files, no clock, no goroutines.
func TestChecksAreOnlyRules(t *testing.T) {
	files, err := filepath.Glob("check_*.go")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d check files, %v", len(files), err)
	}
	for _, path := range files {
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range f.Imports {
			switch name, _ := strconv.Unquote(s.Path.Value); name {
			case "os", "time", "sync", "io", "context", "net", "os/exec":
				t.Errorf("%s imports %s", path, name)
			}
		}
	}
}
