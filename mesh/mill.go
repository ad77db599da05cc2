package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file asks whether a part could be milled from a block or a bar: how much
// would be cut away, and what a straight tool does not reach.

// Milling is what the geometry says about milling a part from the full.
type Milling struct {
	Stock    Stock         // the smallest of those tried
	Ratio    float64       // its volume over the part's; 0 where the part has no volume
	Share    float64       // of the surface that the tool reaches from the six axis directions
	ShareErr float64       // what Share may be off by: two standard deviations of a count on all samples, and one sample
	Missed   []MissedPatch // worst first; specks of less than missedLeast of the surface are left out
}

// Stock is a block or a round bar around the part.
type Stock struct {
	Round     bool
	Axis      Vec     // along which a bar runs, or about which a block is turned
	Size      Vec     // of a block: two sides across the axis, longer first, and the length along it; of a bar: diameter twice
	VolumeMM3 float64 // with the allowance
}

// MissedPatch is a smooth piece of surface of which the tool misses a part.
type MissedPatch struct {
	AreaMM2 float64 // about what is missed
	At      Vec     // a place that is missed
	Box     Box     // of the places that are missed
}

// MillParams steer MeasureMilling.
type MillParams struct {
	Tool
	AllowanceMM float64 // of the stock, a side
	Samples     int     // places tried; 0 is 2048
	// Bores are drilled, not milled: they count as reached where a drill gets in
	// along their axis, and their bottoms as inBore says. May be nil.
	Bores *Cylinders
}

const (
	millSamples = 2048
	missedLeast = 1e-4
	// patchRad parts the surface into patches at creases sharper than this.
	patchRad = 30 * math.Pi / 180
	// A patch of more samples than this would be cut short by MeasureAccess.
	patchPieces = 32
)

// sixWays are the directions from which a part is clamped and cut.
var sixWays = []Vec{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}}

// MeasureMilling finds the smallest stock among blocks and bars along the
// mesh's axes, and the share of the surface that the tool reaches from the six
// of them (see MeasureAccess for what counts as reached: a corner that a round
// tool can't fill does). Undercuts that a tilted or special tool reaches count
// as missed, and how the part would be clamped is not asked. So the share is
// what plain three-axis milling in six set-ups gets at, no more, with what drills and
// end mills of their own size get at in bores; the walls and the bottom of each are tried
// at some 24 places. The bottom counts that is of one body with the bore.
func MeasureMilling(ctx context.Context, m *Mesh, p MillParams) (Milling, error) {
	if err := m.Prepare(ctx); err != nil {
		return Milling{}, err
	}
	var out Milling
	mass, err := MeasureMass(ctx, m)
	if err != nil || len(m.Facets) == 0 {
		return out, err
	}
	if out.Stock, err = smallestStock(ctx, m, p.AllowanceMM); err != nil {
		return out, err
	}
	if mass.VolumeMM3 > 0 {
		out.Ratio = out.Stock.VolumeMM3 / mass.VolumeMM3
	}
	patches, err := patchesOf(ctx, m, p.Bores)
	if err != nil {
		return out, err
	}
	if p.Samples <= 0 {
		p.Samples = millSamples
	}
	facets := make([][]int32, len(patches))
	for i := range patches {
		facets[i] = patches[i].facets
	}
	got, err := MeasureAccess(ctx, m, facets, AccessParams{Tool: p.Tool, Directions: sixWays, Samples: p.Samples})
	if err != nil {
		return out, err
	}
	for i, b := range patches {
		if b.bore < 0 || got[i].Share == 1 {
			continue
		}
		a, err := inBore(ctx, m, &p.Bores.Holes[b.bore], b.facets, p.Tool)
		if err != nil {
			return out, err
		}
		if a.Share > got[i].Share {
			got[i] = a
		}
	}
	if p.Bores != nil {
		for i := range p.Bores.Holes {
			h := &p.Bores.Holes[i]
			a, err := inBore(ctx, m, h, h.Facets, p.Tool)
			if err != nil {
				return out, err
			}
			facets, got = append(facets, h.Facets), append(got, a)
		}
	}
	area, reached, n := 0.0, 0.0, 0
	for i, a := range got {
		size := 0.0
		for _, f := range facets[i] {
			size += m.Area(f)
		}
		if a.Samples == 0 {
			continue // too small to be tried
		}
		area += size
		reached += size * a.Share
		n += a.Samples
		if missed := size * (1 - a.Share); missed > 0 {
			out.Missed = append(out.Missed, MissedPatch{missed, a.At, a.Missed})
		}
	}
	if area > 0 {
		out.Share = reached / area
		out.ShareErr = 2*math.Sqrt(out.Share*(1-out.Share)/float64(n)) + 1/float64(n)
	}
	out.Missed = slices.DeleteFunc(out.Missed, func(p MissedPatch) bool { return p.AreaMM2 < missedLeast*area })
	slices.SortStableFunc(out.Missed, func(a, b MissedPatch) int { return cmp.Compare(b.AreaMM2, a.AreaMM2) })
	return out, nil
}

const (
	// boreShare is how thick a tool is tried, as a share of its bore: the corners
	// of a polygon and a little tilt must not stop it.
	boreShare = 0.8
	// A bottom is flat that has a facet this square to the bore: a drill's point of
	// 118 or 140 degrees is not.
	bottomFlatRad = 10 * degree
	boreSamples   = 24
)

