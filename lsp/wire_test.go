package lsp

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"

	"corbel/lsp/lsptest"
)

// codeOf returns the code of an error that came over the wire.
func codeOf(t *testing.T, err error) jsonrpc2.Code {
	t.Helper()
	var wire *jsonrpc2.Error
	if !errors.As(err, &wire) {
		t.Fatalf("answer is %v, want an error of the protocol", err)
	}
	return wire.Code
}

func TestChangesTakeEffectInWireOrder(t *testing.T) {
	const edits = 2000
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	path := specPath(t)
	e.Open(path, strings.Repeat("good ", 40))
	// Each edit overwrites a word by one that another edit may overwrite, so any
	// two that change places leave another text.
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range edits {
		at := 5 * rng.IntN(len(e.Content(path))/5)
		e.Edit(path, at, at+4, fmt.Sprintf("%04d", i))
		if i%7 == 0 {
			e.Edit(path, at, at+4, "bad ")
		}
	}
	got := e.WaitShown(path, "the findings of the last version", nil)
	want := words(path, []byte(e.Content(path)), "bad")
	if len(got) != len(want) || len(want) == 0 {
		t.Fatalf("%d findings, want %d in %q", len(got), len(want), e.Content(path))
	}
	for i, m := range lsptest.Messages(got) {
		if m != want[i].Message {
			t.Errorf("finding %d is %q, want %q", i, m, want[i].Message)
		}
	}
	last := int32(-1)
	for _, set := range e.Shown(path) {
		v, ok := set.Version.Get()
		if !ok || v < last {
			t.Fatalf("version %d was published after %d", v, last)
		}
		last = v
	}
}

func TestRequestsOutsideTheConversation(t *testing.T) {
	e := startFake(t, nil, Options{})
	if got := codeOf(t, e.Call("textDocument/hover", &protocol.HoverParams{}, nil)); got != jsonrpc2.ServerNotInitialized {
		t.Errorf("before initialize: code %d, want %d", got, jsonrpc2.ServerNotInitialized)
	}
	e.Initialize(nil)
	if got := codeOf(t, e.Call("initialize", &protocol.InitializeParams{}, nil)); got != jsonrpc2.InvalidRequest {
		t.Errorf("second initialize: code %d, want %d", got, jsonrpc2.InvalidRequest)
	}
	if err := e.Call("shutdown", nil, nil); err != nil {
		t.Fatal(err)
	}
	if got := codeOf(t, e.Call("textDocument/hover", &protocol.HoverParams{}, nil)); got != jsonrpc2.InvalidRequest {
		t.Errorf("after shutdown: code %d, want %d", got, jsonrpc2.InvalidRequest)
	}
	if got := codeOf(t, e.Call("shutdown", nil, nil)); got != jsonrpc2.InvalidRequest {
		t.Errorf("second shutdown: code %d, want %d", got, jsonrpc2.InvalidRequest)
	}
	e.Notify("exit", nil)
	if got := e.Code(); got != 0 {
		t.Errorf("exit code %d, want 0", got)
	}
}

func TestExitCodes(t *testing.T) {
	for _, c := range []struct {
		name string
		talk func(*lsptest.Editor)
		want int
	}{
		{"shutdown and exit", func(e *lsptest.Editor) { e.Initialize(nil); e.Shutdown() }, 0},
		{"exit without shutdown", func(e *lsptest.Editor) { e.Initialize(nil); e.Notify("exit", nil) }, 1},
		{"exit before initialize", func(e *lsptest.Editor) { e.Notify("exit", nil) }, 1},
		{"end of input", func(e *lsptest.Editor) { e.Initialize(nil); e.Hangup() }, 1},
		{"end of input after shutdown", func(e *lsptest.Editor) {
			e.Initialize(nil)
			if err := e.Call("shutdown", nil, nil); err != nil {
				panic(err)
			}
			e.Hangup()
		}, 0},
		{"end of input at once", func(e *lsptest.Editor) { e.Hangup() }, 1},
		{"end of input inside a message", func(e *lsptest.Editor) { e.Send("Content-Length: 100\r\n\r\n{"); e.Hangup() }, 1},
		{"end of input inside a header", func(e *lsptest.Editor) { e.Send("Content-Le"); e.Hangup() }, 1},
		{"header without a length", func(e *lsptest.Editor) { e.Initialize(nil); e.Send("Content-Type: x\r\n\r\n{}") }, 1},
		{"header that is none", func(e *lsptest.Editor) { e.Initialize(nil); e.Send("hello\r\n") }, 1},
		{"negative length", func(e *lsptest.Editor) { e.Send("Content-Length: -5\r\n\r\n") }, 1},
		{"context ends", func(e *lsptest.Editor) { e.Initialize(nil); e.Cancel() }, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := startFake(t, nil, Options{})
			c.talk(e)
			if got := e.Code(); got != c.want {
				t.Errorf("exit code %d, want %d", got, c.want)
			}
		})
	}
}

