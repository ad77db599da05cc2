package mesh

import (
	"cmp"
	"context"
	"slices"
)

// VoidParams steer MeasureVoids.
type VoidParams struct {
	PitchMM  float64 // of the grid; 0 chooses by size and memory
	MaxCells int64   // bound on the grid; 0 = default
}

// Void is an inner space of the part.
type Void struct {
	Sealed     bool
	VolumeMM3  float64
	AreaMM2    float64
	BallMM     float64 // diameter of the largest ball inside
	At         Vec     // its centre
	EscapeMM   float64 // diameter of the largest ball that can get out; 0 if sealed
	EscapeAt   Vec     // the throat
	Openings   int     // separate ways out as wide as a quarter of the widest or more
	OpeningsAt []Vec
	WayMM      float64 // length of the widest way out, from the chamber to the outside
	Box        Box
	ErrMM      float64 // what EscapeMM may be off by
	Shells     []int32 // surface shells that bound a sealed void
}

// Voids holds the voids, largest first.
type Voids struct {
	Voids   []Void
	PitchMM float64 // of the grid used
	SeenMM  float64 // passages, ways out and vented chambers narrower than this may be missed; 0 where there can be none
	// Passages are the long narrow ways through or into the part, the deepest for
	// its width first. The way out of a void is one of them where it is long.
	Passages []Passage
}

// MeasureVoids finds sealed voids exactly (nesting of shells) and vented ones
// as chambers of the distance field of empty space. So it does those that several
// bodies close between them, which no shell has: narrower than SeenMM they may be missed,
// and their volume is counted in cells.
func MeasureVoids(ctx context.Context, m *Mesh, p VoidParams) (*Voids, error) {
	if err := m.Prepare(ctx); err != nil {
		return nil, err
	}
	v := &Voids{}
	if len(m.Facets) == 0 {
		return v, ctx.Err()
	}
	n, err := m.nested.get(ctx)
	if err != nil {
		return nil, err
	}
	if v.Voids, err = sealedVoids(ctx, n); err != nil {
		return nil, err
	}
	if p.MaxCells == 0 {
		p.MaxCells = DefaultVoidCells
	}
	v.PitchMM = max(p.PitchMM, gridPitch(n.box, p.MaxCells))
	if star, err := starShaped(ctx, n, starShare*v.PitchMM); star || err != nil {
		return v, err
	}
	v.SeenMM = voidSeen * v.PitchMM
	g, err := newGrid(ctx, n, n.box, v.PitchMM)
	if err != nil {
		return nil, err
	}
	if v.Passages, err = findPassages(ctx, g); err != nil {
		return nil, err
	}
	vented, err := ventedVoids(ctx, g)
	v.Voids = append(v.Voids, vented...)
	slices.SortStableFunc(v.Voids, func(a, b Void) int { return cmp.Compare(b.VolumeMM3, a.VolumeMM3) })
	return v, err
}

// DefaultVoidCells bounds the grid where VoidParams says nothing; a cell takes
// 6 bytes, and 10 where there may be rooms.
const DefaultVoidCells = 4 << 20

// voidSeen is the narrowest way, in cells, that can't be missed: cells that a
// line runs through have centres within half their diagonal of it, and next to
// one another.
const voidSeen = 1.75

// sealedVoids returns the spaces inside shells of odd depth, but of those that are
// no thicker than coordinates are rounded (facets and their backs). What lies in such
// a space (a loose ball) takes its volume from it.
func sealedVoids(ctx context.Context, n *nest) ([]Void, error) {
	var out []Void
	for i := range n.shells {
		s := &n.shells[i]
		if s.depth%2 == 0 || !n.m.encloses(s.volume, s.area) {
			continue
		}
		v := Void{Sealed: true, VolumeMM3: s.volume, AreaMM2: s.area, Box: s.box, Shells: []int32{int32(i)}}
		for j := range n.shells {
			if o := &n.shells[j]; o.parent == int32(i) {
				v.VolumeMM3 -= o.volume
				v.AreaMM2 += o.area
				v.Shells = append(v.Shells, int32(j))
			}
		}
		ball, err := largestBall(ctx, n.m, s.box, func(p Vec) bool {
			return n.holds(v.Shells[0], p) && !slices.ContainsFunc(v.Shells[1:], func(j int32) bool { return n.holds(j, p) })
		}, func(f int32) int { return -n.weight(f) })
		if err != nil {
			return nil, err
		}
		v.BallMM, v.At = ball.DiameterMM, ball.At
		out = append(out, v)
	}
	return out, nil
}
