package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A round follows a change once the files have stood still for a tick; none
// follows without one; what changed while it was checked is checked once more.
func TestWatchRounds(t *testing.T) {
	tick, rounds, looks := make(chan time.Time), make(chan int), make(chan state)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	n := 0
	go func() {
		done <- watchRounds(ctx, tick, func() (map[string]bool, error) {
			n++
			rounds <- n
			return nil, nil
		}, func(map[string]bool) state { return <-looks })
	}()
	old, young := time.Time{}, time.Now().Add(time.Hour)
	round := func(want int, s state) { // a round, and the look after it
		t.Helper()
		if k := <-rounds; k != want {
			t.Fatalf("round %d, want %d", k, want)
		}
		looks <- s
	}
	idle := func(s state) { // a tick that no round follows at once
		t.Helper()
		tick <- time.Time{}
		looks <- s
	}
	round(1, state{"a", old})
	idle(state{"a", old})
	idle(state{"a", old})
	idle(state{"b", old}) // seen, but perhaps still being written
	idle(state{"c", old})
	idle(state{"c", old})
	round(2, state{"c", old})
	idle(state{"c", old})
	idle(state{"d", old})
	idle(state{"c", old}) // put back
	idle(state{"c", old})
	idle(state{"e", young})
	idle(state{"e", young})
	round(3, state{"e", young}) // younger than the round
	idle(state{"e", young})
	idle(state{"e", young})
	round(4, state{"e", young}) // a clock that runs ahead does not make it go on for ever
	idle(state{"e", young})
	idle(state{"e", young})
	idle(state{"e", young})
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v", err)
	}
}

// Whatever happens to a file, its state is another one.
func TestStateOf(t *testing.T) {
	dir := t.TempDir()
	a := filepath.Join(dir, "a")
	files := map[string]bool{a: true}
	seen := map[string]bool{}
	look := func(what string, found ...string) {
		t.Helper()
		s := stateOf(files, found).stamp
		if seen[s] {
			t.Errorf("%s: the state is as before", what)
		}
		seen[s] = true
	}
	put := func(text string, at time.Time) {
		t.Helper()
		if err := os.WriteFile(a, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(a, at, at); err != nil {
			t.Fatal(err)
		}
	}
	when := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	look("not there")
	put("1", when)
	look("written")
	put("2", when.Add(time.Second))
	look("time")
	put("22", when.Add(time.Second))
	look("size")
	look("another file", filepath.Join(dir, "b"))
	if s := stateOf(files, nil); !s.newest.Equal(when.Add(time.Second)) {
		t.Errorf("youngest is of %v", s.newest)
	}
}