func TestMalformedMessagesAreSurvived(t *testing.T) {
	e := startFake(t, nil, Options{})
	e.Initialize(nil)
	path := specPath(t)
	for _, raw := range []string{
		`{`, `null`, `7`, `"x"`, `[]`, `[{"jsonrpc":"2.0","method":"exit"}]`, `{}`, ``,
		`{"jsonrpc":"1.0","method":"exit"}`,
		`{"jsonrpc":"2.0","method":7}`,
		`{"jsonrpc":"2.0","id":{},"method":"shutdown"}`,
		`{"jsonrpc":"2.0","method":"no/such/notification"}`,
		`{"jsonrpc":"2.0","method":"no/such/notification","params":{"a":1}}`,
		`{"jsonrpc":"2.0","method":"initialized"}`,
		`{"jsonrpc":"2.0","method":"$/cancelRequest"}`,
		`{"jsonrpc":"2.0","method":"$/cancelRequest","params":{}}`,
		`{"jsonrpc":"2.0","method":"$/cancelRequest","params":{"id":[]}}`,
		`{"jsonrpc":"2.0","method":"$/progress","params":{}}`,
		`{"jsonrpc":"2.0","method":"textDocument/didOpen"}`,
		`{"jsonrpc":"2.0","method":"textDocument/didOpen","params":[]}`,
		`{"jsonrpc":"2.0","method":"textDocument/didOpen","params":{}}`,
		`{"jsonrpc":"2.0","method":"textDocument/didChange","params":{"textDocument":7}}`,
		`{"jsonrpc":"2.0","method":"textDocument/didChange","params":{"textDocument":{"uri":"file:///nowhere.part.toml","version":3},"contentChanges":[{"text":"x"}]}}`,
		`{"jsonrpc":"2.0","method":"textDocument/didClose","params":{"textDocument":{"uri":"file:///nowhere.part.toml"}}}`,
		`{"jsonrpc":"2.0","method":"textDocument/didSave","params":{"textDocument":{"uri":""}}}`,
		`{"jsonrpc":"2.0","method":"window/workDoneProgress/cancel","params":{"token":"nobody's"}}`,
		`{"jsonrpc":"2.0","id":4711,"result":null}`,
		`{"jsonrpc":"2.0","id":"who","error":{"code":1,"message":"?"}}`,
		"\xff\xfe",
	} {
		e.Send(lsptest.Frame(raw))
	}
	e.Send("Content-Length: 2\n\n{}")                        // bare line feeds
	e.Send("content-length: 2\r\nContent-Type: x\r\n\r\n{}") // other headers, other case
	e.Open(path, "bad")
	if got := e.WaitShown(path, "findings after malformed messages", nil); len(got) != 1 {
		t.Errorf("%d findings, want 1", len(got))
	}
	if code := e.Shutdown(); code != 0 {
		t.Errorf("exit code %d, want 0", code)
	}
}

// answerTo sends one raw message to a fresh server and returns the first answer.
func answerTo(t *testing.T, raw string) string {
	t.Helper()
	inR, inW := io.Pipe()
	outR, outW := io.Pipe()
	done := make(chan int)
	go func() {
		done <- Serve(t.Context(), inR, outW, Options{check: func(*session) checker { return &fake{} }})
	}()
	go io.WriteString(inW, raw)
	body := make([]byte, 4096)
	n, err := outR.Read(body)
	if err != nil {
		t.Fatal(err)
	}
	inW.Close()
	<-done
	return string(body[:n])
}

