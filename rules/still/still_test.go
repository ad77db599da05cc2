package still

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"
	"sync"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/rules"
)

// demo checks a part of the demo, once.
var demo = sync.OnceValue(func() *rules.PartReport {
	return rules.New(rules.Options{}).Part(context.Background(), "../../testdata/demo/parts/distributor.part.toml", rules.Full)
})

func findingOf(t testing.TB, check string) *rules.Finding {
	r := demo()
	for i := range r.Findings {
		if r.Findings[i].Check == check {
			return &r.Findings[i]
		}
	}
	t.Fatalf("the demo has no finding of %s: %v", check, r.Failures)
	return nil
}

func decoded(t *testing.T, b []byte, err error) *image.NRGBA {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	n, ok := img.(*image.NRGBA)
	if !ok {
		t.Fatalf("picture is %T: the background should be clear", img)
	}
	return n
}

// like compares the hues of a shaded pixel and a colour: channels over the largest.
func like(c, want color.NRGBA) bool {
	a, b := [3]float64{float64(c.R), float64(c.G), float64(c.B)}, [3]float64{float64(want.R), float64(want.G), float64(want.B)}
	m, n := max(a[0], a[1], a[2], 1), max(b[0], b[1], b[2], 1)
	for k := range 3 {
		if math.Abs(a[k]/m-b[k]/n) > 0.06 {
			return false
		}
	}
	return c.A == 255 && m > 0.4*n
}

func count(img *image.NRGBA, want color.NRGBA) (n int) {
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			if like(img.NRGBAAt(x, y), want) {
				n++
			}
		}
	}
	return n
}

func TestAFindingHasTheColourOfItsLevel(t *testing.T) {
	f := findingOf(t, "overhang")
	b, err := Finding(context.Background(), demo(), f, Options{})
	img := decoded(t, b, err)
	if n := count(img, LevelColor(f.Level)); n < 50 {
		t.Errorf("%d pixels have the colour of a %s", n, f.Level)
	}
	if n := count(img, Stone); n < 2000 {
		t.Errorf("%d pixels show the part", n)
	}
	if len(b) > 60<<10 {
		t.Errorf("%d bytes are much for a hover", len(b))
	}
}

func TestAnInnerPlaceIsShownOnTheCutPart(t *testing.T) {
	f := findingOf(t, "powder")
	if a := AimFinding(demo().Mesh, demo().Measured.Frame, f); !a.Hidden {
		t.Fatal("a chamber inside the part counts as seen from outside")
	}
	b, err := Finding(context.Background(), demo(), f, Options{})
	if n := count(decoded(t, b, err), Cut); n < 2000 {
		t.Errorf("%d pixels show cut material", n)
	}
}

func TestAnOuterPlaceIsLookedAtFromItsOwnSide(t *testing.T) {
	m := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{10, 20, 30})
	for f := range m.Facets {
		n := m.Normal(int32(f))
		at := m.Centre(int32(f))
		find := &rules.Finding{HasPlace: true, At: at, Places: []rules.Place{{At: at, Box: mesh.EmptyBox().Grow(at), Facets: []int32{int32(f)}}}}
		a := AimFinding(m, mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0), find)
		if a.Hidden || a.From.Dot(n) < 0.5 {
			t.Errorf("facet facing %v is looked at from %v, hidden %t", n, a.From, a.Hidden)
		}
	}
}

