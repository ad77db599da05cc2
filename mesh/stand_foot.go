package mesh

import (
	"context"
	"math"
)

// This file counts how many of a part a platform takes, by the shadow of the
// part rather than by its box, so that parts reach into each other's bays.

// Platform is what parts may be set on: a rectangle, or a disc.
type Platform struct {
	XMM, YMM   float64
	DiameterMM float64 // where positive it is round, and XMM and YMM mean nothing
}

// footCells is the number of cells along the longer side of a platform. A part
// may seem larger by up to two cells a side than it is, never smaller.
const footCells = 192

// PlatformCount returns how many of the part, all standing alike but for turns
// of a half circle, it finds room for on the platform with spacingMM between
// them, up to most. scale makes the part larger first, as a green part is.
//
// Shadows are laid on a grid that they wholly cover, and set one by one at the
// lowest, then leftmost free place, in the two turns of a half circle. So what
// it counts can be set, and more might be. Cost grows with the cells, not with
// the facets.
func PlatformCount(ctx context.Context, m *Mesh, f Frame, p Platform, spacingMM, scale float64, most int) (int, error) {
	if p.DiameterMM > 0 {
		p.XMM, p.YMM = p.DiameterMM, p.DiameterMM
	}
	if !(p.XMM > 0) || !(p.YMM > 0) || len(m.Facets) == 0 || most <= 0 {
		return 0, nil
	}
	pitch := max(p.XMM, p.YMM) / footCells
	foot, err := newFoot(ctx, m, f, pitch, scale)
	if err != nil {
		return 0, err
	}
	free := newCells(int(math.Floor(p.XMM/pitch*(1+1e-12))), int(math.Floor(p.YMM/pitch*(1+1e-12))))
	if foot.nx > free.nx || foot.ny > free.ny {
		return 0, nil
	}
	if p.DiameterMM > 0 {
		free.fillOutside(p.DiameterMM / 2 / pitch)
	}
	turns := [2]*cells{foot, foot.halfTurn()}
	reach := int(math.Ceil(spacingMM / pitch))
	wide := [2]*cells{turns[0].grown(reach), turns[1].grown(reach)}
	n := 0
	for y := 0; y+foot.ny <= free.ny; y++ {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		for x := 0; x+foot.nx <= free.nx; x++ {
			for k := range turns {
				if free.meets(turns[k], x, y) {
					continue
				}
				free.add(wide[k], x-reach, y-reach)
				if n++; n == most {
					return n, nil
				}
			}
		}
	}
	return n, nil
}

// cells is a bitmap, a row of words a line.
type cells struct {
	nx, ny, words int
	bits          []uint64
}

func newCells(nx, ny int) *cells {
	w := (nx + 63) / 64
	return &cells{nx, ny, w, make([]uint64, w*ny)}
}

func (c *cells) get(x, y int) bool { return c.bits[y*c.words+x/64]>>(x%64)&1 != 0 }

// fill marks x0..x1 of a line.
func (c *cells) fill(y, x0, x1 int) {
	for x := max(0, x0); x <= min(c.nx-1, x1); x++ {
		c.bits[y*c.words+x/64] |= 1 << (x % 64)
	}
}

// newFoot draws the shadow of a part: every cell that a facet's shadow touches.
func newFoot(ctx context.Context, m *Mesh, f Frame, pitch, scale float64) (*cells, error) {
	at := make([]point, len(m.Verts))
	lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	for _, t := range m.Facets {
		for _, v := range t {
			p := point{m.Verts[v].Dot(f.X) * scale / pitch, m.Verts[v].Dot(f.Y) * scale / pitch}
			at[v] = p
			for k := range 2 {
				lo[k], hi[k] = min(lo[k], p[k]), max(hi[k], p[k])
			}
		}
	}
	// What ends on a line between cells by rounding does not touch the next.
	const slack = 1e-6
	size := func(k int) int { return max(1, int(math.Ceil(hi[k]-lo[k]-slack))) }
	c := newCells(size(0), size(1))
	for i, t := range m.Facets {
		if i%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		a, b, d := at[t[0]].sub(lo), at[t[1]].sub(lo), at[t[2]].sub(lo)
		y0, y1 := min(a[1], b[1], d[1]), max(a[1], b[1], d[1])
		for y := int(y0); y <= min(c.ny-1, int(y1-slack)) || y == int(y0) && y < c.ny; y++ {
			x0, x1 := stripSpan(&[3]point{a, b, d}, float64(y), float64(y+1))
			c.fill(y, int(x0+slack), max(int(x0+slack), int(x1-slack)))
		}
	}
	return c, nil
}

