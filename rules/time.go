package rules

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// This file bounds the time that one part may take. The time runs from when the
// part has its turn: what comes before is bounded by the sizes of files, and
// waiting for other parts counts for nobody.

var errLate = errors.New("the time of the part is up")

// timeKey is the key of a context's *partTime.
type timeKey struct{}

type partTime struct {
	*Engine
	end   context.CancelCauseFunc
	once  sync.Once
	timer *time.Timer
}

// timed makes a context that ends when the time of a part is up. The function
// that comes with it ends it earlier.
func (e *Engine) timed(ctx context.Context) (context.Context, func()) {
	if e.o.MaxTime <= 0 {
		return ctx, func() {}
	}
	ctx, end := context.WithCancelCause(ctx)
	t := &partTime{Engine: e, end: end}
	return context.WithValue(ctx, timeKey{}, t), func() {
		t.once.Do(func() {})
		if t.timer != nil {
			t.timer.Stop()
		}
		end(nil)
	}
}

// startTime lets the time of a part run, if it is bounded and does not yet.
func startTime(ctx context.Context) {
	if t, ok := ctx.Value(timeKey{}).(*partTime); ok {
		t.once.Do(func() { t.timer = t.after(t.o.MaxTime, func() { t.end(errLate) }) })
	}
}

// late reports whether a context ended because the time of its part was up.
func late(ctx context.Context) bool { return errors.Is(context.Cause(ctx), errLate) }

func (e *Engine) sayLate(done string) string {
	return fmt.Sprintf("The part took longer than the %s that one may take (--max-time), so it was not wholly %s.", e.o.MaxTime, done)
}
