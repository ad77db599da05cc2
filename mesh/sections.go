package mesh

import "context"

// Sections holds horizontal cuts of the part as it stands, evenly spaced.
type Sections struct {
	PitchMM     float64
	Z           []float64 // height of each cut above the part's lowest point
	AreaMM2     []float64
	PerimeterMM []float64
	Islands     []int // separate solid areas
	Largest     int   // index of the largest area
}

// SectionJump is a sudden growth of the melted section.
type SectionJump struct {
	Z        float64 // height above the part's lowest point where it is largest
	Ratio    float64 // area at Z over area Within below
	From, To float64 // the two areas, mm2
	At       Vec     // a point of the new area, mesh coordinates
}

// MeasureSections cuts the part at the middle of slices of the pitch.
func MeasureSections(ctx context.Context, m *Mesh, f Frame, pitchMM float64) (*Sections, error) {
	return nil, errNotYet
}

// Jumps returns, worst first, the places where the section grows most within
// the given height, with a ratio of at least least.
func (s *Sections) Jumps(withinMM, least float64) []SectionJump { return nil }

// Slender is a tall thin feature that stands free above some height.
type Slender struct {
	Ratio    float64 // HeightMM over WidthMM
	HeightMM float64 // from where it stands free to its top
	WidthMM  float64 // least width of its section over that height
	Kind     string  // "wall" (long section) or "column" (compact section)
	Z        float64 // where it starts to stand free, above the part's lowest point
	At       Vec     // at its top, mesh coordinates
	Box      Box     // mesh coordinates
}

// MeasureSlenderness finds what stands free, most slender first.
func MeasureSlenderness(ctx context.Context, m *Mesh, f Frame, pitchMM float64) ([]Slender, error) {
	return nil, errNotYet
}
