package mesh

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// Mass holds the exact sums over facets, shells signed by their winding: a
// shell wound inside out counts as a void.
type Mass struct {
	VolumeMM3 float64
	AreaMM2   float64
	Centroid  Vec           // of the volume; of the surface where the volume is not positive
	Inertia   [3][3]float64 // about the centroid, unit density, mm5
}

// sum adds with the rounding errors kept apart (Knuth 1969, "The Art of Computer
// Programming", 2, 4.2.2; Kahan 1965), so that a sum of millions of facets is as
// good as one of a few.
type sum struct{ s, c float64 }

func (a *sum) add(x float64) {
	t := a.s + x
	d := t - a.s
	a.c += (a.s - (t - d)) + (x - d)
	a.s = t
}

func (a *sum) value() float64 { return a.s + a.c }

// moments are the integrals over the tetrahedra from an origin to the facets.
// volume is six times, first 24 times, second 120 times the integral of 1, x
// and x*y; area is twice the area and centre six times its first moment.
type moments struct {
	volume, area  sum
	first, centre [3]sum
	second        [6]sum // xx, yy, zz, xy, yz, zx
}

var momentPairs = [6][2]int{{0, 0}, {1, 1}, {2, 2}, {0, 1}, {1, 2}, {2, 0}}

// facet adds one facet. The second moments of a tetrahedron with one corner at
// the origin are those of Tonon (2004), "Explicit Exact Formulas for the 3-D
// Tetrahedron Inertia Tensor in Terms of its Vertex Coordinates".
func (m *moments) facet(a, b, c Vec) {
	n := b.Sub(a).Cross(c.Sub(a))
	det := a.Dot(b.Cross(c))
	area := n.Norm()
	s := a.Add(b).Add(c)
	m.volume.add(det)
	m.area.add(area)
	for k := range 3 {
		m.first[k].add(float64(det * s[k]))
		m.centre[k].add(float64(area * s[k]))
	}
	for i, p := range momentPairs {
		j, k := p[0], p[1]
		m.second[i].add(float64(det * (float64(a[j]*a[k]) + float64(b[j]*b[k]) + float64(c[j]*c[k]) + float64(s[j]*s[k]))))
	}
}

// join adds what another sum holds.
func (m *moments) join(o *moments) {
	a, b := m.sums(), o.sums()
	for i := range a {
		a[i].add(b[i].s)
		a[i].add(b[i].c)
	}
}

func (m *moments) sums() []*sum {
	all := []*sum{&m.volume, &m.area}
	for k := range 3 {
		all = append(all, &m.first[k], &m.centre[k])
	}
	for i := range m.second {
		all = append(all, &m.second[i])
	}
	return all
}

// MeasureMass returns volume, area, centroid and inertia. The sums start from
// the middle of the box, so that a part far from the origin loses nothing, are
// compensated, and are joined in a fixed order: the error is a few units in the
// last place of volume and area. Where closed bodies overlap it is their union
// that counts, as exact as the lines are found in which they cross. Volume and
// what follows from it mean something only where Integrity.Sound holds.
func MeasureMass(ctx context.Context, m *Mesh) (Mass, error) {
	if len(m.Facets) == 0 {
		return Mass{}, nil
	}
	s, err := m.united(ctx)
	if err != nil {
		return Mass{}, err
	}
	m = s.m
	const chunk = 1 << 13
	box := m.Box()
	mid := box.Min.Add(box.Max).Scale(.5)
	parts := make([]moments, (len(m.Facets)+chunk-1)/chunk)
	err = parallel(ctx, len(m.Facets), chunk, func(from, to int) error {
		p := &parts[from/chunk]
		for f := from; f < to; f++ {
			a, b, c := m.Corners(int32(f))
			p.facet(a.Sub(mid), b.Sub(mid), c.Sub(mid))
		}
		return nil
	})
	if err != nil {
		return Mass{}, err
	}
	var all moments
	for i := range parts {
		all.join(&parts[i])
	}
	return all.mass(mid), nil
}

