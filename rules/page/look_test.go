package page

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"corbel/rules"
	"corbel/rules/still"
)

// This file opens pages in a browser and looks at them.

// pageFile writes a page and returns its path.
func pageFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// hueCount counts the pixels of the view that have a colour's hue.
func (b *browser) hueCount(want color.NRGBA) int {
	b.t.Helper()
	box, _ := b.do(`(r => [r.left, r.top, r.right, r.bottom])(document.querySelector('#view').getBoundingClientRect())`).([]any)
	at := func(i int) int { return int(box[i].(float64)) }
	img, n := b.picture(), 0
	area := image.Rect(at(0), at(1), at(2), at(3)).Intersect(img.Bounds())
	for y := area.Min.Y; y < area.Max.Y; y++ {
		for x := area.Min.X; x < area.Max.X; x++ {
			if sameHue(color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA), want) {
				n++
			}
		}
	}
	return n
}

// sameHue compares channels over the largest: light changes their size, but
// makes nothing as bright as the ground of a light page.
func sameHue(a, b color.NRGBA) bool {
	m, n := float64(max(a.R, a.G, a.B, 1)), float64(max(b.R, b.G, b.B, 1))
	near := func(x, y uint8) bool {
		d := float64(x)/m - float64(y)/n
		return d < 0.05 && d > -0.05
	}
	return near(a.R, b.R) && near(a.G, b.G) && near(a.B, b.B) && m > 0.4*n && m < 1.1*n
}

// findingOf is the page's number of the first finding of a check.
func findingOf(t *testing.T, r *rules.PartReport, check string) int {
	t.Helper()
	for i, f := range GravestFirst(r).Findings {
		if f.Check == check {
			return i + 1
		}
	}
	t.Fatalf("no finding of %s", check)
	return 0
}

// TestBrowser opens pages in one browser, which takes seconds to start.
func TestBrowser(t *testing.T) {
	b := newBrowser(t)
	for _, c := range []struct {
		name string
		look func(*testing.T, *browser)
	}{
		{"shows the part and its findings", browserShowsThePartAndItsFindings},
		{"by keys alone", browserByKeysAlone},
		{"on a narrow window", browserOnANarrowWindow},
		{"colours by what is asked", browserColoursByWhatIsAsked},
		{"reads the surface", browserReadsTheSurface},
		{"at many sizes", browserAtManySizes},
		{"prints everything", browserPrintsEverything},
		{"without WebGL", browserWithoutWebGL},
		{"shows the index", browserShowsTheIndex},
		{"runs nothing of input", browserRunsNothingOfInput},
	} {
		t.Run(c.name, func(t *testing.T) {
			b.t = t
			c.look(t, b)
		})
		b.t = t
	}
}

func browserShowsThePartAndItsFindings(t *testing.T, b *browser) {
	r := demo()
	path := pageFile(t, demoText(t))
	b.open(path, 1280, 800, false)
	if got := b.do(`document.documentElement.dataset.ready`); got != "live" {
		t.Fatalf("the page is %v: no 3D", got)
	}
	if n := b.hueCount(still.Stone); n < 40_000 {
		t.Errorf("the part covers %d pixels", n)
	}
	warning := still.LevelColor(rules.Warning)
	before := b.hueCount(warning)

	// A finding is chosen with the mouse; the view flies to it and it fills more.
	n := findingOf(t, r, "overhang")
	b.do(fmt.Sprintf(`document.querySelector('#f%d .pick').click()`, n))
	b.do(settled)
	if after := b.hueCount(warning); after < 3000 || after < before {
		t.Errorf("the chosen finding covers %d pixels, all warnings covered %d", after, before)
	}
	if got := b.do(`document.querySelector('.chosen').id`); got != "f"+strconv.Itoa(n) {
		t.Errorf("chosen is %v", got)
	}

	// What lies inside is shown on the cut part.
	b.do(fmt.Sprintf(`document.querySelector('#f%d .pick').click()`, findingOf(t, r, "powder")))
	b.do(settled)
	if n := b.hueCount(still.Cut); n < 20_000 {
		t.Errorf("%d pixels show cut material", n)
	}
	b.quiet()
}

