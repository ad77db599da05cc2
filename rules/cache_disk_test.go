package rules

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/rules/store"
)

// again makes another engine, as a later run of the program, on the same files
// and the same disk cache.
func (b *bench) again(dir string) *bench {
	o := b.o
	o.Disk = store.New(dir, "test", 0)
	c := &bench{t: b.t, dir: b.dir, text: b.text, Engine: New(o)}
	return c
}

func allChecks() map[string]bool {
	run := map[string]bool{}
	for _, c := range Checks() {
		run[c.Name] = true
	}
	return run
}

// sameReport compares what outputs are made of. Measured is compared in full
// where there are no fields that are whole here and answers there.
func sameReport(t *testing.T, what string, got, want *PartReport) {
	t.Helper()
	if !reflect.DeepEqual(got.Info, want.Info) {
		t.Errorf("%s: info\n%+v, want\n%+v", what, got.Info, want.Info)
	}
	if g, w := fmt.Sprintf("%+v", got.Findings), fmt.Sprintf("%+v", want.Findings); got.Status != want.Status || len(got.Findings) != len(want.Findings) || !reflect.DeepEqual(fingerprints(got), fingerprints(want)) {
		t.Errorf("%s: %s\n%s, want %s\n%s", what, got.Status, g, want.Status, w)
	}
	g, w := *got.Measured, *want.Measured
	g.Wall, g.Gap, g.Sections, w.Wall, w.Gap, w.Sections = nil, nil, nil, nil, nil, nil
	if !reflect.DeepEqual(g, w) {
		t.Errorf("%s: measured\n%+v, want\n%+v", what, g, w)
	}
}

func fingerprints(r *PartReport) (out []string) {
	for _, f := range r.Findings {
		out = append(out, fmt.Sprint(f.Fingerprint, f.Message, f.At, f.Measured, f.Band, f.Count, f.AreaMM2, f.Box))
	}
	return out
}

// A later run measures nothing and reads no mesh, and says the same.
func TestASecondRunMeasuresNothing(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{Checks: allChecks()})
	without := b.full()
	cold := b.again(dir)
	first := cold.full()
	sameReport(t, "cold", first, without)
	warm := b.again(dir)
	second := warm.full()
	sameReport(t, "warm", second, without)
	c := warm.Counts()
	if len(c.Measurements) != 0 || c.MeshLoads != 0 || c.MeshHashes != 1 || second.Mesh != nil {
		t.Errorf("measured %v, %d loads, %d hashes", c.Measurements, c.MeshLoads, c.MeshHashes)
	}
	if len(cold.Counts().Measurements) == 0 {
		t.Error("the first run measured nothing")
	}
	// Known in the same process as before.
	if r := warm.Part(context.Background(), b.path("part.part.toml"), Known); !r.Complete {
		t.Error("what was taken from disk is not known")
	}
}

// A new limit in a later run reads the mesh and measures nothing.
func TestANewLimitInALaterRunMeasuresNothing(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{Checks: allChecks()})
	b.mesh("part.stl", "box 0 0 0 20 20 2\nbox 9.5 0 2 10.5 20 12\n") // a wall of 1 mm on a slab
	b.again(dir).full()
	b.write("part.part.toml", ledgeSpec+"[limits]\nwall.thickness = \"1.1 mm\"\nwall.free = \"1.2 mm\"\ngap.width = \"0.9 mm\"\nsection-jump.ratio = 1.1\n")
	want := b.full()
	if !slices.Contains(checksOf(want), "wall") {
		t.Fatalf("findings %v", checksOf(want))
	}
	later := b.again(dir)
	sameReport(t, "new limits", later.full(), want)
	if c := later.Counts(); len(c.Measurements) != 0 || c.MeshLoads != 1 {
		t.Errorf("measured %v, %d loads", c.Measurements, c.MeshLoads)
	}
	last := b.again(dir)
	sameReport(t, "new limits again", last.full(), want)
	if c := last.Counts(); len(c.Measurements) != 0 || c.MeshLoads != 0 {
		t.Errorf("measured %v, %d loads", c.Measurements, c.MeshLoads)
	}
}

func TestANewOrientationInALaterRun(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{Checks: allChecks()})
	b.again(dir).full()
	b.write("part.part.toml", strings.Replace(ledgeSpec, `"+z"`, `"-z"`, 1))
	want := b.full()
	later := b.again(dir)
	sameReport(t, "upside down", later.full(), want)
	got := slices.Sorted(maps.Keys(later.Counts().Measurements))
	var framed []Need
	for i := range measurements {
		if s := &measurements[i]; s.framed && s.when == nil && want.Measured.Has(s.need) {
			framed = append(framed, s.need)
		}
	}
	slices.Sort(framed)
	if !slices.Equal(got, framed) {
		t.Errorf("measured %v, of what depends on how it stands %v", got, framed)
	}
}

