package lsp

import (
	"context"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"sync"
	"time"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
)

// checker is what the server asks of the rules. Texts come to it through
// session.readFile, so that unsaved ones count.
type checker interface {
	// part checks a part spec. A quick check measures no geometry but uses what
	// has been measured before.
	part(ctx context.Context, path string, quick bool) report
	// shop checks a shop file.
	shop(ctx context.Context, path string) report
}

// report is what a check found.
type report struct {
	findings []rules.Finding
	rests    []string // absolute paths of the files it rests on, missing ones too
	complete bool     // nothing waits for geometry
	part     *rules.PartReport
}

// client is what the editor told about itself.
type client struct {
	unit            protocol.PositionEncodingKind
	related         bool // shows related information
	codeDescription bool
	markdown        bool // shows hovers as Markdown
	progress        bool
	watches         bool // takes registrations for watched files
}

// snapshot is one state of all open texts. It never changes.
type snapshot struct {
	client client
	docs   map[string]*document // by path
}

// session holds what changes: the open texts and what is known about each.
type session struct {
	check checker
	log   *slog.Logger
	wait  time.Duration // between the text findings and geometry

	work sync.WaitGroup
	ctx  context.Context // of all work; ends at shutdown
	end  context.CancelFunc

	mu     sync.Mutex // guards what follows
	now    *snapshot
	tracks map[string]*track // of open part specs and shop files, by path
	queue  []string          // paths to check, next first
	outbox outbox
	stamps map[string]stamp

	wake   chan struct{} // buffered, one: there is something in queue
	heavy  chan struct{} // a place for each geometry pass that may run at once
	editor editor
}

// editor is the way to the client, as far as the session needs it.
type editor interface {
	publish(context.Context, *protocol.PublishDiagnosticsParams) error
}

// snapshot returns the present state of all open texts.
func (s *session) snapshot() *snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// change is the door by which every change enters: edit makes a file's new open
// text from its old one (nil where the file is not open); without edit the file
// has changed on disk. The new text is stored and all work that rests on the
// file is stopped before anything else happens; then checks are queued.
func (s *session) change(path string, edit func(*document) *document) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if edit != nil {
		old := s.now.docs[path]
		doc := edit(old)
		if doc == old {
			return
		}
		next := &snapshot{client: s.now.client, docs: maps.Clone(s.now.docs)}
		if doc == nil {
			delete(next.docs, path)
			s.untrack(old)
		} else {
			next.docs[path] = doc
			s.track(doc, old)
		}
		s.now = next
	} else if s.now.docs[path] != nil {
		return // the open text counts, not the disk
	}
	for other, t := range s.tracks {
		if other != path && t.restsOn(other, path) {
			s.outdate(other, t)
		}
	}
}

// open stores a text that the editor opened.
func (s *session) open(u uri.URI, version int32, text string) {
	s.change(pathOf(u), func(*document) *document {
		return newDocument(uri.URI(string(u)), version, []byte(text), s.now.client.unit)
	})
}

// edit applies changes to an open text. Changes of a text that is not open are
// the editor's mistake and are dropped.
func (s *session) edit(u uri.URI, version int32, changes []protocol.TextDocumentContentChangeEvent) {
	s.change(pathOf(u), func(old *document) *document {
		if old == nil {
			s.log.Warn("change of a text that is not open", "uri", u)
			return nil
		}
		return old.edited(version, changes)
	})
}

// close forgets a text; its findings are cleared and the disk counts again.
func (s *session) close(u uri.URI) {
	s.change(pathOf(u), func(*document) *document { return nil })
}

// readFile is how the rules read: the open text if there is one, else the disk.
func (s *session) readFile(path string) ([]byte, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	doc := s.now.docs[abs]
	s.mu.Unlock()
	if doc != nil {
		return doc.text, nil
	}
	return os.ReadFile(abs)
}
