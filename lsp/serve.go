package lsp

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"go.lsp.dev/jsonrpc2"

	"corbel/rules"
)

// Options steer a server. The zero Options are good for an editor on the same machine.
type Options struct {
	Version string       // shown to the editor
	Log     *slog.Logger // nil logs nothing
	// Wait is the time between an edit and the measuring it asks for; 0 is
	// DefaultWait.
	Wait  time.Duration
	Rules rules.Options // ReadFile and Progress are the server's own
	// Cache is the folder in which the built-in shop file is laid, so that an
	// editor can open it; empty is corbel's folder in the user's cache.
	Cache string

	check    func(*session) checker      // makes what stands in for an engine in tests
	engine   func(rules.Options) checker // makes an engine; nil is rules.New
	calls    map[string]call             // that only tests send
	patience time.Duration               // before progress is shown; 0 is progressAfter
}

// DefaultWait is long enough for a typist's next key and short enough not to be
// felt after the last.
const DefaultWait = 150 * time.Millisecond

// Serve speaks with one editor until it says exit, its input ends, its process
// ends, or ctx does. The exit code is 0 if the editor asked for shutdown first
// and 1 otherwise, as the protocol has it. Where ctx or the editor's process
// ended first, or out failed, Serve closes in if it can: its reader may be waiting.
func Serve(ctx context.Context, in io.Reader, out io.Writer, o Options) (exitCode int) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	log := o.Log
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	stream := newStream(in, out)
	conn := jsonrpc2.NewConn(stream, jsonrpc2.WithCodec(codec{}))
	s := newServer(ctx, conn, log, o)
	s.hangUp = func() { stream.ended = true }
	orphaned := make(chan struct{})
	var attending sync.WaitGroup
	s.attend = func(pid int) {
		if pid > 0 && alive(pid) { // looked for before the answer, so that its end can't be missed
			attending.Go(func() { watchProcess(ctx, pid, orphaned) })
		}
	}
	conn.Go(ctx, s.handler())

	reading := false // whether the reader is still waiting for the editor
	select {
	case <-s.exit:
	case <-conn.Done():
		if err := conn.Err(); err != nil {
			log.Error("connection ended", "why", err)
		}
	case <-stream.broken:
		reading = true
		log.Error("the editor no longer takes what is sent")
	case <-orphaned:
		reading = true
		log.Error("the editor's process has ended")
	case <-ctx.Done():
		reading = true
	}
	cancel()
	s.session.stop()
	attending.Wait()
	stream.flush()
	if reading {
		return abandon(in, conn)
	}
	<-conn.Done()
	if s.polite && conn.Err() == nil {
		return 0
	}
	return 1
}

// abandon ends a connection whose reader may wait for ever, if that can be done.
func abandon(in io.Reader, conn jsonrpc2.Conn) (exitCode int) {
	if c, ok := in.(io.Closer); ok {
		c.Close()
		select {
		case <-conn.Done():
		case <-time.After(flushWait):
		}
	}
	return 1
}

// Listen serves every editor that connects to a local socket until ctx ends.
// The address is "unix:PATH", or "HOST:PORT" of this machine. It tells ready
// the address once it accepts.
func Listen(ctx context.Context, address string, ready func(net.Addr), o Options) error {
	l, err := listen(address)
	if err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	var editors sync.WaitGroup
	defer editors.Wait()
	ready(l.Addr())
	for {
		conn, err := l.Accept()
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return fmt.Errorf("accept an editor: %w", err)
		}
		editors.Go(func() {
			defer conn.Close()
			Serve(ctx, conn, conn, o)
		})
	}
}

// listen opens a socket that only this machine reaches: whoever connects may
// have any file of the user's named in a spec read.
func listen(address string) (net.Listener, error) {
	if path, ok := strings.CutPrefix(address, "unix:"); ok {
		l, err := net.Listen("unix", path)
		if err != nil {
			return nil, err
		}
		if err := os.Chmod(path, 0o600); err != nil {
			l.Close()
			return nil, err
		}
		return l, nil
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("listen on %q: only an address of this machine is served, such as 127.0.0.1", host)
	}
	return net.Listen("tcp", address)
}

func newServer(ctx context.Context, conn jsonrpc2.Conn, log *slog.Logger, o Options) *server {
	wait := o.Wait
	if wait == 0 {
		wait = DefaultWait
	}
	session := newSession(ctx, log, wait)
	session.editor = conn
	session.usualWait = wait
	session.clock = o.Rules.Now
	if session.clock == nil {
		session.clock = time.Now
	}
	session.cache = o.Cache
	if user, err := os.UserCacheDir(); session.cache == "" && err == nil {
		session.cache = filepath.Join(user, "corbel")
	}
	session.builtin = sync.OnceValue(func() string { return layBuiltin(session.cache) })
	if o.patience != 0 {
		session.patience = o.patience
	}
	if o.check != nil {
		session.check = o.check(session)
	} else {
		o.Rules.ReadFile = session.readFile
		o.Rules.Progress = session.stages.note
		if of := o.Rules.RootOf; of != nil {
			o.Rules.RootOf = func(path string) string { return widest(of(path), session.snapshot().client.folders) }
		}
		if most := o.Rules.MaxTextBytes; most > 0 {
			session.textMost = most
		}
		session.newChecker = func(chosen settings) checker {
			r := o.Rules
			if chosen.Jobs > 0 {
				r.Jobs = chosen.Jobs
			}
			if chosen.Memory > 0 {
				r.Memory = chosen.Memory << 20
			}
			if o.engine != nil {
				return o.engine(r)
			}
			return rules.New(r)
		}
		session.check = session.newChecker(settings{})
	}
	return &server{
		session: session,
		log:     log,
		version: o.Version,
		more:    o.calls,
		exit:    make(chan struct{}),
		running: make(map[jsonrpc2.ID]context.CancelFunc),
	}
}
