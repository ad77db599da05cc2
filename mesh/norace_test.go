//go:build !race

package mesh_test

const raced = false
