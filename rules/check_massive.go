package rules

import (
	"fmt"

	"corbel/mesh"
	"corbel/rules/estimate"
)

// MassiveSection finds solid lumps.
var MassiveSection = &Check{
	Name:    "massive-section",
	Summary: "The largest ball inside the material is no larger than the process deals with.",
	Why: "In powder bed fusion a solid lump stores heat and residual stress. In binder jetting and extrusion binder has to diffuse out through it, " +
		"and the time for that grows with the square of the section.",
	Wrong: "The part warps or cracks, tears off its supports, or bends when it is cut off; a sintered part blisters or cracks where binder stayed.",
	Sources: []Source{
		{"residual stress grows with height and stiffness: Mercelis and Kruth 2006, Rapid Prototyp J 12(5):254", "published, from memory"},
		{"debinding time grows with the square of the section: German and Bose 1997, Injection Molding of Metals and Ceramics", "published, from memory"},
		{"heat-treating on the platform before cutting is common: ASTM F3301, introduction", "published, read"},
		{"25 mm, 50 mm, 10 mm and 6 mm by process", "common practice, no source"},
	},
	Limits: limits("massive-section.thickness"),
	Needs:  []Need{NeedBall},
	Solid:  true,
	Judge:  judgeMassive,
	Say:    sayMassive,
}

func judgeMassive(p *Subject) []Finding {
	limit, _ := p.Limit("massive-section.thickness")
	b := p.Measured.Ball
	f, bad := breach(limit, b.DiameterMM, b.ErrMM)
	if !bad {
		return nil
	}
	r := b.DiameterMM / 2
	half := mesh.Vec{r, r, r}
	f.place(b.At, mesh.Box{Min: b.At.Sub(half), Max: b.At.Add(half)}, 0, nil)
	f.Where, f.feature = p.whereMesh(), "ball"
	return []Finding{f}
}

func sayMassive(p *Subject, f *Finding) {
	value, limit := pair(f.Measured, f.Limit, max(f.Band, 0.05))
	f.Message = fmt.Sprintf("Section is so massive that a ball of %s mm fits inside, more than %s mm for %s, %s%s.", value, limit, p.forWhat(), p.near(f.At), closeCall(f))
	f.Help = "Hollow it with a way out for powder, thin it, or split the mass into ribs; plan stress relief on the platform."
	if p.Spec.Process.V == BinderJet || p.Spec.Process.V == Extrusion {
		f.Help = "Hollow it with vents, or core it from the setter side, so that binder finds a short way out."
		if times := estimate.DebindingTimes(f.Measured, f.Limit); times >= tellTimes {
			f.Help += fmt.Sprintf(" As it is, that takes %s times as long as out of %s mm.", rounded(times), limit)
		}
	}
}
