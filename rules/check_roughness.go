package rules

import (
	"fmt"

	"corbel/rules/estimate"
	"corbel/spec"
)

// Roughness compares what a face asks with what it comes out as.
var Roughness = &Check{
	Name:    "roughness",
	Summary: "A face that is left as built comes out no rougher, at its inclination, than it may be.",
	Why: "Roughness follows the inclination: half-molten powder sticks to every side, the layers show as steps on what faces up, " +
		"and downskin melts into the powder below, the more the flatter it lies.",
	Wrong: "A seal leaks, a flow is throttled, a fatigue crack starts in a notch; the face is machined after all, and has no stock.",
	Sources: []Source{
		{"Ti-6Al-4V and IN718 8 to 15 um up and side, 15 to 25 um at 45 deg, 30 to 45 um at 30 to 35 deg: Triantaphyllou et al. 2015; Cabanettes et al. 2018", "published, from memory"},
		{"as built mostly under 20 um, 5 to 50 um in all: introduction of an article on machining after laser powder bed fusion, ProQuest 2534700785, 2021", "published, read"},
		{"steps alone do not tell the roughness, stuck particles fill them: Strano et al. 2013, J Mater Process Technol 213:589", "published, read"},
		{"the curve through the three values by inclination is our own", "common practice, no source"},
	},
	Limits: limits("roughness.up", "roughness.down", "roughness.flat"),
	Needs:  []Need{NeedBox, NeedCylinders, NeedOverhang, NeedSupport},
	Judge:  judgeRoughness,
	Say:    sayRoughness,
}

// predicted is what a face comes out as.
type predicted struct {
	faceOnMesh
	raMM   float64
	deg    float64 // inclination of the roughest place
	down   bool
	told   bool    // a roughness is predicted there; false for flat downskin and what is sawn
	origin *Origin // of the value that the prediction rests on
}

func judgeRoughness(p *Subject) []Finding {
	var out []Finding
	marks := p.supportMarks()
	for _, s := range p.faces() {
		d := s.decl
		if !d.Roughness.Set || d.Finish.Set && d.Finish.V != "as-built" || s.off > strayMM {
			continue
		}
		pre, ok := p.predict(s)
		asked := d.Roughness.V.V
		if !ok || pre.told && pre.raMM <= asked+equalErr(asked) || !pre.told && !s.rests && marks.on(s.facets) != "" {
			continue // good enough, or told by stock: support scars it
		}
		f := Finding{Count: 1, HasValue: pre.told, Measured: pre.raMM * 1000, Limit: asked * 1000, Unit: "um", LimitFrom: pre.origin}
		if !pre.told {
			f.Measured, f.Limit, f.Unit = 0, 0, ""
		}
		s.put(p, &f, "rough")
		f.Where = Location{p.Spec.File, "face.roughness", d.Roughness.At}
		f.detail = pre
		f.Fixes = finishFix(p.Spec.Doc, d, s.finishFor(asked))
		out = append(out, f)
	}
	return out
}

// predict returns the roughest that a surface comes out as.
func (p *Subject) predict(s faceOnMesh) (predicted, bool) {
	up, ok := p.Limit("roughness.up")
	down, ok2 := p.Limit("roughness.down")
	flat, ok3 := p.Limit("roughness.flat")
	if !ok || !ok2 || !ok3 {
		return predicted{}, false
	}
	out := predicted{faceOnMesh: s, origin: &up.Origin}
	if s.rests {
		// Sawn off, but for what stands on a setter or a sheet.
		out.raMM, out.told = up.V, p.Spec.Process.V == BinderJet || p.Spec.Process.V == Extrusion
		return out, true
	}
	layer := 0.0
	if m, ok := p.Shop.Machine(p.Spec.Machine.V); ok && m.Layer.Set {
		layer = m.Layer.V.V
	}
	out.told = true
	for _, facet := range s.facets {
		rad, faces := p.Measured.Frame.InclinationRad(p.Mesh.Normal(facet))
		deg := degrees(rad)
		ra, from, told := 0.0, &up.Origin, true
		switch {
		case faces && deg < 89.5:
			if deg < 30 && deg >= 30-degrees(angleSlackRad) {
				deg = 30
			}
			ra, told = estimate.DownskinRoughness(deg, up.V, down.V, flat.V)
			if from = &down.Origin; deg < 45-degrees(angleSlackRad) {
				from = &flat.Origin
			}
		default:
			faces = false
			ra = estimate.UpskinRoughness(deg, up.V, layer)
		}
		if out.told && (!told || ra > out.raMM) {
			out.raMM, out.deg, out.down, out.told, out.origin = ra, deg, faces, told, from
		}
	}
	return out, true
}

// finishFor names the gentlest finish that gives a roughness: milling or turning
// to about 1.6 um, grinding to 0.4 um (common practice, no source).
func (s *faceOnMesh) finishFor(raMM float64) string {
	switch {
	case raMM >= 0.0016-1e-9 && s.round:
		return "turn"
	case raMM >= 0.0016-1e-9:
		return "mill"
	case raMM >= 0.0004-1e-9:
		return "grind"
	}
	return "polish"
}

// finishFix offers to write a finish.
func finishFix(doc *spec.Doc, d *spec.Face, finish string) []spec.Fix {
	line := fmt.Sprintf("finish = %q", finish)
	if d.Finish.Set {
		return []spec.Fix{{Title: "Write " + line, At: d.Finish.At, Text: fmt.Sprintf("%q", finish)}}
	}
	return addKey(doc, d.At, line)
}

func sayRoughness(p *Subject, f *Finding) {
	d := f.detail.(predicted)
	asked := plain(d.decl.Roughness.V.V * 1000)
	name, place := fmt.Sprintf("Face %q", d.decl.Name.V), p.near(f.At)
	finish := d.finishFor(d.decl.Roughness.V.V)
	f.Help = fmt.Sprintf("Name a finish that gives it, such as %q with stock, or turn the face upright or upwards.", finish)
	switch {
	case d.rests && !d.told:
		f.Message = fmt.Sprintf("%s asks for Ra %s um and no finish, and stands on the platform, where the saw leaves it, %s.", name, asked, place)
		f.Help = fmt.Sprintf("Name a finish that gives it, such as %q with stock for the saw, or stand the part on another face.", finish)
	case !d.told:
		f.Message = fmt.Sprintf("%s asks for Ra %s um as built and faces down at %s deg, too flat to predict any, %s.", name, asked, plain(roundTo(d.deg, 0)), place)
	default:
		value, limit := pair(f.Measured, f.Limit, 1)
		how := fmt.Sprintf("facing down at %s deg", plain(roundTo(d.deg, 0)))
		if !d.down {
			how = fmt.Sprintf("facing up at %s deg", plain(roundTo(d.deg, 0)))
			f.Help = fmt.Sprintf("Name a finish that gives it, such as %q with stock, or allow %s um.", finish, value)
		}
		if d.deg > 85 {
			how = "standing upright"
		}
		f.Message = fmt.Sprintf("%s comes out at about Ra %s um as built, %s, and asks for %s um, %s.", name, value, how, limit, place)
	}
}
