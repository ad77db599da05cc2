package rules

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/rules/store"
)

// bench is a folder with a part, whose text lives in memory like an editor's.
type bench struct {
	t    testing.TB
	dir  string
	mu   sync.Mutex
	text map[string]string
	*Engine
}

// fast leaves out what takes long and what these tests don't ask about.
func fast() map[string]bool {
	run := map[string]bool{}
	for _, c := range Checks() {
		run[c.Name] = c != Powder
	}
	return run
}

func newBench(t testing.TB, o Options) *bench {
	b := &bench{t: t, dir: t.TempDir(), text: map[string]string{}}
	o.Now = testDay
	if o.Checks == nil {
		o.Checks = fast()
	}
	o.ReadFile = func(root, path string) ([]byte, error) {
		b.mu.Lock()
		s, ok := b.text[path]
		b.mu.Unlock()
		if ok {
			return []byte(s), nil
		}
		return ReadText(root, path, DefaultMaxTextBytes)
	}
	b.Engine = New(o)
	b.mesh("part.stl", "extrude 0 20 : 0 0 10 0 10 10 20 10 20 15 0 15\nturn 1 0 0 90\nmove 0 20 0\n")
	b.write("part.part.toml", ledgeSpec)
	return b
}

const ledgeSpec = `schema = 1
part = "Ledge"
process = "PBF-LB/M"
material = "316L"
use = "general"
[mesh]
file = "part.stl"
units = "mm"
[orientation]
up = "+z"
`

func (b *bench) path(name string) string { return filepath.Join(b.dir, name) }

func (b *bench) write(name, text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.text[b.path(name)] = text
}

// mesh writes a mesh as if it had been there for long, so that its time of
// change can be relied on.
func (b *bench) mesh(name, recipe string) {
	b.t.Helper()
	m, err := meshtest.Recipe(recipe)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(b.path(name), meshtest.BinarySTL(m, 1), 0o666); err != nil {
		b.t.Fatal(err)
	}
	b.touch(name, time.Hour)
}

func (b *bench) touch(name string, ago time.Duration) {
	b.t.Helper()
	at := time.Now().Add(-ago)
	if err := os.Chtimes(b.path(name), at, at); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) full() *PartReport {
	b.t.Helper()
	r := b.Part(context.Background(), b.path("part.part.toml"), Full)
	if r.Err != nil {
		b.t.Fatal(r.Err)
	}
	return r
}

func checksOf(r *PartReport) []string {
	var out []string
	for _, f := range r.Findings {
		out = append(out, f.Check)
	}
	return out
}

// measurementsSince says which measurements were made since a count.
func measurementsSince(before, after Counts) map[Need]int {
	out := map[Need]int{}
	for n, k := range after.Measurements {
		if d := k - before.Measurements[n]; d != 0 {
			out[n] = d
		}
	}
	return out
}

func TestTypingInACommentMeasuresNothing(t *testing.T) {
	b := newBench(t, Options{})
	first := b.full()
	if got := checksOf(first); !slices.Equal(got, []string{"overhang"}) {
		t.Fatalf("findings %v", got)
	}
	before := b.Counts()
	b.write("part.part.toml", "# a comment\n"+ledgeSpec)
	r := b.Part(context.Background(), b.path("part.part.toml"), Known)
	after := b.Counts()
	if m := measurementsSince(before, after); len(m) != 0 || after.MeshLoads != before.MeshLoads || after.MeshHashes != before.MeshHashes {
		t.Errorf("a comment measured %v, loads %d, hashes %d", m, after.MeshLoads-before.MeshLoads, after.MeshHashes-before.MeshHashes)
	}
	if !r.Complete || !slices.Equal(checksOf(r), checksOf(first)) || r.Findings[0].Where.At.Start != first.Findings[0].Where.At.Start+len("# a comment\n") {
		t.Errorf("complete %v, findings %v", r.Complete, checksOf(r))
	}
	if r.Mesh != first.Mesh {
		t.Error("the mesh is another")
	}
	b.full()
	if again := b.Counts(); again.SpecParses != after.SpecParses {
		t.Error("the same text was parsed again")
	}
}