// inBore asks of facets in a bore whether the tool that makes the bore gets there from either
// end. Walls, and what a drill's point leaves, are drilled, however deep. What is flat is cut
// by an end mill of the bore's diameter, as long, beside that, as mill is beside its own.
func inBore(ctx context.Context, m *Mesh, h *Cylinder, facets []int32, mill Tool) (Access, error) {
	tool := Tool{DiameterMM: boreShare * h.DiameterMM, LengthMM: m.Box().Diagonal() + h.DiameterMM}
	if slices.ContainsFunc(facets, func(f int32) bool { return math.Abs(m.Normal(f).Dot(h.Axis)) > math.Cos(bottomFlatRad) }) {
		tool.LengthMM, tool.HolderMM = mill.LengthMM*h.DiameterMM/mill.DiameterMM, mill.HolderMM*h.DiameterMM/mill.DiameterMM
	}
	a, err := MeasureAccess(ctx, m, [][]int32{facets}, AccessParams{Tool: tool, Directions: []Vec{h.Axis, h.Axis.Scale(-1)}, Samples: boreSamples})
	if err != nil {
		return Access{}, err
	}
	return a[0], nil
}

func smallestStock(ctx context.Context, m *Mesh, allowance float64) (Stock, error) {
	best := Stock{VolumeMM3: math.Inf(1)}
	for _, axis := range []Vec{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}} {
		b, err := MeasureBox(ctx, m, NewFrame(axis, 0, 0))
		if err != nil {
			return best, err
		}
		l := b.Size[2] + 2*allowance
		w, d := b.FootSize[0]+2*allowance, b.FootSize[1]+2*allowance
		if v := w * d * l; v < best.VolumeMM3*(1-1e-9) {
			best = Stock{false, axis, Vec{w, d, l}, v}
		}
		r := b.Radius + allowance
		if v := math.Pi * r * r * l; v < best.VolumeMM3*(1-1e-9) {
			best = Stock{true, axis, Vec{2 * r, 2 * r, l}, v}
		}
	}
	return best, nil
}

// millPatch is a smooth piece of surface outside bores. If it borders on bores alone, as
// their bottoms and steps do, bore is the widest of them, else -1.
type millPatch struct {
	facets []int32
	bore   int32
}

// patchesOf parts the surface at its creases. Large patches are cut into
// pieces along their longest side, so that every place has its share of the
// samples.
func patchesOf(ctx context.Context, m *Mesh, bores *Cylinders) ([]millPatch, error) {
	topo := m.Topology()
	const untold, bore = 0, -1
	of := make([]int32, len(m.Facets)) // number of the patch, from 1
	if bores != nil {
		for f, h := range bores.HoleOf {
			if h >= 0 {
				of[f] = bore
			}
		}
	}
	cos := math.Cos(patchRad)
	total := 0.0
	for f := range m.Facets {
		total += m.Area(int32(f))
	}
	var out []millPatch
	number := int32(0)
	for f := range m.Facets {
		if f%(1<<14) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if of[f] != untold {
			continue
		}
		number++
		of[f] = number
		patch := []int32{int32(f)}
		for i := 0; i < len(patch); i++ {
			g := patch[i]
			for k := range 3 {
				if h := topo.Neighbour(g, k); h >= 0 && of[h] == untold && m.Normal(h).Dot(m.Normal(g)) >= cos {
					of[h] = number
					patch = append(patch, h)
				}
			}
		}
		widest := int32(-1)
	border:
		for _, g := range patch {
			for k := range 3 {
				switch h := topo.Neighbour(g, k); {
				case h >= 0 && of[h] == number:
				case h < 0 || of[h] != bore:
					widest = -1
					break border
				case widest < 0 || bores.Holes[bores.HoleOf[h]].DiameterMM > bores.Holes[widest].DiameterMM:
					widest = bores.HoleOf[h]
				}
			}
		}
		slices.Sort(patch)
		for _, piece := range m.cutPatch(patch, total/patchPieces) {
			out = append(out, millPatch{piece, widest})
		}
	}
	return out, nil
}

// cutPatch halves a patch by area until no piece is larger than most.
func (m *Mesh) cutPatch(patch []int32, most float64) [][]int32 {
	area, box := 0.0, EmptyBox()
	for _, f := range patch {
		area += m.Area(f)
		box = box.Grow(m.Centre(f))
	}
	if area <= most || len(patch) < 2 {
		return [][]int32{patch}
	}
	k, size := 0, box.Size()
	for j := range 3 {
		if size[j] > size[k] {
			k = j
		}
	}
	slices.SortFunc(patch, func(a, b int32) int {
		return cmp.Or(cmp.Compare(m.Centre(a)[k], m.Centre(b)[k]), cmp.Compare(a, b))
	})
	half, sum := 1, m.Area(patch[0])
	for ; half < len(patch)-1 && sum < area/2; half++ {
		sum += m.Area(patch[half])
	}
	return append(m.cutPatch(slices.Clone(patch[:half]), most), m.cutPatch(slices.Clone(patch[half:]), most)...)
}
