package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Stand is what a build direction costs in geometry, exact sums over facets
// but for SupportMM3.
type Stand struct {
	Up           Vec     // unit, mesh coordinates
	HeightMM     float64 // extent along Up
	OverhangMM2  float64 // downskin lower than the angle, without what rests on the platform
	ProjectedMM2 float64 // the same, seen along Up
	ContactMM2   float64 // what rests on the platform
	SupportMM3   float64 // columns from the overhang straight down to the platform, as if nothing of the part lay between: an upper bound
}

// restTol is the share of the box's diagonal within which a facet's corners
// count as lying on the platform; wider than float32 rounding (6e-8 of the
// coordinates), narrower than any layer.
const restTol = 1e-6

// MeasureStands examines many build directions at once: facets whose surface
// lies lower than angleRad from the horizontal are overhang, equal passes by
// slackRad. Directions need not be units. One pass over the facets a
// direction, in parallel over directions.
func MeasureStands(ctx context.Context, m *Mesh, ups []Vec, angleRad, slackRad float64) ([]Stand, error) {
	out := make([]Stand, len(ups))
	areas := make([]float64, len(m.Facets))
	used := make([]bool, len(m.Verts))
	for f, t := range m.Facets {
		areas[f] = m.Area(int32(f))
		used[t[0]], used[t[1]], used[t[2]] = true, true, true
	}
	var verts []Vec
	for v, u := range used {
		if u {
			verts = append(verts, m.Verts[v])
		}
	}
	tol := restTol * m.Box().Diagonal()
	err := parallel(ctx, len(ups), 1, func(from, to int) error {
		for i := from; i < to; i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			out[i] = stand(m, verts, areas, ups[i].Unit(), math.Cos(max(0, angleRad-slackRad)), tol)
		}
		return nil
	})
	return out, err
}

func stand(m *Mesh, verts []Vec, areas []float64, up Vec, cosMin, tol float64) Stand {
	s := Stand{Up: up}
	if len(verts) == 0 {
		return s
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range verts {
		h := p.Dot(up)
		lo, hi = min(lo, h), max(hi, h)
	}
	s.HeightMM = hi - lo
	for f, n := range m.normals() {
		c := -n.Dot(up)
		if c <= cosMin {
			continue
		}
		p, q, r := m.Corners(int32(f))
		a, b, d := p.Dot(up)-lo, q.Dot(up)-lo, r.Dot(up)-lo
		if max(a, b, d) <= tol {
			s.ContactMM2 += areas[f]
			continue
		}
		s.OverhangMM2 += areas[f]
		s.ProjectedMM2 += areas[f] * c
		s.SupportMM3 += areas[f] * c * (a + b + d) / 3
	}
	return s
}

// FlatFace is a connected flat piece of surface.
type FlatFace struct {
	Normal  Vec // outward
	AreaMM2 float64
	At      Vec  // centroid
	Outer   bool // on the convex hull: the part can stand on it
	Facets  []int32
}

// flatTol is how far, in radians, the normals of one flat face may differ from
// that of its first facet: below any tessellated curve that is meant as one.
const flatTol = 1e-3

// FlatFaces returns the flat pieces of at least leastMM2, largest first, at
// most count of them (0 = all).
func FlatFaces(ctx context.Context, m *Mesh, leastMM2 float64, count int) ([]FlatFace, error) {
	topo := m.Topology()
	seen := make([]bool, len(m.Facets))
	cosTol := math.Cos(flatTol)
	tol := restTol * m.Box().Diagonal()
	var out []FlatFace
	var queue []int32
	for f := range m.Facets {
		if f%(1<<14) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if seen[f] || m.Normal(int32(f)) == (Vec{}) {
			continue
		}
		n := m.Normal(int32(f))
		seen[f] = true
		queue = append(queue[:0], int32(f))
		face := FlatFace{}
		var sum Vec
		for len(queue) > 0 {
			g := queue[len(queue)-1]
			queue = queue[:len(queue)-1]
			a := m.Area(g)
			face.AreaMM2 += a
			face.At = face.At.Add(m.Centre(g).Scale(a))
			sum = sum.Add(m.Normal(g).Scale(a))
			face.Facets = append(face.Facets, g)
			for k := range 3 {
				if h := topo.Neighbour(g, k); h >= 0 && !seen[h] && m.Normal(h).Dot(n) >= cosTol {
					seen[h] = true
					queue = append(queue, h)
				}
			}
		}
		if face.AreaMM2 < leastMM2 || face.AreaMM2 == 0 {
			continue
		}
		face.Normal = sum.Unit()
		face.At = face.At.Scale(1 / face.AreaMM2)
		slices.Sort(face.Facets)
		out = append(out, face)
	}
	slices.SortStableFunc(out, func(a, b FlatFace) int { return cmp.Compare(b.AreaMM2, a.AreaMM2) })
	if count > 0 && len(out) > count {
		out = out[:count]
	}
	for i := range out {
		out[i].Outer = outermost(m, out[i], tol)
	}
	return out, nil
}

// outermost reports whether no vertex lies beyond the face's plane. Vertices
// of the face itself may wander by flatTol, so they set the plane.
func outermost(m *Mesh, f FlatFace, tol float64) bool {
	plane := math.Inf(-1)
	for _, g := range f.Facets {
		for _, v := range m.Facets[g] {
			plane = max(plane, m.Verts[v].Dot(f.Normal))
		}
	}
	for _, t := range m.Facets {
		for _, v := range t {
			if m.Verts[v].Dot(f.Normal) > plane+tol {
				return false
			}
		}
	}
	return true
}

// SphereDirections returns about count directions spread evenly over the
// sphere: the golden-section spiral (Saff and Kuijlaars 1997, "Distributing
// many points on a sphere").
func SphereDirections(count int) []Vec {
	out := make([]Vec, count)
	golden := math.Pi * (3 - math.Sqrt(5))
	for i := range out {
		z := 1 - (2*float64(i)+1)/float64(count)
		r := math.Sqrt(max(0, 1-z*z))
		s, c := math.Sincos(golden * float64(i))
		out[i] = Vec{r * c, r * s, z}
	}
	return out
}

// DirectionsAround returns count directions on a circle of the given angle
// about a direction.
func DirectionsAround(d Vec, angleRad float64, count int) []Vec {
	f := NewFrame(d, 0, 0)
	sa, ca := math.Sincos(angleRad)
	out := make([]Vec, count)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(count))
		out[i] = f.Z.Scale(ca).Add(f.X.Scale(sa * c)).Add(f.Y.Scale(sa * s))
	}
	return out
}