func TestANewLimitOrWaiverOnlyJudges(t *testing.T) {
	b := newBench(t, Options{})
	b.full()
	before := b.Counts()
	b.write("part.part.toml", ledgeSpec+"[limits]\nwall.thickness = \"0.7 mm\"\nwall.free = \"1.9 mm\"\nmassive-section.thickness = \"4 mm\"\noverhang.ledge = \"0.1 mm\"\nslenderness.ratio = 3\n"+
		"[[waiver]]\ncheck = \"overhang\"\nreason = \"milled\"\nuntil = 2026-12-31\n")
	r := b.full()
	if m := measurementsSince(before, b.Counts()); len(m) != 0 {
		t.Errorf("measured again: %v", m)
	}
	if got := checksOf(r); !slices.Contains(got, "massive-section") {
		t.Errorf("findings %v", got)
	}
	for _, f := range r.Findings {
		if f.Check == "overhang" && f.Waived == nil {
			t.Error("the waiver did not count")
		}
	}
}

func TestANewOrientationKeepsWhatDoesNotDependOnIt(t *testing.T) {
	b := newBench(t, Options{})
	first := b.full()
	before := b.Counts()
	b.write("part.part.toml", strings.Replace(ledgeSpec, `"+z"`, `"-z"`, 1))
	r := b.full()
	after := b.Counts()
	for n := range measurementsSince(before, after) {
		if !slices.Contains([]Need{NeedBox, NeedOverhang, NeedStarts, NeedSections, NeedSlender, NeedSupport, NeedAccess, NeedFoot, NeedPlatform}, n) {
			t.Errorf("%s was measured again", n)
		}
	}
	if after.MeshLoads != before.MeshLoads || r.Mesh != first.Mesh || r.Mesh.Topology() != first.Mesh.Topology() || r.Mesh.BVH() != first.Mesh.BVH() {
		t.Error("the mesh was read or prepared again")
	}
	if slices.Contains(checksOf(r), "overhang") {
		t.Error("upside down there is no ledge")
	}
}

func TestAMeshChangedOnDisk(t *testing.T) {
	b := newBench(t, Options{})
	b.full()
	before := b.Counts()
	b.touch("part.stl", time.Minute) // another time, the same bytes
	b.full()
	after := b.Counts()
	if after.MeshLoads != before.MeshLoads || after.MeshHashes != before.MeshHashes+1 || len(measurementsSince(before, after)) != 0 {
		t.Errorf("the same bytes: %d loads, %d hashes, measured %v", after.MeshLoads-before.MeshLoads, after.MeshHashes-before.MeshHashes, measurementsSince(before, after))
	}
	b.mesh("part.stl", "box 0 0 0 20 20 15")
	if r := b.Part(context.Background(), b.path("part.part.toml"), Known); r.Complete || r.Mesh != nil {
		t.Error("what memory knows of the old mesh was given out for the new one")
	}
	if got := checksOf(b.full()); len(got) != 0 {
		t.Errorf("findings of the new mesh: %v", got)
	}
	// Written so recently that a further write could carry the same time.
	b.mesh("part.stl", "box 0 0 0 20 20 16")
	b.touch("part.stl", 0)
	b.full()
	before = b.Counts()
	b.full()
	if after := b.Counts(); after.MeshHashes != before.MeshHashes+1 {
		t.Error("a file written this moment was believed unchanged")
	}
}

func TestBrokenMeshIsReadOnce(t *testing.T) {
	b := newBench(t, Options{})
	if err := os.WriteFile(b.path("part.stl"), []byte("solid nothing much"), 0o666); err != nil {
		t.Fatal(err)
	}
	b.touch("part.stl", time.Hour)
	r := b.full()
	if r.Status != Unchecked || len(r.Findings) != 1 || r.Findings[0].Check != "mesh" || r.Findings[0].Where.Key != "mesh.file" {
		t.Errorf("status %s, findings %+v", r.Status, r.Findings)
	}
	b.full()
	if c := b.Counts(); c.MeshLoads != 1 {
		t.Errorf("read %d times", c.MeshLoads)
	}
}

