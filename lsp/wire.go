package lsp

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync"
	"time"

	"go.lsp.dev/jsonrpc2"
	"go.lsp.dev/protocol"
)

const (
	// maxMessage bounds one message. A part spec is a few kilobytes; a message
	// beyond this is skipped and refused, so that a lying length costs no memory.
	maxMessage = 64 << 20
	// maxHeader bounds the header lines before a message.
	maxHeader = 8 << 10
	// outQueue is how many messages may wait for an editor that does not read.
	outQueue = 256
	// flushWait is how long the last messages may take to leave at the end.
	flushWait = time.Second
)

// codec encodes and decodes payloads with the protocol's own rules for unions,
// and passes raw messages through. The library has the same codec but keeps it
// to itself.
type codec struct{}

func (codec) Marshal(v any) ([]byte, error) {
	if raw, ok := v.(jsonrpc2.RawMessage); ok {
		if raw == nil {
			return []byte("null"), nil
		}
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

// stream frames messages by the base protocol. The library's own framing ends
// the connection at the first message that is no JSON and blocks a sender when
// the editor does not read; this one answers the former and queues the latter.
type stream struct {
	in    *bufio.Reader
	body  []byte // reused: a message is valid until the next Read
	ended bool   // nothing more is read; set where messages are read

	out     chan []byte
	broken  chan struct{} // closed when writing failed
	stopped chan struct{} // closed by stop
	written chan struct{} // closed when the writer has ended
	stop    func()        // ends writing once the queue is empty
}

func newStream(in io.Reader, out io.Writer) *stream {
	s := &stream{
		in:      bufio.NewReader(in),
		out:     make(chan []byte, outQueue),
		broken:  make(chan struct{}),
		stopped: make(chan struct{}),
		written: make(chan struct{}),
	}
	s.stop = sync.OnceFunc(func() { close(s.stopped) })
	go s.writeAll(out)
	return s
}

// writeAll sends queued frames until stop, then what is still queued.
func (s *stream) writeAll(out io.Writer) {
	defer close(s.written)
	for {
		var frame []byte
		select {
		case frame = <-s.out:
		case <-s.stopped:
			select {
			case frame = <-s.out:
			default:
				return
			}
		}
		if _, err := out.Write(frame); err != nil {
			close(s.broken)
			return
		}
	}
}

// flush ends writing and waits a little for the last frames to leave.
func (s *stream) flush() {
	s.stop()
	select {
	case <-s.written:
	case <-time.After(flushWait):
	}
}

// Read returns the next message. Bodies that are no message are answered with
// an error and skipped; a header that is none ends the connection, since
// nothing after it can be found again.
func (s *stream) Read(ctx context.Context) (jsonrpc2.Message, int64, error) {
	for {
		if s.ended {
			return nil, 0, io.EOF
		}
		if err := ctx.Err(); err != nil {
			return nil, 0, err
		}
		size, err := s.readHeader()
		if err != nil {
			return nil, 0, err
		}
		if size > maxMessage {
			if _, err := io.CopyN(io.Discard, s.in, size); err != nil {
				return nil, 0, io.ErrUnexpectedEOF
			}
			s.refuse(nil, jsonrpc2.Errorf(jsonrpc2.InvalidRequest,
				"message of %d bytes is longer than the %d that are read", size, maxMessage))
			continue
		}
		if int64(cap(s.body)) < size {
			s.body = make([]byte, size)
		}
		s.body = s.body[:size]
		if _, err := io.ReadFull(s.in, s.body); err != nil {
			return nil, 0, io.ErrUnexpectedEOF
		}
		msg, err := jsonrpc2.DecodeMessage(s.body)
		if err != nil {
			s.refuse(s.body, err)
			continue
		}
		return msg, size, nil
	}
}

// readHeader reads the lines before a body and returns the body's length.
func (s *stream) readHeader() (int64, error) {
	size, read := int64(-1), 0
	for {
		line, err := s.in.ReadSlice('\n')
		read += len(line)
		if err != nil {
			if errors.Is(err, io.EOF) && read == 0 {
				return 0, io.EOF
			}
			return 0, fmt.Errorf("header cut short after %d bytes: %w", read, err)
		}
		if read > maxHeader {
			return 0, fmt.Errorf("header is longer than %d bytes", maxHeader)
		}
		name, value, found := strings.Cut(strings.TrimRight(string(line), "\r\n"), ":")
		switch {
		case name == "" && !found && size >= 0:
			return size, nil
		case name == "" && !found:
			return 0, errors.New("header has no Content-Length")
		case !found:
			return 0, fmt.Errorf("header line %.40q has no colon", name)
		case strings.EqualFold(name, "Content-Length"):
			size, err = strconv.ParseInt(strings.TrimSpace(value), 10, 64)
			if err != nil || size < 0 {
				return 0, fmt.Errorf("Content-Length is %.40q, not a length", value)
			}
		}
	}
}

// refuse answers a body that is no message, with the id if one can be seen.
func (s *stream) refuse(body []byte, err error) {
	var id jsonrpc2.ID
	var seen struct{ ID any }
	if json.Unmarshal(body, &seen) == nil {
		switch v := seen.ID.(type) {
		case float64:
			id = jsonrpc2.NewNumberID(int64(v))
		case string:
			id = jsonrpc2.NewStringID(v)
		}
	}
	_ = s.send(frame(jsonrpc2.AppendResponse(nil, id, nil, err)))
}

// Write queues a message.
func (s *stream) Write(_ context.Context, msg jsonrpc2.Message) (int64, error) {
	body, err := jsonrpc2.EncodeMessage(msg)
	if err != nil {
		return 0, err
	}
	return int64(len(body)), s.send(frame(body))
}

func (s *stream) send(frame []byte) error {
	select {
	case s.out <- frame:
		return nil
	case <-s.broken:
	case <-s.stopped:
	}
	return io.ErrClosedPipe
}

func frame(body []byte) []byte {
	return append(fmt.Appendf(nil, "Content-Length: %d\r\n\r\n", len(body)), body...)
}

// Close is called by the connection when it ends. The writer goes on until
// flush, so that the last answers still leave.
func (s *stream) Close() error { return nil }
