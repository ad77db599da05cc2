package lsp

import (
	"os"
	"time"
)

// This file notices files that change on disk: meshes that CAD writes anew,
// shop files that someone else edits. Editors that watch files tell us; several
// do not, so the server also looks at sizes and times itself.

// pollEvery is how often the files that open texts rest on are looked at. A
// file counts as changed once it has stayed the same for one such interval,
// since large meshes are written in many pieces.
const pollEvery = 400 * time.Millisecond

// stamp is what is known about a file on disk.
type stamp struct {
	seen  fileState // what the checks saw, or something older
	later fileState // a newer state that may still be changing
}

// fileState tells one state of a file from another.
type fileState struct {
	size int64
	time time.Time
	none bool // there is no such file
}

func stateOf(path string) fileState {
	info, err := os.Stat(path)
	if err != nil {
		return fileState{none: true}
	}
	return fileState{size: info.Size(), time: info.ModTime()}
}

// see notes the state of a file before it is read for the first time, so that
// any later state is known to be a change. It reports whether it was the first.
func (s *session) see(path string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stamps[path] != nil {
		return false
	}
	now := stateOf(path)
	s.stamps[path] = &stamp{seen: now, later: now}
	return true
}

// seeAll notes the files of a finished pass that were not read through
// readFile, meshes above all. One that was written after the pass began may
// have been read before that: its state is forgotten, and the next poll takes
// it for changed.
func (s *session) seeAll(paths []string, began time.Time) {
	for _, path := range paths {
		if !s.see(path) {
			continue
		}
		s.mu.Lock()
		if st := s.stamps[path]; st.seen.time.After(began) {
			st.seen = fileState{}
		}
		s.mu.Unlock()
	}
}

// pollAll looks at the files until the session ends.
func (s *session) pollAll() {
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	scan := time.NewTicker(scanEvery)
	defer scan.Stop()
	for {
		select {
		case <-s.ctx.Done():
			return
		case <-tick.C:
			s.poll()
		case <-scan.C:
			if s.settings().Workspace {
				s.scan()
			}
		}
	}
}

// poll looks once at every file that an open text rests on, and forgets the others.
func (s *session) poll() {
	s.mu.Lock()
	wanted := make(map[string]bool)
	for _, t := range s.tracks {
		for _, path := range t.rests {
			wanted[path] = true
		}
		for _, path := range shopsAbove(t.path) {
			wanted[path] = true
		}
	}
	for path := range s.stamps {
		if !wanted[path] {
			delete(s.stamps, path)
		}
	}
	s.mu.Unlock()
	for path := range wanted {
		s.look(path, true)
	}
}

// look compares a file with what is known of it and checks again what rests on
// it. With settle, a change counts once it has been seen twice.
func (s *session) look(path string, settle bool) {
	now := stateOf(path)
	s.mu.Lock()
	st := s.stamps[path]
	if st == nil {
		st = &stamp{seen: now, later: now}
		s.stamps[path] = st
	}
	changed := now != st.seen && (now == st.later || !settle)
	st.later = now
	if changed {
		st.seen = now
	}
	s.mu.Unlock()
	if changed {
		s.change(path, nil)
	}
}
