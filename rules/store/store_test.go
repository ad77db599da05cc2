package store

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

func valueOf(key string, n int) []byte { return bytes.Repeat([]byte(key+" "), n) }

// files returns the paths of all files of a store.
func files(t *testing.T, s *Store) []string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(s.dir, "*", "*"))
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func wantMiss(t *testing.T, s *Store, key string) {
	t.Helper()
	if v, ok := s.Get(key); ok {
		t.Errorf("%q gave %d bytes", key, len(v))
	}
}

func wantHit(t *testing.T, s *Store, key string, value []byte) {
	t.Helper()
	if v, ok := s.Get(key); !ok || !bytes.Equal(v, value) {
		t.Errorf("%q gave %v, %d bytes", key, ok, len(v))
	}
}

func TestKeptValuesComeBack(t *testing.T) {
	s := New(t.TempDir(), "b", 0)
	wantMiss(t, s, "k")
	for i, v := range [][]byte{{}, {0}, valueOf("k", 1e5)} {
		key := fmt.Sprint("k", i)
		s.Put(key, v)
		wantHit(t, s, key, v)
		wantHit(t, New(filepath.Dir(s.dir), "b", 0), key, v)
	}
	var none *Store
	none.Put("k", nil)
	wantMiss(t, none, "k")
	unknown := Later(t.TempDir(), func() string { return "" }, 0)
	unknown.Put("k", nil) // of a program that is not known
	wantMiss(t, unknown, "k")
	if New("", "b", 0) != nil || New(t.TempDir(), "", 0) != nil {
		t.Error("a store without a folder or a build")
	}
}

// Two builds share a folder and see nothing of each other's.
func TestBuildsDoNotMix(t *testing.T) {
	dir := t.TempDir()
	old, young := New(dir, "1", 0), New(dir, "2", 0)
	old.Put("k", []byte("old"))
	wantMiss(t, young, "k")
	young.Put("k", []byte("young"))
	wantHit(t, old, "k", []byte("old"))
	wantHit(t, young, "k", []byte("young"))
	if first, again := Build(), Build(); first == "" || first != again {
		t.Errorf("this build is %q, then %q", first, again)
	}
}

// Whatever happened to an entry, it is a miss, and is kept anew.
func TestBrokenEntriesAreMisses(t *testing.T) {
	value := valueOf("some value", 100)
	for name, harm := range map[string]func(path string, data []byte) error{
		"cut to nothing": func(p string, _ []byte) error { return os.Truncate(p, 0) },
		"cut in head":    func(p string, _ []byte) error { return os.Truncate(p, 20) },
		"cut by one":     func(p string, d []byte) error { return os.Truncate(p, int64(len(d))-1) },
		"one bit":        func(p string, d []byte) error { d[len(d)/2] ^= 4; return os.WriteFile(p, d, 0o600) },
		"checksum":       func(p string, d []byte) error { d[len(magic)] ^= 1; return os.WriteFile(p, d, 0o600) },
		"one too many":   func(p string, d []byte) error { return os.WriteFile(p, append(d, 0), 0o600) },
		"foreign":        func(p string, _ []byte) error { return os.WriteFile(p, []byte(strings.Repeat("hello", 100)), 0o600) },
		"another's":      func(p string, _ []byte) error { return nil }, // below
		"folder": func(p string, _ []byte) error {
			return errors.Join(os.Remove(p), os.Mkdir(p, 0o700), os.WriteFile(filepath.Join(p, "x"), nil, 0o600))
		},
		"link": func(p string, _ []byte) error {
			return errors.Join(os.Rename(p, p+".real"), os.Symlink(p+".real", p))
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := New(t.TempDir(), "b", 0)
			s.Put("k", value)
			path := s.path("b\nk")
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if name == "another's" {
				s.Put("l", value)
				if err := os.Rename(s.path("b\nl"), path); err != nil {
					t.Fatal(err)
				}
			}
			if err := harm(path, data); err != nil {
				t.Fatal(err)
			}
			wantMiss(t, s, "k")
			if name != "folder" { // nothing can be renamed over it
				s.Put("k", value)
				wantHit(t, s, "k", value)
			}
		})
	}
}

// TestProcess is the body of the processes of TestManyProcesses.
func TestProcess(t *testing.T) {
	dir := os.Getenv("STORE_TEST_DIR")
	if dir == "" {
		return // nothing to do in this process
	}
	s := New(dir, "b", 1<<20)
	for i := range 200 {
		key := fmt.Sprint("k", i%40)
		want := valueOf(key, 500)
		if v, ok := s.Get(key); ok && !bytes.Equal(v, want) {
			t.Fatalf("%q gave another value", key)
		}
		s.Put(key, want)
	}
}

// Processes that read, write and trim one folder at once never see a value
// that is not whole.
func TestManyProcesses(t *testing.T) {
	dir := t.TempDir()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			c := exec.Command(os.Args[0], "-test.run=^TestProcess$")
			c.Env = append(os.Environ(), "STORE_TEST_DIR="+dir)
			if out, err := c.CombinedOutput(); err != nil {
				t.Errorf("%v: %s", err, out)
			}
		})
	}
	wg.Wait()
	s := New(dir, "b", 1<<20)
	for i := range 40 {
		key := fmt.Sprint("k", i)
		wantHit(t, s, key, valueOf(key, 500))
	}
	for _, f := range files(t, s) {
		if strings.HasPrefix(filepath.Base(f), tempPrefix) {
			t.Errorf("%s was left", f)
		}
	}
}

// badFile is a file on a disk that takes so many bytes and no more.
type badFile struct {
	*os.File
	room int
}