// mass turns the sums into measures. The inertia moves to the centroid by the
// parallel axis theorem.
func (m *moments) mass(mid Vec) Mass {
	r := Mass{VolumeMM3: m.volume.value() / 6, AreaMM2: m.area.value() / 2}
	if r.VolumeMM3 <= 0 {
		if r.AreaMM2 > 0 {
			for k := range 3 {
				r.Centroid[k] = mid[k] + m.centre[k].value()/(6*r.AreaMM2)
			}
		}
		return r
	}
	var d Vec // centroid from mid
	for k := range 3 {
		d[k] = m.first[k].value() / 24 / r.VolumeMM3
	}
	r.Centroid = mid.Add(d)
	var s [3][3]float64 // second moments about the centroid
	for i, p := range momentPairs {
		v := m.second[i].value()/120 - float64(r.VolumeMM3*d[p[0]]*d[p[1]])
		s[p[0]][p[1]], s[p[1]][p[0]] = v, v
	}
	for i := range 3 {
		for j := range 3 {
			r.Inertia[i][j] = -s[i][j]
		}
		r.Inertia[i][i] = s[(i+1)%3][(i+1)%3] + s[(i+2)%3][(i+2)%3]
	}
	return r
}

// OrientedBox is the part as it stands.
type OrientedBox struct {
	Size     Vec        // extents along the machine's axes
	Min      Vec        // lowest corner along the machine's axes, before any shift
	FootSize [2]float64 // sides of the smallest rectangle about the build direction, longer first
	FootTurn float64    // radians, in (-pi/2, pi/2]: turning the part by this about Z lays the longer side along X
	Radius   float64    // of the smallest circle about the build direction that holds the part (round platforms)
	Centre   [2]float64 // of that circle, along the machine's X and Y, before any shift
	SideMM2  float64    // that the outlines of all sections sweep: the integral of their length over the height
}

// MeasureBox returns the extents in the frame. Everything is exact but for
// rounding: the rectangle has a side on an edge of the convex hull of the
// outline seen along the build direction (Freeman and Shapira 1975,
// "Determining the Minimum-Area Encasing Rectangle for an Arbitrary Closed
// Curve"), and the circle passes through two or three of the hull's corners.
func MeasureBox(ctx context.Context, m *Mesh, f Frame) (OrientedBox, error) {
	if len(m.Facets) == 0 {
		return OrientedBox{}, nil
	}
	box, hull, err := shadow(ctx, m, f)
	if err != nil {
		return OrientedBox{}, err
	}
	r := OrientedBox{Size: box.Size(), Min: box.Min}
	r.FootSize, r.FootTurn = smallestRectangle(hull)
	r.Centre, r.Radius = smallestCircle(hull)
	r.SideMM2, err = sideArea(ctx, m, f.Z)
	return r, err
}

// sideArea is the integral over the height of the length of the outlines of all
// sections, inner ones too: a facet whose normal has the angle b to the build
// direction is cut over its height to a length, which together make its area
// times sin b. Exact but for rounding.
func sideArea(ctx context.Context, m *Mesh, up Vec) (float64, error) {
	s, err := m.united(ctx)
	if err != nil {
		return 0, err
	}
	m = s.m
	const chunk = 1 << 14
	sums := make([]float64, (len(m.Facets)+chunk-1)/chunk)
	err = parallel(ctx, len(m.Facets), chunk, func(from, to int) error {
		sum := 0.0
		for f := from; f < to; f++ {
			x, y, z := m.cross(int32(f))
			sum += norm(cross3(x, y, z, up[0], up[1], up[2])) / 2
		}
		sums[from/chunk] = sum
		return nil
	})
	total := 0.0
	for _, s := range sums {
		total += s
	}
	return total, err
}

// shadow returns the box of the vertices along the machine's axes and the
// convex hull of their X and Y, counter-clockwise. The hull of the chunks'
// hulls is the hull of all. Vertices inside the octagon of those that lie
// farthest along eight directions are no corners of it (Akl and Toussaint 1978,
// "A Fast Convex Hull Algorithm"): few are left to sort.
func shadow(ctx context.Context, m *Mesh, f Frame) (Box, [][2]float64, error) {
	const chunk = 1 << 14
	n := (len(m.Facets) + chunk - 1) / chunk
	boxes, ends := make([]Box, n), make([]octagon, n)
	err := parallel(ctx, len(m.Facets), chunk, func(from, to int) error {
		b := EmptyBox()
		o := newOctagon()
		m.eachCorner(from, to, func(v int32) {
			var p Vec
			p[0], p[1], p[2] = f.turn(&m.Verts[v])
			b.add(&p)
			o.add(p[0], p[1])
		})
		boxes[from/chunk], ends[from/chunk] = b, o
		return nil
	})
	if err != nil {
		return Box{}, nil, err
	}
	box, whole := EmptyBox(), newOctagon()
	for i := range boxes {
		box = box.Join(boxes[i])
		for _, p := range ends[i].at {
			whole.add(p[0], p[1])
		}
	}
	core := convexHull(slices.Clone(whole.at[:]))
	size := box.Size()
	least := 1e-12 * (size[0] + size[1]) * (size[0] + size[1]) // far above what turn2 rounds
	hulls := make([][][2]float64, n)
	err = parallel(ctx, len(m.Facets), chunk, func(from, to int) error {
		ps := slices.Clone(ends[from/chunk].at[:])
		m.eachCorner(from, to, func(v int32) {
			x, y, _ := f.turn(&m.Verts[v])
			if !surelyWithin(core, x, y, least) {
				ps = append(ps, [2]float64{x, y})
			}
		})
		hulls[from/chunk] = convexHull(ps)
		return nil
	})
	return box, convexHull(slices.Concat(hulls...)), err
}

