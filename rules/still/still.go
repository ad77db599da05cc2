// Package still draws pictures of a part and of its findings in software, as
// PNG: for an editor's hover, for markdown, and for the paper of a report.
//
// Invariants: the same report and options give the same bytes, on any number of
// cores; the background is clear, so that a picture fits on
// light and dark. Absent on purpose: files, text layout, perspective.
package still

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"

	"corbel/mesh"
	"corbel/rules"
)

// Options steer a still. The zero Options are good for a hover.
type Options struct {
	Width, Height int  // pixels; 0 is 480 and 360
	NoInset       bool // leave out the small whole part in the corner
}

// sizeMax bounds a picture's side, pixels.
const sizeMax = 4096

func (o Options) size() (w, h int) {
	pick := func(v, otherwise int) int {
		if v <= 0 {
			v = otherwise
		}
		return min(max(v, 16), sizeMax)
	}
	return pick(o.Width, 480), pick(o.Height, 360)
}

// ErrNoMesh is the error where there is nothing to draw.
var ErrNoMesh = errors.New("there is no mesh to draw")

// Finding draws one finding of a report: a close-up of its worst place, every
// place of it in the colour of its level, the worst one in a ring, and the whole
// part small in the corner. A place that nothing outside sees is shown on the
// cut part. The error is the context's, or ErrNoMesh.
func Finding(ctx context.Context, r *rules.PartReport, f *rules.Finding, o Options) ([]byte, error) {
	if r.Mesh == nil || len(r.Mesh.Facets) == 0 {
		return nil, ErrNoMesh
	}
	w, h := o.size()
	paint := paintFindings([]*rules.Finding{f})
	a := AimFinding(r.Mesh, r.Measured.Frame, f)
	img, cam, err := render(ctx, r.Mesh, a, paint, w, h)
	if err != nil {
		return nil, err
	}
	if f.HasPlace {
		if d := BallMM(f); d > 0 {
			mark(img, cam, f.At, LevelColor(f.Level), d/2*cam.scale)
		}
		mark(img, cam, f.At, LevelColor(f.Level), 7)
	}
	scaleBar(img, cam)
	whole := AimPart(r.Mesh, r.Measured.Frame)
	if f.HasPlace && !o.NoInset && a.HalfMM < 0.6*whole.HalfMM {
		small, cam, err := render(ctx, r.Mesh, whole, paint, w/4, h/4)
		if err != nil {
			return nil, err
		}
		mark(small, cam, f.At, LevelColor(f.Level), 4)
		inset(img, small)
	}
	return encode(img)
}

// Part draws the whole part with all of its findings that are not waived.
func Part(ctx context.Context, r *rules.PartReport, o Options) ([]byte, error) {
	if r.Mesh == nil || len(r.Mesh.Facets) == 0 {
		return nil, ErrNoMesh
	}
	w, h := o.size()
	var open []*rules.Finding
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Waived == nil {
			open = append(open, f)
		}
	}
	img, cam, err := render(ctx, r.Mesh, AimPart(r.Mesh, r.Measured.Frame), paintFindings(open), w, h)
	if err != nil {
		return nil, err
	}
	scaleBar(img, cam)
	return encode(img)
}

// BallMM is the diameter of the ball that a finding is about, centred on its
// place; 0 where it is about none.
func BallMM(f *rules.Finding) float64 {
	if f.Check == rules.MassiveSection.Name && f.HasValue {
		return f.Measured
	}
	return 0
}

// paintFindings colours the facets of findings by level, the gravest on top.
func paintFindings(fs []*rules.Finding) painter {
	of := map[int32]rules.Level{}
	for _, f := range fs {
		for i := range f.Places {
			for _, t := range f.Places[i].Facets {
				if f.Level.Weight() > of[t].Weight() {
					of[t] = f.Level
				}
			}
		}
	}
	return func(f int32) color.NRGBA {
		if l, ok := of[f]; ok {
			return LevelColor(l)
		}
		return Stone
	}
}

// render draws the part as an aim sees it; the camera returned is in pixels.
func render(ctx context.Context, m *mesh.Mesh, a Aim, paint painter, w, h int) (*image.NRGBA, camera, error) {
	c := newCamera(a.From, a.Up, a.Centre, a.HalfMM, 2*w, 2*h)
	if a.Hidden {
		c.cutAt = a.Centre.Dot(c.z)
	}
	b, err := draw(ctx, m, c)
	if err != nil {
		return nil, c, err
	}
	c.w, c.h, c.scale = w, h, c.scale/2
	return b.shade(m, paint), c, nil
}

// mark draws a ring around a point, with a halo.
func mark(img *image.NRGBA, c camera, at mesh.Vec, ink color.NRGBA, radius float64) {
	x, y, _ := c.project(at)
	reach := radius + 4
	for py := int(y - reach); py <= int(y+reach); py++ {
		for px := int(x - reach); px <= int(x+reach); px++ {
			d := math.Abs(math.Hypot(float64(px)+0.5-x, float64(py)+0.5-y) - radius)
			over(img, px, py, Halo, 2.8-d)
			over(img, px, py, mix(ink, color.NRGBA{0, 0, 0, 255}, 0.25), 1.7-d)
		}
	}
}

// over lays a colour over a pixel with a strength from 0 to 1.
func over(img *image.NRGBA, x, y int, c color.NRGBA, strength float64) {
	t := min(1, strength)
	if t <= 0 || !(image.Point{x, y}).In(img.Rect) {
		return
	}
	under := img.NRGBAAt(x, y)
	a := t + float64(under.A)/255*(1-t)
	f := func(top, low uint8) uint8 {
		return uint8((float64(top)*t+float64(low)*float64(under.A)/255*(1-t))/a + 0.5)
	}
	img.SetNRGBA(x, y, color.NRGBA{f(c.R, under.R), f(c.G, under.G), f(c.B, under.B), uint8(255*a + 0.5)})
}

// inset lays a small picture into the upper right corner, on a light ground
// with a border.
func inset(img, small *image.NRGBA) {
	w, h := small.Rect.Dx(), small.Rect.Dy()
	x0, y0 := img.Rect.Dx()-w-6, 6
	for y := -1; y <= h; y++ {
		for x := -1; x <= w; x++ {
			if x < 0 || y < 0 || x == w || y == h {
				over(img, x0+x, y0+y, Ink, 1)
				continue
			}
			over(img, x0+x, y0+y, color.NRGBA{0xf4, 0xf4, 0xf2, 0xff}, 1)
			c := small.NRGBAAt(x, y)
			over(img, x0+x, y0+y, c, float64(c.A)/255)
		}
	}
}

func encode(img image.Image) ([]byte, error) {
	var b bytes.Buffer
	e := png.Encoder{CompressionLevel: png.BestCompression}
	err := e.Encode(&b, img)
	return b.Bytes(), err
}