// stripSpan returns the extent in x of the part of a triangle between two heights.
func stripSpan(t *[3]point, y0, y1 float64) (x0, x1 float64) {
	x0, x1 = math.Inf(1), math.Inf(-1)
	for k := range 3 {
		p, q := t[k], t[(k+1)%3]
		if p[1] >= y0 && p[1] <= y1 {
			x0, x1 = min(x0, p[0]), max(x1, p[0])
		}
		for _, y := range [2]float64{y0, y1} {
			if (p[1] < y) != (q[1] < y) {
				x := p[0] + (q[0]-p[0])*(y-p[1])/(q[1]-p[1])
				x0, x1 = min(x0, x), max(x1, x)
			}
		}
	}
	return x0, x1
}

func (c *cells) halfTurn() *cells {
	out := newCells(c.nx, c.ny)
	for y := range c.ny {
		for x := range c.nx {
			if c.get(x, y) {
				out.fill(c.ny-1-y, c.nx-1-x, c.nx-1-x)
			}
		}
	}
	return out
}

// grown marks all cells that come within a reach of a marked one, on a map that
// is larger by the reach on every side.
func (c *cells) grown(reach int) *cells {
	out := newCells(c.nx+2*reach, c.ny+2*reach)
	half := make([]int, 2*reach+1) // of the line dy above or below
	for dy := -reach; dy <= reach; dy++ {
		// Cells touch until a whole cell lies between them.
		d := float64(max(0, abs(dy)-1))
		half[dy+reach] = min(reach, int(math.Sqrt(max(0, float64(reach*reach)-d*d)))+1)
	}
	for y := range c.ny {
		for x := 0; x < c.nx; x++ {
			if !c.get(x, y) {
				continue
			}
			from := x
			for x+1 < c.nx && c.get(x+1, y) {
				x++
			}
			for dy := -reach; dy <= reach; dy++ {
				h := half[dy+reach]
				out.fill(y+reach+dy, from+reach-h, x+reach+h)
			}
		}
	}
	return out
}

func abs(x int) int { return max(x, -x) }

// fillOutside marks what a disc of that radius in cells does not wholly cover.
func (c *cells) fillOutside(radius float64) {
	cx, cy := float64(c.nx)/2, float64(c.ny)/2
	for y := range c.ny {
		dy := max(math.Abs(float64(y)-cy), math.Abs(float64(y+1)-cy))
		h := math.Sqrt(max(0, radius*radius-dy*dy))
		if dy > radius {
			h = 0
		}
		c.fill(y, 0, int(math.Ceil(cx-h-1e-9))-1)
		c.fill(y, int(math.Floor(cx+h+1e-9)), c.nx-1)
	}
}

// meets reports whether d, with its corner at x and y, lies on a marked cell.
func (c *cells) meets(d *cells, x, y int) bool {
	word, shift := x/64, uint(x%64)
	for j := range d.ny {
		row := c.bits[(y+j)*c.words : (y+j+1)*c.words]
		for i, b := range d.bits[j*d.words : (j+1)*d.words] {
			if b == 0 {
				continue
			}
			if row[word+i]&(b<<shift) != 0 || shift > 0 && word+i+1 < len(row) && row[word+i+1]&(b>>(64-shift)) != 0 {
				return true
			}
		}
	}
	return false
}

// add marks the cells of d, with its corner at x and y, as far as they lie on
// the map.
func (c *cells) add(d *cells, x, y int) {
	for j := max(0, -y); j < d.ny && y+j < c.ny; j++ {
		for i := max(0, -x); i < d.nx && x+i < c.nx; i++ {
			if d.get(i, j) {
				c.bits[(y+j)*c.words+(x+i)/64] |= 1 << ((x + i) % 64)
			}
		}
	}
}
