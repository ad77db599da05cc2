package mesh

import (
	"context"
	"math"
)

// Inclination says how much surface lies at which angle from the horizontal:
// 0 a ceiling or a floor, 90 degrees a wall. Sums are exact over the facets.
type Inclination struct {
	// UpMM2[i] and DownMM2[i] are the areas of upskin and downskin whose
	// inclination is from i to i+1 steps of 90 degrees over len; a vertical wall
	// is half up and half down, in the last.
	UpMM2, DownMM2 []float64
	RestMM2        float64 // downskin that rests on the platform, counted nowhere else
}

// InclinationRad returns the angle from the horizontal of a surface with the
// given outward unit normal, 0 to pi/2, and whether it is downskin.
func (f Frame) InclinationRad(normal Vec) (rad float64, down bool) {
	z := normal.Dot(f.Z)
	// The angle by both sine and cosine: acos alone loses half the digits near 0.
	flat := math.Sqrt(max(0, normal.Dot(normal)-float64(z*z)))
	return math.Atan2(flat, math.Abs(z)), z < 0
}

// MeasureInclination sums the surface by its inclination in the given number
// of steps. Facets without area count nowhere.
func MeasureInclination(ctx context.Context, m *Mesh, f Frame, steps int) (Inclination, error) {
	s, err := newStance(ctx, m, f)
	if err != nil {
		return Inclination{}, err
	}
	const chunk = 1 << 14
	parts := make([]Inclination, (len(m.Facets)+chunk-1)/chunk)
	err = parallel(ctx, len(m.Facets), chunk, func(from, to int) error {
		p := Inclination{UpMM2: make([]float64, steps), DownMM2: make([]float64, steps)}
		for i := from; i < to; i++ {
			p.add(s, int32(i), steps)
		}
		parts[from/chunk] = p
		return nil
	})
	if err != nil {
		return Inclination{}, err
	}
	sum := Inclination{UpMM2: make([]float64, steps), DownMM2: make([]float64, steps)}
	for _, p := range parts {
		sum.RestMM2 += p.RestMM2
		for i := range steps {
			sum.UpMM2[i] += p.UpMM2[i]
			sum.DownMM2[i] += p.DownMM2[i]
		}
	}
	return sum, nil
}

func (p *Inclination) add(s *stance, f int32, steps int) {
	n, area, _ := s.normal(f)
	if area == 0 {
		return
	}
	if n[2] < 0 && s.facetRests(f) {
		p.RestMM2 += area
		return
	}
	a := math.Atan2(math.Hypot(n[0], n[1]), math.Abs(n[2]))
	i := min(steps-1, int(a/(math.Pi/2)*float64(steps)))
	switch {
	case n[2] < 0:
		p.DownMM2[i] += area
	case n[2] > 0:
		p.UpMM2[i] += area
	default:
		p.UpMM2[i] += area / 2
		p.DownMM2[i] += area / 2
	}
}

// facetRests reports whether a facet lies on the platform with all corners.
func (s *stance) facetRests(f int32) bool { return s.rests(s.top(f)) }
