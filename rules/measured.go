package rules

import "corbel/mesh"

// Need names a measurement that checks read.
type Need string

// The measurements. Those marked (frame) depend on how the part stands.
const (
	NeedIntegrity Need = "integrity"
	NeedMass      Need = "mass properties"
	NeedBox       Need = "oriented box"     // (frame)
	NeedOverhang  Need = "overhang regions" // (frame)
	NeedStarts    Need = "floating starts"  // (frame)
	NeedWall      Need = "wall thickness"
	NeedGap       Need = "gap width"
	NeedFeather   Need = "feather edges"
	NeedBall      Need = "largest ball"
	NeedCylinders Need = "holes and pins"
	NeedVoids     Need = "voids"
	NeedSections  Need = "sections"    // (frame)
	NeedSlender   Need = "slenderness" // (frame)
)

// Measured holds the measurements of one part as it stands. A nil field was
// not asked for, or failed: then Failed has the reason.
type Measured struct {
	Frame     mesh.Frame
	Integrity *mesh.Integrity
	Mass      *mesh.Mass
	Box       *mesh.OrientedBox
	Overhang  *mesh.Overhang
	Starts    []mesh.FloatingStart // nil with Has(NeedStarts) means none there
	Wall, Gap *mesh.ThicknessField
	Feather   []mesh.FeatherEdge
	Ball      *mesh.Ball
	Cylinders *mesh.Cylinders
	Voids     *mesh.Voids
	Sections  *mesh.Sections
	Slender   []mesh.Slender

	Failed map[Need]error

	have map[Need]bool
}

// Has reports whether a measurement was made.
func (m *Measured) Has(n Need) bool { return m != nil && m.have[n] }
