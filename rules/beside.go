package rules

import (
	"context"
	"slices"

	"corbel/mesh"
)

// This file makes the measurements of a part in their order, two at once where
// the mesh is small and nobody else has use for the cores. Each measurement uses
// all cores where it can; a second one has what the first leaves idle, as while
// one core joins what all found.

// besideMost is how many measurements of one part are made at once.
const besideMost = 2

// steps are the measurements of one part while they are made. One goroutine
// begins them, takes what they found, and tells how far they are.
type steps struct {
	e           *Engine
	report      *PartReport
	part        *Subject
	src         *source
	par         params
	todo        []*measurement
	open        map[Need]bool // of todo, not made yet
	running     []int         // of todo
	ended       chan ended
	total, done float64 // effort
	failed      ended   // the first in order
}

// ended is a measurement that was made, or why it was not.
type ended struct {
	at    int // of todo
	value any
	err   error
}

// run makes the measurements. The error is that of the first in order that has
// one; none is begun after it.
func (w *steps) run(ctx context.Context) error {
	w.open, w.ended = map[Need]bool{}, make(chan ended, besideMost)
	for _, s := range w.todo {
		w.open[s.need] = true
		w.total += s.effort
	}
	for at := 0; at < len(w.todo) && w.failed.err == nil; at++ {
		w.begin(ctx, at)
	}
	w.waitWhile(func() bool { return len(w.running) > 0 })
	if w.failed.err == nil {
		w.e.o.Progress(w.report.Path, "done", 1)
	}
	return w.failed.err
}

// begin begins a measurement once what it reads is there, and takes it where it
// is kept.
func (w *steps) begin(ctx context.Context, at int) {
	s := w.todo[at]
	w.waitWhile(func() bool { return slices.ContainsFunc(s.reads, func(n Need) bool { return w.open[n] }) })
	if w.failed.err != nil {
		return
	}
	m := w.part.Measured
	if s.when != nil && !s.when(w.part) {
		m.have[s.need] = true
		w.close(s)
		return
	}
	par := w.par.reading(s, m)
	if v, ok := w.e.kept(s, w.src.key, &par); ok {
		w.tell(s)
		w.take(ended{at, v, s.prepare(ctx, v, &par)})
		return
	}
	if err := w.src.load(ctx); err != nil {
		w.take(ended{at: at, err: err})
		return
	}
	w.waitWhile(func() bool { return w.failed.err == nil && !w.place() })
	if w.failed.err != nil {
		return
	}
	w.tell(s)
	if s.large {
		dropGarbage(len(w.src.mesh.Facets))
	}
	w.running = append(w.running, at)
	go func(m *mesh.Mesh, key string) {
		v, _, err := guarded(ctx, func(ctx context.Context) (any, int64, error) {
			v, err := w.e.measureOne(ctx, s, m, key, par)
			if err == nil {
				err = s.prepare(ctx, v, &par)
			}
			return v, 0, err
		})
		w.ended <- ended{at, v, err}
	}(w.src.mesh, w.src.key)
}

// place takes a place for one more measurement: the part's own, or one of those
// for parts that no part asks for. Beside a large mesh there is none: its peak of
// memory is what one measurement takes that has all garbage dropped before.
func (w *steps) place() bool {
	switch len(w.running) {
	case 0:
		return true
	case besideMost:
		return false
	}
	return !large(len(w.src.mesh.Facets)) && w.e.jobs.TryAcquire(1)
}

// waitWhile waits for one measurement after the other.
func (w *steps) waitWhile(more func() bool) {
	for more() {
		d := <-w.ended
		w.running = slices.DeleteFunc(w.running, func(at int) bool { return at == d.at })
		if len(w.running) > 0 {
			w.e.jobs.Release(1)
		}
		w.take(d)
		if len(w.running) > 0 {
			w.tell(w.todo[w.running[0]])
		}
	}
}

// take puts what was measured where others read it.
func (w *steps) take(d ended) {
	s := w.todo[d.at]
	switch {
	case d.err == nil:
		w.part.Measured.put(s, d.value)
	case w.failed.err == nil || d.at < w.failed.at:
		w.failed = d
	}
	w.close(s)
}

func (w *steps) close(s *measurement) {
	delete(w.open, s.need)
	w.done += s.effort
}

func (w *steps) tell(s *measurement) {
	w.e.o.Progress(w.report.Path, string(s.need), w.done/w.total)
}
