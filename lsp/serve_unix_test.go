//go:build unix

package lsp

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

func TestServerEndsWithItsEditor(t *testing.T) {
	// Some process stands for the editor; its pipes stay open when it dies.
	editor := exec.Command("sleep", "300")
	if err := editor.Start(); err != nil {
		t.Fatal(err)
	}
	e := startFake(t, nil, Options{})
	pid := int32(editor.Process.Pid)
	if err := e.Call("initialize", &protocol.InitializeParams{ProcessID: &pid}, nil); err != nil {
		t.Fatal(err)
	}
	if err := editor.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	editor.Wait()
	if code := e.Code(); code != 1 {
		t.Errorf("exit code %d, want 1", code)
	}
}

func TestEditorThatCannotBeSeenIsServed(t *testing.T) {
	for _, pid := range []int32{0, -1, 1 << 30, int32(os.Getpid())} {
		e := startFake(t, nil, Options{})
		if err := e.Call("initialize", &protocol.InitializeParams{ProcessID: &pid}, nil); err != nil {
			t.Fatal(err)
		}
		path := specPath(t)
		e.Open(path, "bad")
		e.WaitShown(path, "findings", nil)
		if code := e.Shutdown(); code != 0 {
			t.Errorf("process %d: exit code %d, want 0", pid, code)
		}
	}
}

func TestListenServesThisMachineOnly(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:0", "example.com:0", "nowhere", "unix:/no/such/folder/socket"} {
		if err := Listen(t.Context(), address, nil, Options{}); err == nil {
			t.Errorf("%s: listened", address)
		}
	}
	for _, address := range []string{"127.0.0.1:0", "localhost:0", "unix:" + filepath.Join(t.TempDir(), "s")} {
		t.Run(address, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			ready, done := make(chan net.Addr, 1), make(chan error, 1)
			o := Options{check: func(s *session) checker { return &fake{s: s} }}
			go func() { done <- Listen(ctx, address, func(a net.Addr) { ready <- a }, o) }()
			at := <-ready
			for range 2 { // two editors, each with texts of its own
				conn, err := net.Dial(at.Network(), at.String())
				if err != nil {
					t.Fatal(err)
				}
				e := lsptest.Connect(t, conn)
				e.Initialize(nil)
				path := specPath(t)
				e.Open(path, "bad")
				e.WaitShown(path, "findings", nil)
			}
			cancel()
			if err := <-done; err != nil {
				t.Errorf("listening ended with %v", err)
			}
		})
	}
}
