package mesh

// This file holds what the steps of finding cylinders share, and prepares it.

import (
	"context"
	"math"
	"slices"
)

const degree = math.Pi / 180

// cylFinder holds what all steps share. Everything per facet is written before
// the goroutines that read it start.
type cylFinder struct {
	m        *Mesh
	topo     *Topology
	turn     []float32     // per half-edge: radians between the two facets; Inf where there is no neighbour
	taken    []bool        // per facet: belongs to a piece
	sliver   []bool        // per facet: has no normal of its own; nil if all have
	mended   map[int32]Vec // the normals of those that have none
	coordTol float64       // mm: what coordinates in single precision are good for
	diagonal float64       // mm, of the box
	pieces   []cylPiece
	skin     *skin       // what of the mesh bounds anything, once pieces are uncovered
	arcs     []cylSeedAt // parts of a circle between creases, from which to grow
	grew     int         // how many seeds were let grow
	free     chan *cylWork
	ended    func() bool // the caller's context is over: loops deep inside may stop and return anything
}

// cylPiece is a round piece of surface with its fit.
type cylPiece struct {
	Cylinder
	fit    cylFit
	widest float64 // radians: the angle that the widest facet spans
	cut    [2]bool // another body cuts it off at its first or second end
}

// cylWork is one goroutine's scratch.
type cylWork struct {
	x        *cylFinder
	epoch    int32
	seen     []int32 // per facet: epoch in which it was met
	epochV   int32
	seenV    []int32   // per vertex: epoch in which it was met
	bend     []float32 // per vertex, valid where seenV is the epoch: largest turn there
	members  []int32
	faces    []cylFace // of the members, if they are few
	face     cylFace   // of one, if they are many
	queue    []int32
	leaning  []cylLean // of a strip's facets, beside queue
	ids      []int32
	points   []Vec
	sample   []Vec
	vals     []float64
	pairs    [][2]float64
	tested   []int32
	gathered []int32 // what settle last looked at
	label    []int32 // if not nil, growing stays inside facets of this label
	only     int32
	angle    []float32 // per facet, made when first needed: the way round about an axis
}

func newCylFinder(ctx context.Context, m *Mesh) (*cylFinder, error) {
	n := len(m.Facets)
	box := m.Box()
	x := &cylFinder{
		m: m, topo: m.Topology(),
		turn: make([]float32, 3*n), taken: make([]bool, n),
		free:  make(chan *cylWork, 256),
		ended: func() bool { return ctx.Err() != nil },
	}
	if n == 0 {
		return x, ctx.Err()
	}
	x.diagonal = box.Diagonal()
	reach := 0.0
	for k := range 3 {
		reach = max(reach, math.Abs(box.Min[k]), math.Abs(box.Max[k]))
	}
	x.coordTol = max(reach*0x1p-22, m.Source.WeldTol)
	const step = 1 << 14
	thin := make([][]int32, (n+step-1)/step) // facets that have no normal of their own
	err := parallel(ctx, n, step, func(from, to int) error {
		for f := from; f < to; f++ {
			t := &m.Facets[f]
			a, b, c := &m.Verts[t[0]], &m.Verts[t[1]], &m.Verts[t[2]]
			ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
			vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
			if long := max(norm(ux, uy, uz), norm(vx, vy, vz), norm(vx-ux, vy-uy, vz-uz)); !(norm(m.cross(int32(f))) > 2*x.coordTol*long) {
				thin[from/step] = append(thin[from/step], int32(f))
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	x.mendNormals(slices.Concat(thin...))
	err = parallel(ctx, n, step, func(from, to int) error {
		for f := int32(from); f < int32(to); f++ {
			ax, ay, az := x.normalOf(f)
			for h := 3 * f; h < 3*f+3; h++ {
				switch t := x.topo.Twin[h]; {
				case t < 0:
					x.turn[h] = float32(math.Inf(1))
				case t > h: // the one of a pair that comes first writes both
					bx, by, bz := x.normalOf(t / 3)
					x.turn[h] = float32(math.Atan2(norm(cross3(ax, ay, az, bx, by, bz)), dot3(ax, ay, az, bx, by, bz)))
					x.turn[t] = x.turn[h]
				}
			}
		}
		return nil
	})
	return x, err
}

// radii are those that a cylinder of the mesh may have.
func (x *cylFinder) radii() extent { return extent{0, 2 * x.diagonal} }

// face returns the normal of a facet, of one that is too thin to have one its
// neighbour's, and its area in mm2. Both are worked out each time: kept, they
// would take more than all else that is kept while cylinders are sought.
func (x *cylFinder) face(f int32) (normal Vec, area float64) {
	a, b, c := x.m.cross(f)
	l := math.Sqrt(float64(a*a) + float64(b*b) + float64(c*c))
	if x.sliver != nil && x.sliver[f] {
		return x.mended[f], l / 2
	}
	s := 1 / l
	return Vec{s * a, s * b, s * c}, l / 2
}

func (x *cylFinder) normal(f int32) Vec {
	a, b, c := x.normalOf(f)
	return Vec{a, b, c}
}

// normalOf is normal in numbers.
func (x *cylFinder) normalOf(f int32) (a, b, c float64) {
	if x.sliver != nil && x.sliver[f] {
		n := x.mended[f]
		return n[0], n[1], n[2]
	}
	return x.m.normal(f)
}

// mendNormals gives a facet that is too thin to have a normal of its own that of
// the facet across its longest edge, as if the edge were flipped: such facets
// lie in seams, and what they would say of creases there is noise.
func (x *cylFinder) mendNormals(thin []int32) {
	if len(thin) == 0 {
		return
	}
	x.sliver, x.mended = make([]bool, len(x.m.Facets)), make(map[int32]Vec, len(thin))
	for _, f := range thin {
		x.sliver[f] = true
	}
	// Thin facets may lie side by side: a few rounds reach across.
	for range 8 {
		left := thin[:0]
		for _, f := range thin {
			p := [3]Vec{}
			p[0], p[1], p[2] = x.m.Corners(f)
			best, long := int32(-1), -1.0
			for k := range 3 {
				g := x.topo.Neighbour(f, k)
				if l := p[(k+1)%3].Sub(p[k]).Norm(); g >= 0 && l > long && x.normal(g) != (Vec{}) {
					best, long = g, l
				}
			}
			if best < 0 {
				left = append(left, f)
				continue
			}
			x.mended[f] = x.normal(best)
		}
		thin = left
	}
}

func (x *cylFinder) worker() *cylWork {
	select {
	case w := <-x.free:
		return w
	default:
		return &cylWork{
			x: x, seen: make([]int32, len(x.m.Facets)),
			seenV: make([]int32, len(x.m.Verts)), bend: make([]float32, len(x.m.Verts)),
		}
	}
}

func (x *cylFinder) release(w *cylWork) {
	w.label = nil
	select {
	case x.free <- w:
	default:
	}
}

func (x *cylFinder) take(p *cylPiece) {
	for _, f := range p.Facets {
		x.taken[f] = true
	}
	x.pieces = append(x.pieces, *p)
}
