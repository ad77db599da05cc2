package main

import (
	"bytes"
	"context"
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"corbel/rules"
)

// module is what is linked into a program beside our own code.
type module struct{ path, version, sum string }

// linked reads from a program which modules it holds, the Go library first.
func linked(program string) ([]module, error) {
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return nil, err
	}
	mods := []module{{path: "std", version: strings.TrimPrefix(info.GoVersion, "go")}}
	for _, d := range info.Deps {
		if d.Replace != nil {
			return nil, fmt.Errorf("%s is replaced by %s: a release holds published modules only", d.Path, d.Replace.Path)
		}
		mods = append(mods, module{d.Path, d.Version, d.Sum})
	}
	return mods, nil
}

// notices are the licences of everything linked in, word for word.
func notices(ctx context.Context, root string, mods []module) ([]byte, error) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "corbel %s holds the following modules, under the licences below.\n", rules.Version)
	for _, m := range mods {
		dir, err := folderOf(ctx, root, m)
		if err != nil {
			return nil, err
		}
		texts, err := licences(dir)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.path, err)
		}
		fmt.Fprintf(&b, "\n%s\n%s %s\n", strings.Repeat("=", 72), m.path, m.version)
		for _, t := range texts {
			fmt.Fprintf(&b, "\n%s\n", bytes.TrimSpace(t))
		}
	}
	return b.Bytes(), nil
}

// folderOf is where a module's source lies.
func folderOf(ctx context.Context, root string, m module) (string, error) {
	args := []string{"list", "-m", "-f", "{{.Dir}}", m.path}
	if m.path == "std" {
		args = []string{"env", "GOROOT"}
	}
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir, cmd.Stderr = root, os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("where is %s: %w", m.path, err)
	}
	return strings.TrimSpace(string(out)), nil
}

var licenceName = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents)(\.(txt|md))?$`)

// licences are the texts that must travel with a module.
func licences(dir string) ([][]byte, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var texts [][]byte
	for _, e := range entries {
		if !e.Type().IsRegular() || !licenceName.MatchString(e.Name()) {
			continue
		}
		t, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		texts = append(texts, t)
	}
	if texts == nil {
		return nil, fmt.Errorf("no licence file in its source: it may not be handed out")
	}
	return texts, nil
}

// billOfMaterials is a software bill of materials in CycloneDX 1.5 (ECMA-424's
// forerunner), with the fields we know: what is linked in, by package URL.
type billOfMaterials struct {
	Format     string      `json:"bomFormat"`
	Spec       string      `json:"specVersion"`
	Version    int         `json:"version"`
	Metadata   metadata    `json:"metadata"`
	Components []component `json:"components"`
}

type metadata struct {
	Component component `json:"component"`
}

type component struct {
	Type    string `json:"type"`
	Ref     string `json:"bom-ref"`
	Name    string `json:"name"`
	Version string `json:"version"`
	URL     string `json:"purl,omitempty"`
}

// add takes in what one program holds: a module counts once, however many
// programs hold it.
func (b *billOfMaterials) add(mods []module) *billOfMaterials {
	if b == nil {
		b = &billOfMaterials{Format: "CycloneDX", Spec: "1.5", Version: 1,
			Metadata: metadata{component{Type: "application", Ref: "corbel", Name: "corbel", Version: rules.Version}}}
	}
	for _, m := range mods {
		url := "pkg:golang/" + m.path + "@" + m.version
		c := component{Type: "library", Ref: url, Name: m.path, Version: m.version, URL: url}
		if !slices.Contains(b.Components, c) {
			b.Components = append(b.Components, c)
		}
	}
	slices.SortFunc(b.Components, func(x, y component) int { return strings.Compare(x.Ref, y.Ref) })
	return b
}

func (b *billOfMaterials) write(path string) error {
	data, err := json.MarshalIndent(b, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(path, append(data, '\n'), 0o644)
}
