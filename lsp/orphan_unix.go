//go:build unix

package lsp

import (
	"context"
	"errors"
	"syscall"
	"time"
)

// orphanEvery is how often the editor's process is looked for.
const orphanEvery = time.Second

// watchProcess closes gone once a process has ended.
func watchProcess(ctx context.Context, pid int, gone chan<- struct{}) {
	tick := time.NewTicker(orphanEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			if !alive(pid) {
				close(gone)
				return
			}
		}
	}
}

// alive reports whether a process exists, also one that is not ours. One that
// can't be seen to begin with, as from inside a container, is not worth
// watching: the end of the input tells then.
func alive(pid int) bool {
	return !errors.Is(syscall.Kill(pid, 0), syscall.ESRCH)
}
