package mesh

import "context"

// VoidParams steer MeasureVoids.
type VoidParams struct {
	PitchMM  float64 // of the grid; 0 chooses by size and memory
	MaxCells int64   // bound on the grid; 0 = default
}

// Void is an inner space of the part.
type Void struct {
	Sealed     bool
	VolumeMM3  float64
	AreaMM2    float64
	BallMM     float64 // diameter of the largest ball inside
	At         Vec     // its centre
	EscapeMM   float64 // diameter of the largest ball that can get out; 0 if sealed
	EscapeAt   Vec     // the throat
	Openings   int     // separate ways out as wide as a quarter of the widest or more
	OpeningsAt []Vec
	WayMM      float64 // length of the widest way out, from the chamber to the outside
	Box        Box
	ErrMM      float64 // what EscapeMM may be off by
	Shells     []int32 // surface shells that bound a sealed void
}

// Voids holds the voids, largest first.
type Voids struct {
	Voids   []Void
	PitchMM float64 // of the grid used
	SeenMM  float64 // ways out and vented chambers narrower than this may be missed
}

// MeasureVoids finds sealed voids exactly (nesting of shells) and vented ones
// as chambers of the distance field of empty space.
func MeasureVoids(ctx context.Context, m *Mesh, p VoidParams) (*Voids, error) { return nil, errNotYet }

// Ball is the largest ball inside the material.
type Ball struct {
	DiameterMM float64
	At         Vec
	ErrMM      float64
}

// MeasureLargestBall finds the largest inscribed ball.
func MeasureLargestBall(ctx context.Context, m *Mesh) (Ball, error) { return Ball{}, errNotYet }
