package rules

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"corbel/mesh"
	"corbel/rules/store"
)

// This file reads meshes once per content. A file is known by size and time of
// change; only when those differ are its bytes hashed, and only a content of
// which neither memory nor disk holds what is asked is read.

// fileRecord is what was last seen of a mesh file.
type fileRecord struct {
	size   int64
	time   time.Time
	sha256 string
	racy   bool // hashed so soon after the change that a later one could look the same
}

// racyTime is the coarsest clock of a file system in use: FAT counts 2 seconds.
const racyTime = 2 * time.Second

// loaded is a mesh, or what was wrong with its file.
type loaded struct {
	mesh *mesh.Mesh
	err  *mesh.ReadError
}

// meshFacts is what is known of a mesh without its facets, or what was wrong with
// its file.
type meshFacts struct {
	info *MeshInfo
	err  *mesh.ReadError
}

// facetRest is what a facet takes at rest, its corners' places left out, with
// topology, search tree and all else that a mesh keeps: 96 to 102 bytes after a
// check of a ball, a gyroid, a lattice and a plate with bores.
const facetRest = 110

// meshBytes is about what a mesh takes at rest.
func meshBytes(verts, facets int) int64 { return 24*int64(verts) + facetRest*int64(facets) + 4096 }

// contentKey names a mesh: bytes, unit, the ending that says how to read them,
// and the bounds of archives where they are not the usual ones, since what one
// lets in another may refuse.
func (e *Engine) contentKey(sum, unit, path string) string {
	key := "mesh|" + sum + "|" + unit + "|" + strings.ToLower(filepath.Ext(path))
	archive := func(o mesh.LoadOptions) [3]int { return [3]int{o.MaxRatio, o.MaxEntries, o.MaxNesting} }
	if o := archive(e.o.Load.WithDefaults()); o != archive(mesh.LoadOptions{}.WithDefaults()) {
		key += fmt.Sprintf("|%d %d %d", o[0], o[1], o[2])
	}
	return key
}

// source is the mesh file of one part while the part is examined. The mesh is
// read when something first needs it.
type source struct {
	e    *Engine
	root string // the bound of what may be read
	path string
	file fs.FileInfo
	unit string
	key  string // of the content; set by open
	mesh *mesh.Mesh

	leave func() // gives back what admit took
}

// open returns the facts of the mesh. ok is false where mode is Known and
// memory does not hold them. The error is the context's alone, or an internal one.
func (s *source) open(ctx context.Context, mode Mode) (f meshFacts, ok bool, err error) {
	e, abs := s.e, absolute(s.path)
	e.mu.Lock()
	was, seen := e.files[abs]
	e.mu.Unlock()
	same := seen && !was.racy && was.size == s.file.Size() && was.time.Equal(s.file.ModTime())
	fresh := fmt.Sprintf("load|%s|%d|%d|%s", abs, s.file.Size(), s.file.ModTime().UnixNano(), s.unit)
	if mode == Known {
		if same {
			s.key = e.contentKey(was.sha256, s.unit, s.path)
			if v, ok := e.cache.peek("facts|" + s.key); ok {
				return v.(meshFacts), true, nil
			}
		}
		if v, ok := e.cache.peek(fresh); ok {
			return meshFacts{err: v.(*loaded).err}, true, nil
		}
		return f, false, nil
	}
	sum := was.sha256
	if !same {
		sum = ""
	}
	if !same && (seen || e.disk != nil) && s.file.Size() <= e.bytesMost() {
		if sum, err = e.hashFile(ctx, s.root, s.path, s.file.Size()); err != nil {
			if ctx.Err() != nil {
				return f, false, ctx.Err()
			}
			sum = "" // reading says what is wrong
		} else {
			e.remember(abs, s.file, sum)
		}
	}
	if sum != "" {
		s.key = e.contentKey(sum, s.unit, s.path)
		if f, ok := e.keptFacts(s.key); ok {
			return f, true, nil
		}
	}
	l, err := s.read(ctx, fresh)
	if err != nil {
		return f, false, err
	}
	if l.err != nil {
		f.err = l.err
		if s.key != "" {
			e.cache.put("facts|"+s.key, f, 1024)
		}
		return f, true, nil
	}
	s.mesh, s.key = l.mesh, e.contentKey(l.mesh.Source.SHA256, s.unit, s.path)
	f.info = &MeshInfo{l.mesh.Source, len(l.mesh.Facets), l.mesh.Box()}
	e.cache.put("facts|"+s.key, f, 1024)
	e.toDisk("facts|"+s.key, func(any) any { return *f.info }, nil)
	return f, true, nil
}

