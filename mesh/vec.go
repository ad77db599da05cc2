package mesh

import "math"

// Vec is a point or a direction, in millimetres.
type Vec [3]float64

// Add returns a+b.
func (a Vec) Add(b Vec) Vec { return Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// Sub returns a-b.
func (a Vec) Sub(b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// Scale returns s*a.
func (a Vec) Scale(s float64) Vec { return Vec{s * a[0], s * a[1], s * a[2]} }

// Dot returns the scalar product. The products are rounded before they are
// added, so that every machine gets the same bits.
func (a Vec) Dot(b Vec) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

// Cross returns the vector product.
func (a Vec) Cross(b Vec) Vec {
	return Vec{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

// Norm returns the length of a.
func (a Vec) Norm() float64 {
	return norm(a[0], a[1], a[2])
}

// Unit returns a at length 1; the zero vector stays zero.
func (a Vec) Unit() Vec {
	n := a.Norm()
	if n == 0 {
		return Vec{}
	}
	return a.Scale(1 / n)
}

// What follows takes numbers, which the compiler keeps in registers: a Vec goes through
// memory, and there one that was written number by number can't be read as a whole
// before it is in the cache.

// dot3 is Vec.Dot in numbers.
func dot3(x, y, z, u, v, w float64) float64 { return float64(x*u) + float64(y*v) + float64(z*w) }

// cross3 is Vec.Cross in numbers.
func cross3(ux, uy, uz, vx, vy, vz float64) (x, y, z float64) {
	return float64(uy*vz) - float64(uz*vy), float64(uz*vx) - float64(ux*vz), float64(ux*vy) - float64(uy*vx)
}

// crossOf is the vector product of the ways from a to b and from a to c.
func crossOf(a, b, c *Vec) (x, y, z float64) {
	return cross3(b[0]-a[0], b[1]-a[1], b[2]-a[2], c[0]-a[0], c[1]-a[1], c[2]-a[2])
}

// det is six times the volume of the tetrahedron of o, a, b and c.
func det(o, a, b, c *Vec) float64 {
	x, y, z := cross3(b[0]-o[0], b[1]-o[1], b[2]-o[2], c[0]-o[0], c[1]-o[1], c[2]-o[2])
	return dot3(a[0]-o[0], a[1]-o[1], a[2]-o[2], x, y, z)
}

// apart2 is the square of the distance of two points.
func apart2(a, b *Vec) float64 {
	x, y, z := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	return dot3(x, y, z, x, y, z)
}

// norm is the length of a Vec of these numbers.
func norm(x, y, z float64) float64 {
	return math.Sqrt(dot3(x, y, z, x, y, z))
}

// Box is an axis-parallel box. The zero Box is a point at the origin; start
// from EmptyBox to collect points.
type Box struct{ Min, Max Vec }

// EmptyBox holds no point.
func EmptyBox() Box {
	inf := math.Inf(1)
	return Box{Vec{inf, inf, inf}, Vec{-inf, -inf, -inf}}
}

// Grow returns the smallest box around b and p.
func (b Box) Grow(p Vec) Box {
	for k := range 3 {
		b.Min[k] = min(b.Min[k], p[k])
		b.Max[k] = max(b.Max[k], p[k])
	}
	return b
}

// add makes the box the smallest around itself and p.
func (b *Box) add(p *Vec) {
	b.Min[0], b.Max[0] = min(b.Min[0], p[0]), max(b.Max[0], p[0])
	b.Min[1], b.Max[1] = min(b.Min[1], p[1]), max(b.Max[1], p[1])
	b.Min[2], b.Max[2] = min(b.Min[2], p[2]), max(b.Max[2], p[2])
}

// Join returns the smallest box around b and c; an EmptyBox adds nothing.
func (b Box) Join(c Box) Box {
	for k := range 3 {
		b.Min[k] = min(b.Min[k], c.Min[k])
		b.Max[k] = max(b.Max[k], c.Max[k])
	}
	return b
}

// holds reports whether a point lies in the box or on its rim.
func (b Box) holds(p Vec) bool {
	for k := range p {
		if !(b.Min[k] <= p[k] && p[k] <= b.Max[k]) {
			return false
		}
	}
	return true
}

// Size returns the three extents.
func (b Box) Size() Vec { return b.Max.Sub(b.Min) }

// Diagonal returns the length of the box's diagonal.
func (b Box) Diagonal() float64 { return b.Size().Norm() }

// Widened returns the box with a margin.
func (b Box) Widened(by float64) Box {
	for k := range 3 {
		b.Min[k] -= by
		b.Max[k] += by
	}
	return b
}

// Frame says how a part stands in the machine: X, Y, Z are the machine's axes
// in mesh coordinates (orthonormal, right-handed), Z is the build direction.
// The lowest point of the part stands Lift above the platform.
type Frame struct {
	X, Y, Z Vec
	Lift    float64 // mm
	// Layer is the thickness of the first layer, mm: what lies no higher above the
	// part's lowest point is laid on the platform, and rests there. Where it is 0
	// that is so of what rounding alone explains.
	Layer float64
}

// NewFrame stands a part with up (mesh coordinates, any length but zero)
// pointing away from the platform, then turns it by turn (radians) about the
// build direction. With up = +z and no turn the machine's axes are the mesh's.
func NewFrame(up Vec, turn, lift float64) Frame {
	z := up.Unit()
	// The machine's X is the mesh's x axis laid into the platform, or the
	// y axis where x itself points up or down.
	ref := Vec{1, 0, 0}
	if math.Abs(z[0]) > 0.9 {
		ref = Vec{0, 1, 0}
	}
	x := ref.Sub(z.Scale(ref.Dot(z))).Unit()
	y := z.Cross(x)
	// Turning the part by +turn turns the axes, seen from the part, by -turn.
	c, s := math.Cos(turn), math.Sin(turn)
	return Frame{
		X:    x.Scale(c).Sub(y.Scale(s)),
		Y:    x.Scale(s).Add(y.Scale(c)),
		Z:    z,
		Lift: lift,
	}
}

// Turn gives p's coordinates along the machine's axes (no shift).
func (f Frame) Turn(p Vec) Vec {
	x, y, z := f.turn(&p)
	return Vec{x, y, z}
}

// turn is Turn in numbers.
func (f *Frame) turn(p *Vec) (x, y, z float64) {
	return dot3(p[0], p[1], p[2], f.X[0], f.X[1], f.X[2]),
		dot3(p[0], p[1], p[2], f.Y[0], f.Y[1], f.Y[2]),
		dot3(p[0], p[1], p[2], f.Z[0], f.Z[1], f.Z[2])
}

// Back is the inverse of Turn.
func (f Frame) Back(q Vec) Vec {
	return f.X.Scale(q[0]).Add(f.Y.Scale(q[1])).Add(f.Z.Scale(q[2]))
}
