package rules

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
)

func TestCacheComputesOnce(t *testing.T) {
	c := newCache(1000)
	var runs atomic.Int64
	gate := make(chan struct{})
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			v, err := c.get(context.Background(), "k", func(context.Context) (any, int64, error) {
				runs.Add(1)
				<-gate
				return 7, 1, nil
			})
			if v != 7 || err != nil {
				t.Errorf("got %v, %v", v, err)
			}
		})
	}
	close(gate)
	wg.Wait()
	if runs.Load() != 1 {
		t.Errorf("computed %d times", runs.Load())
	}
	if v, ok := c.peek("k"); !ok || v != 7 {
		t.Errorf("peek: %v, %v", v, ok)
	}
}

// The first caller gives up, the second still waits: the work goes on and is
// not begun again.
func TestCancelledWorkPassesToTheNextWaiter(t *testing.T) {
	c := newCache(1000)
	var runs atomic.Int64
	started, gate := make(chan struct{}), make(chan struct{})
	compute := func(ctx context.Context) (any, int64, error) {
		runs.Add(1)
		close(started)
		select {
		case <-gate:
			return "done", 1, nil
		case <-ctx.Done():
			return nil, 0, ctx.Err()
		}
	}
	first, stop := context.WithCancel(context.Background())
	firstErr := make(chan error, 1)
	go func() {
		_, err := c.get(first, "k", compute)
		firstErr <- err
	}()
	<-started
	second := make(chan any, 1)
	go func() {
		v, _ := c.get(context.Background(), "k", compute)
		second <- v
	}()
	for { // until the second waits too
		c.mu.Lock()
		n := c.entries["k"].waiters
		c.mu.Unlock()
		if n == 2 {
			break
		}
	}
	stop()
	if err := <-firstErr; !errors.Is(err, context.Canceled) {
		t.Errorf("first caller got %v", err)
	}
	close(gate)
	if v := <-second; v != "done" || runs.Load() != 1 {
		t.Errorf("second caller got %v after %d runs", v, runs.Load())
	}
}

// When nobody waits, the work is stopped and has ended before get returns; who
// asks next starts anew.
func TestWorkNobodyWaitsForStops(t *testing.T) {
	c := newCache(1000)
	ctx, stop := context.WithCancel(context.Background())
	var ended atomic.Bool
	started := make(chan struct{})
	go func() { <-started; stop() }()
	_, err := c.get(ctx, "k", func(ctx context.Context) (any, int64, error) {
		close(started)
		<-ctx.Done()
		ended.Store(true)
		return nil, 0, ctx.Err()
	})
	if !errors.Is(err, context.Canceled) || !ended.Load() {
		t.Fatalf("err %v, ended %v", err, ended.Load())
	}
	v, err := c.get(context.Background(), "k", func(context.Context) (any, int64, error) { return 1, 1, nil })
	if v != 1 || err != nil {
		t.Errorf("asked again: %v, %v", v, err)
	}
}

func TestCacheKeepsItsBudget(t *testing.T) {
	c := newCache(100)
	put := func(k string, size int64) {
		_, err := c.get(context.Background(), k, func(context.Context) (any, int64, error) { return k, size, nil })
		if err != nil {
			t.Fatal(err)
		}
	}
	for i := range 50 {
		put(fmt.Sprint(i), 30)
		if _, ok := c.peek("0"); !ok && i < 1 {
			t.Error("0 fell out at once")
		}
		c.peek("0") // kept in use
		if c.used > 100 {
			t.Fatalf("%d bytes kept", c.used)
		}
	}
	if _, ok := c.peek("0"); !ok {
		t.Error("the value in use fell out")
	}
	if _, ok := c.peek("10"); ok {
		t.Error("an old value stayed")
	}
	put("huge", 101)
	if _, ok := c.peek("huge"); ok {
		t.Error("a value larger than the budget was kept")
	}
	if _, ok := c.peek("0"); !ok {
		t.Error("a value larger than the budget pushed out others")
	}
}

func TestErrorsAndPanicsAreNotKept(t *testing.T) {
	c := newCache(100)
	boom := errors.New("boom")
	if _, err := c.get(context.Background(), "k", func(context.Context) (any, int64, error) { return nil, 0, boom }); err != boom {
		t.Errorf("got %v", err)
	}
	_, err := c.get(context.Background(), "k", func(context.Context) (any, int64, error) { panic("broken") })
	var p *panicError
	if !errors.As(err, &p) {
		t.Errorf("a panic came back as %v", err)
	}
	if v, err := c.get(context.Background(), "k", func(context.Context) (any, int64, error) { return 5, 1, nil }); v != 5 || err != nil {
		t.Errorf("got %v, %v", v, err)
	}
}
