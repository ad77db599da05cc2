//go:build race

package mesh_test

// raced says that the race detector runs, which touches memory of its own for all
// that is made.
const raced = true
