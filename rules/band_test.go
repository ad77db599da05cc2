package rules

import (
	"slices"
	"strings"
	"testing"

	"corbel/mesh"
	"corbel/spec"
)

// exact says why a limit is held against something that is not off by anything,
// or is no threshold of a measured value.
var exact = map[string]string{
	"envelope.margin":         "extents are known to rounding",
	"overhang.area":           "off by what TestTolerated looks at",
	"overhang.angle":          "a facet's angle, its rounding taken off, so that a face at just the angle passes",
	"floating-start.area":     "facets, summed",
	"wall.area":               "what is thinner than the limit is known facet by facet, and walls halve them until it is",
	"floating-start.height":   "exact on the mesh",
	"feather-edge.angle":      "the angle between two facets",
	"section-jump.ratio":      "sections are exact where they are cut",
	"section-jump.height":     "says over what height sections are compared",
	"powder.openings":         "a count",
	"stock.platform":          "what the spec writes",
	"roughness.up":            "a value of a model, which says about",
	"roughness.down":          "a value of a model, which says about",
	"roughness.flat":          "a value of a model, which says about",
	"tolerance.grade":         "what the spec writes",
	"support-access.diameter": "the tool's",
	"support-access.length":   "the tool's",
	"sinter.size":             "extents are known to rounding",
	"sinter.aspect":           "extents are known to rounding",
	"sinter.shrinkage-xy":     "the material's",
	"sinter.shrinkage-z":      "the material's",
	"pin.strut-angle":         "says from which angle a strut is one",
}

// doubtSeen are the limits that some archive has broken with a doubtful value.
var doubtSeen = map[string]bool{}

const far = 1e6

// doubtful returns what was measured as if nothing of it were known well.
func doubtful(was *Measured) *Measured {
	m := *was
	if m.Cylinders != nil {
		c := *m.Cylinders
		c.Holes, c.Pins = slices.Clone(c.Holes), slices.Clone(c.Pins)
		for _, list := range [][]mesh.Cylinder{c.Holes, c.Pins} {
			for i := range list {
				list[i].ErrMM = far
			}
		}
		m.Cylinders = &c
	}
	if m.Overhang != nil {
		o := *m.Overhang
		o.ReachErr = far
		m.Overhang = &o
	}
	m.Access = slices.Clone(m.Access)
	for i := range m.Access {
		m.Access[i].ShareErr = far
	}
	if m.Ball != nil {
		b := *m.Ball
		b.ErrMM = far
		m.Ball = &b
	}
	if m.Voids != nil {
		v := *m.Voids
		v.Voids = slices.Clone(v.Voids)
		for i := range v.Voids {
			v.Voids[i].ErrMM = far
		}
		v.Passages = slices.Clone(v.Passages)
		for i := range v.Passages {
			v.Passages[i].ErrMM, v.Passages[i].WidthErrMM = far, far
		}
		m.Voids = &v
	}
	return &m
}

// doubted judges a report again, as if its measurements were known to nothing:
// whatever breaks a limit then is too close to call, and its sentence says so.
func (e *Engine) doubted(t *testing.T, r *PartReport) {
	t.Helper()
	if r.Measured == nil || r.Spec == nil {
		return
	}
	p := r.subject()
	p.Measured = doubtful(r.Measured)
	p.Measured.Slender = slices.Clone(r.Measured.Slender)
	for i := range p.Measured.Slender { // heights are known to one pitch: just past the limit, that is the band
		s := &p.Measured.Slender[i]
		if l := slenderLimit(p, *s); l.Set && s.Ratio > l.V {
			s.Ratio = l.V + 0.01
		}
	}
	for _, f := range []*mesh.ThicknessField{p.Measured.Wall, p.Measured.Gap} {
		if f != nil {
			defer func(was float64) { f.Err = was }(f.Err)
			f.Err = far
		}
	}
	for _, c := range e.running(p) {
		if slices.ContainsFunc(c.Needs, func(n Need) bool { return !p.Measured.Has(n) }) {
			continue
		}
		for _, f := range c.Judge(p) {
			if f.limit == "" || exact[f.limit] != "" || c == Stock { // what a face carries is what the spec writes
				continue
			}
			if c.Say != nil {
				c.Say(p, &f)
			}
			doubtSeen[f.limit] = true
			if !f.Undecided || !strings.Contains(f.Message, "too close to call") {
				t.Errorf("%s: known to nothing, and does not say so: %s", f.limit, f.Message)
			}
		}
	}
}

// What is tolerated for its area is not, where its area may be short by as much
// as it is below the limit; a flat face at just the angle puts nothing in doubt.
func TestTolerated(t *testing.T) {
	l := Limit{Def: spec.FindLimit("overhang.area"), V: 4, Set: true}
	p := &Subject{Limits: &Limits{All: []Limit{l}}}
	for _, c := range []struct {
		area, all, short float64
		yes, unsure      bool
	}{
		{4, 4, 0, true, false}, // equal passes
		{3.9, 100, 1, true, false},
		{3.98, 100, 1, false, true},
		{4.01, 100, 1, false, false},
		{3.98, 100, 50, true, false}, // half of all downskin lies at just the angle
	} {
		p.Measured = &Measured{Overhang: &mesh.Overhang{AreaMM2: c.all, AreaErr: c.short}}
		r := mesh.OverhangRegion{AreaMM2: c.area, Kind: mesh.Free}
		if yes, unsure := tolerated(p, r); yes != c.yes || unsure != c.unsure {
			t.Errorf("%g of %g mm2, short by %g: tolerated %v, unsure %v", c.area, c.all, c.short, yes, unsure)
		}
	}
}
