package mesh

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"sync/atomic"
	"testing"
)

// endsAfter is a context that is over once it was asked so many times: a
// measurement can be stopped at each place where it may be, and what it does
// between two of them does not depend on the clock.
type endsAfter struct {
	context.Context
	left atomic.Int64
}

func newEndsAfter(asked int64) *endsAfter {
	c := &endsAfter{Context: context.Background()}
	c.left.Store(asked)
	return c
}

func (c *endsAfter) Err() error {
	if c.left.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// Wherever building is stopped, it says so, and what is asked for later is what
// it would have been.
func TestPrepareStops(t *testing.T) {
	m := wavy(50_000)
	want := New(m.Verts, m.Facets)
	steps := newEndsAfter(1 << 40)
	if err := want.Prepare(steps); err != nil {
		t.Fatal(err)
	}
	asked := 1<<40 - steps.left.Load()
	// A million facets take half a second to build on one core.
	if least := int64(len(m.Facets) / 2000); asked < least {
		t.Errorf("asked %d times whether to go on with %d facets, want %d at least", asked, len(m.Facets), least)
	}
	for k := int64(0); k < asked; k += 1 + asked/25 {
		n := New(m.Verts, m.Facets)
		if err := n.Prepare(newEndsAfter(k)); !errors.Is(err, context.Canceled) {
			t.Fatalf("stopped at step %d of %d: %v", k, asked, err)
		}
		if k%8 == 0 && !(slices.Equal(n.BVH().blocks, want.BVH().blocks) && slices.Equal(n.BVH().nodes, want.BVH().nodes) &&
			slices.Equal(n.Topology().Twin, want.Topology().Twin) && slices.Equal(n.Topology().Shell, want.Topology().Shell)) {
			t.Fatalf("stopped at step %d of %d: later answers differ", k, asked)
		}
	}
}

// Who waits for another's work goes on with it when that was stopped, and stops
// waiting when stopped itself.
func TestDerivedTurns(t *testing.T) {
	begun, goOn := make(chan bool), make(chan bool)
	made := 0
	d := derived[int]{turn: make(chan struct{}, 1), make: func(ctx context.Context) (int, error) {
		if made++; made == 1 {
			begun <- true
			<-goOn
			return 0, ctx.Err()
		}
		return 7, nil
	}}
	first := make(chan error)
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		_, err := d.get(ctx)
		first <- err
	}()
	<-begun
	gone, stop := context.WithCancel(t.Context())
	stop()
	if _, err := d.get(gone); !errors.Is(err, context.Canceled) {
		t.Errorf("a stopped waiter got %v", err)
	}
	cancel()
	goOn <- true
	if err := <-first; !errors.Is(err, context.Canceled) {
		t.Errorf("the stopped maker got %v", err)
	}
	for range 2 { // kept from the first on
		if got := d.now(); got != 7 || made != 2 {
			t.Errorf("%d, made %d times", got, made)
		}
	}
}

