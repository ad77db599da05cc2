//go:build unix

package rules

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"corbel/mesh/meshtest"
)

// Whatever a spec names, there is one clear finding or failure about it, no
// panic, and nothing else is said of the mesh.
func TestHostileMeshes(t *testing.T) {
	cube := meshtest.BinarySTL(meshtest.Cube(20), 1)
	lying := append(append([]byte(nil), cube[:80]...), 0xff, 0xff, 0xff, 0xff)
	nan := append([]byte(nil), cube...)
	copy(nan[84+12:], []byte{0, 0, 0xc0, 0x7f})
	for _, c := range []struct {
		name string
		data []byte // of part.stl; nil where prepare makes it
		make func(t *testing.T, path string)
		want string
	}{
		{"empty", []byte{}, nil, "empty"},
		{"truncated", cube[:len(cube)-7], nil, "part.stl"},
		{"lying count", lying, nil, "4294967295"},
		{"NaN", nan, nil, "part.stl"},
		{"blank lines", bytes.Repeat([]byte("\n"), 1<<20), nil, "part.stl"},
		{"noise", bytes.Repeat([]byte{0, 1, 2, 0xfe}, 5000), nil, "part.stl"},
		{"folder", nil, func(t *testing.T, path string) { check(t, os.Mkdir(path, 0o777)) }, "it is a folder"},
		{"device", nil, func(t *testing.T, path string) { check(t, os.Symlink("/dev/zero", path)) }, "outside the workspace"},
		{"pipe", nil, func(t *testing.T, path string) { check(t, syscall.Mkfifo(path, 0o666)) }, "no regular file"},
		{"loop of links", nil, func(t *testing.T, path string) { check(t, os.Symlink(path, path)) }, "part.stl"},
		{"link out of the workspace", nil, func(t *testing.T, path string) { check(t, os.Symlink("/etc/hostname", path)) }, "outside the workspace"},
		{"missing", nil, func(*testing.T, string) {}, "does not exist"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, Options{})
			b.Engine.o.Root = b.dir
			check(t, os.Remove(b.path("part.stl")))
			if c.make != nil {
				c.make(t, b.path("part.stl"))
			} else {
				check(t, os.WriteFile(b.path("part.stl"), c.data, 0o666))
			}
			r := b.full()
			if r.Status != Unchecked || len(r.Findings) != 1 || len(r.Failures) != 1 || r.Findings[0].Level != Error {
				t.Fatalf("status %s, findings %v, failures %v", r.Status, r.Findings, r.Failures)
			}
			if !strings.Contains(r.Findings[0].Message, c.want) {
				t.Errorf("message %q, want %q", r.Findings[0].Message, c.want)
			}
		})
	}
}