// keptFacts returns the facts of a content that memory or disk holds. Where the
// mesh is larger than allowed, reading says so.
func (e *Engine) keptFacts(key string) (meshFacts, bool) {
	if v, ok := e.cache.peek("facts|" + key); ok {
		return v.(meshFacts), true
	}
	data, ok := e.disk.Get("facts|" + key)
	if !ok {
		return meshFacts{}, false
	}
	f := meshFacts{info: new(MeshInfo)}
	most, _ := e.facetsMost()
	if store.Decode(data, f.info) != nil || f.info.Source.Facets > most {
		return meshFacts{}, false
	}
	e.cache.put("facts|"+key, f, 1024)
	return f, true
}

// read reads the mesh, once for all who ask for the same content, or for the
// same file where the content is not known. It waits until there is room.
func (s *source) read(ctx context.Context, fresh string) (*loaded, error) {
	e := s.e
	if err := s.admit(ctx, guessFacets(s.path, s.file.Size())); err != nil {
		return nil, err
	}
	e.o.Progress(s.path, "reading", 0)
	key, known := s.key, s.key != ""
	if !known {
		key = fresh
	}
	v, err := e.cache.get(ctx, key, func(ctx context.Context) (any, int64, error) {
		l, err := e.load(ctx, s.root, s.path, s.unit)
		switch {
		case err != nil:
			return nil, 0, err
		case l.err != nil && !known && time.Since(s.file.ModTime()) < racyTime:
			return l, math.MaxInt64, nil // handed out, not kept
		case l.err != nil:
			return l, 1024, nil
		}
		content := e.contentKey(l.mesh.Source.SHA256, s.unit, s.path)
		if content == key {
			return l, meshBytes(len(l.mesh.Verts), len(l.mesh.Facets)), nil
		}
		if !known {
			e.remember(absolute(s.path), s.file, l.mesh.Source.SHA256)
		}
		e.cache.put(content, l, meshBytes(len(l.mesh.Verts), len(l.mesh.Facets)))
		return l, math.MaxInt64, nil
	})
	if err != nil {
		return nil, err
	}
	return v.(*loaded), nil
}

// errChanged says that a file was written while it was examined.
var errChanged = errors.New("it changed while it was checked; check again")

// load makes ready to measure: a place among the parts being measured, and the
// mesh.
func (s *source) load(ctx context.Context) error {
	if s.mesh != nil {
		return s.admit(ctx, len(s.mesh.Facets))
	}
	l, err := s.read(ctx, "")
	switch {
	case err != nil:
		return err
	case l.err != nil:
		return errors.New(strings.TrimSuffix(l.err.What, "."))
	case s.e.contentKey(l.mesh.Source.SHA256, s.unit, s.path) != s.key:
		return errChanged
	}
	s.mesh = l.mesh
	return nil
}

// inMemory returns the mesh if memory holds it.
func (s *source) inMemory() *mesh.Mesh {
	if v, ok := s.e.cache.peek(s.key); ok {
		return v.(*loaded).mesh
	}
	return nil
}

// admit waits until a part may be read and measured: at most so many at once,
// and no more bytes of meshes and work than the budget. It must not be called
// from within a computation that others wait for.
func (s *source) admit(ctx context.Context, facets int) error {
	if s.leave != nil {
		return nil
	}
	e := s.e
	if err := e.jobs.Acquire(ctx, 1); err != nil {
		return err
	}
	facets = int(min(int64(facets), e.working()/facetBytesMost))
	weight := int64(facets) * facetBytesMost
	if err := e.memory.Acquire(ctx, weight); err != nil {
		e.jobs.Release(1)
		return err
	}
	startTime(ctx)
	boundGarbage(facets)
	s.leave = sync.OnceFunc(func() { boundGarbage(-facets); e.memory.Release(weight); e.jobs.Release(1) })
	return nil
}

