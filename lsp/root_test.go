package lsp

import (
	"path/filepath"
	"testing"
)

// What a text may name is bounded by what bounds it for check, or by the folder
// of the workspace that holds that: never by a folder beside it.
func TestWidestBound(t *testing.T) {
	at := func(p string) string { return filepath.FromSlash(p) }
	for _, c := range []struct {
		bound   string
		folders []string
		want    string
	}{
		{"/w/parts", nil, "/w/parts"},
		{"/w/parts", []string{"/w"}, "/w"},
		{"/w/parts", []string{"/w/parts/a"}, "/w/parts"},
		{"/w/parts", []string{"/w/par", "/x"}, "/w/parts"},
		{"/w/parts", []string{"/w/parts", "/w", "/"}, "/"},
	} {
		var folders []string
		for _, f := range c.folders {
			folders = append(folders, at(f))
		}
		if got := widest(at(c.bound), folders); got != at(c.want) {
			t.Errorf("widest(%q, %q) is %q, want %q", c.bound, c.folders, got, c.want)
		}
	}
}
