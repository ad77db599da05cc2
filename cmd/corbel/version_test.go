package main

import (
	"runtime/debug"
	"strings"
	"testing"

	"corbel/rules"
)

func TestVersionText(t *testing.T) {
	built := &debug.BuildInfo{Settings: []debug.BuildSetting{
		{Key: "vcs.revision", Value: "0123456789abcdef0123456789abcdef01234567"},
		{Key: "vcs.modified", Value: "true"},
	}}
	for _, c := range []struct {
		info *debug.BuildInfo
		want string
	}{
		{nil, "\nbuilt from go"},
		{&debug.BuildInfo{}, "\nbuilt from go"},
		{built, "\nbuilt from commit 0123456789ab with changes, go"},
	} {
		got := versionText(c.info)
		if !strings.HasPrefix(got, "corbel "+rules.Version+"\n") || !strings.Contains(got, c.want) || strings.Count(got, "\n") != 2 {
			t.Errorf("%q, want %q in it", got, c.want)
		}
	}
}
