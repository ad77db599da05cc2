package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/rules"
	"corbel/rules/output"
	"corbel/rules/still"
	"corbel/spec"
)

const demoParts = "../../testdata/demo/parts/"

// demo checks a part of the demo, once.
var demo = sync.OnceValue(func() *rules.PartReport {
	return rules.New(rules.Options{}).Part(context.Background(), demoParts+"distributor.part.toml", rules.Full)
})

// demoPage is its page.
var demoPage = sync.OnceValues(func() (string, error) {
	var b bytes.Buffer
	err := Write(context.Background(), &b, demo(), Options{Orientation: stood()})
	return b.String(), err
})

// stood is made up: as many choices as there can be, with words as long as they
// get, and a map of the sphere.
func stood() *rules.Orientation {
	o := &rules.Orientation{Money: true, Currency: "EUR", Looked: 800}
	long := rules.Standing{Text: "[-0.705073, -0.709091, -0.007887]", HeightMM: 123.4, SupportMM3: 23456, Hours: rules.Band{Value: 23.4}, Cost: rules.Band{Value: 1384, Low: 1311, High: 1487},
		Reason: "Stands on an edge or a point and has to be tied down; needs 15315 mm3 of support columns on 2279 mm2, against 3188 as written; stands 33.8 mm taller; leaves 1 hole whose roof is too wide."}
	o.Now = &long
	for range 5 {
		o.Choices = append(o.Choices, long)
	}
	for i := range 300 { // a spiral over the sphere
		z, a := 1-(2*float64(i)+1)/300, 2.4*float64(i)
		r := math.Sqrt(1 - z*z)
		o.Map = append(o.Map, rules.MapPoint{Up: mesh.Vec{r * math.Cos(a), r * math.Sin(a), z}, Cost: 1300 + 200*z, Fits: i%7 != 0})
	}
	return o
}

