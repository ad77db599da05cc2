package spec

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The demo workspace is what users see first: nothing in its texts is wrong.
func TestDemoHasNoProblems(t *testing.T) {
	parts, _ := filepath.Glob("../testdata/demo/parts/*.part.toml")
	if len(parts) == 0 {
		t.Fatal("no part spec was found")
	}
	for _, file := range parts {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		p, problems := ParsePart(file, text)
		for _, pr := range problems {
			t.Errorf("%s: %v: %s", file, p.Doc.Position(pr.At.Start), pr.Message)
		}
		if !p.Process.Set || !p.Mesh.File.Set || !p.Orientation.Up.Set {
			t.Errorf("%s: not everything was read: %+v", file, p)
		}
	}
	const shop = "../testdata/demo/shop.toml"
	text, err := os.ReadFile(shop)
	if err != nil {
		t.Fatal(err)
	}
	s, problems := ParseShop(shop, text)
	for _, pr := range problems {
		t.Errorf("%s: %v: %s", shop, s.Doc.Position(pr.At.Start), pr.Message)
	}
	if len(s.Machines) != 5 || len(s.Materials) != 5 || len(s.Limits) != 4 {
		t.Errorf("read %d machines, %d materials, %d sets of limits", len(s.Machines), len(s.Materials), len(s.Limits))
	}
}

// The demo shows the language: every key stands in it at least once. A limit is
// written like any other, and a level: one of each kind of place is enough.
func TestDemoUsesEveryKey(t *testing.T) {
	why := map[string]string{ // what the demo does without
		"shop file:extends": "the demo is one site with one file; the manual of the shop file shows two",
	}
	used := map[string]bool{}
	files, _ := filepath.Glob("../testdata/demo/parts/*.part.toml")
	for _, file := range append(files, "../testdata/demo/shop.toml") {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		kind, doc := PartFile, (*Doc)(nil)
		if filepath.Base(file) == "shop.toml" {
			s, _ := ParseShop(file, text)
			kind, doc = ShopFile, s.Doc
		} else {
			p, _ := ParsePart(file, text)
			doc = p.Doc
		}
		for i := range text {
			if at := doc.KeyAt(i); at.Info != nil && (at.Where == OnHeader || at.Where == OnKey || at.Where == OnValue) {
				used[kindOfPlace(kind, at.Info)] = true
			}
		}
	}
	missing := map[string]bool{}
	for _, kind := range []FileKind{PartFile, ShopFile} {
		for _, k := range Keys(kind) {
			if name := kindOfPlace(kind, &k); !used[name] {
				missing[name] = true
			}
		}
	}
	for name := range missing {
		if why[name] == "" {
			t.Errorf("no part spec or shop file of the demo uses %s", name)
		}
	}
	for name := range why {
		if !missing[name] {
			t.Errorf("%s is excused, and used", name)
		}
	}
}

// kindOfPlace names a key, all limits of one kind of table alike, and all levels.
func kindOfPlace(kind FileKind, k *KeyInfo) string {
	path := slices.Clone(k.Path)
	if len(path) == 2 && path[0] == "levels" {
		path[1] = "CHECK"
	}
	for i := 1; i < len(path); i++ {
		group := slices.ContainsFunc(Limits, func(l LimitInfo) bool { return l.Check() == path[i] })
		if group && path[0] == "limits" && path[i-1] != "material" && path[i-1] != "machine" {
			path[i] = "GROUP"
			if i+1 < len(path) {
				path[i+1] = "LIMIT"
			}
			break
		}
	}
	return kind.String() + ":" + strings.Join(path, ".")
}
