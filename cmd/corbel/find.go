package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"corbel/rules"
)

const specSuffix = ".part.toml"

// findSpecs turns arguments into part specs.
func findSpecs(args []string) (specs []string, problems []string) {
	return find(args, "*"+specSuffix, isSpecName)
}

// findFiles turns arguments into part specs and shop files.
func findFiles(args []string) (files []string, problems []string) {
	return find(args, "*"+specSuffix+" and no "+rules.ShopName, func(name string) bool { return isSpecName(name) || isShopName(name) })
}

func isSpecName(name string) bool { return strings.HasSuffix(name, specSuffix) }

func isShopName(name string) bool {
	return name == rules.ShopName || strings.HasSuffix(name, "."+rules.ShopName)
}

// find turns arguments into files: those named as they are, folders
// searched for names that match. What can't be found is returned beside, the rest goes on. Folders
// whose name begins with a dot are not searched.
func find(args []string, wanted string, match func(name string) bool) (specs []string, problems []string) {
	if len(args) == 0 {
		args = []string{"."}
	}
	seen := map[string]bool{}
	add := func(path string) {
		abs, err := filepath.Abs(path)
		if err != nil {
			abs = path
		}
		if !seen[abs] {
			seen[abs] = true
			specs = append(specs, path)
		}
	}
	for _, arg := range args {
		info, err := os.Stat(arg)
		switch {
		case os.IsNotExist(err):
			problems = append(problems, fmt.Sprintf("%q does not exist", arg))
		case err != nil:
			problems = append(problems, fmt.Sprintf("%q can't be read: %v", arg, err))
		case !info.IsDir():
			if err := noMesh(arg); err != nil {
				problems = append(problems, err.Error())
				continue
			}
			add(arg)
		default:
			found, bad := searchFolder(arg, match)
			for _, f := range found {
				add(f)
			}
			problems = append(problems, bad...)
			if len(found) == 0 && len(bad) == 0 {
				problems = append(problems, fmt.Sprintf("no %s in %q", wanted, arg))
			}
		}
	}
	return specs, problems
}

func searchFolder(dir string, match func(name string) bool) (found, problems []string) {
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			problems = append(problems, fmt.Sprintf("%q can't be searched: %v", path, err))
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
		case d.IsDir() && path != dir && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case match(d.Name()) && !d.IsDir():
			found = append(found, path)
		}
		return nil
	})
	if err != nil {
		problems = append(problems, fmt.Sprintf("%q can't be searched: %v", dir, err))
	}
	sort.Strings(found)
	return found, problems
}

// workspaceOf is the folder that bounds what specs may name: the nearest one
// above that holds a repository, else the highest of the folder the command
// was started in, the folder of the argument and that of the nearest shop
// file. A path given with --root stands over it.
func workspaceOf(spec string) string {
	abs, err := filepath.Abs(spec)
	if err != nil {
		return ""
	}
	dir := filepath.Dir(abs)
	root := dir
	shop := ""
	for at := dir; ; at = filepath.Dir(at) {
		if _, err := os.Stat(filepath.Join(at, ".git")); err == nil {
			return at
		}
		if _, err := os.Stat(filepath.Join(at, "shop.toml")); err == nil && shop == "" {
			shop = at
		}
		if filepath.Dir(at) == at {
			break
		}
	}
	if shop != "" {
		root = shop
	}
	if wd, err := os.Getwd(); err == nil && (wd == root || strings.HasPrefix(root, strings.TrimSuffix(wd, string(filepath.Separator))+string(filepath.Separator))) {
		root = wd
	}
	return root
}
