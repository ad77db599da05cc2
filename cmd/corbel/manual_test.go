package main

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
	"github.com/spf13/pflag"

	"corbel/rules"
	"corbel/spec"
)

var update = flag.Bool("update", false, "write the generated pages of the manual again; read the difference")

// The reference pages of the manual are made from the same tables as the
// program: commands, checks, keys and limits can't be described wrongly there.
func TestManualIsUpToDate(t *testing.T) {
	pages := map[string]string{
		"commands.md": commandsPage(),
		"checks.md":   checksPage(),
		"keys.md":     keysPage(),
		"limits.md":   limitsPage(),
	}
	for name, text := range manPages(t) {
		pages["man/"+name] = text
	}
	maps.Copy(pages, completions(t))
	for name, text := range pages {
		path := filepath.Join("manual", filepath.FromSlash(name))
		if *update {
			if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		have, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(have), text); d != "" {
			t.Errorf("%s is out of date; run: go test ./cmd/corbel -run Manual -update\n%s", path, d)
		}
	}
	found, err := filepath.Glob("manual/man/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		if pages["man/"+filepath.Base(f)] == "" {
			t.Errorf("%s describes a command that is gone", f)
		}
	}
}

const generated = "<!-- Made from the program by: go test ./cmd/corbel -run Manual -update -->\n\n"

func commandsPage() string {
	var b strings.Builder
	b.WriteString("# Commands\n\n" + generated)
	for _, c := range ownCommands() {
		fmt.Fprintf(&b, "## `%s`\n\n%s.\n\n", c.CommandPath(), c.Short)
		if c.Long != "" {
			fmt.Fprintf(&b, "%s\n\n", c.Long)
		}
		fmt.Fprintf(&b, "```\n%s\n```\n\n", c.UseLine())
		if !c.HasAvailableLocalFlags() {
			continue
		}
		b.WriteString("| option | meaning |\n|---|---|\n")
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			if f.Hidden || f.Name == "help" {
				return
			}
			kind, usage := pflag.UnquoteUsage(f)
			name := "--" + f.Name
			if f.Shorthand != "" {
				name = "-" + f.Shorthand + ", " + name
			}
			if kind == strings.ToUpper(kind) && kind != "" { // "FILE", not "string"
				name += " " + kind
			}
			if f.DefValue != "" && f.DefValue != "false" && f.DefValue != "0" && f.DefValue != "[]" {
				usage += " (default " + f.DefValue + ")"
			}
			fmt.Fprintf(&b, "| `%s` | %s |\n", name, cell(usage))
		})
		b.WriteString("\n")
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}

// ownCommands are the commands that we wrote, in the order of the program's help.
func ownCommands() []*cobra.Command {
	var out []*cobra.Command
	for _, c := range new(app).command().Commands() {
		if c.Name() != "help" && c.Name() != "completion" && !c.Hidden {
			out = append(out, c)
		}
	}
	return out
}

