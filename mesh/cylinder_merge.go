package mesh

// This file puts pieces of one cylinder together and keeps what is round.

import (
	"cmp"
	"context"
	"math"
	"slices"
)

const (
	// Pieces whose radii or axes differ by more than this share of the radius
	// (or by the scatter of their corners, if that is more) are two cylinders.
	cylSame = 0.01
	// Pieces that stand further apart along their axis than this share of the
	// diameter are two cylinders: a wider space parts them.
	cylTouch = 0.01
	// A hexagon passes for a circle if its chord error is no more than this
	// times the largest chord error of the circles that are beyond doubt.
	cylChordAlike = 1.1
	// With fewer sides than this, sides must be alike: a square with large
	// chamfers or fillets of three steps has its corners near a circle too.
	cylSidesAlike = 24
)

// merge unites pieces of one axis and radius whose lengths touch or overlap: a
// bore that grooves or crossing holes have cut up. Two full rings that a wider
// space parts stay two holes.
func (x *cylFinder) merge(ctx context.Context) error {
	parent := make([]int32, len(x.pieces))
	boxes := make([]Box, len(x.pieces))
	for i := range x.pieces {
		p := &x.pieces[i]
		parent[i] = int32(i)
		half := p.Axis.Scale(p.LengthMM/2 + cylTouch*p.DiameterMM + p.fit.tolR)
		boxes[i] = EmptyBox().Grow(p.At.Add(half)).Grow(p.At.Sub(half)).Widened(cylSame*p.fit.r + p.fit.tolR)
	}
	err := eachMeeting(ctx, boxes, func(a, b int32) {
		if sameCylinder(&x.pieces[a], &x.pieces[b]) {
			ra, rb := root(parent, a), root(parent, b)
			parent[max(ra, rb)] = min(ra, rb)
		}
	})
	if err != nil {
		return err
	}
	return x.joinPieces(ctx, parent)
}

// eachMeeting visits each two boxes that meet, swept along the axis over which they
// spread most.
func eachMeeting(ctx context.Context, boxes []Box, visit func(a, b int32)) error {
	order := make([]int32, len(boxes))
	spread := EmptyBox()
	for i, b := range boxes {
		order[i] = int32(i)
		spread = spread.Grow(b.Min.Add(b.Max).Scale(0.5))
	}
	k := 0
	for j, s := range spread.Size() {
		if s > spread.Size()[k] {
			k = j
		}
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(cmp.Compare(boxes[a].Min[k], boxes[b].Min[k]), cmp.Compare(a, b))
	})
	for i, a := range order {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		for _, b := range order[i+1:] {
			if boxes[b].Min[k] > boxes[a].Max[k] {
				break
			}
			if boxesMeet(boxes[a], boxes[b]) {
				visit(a, b)
			}
		}
	}
	return nil
}

// sameCylinder reports whether two pieces have one axis and radius, and lengths
// that touch.
func sameCylinder(p, q *cylPiece) bool {
	if p.Concave != q.Concave {
		return false
	}
	tol := max(cylSame*min(p.fit.r, q.fit.r), p.fit.tolR+q.fit.tolR)
	if math.Abs(p.fit.r-q.fit.r) > tol || math.Abs(p.Axis.Dot(q.Axis)) < 0.98 {
		return false
	}
	for _, end := range [2]float64{-0.5, 0.5} {
		px, py, _ := p.fit.point(q.At.Add(q.Axis.Scale(end * q.LengthMM)))
		if math.Hypot(px, py) > tol {
			return false
		}
	}
	gap := math.Abs(q.At.Sub(p.At).Dot(p.Axis)) - (p.LengthMM+q.LengthMM)/2
	return gap <= cylTouch*p.DiameterMM
}

// joinPieces fits each group as one. A group that does not make a cylinder
// together, or a less complete one than its best piece, stays as it was.
func (x *cylFinder) joinPieces(ctx context.Context, parent []int32) error {
	groups := make([][]int32, len(parent))
	for i := range parent {
		r := root(parent, int32(i))
		groups[r] = append(groups[r], int32(i))
	}
	var many []int32 // groups of several
	for r, g := range groups {
		if len(g) > 1 {
			many = append(many, int32(r))
		}
	}
	joined := make([]*cylPiece, len(groups))
	err := parallel(ctx, len(many), 1, func(i, _ int) error {
		w := x.worker()
		defer x.release(w)
		joined[many[i]] = w.joinGroup(groups[many[i]])
		return ctx.Err()
	})
	var out []cylPiece
	for r, g := range groups {
		if p := joined[r]; p != nil {
			out = append(out, *p)
			continue
		}
		for _, i := range g {
			out = append(out, x.pieces[i])
		}
	}
	x.pieces = out
	return err
}

// joinGroup fits pieces as one; nil if they stay as they were.
func (w *cylWork) joinGroup(group []int32) *cylPiece {
	x := w.x
	var facets []int32
	most := group[0]
	for _, i := range group {
		facets = append(facets, x.pieces[i].Facets...)
		if x.pieces[i].Share > x.pieces[most].Share {
			most = i
		}
	}
	slices.Sort(facets)
	fit := x.pieces[most].fit
	if w.refine(&fit, facets) {
		if p, ok := w.judge(fit, facets); ok && p.Share >= x.pieces[most].Share {
			return p
		}
	}
	return nil
}

// keepRound keeps the pieces with enough of the circle and enough sides.
func (x *cylFinder) keepRound() {
	var chord float64 // the largest chord error of a circle beyond doubt
	for i := range x.pieces {
		p := &x.pieces[i]
		if n := p.fullSides(); p.Share >= cylShareMin && n >= cylSidesSure && p.sidesAlike() {
			chord = max(chord, p.fit.r*(1-math.Cos(math.Pi/n)))
		}
	}
	x.pieces = slices.DeleteFunc(x.pieces, func(p cylPiece) bool {
		return p.Share < cylShareMin || !p.sidesAlike() || !enoughSides(&p, chord)
	})
}

// fullSides returns how many sides the full circle has.
func (p *cylPiece) fullSides() float64 { return math.Round(float64(p.Sides) / p.Share) }

// enoughSides tells circles from drawn polygons. Eight sides pass for a circle.
// Six or seven make a pin, for a hexagonal strut carries as a round one does.
// They make a hole only where the same mesh has circles beyond doubt with as
// large a distance between chord and arc: then an export to that tolerance makes
// no more of a circle of this size. Otherwise a hexagon is taken for a hexagon.
func enoughSides(p *cylPiece, chord float64) bool {
	n := p.fullSides()
	if n >= cylSidesSure || n >= cylSidesMin && !p.Concave {
		return true
	}
	return n >= cylSidesMin && p.fit.r*(1-math.Cos(math.Pi/n)) <= cylChordAlike*chord
}

// sidesAlike reports whether the sides of a coarse circle are of one width, up
// to what the scatter of their corners does to it. With 16 sides and more they
// may be as wide as what a mesher makes of vertices that stand anywhere.
func (p *cylPiece) sidesAlike() bool {
	n := p.fullSides()
	wide := 1.3
	if n >= 16 {
		wide = 1.8
	}
	return n >= cylSidesAlike || p.widest <= wide*2*math.Pi/n+4*p.fit.rms/p.fit.r
}
