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
	"time"

	"corbel/mesh"
)

// This file reads meshes once per content. A file is known by size and time of
// change; only when those differ are its bytes hashed, and only a content that
// memory does not hold is read.

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

// meshBytes is about what a mesh takes with its topology, normals and tree.
func meshBytes(m *mesh.Mesh) int64 { return 24*int64(len(m.Verts)) + 300*int64(len(m.Facets)) + 4096 }

// loadMesh returns the mesh of a file. ok is false where mode is Known and
// memory does not hold it. err is the context's alone, or an internal error.
func (e *Engine) loadMesh(ctx context.Context, path string, info fs.FileInfo, unit string, mode Mode) (l *loaded, ok bool, err error) {
	abs := absolute(path)
	e.mu.Lock()
	was, seen := e.files[abs]
	e.mu.Unlock()
	same := seen && !was.racy && was.size == info.Size() && was.time.Equal(info.ModTime())
	fresh := fmt.Sprintf("load|%s|%d|%d|%s", abs, info.Size(), info.ModTime().UnixNano(), unit)
	if mode == Known {
		if same {
			if v, ok := e.cache.peek(contentKey(was.sha256, unit)); ok {
				return v.(*loaded), true, nil
			}
		}
		if v, ok := e.cache.peek(fresh); ok {
			return v.(*loaded), true, nil
		}
		return nil, false, nil
	}
	e.o.Progress(path, "reading", 0)
	switch {
	case same:
		return e.loadContent(ctx, path, was.sha256, unit)
	case seen:
		sum, err := e.hashFile(ctx, path)
		if err == nil {
			e.remember(abs, info, sum)
			return e.loadContent(ctx, path, sum, unit)
		}
		if ctx.Err() != nil {
			return nil, false, ctx.Err()
		}
	}
	// Not seen before: reading gives the hash too.
	v, err := e.cache.get(ctx, fresh, func(ctx context.Context) (any, int64, error) {
		l, err := e.load(ctx, path, unit)
		if err != nil {
			return nil, 0, err
		}
		if l.err != nil {
			if time.Since(info.ModTime()) < racyTime {
				return l, math.MaxInt64, nil // handed out, not kept
			}
			return l, 1024, nil
		}
		e.remember(abs, info, l.mesh.Source.SHA256)
		e.cache.put(contentKey(l.mesh.Source.SHA256, unit), l, meshBytes(l.mesh))
		return l, math.MaxInt64, nil
	})
	if err != nil {
		return nil, false, err
	}
	return v.(*loaded), true, nil
}

func contentKey(sum, unit string) string { return "mesh|" + sum + "|" + unit }

// loadContent returns the mesh of a content that was seen before.
func (e *Engine) loadContent(ctx context.Context, path, sum, unit string) (*loaded, bool, error) {
	v, err := e.cache.get(ctx, contentKey(sum, unit), func(ctx context.Context) (any, int64, error) {
		l, err := e.load(ctx, path, unit)
		switch {
		case err != nil:
			return nil, 0, err
		case l.err != nil:
			return l, 1024, nil
		case l.mesh.Source.SHA256 != sum: // changed under our hands: right for now, not to be kept
			return l, math.MaxInt64, nil
		}
		return l, meshBytes(l.mesh), nil
	})
	if err != nil {
		return nil, false, err
	}
	return v.(*loaded), true, nil
}

// load reads a file; what is wrong with the file is in the value.
func (e *Engine) load(ctx context.Context, path, unit string) (*loaded, error) {
	e.counts.MeshLoads.Add(1)
	m, err := mesh.Load(ctx, path, mesh.LoadOptions{Unit: unit, MaxBytes: e.o.MaxMeshBytes, MaxFacets: e.o.MaxFacets})
	var bad *mesh.ReadError
	switch {
	case err == nil:
		return &loaded{mesh: m}, nil
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case errors.As(err, &bad):
		return &loaded{err: bad}, nil
	}
	return nil, err
}

func (e *Engine) remember(abs string, info fs.FileInfo, sum string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.files[abs] = fileRecord{info.Size(), info.ModTime(), sum, time.Since(info.ModTime()) < racyTime}
}

// hashFile hashes a file in pieces, so that it can be stopped.
func (e *Engine) hashFile(ctx context.Context, path string) (string, error) {
	e.counts.MeshHashes.Add(1)
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	buf := make([]byte, 1<<20)
	for {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		n, err := f.Read(buf)
		h.Write(buf[:n])
		if err == io.EOF {
			return hex.EncodeToString(h.Sum(nil)), nil
		}
		if err != nil {
			return "", err
		}
	}
}
