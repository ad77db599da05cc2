package mesh

import "math"

// Foot is what a part stands on.
type Foot struct {
	AreaMM2 float64
	WidthMM float64 // least width of the outline: between the two nearest parallel lines that hold all of it
	At      Vec     // middle of its box, mesh coordinates; without a foot a lowest corner
}

// FootOf returns what the part stands on in a frame, its lift left out: the
// facets whose corners all lie within Frame.RestMM of the lowest point. Several feet
// count as one, from outside to outside, as a table stands. A part that stands on an
// edge or a point has a foot without area or width.
func FootOf(m *Mesh, f Frame) Foot {
	low, at := math.Inf(1), Vec{}
	for _, t := range m.Facets {
		for _, v := range t {
			if h := m.Verts[v].Dot(f.Z); h < low {
				low, at = h, m.Verts[v]
			}
		}
	}
	out := Foot{At: at}
	top := low + f.RestMM(m)
	var ps [][2]float64
	box := EmptyBox()
	for i, t := range m.Facets {
		a, b, c := m.Corners(int32(i))
		if max(a.Dot(f.Z), b.Dot(f.Z), c.Dot(f.Z)) > top {
			continue
		}
		if area := m.Area(int32(i)); area > 0 {
			out.AreaMM2 += area
			for _, v := range t {
				p := f.Turn(m.Verts[v])
				ps = append(ps, [2]float64{p[0], p[1]})
				box = box.Grow(m.Verts[v])
			}
		}
	}
	if len(ps) > 0 {
		out.WidthMM, _ = leastWidth(convexHull(ps))
		out.At = box.Min.Add(box.Max).Scale(0.5)
	}
	return out
}
