package mesh

import (
	"context"
	"fmt"
	"math"
)

// cutter cuts polygons into triangles. What comes out always has the
// polygon's own edges, so neighbours still fit, whatever its shape.
type cutter struct {
	verts []Vec
	out   [][3]int32
	work  int64 // corner tests left for polygons that are not convex
	fans  int   // polygons for which there was no work left

	flat []flatCorner // scratch
}

// cutWork is enough for a hundred thousand polygons of a hundred corners, and
// bounds the time that a file made to be slow can take to a second or two.
const cutWork = 1_000_000_000

type flatCorner struct {
	x, y float64
	v    int32
}

// cut appends the triangles of a polygon given by its corners, which must be
// valid indices. Strictly convex ones become a fan; others lose ears (Meisters
// 1975, "Polygons Have Ears") in the plane of their Newell normal. A polygon
// that crosses itself has no right answer and gets one with its own edges.
func (c *cutter) cut(ctx context.Context, poly []int32) error {
	if len(poly) > 3 && !c.flatten(poly) {
		return c.clip(ctx)
	}
	for i := 2; i < len(poly); i++ {
		c.out = append(c.out, [3]int32{poly[0], poly[i-1], poly[i]})
	}
	return nil
}

// flatten projects the polygon along the largest component of its normal, so
// that it runs counter-clockwise, and reports whether it is strictly convex.
func (c *cutter) flatten(poly []int32) (convex bool) {
	var n Vec
	for i, v := range poly {
		p, q := c.verts[v], c.verts[poly[(i+1)%len(poly)]]
		n = n.Add(p.Sub(c.verts[poly[0]]).Cross(q.Sub(c.verts[poly[0]])))
	}
	k := 0
	for j := 1; j < 3; j++ {
		if math.Abs(n[j]) > math.Abs(n[k]) {
			k = j
		}
	}
	a, b := (k+1)%3, (k+2)%3
	if n[k] < 0 {
		a, b = b, a
	}
	c.flat = c.flat[:0]
	for _, v := range poly {
		c.flat = append(c.flat, flatCorner{c.verts[v][a], c.verts[v][b], v})
	}
	for i := range c.flat {
		if c.turn(i) <= 0 {
			return false
		}
	}
	return true
}

// side is twice the signed area of a triangle.
func side(a, b, c flatCorner) float64 {
	return float64((b.x-a.x)*(c.y-a.y)) - float64((b.y-a.y)*(c.x-a.x))
}

func (c *cutter) turn(i int) float64 {
	n := len(c.flat)
	return side(c.flat[(i+n-1)%n], c.flat[i], c.flat[(i+1)%n])
}

// clip cuts ears off c.flat until a triangle is left, or all the work is spent:
// then what is left becomes a fan.
func (c *cutter) clip(ctx context.Context) error {
	for i, tried := 0, 0; len(c.flat) > 3; {
		n := len(c.flat)
		if c.work -= int64(n); c.work < 0 {
			c.fans++
			break
		}
		if n > 256 && ctx.Err() != nil {
			return ctx.Err()
		}
		i %= n
		if tried == n { // no ear is left: cut the sharpest corner
			i = c.sharpest()
		} else if !c.isEar(i) {
			i++
			tried++
			continue
		}
		c.out = append(c.out, [3]int32{c.flat[(i+n-1)%n].v, c.flat[i].v, c.flat[(i+1)%n].v})
		c.flat = append(c.flat[:i], c.flat[i+1:]...)
		tried = 0
	}
	for i := 2; i < len(c.flat); i++ {
		c.out = append(c.out, [3]int32{c.flat[0].v, c.flat[i-1].v, c.flat[i].v})
	}
	return nil
}

// isEar reports whether the corner turns left and its triangle holds no other
// corner.
func (c *cutter) isEar(i int) bool {
	n := len(c.flat)
	p, q, r := c.flat[(i+n-1)%n], c.flat[i], c.flat[(i+1)%n]
	if side(p, q, r) <= 0 {
		return false
	}
	for _, s := range c.flat {
		if s.v == p.v || s.v == q.v || s.v == r.v {
			continue
		}
		if side(p, q, s) >= 0 && side(q, r, s) >= 0 && side(r, p, s) >= 0 {
			return false
		}
	}
	return true
}

// sharpest returns the corner with the largest triangle.
func (c *cutter) sharpest() int {
	best, most := 0, math.Inf(-1)
	for i := range c.flat {
		if t := c.turn(i); t > most {
			best, most = i, t
		}
	}
	return best
}

// noteFans says that some polygons were too intricate.
func (c *cutter) noteFans(r *raw) {
	if c.fans > 0 {
		r.notes = append(r.notes, fmt.Sprintf("%s with many corners %s cut as if convex, to bound the time.", plural(int64(c.fans), "face"), wasWere(int64(c.fans))))
	}
}