// A changed mesh, another unit and another build are measured.
func TestWhatIsNotTheSameIsMeasured(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{})
	b.again(dir).full()
	b.mesh("part.stl", "box 0 0 0 20 20 15")
	want := b.full()
	later := b.again(dir)
	sameReport(t, "another mesh", later.full(), want)
	b.write("part.part.toml", strings.Replace(ledgeSpec, `"mm"`, `"cm"`, 1))
	sameReport(t, "another unit", b.again(dir).full(), b.full())
	o := b.o
	o.Disk = store.New(dir, "another build", 0)
	other := &bench{t: t, dir: b.dir, text: b.text, Engine: New(o)}
	other.full()
	if c := other.Counts(); len(c.Measurements) == 0 {
		t.Error("another build's measurements were taken")
	}
}

// Entries that are broken in any way are measured anew, with the same result.
func TestABrokenDiskCache(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{})
	want := b.full()
	b.again(dir).full()
	entries, err := filepath.Glob(filepath.Join(dir, "*", "*", "*"))
	if err != nil || len(entries) < 10 {
		t.Fatal(len(entries), err)
	}
	for i, path := range entries {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		switch i % 3 {
		case 0:
			data = data[:len(data)*i/len(entries)]
		case 1:
			data[len(data)-1-i%7] ^= 1
		case 2:
			data = []byte("not an entry")
		}
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	later := b.again(dir)
	sameReport(t, "all broken", later.full(), want)
	if c := later.Counts(); len(c.Measurements) == 0 {
		t.Error("broken entries were believed")
	}
	sameReport(t, "mended", b.again(dir).full(), want)
}

// An entry that the store holds good but that is no value is a miss.
func TestAnEntryOfAnotherShape(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{})
	want := b.full()
	first := b.again(dir)
	first.full()
	src := first.contentKey(want.Info.Source.SHA256, "mm", "part.stl")
	par := first.paramsOf(&Subject{Spec: want.Spec, Shop: want.Shop, Limits: want.Limits, Measured: want.Measured})
	for i := range measurements {
		s := &measurements[i]
		for _, key := range []string{s.recipe(src, &par), "facts|" + src} {
			first.disk.Put(key, store.Encode([]string{"no measurement"}))
			first.disk.Put(key, []byte{200, 1, 7})
		}
	}
	later := b.again(dir)
	sameReport(t, "odd entries", later.full(), want)
	if c := later.Counts(); len(c.Measurements) == 0 || c.MeshLoads != 1 {
		t.Errorf("measured %v, %d loads", c.Measurements, c.MeshLoads)
	}
}

// Pictures need meshes and whole fields, and still measure nothing twice.
func TestSurfaceGivesWholeMeasurements(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{Surface: true})
	want := b.full()
	b.again(dir).full()
	later := b.again(dir)
	r := later.full()
	sameReport(t, "surface", r, want)
	if c := later.Counts(); len(c.Measurements) != 0 || r.Mesh == nil {
		t.Errorf("measured %v, mesh %v", c.Measurements, r.Mesh)
	}
	if !slices.Equal(r.Measured.Wall.FacetMM, want.Measured.Wall.FacetMM) || len(r.Measured.Wall.FacetMM) == 0 {
		t.Error("the map of walls is another")
	}
	for _, l := range []float64{0.1, 1, 1.7, 2} {
		if !reflect.DeepEqual(r.Measured.Wall.Regions(l), want.Measured.Wall.Regions(l)) {
			t.Errorf("regions below %v mm are others", l)
		}
	}
}

// A file that changes after its bytes were known is not mixed up with what was
// kept of the old ones.
func TestAMeshThatChangesDuringACheck(t *testing.T) {
	dir := t.TempDir()
	b := newBench(t, Options{})
	b.again(dir).full()
	later := b.again(dir)
	b.write("part.part.toml", strings.Replace(ledgeSpec, `"+z"`, `"-z"`, 1))
	later.o.Progress = func(_, stage string, _ float64) {
		if stage == string(NeedIntegrity) { // kept; the box is not, and needs the mesh
			m, err := meshtest.Recipe("box 0 0 0 1 2 3")
			if err == nil {
				err = os.WriteFile(b.path("part.stl"), meshtest.BinarySTL(m, 1), 0o666)
			}
			if err != nil {
				t.Error(err)
			}
		}
	}
	r := later.full()
	if r.Status != Unchecked || len(r.Failures) == 0 || !strings.Contains(r.Failures[0].Why, "changed while it was checked") {
		t.Errorf("status %s, failures %+v, findings %v", r.Status, r.Failures, checksOf(r))
	}
	later.o.Progress = func(string, string, float64) {}
	if r = later.full(); r.Status != Checked || r.Info.Box.Size() != (mesh.Vec{1, 2, 3}) {
		t.Errorf("checked again: %s %+v", r.Status, r.Failures)
	}
}

// Every measurement is kept: one that is not would make every check read its mesh.
func TestEveryMeasurementIsKept(t *testing.T) {
	for i := range measurements {
		if measurements[i].form == nil {
			t.Errorf("%s has no form", measurements[i].need)
		}
	}
}
