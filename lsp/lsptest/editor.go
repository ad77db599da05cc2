// Package lsptest plays an editor against a language server in the same
// process: it speaks the protocol over pipes, keeps what it was shown, logs
// every message, and waits for a state instead of sleeping.
//
// It keeps its own model of texts and positions, so that a test compares two
// independent ones.
package lsptest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"testing"
	"time"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"
)

// Deadline is how long the editor waits for anything before the test fails. The
// race detector on a busy machine has taken more than 30 s to measure a plate.
const Deadline = 2 * time.Minute

// Server is the server under test, as lsp.Serve with its options filled in.
type Server func(ctx context.Context, in io.Reader, out io.Writer) (exitCode int)

// Manners say how the editor answers the server's own requests.
type Manners int

const (
	Answers Manners = iota // with success
	Refuses                // with an error
	Silent                 // never
)

// Editor is one editor. Its methods fail the test when the server goes wrong.
type Editor struct {
	Manners Manners
	// Take answers a request of the server's, where not nil and it says so.
	Take func(method string, params []byte) (result any, taken bool)
	Unit protocol.PositionEncodingKind // as agreed

	t    testing.TB
	conn jsonrpc2.Conn
	out  io.WriteCloser // to the server
	code chan int
	end  context.CancelFunc
	quit chan struct{} // closed when the test is over
	text map[string]*Text

	mu    sync.Mutex // guards what follows
	cond  *sync.Cond
	log   []string
	shown map[uri.URI][]*protocol.PublishDiagnosticsParams
	asked []string // methods of the server's requests
	told  []Message
}

// Message is a notification from the server.
type Message struct {
	Method string
	Params jsonrpc2.RawMessage
}

// Text is an open text as the editor sees it.
type Text struct {
	Version int32
	Content string
}

// Start starts a server and connects to it. The server ends with the test.
func Start(t testing.TB, serve Server) *Editor {
	t.Helper()
	serverIn, toServer := io.Pipe()
	fromServer, serverOut := io.Pipe()
	ctx, cancel := context.WithCancel(context.Background())
	e := newEditor(t, fromServer, toServer)
	e.end = cancel
	go func() {
		code := serve(ctx, serverIn, serverOut)
		serverOut.Close()
		serverIn.Close()
		e.code <- code
	}()
	t.Cleanup(func() {
		e.leave()
		cancel()
		select {
		case <-e.code:
		case <-time.After(Deadline):
			t.Error("the server did not end")
		}
	})
	return e
}

// Connect speaks with a server that runs elsewhere. The connection ends with
// the test.
func Connect(t testing.TB, conn io.ReadWriteCloser) *Editor {
	t.Helper()
	e := newEditor(t, conn, conn)
	t.Cleanup(e.leave)
	return e
}

func newEditor(t testing.TB, in io.Reader, out io.WriteCloser) *Editor {
	e := &Editor{
		Unit:  protocol.PositionEncodingKindUTF16,
		t:     t,
		out:   out,
		code:  make(chan int, 1),
		quit:  make(chan struct{}),
		text:  make(map[string]*Text),
		shown: make(map[uri.URI][]*protocol.PublishDiagnosticsParams),
	}
	e.cond = sync.NewCond(&e.mu)
	stream := jsonrpc2.NewHeaderStream(&pipes{in, out})
	e.conn = jsonrpc2.NewConn(&logged{Stream: stream, e: e}, jsonrpc2.WithCodec(codec{}))
	e.conn.Go(context.Background(), e.handle)
	return e
}

// leave ends the connection and shows the wire log of a test that failed.
func (e *Editor) leave() {
	close(e.quit)
	e.out.Close()
	<-e.conn.Done()
	if e.t.Failed() {
		e.t.Logf("wire:\n%s", e.Log())
	}
}

// pipes joins the two directions.
type pipes struct {
	io.Reader
	io.WriteCloser
}

// codec is the protocol's, which the library does not export.
type codec struct{}

func (codec) Marshal(v any) ([]byte, error) {
	if raw, ok := v.(jsonrpc2.RawMessage); ok {
		return raw, nil
	}
	return protocol.Marshal(v)
}

func (codec) Unmarshal(data []byte, v any) error {
	if raw, ok := v.(*jsonrpc2.RawMessage); ok {
		*raw = bytes.Clone(data)
		return nil
	}
	return protocol.Unmarshal(data, v)
}

// logged is a stream that keeps the newest messages for a failing test.
type logged struct {
	jsonrpc2.Stream
	e     *Editor
	order sync.Mutex
}

const (
	logMax  = 400 // messages kept
	lineMax = 400 // bytes of each
)

func (l *logged) Read(ctx context.Context) (jsonrpc2.Message, int64, error) {
	msg, n, err := l.Stream.Read(ctx)
	if err == nil {
		l.e.note("<-", msg)
	}
	return msg, n, err
}

// Write sends nothing else between a message and its line in the log: who waits for
// the line may count on the order.
func (l *logged) Write(ctx context.Context, msg jsonrpc2.Message) (int64, error) {
	l.order.Lock()
	defer l.order.Unlock()
	l.e.note("->", msg)
	return l.Stream.Write(ctx, msg)
}

func (e *Editor) note(arrow string, msg jsonrpc2.Message) {
	body := jsonrpc2.AppendMessage(nil, msg)
	line := fmt.Sprintf("%s %.*s", arrow, lineMax, body)
	e.mu.Lock()
	defer e.mu.Unlock()
	e.log = append(e.log, line)
	if len(e.log) > 2*logMax {
		e.log = append([]string(nil), e.log[logMax:]...)
	}
	e.cond.Broadcast()
}