var errFull = errors.New("no space left on device")

func (f *badFile) Write(b []byte) (int, error) {
	if len(b) > f.room {
		n, _ := f.File.Write(b[:f.room])
		f.room = 0
		return n, errFull
	}
	f.room -= len(b)
	return f.File.Write(b)
}

func TestFullDisk(t *testing.T) {
	for _, room := range []int{0, 3, len(magic), head, head + 7} {
		s := New(t.TempDir(), "b", 0)
		s.Put("before", []byte("kept"))
		tries := 0
		s.create = func(dir, pattern string) (file, error) {
			tries++
			f, err := os.CreateTemp(dir, pattern)
			return &badFile{f, room}, err
		}
		for range 10 {
			s.Put("k", valueOf("k", 100))
		}
		wantMiss(t, s, "k")
		wantHit(t, s, "before", []byte("kept"))
		if tries != failuresMost {
			t.Errorf("room for %d: %d tries to write", room, tries)
		}
		if left := files(t, s); len(left) != 1 {
			t.Errorf("room for %d: left %v", room, left)
		}
	}
}

// A folder that can't be made is a store without entries: here a file is in
// its way, which stops the superuser too.
func TestNoFolder(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "file")
	if err := os.WriteFile(in, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	s := New(filepath.Join(in, "cache"), "b", 0)
	for range 5 {
		s.Put("k", []byte("v"))
		wantMiss(t, s, "k")
	}
}

// What may be read and not written still answers.
func TestReadOnlyFolder(t *testing.T) {
	s := New(t.TempDir(), "b", 0)
	s.Put("k", []byte("v"))
	s.create = func(dir, pattern string) (file, error) { return nil, os.ErrPermission }
	s.now = func() time.Time { return time.Now().Add(time.Hour) } // the time of use can't be renewed either
	if err := os.Chmod(filepath.Dir(s.path("b\nk")), 0o500); err != nil {
		t.Fatal(err)
	}
	s.Put("l", []byte("v"))
	wantHit(t, s, "k", []byte("v"))
	wantMiss(t, s, "l")
}

// A process killed while it wrote leaves a file that nobody reads, and that
// goes when it is old.
func TestKilledWhileWriting(t *testing.T) {
	s := New(t.TempDir(), "b", 0)
	s.Put("k", []byte("v"))
	left := filepath.Join(filepath.Dir(s.path("b\nk")), tempPrefix+"123")
	if err := os.WriteFile(left, []byte(magic), 0o600); err != nil {
		t.Fatal(err)
	}
	s.trim()
	if _, err := os.Stat(left); err != nil {
		t.Error("a file that may be in work was taken away")
	}
	wantHit(t, s, "k", []byte("v"))
	s.now = func() time.Time { return time.Now().Add(2 * tempKept) }
	s.trim()
	if _, err := os.Stat(left); err == nil {
		t.Error("a file of a dead process stays")
	}
	wantHit(t, s, "k", []byte("v"))
}

func TestOldestUseGoesFirst(t *testing.T) {
	s := New(t.TempDir(), "b", 100<<10)
	at := time.Now().Add(-24 * time.Hour)
	s.now = func() time.Time { return at }
	value := valueOf("0123456789", 600) // 6.6 kB
	for i := range 60 {
		at = at.Add(2 * time.Minute)
		key := fmt.Sprint("k", i)
		s.Put(key, value)
		if err := os.Chtimes(s.path("b\n"+key), at, at); err != nil {
			t.Fatal(err)
		}
		if i%10 == 0 {
			wantHit(t, s, "k0", value) // stays in use
		}
	}
	s.trim()
	var sum int64
	for _, f := range files(t, s) {
		if info, err := os.Stat(f); err == nil {
			sum += info.Size()
		}
	}
	if sum > s.most || sum < s.most/2 {
		t.Errorf("%d bytes kept of %d", sum, s.most)
	}
	wantHit(t, s, "k0", value)
	wantHit(t, s, "k59", value)
	wantMiss(t, s, "k5")
	s.Put("huge", make([]byte, s.entryMost()+1))
	wantMiss(t, s, "huge")
}

// What a wrong clock dated into the future is good, and does not stay for ever.
func TestClockJumps(t *testing.T) {
	s := New(t.TempDir(), "b", 40_000)
	s.Put("used", valueOf("used", 500))
	dead := filepath.Join(filepath.Dir(s.path("b\nused")), tempPrefix+"dead")
	if err := os.WriteFile(dead, make([]byte, 9000), 0o600); err != nil {
		t.Fatal(err)
	}
	for i := range 9 {
		key := fmt.Sprint("old", i)
		s.Put(key, valueOf(key, 500))
	}
	later := time.Now().Add(365 * 24 * time.Hour)
	for _, path := range files(t, s) {
		if err := os.Chtimes(path, later, later); err != nil {
			t.Fatal(err)
		}
	}
	wantHit(t, s, "used", valueOf("used", 500))
	if info, err := os.Stat(s.path("b\nused")); err != nil || time.Until(info.ModTime()) > time.Hour {
		t.Error("an entry that is used today counts as used in a year")
	}
	for i := range 20 { // pushes out what was used longest ago
		key := fmt.Sprint("k", i)
		s.Put(key, valueOf(key, 1000))
		wantHit(t, s, key, valueOf(key, 1000))
	}
	for i := range 9 {
		wantMiss(t, s, fmt.Sprint("old", i))
	}
	if _, err := os.Stat(dead); err == nil {
		t.Error("what a dead process left stays for ever")
	}
}
