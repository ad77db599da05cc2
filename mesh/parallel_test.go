package mesh

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
)

func TestParallel(t *testing.T) {
	for _, n := range []int{0, 1, 9, 10, 11, 1000} {
		seen := make([]atomic.Int32, n)
		err := parallel(t.Context(), n, 10, func(from, to int) error {
			if from%10 != 0 || to != min(n, from+10) {
				t.Errorf("chunk %d to %d of %d", from, to, n)
			}
			for i := from; i < to; i++ {
				seen[i].Add(1)
			}
			return nil
		})
		for i := range seen {
			if seen[i].Load() != 1 || err != nil {
				t.Fatalf("%d of %d done %d times, %v", i, n, seen[i].Load(), err)
			}
		}
	}
	// The error of the lowest chunk wins, whichever came first.
	for range 50 {
		err := parallel(t.Context(), 100, 1, func(from, _ int) error {
			if from >= 20 {
				return fmt.Errorf("chunk %d", from)
			}
			return nil
		})
		if err == nil || err.Error() != "chunk 20" {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	var done atomic.Int32
	err := parallel(ctx, 1000, 1, func(int, int) error {
		if done.Add(1) == 5 {
			cancel()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || done.Load() > 100 {
		t.Errorf("%v after %d chunks", err, done.Load())
	}
}
