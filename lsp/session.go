package lsp

import (
	"context"
	"log/slog"
	"maps"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"go.lsp.dev/protocol"
	"go.lsp.dev/uri"

	"corbel/rules"
)

// checker is what the server asks of the rules; *rules.Engine is one. Texts
// come to it through session.readFile, so that unsaved ones count.
type checker interface {
	Part(ctx context.Context, path string, mode rules.Mode) *rules.PartReport
	ShopFile(ctx context.Context, path string) *rules.ShopReport
}

// snapshot is one state of all open texts. It never changes.
type snapshot struct {
	client client
	docs   map[string]*document // by path
}

// session holds what changes: the open texts and what is known about each.
type session struct {
	log    *slog.Logger
	editor peer
	stages stages

	wait     time.Duration // between an edit and the measuring it asks for
	patience time.Duration // before progress is shown
	clock    func() time.Time
	builtin  func() string // lays the built-in shop file, once
	cache    string        // folder for what an editor is to open; may be empty
	textMost int64         // bytes of a text on disk

	usualWait  time.Duration          // wait, unless the user chooses another
	newChecker func(settings) checker // nil where the settings change nothing

	work sync.WaitGroup
	ctx  context.Context // of all work; ends at shutdown
	end  context.CancelFunc

	mu       sync.Mutex // guards what follows
	check    checker
	chosen   settings
	sets     map[string]*set               // for editors that ask, by path
	serial   int64                         // of the newest of sets
	painted  map[string]painted            // for editors that ask what has changed, by path
	paints   int64                         // names of painted so far
	jobs     map[string]context.CancelFunc // that a user asked for, by path
	pictures map[pictureKey]*picture
	manuals  map[string]string // files of the pages about checks, by check
	news     chan struct{}     // closed when one of sets changes
	now      *snapshot
	tracks   map[string]*track // of the open part specs and shop files, by path
	queue    []string          // paths to check, next first
	outbox   outbox
	stamps   map[string]*stamp // of files on disk that reports rest on, by path
	asked    map[string]bool   // refreshes that wait for an answer, true if one more is due

	drawing sync.Mutex // held while a picture is drawn

	wake chan struct{} // holds one: there is something in queue
	post chan struct{} // holds one: there is something in outbox
	slot chan struct{} // holds one for each measuring pass that runs
	idle chan struct{} // likewise, for texts that are not open
}

func newSession(ctx context.Context, log *slog.Logger, wait time.Duration) *session {
	ctx, end := context.WithCancel(ctx)
	return &session{
		log:      log,
		wait:     wait,
		sets:     make(map[string]*set),
		painted:  make(map[string]painted),
		news:     make(chan struct{}),
		jobs:     make(map[string]context.CancelFunc),
		manuals:  make(map[string]string),
		idle:     make(chan struct{}, 1),
		patience: progressAfter,
		textMost: rules.DefaultMaxTextBytes,
		ctx:      ctx,
		end:      end,
		now:      &snapshot{client: client{unit: protocol.PositionEncodingKindUTF16}},
		tracks:   make(map[string]*track),
		outbox:   outbox{waiting: make(map[uri.URI]*protocol.PublishDiagnosticsParams)},
		stamps:   make(map[string]*stamp),
		asked:    make(map[string]bool),
		wake:     make(chan struct{}, 1),
		post:     make(chan struct{}, 1),
		slot:     make(chan struct{}, measuringAtOnce),
	}
}

// start begins to check and to publish, once the editor has said what it can do.
func (s *session) start(c client, chosen settings) {
	s.mu.Lock()
	s.now = &snapshot{client: c}
	s.chosen.Diagnostics = chosen.Diagnostics
	s.mu.Unlock()
	s.choose(chosen)
	s.run(s.checkAll)
	s.run(s.publishAll)
	s.run(s.pollAll)
}

// run starts a goroutine that stop waits for.
func (s *session) run(f func()) {
	s.work.Add(1)
	go func() {
		defer s.work.Done()
		defer func() {
			if v := recover(); v != nil {
				s.log.Error("background work failed", "why", v, "stack", string(debug.Stack()))
			}
		}()
		f()
	}()
}

// stop ends all work and waits for it.
func (s *session) stop() {
	s.end()
	s.work.Wait()
}

// snapshot returns the present state of all open texts.
func (s *session) snapshot() *snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// change is the door by which every change enters: edit makes a file's new open
// text from its present one (nil where the file is not open); without edit, the
// file has changed on disk. The new text is stored and all work that rests on
// the file is stopped before anything else happens; then checks are queued.
func (s *session) change(path string, edit func(*document) *document) {
	s.mu.Lock()
	defer s.mu.Unlock()
	old := s.now.docs[path]
	if edit == nil && old != nil {
		return // the open text counts, not the disk
	}
	if edit != nil {
		doc := edit(old)
		if doc == old {
			return
		}
		s.put(path, old, doc)
	}
	for _, t := range s.tracks {
		if (t.path != path || t.closed) && t.restsOn(path) {
			s.outdate(t, false)
		}
	}
}

// put replaces a file's open text, nil for none, and queues its own check. It
// is called with the lock held.
func (s *session) put(path string, old, doc *document) {
	docs := maps.Clone(s.now.docs)
	if docs == nil {
		docs = make(map[string]*document)
	}
	defer func() { s.now = &snapshot{client: s.now.client, docs: docs} }()
	t := s.tracks[path]
	if t != nil && t.closed {
		s.forget(t, t.doc)
		t = nil
	}
	if doc == nil || t != nil && doc.uri != old.uri {
		s.forget(t, old)
		t = nil
	}
	if doc == nil {
		delete(docs, path)
		delete(s.painted, path)
		return
	}
	docs[path] = doc
	if doc.kind == otherFile {
		return
	}
	if t == nil {
		t = &track{path: path}
		s.tracks[path] = t
	}
	t.doc = doc
	t.dirty = old != nil
	s.outdate(t, true)
}

// open stores a text that the editor opened.
func (s *session) open(u uri.URI, version int32, text string) {
	s.change(pathOf(u), func(*document) *document {
		return newDocument(u, version, []byte(text), s.now.client.unit)
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

// close forgets a text: its findings are cleared and the disk counts again.
func (s *session) close(u uri.URI) {
	s.change(pathOf(u), func(*document) *document { return nil })
	s.run(s.scan)
}

// moveFolders takes folders into the workspace and out of it.
func (s *session) moveFolders(e *protocol.WorkspaceFoldersChangeEvent) {
	s.mu.Lock()
	defer s.mu.Unlock()
	next := *s.now
	next.client.folders = slices.Clone(next.client.folders)
	for _, f := range e.Removed {
		next.client.folders = slices.DeleteFunc(next.client.folders, func(path string) bool { return path == pathOf(f.URI) })
	}
	for _, f := range e.Added {
		next.client.folders = append(next.client.folders, pathOf(f.URI))
	}
	s.now = &next
	for _, t := range s.tracks { // the folders bound what a text may name
		s.outdate(t, false)
	}
	s.run(s.scan)
}

// readFile is how the rules read: the open text if there is one, else the disk.
func (s *session) readFile(root, path string) ([]byte, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if doc := s.snapshot().docs[abs]; doc != nil {
		return doc.text, nil
	}
	s.see(abs)
	return rules.ReadText(root, abs, s.textMost)
}

// widest is the bound of what a text may name: the one that holds without an
// editor, or the folder of the workspace that holds that one.
func widest(bound string, folders []string) string {
	for _, f := range folders {
		if rel, err := filepath.Rel(f, bound); err == nil && filepath.IsLocal(rel) {
			bound = f
		}
	}
	return bound
}
