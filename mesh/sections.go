package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Sections holds horizontal cuts of the part as it stands, evenly spaced.
type Sections struct {
	PitchMM     float64
	Z           []float64 // height of each cut above the part's lowest point
	AreaMM2     []float64
	PerimeterMM []float64
	Islands     []int // separate solid areas
	Largest     int   // index of the largest area; -1 without cuts

	mesh  *Mesh
	frame Frame
	kept  *KeptSections // in place of the mesh
}

// SectionJump is a sudden growth of the melted section.
type SectionJump struct {
	Z        float64 // height above the part's lowest point where it grows most, to half a pitch
	Ratio    float64 // the larger area over the smaller
	From, To float64 // the two areas, mm2, the given height apart and with Z between
	At       Vec     // a point of the new area right above Z, mesh coordinates
}

// MeasureSections cuts the part at the middle of slices of the pitch. Area and
// perimeter are those of the mesh, exact to rounding, where it is closed; of bodies
// that overlap those of their union, as exact as the lines are found in which they
// cross. A vertex on a plane counts as above it. Islands that only overlap count
// apart.
func MeasureSections(ctx context.Context, m *Mesh, f Frame, pitchMM float64) (*Sections, error) {
	c, err := newSlicer(ctx, m, f, pitchMM)
	if err != nil {
		return nil, err
	}
	out, err := c.newSections(ctx)
	if err != nil {
		return nil, err
	}
	if err := c.each(ctx, out.take); err != nil {
		return nil, err
	}
	return out.finish(ctx)
}

// MeasureSlices is MeasureSections and MeasureSlenderness on the same cuts.
func MeasureSlices(ctx context.Context, m *Mesh, f Frame, pitchMM float64) (*Sections, []Slender, error) {
	c, err := newSlicer(ctx, m, f, pitchMM)
	if err != nil {
		return nil, nil, err
	}
	s, err := c.newSections(ctx)
	if err != nil {
		return nil, nil, err
	}
	slender, err := c.slender(ctx, s.take)
	if err != nil {
		return nil, nil, err
	}
	sections, err := s.finish(ctx)
	return sections, slender, err
}

// sectioning makes Sections of cuts.
type sectioning struct {
	*Sections
	planes
	own, united *stance
}

func (c *slicer) newSections(ctx context.Context) (*sectioning, error) {
	united, err := c.united(ctx)
	return &sectioning{&Sections{
		PitchMM: c.pitch, Largest: -1, mesh: c.m, frame: c.frame,
		Z: make([]float64, c.n), AreaMM2: make([]float64, c.n), PerimeterMM: make([]float64, c.n), Islands: make([]int, c.n),
	}, c.planes, c.stance, united}, err
}

// take is told the cut of the mesh at plane k.
func (s *sectioning) take(k int, x *cut) {
	s.Z[k], s.Islands[k] = s.z(k), x.islands()
	if s.united == s.own {
		s.round(k, x)
	}
}

// round is told the cut at plane k whose outline counts.
func (s *sectioning) round(k int, x *cut) { s.AreaMM2[k], s.PerimeterMM[k] = x.area, x.perimeter }

// finish returns the sections, once all cuts of the mesh were taken.
func (s *sectioning) finish(ctx context.Context) (*Sections, error) {
	if s.united != s.own {
		c, err := s.united.slicer(ctx, s.planes)
		if err != nil {
			return nil, err
		}
		if err := c.each(ctx, s.round); err != nil {
			return nil, err
		}
	}
	for k, a := range s.AreaMM2 {
		if s.Largest < 0 || a > s.AreaMM2[s.Largest] {
			s.Largest = k
		}
	}
	return s.Sections, nil
}

// united is the stance of the skin of bodies that overlap; itself if none do.
func (s *stance) united(ctx context.Context) (*stance, error) {
	u, err := s.m.united(ctx)
	if err != nil || u.m == s.m {
		return s, err
	}
	return s.of(ctx, u.m)
}

