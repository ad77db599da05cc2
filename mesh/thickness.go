package mesh

import (
	"context"
	"fmt"
	"math"
)

// ThicknessParams steer MeasureThickness and MeasureGap. They hold no limit:
// one field serves every limit up to Cap.
type ThicknessParams struct {
	CapMM float64 // values above are not resolved
	// PatchMM is the size of the smallest place that matters; 0 takes half the
	// cap. Values are exact whatever it is. It sets how finely the extent of a
	// thin place on a large facet is told (half of it), and how near to a
	// feather edge the edge's own taper is left to the feather edge.
	PatchMM float64
	// AskedMM is up to which limit Regions will be asked, as far as that is known:
	// it changes no answer, but when the work is done.
	AskedMM float64
}

// ThicknessField holds thickness (or gap) over the surface, measured once and
// good for any limit up to its cap.
//
// The thickness at a surface point is the diameter of the ball that touches the
// surface there from inside and is stopped by opposing surface only: facets
// whose normal is within 60 degrees of the opposite, and the bottom of a sharp
// notch, which a fillet of any size would make such surface. The inward ray to
// opposing surface is the case in which it stands square. So a corner of 60
// degrees or more is no wall.
//
// Both ends of a ball's chord must see each other through the medium: opposed
// surface that stands behind other surface, such as the far side of the next
// facet at a sharp rim, is none (thin_sight.go).
//
// The least thickness of every facet is exact: it is found in closed form
// between facets, not at samples (opposed.go). No thin patch is missed, however
// small beside its facets; only where the nearest opposing surface is hidden,
// what is in sight is looked for on cells of half of PatchMM, or needles of as
// little area. The mesh is taken
// at its word: a tube of n sides with its flats aligned has walls cos(pi/n)
// thinner than the tube it stands for.
//
// Where closed bodies touch or run into each other, surface of one that lies in
// the other bounds nothing, and thickness goes on through it: two plates that
// overlap are as thick as both. Where a single body passes through itself, inner
// surface counts as surface. A facet narrower than eight times Err, which
// rounding turns this way or that, has no side.
//
// A rod or strut of n sides reads up to the share 3.3/n^2 less than across its
// flats, the square of tan(30 deg) pi/n: the ball may lean from one side to a
// neighbour of the opposite one. Of 5 and 7 sides, which have no opposite one, it reads
// up to 32 and 22 % less than from a side to the corner across. Where its sides are cut to needles thinner than
// rounding it reads up to 2 % less, since which facets make a side is seen worse;
// from needles cut to needles again, 5 %.
//
// At a feather edge, a wedge of less than 60 degrees, thickness falls to zero
// whatever the part, and so do gaps in a crevice and both at a vertex where
// opposed facets meet. What the taper from there explains, a value no less than
// that of a wedge of its angle with both ends as near to it, is left out of Min
// and of Regions within PatchMM of it: such a wedge reads what it measures there.
// MeasureFeatherEdges tells of the edge. A tip that is flat, however narrow, is
// no feather edge and reads its width.
type ThicknessField struct {
	Params  ThicknessParams
	Min     float64   // smallest value away from feather edges; +Inf if nothing is below the cap
	MinAt   Vec       // surface point of the smallest value
	Err     float64   // mm: what a value may be off by, on the mesh as it is
	MissMM  float64   // a patch smaller than this may be missed: 0, none is
	FacetMM []float32 // smallest value on each facet, feather edges included, capped: what the map shows

	skin *skin
	m    *Mesh   // the skin's
	side float64 // 1: through material; -1: through empty space
	// Tiles of the skin are the first nodes of a forest; large ones are split in
	// two again and again (cells.go). Values stand at the leaves; lo is no more
	// than the least of the children elsewhere. Few are settled.
	nodes []node
	above []int32 // by twos of the nodes after the tiles: which they are halves of
	gauge gauge   // to measure a node again
	late  lateNodes
	memo  regionMemo
}

// ThinRegion is a connected thin place: both faces of a wall, or of a gap,
// count as one region.
type ThinRegion struct {
	MinMM float64
	At    Vec
	// MeanMM is the mean thickness of what is thinner than the limit, by area.
	MeanMM float64
	// AreaMM2 is the area of the wall as seen from one side: half the area of
	// all surface in the region.
	AreaMM2 float64
	// Free says that the thin place goes on into thicker material on one side
	// only: a free-standing wall. A part that is thin all over is not free, nor
	// is a gap.
	Free bool
	// StandsMM is how far a wall stands out of the thicker material that carries
	// it, in the mean: its surface over the length of its feet. 0 if nothing
	// carries it.
	StandsMM float64
	// WedgeRad is the angle of a wedge that ends in a narrow flat or radius, the
	// least between its faces. 0 for what is no wedge.
	WedgeRad float64
	Box      Box
	Facets   []int32 // with any part in the region, ascending: others may have a part on the same facet
}

// MeasureThickness measures wall thickness.
func MeasureThickness(ctx context.Context, m *Mesh, p ThicknessParams) (*ThicknessField, error) {
	return measureField(ctx, m, p, 1)
}

// MeasureGap measures the same through empty space, between any surfaces of the
// mesh. Surfaces that touch have no gap between them.
func MeasureGap(ctx context.Context, m *Mesh, p ThicknessParams) (*ThicknessField, error) {
	return measureField(ctx, m, p, -1)
}

func measureField(ctx context.Context, m *Mesh, p ThicknessParams, side float64) (*ThicknessField, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	if !(p.CapMM > 0) || math.IsInf(p.CapMM, 0) || !(p.PatchMM >= 0) {
		return nil, fmt.Errorf("measure thickness: cap %v mm and patch %v mm must be positive", p.CapMM, p.PatchMM)
	}
	if p.PatchMM == 0 {
		p.PatchMM = p.CapMM / 2
	}
	t := &ThicknessField{Params: p, side: side, Err: coordErr(m)}
	if err := t.measure(ctx, m); err != nil {
		return nil, err
	}
	if err := t.findMin(ctx); err != nil {
		return nil, err
	}
	return t, nil
}

// coordErr is four times the rounding of the mesh's largest coordinate to
// single precision, in which most files hold them: what no length on the mesh
// is sure by, and how near two surfaces count as touching.
func coordErr(m *Mesh) float64 {
	return 4 * m.largest() * singleErr
}

// encloses reports whether a closed shell encloses anything but what rounding may have
// made, as facets and their backs don't.
func (m *Mesh) encloses(volume, area float64) bool { return math.Abs(volume) > coordErr(m)*area }