// eachCorner visits the corners of some facets, few of them more than once.
func (m *Mesh) eachCorner(from, to int, visit func(v int32)) {
	var seen [1 << 11]int32 // of each remainder the last one, plus one
	for _, c := range m.Facets[from:to] {
		for _, v := range c {
			if at := &seen[v&(1<<11-1)]; *at != v+1 {
				*at = v + 1
				visit(v)
			}
		}
	}
}

// octagon holds the points farthest along eight directions.
type octagon struct {
	far [8]float64
	at  [8][2]float64
}

func newOctagon() (o octagon) {
	for i := range o.far {
		o.far[i] = math.Inf(-1)
	}
	return o
}

func (o *octagon) add(x, y float64) {
	for i, d := range [8]float64{x, x + y, y, y - x, -x, -x - y, -y, x - y} {
		if d > o.far[i] {
			o.far[i], o.at[i][0], o.at[i][1] = d, x, y
		}
	}
}

// surelyWithin reports whether a point lies inside a convex polygon, by more than the
// area least spans with each side.
func surelyWithin(polygon [][2]float64, x, y, least float64) bool {
	if len(polygon) < 3 {
		return false
	}
	q := &polygon[len(polygon)-1]
	for i := range polygon {
		r := &polygon[i]
		if turn2(q, r, x, y) <= least {
			return false
		}
		q = r
	}
	return true
}

// convexHull returns the strictly convex corners, counter-clockwise (Andrew
// 1979, "Another Efficient Algorithm for Convex Hulls in Two Dimensions"). It
// reorders ps.
func convexHull(ps [][2]float64) [][2]float64 { return new(hullRoom).of(ps) }

// hullRoom is room for convex hulls, one at a time.
type hullRoom struct {
	other, hull [][2]float64
	ends        []int
}

// of is convexHull, good until the next.
func (r *hullRoom) of(ps [][2]float64) [][2]float64 {
	ps = slices.Compact(r.sortRuns(ps))
	if len(ps) < 3 {
		return ps
	}
	hull := r.hull[:0]
	half := func(p *[2]float64, from int) {
		for len(hull) >= from+2 && turn2(&hull[len(hull)-2], &hull[len(hull)-1], p[0], p[1]) <= 0 {
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, *p)
	}
	for i := range ps {
		half(&ps[i], 0)
	}
	upper := len(hull) - 1
	for i := len(ps) - 2; i >= 0; i-- {
		half(&ps[i], upper)
	}
	r.hull = hull
	return hull[:len(hull)-1]
}

// sortRuns sorts points by their coordinates, and may use ps as room. It joins
// what runs up or down already, two neighbours at a time: of an outline that is
// next to nothing to do.
func (r *hullRoom) sortRuns(ps [][2]float64) [][2]float64 {
	less := func(p, q *[2]float64) bool { return p[0] < q[0] || p[0] == q[0] && p[1] < q[1] }
	ends := append(r.ends[:0], 0)
	for i := 0; i < len(ps); {
		from := i
		for i++; i < len(ps) && less(&ps[i], &ps[i-1]); i++ {
		}
		if i-from > 1 {
			slices.Reverse(ps[from:i])
		} else {
			for ; i < len(ps) && !less(&ps[i], &ps[i-1]); i++ {
			}
		}
		ends = append(ends, i)
	}
	r.ends = ends
	r.other = slices.Grow(r.other[:0], len(ps))
	other := r.other[:len(ps)]
	for len(ends) > 2 {
		joined := ends[:1]
		for k := 1; k < len(ends); k += 2 {
			from, mid := ends[k-1], ends[k]
			to := ends[min(k+1, len(ends)-1)]
			i, j := from, mid
			for n := from; n < to; n++ {
				if j == to || i < mid && !less(&ps[j], &ps[i]) {
					other[n] = ps[i]
					i++
				} else {
					other[n] = ps[j]
					j++
				}
			}
			joined = append(joined, to)
		}
		ends = joined
		ps, other = other, ps
	}
	return ps
}