func TestTextModeOpensNoMesh(t *testing.T) {
	b := newBench(t, Options{})
	r := b.Part(context.Background(), b.path("part.part.toml"), Text)
	if c := b.Counts(); c.MeshLoads != 0 || r.Mesh != nil || r.Complete || r.Status != Checked {
		t.Errorf("loads %d, complete %v, status %s", c.MeshLoads, r.Complete, r.Status)
	}
	os.Remove(b.path("part.stl"))
	r = b.Part(context.Background(), b.path("part.part.toml"), Text)
	if got := checksOf(r); !slices.Equal(got, []string{"spec"}) || !r.Complete {
		t.Errorf("a missing mesh: %v, complete %v", got, r.Complete)
	}
}

func TestCancelledContext(t *testing.T) {
	b := newBench(t, Options{})
	ctx, stop := context.WithCancel(context.Background())
	stop()
	r := b.Part(ctx, b.path("part.part.toml"), Full)
	if !errors.Is(r.Err, context.Canceled) {
		t.Errorf("err %v", r.Err)
	}
	if c := b.Counts(); len(c.Measurements) != 0 {
		t.Errorf("measured %v", c.Measurements)
	}
	if r := b.full(); len(r.Findings) != 1 {
		t.Errorf("afterwards: %v", checksOf(r))
	}
}

// A check that panics is reported by name; the others run.
func TestPanickingCheck(t *testing.T) {
	broken := &Check{Name: "pin", Judge: func(*Subject) []Finding { panic("index out of range") }}
	saved := checks
	defer func() { checks = saved }()
	checks = append(slices.Clone(saved[:3]), broken, Overhang)
	b := newBench(t, Options{})
	r := b.full()
	if r.Status != Unchecked || len(r.Failures) != 1 || r.Failures[0].What != "pin" || !strings.Contains(r.Failures[0].Why, "fault of corbel") {
		t.Errorf("failures %v", r.Failures)
	}
	if !slices.Equal(checksOf(r), []string{"overhang"}) {
		t.Errorf("findings %v", checksOf(r))
	}
}

// So is one whose measurement fails, and the measurement is not tried again.
func TestFailingMeasurement(t *testing.T) {
	i := slices.IndexFunc(measurements, func(m measurement) bool { return m.need == NeedBall })
	saved := measurements[i]
	defer func() { measurements[i] = saved }()
	measurements[i].run = func(context.Context, *mesh.Mesh, *params) (any, int64, error) { panic("oh") }
	b := newBench(t, Options{})
	for range 2 {
		r := b.full()
		if len(r.Failures) != 1 || r.Failures[0].What != "massive-section" || !strings.Contains(r.Failures[0].Why, "largest ball") {
			t.Errorf("failures %v", r.Failures)
		}
		if !slices.Equal(checksOf(r), []string{"overhang"}) {
			t.Errorf("findings %v", checksOf(r))
		}
	}
	if n := b.Counts().Measurements[NeedBall]; n != 1 {
		t.Errorf("tried %d times", n)
	}
}

// Many goroutines that ask for one part share the work and agree.
func TestManyAsk(t *testing.T) {
	b := newBench(t, Options{Jobs: 2})
	reports := make([]*PartReport, 8)
	var wg sync.WaitGroup
	for i := range reports {
		wg.Go(func() { reports[i] = b.Part(context.Background(), b.path("part.part.toml"), Full) })
	}
	wg.Wait()
	for _, r := range reports[1:] {
		if !reflect.DeepEqual(r.Findings, reports[0].Findings) {
			t.Errorf("%v and %v", r.Findings, reports[0].Findings)
		}
	}
	for n, k := range b.Counts().Measurements {
		if k != 1 {
			t.Errorf("%s was measured %d times", n, k)
		}
	}
}

// A budget in which one mesh can be measured and hardly anything kept gives the
// right answer, for parts that wait for each other too.
func TestTinyMemory(t *testing.T) {
	b := newBench(t, Options{Memory: 20 * facetBytesMost * 3 / 2, Jobs: 4})
	var wg sync.WaitGroup
	for i := range 6 {
		name := fmt.Sprintf("p%d.stl", i)
		b.mesh(name, fmt.Sprintf("extrude 0 20 : 0 0 10 0 10 10 20 10 20 1%d 0 1%d\nturn 1 0 0 90\nmove 0 20 0\n", i+3, i+3))
		b.write(fmt.Sprintf("p%d.part.toml", i), strings.Replace(ledgeSpec, "part.stl", name, 1))
		wg.Go(func() {
			r := b.Part(context.Background(), b.path(fmt.Sprintf("p%d.part.toml", i)), Full)
			if got := checksOf(r); !slices.Equal(got, []string{"overhang"}) {
				t.Errorf("findings %v, failures %+v", got, r.Failures)
			}
		})
	}
	wg.Wait()
}

