package mesh

import "context"

// Mass holds the exact sums over facets, shells signed by their winding.
type Mass struct {
	VolumeMM3 float64
	AreaMM2   float64
	Centroid  Vec           // of the volume; of the surface where the volume is not positive
	Inertia   [3][3]float64 // about the centroid, unit density, mm5
}

// OrientedBox is the part as it stands.
type OrientedBox struct {
	Size      Vec        // extents along the machine's axes
	Min       Vec        // lowest corner along the machine's axes, before any shift
	Footprint [2]Vec     // not used by limits: two corners of the smallest rectangle about Z (machine axes), see FootTurn
	FootSize  [2]float64 // sides of the smallest rectangle about the build direction, longer first
	FootTurn  float64    // radians: turning the part by this about Z lays the longer side along X
	Radius    float64    // of the smallest circle about the build direction that holds the part (round platforms)
}

// MeasureMass returns volume, area, centroid and inertia.
func MeasureMass(ctx context.Context, m *Mesh) (Mass, error) { return Mass{}, errNotYet }

// MeasureBox returns the extents in the frame.
func MeasureBox(ctx context.Context, m *Mesh, f Frame) (OrientedBox, error) {
	return OrientedBox{}, errNotYet
}