// Every measurement that is stopped says so, wherever it was.
func TestMeasurementsStop(t *testing.T) {
	m := wavy(4_000)
	up := Frame{X: Vec{1, 0, 0}, Y: Vec{0, 1, 0}, Z: Vec{0, 0, 1}}
	over, err := MeasureOverhang(t.Context(), m, up, OverhangParams{AngleRad: 0.7})
	if err != nil {
		t.Fatal(err)
	}
	for name, measure := range map[string]func(ctx context.Context, m *Mesh) error{
		"integrity": func(ctx context.Context, m *Mesh) error { _, err := MeasureIntegrity(ctx, m); return err },
		"mass":      func(ctx context.Context, m *Mesh) error { _, err := MeasureMass(ctx, m); return err },
		"box":       func(ctx context.Context, m *Mesh) error { _, err := MeasureBox(ctx, m, up); return err },
		"cylinders": func(ctx context.Context, m *Mesh) error { _, err := MeasureCylinders(ctx, m); return err },
		"overhang": func(ctx context.Context, m *Mesh) error {
			_, err := MeasureOverhang(ctx, m, up, OverhangParams{AngleRad: 0.7})
			return err
		},
		"support": func(ctx context.Context, m *Mesh) error { _, err := MeasureSupport(ctx, m, up, &over); return err },
		"starts":  func(ctx context.Context, m *Mesh) error { _, err := MeasureFloatingStarts(ctx, m, up); return err },
		"feather": func(ctx context.Context, m *Mesh) error { _, err := MeasureFeatherEdges(ctx, m, 1); return err },
		"wall": func(ctx context.Context, m *Mesh) error {
			_, err := MeasureThickness(ctx, m, ThicknessParams{CapMM: 2})
			return err
		},
		"gap": func(ctx context.Context, m *Mesh) error {
			_, err := MeasureGap(ctx, m, ThicknessParams{CapMM: 2})
			return err
		},
		"ball": func(ctx context.Context, m *Mesh) error { _, err := MeasureLargestBall(ctx, m); return err },
		"voids": func(ctx context.Context, m *Mesh) error {
			_, err := MeasureVoids(ctx, m, VoidParams{MaxCells: 1 << 15})
			return err
		},
		"sections": func(ctx context.Context, m *Mesh) error { _, err := MeasureSections(ctx, m, up, 1); return err },
		"slender":  func(ctx context.Context, m *Mesh) error { _, err := MeasureSlenderness(ctx, m, up, 1); return err },
	} {
		steps := newEndsAfter(1 << 40)
		if err := measure(steps, New(m.Verts, m.Facets)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		asked := 1<<40 - steps.left.Load()
		for k := range int64(5) {
			// How often is asked may depend on which goroutine is how far: not the last few.
			at := asked * k / 5
			if err := measure(newEndsAfter(at), New(m.Verts, m.Facets)); !errors.Is(err, context.Canceled) {
				t.Errorf("%s stopped at step %d of %d says %v", name, at, asked, err)
			}
		}
	}
}

// Wherever the search for thin regions is stopped it says so, keeps nothing, and
// later answers are what they would have been.
func TestRegionsStop(t *testing.T) {
	m := wavy(20_000)
	f, err := MeasureThickness(t.Context(), m, ThicknessParams{CapMM: 4})
	if err != nil {
		t.Fatal(err)
	}
	want := f.Regions(3)
	if len(want) == 0 {
		t.Fatal("nothing is thin")
	}
	f.memo.last = nil
	steps := newEndsAfter(1 << 40)
	if err := f.FindRegions(steps, 3); err != nil {
		t.Fatal(err)
	}
	asked := 1<<40 - steps.left.Load()
	// A million leaves take a tenth of a second.
	if least := int64(len(f.nodes) / 2000); asked < least {
		t.Errorf("asked %d times whether to go on with %d leaves, want %d at least", asked, len(f.nodes), least)
	}
	// How often is asked may depend on which goroutine is how far: not the last few.
	for k := range asked - 16 {
		f.memo.last = nil
		if err := f.FindRegions(newEndsAfter(k), 3); !errors.Is(err, context.Canceled) || len(f.memo.last) > 0 {
			t.Fatalf("stopped at step %d of %d: %v, %d limits kept", k, asked, err, len(f.memo.last))
		}
	}
	if got := f.Regions(3); !reflect.DeepEqual(got, want) {
		t.Errorf("%d regions after stops, want %d", len(got), len(want))
	}
}

// One facet over many that run into each other takes as long as many facets do,
// and can be stopped within.
func TestSupportStopsWithinAFacet(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 1))
	verts := []Vec{{0, 0, 100}, {0, 100, 100}, {100, 0, 100}}
	for range 3 * 1500 {
		verts = append(verts, Vec{100 * random.Float64(), 100 * random.Float64(), 90 * random.Float64()})
	}
	facets := make([][3]int32, len(verts)/3)
	for f := range facets {
		facets[f] = [3]int32{int32(3 * f), int32(3*f + 1), int32(3*f + 2)}
	}
	m := New(verts, facets)
	up := Frame{X: Vec{1, 0, 0}, Y: Vec{0, 1, 0}, Z: Vec{0, 0, 1}}
	over := Overhang{Regions: []OverhangRegion{{Facets: []int32{0}}}}
	if _, err := m.united(t.Context()); err != nil { // and is kept
		t.Fatal(err)
	}
	steps := newEndsAfter(1 << 40)
	if _, err := MeasureSupport(steps, m, up, &over); err != nil {
		t.Fatal(err)
	}
	asked := 1<<40 - steps.left.Load()
	if asked < 30 {
		t.Errorf("asked %d times whether to go on", asked)
	}
	for k := range int64(10) {
		if _, err := MeasureSupport(newEndsAfter(asked*k/16), m, up, &over); !errors.Is(err, context.Canceled) {
			t.Errorf("stopped at step %d of %d: %v", asked*k/16, asked, err)
		}
	}
}

// All pairs of facets about one vertex may oppose each other, and their
// comparison can be stopped.
func TestFeatherEdgesStopWithinAVertex(t *testing.T) {
	const n = 2000
	verts := []Vec{{0, 0, 50}, {}}
	var facets [][3]int32
	for i := range int32(n) {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		verts = append(verts, Vec{5 * cos, 5 * sin, 0})
		a, b := 2+i, 2+(i+1)%n
		facets = append(facets, [3]int32{0, a, b}, [3]int32{1, b, a})
	}
	m := New(verts, facets)
	if err := m.Prepare(t.Context()); err != nil {
		t.Fatal(err)
	}
	steps := newEndsAfter(1 << 40)
	if _, err := MeasureFeatherEdges(steps, m, 1); err != nil {
		t.Fatal(err)
	}
	asked := 1<<40 - steps.left.Load()
	if least := int64(n * n / 2 / tipStep); asked < least {
		t.Errorf("asked %d times whether to go on, want %d at least", asked, least)
	}
	for k := range int64(4) {
		if _, err := MeasureFeatherEdges(newEndsAfter(asked*k/5), m, 1); !errors.Is(err, context.Canceled) {
			t.Errorf("stopped at step %d of %d: %v", asked*k/5, asked, err)
		}
	}
}
