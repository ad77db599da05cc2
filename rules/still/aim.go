package still

import (
	"math"

	"corbel/mesh"
	"corbel/rules"
)

// Aim says from where a finding is best seen.
type Aim struct {
	From   mesh.Vec // unit, towards the viewer, mesh coordinates
	Up     mesh.Vec // upwards in the picture
	Centre mesh.Vec
	HalfMM float64 // what to show around the centre
	// Hidden says that other surface stands in front from everywhere; the part
	// is then to be cut at the centre, square to From.
	Hidden bool
}

// corner is the usual view, and sideways the one of a cut part, along the
// machine's axes.
var (
	corner   = mesh.Vec{-0.62, -0.68, 0.52}
	sideways = mesh.Vec{-0.5, -0.82, 0.28}
)

// seenLeast is the share of a place that must be seen for it not to be hidden.
const seenLeast = 0.2

// AimPart looks at the whole part from a corner above.
func AimPart(m *mesh.Mesh, frame mesh.Frame) Aim {
	box := m.Box()
	a := Aim{From: frame.Back(corner).Unit(), Up: frame.Z, Centre: box.Min.Add(box.Max).Scale(0.5)}
	a.HalfMM = max(1e-3, 0.52*box.Diagonal())
	return a
}

// AimFinding looks at the worst place of a finding, from where most of it is
// seen.
func AimFinding(m *mesh.Mesh, frame mesh.Frame, f *rules.Finding) Aim {
	whole := AimPart(m, frame)
	if !f.HasPlace || len(f.Places) == 0 {
		return whole
	}
	p := &f.Places[0]
	a := whole
	size := p.Box.Max.Sub(p.Box.Min)
	a.Centre = p.At
	a.HalfMM = min(whole.HalfMM, max(0.75*size.Norm(), 0.11*whole.HalfMM, 1))
	switch {
	case a.HalfMM == whole.HalfMM:
		a.Centre = whole.Centre
	case size.Norm() < whole.HalfMM: // small enough to see all of it
		a.Centre = p.Box.Min.Add(p.Box.Max).Scale(0.5)
	}
	points := samples(m, p)
	best, seen := -1.0, 0.0
	for _, d := range directions(frame, points) {
		score, share := look(m, points, d)
		// Of directions that see as much, the one most like the usual corner.
		score += 0.12 * d.Dot(whole.From)
		if score > best+1e-9 {
			best, seen, a.From = score, share, d
		}
	}
	if a.Hidden = seen < seenLeast; a.Hidden {
		from := sideways
		if facesDown(frame, points) {
			from[2] = -from[2]
		}
		a.From, a.Centre = frame.Back(from).Unit(), p.At
	}
	return a
}

// point is a place on the surface and its outward normal; a zero normal is a
// place inside.
type point struct{ at, normal mesh.Vec }

// samplesMax bounds the rays that look for a way to see a place.
const samplesMax = 24

// samples spreads points over a place's facets.
func samples(m *mesh.Mesh, p *rules.Place) []point {
	if len(p.Facets) == 0 {
		at := point{at: p.At}
		if near, ok := m.BVH().Nearest(p.At, 1e-3*m.Box().Diagonal(), nil); ok { // a place on the surface
			at.normal = m.Normal(near.Facet)
		}
		return []point{at}
	}
	var out []point
	step := max(1, len(p.Facets)/samplesMax)
	for i := 0; i < len(p.Facets); i += step {
		f := p.Facets[i]
		if n := m.Normal(f); n != (mesh.Vec{}) {
			out = append(out, point{m.Centre(f), n})
		}
	}
	return out
}

// directions are those of a cube's faces, edges and corners in the machine's
// frame, turned off the axes a little so that flat faces show their depth, and
// those along the place's own normals.
func directions(frame mesh.Frame, points []point) []mesh.Vec {
	var out []mesh.Vec
	for i := range 27 {
		d := mesh.Vec{float64(i%3 - 1), float64(i/3%3 - 1), float64(i/9 - 1)}
		if d != (mesh.Vec{}) {
			out = append(out, frame.Back(d.Unit().Add(corner.Scale(0.3))).Unit())
			if d.Norm() == 1 { // down a narrow gap
				out = append(out, frame.Back(d))
			}
		}
	}
	tilt := frame.Back(corner).Scale(0.5)
	for i := 0; i < len(points); i += 1 + len(points)/6 {
		if n := points[i].normal; n != (mesh.Vec{}) {
			out = append(out, n.Add(tilt).Unit(), n)
		}
	}
	return out
}

// facesDown reports whether more of a place faces the platform than not.
func facesDown(frame mesh.Frame, points []point) bool {
	sum := 0.0
	for _, p := range points {
		sum += p.normal.Dot(frame.Z)
	}
	return sum < -0.3*float64(len(points))
}

// look scores how well points are seen from a direction, and returns the share
// of them that is.
func look(m *mesh.Mesh, points []point, d mesh.Vec) (score, share float64) {
	lift := 1e-5 * m.Box().Diagonal()
	faced := 0
	for _, p := range points {
		face := p.normal.Dot(d)
		if face < 0 {
			continue // the other side of a wall, or of a ball, is no loss
		}
		faced++
		if face < 0.1 {
			continue
		}
		if _, hit := m.BVH().Ray(p.at.Add(p.normal.Scale(lift)), d, 0, math.Inf(1)); !hit {
			score += math.Sqrt(face)
			share++
		}
	}
	if faced == 0 {
		return 0, 0
	}
	return score / float64(len(points)), share / float64(faced)
}
