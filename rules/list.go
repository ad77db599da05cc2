package rules

// checks is the one list, in the order of the manual.
var checks = []*Check{Spec, Mesh, Envelope, Overhang, FloatingStart, Wall, FeatherEdge, MassiveSection, Hole, Pin, Gap, Powder, Slenderness, SectionJump,
	Stock, Roughness, Tolerance, SupportAccess, Route, Budget, Sinter}

// Checks returns every check, in the order of the manual.
func Checks() []*Check { return checks }

// ByName returns a check, or nil.
func ByName(name string) *Check {
	for _, c := range checks {
		if c.Name == name {
			return c
		}
	}
	return nil
}