func TestMalformedMessagesAreAnswered(t *testing.T) {
	for _, c := range []struct{ raw, want string }{
		{lsptest.Frame(`{`), `"error":{"code":-32700`},
		{lsptest.Frame(`[]`), `"error":{"code":-32600`},
		{lsptest.Frame(`{"jsonrpc":"1.0","id":5,"method":"x"}`), `"id":5,"error":{"code":-32600`},
		{lsptest.Frame(`{"jsonrpc":"1.0","id":"five","method":"x"}`), `"id":"five"`},
		{lsptest.Frame(`{`), `"id":null`},
		{fmt.Sprintf("Content-Length: %d\r\n\r\n%s", maxMessage+1, strings.Repeat(" ", maxMessage+1)), `longer than`},
	} {
		got := answerTo(t, c.raw)
		if !strings.Contains(got, c.want) {
			t.Errorf("%.60q: answer %q, want one with %q", c.raw, got, c.want)
		}
	}
}

func TestRequestsThatAreNotServed(t *testing.T) {
	e := startFake(t, nil, Options{calls: map[string]call{
		"test/hover": answer(func(context.Context, *snapshot, *protocol.HoverParams) (*protocol.Hover, error) { return nil, nil }),
	}})
	e.Initialize(nil)
	for method, params := range map[string]any{
		"no/such/method":         nil,
		"textDocument/moniker":   nil,
		"workspace/noSuchMethod": &protocol.HoverParams{},
	} {
		if got := codeOf(t, e.Call(method, params, nil)); got != jsonrpc2.MethodNotFound {
			t.Errorf("%s: code %d, want %d", method, got, jsonrpc2.MethodNotFound)
		}
	}
	for _, params := range []any{nil, jsonrpc2.RawMessage(`[]`), jsonrpc2.RawMessage(`{"position":{"line":"x"}}`), jsonrpc2.RawMessage(`7`)} {
		if got := codeOf(t, e.Call("test/hover", params, nil)); got != jsonrpc2.InvalidParams {
			t.Errorf("parameters %s: code %d, want %d", params, got, jsonrpc2.InvalidParams)
		}
	}
	var raw jsonrpc2.RawMessage
	if err := e.Call("test/hover", &protocol.HoverParams{}, &raw); err != nil || string(raw) != "null" {
		t.Errorf("empty answer is %s, %v; want null", raw, err)
	}
}

func TestCancelledRequestIsAnsweredAsSuch(t *testing.T) {
	begun := make(chan struct{}, 2)
	e := startFake(t, nil, Options{calls: map[string]call{
		"test/wait": func(ctx context.Context, _ *snapshot, _ jsonrpc2.RawMessage) (any, error) {
			begun <- struct{}{}
			<-ctx.Done()
			return nil, ctx.Err()
		},
	}})
	e.Initialize(nil)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	answers := make(chan error, 1)
	go func() {
		_, err := e.Conn().Call(ctx, "test/wait", nil, nil)
		answers <- err
	}()
	<-begun
	// The connection of the test numbers its calls from 1; initialize was 1.
	e.Notify(protocol.MethodCancelRequest, &protocol.CancelParams{ID: protocol.Integer(99)})
	e.Notify(protocol.MethodCancelRequest, &protocol.CancelParams{ID: protocol.Integer(2)})
	if got := codeOf(t, <-answers); got != protocol.CodeRequestCancelled {
		t.Errorf("code %d, want %d", got, protocol.CodeRequestCancelled)
	}
	// A request that runs when the editor shuts down is cancelled as well.
	go func() {
		_, err := e.Conn().Call(ctx, "test/wait", nil, nil)
		answers <- err
	}()
	<-begun
	if err := e.Call("shutdown", nil, nil); err != nil {
		t.Fatal(err)
	}
	if got := codeOf(t, <-answers); got != protocol.CodeRequestCancelled {
		t.Errorf("at shutdown: code %d, want %d", got, protocol.CodeRequestCancelled)
	}
}

