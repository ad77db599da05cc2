package mesh

import "context"

// OverhangParams steer MeasureOverhang.
type OverhangParams struct {
	AngleRad float64 // facets whose surface lies lower than this from the horizontal are overhang; equal passes
	SlackRad float64 // tessellation noise let pass: flagged if inclination < AngleRad - SlackRad
	HoleOf   []int32 // per facet the index of the hole it belongs to, or -1; regions end at a hole's rim; may be nil
}

// OverhangKind says how a region is held.
type OverhangKind string

// Ledge is carried on one side, Bridge on opposite sides, Free nowhere.
const (
	Ledge  OverhangKind = "ledge"
	Bridge OverhangKind = "bridge"
	Free   OverhangKind = "free"
)

// OverhangRegion is one connected piece of downskin below the angle.
type OverhangRegion struct {
	AreaMM2        float64
	ProjectedMM2   float64 // seen along the build direction
	InclinationRad float64 // least
	ReachMM        float64 // largest distance from a point of the region to where it is carried from below
	Kind           OverhangKind
	At             Vec   // the point of the largest reach, or the lowest point of a free region
	Box            Box   // mesh coordinates
	Hole           int32 // index of the hole whose roof this is, or -1
	Facets         []int32
}

// Overhang holds the regions, largest first.
type Overhang struct {
	AreaMM2  float64
	Regions  []OverhangRegion
	ReachErr float64 // mm: what ReachMM may be off by
}

// MeasureOverhang finds the overhang regions of the part as it stands. Facets
// that lie on the platform (the part's lowest plane, at lift 0) are none.
func MeasureOverhang(ctx context.Context, m *Mesh, f Frame, p OverhangParams) (Overhang, error) {
	return Overhang{}, errNotYet
}

// FloatingStart is a connected local minimum of height with nothing below it
// to grow from.
type FloatingStart struct {
	At      Vec     // mesh coordinates
	Kind    string  // "point", "edge" or "face"
	AreaMM2 float64 // of a face; 0 else
	Height  float64 // above the platform, mm
	Facets  []int32 // touching the minimum
}

// MeasureFloatingStarts finds every local minimum of height that is not on the platform.
func MeasureFloatingStarts(ctx context.Context, m *Mesh, f Frame) ([]FloatingStart, error) {
	return nil, errNotYet
}
