// Command release builds what a release of corbel hands out, from a clean
// checkout, by one command:
//
//	go run ./cmd/release [-o dist]
//
// It writes one archive for each system and processor, with the program, its
// licence, the licences of what is linked into it, the manual and the manual
// pages; a bill of materials; and the digests of all of these. Two runs of the
// same commit make the same bytes, whatever the folder and the Go installed: the
// programs are built by the toolchain that go.mod names, fetched if need be.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"corbel/rules"
)

// target is a system and a processor that Go builds for.
type target struct{ os, arch string }

func (t target) String() string { return t.os + "-" + t.arch }

// targets are what a release holds.
var targets = []target{
	{"linux", "amd64"}, {"linux", "arm64"},
	{"darwin", "amd64"}, {"darwin", "arm64"},
	{"windows", "amd64"}, {"windows", "arm64"},
}

func main() {
	out := flag.String("o", "dist", "folder that the release is written into; it must not exist yet")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := release(ctx, *out, targets)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

// release builds all targets into a new folder. It appears whole or not at all.
func release(ctx context.Context, out string, targets []target) error {
	if _, err := os.Lstat(out); err == nil {
		return fmt.Errorf("%s is there already: remove it, or choose another folder with -o", out)
	}
	src, err := sourceAt(ctx)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp(filepath.Dir(filepath.Clean(out)), ".release-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	var bill *billOfMaterials
	for _, t := range targets {
		fmt.Fprintln(os.Stderr, t)
		program := filepath.Join(dir, t.String()+".bin")
		if err := build(ctx, src, t, program); err != nil {
			return err
		}
		mods, err := linked(program)
		if err != nil {
			return err
		}
		bill = bill.add(mods)
		files, err := contents(ctx, src, t, program, mods)
		if err != nil {
			return err
		}
		name := fmt.Sprintf("corbel-%s-%s", rules.Version, t)
		if err := pack(dir, name, t, files, src.when); err != nil {
			return err
		}
		if err := os.Remove(program); err != nil {
			return err
		}
	}
	if err := bill.write(filepath.Join(dir, fmt.Sprintf("corbel-%s.cdx.json", rules.Version))); err != nil {
		return err
	}
	if err := digests(dir); err != nil {
		return err
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		return err
	}
	return os.Rename(dir, out)
}

// source is the checkout that a release is made from.
type source struct {
	root   string
	commit string
	when   time.Time // of the commit: the time of every file in the archives
	goes   string    // the toolchain that go.mod names, "local" where it names none
}

// sourceAt asks git and go about the checkout around the working folder.
func sourceAt(ctx context.Context) (source, error) {
	ask := func(name string, args ...string) (string, error) {
		b, err := exec.CommandContext(ctx, name, args...).Output()
		if err != nil {
			return "", fmt.Errorf("%s %s: %w", name, strings.Join(args, " "), err)
		}
		return strings.TrimSpace(string(b)), nil
	}
	root, err := ask("git", "rev-parse", "--show-toplevel")
	if err != nil {
		return source{}, err
	}
	dirty, err := ask("git", "-C", root, "status", "--porcelain")
	if err != nil {
		return source{}, err
	}
	if dirty != "" {
		return source{}, fmt.Errorf("the checkout has changes that no commit holds:\n%s", dirty)
	}
	commit, err := ask("git", "-C", root, "rev-parse", "HEAD")
	if err != nil {
		return source{}, err
	}
	seconds, err := ask("git", "-C", root, "show", "-s", "--format=%ct", "HEAD")
	if err != nil {
		return source{}, err
	}
	n, err := strconv.ParseInt(seconds, 10, 64)
	if err != nil {
		return source{}, err
	}
	text, err := ask("go", "mod", "edit", "-json", filepath.Join(root, "go.mod"))
	if err != nil {
		return source{}, err
	}
	mod := struct{ Toolchain string }{"local"}
	if err := json.Unmarshal([]byte(text), &mod); err != nil {
		return source{}, fmt.Errorf("go mod edit: %w", err)
	}
	return source{root, commit, time.Unix(n, 0).UTC(), mod.Toolchain}, nil
}

// build makes a static program without paths, build identifiers or symbols, so
// that its bytes depend on the source and on the toolchain alone.
func build(ctx context.Context, src source, t target, program string) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-buildvcs=false",
		"-ldflags", "-s -w -buildid= -X main.commit="+src.commit, "-o", program, "./cmd/corbel")
	cmd.Dir = src.root
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+t.os, "GOARCH="+t.arch, "GOFLAGS=", "GOEXPERIMENT=", "GOTOOLCHAIN="+src.goes)
	cmd.Stderr = os.Stderr
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("building for %s: %w", t, err)
	}
	return nil
}
