// Package store keeps computed values on disk, named by the recipe that makes
// them, for later runs and for other processes.
//
// A store is a help and never a need: whatever is wrong with it (absent, full,
// not writable, an entry cut short, broken or put there by something else) is a
// miss. An entry may go at any time. Entries are whole files, written beside and
// renamed, so that any number of processes share a folder without locks: two
// that write one entry write the same bytes.
package store

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// DefaultBytes bounds a folder where New is told nothing.
const DefaultBytes = 2 << 30

const (
	// layout names the folder of this form of entries; another form takes another.
	layout = "entries-1"
	// magic begins every entry.
	magic = "corbel entry 1\n"
	head  = len(magic) + sha256.Size
	// touchAfter is how old a time of last use may grow before a hit renews it,
	// so that reading hardly ever writes.
	touchAfter = 10 * time.Minute
	// tempPrefix begins the names of files being written. One older than
	// tempKept was left by a process that died.
	tempPrefix = "new-"
	tempKept   = time.Hour
	// After this many failed writes nothing is written any more: the folder is
	// full or not writable, and trying costs time.
	failuresMost = 3
)

// Store is a folder of entries. It is safe for many goroutines and processes. A
// nil Store holds nothing and keeps nothing.
type Store struct {
	dir   string
	build func() string // empty where nothing is to be kept
	most  int64
	now   func() time.Time
	// create makes a new file of a unique name in a folder; tests put failing
	// disks here.
	create func(dir, pattern string) (file, error)

	mu       sync.Mutex // guards the rest
	failures int
	weighed  bool  // the folder's size was looked at
	written  int64 // bytes since then
}

type file interface {
	io.WriteCloser
	Name() string
}

// New opens the store in a folder, which is made when something is kept.
// Entries are bounded to most bytes in all; 0 is DefaultBytes. Those of other
// builds of the program are not seen: they may have computed otherwise. Without
// a folder or a build there is no store.
func New(dir, build string, most int64) *Store {
	if build == "" {
		return nil
	}
	return Later(dir, func() string { return build }, most)
}

// Later is New for a build that takes a while to find out, such as Build: it is
// asked for when an entry is, so that a server answers before that. It is called
// often and from many goroutines.
func Later(dir string, build func() string, most int64) *Store {
	if dir == "" {
		return nil
	}
	if most <= 0 {
		most = DefaultBytes
	}
	return &Store{dir: filepath.Join(dir, layout), build: build, most: most, now: time.Now,
		create: func(dir, pattern string) (file, error) { return os.CreateTemp(dir, pattern) }}
}

// path of an entry: 256 folders keep each short.
func (s *Store) path(key string) string {
	sum := sha256.Sum256([]byte(key))
	name := hex.EncodeToString(sum[:])
	return filepath.Join(s.dir, name[:2], name[2:])
}

// checksum covers the key too, so that an entry under another's name is none.
func checksum(key string, value []byte) []byte {
	h := sha256.New()
	io.WriteString(h, key)
	h.Write([]byte{0})
	h.Write(value)
	return h.Sum(nil)
}

// Get returns the value kept under a key.
func (s *Store) Get(key string) ([]byte, bool) {
	if s == nil {
		return nil, false
	}
	build := s.build()
	if build == "" {
		return nil, false
	}
	key = build + "\n" + key
	path := s.path(key)
	info, err := os.Lstat(path)
	if err != nil || !info.Mode().IsRegular() || info.Size() < int64(head) || info.Size() > s.entryMost() {
		return nil, false
	}
	data, err := os.ReadFile(path)
	if err != nil || len(data) < head || string(data[:len(magic)]) != magic {
		return nil, false
	}
	value := data[head:]
	if string(checksum(key, value)) != string(data[len(magic):head]) {
		os.Remove(path) // would be a miss for ever; another may write it anew
		return nil, false
	}
	if now := s.now(); now.Sub(info.ModTime()).Abs() > touchAfter { // in the future, too: clocks are set back
		_ = os.Chtimes(path, now, now)
	}
	return value, true
}

// entryMost is the largest entry: one must not push out all others.
func (s *Store) entryMost() int64 { return s.most / 4 }

// Put keeps a value under a key, if it can.
func (s *Store) Put(key string, value []byte) {
	if s == nil || int64(head+len(value)) > s.entryMost() {
		return
	}
	s.mu.Lock()
	off := s.failures >= failuresMost
	s.mu.Unlock()
	build := s.build()
	if off || build == "" {
		return
	}
	key = build + "\n" + key
	err := s.write(s.path(key), key, value)
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil {
		s.failures++
		return
	}
	// Other processes write too: the folder is weighed at the first entry, then
	// each time that this process has added a sixteenth.
	if s.written += int64(head + len(value)); !s.weighed || s.written > s.most/16 {
		s.trim()
		s.weighed, s.written = true, 0
	}
}

func (s *Store) write(path, key string, value []byte) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := s.create(dir, tempPrefix+"*")
	if err != nil {
		return err
	}
	for _, part := range [][]byte{[]byte(magic), checksum(key, value), value} {
		if err == nil {
			_, err = f.Write(part)
		}
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}

// kept is an entry as trimming sees it.
type kept struct {
	path string
	size int64
	used time.Time
}

// trim takes away what was used longest ago until the folder is a tenth below
// its bound, and what dead processes left.
func (s *Store) trim() {
	var all []kept
	var sum int64
	now := s.now()
	_ = filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil
		}
		info, err := d.Info()
		if err != nil || !info.Mode().IsRegular() {
			return nil
		}
		if strings.HasPrefix(d.Name(), tempPrefix) {
			if now.Sub(info.ModTime()).Abs() > tempKept {
				os.Remove(path)
			} else {
				sum += info.Size()
			}
			return nil
		}
		sum += info.Size()
		used := info.ModTime()
		if used.Sub(now) > touchAfter {
			// Of a clock that was wrong, or is: it must not outlive what is new.
			used = now.Add(-touchAfter)
			_ = os.Chtimes(path, used, used)
		}
		all = append(all, kept{path, info.Size(), used})
		return nil
	})
	if sum <= s.most {
		return
	}
	slices.SortFunc(all, func(a, b kept) int {
		if c := a.used.Compare(b.used); c != 0 {
			return c
		}
		return strings.Compare(a.path, b.path)
	})
	for _, k := range all {
		if sum <= s.most-s.most/10 {
			return
		}
		if os.Remove(k.path) == nil {
			sum -= k.size
		}
	}
}