func checksPage() string {
	var b strings.Builder
	b.WriteString("# Checks\n\n" + generated)
	for _, c := range rules.Checks() {
		fmt.Fprintf(&b, "## `%s`\n\n%s\n\n**Why it matters.** %s\n\n**What goes wrong.** %s\n\n", c.Name, c.Summary, c.Why, c.Wrong)
		if len(c.Limits) > 0 {
			b.WriteString("| limit | meaning |\n|---|---|\n")
			for _, l := range c.Limits {
				fmt.Fprintf(&b, "| `%s` | %s |\n", l.Name, cell(l.Doc))
			}
			b.WriteString("\n")
		}
		which := "all"
		if c.Processes != nil {
			which = strings.Join(c.Processes, ", ")
		}
		fmt.Fprintf(&b, "Processes: %s.\n\n", which)
		for _, s := range c.Sources {
			fmt.Fprintf(&b, "- Source: %s (%s)\n", s.Text, s.Status)
		}
		for _, x := range c.Cautions {
			fmt.Fprintf(&b, "- Caution: %s\n", x.Text)
		}
		b.WriteString("\n")
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}

func keysPage() string {
	return "# Keys\n\n" + generated + "What can be written in a part spec and in a shop file. Lengths, angles, areas and the rest are texts with a unit, like `\"0.4 mm\"`; positions are `[x, y, z]` in the mesh's own units and coordinates.\n\n" +
		"## The part spec, `NAME.part.toml`\n\n" + strings.TrimSpace(spec.Reference(spec.PartFile)) +
		"\n\n## The shop file, `shop.toml`\n\n" + strings.TrimSpace(spec.Reference(spec.ShopFile)) + "\n"
}

func limitsPage() string {
	var b strings.Builder
	b.WriteString("# Built-in limits\n\n" + generated + "What holds where neither the shop nor the part says otherwise. `corbel limits` shows what holds for a part, a material or a machine.\n\n")
	e := rules.New(rules.Options{})
	for _, p := range processes() {
		r := e.Defaults("", p, "", "")
		fmt.Fprintf(&b, "## %s\n\n| limit | value | source |\n|---|---|---|\n", p)
		for _, l := range r.Limits.All {
			if l.Silent == "" {
				fmt.Fprintf(&b, "| `%s` | %s | %s |\n", l.Def.Name, l.Q, cell(l.Origin.Source))
			}
		}
		b.WriteString("\n")
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}

// cell makes a text safe in a cell of a Markdown table.
func cell(s string) string { return strings.NewReplacer("|", "\\|", "\n", " ").Replace(s) }

// manPages are the pages that man shows, by file name.
func manPages(t *testing.T) map[string]string {
	t.Helper()
	day := time.Unix(0, 0).UTC() // no date: a page changes when its command does
	pages := map[string]string{}
	root := new(app).command()
	root.DisableAutoGenTag = true
	for _, c := range append([]*cobra.Command{root}, ownCommands()...) {
		c.DisableAutoGenTag = true
		var b bytes.Buffer
		if err := doc.GenMan(c, &doc.GenManHeader{Section: "1", Date: &day, Source: "corbel " + rules.Version}, &b); err != nil {
			t.Fatal(err)
		}
		pages[strings.ReplaceAll(c.CommandPath(), " ", "-")+".1"] = b.String()
	}
	return pages
}

// The newest version of the changelog is the one that is built, and what is said
// of versions elsewhere is what other files ask for.
func TestVersionsAreSaid(t *testing.T) {
	read := func(path string) string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	_, newest, _ := strings.Cut(read("manual/changes.md"), "\n## ")
	if !strings.HasPrefix(newest, rules.Version+" ") {
		t.Errorf("changes.md begins with %.20q, and this is %s", newest, rules.Version)
	}
	install := read("manual/install.md")
	for _, c := range []struct{ file, pattern, says string }{
		{"../../go.mod", `\ngo (\d+\.\d+)`, "| Go, to build it | %s and newer"},
		{"../../lsp/editors/vscode/package.json", `"vscode": "\^(\d+\.\d+)`, "| VS Code | %s and newer"},
		{"../../rules/version.go", `Version = "(.*)"`, "corbel-%s-linux-amd64.tar.gz"},
	} {
		m := regexp.MustCompile(c.pattern).FindStringSubmatch(read(c.file))
		if m == nil || !strings.Contains(install, fmt.Sprintf(c.says, m[1])) {
			t.Errorf("install.md does not say %q as %s does: %v", c.says, c.file, m)
		}
	}
}

// completions are the scripts that make shells complete our commands.
func completions(t *testing.T) map[string]string {
	t.Helper()
	root := new(app).command()
	pages := map[string]string{}
	for name, write := range map[string]func(io.Writer) error{
		"corbel.bash": func(w io.Writer) error { return root.GenBashCompletionV2(w, true) },
		"_corbel":     root.GenZshCompletion,
		"corbel.fish": func(w io.Writer) error { return root.GenFishCompletion(w, true) },
		"corbel.ps1":  root.GenPowerShellCompletionWithDesc,
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		pages["completion/"+name] = b.String()
	}
	return pages
}

var link = regexp.MustCompile(`\]\(([^)#\s]+)(#[^)]*)?\)`)

// Every link between our own pages leads somewhere.
func TestLinksLeadSomewhere(t *testing.T) {
	root := filepath.Join("..", "..")
	links := 0
	err := filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "node_modules" || d.Name() == "dist") {
			return filepath.SkipDir
		}
		if filepath.Ext(path) != ".md" {
			return nil
		}
		text, err := os.ReadFile(path)
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if strings.Contains(m[1], "://") {
				continue
			}
			links++
			if _, err := os.Stat(filepath.Join(filepath.Dir(path), filepath.FromSlash(m[1]))); err != nil {
				t.Errorf("%s links to %s, which is not there", path, m[1])
			}
		}
		return err
	})
	if err != nil || links == 0 {
		t.Fatal(links, " links, ", err)
	}
}
