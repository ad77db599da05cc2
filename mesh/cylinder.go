package mesh

import "context"

// Cylinder is a round hole or pin recognised on the mesh.
type Cylinder struct {
	Concave             bool    // a hole; else a pin, strut or post
	Axis                Vec     // unit, mesh coordinates, towards the open end of a blind hole, else its largest component positive
	At                  Vec     // centre of the axis' middle
	DiameterMM          float64 // circle through the vertices (chord export); see the two others
	InscribedMM, AreaMM float64 // diameter of the circle inside the polygon, and of the circle of equal area
	LengthMM            float64 // depth of a hole, length of a pin
	Through             bool    // open at both ends (hole)
	Free                bool    // free at one end (pin, post) rather than held at both (strut)
	Share               float64 // of the circle that is there, 0..1
	Sides               int
	ErrMM               float64 // what the diameter may be off by: residual and chord band
	Facets              []int32
}

// Cylinders holds what was recognised, holes first, then by size and place.
type Cylinders struct {
	Holes, Pins []Cylinder
	HoleOf      []int32 // per facet: index into Holes, or -1
}

// MeasureCylinders recognises round holes and pins.
func MeasureCylinders(ctx context.Context, m *Mesh) (*Cylinders, error) { return nil, errNotYet }
