package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Cylinder is a round hole or pin recognised on the mesh.
type Cylinder struct {
	Concave             bool    // a hole; else a pin, strut or post
	Axis                Vec     // unit, mesh coordinates, towards the open end of a blind hole or the free end of a post, else its largest component positive
	At                  Vec     // centre of the axis' middle
	DiameterMM          float64 // circle through the vertices (chord export); see the two others
	InscribedMM, AreaMM float64 // diameter of the circle inside the polygon, and of the circle of equal area
	LengthMM            float64 // depth of a hole, length of a pin: from the first to the last place of the round surface
	RingMM              float64 // the part of LengthMM where the circle is complete; less where a mouth is slanted or another hole crosses; 0 if nowhere
	Through             bool    // open at both ends (hole)
	OpenMM              float64 // of a hole: the longest way in it from one way out to the next, by the holes that it meets too; 0 if it has but one
	BlindMM             float64 // of a hole: the way from a closed end to the nearest way out; 0 if both ends lead out
	OpenEnds            int     // 0, 1 or 2 ends that are not closed by a bottom (hole) or by a cap (pin: ends that are held)
	Free                bool    // free at one end (pin, post) rather than held at both (strut)
	Solid               bool    // of a pin: material reaches right across, so that its diameter is what carries; false for the outside of a tube
	Share               float64 // of the circle that is there, 0..1
	Sides               int     // of the polygon; for an irregular mesh those of a polygon as fine
	ErrMM               float64 // what the diameter may be off by: the chord band (DiameterMM - InscribedMM) and twice the standard error of the fit
	Facets              []int32 // ascending
}

// Cylinders holds what was recognised, holes first, then by size and place.
type Cylinders struct {
	Holes, Pins []Cylinder
	HoleOf      []int32 // per facet: index into Holes, or -1
}

// What makes a round surface, as geometric choices (see also cylTolerances).
const (
	// A hole or pin has at least this share of its circle. Nine tenths admit a
	// keyway or a few oil grooves and leave out slot ends (a half), fillets (a
	// quarter), scallops and notches.
	cylShareMin = 0.9

	// A polygon of this many sides is a circle. With six or seven it may as
	// well be a hexagon that somebody drew: see enoughSides.
	cylSidesSure = 8
	cylSidesMin  = 6
)

// MeasureCylinders recognises round holes and pins: surfaces whose corners lie
// on one cylinder, to a tolerance taken from their own scatter, over at least
// nine tenths of the circle.
//
// Seeds are found in three ways. First, pieces of surface between creases, taken
// whole, at four crease angles: most holes are one such piece, and fitting all
// of it at once stands the most noise. Then, in what is left, closed chains of
// flat sides between parallel edges: coarse circles, however short they are
// between their mouths. Then small patches that grow. The axis comes from the facets' normals, then axis and radius from
// the corners by Gauss-Newton steps, and the surface is gathered again with a
// tolerance five times the median deviation, until it stays the same. Pieces of
// one axis and radius whose lengths touch are one cylinder.
//
// The diameter reported is that of the circle through the vertices. Where an
// export draws its polygon about the circle, or with the circle's area, the hole
// is smaller than that by up to the chord band, which ErrMM holds: below one per
// cent from 23 sides.
//
// Only corners at which the surface turns count for the circle, so that it
// does not matter how the flat sides are triangulated.
//
// What it may miss: circles of 6 or 7 sides in a mesh whose other circles do
// not show that its export is as coarse; holes with less than nine tenths of
// their circle; of 8 sides, rings shorter than a tenth of the diameter between
// countersinks of some 82 degrees, which might be a ring's waist; bores from which a flat
// side goes on in one plane into the next step of a bend. Ellipses, cones and tapers (more
// than half a degree) are no cylinders, and straight steps of a bent channel, up to one and
// a half diameters long, are no holes. What it may take for a hole: a drawn regular polygon
// of 8 sides or more; steps of a bend about less than a diameter between which walls stand
// that reach its middle. An open groove at the end of a hole counts as an opening. Holes
// open into each other by holes alone: what a slot or a bend opens, OpenMM and BlindMM don't
// know.
//
// It takes 70 to 200 bytes a facet while it runs, and time in proportion to the
// facets, on all cores.
func MeasureCylinders(ctx context.Context, m *Mesh) (*Cylinders, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	x, err := newCylFinder(ctx, m)
	if err != nil {
		return nil, err
	}
	scratch := make([]int32, 5*len(m.Facets)+1)
	if err := x.findWhole(ctx, scratch); err != nil {
		return nil, err
	}
	if err := x.findPrisms(ctx, scratch); err != nil {
		return nil, err
	}
	return x.growRest(ctx)
}

// growRest grows what was not found as a whole, and finishes.
func (x *cylFinder) growRest(ctx context.Context) (*Cylinders, error) {
	if err := x.findGrown(ctx); err != nil {
		return nil, err
	}
	if err := x.merge(ctx); err != nil {
		return nil, err
	}
	return x.finish(ctx)
}

// finish measures the ends of what is round enough and puts all in order.
func (x *cylFinder) finish(ctx context.Context) (*Cylinders, error) {
	if err := x.uncover(ctx); err != nil {
		return nil, err
	}
	x.keepRound()
	step := make([]bool, len(x.pieces))
	err := parallel(ctx, len(x.pieces), 1, func(i, _ int) error {
		w := x.worker()
		defer x.release(w)
		p := &x.pieces[i]
		slices.Sort(p.Facets)
		p.Facets = slices.Clip(p.Facets)
		w.ends(p)
		step[i] = x.isChannelStep(p)
		if !p.Concave {
			p.Solid = w.solid(p)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := &Cylinders{HoleOf: make([]int32, len(x.m.Facets))}
	for i, p := range x.pieces {
		switch {
		case step[i]:
		case p.Concave:
			out.Holes = append(out.Holes, p.Cylinder)
		default:
			out.Pins = append(out.Pins, p.Cylinder)
		}
	}
	slices.SortFunc(out.Holes, compareCylinders)
	slices.SortFunc(out.Pins, compareCylinders)
	if err := measureWays(ctx, out.Holes); err != nil {
		return nil, err
	}
	for f := range out.HoleOf {
		out.HoleOf[f] = -1
	}
	for i, h := range out.Holes {
		for _, f := range h.Facets {
			out.HoleOf[f] = int32(i)
		}
	}
	return out, nil
}

// PinOf returns per facet the index of the pin it belongs to, or -1; nil if there are
// none.
func (c *Cylinders) PinOf() []int32 {
	if len(c.Pins) == 0 {
		return nil
	}
	of := make([]int32, len(c.HoleOf))
	for f := range of {
		of[f] = -1
	}
	for i, p := range c.Pins {
		for _, f := range p.Facets {
			of[f] = int32(i)
		}
	}
	return of
}

// compareCylinders orders by size, then place. Sizes are compared in tenths of
// a micrometre, so that rounding does not shuffle a row of equal holes.
func compareCylinders(a, b Cylinder) int {
	if c := cmp.Compare(math.Round(1e4*a.DiameterMM), math.Round(1e4*b.DiameterMM)); c != 0 {
		return c
	}
	for k := 2; k >= 0; k-- {
		if c := cmp.Compare(a.At[k], b.At[k]); c != 0 {
			return c
		}
	}
	return cmp.Compare(a.Facets[0], b.Facets[0])
}
