//go:build !linux

package mesh_test

// threadSeconds and processSeconds are the time of the clock: this system does
// not tell processor time.
func threadSeconds() float64  { return wallSeconds() }
func processSeconds() float64 { return wallSeconds() }