func check(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// Without a bound on the workspace a device is still no mesh.
func TestDeviceAsMesh(t *testing.T) {
	b := newBench(t, Options{})
	check(t, os.Remove(b.path("part.stl")))
	check(t, os.Symlink("/dev/zero", b.path("part.stl")))
	if r := b.full(); len(r.Findings) != 1 || !strings.Contains(r.Findings[0].Message, "it is a device") {
		t.Errorf("%v", r.Findings)
	}
}

// A direction of any length stands the part.
func TestHugeUp(t *testing.T) {
	b := newBench(t, Options{})
	b.write("part.part.toml", strings.Replace(ledgeSpec, `"+z"`, "[1e308, 0, 1e308]", 1))
	r := b.full()
	if z := r.Measured.Frame.Z.Norm(); r.Status != Checked || !(z > 0.999 && z < 1.001) {
		t.Errorf("status %s, up %v", r.Status, r.Measured.Frame.Z)
	}
}

// Specs that are no text to read, and texts that are no spec: each ends in
// findings or a failure, in little memory.
func TestHostileTexts(t *testing.T) {
	for _, c := range []struct {
		name, text string
	}{
		{"empty", ""},
		{"dotted keys", "schema = 1\n" + strings.Repeat("a.", 20000)},
		{"nesting", "x = " + strings.Repeat("[", 100000)},
		{"one long line", "part = \"" + strings.Repeat("x", 3<<20)},
		{"NUL", "schema = 1\x00\n"},
		{"UTF-16", "\xff\xfes\x00c\x00h\x00e\x00m\x00a\x00"},
		{"bad UTF-8", "part = \"\xff\xfe\xfd\"\n"},
		{"lone carriage returns", strings.ReplaceAll(ledgeSpec, "\n", "\r")},
		{"many keys", "schema = 1\n" + strings.Repeat("[[hole]]\nname = \"a\"\n", 20000)},
		{"zero up", strings.Replace(ledgeSpec, `"+z"`, "[0, 0, 0]", 1)},
		{"huge lift", ledgeSpec + "lift = \"1e300 m\"\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, Options{})
			b.write("part.part.toml", c.text)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			r := b.full()
			runtime.ReadMemStats(&after)
			if len(r.Findings) == 0 && len(r.Failures) == 0 {
				t.Error("nothing is said of it")
			}
			if len(r.Findings) > 300 {
				t.Errorf("%d findings", len(r.Findings))
			}
			for _, f := range r.Findings {
				if len(f.Message) > 1000 {
					t.Errorf("a message of %d bytes", len(f.Message))
				}
			}
			if mib := (after.TotalAlloc - before.TotalAlloc) >> 20; mib > 400 {
				t.Errorf("%d MiB allocated", mib)
			}
		})
	}
	for name, make := range map[string]func(string){
		"folder": func(p string) { check(t, os.Mkdir(p, 0o777)) },
		"device": func(p string) { check(t, os.Symlink("/dev/zero", p)) },
		"pipe":   func(p string) { check(t, syscall.Mkfifo(p, 0o666)) },
		"large": func(p string) {
			f, err := os.Create(p)
			check(t, err)
			check(t, f.Truncate(50<<20)) // a hole: no bytes on disk
			check(t, f.Close())
		},
	} {
		b := newBench(t, Options{})
		make(b.path("bad.part.toml"))
		r := b.Part(t.Context(), b.path("bad.part.toml"), Full)
		if r.Spec != nil || r.Status != Unchecked || len(r.Failures) != 1 {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// A spec or a shop file that lies elsewhere than it seems is not read: what it
// holds would be shown to whoever made the link.
func TestTextsOutsideTheWorkspace(t *testing.T) {
	secret := filepath.Join(t.TempDir(), "secret")
	check(t, os.WriteFile(secret, []byte("password = hunter2\n"), 0o600))
	b := newBench(t, Options{})
	b.o.RootOf = func(path string) string { return filepath.Dir(path) }
	check(t, os.Symlink(secret, b.path("link.part.toml")))
	r := b.Part(t.Context(), b.path("link.part.toml"), Full)
	if r.Spec != nil || len(r.Failures) != 1 || !strings.Contains(r.Failures[0].Why, "outside the workspace") || strings.Contains(fmt.Sprint(r), "hunter2") {
		t.Errorf("spec: %+v", r)
	}
	check(t, os.Symlink(secret, b.path("shop.toml")))
	if r := b.ShopFile(t.Context(), b.path("shop.toml")); r.File != nil || len(r.Failures) != 1 || !strings.Contains(r.Failures[0].Why, "outside the workspace") {
		t.Errorf("shop file: %+v", r)
	}
	if r := b.full(); r.Status != Unchecked || strings.Contains(fmt.Sprint(r.Failures, r.Findings), "hunter2") {
		t.Errorf("part below such a shop file: %+v", r.Failures)
	}
	b.o.Root = filepath.Dir(filepath.Dir(secret)) // both lie below
	if r := b.Part(t.Context(), b.path("link.part.toml"), Full); r.Spec == nil {
		t.Errorf("with a wider root: %+v", r.Failures)
	}
}

// A link that is turned out of the workspace between the look at it and the
// opening leads nowhere.
func TestLinkTurnedWhileRead(t *testing.T) {
	secret := filepath.Join(t.TempDir(), "secret")
	check(t, os.WriteFile(secret, []byte("password"), 0o600))
	dir := t.TempDir()
	inside, link := filepath.Join(dir, "inside"), filepath.Join(dir, "link")
	check(t, os.WriteFile(inside, []byte("open"), 0o600))
	check(t, os.Symlink(inside, link))
	done := make(chan struct{})
	turned := make(chan error, 1)
	go func() { // two links take turns at the name
		var err error
		for i := 0; err == nil; i++ {
			select {
			case <-done:
				turned <- nil
				return
			default:
			}
			next := filepath.Join(dir, "next")
			if err = os.Symlink([]string{secret, inside}[i%2], next); err == nil {
				err = os.Rename(next, link)
			}
		}
		turned <- err
	}()
	read, refused := 0, 0
	for range 1000 {
		switch text, err := ReadText(dir, link, 100); {
		case err != nil:
			refused++
		case string(text) != "open":
			t.Fatalf("read %q", text)
		default:
			read++
		}
	}
	close(done)
	check(t, <-turned)
	if read == 0 || refused == 0 {
		t.Errorf("read %d times, refused %d times: the link was not turned", read, refused)
	}
}
