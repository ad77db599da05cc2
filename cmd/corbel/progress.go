package main

import (
	"fmt"
	"io"
	"path/filepath"
	"sync"
	"time"

	"corbel/rules/output"
)

// progress draws one line on a terminal for work that takes over a second,
// and nothing at all in a pipe.
type progress struct {
	w     io.Writer
	on    bool
	mu    sync.Mutex // guards the rest
	start time.Time
	last  time.Time
	shown bool
}

const (
	progressAfter = time.Second
	progressEvery = 100 * time.Millisecond
)

func newProgress(w io.Writer, terminal bool) *progress {
	return &progress{w: w, on: terminal, start: time.Now()}
}

// set tells the stage of a part.
func (p *progress) set(path, stage string, share float64) {
	if !p.on {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	if now.Sub(p.start) < progressAfter || now.Sub(p.last) < progressEvery {
		return
	}
	p.last, p.shown = now, true
	fmt.Fprintf(p.w, "\r\x1b[K%3.0f %%  %s: %s", 100*share, output.Clean(filepath.Base(path)), stage)
}

// clear takes the line away.
func (p *progress) clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.shown {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