// A mesh that does not fit is one finding, the same from an empty cache on disk
// and from one that was filled with more memory.
func TestAMeshThatDoesNotFit(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{})
	b.again(dir).full()
	for _, disk := range []*store.Store{nil, store.New(dir, "test", 0)} {
		o := b.o
		o.Memory, o.Disk = 8<<10, disk
		small := &bench{t: t, dir: b.dir, text: b.text, Engine: New(o)}
		r := small.full()
		if len(r.Findings) != 1 || r.Status != Unchecked || r.Findings[0].Check != "mesh" ||
			!strings.Contains(r.Findings[0].Message, "more facets than the 15 that can be measured in 8.0 KiB of memory") ||
			!strings.Contains(r.Findings[0].Help, "--memory") {
			t.Errorf("%s %+v", r.Status, r.Findings)
		}
		if len(small.Counts().Measurements) != 0 {
			t.Error("measured")
		}
	}
}

func TestProgressRises(t *testing.T) {
	var mu sync.Mutex
	last, done := -1.0, false
	b := newBench(t, Options{Progress: func(path, stage string, share float64) {
		mu.Lock()
		defer mu.Unlock()
		if share < last || share > 1+1e-9 {
			t.Errorf("%s: %g after %g", stage, share, last)
		}
		last, done = share, stage == "done"
	}})
	b.full()
	if last < 1-1e-9 || !done {
		t.Errorf("ended at %g", last)
	}
}

// Deps are what to watch.
func TestDeps(t *testing.T) {
	b := newBench(t, Options{})
	shop := "schema = 1\nshop = \"Site\"\nextends = \"company.toml\"\n"
	if err := os.WriteFile(b.path("shop.toml"), []byte(shop), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(b.path("company.toml"), []byte("schema = 1\nshop = \"Company\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	r := b.full()
	want := []string{"part.part.toml", "shop.toml", "company.toml", "part.stl"}
	for i := range want {
		want[i] = b.path(want[i])
	}
	if !slices.Equal(r.Deps, want) {
		t.Errorf("deps %v, want %v", r.Deps, want)
	}
}

func writeMesh(t *testing.T, path string, m *mesh.Mesh) {
	t.Helper()
	if err := os.WriteFile(path, meshtest.BinarySTL(m, 1), 0o666); err != nil {
		t.Fatal(err)
	}
}

// What is uneven by less than a layer lies on the platform, so a machine that lays
// thicker ones has less in the air; nothing else is measured anew for it.
func TestTheFirstLayerIsTheMachines(t *testing.T) {
	foot := meshtest.Map(meshtest.Refine(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 30, 10}), 3), func(p mesh.Vec) mesh.Vec {
		if p[2] == 0 && math.Mod(p[0], 10) != 0 {
			p[2] = 0.045
		}
		return p
	})
	b := orientBench(t, foot, "[orientation]\nup = \"+z\"\n")
	found := func() []string {
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		return slices.DeleteFunc(checksOf(r), func(c string) bool { return c != Overhang.Name && c != FloatingStart.Name })
	}
	if got := found(); len(got) != 0 {
		t.Errorf("on layers of 50 um: %v", got)
	}
	before := b.Counts()
	b.text[b.path("shop.toml")] = strings.Replace(orientShop, "50 um", "30 um", 1)
	if got := found(); !slices.Equal(got, []string{Overhang.Name}) {
		t.Errorf("on layers of 30 um: %v", got)
	}
	for n := range measurementsSince(before, b.Counts()) {
		if !slices.Contains([]Need{NeedOverhang, NeedStarts, NeedSupport, NeedAccess}, n) {
			t.Errorf("%s was measured again", n)
		}
	}
}

// On layers that are thick enough an uneven foot is one, in the furnace too.
func TestASinteredFootIsTheFirstLayers(t *testing.T) {
	foot := meshtest.Map(meshtest.Refine(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{20, 20, 5}), 3), func(p mesh.Vec) mesh.Vec {
		if p[2] == 0 && p != (mesh.Vec{}) {
			p[2] = 0.045
		}
		return p
	})
	b := orientBench(t, foot, "[orientation]\nup = \"+z\"\n")
	other := strings.NewReplacer(LaserPBF, BinderJet)
	b.text[b.path("part.part.toml")] = other.Replace(b.text[b.path("part.part.toml")])
	for _, c := range []struct {
		layer string
		foot  bool
	}{{"50 um", true}, {"30 um", false}, {"50 um", true}} {
		b.text[b.path("shop.toml")] = other.Replace(strings.Replace(orientShop, "50 um", c.layer, 1))
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		if f := r.Measured.Foot; f == nil || (f.WidthMM > 19.9) != c.foot || slices.Contains(checksOf(r), Sinter.Name) == c.foot {
			t.Errorf("on layers of %s: %+v and %v", c.layer, f, checksOf(r))
		}
	}
}

