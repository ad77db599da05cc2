package editors

import (
	"bytes"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"
)

// serveOther stands for a general TOML server: it marks the first line of every
// text, completes a word of its own, and lays nothing out.
func serveOther(in io.Reader, out io.Writer) {
	stream := jsonrpc2.NewHeaderStream(struct {
		io.Reader
		io.Writer
		io.Closer
	}{in, out, io.NopCloser(nil)})
	conn := jsonrpc2.NewConn(stream)
	mark := func(u uri.URI) {
		_ = conn.Notify(context.Background(), protocol.MethodTextDocumentPublishDiagnostics, map[string]any{
			"uri": u, "diagnostics": []any{map[string]any{
				"range":   map[string]any{"start": map[string]int{"line": 0, "character": 0}, "end": map[string]int{"line": 0, "character": 1}},
				"message": "from the other server", "source": "toml", "severity": 2, "code": "other",
			}},
		})
	}
	conn.Go(context.Background(), func(_ context.Context, req *jsonrpc2.Request) (any, error) {
		switch req.Method() {
		case protocol.MethodInitialize:
			return map[string]any{"capabilities": map[string]any{"textDocumentSync": 1, "hoverProvider": true}}, nil
		case protocol.MethodTextDocumentHover:
			return map[string]any{"contents": "a key of TOML"}, nil
		case protocol.MethodTextDocumentDidOpen:
			var p protocol.DidOpenTextDocumentParams
			if protocol.Unmarshal(req.Params(), &p) == nil {
				mark(p.TextDocument.URI)
			}
		case protocol.MethodTextDocumentDidChange:
			var p protocol.DidChangeTextDocumentParams
			if protocol.Unmarshal(req.Params(), &p) == nil {
				mark(p.TextDocument.URI)
			}
		case protocol.MethodExit:
			os.Exit(0)
		}
		return nil, nil
	})
	<-conn.Done()
}

// Two servers on one text: each keeps its own findings and answers, before an
// edit and after it.
func TestBesideAGeneralServer(t *testing.T) {
	program, err := exec.LookPath("nvim")
	if err != nil {
		t.Log("neovim is not installed: nothing is known about two servers")
		return
	}
	path, err := filepath.Abs(demoPart)
	if err != nil {
		t.Fatal(err)
	}
	here, err := filepath.Abs(".")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	ours := len(expect(t, path, text, editor{}))
	edited := len(expect(t, path, []byte(extra+string(text)), editor{}))
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, "--headless", "--clean", "-u", "NONE", "-c", "luafile testdata/beside.lua")
	cmd.Env = append(os.Environ(), serveVariable+"=1", "HOME="+t.TempDir(), "LC_ALL=C.UTF-8",
		"CORBEL_SERVER="+os.Args[0], "CORBEL_EDITORS="+here, "CORBEL_FILE="+path,
		"CORBEL_OPENED="+jsonOf(ours), "CORBEL_EDITED="+jsonOf(edited), "CORBEL_EXTRA="+strings.TrimSuffix(extra, "\n"))
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s\n%s", err, stdout.String(), stderr.String())
	}
	want := "opened " + jsonOf(ours) + " and 1\nedited " + jsonOf(edited) + " and 1\nhovers 2\n"
	if got := stdout.String(); got != want {
		t.Errorf("the editor shows\n%swant\n%s%s", got, want, stderr.String())
	}
}
