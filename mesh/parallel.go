package mesh

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// parallel cuts 0..n into chunks of step (the last may be shorter) and calls do
// for each on as many goroutines as there are cores. The cuts do not depend on
// the number of cores, so a caller that keeps one result a chunk (number
// from/step) and combines them in order gets the same bits everywhere. It stops
// at the first error or when ctx ends, and returns the error of the lowest
// chunk. All goroutines have ended when it returns.
func parallel(ctx context.Context, n, step int, do func(from, to int) error) error {
	chunks := (n + step - 1) / step
	workers := min(runtime.GOMAXPROCS(0), chunks)
	var (
		next    atomic.Int64
		stop    atomic.Bool
		mu      sync.Mutex
		first   = chunks
		failure error
	)
	work := func() {
		for !stop.Load() {
			c := int(next.Add(1)) - 1
			if c >= chunks {
				return
			}
			err := ctx.Err()
			if err == nil {
				err = do(c*step, min(n, (c+1)*step))
			}
			if err != nil {
				stop.Store(true)
				mu.Lock()
				if c < first {
					first, failure = c, err
				}
				mu.Unlock()
			}
		}
	}
	if workers <= 1 {
		work()
		return failure
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(work)
	}
	wg.Wait()
	return failure
}

// spares keeps what one chunk of work has done with for the next. Unlike a
// sync.Pool's it is garbage as soon as the work is done.
type spares[T any] struct {
	make func() T
	mu   sync.Mutex
	free []T // guarded by mu
}

func (s *spares[T]) get() T {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := len(s.free)
	if n == 0 {
		return s.make()
	}
	t := s.free[n-1]
	s.free = s.free[:n-1]
	return t
}

func (s *spares[T]) put(t T) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.free = append(s.free, t)
}