// Starts in mid-air are told together, whether an edge or a point begins them, but
// those with a face apart.
func TestStartsInTheAirAreToldTogether(t *testing.T) {
	point := meshtest.Extrude([]mesh.Vec{{0, 0}, {4, 0}, {4, 4}, {0, 4}}, nil, 0, 4)
	point = meshtest.Turn(point, mesh.Vec{1, -1, 0}.Unit(), 0.9)
	edge := meshtest.Turn(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{4, 4, 4}), mesh.Vec{1, 0, 0}, 0.7)
	m := meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{30, 10, 2}), meshtest.Move(point, mesh.Vec{5, 5, 10}),
		meshtest.Move(edge, mesh.Vec{15, 5, 10}), meshtest.BoxAt(mesh.Vec{24, 2, 10}, mesh.Vec{28, 6, 14}))
	b := orientBench(t, m, "[orientation]\nup = \"+z\"\n")
	r := b.Part(context.Background(), b.path("part.part.toml"), Full)
	got := messagesOf(r, FloatingStart)
	if len(got) != 2 || !strings.Contains(got[0]+got[1], "with a face of 16 mm2") || !strings.Contains(got[0]+got[1], "in 2 places") {
		t.Errorf("%q", got)
	}
}

// Closed bodies that meet are measured as one beside an open one, too; what stands on
// an open one counts as free, and is said to.
func TestBodiesThatMeetBesideAnOpenOne(t *testing.T) {
	bodies := meshtest.Join(meshtest.BoxAt(mesh.Vec{}, mesh.Vec{30, 10, 5}), meshtest.BoxAt(mesh.Vec{10, 2, 4}, mesh.Vec{16, 8, 12}))
	open := meshtest.BoxAt(mesh.Vec{40, 0, 0}, mesh.Vec{50, 10, 10})
	open.Facets = slices.DeleteFunc(open.Facets, func(f [3]int32) bool { // all of one side: less is closed on reading
		return open.Verts[f[0]][0]+open.Verts[f[1]][0]+open.Verts[f[2]][0] > 149
	})
	on := meshtest.BoxAt(mesh.Vec{42, 2, 9}, mesh.Vec{48, 8, 15})
	for _, c := range []struct {
		m          *mesh.Mesh
		said, free bool
	}{
		{bodies, false, false},
		{meshtest.Join(bodies, open), true, false},
		{meshtest.Join(bodies, open, on), true, true},
	} {
		b := orientBench(t, c.m, "[orientation]\nup = \"+z\"\n")
		r := b.Part(context.Background(), b.path("part.part.toml"), Full)
		if told := messagesOf(r, Overhang); len(told) > 0 != c.free {
			t.Errorf("told: %q", told)
		}
		for _, f := range r.Findings {
			if f.Check == Mesh.Name && f.feature == "meeting" && strings.Contains(f.Help, "counts as free") != c.said {
				t.Errorf("said: %q", f.Help)
			}
		}
	}
}

// messagesOf are the messages of a check.
func messagesOf(r *PartReport, c *Check) (out []string) {
	for _, f := range r.Findings {
		if f.Check == c.Name {
			out = append(out, f.Message)
		}
	}
	return out
}
