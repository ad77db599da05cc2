package spec

// Range is a half-open range of byte offsets.
type Range struct{ Start, End int }

// Value is a value of the text with its places. Set is false where the key is
// absent or its value could not be understood (then a Problem says so).
type Value[T any] struct {
	V   T
	Set bool
	Key Range // of the last part of the key
	At  Range // of the value
}

// Dim is the dimension of a quantity.
type Dim uint8

// The dimensions of the language. The base unit of each is what Quantity.V holds.
const (
	None        Dim = iota // a plain number or ratio
	Length                 // mm
	Angle                  // rad
	Area                   // mm2
	Volume                 // mm3
	Mass                   // g
	Density                // g/cm3
	Time                   // s
	Rate                   // cm3/h
	Speed                  // mm/s
	Roughness              // mm (Ra); shown in um
	Temperature            // degC
)

// Quantity is a number with its unit, as written and in the base unit.
type Quantity struct {
	V    float64 // in the base unit of Dim
	Dim  Dim
	Num  float64 // as written
	Unit string  // as written
}

// Fix is a text edit that mends a problem.
type Fix struct {
	Title string
	At    Range
	Text  string
}

// Problem is something wrong with the text itself.
type Problem struct {
	At      Range
	Key     string // dotted key it belongs to, may be empty
	Message string // one sentence that stands alone
	Help    string // what to do
	Level   string // "error", "warning" or "note"
	Fixes   []Fix
}

// Vec3 is a position or direction as written, in mesh units.
type Vec3 [3]float64

// Part is a part spec.
type Part struct {
	File string // name as given
	Doc  *Doc

	Schema   Value[int]
	Name     Value[string] // key "part"
	Drawing  Value[string]
	Process  Value[string]
	Material Value[string]
	Machine  Value[string]
	Quantity Value[int]
	Use      Value[string]
	Shop     Value[string]

	Mesh struct {
		Table Range // header of [mesh], or zero
		File  Value[string]
		Units Value[string]
	}
	Orientation struct {
		Table Range
		Up    Value[Vec3] // "+z" and the like are already vectors
		Turn  Value[Quantity]
		Lift  Value[Quantity]
	}
	Holes []Hole
	Faces []Face
	Voids []VoidDecl
	Route struct {
		Table Range
		Steps Value[[]Value[string]]
	}
	Budget struct {
		Table Range
		Cost  Value[float64]
		Mass  Value[Quantity]
	}
	Limits  []LimitEntry
	Waivers []Waiver
}

// Hole is a [[hole]].
type Hole struct {
	Table     Range
	Name      Value[string]
	At        Value[Vec3]
	Diameter  Value[Quantity]
	Finish    Value[string]
	Tolerance Value[string]
}

// Face is a [[face]].
type Face struct {
	Table     Range
	Name      Value[string]
	At        Value[Vec3]
	Finish    Value[string]
	Stock     Value[Quantity]
	Roughness Value[Quantity]
}

// VoidDecl is a [[void]].
type VoidDecl struct {
	Table  Range
	Name   Value[string]
	At     Value[Vec3]
	Sealed Value[bool]
}

// LimitEntry is one limit as written in a part spec or shop file: a quantity,
// or { value = "0.5 mm", source = "why" }.
type LimitEntry struct {
	Name   string // "wall.thickness"
	Key    Range
	Value  Value[Quantity]
	Source Value[string]
}

// Waiver is a [[waiver]].
type Waiver struct {
	Table  Range
	Check  Value[string]
	Near   Value[Vec3]
	Within Value[Quantity]
	Reason Value[string]
	Until  Value[Date]
}

// Date is a calendar day.
type Date struct{ Year, Month, Day int }

// Shop is a shop file.
type Shop struct {
	File string
	Doc  *Doc

	Schema   Value[int]
	Name     Value[string] // key "shop"
	Revision Value[string]
	Currency Value[string]
	Extends  Value[string]

	Limits    []LimitSet
	Levels    []LevelEntry
	Policy    Policy
	Rates     Rates
	Machines  []Machine
	Materials []Material
}

// LimitSet is the limits of one process, or of one material or machine under it.
type LimitSet struct {
	Process  Value[string] // V is the name in the header; At and Key are its place
	Material Value[string] // Set only under .material
	Machine  Value[string] // Set only under .machine
	Table    Range
	Limits   []LimitEntry
}

// LevelEntry sets the level of a check: error, warning, note or off.
type LevelEntry struct {
	Check Value[string]
	Level Value[string]
}

// Policy is [policy].
type Policy struct {
	Table      Range
	Waivable   Value[[]Value[string]]
	Loosen     Value[[]Value[string]]
	WaiverDays Value[int]
}

// Machine is a [[machine]].
type Machine struct {
	Table     Range
	Name      Value[string]
	Process   Value[string]
	Materials Value[[]Value[string]]
	Build     struct {
		Set      bool
		At       Range
		X, Y, Z  Value[Quantity]
		Diameter Value[Quantity]
	}
	Margin Value[Quantity]
	Layer  Value[Quantity]
	Recoat Value[Quantity]
	Setup  Value[Quantity] // preparation and cool-down of a job
	Rate   Value[float64]  // currency per hour

	Gas       Value[float64]  // currency per hour of building
	BuildRate Value[Quantity] // stands over the material's
	Contour   Value[Quantity] // speed along the outlines, where the build rate leaves them out
	Spacing   Value[Quantity] // between parts
}

// Rates is [rates]: what work costs beside the machine.
type Rates struct {
	Table        Range
	Work         Value[float64]  // currency per hour by hand
	Job          Value[float64]  // currency per build job
	Furnace      Value[float64]  // currency per furnace run
	Part         Value[float64]  // currency per part
	Removal      Value[Quantity] // time by hand per cm2 of support on the part
	PowderLoss   Value[float64]  // share
	SupportShare Value[float64]  // solid share of a support's column
}

// Material is a [[material]]; built-in ones come from the embedded shop file.
type Material struct {
	Table       Range
	Name        Value[string]
	Density     Value[Quantity]
	Price       Value[float64] // currency per kg
	BuildRate   Value[Quantity]
	ShrinkageXY Value[float64] // linear, share of the green length, BJT/M and MEX/M
	ShrinkageZ  Value[float64]
	Packing     Value[float64] // share of solid in loose powder
	Reactive    Value[bool]    // powder burns: raises levels and cautions
	Source      Value[string]
}
