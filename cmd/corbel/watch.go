package main

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"corbel/rules/output"
)

// watchEvery is how often the files are looked at. Looking is asking for sizes
// and times of change, which costs a thousand files a few milliseconds and
// works on every file system, shared ones too.
const watchEvery = 500 * time.Millisecond

// watch checks again when a file that was looked at changes, or one comes or
// goes, until the context ends. Ending it is no failure: the exit code is that
// of the last round.
func (a *app) watch(ctx context.Context, args []string, round func(context.Context) (*output.Document, error)) error {
	t := time.NewTicker(watchEvery)
	defer t.Stop()
	err := watchRounds(ctx, t.C, func() (map[string]bool, error) {
		d, err := round(ctx)
		if err != nil {
			return nil, err
		}
		if isTerminal(a.err) {
			fmt.Fprintln(a.err, "corbel: watching; Ctrl-C ends it")
		}
		return watched(d), nil
	}, func(files map[string]bool) state {
		found, _ := findFiles(args)
		return stateOf(files, found)
	})
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// watched are the files that a document was made from.
func watched(d *output.Document) map[string]bool {
	out := map[string]bool{}
	for i := range d.Parts {
		for _, f := range d.Parts[i].Deps {
			out[f] = true
		}
	}
	return out
}

// watchRounds runs rounds: the first at once, another when what the last one
// looked at has changed and has then stayed as it is for a tick, so that a
// mesh is not read while it is being written. What changed while a round ran
// may have been read before or after: it is checked once more.
func watchRounds(ctx context.Context, tick <-chan time.Time, round func() (map[string]bool, error), look func(map[string]bool) state) error {
	again := "" // the state that was checked once more
	for {
		start := time.Now()
		files, err := round()
		if err != nil {
			return err
		}
		done := look(files)
		if done.newest.After(start) && done.stamp != again {
			again, done.stamp = done.stamp, ""
		}
		for last := done; ; {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-tick:
			}
			now := look(files)
			if now.stamp != done.stamp && now.stamp == last.stamp {
				break
			}
			last = now
		}
	}
}

// state is what files look like from outside: another stamp where any was
// changed, and the time of the youngest.
type state struct {
	stamp  string
	newest time.Time
}

// stateOf looks at files, and at those that a search found.
func stateOf(files map[string]bool, found []string) state {
	names := slices.Collect(maps.Keys(files))
	for _, f := range found {
		if abs, err := filepath.Abs(f); err == nil && !files[abs] {
			names = append(names, abs)
		}
	}
	slices.Sort(names)
	var s state
	var b strings.Builder
	for _, f := range names {
		info, err := os.Stat(f)
		if err != nil {
			fmt.Fprintf(&b, "%s|gone\n", f)
			continue
		}
		fmt.Fprintf(&b, "%s|%d|%d\n", f, info.Size(), info.ModTime().UnixNano())
		if info.ModTime().After(s.newest) {
			s.newest = info.ModTime()
		}
	}
	s.stamp = b.String()
	return s
}
