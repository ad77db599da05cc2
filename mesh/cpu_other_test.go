//go:build !linux

package mesh_test

import "time"

var started = time.Now()

// threadSeconds is the time of the clock: this system does not tell a thread's
// processor time.
func threadSeconds() float64 { return time.Since(started).Seconds() }
