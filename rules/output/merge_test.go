package output

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// some is a document of n parts with findings.
func some(n int) *Document {
	d := NewDocument(nil)
	for i := range n {
		file := fmt.Sprintf("parts/%03d.part.toml", i)
		p := Part{Spec: file, Path: file, Status: "checked", Checks: []string{"wall"}, Findings: []Finding{}}
		for k := range i % 3 {
			p.Findings = append(p.Findings, Finding{Check: "wall", Level: "warning", Message: fmt.Sprint(i, k), Fingerprint: fmt.Sprint("wall:", k)})
		}
		d.Parts = append(d.Parts, p)
	}
	d.Missing = []Failure{{"path", "nowhere does not exist"}}
	d.Count()
	return d
}

// However a run is cut, and in whatever order the pieces come, they make the
// document of the whole run.
func TestShardsMakeTheWhole(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, parts := range []int{0, 1, 2, 3, 7, 40} {
		whole := some(parts)
		for of := 1; of <= 9; of++ {
			var shards []*Document
			seen := 0
			for index := 1; index <= of; index++ {
				s := NewDocument(nil)
				s.Shard = &Shard{index, of}
				s.Missing = whole.Missing
				for _, i := range s.Shard.Share(parts) {
					s.Parts = append(s.Parts, whole.Parts[i])
				}
				seen += len(s.Parts)
				s.Count()
				back, err := Read(bytes.NewReader(written(t, "json", s, Options{})))
				if err != nil {
					t.Fatal(err)
				}
				shards = append(shards, back)
			}
			if seen != parts {
				t.Fatalf("%d shards hold %d of %d parts", of, seen, parts)
			}
			r.Shuffle(of, func(i, k int) { shards[i], shards[k] = shards[k], shards[i] })
			got, err := Merge(shards)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(written(t, "json", whole, Options{})), string(written(t, "json", got, Options{}))); d != "" {
				t.Fatalf("%d parts in %d shards:\n%s", parts, of, d)
			}
		}
	}
}

// A document that is read back is the one that was written, and every format
// but text, which quotes the spec, is the same of it.
func TestReadBack(t *testing.T) {
	d := Checked(reports(t, false))
	text := written(t, "json", d, Options{})
	back, err := Read(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range Formats() {
		a, b := string(written(t, f, d, Options{})), string(written(t, f, back, Options{}))
		if f == "text" {
			if !strings.Contains(a, " | ") || strings.Contains(b, " | ") {
				t.Error("text quotes where it can't, or does not where it can")
			}
			continue
		}
		if diff := cmp.Diff(a, b); diff != "" {
			t.Errorf("%s:\n%s", f, diff)
		}
	}
}

// The same finding is known once, a graver one is new, a waived one neither
// known nor gone, and what was waived then is new now.
func TestHold(t *testing.T) {
	part := func(fs ...Finding) *Document {
		d := NewDocument([]Part{{Spec: "a.part.toml", Status: "checked", Checks: []string{"wall", "hole"}, Findings: fs}})
		d.Count()
		return d
	}
	f := func(check, level, print string) Finding {
		return Finding{Check: check, Level: level, Fingerprint: print}
	}
	waived := f("wall", "warning", "wall:1")
	waived.Waived = &Waived{}
	for _, c := range []struct {
		name      string
		base, now *Document
		known     []bool
		gone      int
	}{
		{"same", part(f("wall", "warning", "wall:1")), part(f("wall", "warning", "wall:1")), []bool{true}, 0},
		{"twice now", part(f("wall", "warning", "wall:1")), part(f("wall", "warning", "wall:1"), f("wall", "warning", "wall:1")), []bool{true, false}, 0},
		{"graver", part(f("wall", "note", "wall:1")), part(f("wall", "error", "wall:1")), []bool{false}, 0},
		{"milder", part(f("wall", "error", "wall:1")), part(f("wall", "note", "wall:1")), []bool{true}, 0},
		{"gone", part(f("wall", "note", "wall:1"), f("hole", "note", "hole:1")), part(f("hole", "note", "hole:1")), []bool{true}, 1},
		{"of a check that did not run", part(f("pin", "note", "pin:1")), part(), nil, 0},
		{"waived now", part(f("wall", "warning", "wall:1")), part(waived), []bool{false}, 0},
		{"waived then", part(waived), part(f("wall", "warning", "wall:1")), []bool{false}, 0},
		{"none", part(), part(f("wall", "warning", "wall:1")), []bool{false}, 0},
	} {
		c.now.Hold(c.base, "base.json", func(s string) string { return s })
		var known []bool
		for _, f := range c.now.Parts[0].Findings {
			known = append(known, f.Known)
		}
		if !cmp.Equal(known, c.known) || len(c.now.Parts[0].Gone) != c.gone {
			t.Errorf("%s: known %v, %d gone", c.name, known, len(c.now.Parts[0].Gone))
		}
	}
}

// Whatever is read, nothing panics, and what is taken can be written.
func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	if err := Write(&b, "json", some(3), Options{}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	b.Reset()
	if err := Write(&b, "json", hostile(), Options{}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"schema":1,"tool":{"name":"corbel"},"shard":{"index":1,"of":2},"parts":[{"status":"checked"}]}`))
	f.Add([]byte(`{"schema":1,"tool":{"name":"corbel"},"parts":null}{}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		d, err := Read(bytes.NewReader(text))
		if err != nil {
			return
		}
		if m, err := Merge([]*Document{d}); err == nil {
			d = m
		}
		d.Hold(d, "itself", func(s string) string { return s })
		for _, name := range Formats() {
			written(t, name, d, Options{})
		}
	})
}