// turn2 is twice the area of p, q and the point x, y: positive where they turn left.
func turn2(p, q *[2]float64, x, y float64) float64 {
	return float64((q[0]-p[0])*(y-p[1])) - float64((q[1]-p[1])*(x-p[0]))
}

// smallestRectangle walks calipers around the hull. Of rectangles of the same
// area the one least turned wins, so that a part that stands square stays so.
func smallestRectangle(hull [][2]float64) (size [2]float64, turn float64) {
	best := math.Inf(1)
	n := len(hull)
	along := func(i int, u [2]float64) float64 { p := hull[i%n]; return float64(p[0]*u[0]) + float64(p[1]*u[1]) }
	far := func(i int, u [2]float64) int { // climbs from i to the corner furthest along u
		for k := 0; k < n && along(i+1, u) >= along(i, u); k++ {
			i++
		}
		return i
	}
	right, top, left := 0, 0, 0
	for i := range n {
		p, q := hull[i], hull[(i+1)%n]
		l := math.Hypot(q[0]-p[0], q[1]-p[1])
		if l == 0 {
			continue // a single point
		}
		u := [2]float64{(q[0] - p[0]) / l, (q[1] - p[1]) / l}
		v := [2]float64{-u[1], u[0]}
		right = far(max(right, i+1), u)
		top = far(max(top, right), v)
		left = far(max(left, top), [2]float64{-u[0], -u[1]})
		w, h := along(right, u)-along(left, u), along(top, v)-along(i, v)
		a := math.Atan2(u[1], u[0]) // of the side w
		if w < h {
			w, h, a = h, w, a+math.Pi/2
		}
		a = -math.Remainder(a, math.Pi) // turning by this lays w along X
		if a <= -math.Pi/2 {
			a = math.Pi / 2
		}
		area := w * h
		if area < best*(1-1e-12) || area <= best*(1+1e-12) && math.Abs(a) < math.Abs(turn)-1e-12 {
			best = min(best, area)
			size, turn = [2]float64{w, h}, a
		}
	}
	return size, turn
}

// smallestCircle finds the smallest circle around the points by Welzl (1991),
// "Smallest Enclosing Disks", in linear expected time. The order is shuffled,
// always the same way: in the order of a hull the time is the cube of the number.
func smallestCircle(ps [][2]float64) (centre [2]float64, radius float64) {
	if len(ps) == 0 {
		return
	}
	ps = slices.Clone(ps)
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(ps), func(i, j int) { ps[i], ps[j] = ps[j], ps[i] })
	c := circle{centre: ps[0]}
	for i, p := range ps {
		if c.holds(p) {
			continue
		}
		c = circle{centre: p}
		for j, q := range ps[:i] {
			if c.holds(q) {
				continue
			}
			c = circle2(p, q)
			for _, r := range ps[:j] {
				if !c.holds(r) {
					c = circle3(p, q, r)
				}
			}
		}
	}
	return c.centre, c.radius
}

type circle struct {
	centre [2]float64
	radius float64
}

func (c circle) holds(p [2]float64) bool {
	return math.Hypot(p[0]-c.centre[0], p[1]-c.centre[1]) <= c.radius*(1+1e-14)
}

func circle2(p, q [2]float64) circle {
	return circle{[2]float64{(p[0] + q[0]) / 2, (p[1] + q[1]) / 2}, math.Hypot(p[0]-q[0], p[1]-q[1]) / 2}
}

// circle3 passes through three points; of points in a line, through the two
// furthest apart.
func circle3(p, q, r [2]float64) circle {
	bx, by, cx, cy := q[0]-p[0], q[1]-p[1], r[0]-p[0], r[1]-p[1]
	d := 2 * (float64(bx*cy) - float64(by*cx))
	if d == 0 {
		c := circle2(p, q)
		for _, e := range []circle{circle2(q, r), circle2(r, p)} {
			if e.radius > c.radius {
				c = e
			}
		}
		return c
	}
	b, c := float64(bx*bx)+float64(by*by), float64(cx*cx)+float64(cy*cy)
	x, y := (float64(cy*b)-float64(by*c))/d, (float64(bx*c)-float64(cx*b))/d
	return circle{[2]float64{p[0] + x, p[1] + y}, math.Hypot(x, y)}
}