// close lets others in.
func (s *source) close() {
	if s != nil && s.leave != nil {
		s.leave()
	}
}

// facetBytesMost is what a facet takes while a mesh is read and measured, with
// all that is derived from it; the grid of voids and the rooms in it come on top.
// Checks of a million facets peaked at 200 to 250 bytes; at 370 where the file is
// ASCII STL, most of it the file.
const facetBytesMost = 400

// guessFacets is about how many facets a file of so many bytes holds.
func guessFacets(path string, size int64) int {
	each := int64(50) // binary STL
	switch strings.ToLower(filepath.Ext(path)) {
	case ".3mf":
		each = 6
	case ".ply":
		each = 19
	case ".obj":
		each = 35
	}
	return int(min(size/each, math.MaxInt32))
}

// facetsMost is the largest mesh that is read: what is allowed, and what fits
// into memory.
func (e *Engine) facetsMost() (most int, byMemory bool) {
	most = mesh.DefaultMaxFacets
	if e.o.Load.MaxFacets > 0 {
		most = e.o.Load.MaxFacets
	}
	if fit := e.working() / facetBytesMost; fit < int64(most) {
		return int(fit), true
	}
	return most, false
}

// working is the share of memory for what is being measured; the rest is for
// what is kept.
func (e *Engine) working() int64 { return e.o.Memory - e.o.Memory/keptShare }

// bytesMost is the largest file that is read.
func (e *Engine) bytesMost() int64 {
	if e.o.Load.MaxBytes > 0 {
		return e.o.Load.MaxBytes
	}
	return mesh.DefaultMaxBytes
}

// load reads a file; what is wrong with the file is in the value.
func (e *Engine) load(ctx context.Context, root, path, unit string) (*loaded, error) {
	e.counts.MeshLoads.Add(1)
	most, byMemory := e.facetsMost()
	o := e.o.Load
	o.Unit, o.MaxFacets = unit, most
	o.Open = func(path string) (*os.File, error) { return openWithin(root, path) }
	m, err := mesh.Load(ctx, path, o)
	var bad *mesh.ReadError
	switch {
	case err == nil:
		return &loaded{mesh: m}, nil
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case errors.As(err, &bad):
		if byMemory && errors.Is(err, mesh.ErrTooMany) {
			bad = &mesh.ReadError{File: path, Err: err, What: fmt.Sprintf("it holds more facets than the %d that can be measured in %s of memory", most, sayBytes(e.o.Memory)),
				Help: "Give it more memory (--memory), or export the mesh with a coarser tolerance."}
		} else if option := boundOptions[bad.Over]; option != "" {
			more := *bad
			more.What += " (" + option + ")"
			bad = &more
		}
		return &loaded{err: bad}, nil
	}
	return nil, err
}

// boundOptions are the options of the command line that widen a bound.
var boundOptions = map[mesh.Bound]string{mesh.BoundBytes: "--max-mesh", mesh.BoundFacets: "--max-facets",
	mesh.BoundRatio: "--max-ratio", mesh.BoundEntries: "--max-entries", mesh.BoundNesting: "--max-nesting"}

func (e *Engine) remember(abs string, info fs.FileInfo, sum string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.files[abs] = fileRecord{info.Size(), info.ModTime(), sum, time.Since(info.ModTime()) < racyTime}
}

// hashFile hashes a file of a size in pieces, so that it can be stopped.
func (e *Engine) hashFile(ctx context.Context, root, path string, size int64) (string, error) {
	e.counts.MeshHashes.Add(1)
	f, err := openWithin(root, path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	for {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		n, err := io.CopyN(h, f, 1<<20)
		if size -= n; size < 0 {
			return "", errChanged // it may grow for ever
		}
		if err == io.EOF {
			return hex.EncodeToString(h.Sum(nil)), nil
		}
		if err != nil {
			return "", err
		}
	}
}
