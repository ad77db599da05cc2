package lsp

import (
	"bytes"
	"fmt"
	"io"
	"testing"
)

// FuzzWire holds the server to ending, by the protocol, whatever bytes come in:
// with 1 unless it was asked to shut down first.
func FuzzWire(f *testing.F) {
	frame := func(bodies ...string) []byte {
		var b bytes.Buffer
		for _, s := range bodies {
			fmt.Fprintf(&b, "Content-Length: %d\r\n\r\n%s", len(s), s)
		}
		return b.Bytes()
	}
	greeting := `{"jsonrpc":"2.0","id":1,"method":"initialize","params":{"processId":null,"rootUri":null,"capabilities":{}}}`
	f.Add([]byte(""))
	f.Add([]byte("Content-Length: 5\r\n\r\n{}"))
	f.Add([]byte("Content-Length: -1\r\n\r\n"))
	f.Add([]byte("Content-Length: 99999999999999999999\r\n\r\n{}"))
	f.Add([]byte("Content-Type: x\r\nContent-Length: 2\r\n\r\n[]Content-Length: 2\n\n{}"))
	f.Add(frame(greeting, `{"jsonrpc":"2.0","method":"initialized","params":{}}`, `{"jsonrpc":"2.0","id":2,"method":"shutdown"}`, `{"jsonrpc":"2.0","method":"exit"}`))
	f.Add(frame(greeting, `{"jsonrpc":"2.0","method":"textDocument/didOpen","params":{"textDocument":{"uri":"file:///a.part.toml","languageId":"toml","version":1,"text":"schema = 1\n"}}}`,
		`{"jsonrpc":"2.0","method":"textDocument/didChange","params":{"textDocument":{"uri":"file:///a.part.toml","version":2},"contentChanges":[{"range":{"start":{"line":9,"character":9},"end":{"line":0,"character":0}},"text":"x"}]}}`,
		`{"jsonrpc":"2.0","id":"a","method":"textDocument/hover","params":{"textDocument":{"uri":"file:///a.part.toml"},"position":{"line":4294967295,"character":1}}}`))
	f.Add(frame(`{"jsonrpc":"2.0","id":null,"method":1}`, `[]`, `null`, `{"jsonrpc":"2.0","id":1,"result":{}}`))
	f.Fuzz(func(t *testing.T, in []byte) {
		code := Serve(t.Context(), bytes.NewReader(in), io.Discard, Options{check: func(s *session) checker { return &fake{s: s} }})
		if asked := bytes.Contains(in, []byte("shutdown")) || bytes.ContainsRune(in, '\\'); code != 1 && !(code == 0 && asked) {
			t.Errorf("exit code %d", code)
		}
	})
}
