package lsp

import "time"

// This file follows the part specs of a workspace that are not open, where the
// user wants their findings too. A text from disk has a track like an open one,
// without a version, and waits for every open one.

// scanEvery is how often the folders are looked through for specs that came or
// went, for editors that do not tell.
const scanEvery = 5 * time.Second

// scan brings the closed specs that are followed up to date with the folders.
func (s *session) scan() {
	snap := s.snapshot()
	there := make(map[string]bool)
	if s.settings().Workspace {
		for _, path := range s.specsAround(s.ctx, snap, nil, "") {
			there[path] = true
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for path, t := range s.tracks {
		if t.closed && !there[path] {
			s.forget(t, t.doc)
		}
	}
	for path := range there {
		if s.tracks[path] == nil && s.now.docs[path] == nil && s.ctx.Err() == nil {
			t := &track{path: path, closed: true}
			t.doc = newDocument(uriOfFile(path), unopened, nil, s.now.client.unit)
			s.tracks[path] = t
			s.outdate(t, false)
		}
	}
}

// reread gives a pass over a closed spec the text on disk. It reports false
// where the file has gone.
func (s *session) reread(t *track, p *pass) bool {
	text, err := s.readFile("", t.path) // for places in it alone; the engine reads it within its bound
	if err != nil {
		return false
	}
	p.doc = newDocument(p.doc.uri, unopened, text, p.doc.unit)
	s.mu.Lock()
	defer s.mu.Unlock()
	if t.state == p.state {
		t.doc = p.doc
	}
	return true
}