func browserByKeysAlone(t *testing.T, b *browser) {
	path := pageFile(t, demoText(t))
	b.open(path, 1280, 800, false)
	b.key("n")
	b.key("n")
	if got := b.do(`document.activeElement.closest('.finding')?.id`); got != "f2" {
		t.Errorf("after n twice the focus is in %v", got)
	}
	b.key("p")
	if got := b.do(`document.querySelector('.chosen').id`); got != "f1" {
		t.Errorf("after p %v is chosen", got)
	}
	// Escape leaves it, and the address names it no more.
	b.key("Escape")
	if got := b.do(`[document.querySelectorAll('.chosen').length, location.hash, document.activeElement.className].join()`); got != "0,,pick" {
		t.Errorf("after Escape: %v", got)
	}

	// Tab alone: the first stop leads to the findings, and is seen.
	b.open(path, 1280, 800, false)
	b.key("Tab")
	if got := b.do(`(e => e.className === 'skip' && e.getBoundingClientRect().left >= 0)(document.activeElement)`); got != true {
		t.Error("Tab does not lead to the way to the findings")
	}
	b.key("Enter")
	b.key("Tab")
	b.key("Enter")
	if got := b.do(`(e => [e.className, e.getAttribute('aria-expanded'), document.querySelector('.chosen')?.id].join())(document.activeElement)`); got != "pick,true,f1" {
		t.Errorf("Enter on the first finding gives %v", got)
	}
	b.key("Enter")
	if got := b.do(`document.querySelectorAll('.chosen').length`); got != 0.0 {
		t.Error("Enter again does not leave it")
	}
	// Every control comes once, in the order in which it is seen, with a ring
	// around it, and the keys of each work.
	b.open(path, 1280, 800, false)
	order := ""
	for range 120 {
		b.key("Tab")
		at, _ := b.do(`(e => e.id || e.name || e.dataset.view || e.className || e.tagName)(document.activeElement)`).(string)
		if at == "BODY" {
			break // round
		}
		if !strings.HasSuffix(order, " "+at) {
			order += " " + at
		}
		ring := b.do(`[document.activeElement, document.activeElement.nextElementSibling].some(e => e && (s => s.outlineStyle === 'solid' && parseFloat(s.outlineWidth) >= 3)(getComputedStyle(e)))`)
		if ring != true {
			t.Errorf("%s shows no focus", at)
		}
		switch at {
		case "mode":
			b.key("ArrowRight")
			if got := b.do(`[document.querySelector('input[name=mode]:checked').value, document.querySelector('.legend:not([hidden])').dataset.mode].join()`); got != "inclination,inclination" {
				t.Errorf("an arrow key on the colours gives %v", got)
			}
			b.key("n")
			if got := b.do(`document.querySelector('.chosen')?.id`); got != "f1" {
				t.Errorf("n on the colours chooses %v", got)
			}
			b.key("Escape")
			b.do(`document.querySelector('input[name=mode]:checked').focus()`)
		case "top":
			b.key("Enter")
			if got := b.do(`document.querySelector('#triad').childNodes[5].getAttribute('y')`); math.Abs(parse(t, got)) > 1e-6 {
				t.Errorf("seen from the top, z points %v across", got)
			}
		case "cut":
			for range 5 {
				b.key("ArrowDown")
			}
			if got, _ := b.do(`[document.querySelector('#cut').value, document.querySelector('#section').textContent].join()`).(string); !strings.HasPrefix(got, "995,Cut 39.8 mm above") {
				t.Errorf("arrow keys on the cut give %q", got)
			}
		}
	}
	want := " skip theme print pick mode corner front right top below edges volume pins open canvas cut"
	if !strings.HasPrefix(order, want) {
		t.Errorf("Tab goes through%s, want%s", order, want)
	}
	// The part turns by arrow keys.
	b.do(`document.querySelector('input[value=finding]').click(), document.querySelector('#canvas').focus()`)
	b.key("0")
	was := b.hueCount(still.Stone)
	for range 6 {
		b.key("ArrowUp")
	}
	if is := b.hueCount(still.Stone); is == was {
		t.Error("arrow keys do not turn the part")
	}
	b.quiet()
}

