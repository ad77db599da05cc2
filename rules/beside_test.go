package rules

import (
	"context"
	"errors"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
)

// around puts something around every measurement, for one test.
func around(t *testing.T, before func(s *measurement) (after func())) {
	saved := slices.Clone(measurements)
	t.Cleanup(func() { copy(measurements, saved) })
	for i := range measurements {
		run := saved[i].run
		measurements[i].run = func(ctx context.Context, m *mesh.Mesh, p *params) (any, int64, error) {
			defer before(&saved[i])()
			return run(ctx, m, p)
		}
	}
}

// What a measurement reads is made before it.
func TestReadsComeBefore(t *testing.T) {
	at := func(n Need) int {
		return slices.IndexFunc(measurements, func(m measurement) bool { return m.need == n })
	}
	for i, s := range measurements {
		for _, n := range s.reads {
			if k := at(n); k < 0 || k >= i {
				t.Errorf("%s reads %s, which comes later", s.need, n)
			}
		}
	}
}

// Whichever of two measurements ends first, the report is that of one after the
// other, and nothing is measured twice. The part has bores that lie flat, and is
// longer than its machine.
func TestStepsBesideOneAnotherChangeNothing(t *testing.T) {
	var random *rand.Rand
	var mu sync.Mutex
	wait := func() {
		mu.Lock()
		d := time.Duration(0)
		if random != nil {
			d = time.Duration(random.Float64() * random.Float64() * float64(40*time.Millisecond))
		}
		mu.Unlock()
		time.Sleep(d)
	}
	around(t, func(*measurement) func() { wait(); return wait })
	part := meshtest.Plate(mesh.Vec{}, mesh.Vec{148, 30, 8}, 32, [3]float64{20, 15, 3}, [3]float64{60, 15, 6})
	b := fitsBench(t, part, "[orientation]\nup = \"+y\"\n")
	full := func(jobs int) *PartReport {
		o := b.o
		o.Jobs, o.Checks = jobs, fast()
		b.Engine = New(o)
		return b.full()
	}
	want := full(1)
	if envelopeOf(want) == nil || len(want.Measured.Ways) == 0 || len(want.Measured.Cylinders.Holes) != 2 || len(want.Measured.Overhang.Regions) == 0 {
		t.Fatalf("not the part that was meant: %v", checksOf(want))
	}
	for seed := range uint64(8) {
		random = rand.New(rand.NewPCG(seed, 1))
		got := full(2)
		sameReport(t, "beside", got, want)
		if !slices.Equal(got.Measured.Wall.FacetMM, want.Measured.Wall.FacetMM) || !slices.Equal(got.Measured.Gap.FacetMM, want.Measured.Gap.FacetMM) {
			t.Error("a map of walls or gaps is another")
		}
		if !reflect.DeepEqual(got.Measured.Sections.Keep(1, 2), want.Measured.Sections.Keep(1, 2)) {
			t.Error("the sections are others")
		}
		for n, k := range b.Counts().Measurements {
			if k != 1 {
				t.Errorf("%s was measured %d times", n, k)
			}
		}
	}
}

// Two measurements of a small part are made at once, where no other part wants
// the place, and one of a large part.
func TestHowManyStepsAtOnce(t *testing.T) {
	var now, most atomic.Int64
	around(t, func(*measurement) func() {
		n := now.Add(1)
		for {
			if m := most.Load(); n <= m || most.CompareAndSwap(m, n) {
				break
			}
		}
		time.Sleep(5 * time.Millisecond)
		return func() { now.Add(-1) }
	})
	small, big := meshtest.Cube(10), meshtest.Sphere(10, 540)
	if large(len(small.Facets)) || !large(len(big.Facets)) {
		t.Fatal(len(small.Facets), len(big.Facets))
	}
	for _, c := range []struct {
		jobs, parts int
		mesh        *mesh.Mesh
		want        int64
	}{{1, 1, small, 1}, {2, 1, small, 2}, {8, 1, small, 2}, {1, 2, small, 1}, {2, 4, small, 2}, {4, 1, big, 1}} {
		b := newBench(t, Options{Jobs: c.jobs, Checks: map[string]bool{Mesh.Name: true}})
		var wg sync.WaitGroup
		most.Store(0)
		for i := range c.parts {
			name := string(rune('a' + i))
			writeMesh(t, b.path(name+".stl"), meshtest.Move(c.mesh, mesh.Vec{float64(i)}))
			b.write(name+".part.toml", strings.Replace(ledgeSpec, "part.stl", name+".stl", 1))
			wg.Go(func() { b.Part(t.Context(), b.path(name+".part.toml"), Full) })
		}
		wg.Wait()
		if most.Load() != c.want {
			t.Errorf("%d parts of %d facets, %d at once: %d measurements at once, want %d", c.parts, len(c.mesh.Facets), c.jobs, most.Load(), c.want)
		}
	}
}

// Progress names a measurement as it begins, and not while it waits for its turn.
func TestProgressNamesWhatRuns(t *testing.T) {
	var told atomic.Value
	around(t, func(s *measurement) func() {
		if got := told.Load(); got != string(s.need) {
			t.Errorf("%s runs, told is %v", s.need, got)
		}
		return func() {}
	})
	newBench(t, Options{Jobs: 1, Progress: func(_, stage string, _ float64) { told.Store(stage) }}).full()
}

// Of two measurements that fail beside each other the first in order says why,
// and none is begun after them.
func TestTheFirstStepThatFailsSaysWhy(t *testing.T) {
	around(t, func(*measurement) func() { return func() {} })
	voids := make(chan struct{})
	for i := range measurements {
		switch s := &measurements[i]; s.need {
		case NeedBall:
			s.ready = func(context.Context, any, *params) error {
				select {
				case <-voids:
				case <-time.After(10 * time.Second):
					t.Error("voids are not measured beside the ball")
				}
				return errors.New("no ball")
			}
		case NeedVoids:
			s.ready = func(context.Context, any, *params) error {
				close(voids)
				return errors.New("no voids")
			}
		}
	}
	b := newBench(t, Options{Jobs: 2, Checks: allChecks()})
	r := b.full()
	if len(r.Failures) == 0 || !strings.Contains(r.Failures[0].Why, "no ball") {
		t.Errorf("failures %+v", r.Failures)
	}
	if !b.jobs.TryAcquire(2) {
		t.Error("a place was not given back")
	}
	if n := b.Counts().Measurements; n[NeedVoids] != 1 || n[NeedOverhang] != 0 || n[NeedWall] != 0 {
		t.Errorf("measured %v", slices.Sorted(maps.Keys(n)))
	}
}
