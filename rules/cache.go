package rules

import (
	"container/list"
	"context"
	"fmt"
	"runtime/debug"
	"sync"
)

// cache keeps computed values by the recipe that makes them. A value may be
// kept because it is never written after publication, depends on nothing that
// its key does not name, and points at no report, session or document.
//
// One computation runs per key at a time: who asks meanwhile waits for it. It
// is stopped only when nobody waits any more, so that cancelled work passes to
// the next waiter. Memory is bounded by bytes, since meshes differ a thousand
// times in size; what was used longest ago goes first.
type cache struct {
	mu      sync.Mutex // guards everything below
	budget  int64
	used    int64
	entries map[string]*entry
	recent  *list.List // of *entry with a value, most recent first
}

type entry struct {
	key     string
	value   any
	size    int64
	err     error
	at      *list.Element // nil while being computed
	waiters int
	stop    context.CancelFunc
	done    chan struct{} // closed once value or err is there
}

func newCache(budget int64) *cache {
	return &cache{budget: budget, entries: map[string]*entry{}, recent: list.New()}
}

// peek returns a value that is there already.
func (c *cache) peek(key string) (any, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	e := c.entries[key]
	if e == nil || e.at == nil {
		return nil, false
	}
	c.recent.MoveToFront(e.at)
	return e.value, true
}

// get returns the value of a key, computing it where it is not there. An error
// is given to all who wait and not kept. compute gets a context that ends when
// nobody waits any more; get returns when the computation has ended or, if
// others still wait for it, when ctx has.
func (c *cache) get(ctx context.Context, key string, compute func(context.Context) (value any, size int64, err error)) (any, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c.mu.Lock()
	e := c.entries[key]
	if e != nil && e.at != nil {
		c.recent.MoveToFront(e.at)
		c.mu.Unlock()
		return e.value, nil
	}
	if e == nil {
		e = c.start(ctx, key, compute)
	}
	e.waiters++
	c.mu.Unlock()

	select {
	case <-e.done:
	case <-ctx.Done():
		if c.leave(e) {
			<-e.done // it was ours alone: it ends before we do
		}
		return nil, ctx.Err()
	}
	c.leave(e)
	return e.value, e.err
}

// start begins a computation; c.mu is held.
func (c *cache) start(ctx context.Context, key string, compute func(context.Context) (any, int64, error)) *entry {
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	e := &entry{key: key, stop: stop, done: make(chan struct{})}
	c.entries[key] = e
	go func() {
		defer stop()
		value, size, err := guarded(run, compute)
		c.mu.Lock()
		defer c.mu.Unlock()
		e.value, e.size, e.err = value, size, err
		if c.entries[key] == e {
			if err != nil {
				delete(c.entries, key)
			} else {
				c.keep(e)
			}
		}
		close(e.done)
	}()
	return e
}

// leave takes one waiter away and reports whether that stopped the computation.
func (c *cache) leave(e *entry) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	e.waiters--
	select {
	case <-e.done:
		return false
	default:
	}
	if e.waiters > 0 {
		return false
	}
	if c.entries[e.key] == e {
		delete(c.entries, e.key) // who asks next starts anew
	}
	e.stop()
	return true
}

// keep puts a value under the budget; c.mu is held. A value larger than the
// whole budget is handed out and not kept.
func (c *cache) keep(e *entry) {
	if e.size > c.budget {
		delete(c.entries, e.key)
		return
	}
	e.at = c.recent.PushFront(e)
	c.used += e.size
	for c.used > c.budget {
		old := c.recent.Remove(c.recent.Back()).(*entry)
		c.used -= old.size
		delete(c.entries, old.key)
	}
}

// panicError is a broken invariant of ours, caught where the work was asked for.
type panicError struct {
	value any
	stack string
}

func (p *panicError) Error() string { return fmt.Sprintf("internal error: %v", p.value) }

func guarded(ctx context.Context, compute func(context.Context) (any, int64, error)) (value any, size int64, err error) {
	defer func() {
		if p := recover(); p != nil {
			value, size, err = nil, 0, &panicError{p, string(debug.Stack())}
		}
	}()
	return compute(ctx)
}

// put keeps a value that was computed on the way to another.
func (c *cache) put(key string, value any, size int64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.entries[key] != nil {
		return // there, or being computed: the same by construction
	}
	e := &entry{key: key, value: value, size: size, done: make(chan struct{}), stop: func() {}}
	close(e.done)
	c.entries[key] = e
	c.keep(e)
}
