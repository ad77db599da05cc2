package rules

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"corbel/mesh"
)

// The corpus report: what is measured and found on every mesh of a folder, as
// laser powder bed fusion of 316L with +z up, by the built-in limits. What
// surprises in it is explained in the README beside the meshes.

var (
	corpusAll    = flag.Bool("corpus", false, "report on all meshes, on one, two and eight cores to compare; else on the small ones")
	corpusFolder = flag.String("meshes", "../testdata/meshes", "folder of the corpus report")
	corpusUpdate = flag.Bool("update", false, "with -corpus: rewrite report.txt of the folder; read the difference")
)

// corpusSmall is the largest file, in bytes, that is looked at in every run.
const corpusSmall = 1300

func TestCorpusReport(t *testing.T) {
	units := corpusUnits(t)
	file := filepath.Join(*corpusFolder, "report.txt")
	golden, err := os.ReadFile(file)
	if err != nil && !*corpusUpdate {
		t.Fatal(err)
	}
	var names []string
	err = filepath.WalkDir(*corpusFolder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !slices.Contains([]string{".stl", ".obj", ".ply", ".3mf"}, filepath.Ext(path)) {
			return err
		}
		info, err := d.Info()
		if err == nil && (*corpusAll || info.Size() <= corpusSmall) {
			names = append(names, path)
		}
		return err
	})
	if err != nil || len(names) < 10 {
		t.Fatal(len(names), " meshes: ", err)
	}
	cores := []int{runtime.GOMAXPROCS(0)}
	if *corpusAll && !*corpusUpdate {
		cores = []int{1, 2, 8}
	}
	var first []byte
	for _, n := range cores {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(n))
		var out bytes.Buffer
		for _, name := range names {
			rel, _ := filepath.Rel(*corpusFolder, name)
			rel = filepath.ToSlash(rel)
			r := New(Options{Now: testDay}).Mesh(context.Background(), name, MeshOptions{Unit: units[rel], Material: "316L"}, Full)
			one := corpusText(rel, r)
			if out.WriteString(one); !*corpusUpdate && !strings.Contains(string(golden), one) {
				old := regexp.MustCompile(`(?ms)^## ` + regexp.QuoteMeta(rel) + `$.*?\n\n`).FindString(string(golden))
				t.Errorf("%s on %d cores (rewrite with go test ./rules -run CorpusReport -corpus -update, and read the difference):\n%s", rel, n, cmp.Diff(strings.Split(old, "\n"), strings.Split(one, "\n")))
			}
		}
		if first == nil {
			first = out.Bytes()
		} else if !bytes.Equal(first, out.Bytes()) {
			t.Errorf("the report depends on the number of cores: %s", cmp.Diff(strings.Split(string(first), "\n"), strings.Split(out.String(), "\n")))
		}
	}
	if *corpusAll && *corpusUpdate && !t.Failed() {
		if err := os.WriteFile(file, first, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// corpusUnits are the units that the README beside the meshes has for them; mm
// where nobody states one.
func corpusUnits(t *testing.T) map[string]string {
	text, err := os.ReadFile(filepath.Join(*corpusFolder, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	units := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^\| ([a-z]+/\S+) \|[^|]*\|[^|]*\|[^|]*\| ([^|]*) \|`).FindAllStringSubmatch(string(text), -1) {
		switch {
		case strings.HasSuffix(m[1], ".3mf"): // states its own
		case strings.HasPrefix(m[2], "inch"):
			units[m[1]] = "in"
		case strings.HasPrefix(m[2], "metre"):
			units[m[1]] = "m"
		default:
			units[m[1]] = "mm"
		}
	}
	for _, made := range []string{"crossing", "elbows", "galleries", "slanted", "struts"} {
		units["made/"+made+".stl"] = "mm"
	}
	return units
}

// corpusText is what a report says of a mesh, a line a fact.
func corpusText(name string, r *PartReport) string {
	var b strings.Builder
	fmt.Fprintf(&b, "## %s\n", name)
	m := r.Measured
	if r.Info != nil && m != nil {
		if m.Mass != nil && m.Box != nil && m.Integrity != nil {
			s := m.Box.Size
			fmt.Fprintf(&b, "  %d facets, %d shells; %.4g x %.4g x %.4g mm, %.4g mm3, %.4g mm2\n", r.Info.Facets, m.Integrity.Shells, s[0], s[1], s[2], m.Mass.VolumeMM3, m.Mass.AreaMM2)
		}
		var said []string
		for _, f := range []struct {
			name string
			t    *mesh.ThicknessField
			most float64
		}{{"wall", m.Wall, 1}, {"gap", m.Gap, 0.4}} {
			if f.t != nil && f.t.Min <= f.most {
				said = append(said, fmt.Sprintf("%s %.3g", f.name, f.t.Min))
			}
		}
		if m.Ball != nil {
			said = append(said, fmt.Sprintf("ball %.3g", m.Ball.DiameterMM))
		}
		if m.Overhang != nil {
			said = append(said, fmt.Sprintf("overhang %.3g mm2 in %d", m.Overhang.AreaMM2, len(m.Overhang.Regions)))
		}
		if m.Cylinders != nil {
			said = append(said, "holes "+diametersOf(m.Cylinders.Holes), "pins "+diametersOf(m.Cylinders.Pins))
		}
		if m.Voids != nil {
			said = append(said, fmt.Sprintf("inner spaces %d", len(m.Voids.Voids)))
		}
		fmt.Fprintf(&b, "  %s\n", strings.Join(said, "; "))
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		fmt.Fprintf(&b, "  %s, %s: %s\n", f.Level, f.Check, strings.ReplaceAll(f.Message, filepath.ToSlash(r.Path), name))
	}
	for _, f := range r.Failures {
		fmt.Fprintf(&b, "  not checked, %s: %s\n", f.What, f.Why)
	}
	return b.String() + "\n"
}

// diametersOf tells cylinders by how many there are of each diameter.
func diametersOf(cs []mesh.Cylinder) string {
	var out []string
	for i := 0; i < len(cs); {
		d := fmt.Sprintf("%.4g", cs[i].DiameterMM)
		n := 0
		for ; i < len(cs) && fmt.Sprintf("%.4g", cs[i].DiameterMM) == d; i++ {
			n++
		}
		out = append(out, fmt.Sprintf("%d of %s", n, d))
	}
	if len(out) > 12 {
		out = append(out[:12], fmt.Sprintf("%d more", len(out)-12))
	}
	if out == nil {
		return "0"
	}
	return strings.Join(out, ", ")
}