// Log returns the newest messages, a line each.
func (e *Editor) Log() string {
	e.mu.Lock()
	defer e.mu.Unlock()
	var b bytes.Buffer
	for _, line := range e.log {
		fmt.Fprintln(&b, line)
	}
	return b.String()
}

// handle takes what the server sends, in the order of the wire.
func (e *Editor) handle(ctx context.Context, req *jsonrpc2.Request) (any, error) {
	params := bytes.Clone(req.Params())
	method := string([]byte(req.Method()))
	e.mu.Lock()
	if req.IsCall() {
		e.asked = append(e.asked, method)
	} else {
		e.told = append(e.told, Message{method, params})
	}
	if method == protocol.MethodTextDocumentPublishDiagnostics {
		set := new(protocol.PublishDiagnosticsParams)
		if err := protocol.Unmarshal(params, set); err != nil {
			e.t.Errorf("published set does not decode: %v", err)
		}
		e.shown[set.URI] = append(e.shown[set.URI], set)
	}
	e.cond.Broadcast()
	e.mu.Unlock()
	if !req.IsCall() {
		return nil, nil
	}
	if e.Take != nil {
		if result, taken := e.Take(method, params); taken {
			return result, nil
		}
	}
	switch e.Manners {
	case Refuses:
		return nil, jsonrpc2.Errorf(jsonrpc2.MethodNotFound, "the editor does not do that")
	case Silent:
		jsonrpc2.Async(ctx)
		<-e.quit
		return nil, errors.New("too late")
	}
	return nil, nil
}

// Wait waits until a state of what the editor was shown is reached. The
// condition is called with the editor's lock held.
func (e *Editor) Wait(what string, reached func() bool) {
	e.t.Helper()
	late := false
	timer := time.AfterFunc(Deadline, func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		late = true
		e.cond.Broadcast()
	})
	defer timer.Stop()
	e.mu.Lock()
	defer e.mu.Unlock()
	for !reached() {
		if late {
			e.mu.Unlock()
			defer e.mu.Lock()
			e.t.Fatalf("waited %v in vain for %s", Deadline, what)
		}
		e.cond.Wait()
	}
}

// Eventually asks until an answer is as wanted: for what no message announces.
func (e *Editor) Eventually(what string, asked func() bool) {
	e.t.Helper()
	late := time.Now().Add(Deadline)
	for !asked() {
		if time.Now().After(late) {
			e.t.Fatalf("asked %v in vain for %s", Deadline, what)
		}
	}
}

// Call sends a request and waits for its answer.
func (e *Editor) Call(method string, params, result any) error {
	ctx, cancel := context.WithTimeout(context.Background(), Deadline)
	defer cancel()
	_, err := e.conn.Call(ctx, method, params, result)
	return err
}

// Conn is the connection itself, for requests that are to be cancelled.
func (e *Editor) Conn() jsonrpc2.Conn { return e.conn }

// Notify sends a notification.
func (e *Editor) Notify(method string, params any) {
	e.t.Helper()
	if err := e.conn.Notify(context.Background(), method, params); err != nil {
		e.t.Fatalf("%s was not sent: %v", method, err)
	}
}

// Send puts bytes on the wire as they are.
func (e *Editor) Send(raw string) {
	e.t.Helper()
	if _, err := io.WriteString(e.out, raw); err != nil {
		e.t.Fatalf("raw bytes were not sent: %v", err)
	}
}

// Frame puts a header before a body.
func Frame(body string) string {
	return fmt.Sprintf("Content-Length: %d\r\n\r\n%s", len(body), body)
}

// Initialize opens the conversation. Nil capabilities are those of an editor
// that declares nothing.
func (e *Editor) Initialize(c *protocol.ClientCapabilities) *protocol.InitializeResult {
	e.t.Helper()
	params := &protocol.InitializeParams{}
	if c != nil {
		params.Capabilities = *c
	}
	result := new(protocol.InitializeResult)
	if err := e.Call(protocol.MethodInitialize, params, result); err != nil {
		e.t.Fatalf("initialize: %v", err)
	}
	if unit := result.Capabilities.PositionEncoding; unit != "" {
		e.Unit = unit
	}
	e.Notify(protocol.MethodInitialized, &protocol.InitializedParams{})
	return result
}

// Shutdown ends the conversation in order and returns the exit code.
func (e *Editor) Shutdown() int {
	e.t.Helper()
	if err := e.Call(protocol.MethodShutdown, nil, nil); err != nil {
		e.t.Fatalf("shutdown: %v", err)
	}
	e.Notify(protocol.MethodExit, nil)
	return e.Code()
}

// Hangup ends the server's input.
func (e *Editor) Hangup() { e.out.Close() }

// Cancel ends the server's context.
func (e *Editor) Cancel() { e.end() }

// Code waits for the server to end and returns its exit code.
func (e *Editor) Code() int {
	e.t.Helper()
	select {
	case code := <-e.code:
		e.code <- code
		return code
	case <-time.After(Deadline):
		e.t.Fatal("the server did not end")
		return -1
	}
}

// Asked returns the methods of the server's requests so far.
func (e *Editor) Asked() []string {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]string(nil), e.asked...)
}

// Told returns the server's notifications so far. The caller of Wait, which
// holds the lock, uses ToldLocked.
func (e *Editor) Told() []Message {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]Message(nil), e.told...)
}

// ToldLocked is Told for the conditions of Wait.
func (e *Editor) ToldLocked() []Message { return e.told }

// AskedLocked is Asked for the conditions of Wait.
func (e *Editor) AskedLocked() []string { return e.asked }

// LogLocked is the log for the conditions of Wait.
func (e *Editor) LogLocked() []string { return e.log }