func TestPanicCostsOneRequest(t *testing.T) {
	e := startFake(t, nil, Options{calls: map[string]call{
		"test/panic": func(context.Context, *snapshot, jsonrpc2.RawMessage) (any, error) { panic("a fault") },
	}})
	e.Initialize(nil)
	if got := codeOf(t, e.Call("test/panic", nil, nil)); got != jsonrpc2.InternalError {
		t.Errorf("code %d, want %d", got, jsonrpc2.InternalError)
	}
	path := specPath(t)
	e.Open(path, "bad")
	e.WaitShown(path, "findings after a panic", nil)
}

// A request sees the texts as they were when it was sent, whatever follows it.
func TestRequestSeesItsOwnState(t *testing.T) {
	path := specPath(t)
	release := make(chan struct{})
	e := startFake(t, nil, Options{calls: map[string]call{
		"test/version": func(_ context.Context, snap *snapshot, _ jsonrpc2.RawMessage) (any, error) {
			<-release
			return protocol.Integer(snap.docs[path].version), nil
		},
	}})
	e.Initialize(nil)
	e.Open(path, "one")
	versions := make(chan protocol.Integer, 1)
	go func() {
		var v protocol.Integer
		if err := e.Call("test/version", nil, &v); err != nil {
			t.Error(err)
		}
		versions <- v
	}()
	e.Wait("the request to be sent", func() bool { return strings.Contains(strings.Join(e.LogLocked(), "\n"), "test/version") })
	e.Rewrite(path, "two")
	e.WaitShown(path, "the second version", nil)
	close(release)
	if v := <-versions; v != 1 {
		t.Errorf("request saw version %d, want 1", v)
	}
}

// gate is an editor that takes nothing until it is opened, and then forwards.
type gate struct {
	open chan struct{}
	to   io.Writer
}

func (g *gate) Write(p []byte) (int, error) {
	<-g.open
	return g.to.Write(p)
}

// An editor that does not read for a while loses no edit, and is then shown the
// last text and not all that came between.
func TestEditorThatDoesNotReadIsNotLost(t *testing.T) {
	const edits = 5000
	hold := make(chan struct{})
	o := Options{Wait: time.Nanosecond, check: func(s *session) checker { return &fake{s: s} }}
	e := lsptest.Start(t, func(ctx context.Context, in io.Reader, out io.Writer) int {
		return Serve(ctx, in, &gate{hold, out}, o)
	})
	answered := make(chan error, 1)
	go func() { answered <- e.Call(protocol.MethodInitialize, &protocol.InitializeParams{}, nil) }()
	e.Wait("initialize to be sent", func() bool { return len(e.LogLocked()) > 0 })
	e.Notify(protocol.MethodInitialized, &protocol.InitializedParams{})
	path := specPath(t)
	e.Open(path, "bad")
	for i := range edits {
		e.Edit(path, 0, 0, strconv.Itoa(i%10))
	}
	close(hold)
	if err := <-answered; err != nil {
		t.Fatal(err)
	}
	e.WaitShown(path, "the findings of the last edit", nil)
	if n := len(e.Shown(path)); n > edits/2 {
		t.Errorf("%d sets were kept for an editor that did not read", n)
	}
	if code := e.Shutdown(); code != 0 {
		t.Errorf("exit code %d, want 0", code)
	}
}

// deaf is an editor whose ear is gone.
type deaf struct{}

func (deaf) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestEditorThatTakesNothingMoreEndsTheServer(t *testing.T) {
	e := lsptest.Start(t, func(ctx context.Context, in io.Reader, _ io.Writer) int {
		return Serve(ctx, in, deaf{}, Options{check: func(s *session) checker { return &fake{s: s} }})
	})
	go e.Call(protocol.MethodInitialize, &protocol.InitializeParams{}, nil)
	if code := e.Code(); code != 1 {
		t.Errorf("exit code %d, want 1", code)
	}
}