func demoText(t testing.TB) string {
	t.Helper()
	s, err := demoPage()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func written(t testing.TB, r *rules.PartReport) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(context.Background(), &b, r, Options{}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestAPageTellsEverythingOfTheReport(t *testing.T) {
	r := demo()
	text := demoText(t)
	plain := strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&amp;", "&").Replace(text)
	if len(r.Findings) < 5 {
		t.Fatalf("the demo has %d findings", len(r.Findings))
	}
	for _, f := range r.Findings {
		for _, s := range []string{f.Message, f.Help} {
			if !strings.Contains(plain, s) {
				t.Errorf("the page does not say %q", s)
			}
		}
		if f.LimitFrom != nil && !strings.Contains(plain, output.SayOrigin(f.LimitFrom)) {
			t.Errorf("the page does not say where the limit of %s came from", f.Check)
		}
	}
	if len(r.Fits()) == 0 {
		t.Error("the demo asks for no fit")
	}
	for _, f := range r.Fits() {
		if sizes, made := f.SayFit(); !strings.Contains(plain, sizes+". "+made+".") {
			t.Errorf("the page does not say %q", sizes)
		}
	}
	for _, c := range r.Cautions {
		if !strings.Contains(plain, c.Text) {
			t.Errorf("the page lacks the caution %s", c.Name)
		}
	}
	for _, s := range []string{rules.GeneralNote, r.Mesh.Source.SHA256, "TS-0412 C", "Tideway workshop", "stress relieve", "Reviewed by", "wall.thickness"} {
		if !strings.Contains(plain, s) {
			t.Errorf("the page does not say %q", s)
		}
	}
	placed := 0
	for _, f := range r.Findings {
		if f.HasPlace {
			placed++
		}
	}
	if n := strings.Count(text, `class="still"`); n != placed || n < 5 {
		t.Errorf("%d stills for %d findings with a place", n, placed)
	}
	if len(text) > 3<<20 {
		t.Errorf("%d bytes", len(text))
	}
}

// The reader of the top of the list has seen the gravest.
func TestGravestFirst(t *testing.T) {
	f := func(check string, level rules.Level, waived bool) rules.Finding {
		x := rules.Finding{Check: check, Level: level}
		if waived {
			x.Waived = &spec.Waiver{}
		}
		return x
	}
	r := &rules.PartReport{Findings: []rules.Finding{f("a", rules.Note, false), f("b", rules.Warning, false), f("c", rules.Error, true),
		f("d", rules.Error, false), f("e", rules.Warning, false), f("f", rules.Note, true), f("g", rules.Error, false)}}
	order := ""
	for _, f := range GravestFirst(r).Findings {
		order += f.Check
	}
	if order != "dgbeacf" || r.Findings[0].Check != "a" {
		t.Errorf("order %s, and the report starts with %s", order, r.Findings[0].Check)
	}
}

func TestTheSameReportGivesTheSamePage(t *testing.T) {
	again := rules.New(rules.Options{Jobs: 1}).Part(context.Background(), demo().Path, rules.Full)
	if written(t, demo()) != written(t, again) {
		t.Error("two pages of one part differ")
	}
}

// hostile is text that breaks out of HTML, of scripts, of attributes, of lines.
const hostile = "</script><script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e\u2028\x00\x1b[31m<!--"

// hostileReport is of a spec whose every text is hostile.
func hostileReport(t *testing.T) *rules.PartReport {
	t.Helper()
	dir := t.TempDir()
	quoted := strings.NewReplacer("\\", "\\\\", "\"", "\\\"", "\x00", "\\u0000", "\x1b", "\\u001b").Replace(hostile)
	stl, err := os.ReadFile(demoParts + "clamp-ring.stl")
	if err != nil {
		t.Fatal(err)
	}
	spec := fmt.Sprintf(`schema = 1
part = "%[1]s"
drawing = "%[1]s"
process = "PBF-LB/M"
material = "%[1]s"
machine = "%[1]s"
[mesh]
file = "ring.stl"
units = "mm"
[[hole]]
name = "%[1]s"
at = [500, 500, 500]
diameter = "3 mm"
[route]
steps = ["%[1]s", "inspect"]
[limits]
wall.thickness = { value = "9 mm", source = "%[1]s" }
`, quoted)
	name := filepath.Join(dir, "<img src=x onerror=alert(3)>.part.toml")
	for file, b := range map[string][]byte{name: []byte(spec), filepath.Join(dir, "ring.stl"): stl} {
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r := rules.New(rules.Options{}).Part(context.Background(), name, rules.Full)
	if r.Mesh == nil || r.Spec == nil || r.Spec.Name.V != hostile || len(r.Findings) == 0 {
		t.Fatalf("the spec was not read as meant: %+v", r.Failures)
	}
	return r
}

func TestHostileTextStaysText(t *testing.T) {
	r := hostileReport(t)
	c, err := NewCard(context.Background(), r, "a.html")
	if err != nil {
		t.Fatal(err)
	}
	var index bytes.Buffer
	if err := Index(&index, hostile, []Card{c}, []string{hostile}); err != nil {
		t.Fatal(err)
	}
	for what, text := range map[string]string{"page": written(t, r), "index": index.String()} {
		judgeMarkup(t, what, text)
	}
}

var tagOrEvent = regexp.MustCompile(`(?i)<img src=x|<script>alert|<[a-z][^<>]*\son[a-z]+=|javascript:`)

// judgeMarkup looks for what text from input must never become.
func judgeMarkup(t *testing.T, what, text string) {
	t.Helper()
	outside := strings.Replace(text, scriptText, "", 1)
	if m := tagOrEvent.FindString(outside); m != "" {
		i := strings.Index(outside, m)
		t.Errorf("%s holds %q: ...%s", what, m, outside[max(0, i-80):i+60])
	}
	if n := strings.Count(outside, "<script"); n != strings.Count(outside, "</script>") || n > 3 {
		t.Errorf("%s has %d script elements", what, n)
	}
	for i, r := range text {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f || r == '\u202e' || r == '\u2028' || r == 0xfffd {
			t.Errorf("%s holds the control character %U: %q", what, r, text[max(0, i-40):min(len(text), i+20)])
			return
		}
	}
}

// base64Text is pictures and the mesh.
var base64Text = regexp.MustCompile(`data:image/png;base64,[^"]*|id="pack">[^<]*`)

// Nothing in a page names a host, but for the name spaces of SVG.
func TestAPageAsksNoHost(t *testing.T) {
	text := base64Text.ReplaceAllString(demoText(t), "")
	for _, m := range regexp.MustCompile(`(?i)(https?:)?//[a-z][^\s"'<>)]*`).FindAllString(strings.ReplaceAll(text, scriptText, ""), -1) {
		t.Fatalf("the page names %.80s", m)
	}
	for _, m := range regexp.MustCompile(`https?://[^\s"'<>)]*`).FindAllString(scriptText, -1) {
		if m != "http://www.w3.org/2000/svg" {
			t.Errorf("the script names %s", m)
		}
	}
	if !strings.Contains(text, `content="default-src &#39;none&#39;; img-src data:; script-src &#39;sha256-`) {
		t.Error("the page has no policy")
	}
	for _, s := range []string{"<link", "<iframe", "@import", "url("} {
		if strings.Contains(text, s) {
			t.Errorf("the page holds %s", s)
		}
	}
}

// Style attributes and inline handlers are against the page's own policy.
func TestNoInlineStyle(t *testing.T) {
	for name, text := range map[string]string{"page.html": pageText, "index.html": indexText} {
		if m := regexp.MustCompile(`\s(style|on[a-z]+)=`).FindString(text); m != "" {
			t.Errorf("%s holds %q, which the page's policy forbids", name, m)
		}
	}
}

func TestColoursOfPageAndPicturesAgree(t *testing.T) {
	for what, c := range map[string]string{"error": ink(still.LevelColor(rules.Error)), "warning": ink(still.LevelColor(rules.Warning)), "note": ink(still.LevelColor(rules.Note))} {
		if !strings.Contains(styleText, "--"+what+":light-dark("+c+",") {
			t.Errorf("the style's --%s is not %s", what, c)
		}
	}
	for _, i := range []int{0, 2, 4} {
		if c := ink(still.Scale[i].Color); !strings.Contains(styleText, "background:"+c) {
			t.Errorf("the style has no %s, a colour of supports", c)
		}
	}
}

func TestWithoutAMeshThePageSaysWhy(t *testing.T) {
	r := rules.New(rules.Options{}).Part(context.Background(), "no-such.part.toml", rules.Full)
	text := written(t, r)
	if !strings.Contains(text, "can&#39;t be read") || strings.Contains(text, "<canvas") {
		t.Error("the page of a spec that is not there")
	}
	judgeMarkup(t, "page", text)
}

// Meshes with holes, folds, crossings and nothing in them get a page too.
func TestPagesOfUnsoundMeshes(t *testing.T) {
	files := []string{"dirty/cube_no_bottom.obj", "dirty/triangle_soup.stl", "dirty/two_cubes_shared_edge.stl", "dirty/table_flipped_faces.stl",
		"formats/empty_binary.stl", "parts/beam_4572.stl"}
	some := map[string]bool{"mesh": true, "overhang": true, "wall": true, "section-jump": true}
	dir := t.TempDir()
	for _, file := range files {
		b, err := os.ReadFile("../../testdata/meshes/" + file)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Base(file)
		spec := filepath.Join(dir, name+".part.toml")
		text := "schema = 1\npart = \"x\"\nprocess = \"BJT/M\"\nmaterial = \"316L\"\n[mesh]\nfile = \"" + name + "\"\nunits = \"mm\"\n[orientation]\nlift = \"3 mm\"\n"
		for path, b := range map[string][]byte{filepath.Join(dir, name): b, spec: []byte(text)} {
			if err := os.WriteFile(path, b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		r := rules.New(rules.Options{Surface: true, Checks: some}).Part(context.Background(), spec, rules.Full)
		out := base64Text.ReplaceAllString(written(t, r), "")
		if strings.Contains(strings.Replace(out, scriptText, "", 1), "NaN") || !strings.Contains(out, "<h1>x</h1>") {
			t.Errorf("%s: the page is broken", name)
		}
	}
}

type counter struct{ calls, bytes int }

func (c *counter) Write(b []byte) (int, error) {
	c.calls++
	c.bytes += len(b)
	return len(b), nil
}

func TestNothingIsWrittenWhereTheContextEnds(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	var w counter
	if err := Write(ctx, &w, demo(), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if w.calls > 0 {
		t.Errorf("%d bytes were written", w.bytes)
	}
}

// unpack reads lists as the page's script does.
func unpack(p *packer, sizes ...int) (out [][]int32) {
	at := 0
	for _, n := range sizes {
		list, last := make([]int32, n), int32(0)
		for i := range list {
			v, shift := uint32(0), 0
			for {
				b := p.buf[at]
				at++
				v |= uint32(b&127) << shift
				shift += 7
				if b < 128 {
					break
				}
			}
			last += int32(v>>1) ^ -int32(v&1)
			list[i] = last
		}
		out = append(out, list)
	}
	return out
}

func FuzzPack(f *testing.F) {
	f.Add(int32(0), int32(-1), int32(1<<29))
	f.Add(int32(65535), int32(0), int32(-1<<29))
	f.Fuzz(func(t *testing.T, a, b, c int32) {
		want := []int32{a >> 1, b >> 1, c >> 1} // so that differences fit
		var p packer
		p.add(want)
		p.add(want[1:])
		got := unpack(&p, 3, 2)
		if fmt.Sprint(got) != fmt.Sprint([][]int32{want, want[1:]}) {
			t.Errorf("%v came back as %v", want, got)
		}
	})
}

func TestDirectionsSurviveTheOctahedron(t *testing.T) {
	for i := range 2000 {
		z := 1 - 2*(float64(i)+0.5)/2000
		s, c := math.Sincos(2.399963 * float64(i))
		n := mesh.Vec{math.Sqrt(1-z*z) * c, math.Sqrt(1-z*z) * s, z}
		o := octahedral(n)
		got := mesh.Vec{o[0], o[1], 1 - math.Abs(o[0]) - math.Abs(o[1])}
		if got[2] < 0 {
			got[0], got[1] = math.Copysign(1-math.Abs(o[1]), o[0]), math.Copysign(1-math.Abs(o[0]), o[1])
		}
		if d := got.Unit().Sub(n).Norm(); d > 1e-12 {
			t.Fatalf("%v came back %v off", n, d)
		}
	}
}

// A mesh drawn together stays within a cell of the mesh measured, has no more
// facets than asked for, and loses none of the facets that carry a value.
func TestSimplifiedMeshStandsForTheWhole(t *testing.T) {
	m := meshtest.Torus(20, 6, 240, 160)
	v := newViewMesh(m, 5000)
	if len(v.Facets) > 5000 || len(v.Facets) < 1500 {
		t.Fatalf("%d facets of %d", len(v.Facets), len(m.Facets))
	}
	tree := m.BVH()
	for _, p := range v.Verts {
		if n, ok := tree.Nearest(p, math.Inf(1), nil); !ok || n.Dist > 1e-9 {
			t.Fatalf("a vertex lies %v mm off the mesh", n.Dist)
		}
	}
	for f := range v.Facets {
		if n, _ := tree.Nearest(v.Centre(int32(f)), math.Inf(1), nil); n.Dist > v.cellMM {
			t.Fatalf("a facet lies %v mm off the mesh, cells are %v mm", n.Dist, v.cellMM)
		}
	}
	for f := range m.Facets {
		shown := 0
		v.shown(int32(f), func(g int32) { shown++ })
		if shown == 0 {
			t.Fatalf("facet %d is shown nowhere", f)
		}
	}
	whole, err := mesh.MeasureMass(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	less, err := mesh.MeasureMass(context.Background(), v.Mesh)
	if err != nil || math.Abs(less.VolumeMM3/whole.VolumeMM3-1) > 0.05 {
		t.Errorf("volume %v of %v, %v", less.VolumeMM3, whole.VolumeMM3, err)
	}
}

// A chart of nothing, of one value and of values far apart stays a chart.
func TestChartsOfAnything(t *testing.T) {
	for _, values := range [][]float64{{0, 0, 0}, {1}, {1e-9, 1e9}, {3, 7, 2}} {
		c := barChart{label: "x", unit: "mm", limit: math.NaN()}
		for _, v := range values {
			c.bars = append(c.bars, bar{value: v})
		}
		svg := string(c.svg())
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%v: %s", values, svg)
		}
		want := 0
		for _, v := range values {
			if v > 0 {
				want++
			}
		}
		if n := strings.Count(svg, "<rect"); n != want {
			t.Errorf("%v: %d bars, want %d", values, n, want)
		}
	}
}

// On a flat face whose facets were drawn together nothing shows its inside,
// and the face stays covered.
func TestASimplifiedFaceIsSeenFromOutside(t *testing.T) {
	m := meshtest.Refine(meshtest.Plate(mesh.Vec{}, mesh.Vec{60, 40, 6}, 32, [3]float64{12, 12, 0.7}, [3]float64{40, 20, 6}), 4)
	v := newViewMesh(m, len(m.Facets)/8)
	covered := 0.0
	for g := range v.Facets {
		n := v.Normal(int32(g))
		if n.Dot(v.facing[g]) < 0 {
			t.Fatalf("facet %d shows its inside", g)
		}
		covered += max(0, n[2]) * v.Area(int32(g)) // seen from above; rims slant where a cell holds them and the bore
	}
	if want := 60*40 - math.Pi*(0.7*0.7+6*6); covered < 0.97*want {
		t.Errorf("%v of %v mm2 of the top are covered", covered, want)
	}
}

func TestASimplifiedViewSaysSo(t *testing.T) {
	var b bytes.Buffer
	if err := Write(context.Background(), &b, demo(), Options{Facets: 500}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), fmt.Sprintf("of the mesh&#39;s %d facets", len(demo().Mesh.Facets))) {
		t.Error("the page does not say that the view is simplified")
	}
	if strings.Contains(demoText(t), "drawn together") {
		t.Error("the page of the whole mesh says that the view is simplified")
	}
}

func BenchmarkWrite(b *testing.B) {
	for _, n := range []int{100, 316, 1000} {
		m := meshtest.Sphere(20, n)
		b.Run(fmt.Sprintf("sphere/%d", len(m.Facets)), func(b *testing.B) {
			r := *demo()
			r.Mesh, r.Findings = m, nil
			r.Measured = &rules.Measured{Frame: demo().Measured.Frame, Box: demo().Measured.Box}
			b.ReportAllocs()
			for b.Loop() {
				var w counter
				if err := Write(context.Background(), &w, &r, Options{}); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(w.bytes), "bytes/page")
			}
		})
	}
}
