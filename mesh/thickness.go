package mesh

import "context"

// ThicknessParams steer MeasureThickness and MeasureGap. They hold no limit:
// one field serves every limit up to Cap.
type ThicknessParams struct {
	CapMM   float64 // values above are not resolved
	PatchMM float64 // a thin patch that holds a disc of this diameter can't be missed
}

// ThicknessField holds thickness (or gap) over the surface, measured once and
// good for any limit up to its cap.
type ThicknessField struct {
	Params  ThicknessParams
	Min     float64   // smallest value; +Inf if nothing is below the cap
	MinAt   Vec       // surface point of the smallest value
	Err     float64   // mm: what a value may be off by
	MissMM  float64   // a patch smaller than this may be missed
	FacetMM []float32 // smallest value on each facet, capped: what the map shows

	m       *Mesh
	samples thicknessSamples
}

// ThinRegion is a connected piece of surface with values below a limit.
type ThinRegion struct {
	MinMM   float64
	At      Vec
	AreaMM2 float64
	Free    bool // held along one side only (a free-standing wall); always false for gaps
	Box     Box
	Facets  []int32
}

type thicknessSamples struct{}

// MeasureThickness measures wall thickness: the smaller of the inward ray's
// length and the diameter of the ball that touches the surface there and is
// stopped by opposing surface only (normals opposed by more than 120 degrees).
func MeasureThickness(ctx context.Context, m *Mesh, p ThicknessParams) (*ThicknessField, error) {
	return nil, errNotYet
}

// MeasureGap measures the same through empty space.
func MeasureGap(ctx context.Context, m *Mesh, p ThicknessParams) (*ThicknessField, error) {
	return nil, errNotYet
}

// Regions returns the connected regions with values below limit, thinnest first.
func (t *ThicknessField) Regions(limitMM float64) []ThinRegion { return nil }

// FeatherEdge is a run of connected convex edges sharper than an angle.
type FeatherEdge struct {
	AngleRad float64 // sharpest wedge of the run
	LengthMM float64
	At       Vec
	Box      Box
	Facets   []int32
}

// MeasureFeatherEdges finds convex edges whose wedge is sharper than the angle, sharpest first.
func MeasureFeatherEdges(ctx context.Context, m *Mesh, angleRad float64) ([]FeatherEdge, error) {
	return nil, errNotYet
}
