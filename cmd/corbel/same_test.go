package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// The same input gives the same bytes, on any number of cores, again, and from
// what was kept.
func TestSameBytes(t *testing.T) {
	demo, err := filepath.Abs("../../testdata/demo")
	if err != nil {
		t.Fatal(err)
	}
	cache := filepath.Join(t.TempDir(), "cache")
	first := map[string][]byte{}
	for _, r := range []struct {
		name, cores, option string
		page                bool // costs most
	}{
		{"1 core", "1", "--no-cache", true},
		{"2 cores", "2", "--no-cache", false},
		{"8 cores", "8", "--no-cache", true},
		{"8 cores again, into a cache", "8", "--cache=" + cache, false},
		{"2 cores, from the cache", "2", "--cache=" + cache, true},
	} {
		out := t.TempDir()
		in := func(name string) string { return filepath.Join(out, name) }
		commands := [][]string{{"check", r.option, "-o", "text=" + in("text"), "-o", "json=" + in("json"), "-o", "sarif=" + in("sarif"), "parts/latch.part.toml"}}
		outputs := []string{"text", "json", "sarif"}
		if r.page {
			commands, outputs = append(commands, []string{"report", r.option, "-o", in("html"), "parts/latch.part.toml"}), append(outputs, "html")
		}
		for _, args := range commands {
			c := exec.Command("corbel", args...)
			c.Dir, c.Env = demo, append(os.Environ(), "GOMAXPROCS="+r.cores)
			said, err := c.CombinedOutput()
			if code := new(exec.ExitError); err != nil && !(errors.As(err, &code) && code.ExitCode() == exitFindings) {
				t.Fatalf("%s: %v: %v\n%s", r.name, args, err, said)
			}
		}
		for _, name := range outputs {
			have, err := os.ReadFile(in(name))
			if err != nil || len(have) < 500 {
				t.Fatalf("%s: %s has %d bytes: %v", r.name, name, len(have), err)
			}
			if first[name] == nil {
				first[name] = have
			} else if !bytes.Equal(have, first[name]) {
				t.Errorf("%s: %s differs from that of 1 core", r.name, name)
			}
		}
	}
}
