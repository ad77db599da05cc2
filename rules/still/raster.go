package still

import (
	"context"
	"image"
	"image/color"
	"math"

	"corbel/mesh"
)

// This file draws a mesh into pixels without any help: every facet is laid
// into a depth buffer that remembers which facet is in front, and colours are
// given afterwards, once a sample. Parallel projection keeps lengths, so that
// a picture has a scale.

// camera looks at a point from a direction.
type camera struct {
	x, y, z mesh.Vec // right, up and towards the viewer; mesh coordinates, unit
	centre  mesh.Vec // in the middle of the picture
	scale   float64  // samples per mm
	w, h    int      // samples
	cutAt   float64  // what lies nearer to the viewer than this, along z, is taken away; +Inf takes nothing
}

// newCamera looks at centre from a direction, with up upwards, so that halfMM
// around the centre is seen.
func newCamera(from, up, centre mesh.Vec, halfMM float64, w, h int) camera {
	z := from.Unit()
	x := up.Cross(z)
	if x.Norm() < 1e-6 { // straight down: any direction is as good
		x = mesh.Vec{z[1] + z[2], z[2], -z[0]}.Cross(z)
	}
	x = x.Unit()
	return camera{x: x, y: z.Cross(x), z: z, centre: centre, scale: float64(min(w, h)) / (2 * halfMM), w: w, h: h, cutAt: math.Inf(1)}
}

// project gives the sample position and the distance towards the viewer.
func (c *camera) project(p mesh.Vec) (x, y, depth float64) {
	d := p.Sub(c.centre)
	return float64(c.w)/2 + c.scale*d.Dot(c.x), float64(c.h)/2 - c.scale*d.Dot(c.y), p.Dot(c.z)
}

// buffer is what the facets leave: the one in front at every sample.
type buffer struct {
	camera
	depth []float32
	facet []int32 // -1 for none
}

// stepFacets is how many facets are drawn between looks at the context.
const stepFacets = 1 << 13

// draw lays every facet into a new buffer.
func draw(ctx context.Context, m *mesh.Mesh, c camera) (*buffer, error) {
	b := &buffer{camera: c, depth: make([]float32, c.w*c.h), facet: make([]int32, c.w*c.h)}
	for i := range b.facet {
		b.depth[i], b.facet[i] = float32(math.Inf(-1)), -1
	}
	for f := range m.Facets {
		if f%stepFacets == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		b.lay(m, int32(f))
	}
	return b, ctx.Err()
}

// lay draws one facet. A sample belongs to it where its centre lies inside, the
// borders included; of two at one depth the first stays.
func (b *buffer) lay(m *mesh.Mesh, f int32) {
	p, q, r := m.Corners(f)
	x0, y0, z0 := b.project(p)
	x1, y1, z1 := b.project(q)
	x2, y2, z2 := b.project(r)
	area := (x1-x0)*(y2-y0) - (x2-x0)*(y1-y0)
	if area == 0 {
		return
	}
	top, bottom := max(0, int(math.Ceil(min(y0, y1, y2)-0.5))), min(b.h-1, int(math.Floor(max(y0, y1, y2)-0.5)))
	left, right := max(0, min(x0, x1, x2)-0.5), min(float64(b.w-1), max(x0, x1, x2)-0.5)
	// Barycentric coordinates and depth run straight along a row.
	du, dv := (y1-y2)/area, (y2-y0)/area
	dz := du*(z0-z2) + dv*(z1-z2)
	for y := top; y <= bottom; y++ {
		sy := float64(y) + 0.5
		u := ((x1-0.5)*(y2-sy) - (x2-0.5)*(y1-sy)) / area
		v := ((x2-0.5)*(y0-sy) - (x0-0.5)*(y2-sy)) / area
		from, to := span(left, right, u, du)
		from, to = span(from, to, v, dv)
		from, to = span(from, to, 1-u-v, -du-dv)
		z := u*z0 + v*z1 + (1-u-v)*z2
		for x := int(math.Ceil(from)); float64(x) <= to; x++ {
			d := z + dz*float64(x)
			if i := y*b.w + x; d <= b.cutAt && float32(d) > b.depth[i] {
				b.depth[i], b.facet[i] = float32(d), f
			}
		}
	}
}

// span keeps the part of a row, from and to in samples, where a + slope*x is
// not negative.
func span(from, to, a, slope float64) (float64, float64) {
	switch {
	case slope > 0:
		from = max(from, -a/slope)
	case slope < 0:
		to = min(to, -a/slope)
	case a < 0:
		to = from - 1
	}
	return from, to
}

// painter gives a facet its colour.
type painter func(f int32) color.NRGBA

// shade turns the buffer into a picture half as wide and high: four samples a
// pixel. Where nothing is drawn the picture is clear.
func (b *buffer) shade(m *mesh.Mesh, paint painter) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, b.w/2, b.h/2))
	for y := range b.h / 2 {
		for x := range b.w / 2 {
			var sum [3]float64
			n := 0.0
			for k := range 4 {
				c, ok := b.sample(m, paint, 2*x+k&1, 2*y+k>>1)
				if !ok {
					continue
				}
				n++
				for i := range sum {
					sum[i] += c[i]
				}
			}
			if n > 0 {
				img.SetNRGBA(x, y, color.NRGBA{uint8(sum[0]/n + 0.5), uint8(sum[1]/n + 0.5), uint8(sum[2]/n + 0.5), uint8(255*n/4 + 0.5)})
			}
		}
	}
	return img
}

// sample colours one sample: by how its surface faces the viewer, flat where
// the inside of the surface is seen, which is material cut through, and dark at
// creases and outlines.
func (b *buffer) sample(m *mesh.Mesh, paint painter, x, y int) ([3]float64, bool) {
	i := y*b.w + x
	f := b.facet[i]
	if f < 0 {
		return [3]float64{}, false
	}
	n := m.Normal(f)
	face := n.Dot(b.z)
	c := paint(f)
	light := 0.8 + 0.27*(0.5*face+0.72*n.Dot(b.y)-0.48*n.Dot(b.x)) // from above, the left and the viewer
	if face < 0 {
		c, light = Cut, 1
	}
	if b.crease(m, i, x, y, n) {
		light *= 0.62
	}
	f3 := func(v uint8) float64 { return min(255, light*float64(v)) }
	return [3]float64{f3(c.R), f3(c.G), f3(c.B)}, true
}

// creaseCos is the cosine between normals from which on an edge is drawn: 30 degrees.
const creaseCos = 0.866

// crease reports whether an edge or an outline runs between a sample and its
// neighbours to the right and below.
func (b *buffer) crease(m *mesh.Mesh, i, x, y int, n mesh.Vec) bool {
	for k, j := range [2]int{i + 1, i + b.w} {
		if k == 0 && x+1 == b.w || k == 1 && y+1 == b.h || b.facet[j] == b.facet[i] {
			continue
		}
		if b.facet[j] < 0 {
			return true
		}
		o := m.Normal(b.facet[j])
		if n.Dot(b.z) < 0 && o.Dot(b.z) < 0 {
			continue // both within the cut, which is flat
		}
		if o.Dot(n) < creaseCos {
			return true
		}
		// A step in depth beyond what the slope of the two surfaces explains.
		slope := 1 / max(0.05, min(math.Abs(n.Dot(b.z)), math.Abs(o.Dot(b.z))))
		if math.Abs(float64(b.depth[i]-b.depth[j]))*b.scale > 2+2*slope {
			return true
		}
	}
	return false
}
