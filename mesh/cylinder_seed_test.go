package mesh_test

import (
	"context"
	"testing"

	"corbel/mesh"
)

// Rough rods that end nowhere are no pins; where one was found out, no other of
// the seeds on it grows all over it again.
func TestSurfaceGrowsOnce(t *testing.T) {
	seeds, grew, err := mesh.SeedsGrown(context.Background(), grown(62))
	if err != nil {
		t.Fatal(err)
	}
	if seeds < 100 || grew > seeds/10 {
		t.Errorf("%d of %d seeds grew, want few of hundreds", grew, seeds)
	}
}
