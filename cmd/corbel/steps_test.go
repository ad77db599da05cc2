package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"go.yaml.in/yaml/v3"
)

// step FILE PATH OUT: writes the script at a path of a YAML file, such as
// runs.steps.2.run, to OUT. FILE is absolute or relative to the repository. A list of
// commands becomes lines of which the first that fails ends the script.
func step(ts *testscript.TestScript, _ bool, args []string) {
	file := args[0]
	if !filepath.IsAbs(file) {
		file = "../../" + file
	}
	text, err := os.ReadFile(file)
	ts.Check(err)
	var doc yaml.Node
	ts.Check(yaml.Unmarshal(text, &doc))
	at := doc.Content[0]
	for _, key := range strings.Split(args[1], "/") {
		next := child(at, key)
		if next == nil {
			ts.Fatalf("%s has no %s in %s", args[0], key, args[1])
		}
		at = next
	}
	lines := []string{"set -eo pipefail", at.Value}
	for _, c := range at.Content {
		lines = append(lines, c.Value)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), []byte(strings.Join(lines, "\n")+"\n"), 0o666))
}

// child is the value of a key of a mapping, or the entry of a list whose name or id it is.
func child(n *yaml.Node, key string) *yaml.Node {
	if n.Kind == yaml.SequenceNode {
		for _, e := range n.Content {
			for _, name := range []string{"name", "id"} {
				if v := child(e, name); v != nil && v.Value == key {
					return e
				}
			}
		}
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i+1]
		}
	}
	return nil
}

// recipe HEADING LANGUAGE N OUT: writes the N-th block of a language under a
// heading of the manual's page about CI to OUT.
func recipe(ts *testscript.TestScript, _ bool, args []string) {
	text, err := os.ReadFile("manual/ci.md")
	ts.Check(err)
	_, section, ok := strings.Cut(string(text), "# "+args[0]+"\n")
	if !ok {
		ts.Fatalf("no heading %q", args[0])
	}
	section, _, _ = strings.Cut(section, "\n## ")
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	for range n {
		if _, section, ok = strings.Cut(section, "```"+args[1]+"\n"); !ok {
			ts.Fatalf("no block %d of %s under %q", n, args[1], args[0])
		}
	}
	block, _, _ := strings.Cut(section, "```")
	ts.Check(os.WriteFile(ts.MkAbs(args[3]), []byte(block), 0o666))
}
