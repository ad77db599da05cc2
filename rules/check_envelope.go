package rules

import (
	"fmt"
	"strings"

	"corbel/mesh"
	"corbel/rules/estimate"
	"corbel/spec"
)

// Envelope compares the part as it stands with the machine's build envelope.
var Envelope = &Check{
	Name:    "envelope",
	Summary: "The part as it stands, with its lift and its margins, fits the machine; sintered parts by their green size.",
	Why:     "What does not fit can't be built, and near the edge of the platform the process is at its worst. A part to be sintered is built larger than drawn.",
	Wrong:   "The job can't be placed, or the part is cut off at the edge; a green part that was sized by the drawing does not fit after scaling.",
	Sources: []Source{
		{"5 mm from the edge of the platform", "common practice, no source"},
		{"green = sintered / (1 - s), Z shrinks about 15 % more than X and Y: Cabo Rios et al. 2022, Powder Metall 65(4):273", "published, read"},
	},
	Limits: limits("envelope.margin"),
	Needs:  []Need{NeedBox, NeedWays},
	Judge:  judgeEnvelope,
	Say:    sayEnvelope,
}

// stand is a part's need of room: extents with the sinter scale, no margins.
type stand struct {
	size   [3]float64 // along the machine's axes, mm
	radius float64    // of the smallest circle about the build direction
	lift   float64
}

// room is what a machine offers, margins taken off.
type room struct {
	round bool
	size  [3]float64 // x and y mean nothing where round
	dia   float64
}

func judgeEnvelope(p *Subject) []Finding {
	m, ok := p.Shop.Machine(p.Spec.Machine.V)
	if !ok || !m.Build.Set {
		return nil
	}
	have, need := p.room(m), p.stand()
	if have.holds(need) {
		return nil
	}
	_, axis := have.lacks(need)
	margin, _ := p.Limit("envelope.margin")
	f := Finding{HasValue: true, Unit: "mm", Count: 1, Where: p.whereMachine(), feature: axis, detail: envelopeDetail{axis, m, margin.V}}
	f.Measured, f.Limit = need.along(axis), have.along(axis)
	from := newOrigin(&spec.Shop{File: m.File, Doc: m.Doc}, "machine", m.Build.At, m.Build.At, "")
	f.LimitFrom = &from
	f.Fixes = p.wayFixes()
	f.Related = []Related{{Location{m.File, "machine.build", m.Build.At}, "the build envelope"}}
	return []Finding{f}
}

type envelopeDetail struct {
	axis    string
	machine Machine
	margin  float64
}

// stand is the part as it stands, at its green size.
func (p *Subject) stand() stand {
	b := p.Measured.Box
	xy, z := p.greenScale()
	lift := 0.0
	if p.Spec.Orientation.Lift.Set {
		lift = p.Spec.Orientation.Lift.V.V
	}
	return stand{[3]float64{b.Size[0] * xy, b.Size[1] * xy, b.Size[2] * z}, b.Radius * xy, lift}
}

// greenScale is how much larger a part is built than drawn, in plane and
// upwards; 1 for processes without sintering.
func (p *Subject) greenScale() (xy, z float64) {
	if p.Spec.Process.V != BinderJet && p.Spec.Process.V != Extrusion {
		return 1, 1
	}
	sxy, sz := p.Shrinkage()
	return estimate.Green(1, sxy), estimate.Green(1, sz)
}

// Shrinkage of the material in its process, linear, as a share of the green
// length: the material's own, else the process's.
func (p *Subject) Shrinkage() (xy, z float64) {
	if l, ok := p.Limit("sinter.shrinkage-xy"); ok {
		xy = l.V
	}
	if l, ok := p.Limit("sinter.shrinkage-z"); ok {
		z = l.V
	}
	if m, ok := p.Material(); ok {
		if m.ShrinkageXY.Set {
			xy = m.ShrinkageXY.V
		}
		if m.ShrinkageZ.Set {
			z = m.ShrinkageZ.V
		}
	}
	return min(xy, 0.9), min(z, 0.9)
}

// room is a machine's build envelope without its margins. The margin is kept
// from every side but the platform and the top.
func (p *Subject) room(m Machine) room {
	margin := 0.0
	if l, ok := p.Limit("envelope.margin"); ok {
		margin = l.V
	}
	if m.Margin.Set && m.Name.V != p.Spec.Machine.V { // another machine than the limits were resolved for
		margin = m.Margin.V.V
	}
	b := m.Build
	r := room{round: b.Diameter.Set, size: [3]float64{b.X.V.V - 2*margin, b.Y.V.V - 2*margin, b.Z.V.V}}
	if r.round {
		r.dia = b.Diameter.V.V - 2*margin
	}
	return r
}

// lacks returns by how much the part is too large, and where: "x", "y", "z" or
// "diameter"; not positive where it fits.
func (r room) lacks(s stand) (over float64, axis string) {
	over, axis = s.size[2]+s.lift-r.size[2], "z"
	if r.round {
		if o := 2*s.radius - r.dia; o > over {
			over, axis = o, "diameter"
		}
		return over, axis
	}
	for k, name := range []string{"x", "y"} {
		if o := s.size[k] - r.size[k]; o > over {
			over, axis = o, name
		}
	}
	return over, axis
}

func (r room) holds(s stand) bool {
	over, _ := r.lacks(s)
	return over <= equalErr(r.size[2])
}

func (r room) along(axis string) float64 {
	if axis == "diameter" {
		return r.dia
	}
	return r.size[strings.Index("xyz", axis)]
}

func (s stand) along(axis string) float64 {
	switch axis {
	case "diameter":
		return 2 * s.radius
	case "z":
		return s.size[2] + s.lift
	}
	return s.size[strings.Index("xyz", axis)]
}

func unitAxis(k int) mesh.Vec {
	var v mesh.Vec
	v[k] = 1
	return v
}

// whereMachine is the machine's name, or the process.
func (p *Subject) whereMachine() Location {
	if p.Spec.Machine.Set {
		return Location{p.Spec.File, "machine", p.Spec.Machine.At}
	}
	return p.whereMesh()
}

func sayEnvelope(p *Subject, f *Finding) {
	d := f.detail.(envelopeDetail)
	value, limit := pair(f.Measured, f.Limit, 0.05)
	what, left := "long along "+d.axis, fmt.Sprintf(", margins of %s mm taken off", plain(d.margin))
	switch d.axis {
	case "z":
		what, left = "high", ""
		if o := p.Spec.Orientation.Lift; o.Set && o.V.V > 0 {
			left = ", its lift counted in"
		}
	case "diameter":
		what = "across"
	}
	size := "Part"
	if xy, _ := p.greenScale(); xy != 1 {
		size = "Green part"
	}
	f.Message = fmt.Sprintf("%s is %s mm %s, more than the %s mm that machine %q holds%s.", size, value, what, limit, d.machine.Name.V, left)
	f.Help = p.sayWays()
}