func TestTheSameReportGivesTheSameBytes(t *testing.T) {
	a, err := Part(context.Background(), demo(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	again := rules.New(rules.Options{Jobs: 1}).Part(context.Background(), demo().Path, rules.Full)
	b, err := Part(context.Background(), again, Options{})
	if err != nil || !bytes.Equal(a, b) {
		t.Errorf("two pictures of one part differ, or %v", err)
	}
	if alpha := decoded(t, a, nil).NRGBAAt(2, 2).A; alpha != 0 {
		t.Errorf("beside the part alpha is %d: the background should be clear", alpha)
	}
}

func TestSizesAreKeptWithinBounds(t *testing.T) {
	b, err := Part(context.Background(), demo(), Options{Width: 200, Height: 1})
	if got := decoded(t, b, err).Rect.Size(); got != (image.Point{200, 16}) {
		t.Errorf("size %v", got)
	}
}

func TestWithoutAMeshThereIsNothingToDraw(t *testing.T) {
	r := rules.New(rules.Options{}).Part(context.Background(), "no-such.part.toml", rules.Full)
	if _, err := Part(context.Background(), r, Options{}); !errors.Is(err, ErrNoMesh) {
		t.Errorf("error %v", err)
	}
	if _, err := Finding(context.Background(), r, &rules.Finding{}, Options{}); !errors.Is(err, ErrNoMesh) {
		t.Errorf("error %v", err)
	}
}

func TestDrawingStopsWhenAsked(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Part(ctx, demo(), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// A picture's scale is true: a block of 40 mm is as wide as 40 mm of the bar.
func TestLengthsAreTrue(t *testing.T) {
	m := meshtest.BoxAt(mesh.Vec{}, mesh.Vec{40, 40, 40})
	a := Aim{From: mesh.Vec{0, -1, 0}, Up: mesh.Vec{0, 0, 1}, Centre: mesh.Vec{20, 20, 20}, HalfMM: 40}
	img, cam, err := render(context.Background(), m, a, func(int32) color.NRGBA { return Stone }, 200, 200)
	if err != nil {
		t.Fatal(err)
	}
	wide := 0
	for x := range 200 {
		if img.NRGBAAt(x, 100).A > 0 {
			wide++
		}
	}
	if want := int(40*cam.scale + 0.5); wide != want || want != 100 {
		t.Errorf("40 mm are %d pixels, want %d", wide, want)
	}
}

func TestScaleBarLengthsAreRound(t *testing.T) {
	for most, want := range map[float64]float64{1: 1, 1.9: 1, 2: 2, 4.9: 2, 5: 5, 37: 20, 99: 50, 0.7: 0.5, 0.03: 0.02} {
		if got := barLengthMM(most); math.Abs(got-want) > 1e-12 {
			t.Errorf("at most %v mm: bar of %v mm, want %v", most, got, want)
		}
	}
}

// The scale gets lighter up to the limit and beyond it, so that it reads
// without hues; the step at the limit is seen in blue against red.
func TestScaleReadsWithoutHues(t *testing.T) {
	light := func(c color.NRGBA) float64 { return 0.21*float64(c.R) + 0.72*float64(c.G) + 0.07*float64(c.B) }
	for _, span := range [][2]float64{{0, 0.999}, {1, 2}} {
		last := -1.0
		for i := range 101 {
			l := light(ColorAt(span[0] + (span[1]-span[0])*float64(i)/100))
			if l < last-0.5 {
				t.Errorf("gets darker at %v", span[0]+(span[1]-span[0])*float64(i)/100)
			}
			last = l
		}
	}
	below, at := ColorAt(0.999), ColorAt(1)
	if !(below.R > below.B && at.B > at.R) {
		t.Errorf("no step at the limit: %v, %v", below, at)
	}
	if ColorAt(math.NaN()) != ColorAt(99) || ColorAt(-1) != Scale[0].Color {
		t.Error("values off the scale")
	}
}

func BenchmarkPart(b *testing.B) {
	for name, m := range map[string]*mesh.Mesh{
		"sphere/10k":  meshtest.Sphere(20, 100),
		"sphere/100k": meshtest.Sphere(20, 316),
		"sphere/1M":   meshtest.Sphere(20, 1000),
	} {
		b.Run(name, func(b *testing.B) {
			r := &rules.PartReport{Mesh: m, Measured: &rules.Measured{Frame: mesh.NewFrame(mesh.Vec{0, 0, 1}, 0, 0)}}
			m.Normal(0)
			b.ReportAllocs()
			b.ReportMetric(float64(len(m.Facets)), "facets")
			for b.Loop() {
				if _, err := Part(context.Background(), r, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
