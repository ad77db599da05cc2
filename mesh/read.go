package mesh

import (
	"context"
	"errors"
)

var errNotYet = errors.New("not measured in this build")

// LoadOptions bound and steer reading.
type LoadOptions struct {
	Unit      string // "mm", "um", "cm", "m", "in", "ft": needed where the format carries none; an error where it disagrees
	MaxBytes  int64  // largest file, and largest unpacked archive; 0 = DefaultMaxBytes
	MaxFacets int    // 0 = DefaultMaxFacets
}

// ErrUnit is wrapped by ReadErrors that say that no unit is known.
var ErrUnit = errors.New("unit unknown")

// ReadError says what was wrong with a mesh file and what to do.
type ReadError struct {
	File string // as given
	What string // one sentence without the file name: what was expected, what was found, how far it got
	Help string // what to do
	Err  error  // cause, may be nil
}

func (e *ReadError) Error() string { return "read mesh \"" + e.File + "\": " + e.What }

// Unwrap returns the cause.
func (e *ReadError) Unwrap() error { return e.Err }

// Load reads, welds and scales a mesh file. Every error is a *ReadError or the
// context's.
func Load(ctx context.Context, file string, o LoadOptions) (*Mesh, error) {
	return nil, &ReadError{File: file, What: "reading is not built yet"}
}