func parse(t *testing.T, v any) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(fmt.Sprint(v), 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// On a narrow window the view stays where it is when a pin is chosen in it, and
// says what the finding is; a finding chosen in the list shows its picture.
func browserOnANarrowWindow(t *testing.T, b *browser) {
	b.open(pageFile(t, demoText(t)), 400, 800, false)
	b.do(`[...document.querySelectorAll('.mark')].find(e => e.textContent === '1').click()`)
	b.do(settled)
	said, _ := b.do(`document.querySelector('#readout').textContent`).(string)
	if y := b.do(`scrollY`); y != 0.0 || said == "" || said != b.do(`document.querySelector('.chosen .message').textContent`) {
		t.Errorf("scrolled to %v, and the view says %q", y, said)
	}
	b.key("n")
	if b.do(`(r => r.top < innerHeight && r.bottom > 0)(document.querySelector('.chosen .pick').getBoundingClientRect())`) != true {
		t.Error("the next finding is out of sight")
	}
	if b.do(`document.querySelector('.chosen .still').offsetHeight > 50`) != true {
		t.Error("the chosen finding shows no picture")
	}
	b.quiet()
}

func browserColoursByWhatIsAsked(t *testing.T, b *browser) {
	b.open(pageFile(t, demoText(t)), 1280, 800, false)
	look := func(view, mode string) {
		b.do(fmt.Sprintf(`document.querySelector('input[value=%s]').click(), document.querySelector('[data-view=%s]').click()`, mode, view))
		b.do(settled)
		if got := b.do(`document.querySelectorAll('.legend:not([hidden])').length`); got != 1.0 {
			t.Errorf("%s: %v legends are shown", mode, got)
		}
	}
	for _, mode := range []string{"inclination", "wall", "support"} {
		look("corner", mode)
	}
	// A cut at half the height takes the upper half away.
	look("front", "finding")
	whole := b.hueCount(still.Stone)
	b.do(`(c => { c.value = 500; c.dispatchEvent(new Event('input')); })(document.querySelector('#cut'))`)
	b.do(settled)
	if half := b.hueCount(still.Stone); half > whole*6/10 || half < whole*4/10 {
		t.Errorf("half the part covers %d pixels, the whole %d", half, whole)
	}
	text, _ := b.do(`document.querySelector('#section').textContent`).(string)
	if want := "Cut 20 mm above the platform: section "; !bytes.HasPrefix([]byte(text), []byte(want)) {
		t.Errorf("the page says %q", text)
	}
	b.quiet()
}

// A click on the part says where it is in the mesh file's coordinates.
func browserReadsTheSurface(t *testing.T, b *browser) {
	b.open(pageFile(t, demoText(t)), 1280, 800, false)
	b.do(`document.querySelector('[data-view=top]').click()`)
	b.do(settled)
	p, _ := b.do(`(r => [r.left + r.width / 2, r.top + r.height / 2])(document.querySelector('#canvas').getBoundingClientRect())`).([]any)
	box := demo().Mesh.Box()
	b.do(`document.querySelector('#pins').click()`) // one of them lies there
	b.do(settled)
	b.click(p[0].(float64), p[1].(float64))
	text, _ := b.do(`document.querySelector('#readout').textContent`).(string)
	var x, y, z float64
	if _, err := fmt.Sscanf(text, "at [%f, %f, %f] mm", &x, &y, &z); err != nil {
		t.Fatalf("the page says %q", text)
	}
	if middle := box.Min.Add(box.Max).Scale(0.5); abs(x-middle[0]) > 0.2 || abs(y-middle[1]) > 0.2 {
		t.Errorf("the middle of the part reads as %v, %v", x, y)
	}
	b.quiet()
}

func abs(v float64) float64 { return max(v, -v) }

func browserAtManySizes(t *testing.T, b *browser) {
	path := pageFile(t, demoText(t))
	for _, c := range []struct {
		wide, high int
		dark       bool
	}{{1280, 800, true}, {1920, 1080, false}, {1200, 800, false}, {700, 1000, false}, {390, 844, true}} {
		b.open(path+"#f4", c.wide, c.high, c.dark)
		if over := b.do(`document.documentElement.scrollWidth - innerWidth`); over.(float64) > 0 {
			t.Errorf("%d wide: %v pixels stick out", c.wide, over)
		}
		if cut := b.do(`[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth + 1).length`); c.wide >= 1200 && cut != 0.0 {
			t.Errorf("%d wide: %v tables have to be scrolled sideways", c.wide, cut)
		}
		if away := b.do(`scrollY`); c.wide >= 1200 && away != 0.0 {
			t.Errorf("%d wide: the page opens %v pixels down", c.wide, away)
		}
		if room := b.do(`document.querySelector('.limits td:last-child').clientWidth / innerWidth`); room.(float64) < 0.5 {
			t.Errorf("%d wide: the sources of limits have %v of the width", c.wide, room)
		}
		b.do(`document.querySelector('#view').scrollIntoView({block: 'center'})`)
		b.do(settled)
		area, _ := b.do(`(e => e.clientWidth * e.clientHeight)(document.querySelector('#view'))`).(float64)
		if n := b.hueCount(still.LevelColor(rules.Warning)); float64(n) < 0.006*area {
			t.Errorf("%d wide, dark %t: the finding of the address covers %d of %v pixels", c.wide, c.dark, n, area)
		}
		ground, _ := b.do(`getComputedStyle(document.documentElement).backgroundColor`).(string)
		if dark := ground == "rgb(21, 25, 28)"; dark != c.dark {
			t.Errorf("dark %t: the ground is %s", c.dark, ground)
		}
	}
	b.quiet()
}

func browserPrintsEverything(t *testing.T, b *browser) {
	b.open(pageFile(t, demoText(t)), 1280, 800, true)
	pdf := b.pdf()
	if !bytes.HasPrefix(pdf, []byte("%PDF")) || len(pdf) < 50_000 {
		t.Errorf("%d bytes on paper", len(pdf))
	}
	if pages := bytes.Count(pdf, []byte("/Type /Page\n")); pages < 4 || pages > 8 {
		t.Errorf("%d pages on paper", pages)
	}
	b.call("Emulation.setEmulatedMedia", map[string]any{"media": "print"})
	// A4 less its margins is 184 mm wide and 267 mm high; a pixel is 25.4/96 mm.
	b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": 695, "height": 1009, "deviceScaleFactor": 1, "mobile": false})
	if end := b.do(`document.querySelector('#f2').getBoundingClientRect().bottom + scrollY`); end.(float64) > 1009 {
		t.Errorf("the second finding ends at %v, beyond the first page", end)
	}
	for what, script := range map[string]string{
		"stills":    `[...document.querySelectorAll('.still')].every(e => e.offsetHeight > 50)`,
		"overview":  `document.querySelector('.overview').offsetHeight > 100`,
		"help":      `[...document.querySelectorAll('.help')].every(e => e.offsetHeight > 5)`,
		"signature": `document.querySelector('.sign').offsetHeight > 20`,
		"no tools":  `document.querySelector('.stage .bar').offsetHeight === 0`,
	} {
		if b.do(script) != true {
			t.Errorf("on paper: %s", what)
		}
	}
	b.quiet()
}

// Where the browser has no WebGL the page shows pictures.
func browserWithoutWebGL(t *testing.T, b *browser) {
	script := b.call("Page.addScriptToEvaluateOnNewDocument", map[string]any{"source": `HTMLCanvasElement.prototype.getContext = () => null`})
	defer func() {
		b.call("Page.removeScriptToEvaluateOnNewDocument", map[string]any{"identifier": script["identifier"]})
		b.mu.Lock()
		b.trouble = nil // the page said that there is no 3D
		b.mu.Unlock()
	}()
	b.open(pageFile(t, demoText(t)), 1280, 800, false)
	if got := b.do(`document.documentElement.dataset.ready`); got != "flat" {
		t.Errorf("the page is %v", got)
	}
	if n := b.hueCount(still.Stone); n < 20_000 {
		t.Errorf("the part covers %d pixels", n)
	}
	b.key("n")
	if b.do(`document.querySelector('.chosen .still').offsetHeight > 50`) != true {
		t.Error("the chosen finding shows no picture")
	}
}

// Text from input runs nothing, also where a browser reads it.
func browserRunsNothingOfInput(t *testing.T, b *browser) {
	b.open(pageFile(t, written(t, hostileReport(t))), 1280, 800, false)
	if got := b.do(`document.querySelectorAll('script').length`); got != 3.0 {
		t.Errorf("%v scripts", got)
	}
	title, _ := b.do(`document.querySelector('h1').textContent`).(string)
	if !strings.HasPrefix(title, "</script><script>alert(1)") {
		t.Errorf("the page is titled %q", title)
	}
	// The policy holds even for what would have got in.
	b.do(`document.body.insertAdjacentHTML('beforeend', '<img src="https://localhost/x.png"><p onclick="document.title = 1" style="color: red">x</p>')`)
	b.do(settled)
	b.mu.Lock()
	blocked := strings.Count(strings.Join(b.trouble, "\n"), "Content Security Policy")
	for _, s := range b.trouble {
		if !strings.Contains(s, "Content Security Policy") && s != "asked for https://localhost/x.png" { // told before it is refused
			t.Errorf("the browser says: %s", s)
		}
	}
	b.trouble = nil
	b.mu.Unlock()
	if blocked < 3 {
		t.Errorf("the policy blocks %d of a picture, a handler and a style", blocked)
	}
}

func browserShowsTheIndex(t *testing.T, b *browser) {
	c, err := NewCard(context.Background(), demo(), "a%20b.html")
	if err != nil {
		t.Fatal(err)
	}
	var text bytes.Buffer
	if err := Index(&text, "Design check of parts", []Card{c, {File: "x.html", Part: "No mesh", Worst: "none"}}, nil); err != nil {
		t.Fatal(err)
	}
	b.open(pageFile(t, text.String()), 1280, 800, false)
	if got := b.do(`document.querySelectorAll('.card').length`); got != 2.0 {
		t.Errorf("%v cards", got)
	}
	if b.do(`document.querySelector('.card img').naturalWidth`) != 480.0 {
		t.Error("the card shows no picture")
	}
	b.quiet()
}
