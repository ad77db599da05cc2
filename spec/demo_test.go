package spec

import (
	"os"
	"path/filepath"
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