// Jumps returns, worst first, the places where the section grows most within
// the given height, with a ratio of at least least. Growth right above the
// part's lowest point is its start on the platform and no jump: the lower of
// the two cuts lies at least withinMM above it. Nor is a section above empty
// height one; that is a floating start.
func (s *Sections) Jumps(withinMM, least float64) []SectionJump {
	if s.kept != nil {
		return s.kept.jumps(withinMM, least)
	}
	w := max(1, int(math.Round(withinMM/s.PitchMM)))
	ratio := func(k int) float64 {
		if k-w < 0 || k >= len(s.Z) || s.Z[k-w] < withinMM || s.AreaMM2[k-w] <= 0 {
			return 0
		}
		return s.AreaMM2[k] / s.AreaMM2[k-w]
	}
	out := []SectionJump{}
	var stands *stance
	// A step in the part shows in all cuts up to the height above it: one jump.
	for k := 0; k < len(s.Z); k++ {
		best := k
		for ; ratio(k) >= least; k++ {
			// The first of equal ones, but for rounding.
			if ratio(k) > ratio(best)*(1+1e-9) {
				best = k
			}
		}
		if best < k {
			at := best
			for i := best - w + 1; i < best; i++ {
				if s.grown(i) > s.grown(at) {
					at = i
				}
			}
			j := SectionJump{Z: s.Z[at] - s.PitchMM/2, Ratio: ratio(best), From: s.AreaMM2[best-w], To: s.AreaMM2[best]}
			if stands == nil {
				stands = s.standing()
			}
			j.At = stands.newArea(s.Z[best-w], s.Z[at])
			out = append(out, j)
		}
	}
	slices.SortStableFunc(out, func(a, b SectionJump) int { return cmp.Compare(b.Ratio, a.Ratio) })
	return out
}

// grown is by how much a cut is larger than the one below.
func (s *Sections) grown(k int) float64 { return s.AreaMM2[k] - s.AreaMM2[k-1] }

// standing is the mesh as it was cut; an empty stance where there is none.
func (s *Sections) standing() *stance {
	ctx := context.Background()
	if s.mesh != nil {
		if st, err := newStance(ctx, s.mesh, s.frame); err == nil {
			if st, err = st.united(ctx); err == nil {
				return st
			}
		}
	}
	return &stance{m: New(nil, nil)}
}

// newArea finds a point of what is material at a height and not at the one below:
// of all level lines the middle of the longest stretch.
func (s *stance) newArea(belowMM, zMM float64) Vec {
	q := newSpot(s.segmentsAt(belowMM), s.segmentsAt(zMM))
	return s.back(Vec{q[0], q[1], zMM})
}

// segmentsAt cuts every facet at one height.
func (s *stance) segmentsAt(z float64) []seg {
	c := slicer{stance: s}
	var out []seg
	for f, t := range s.m.Facets {
		x, y, w := s.at[t[0]][2], s.at[t[1]][2], s.at[t[2]][2]
		if min(x, y, w) < z && max(x, y, w) >= z {
			var s seg
			c.segment(int32(f), z, &s)
			c.end(&s, z)
			out = append(out, s)
		}
	}
	return out
}

// spotLines is the number of level lines that look for new area.
const spotLines = 127

func newSpot(old, grown []seg) point {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range grown {
		lo, hi = min(lo, s.from[1]), max(hi, s.from[1])
	}
	var at point
	long := -1.0
	for i := range spotLines {
		y := lo + (hi-lo)*(float64(i)+0.5)/spotLines
		// Material above counts 1, below -2: only new area is 1.
		cs := append(crossings(grown, y, 1), crossings(old, y, -2)...)
		slices.SortFunc(cs, func(a, b xing) int { return cmp.Compare(a.x, b.x) })
		in := 0
		for j, c := range cs {
			in += c.step
			if in == 1 && j+1 < len(cs) && cs[j+1].x-c.x > long {
				long = cs[j+1].x - c.x
				at = point{(cs[j+1].x + c.x) / 2, y}
			}
		}
	}
	return at
}

type xing struct {
	x    float64
	step int
}

// crossings returns where segments meet the line at y, from left to right
// entering material by +step, leaving by -step.
func crossings(segs []seg, y float64, step int) []xing {
	var out []xing
	for i := range segs {
		a, b := segs[i].from, segs[i].to
		if (a[1] < y) == (b[1] < y) {
			continue
		}
		x := a[0] + (b[0]-a[0])*(y-a[1])/(b[1]-a[1])
		if a[1] < y { // runs up: material on its left, so a line from the left leaves it
			out = append(out, xing{x, -step})
		} else {
			out = append(out, xing{x, step})
		}
	}
	return out
}
