package mesh

// This file takes from round surfaces what other bodies cover.

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// uncover leaves of pieces what the skin of bodies that meet leaves of them: one for
// each stretch along the axis that bodies part from the others, with its facets,
// length, and share of the circle, which may then be too small.
func (x *cylFinder) uncover(ctx context.Context) (err error) {
	if x.skin, err = x.m.united(ctx); err != nil || x.skin.share == nil {
		return err
	}
	bare := make([][]cylPiece, len(x.pieces))
	err = parallel(ctx, len(x.pieces), 8, func(from, to int) error {
		w := x.worker()
		defer x.release(w)
		for i := from; i < to; i++ {
			if err := ctx.Err(); err != nil {
				return err
			}
			bare[i] = w.uncover(&x.pieces[i])
		}
		return nil
	})
	x.pieces = slices.Concat(bare...)
	return err
}

// bareFacet is one of the skin on a round surface.
type bareFacet struct {
	low, high float64 // along the axis
	facet, of int32   // of the skin, and of the whole mesh
}

func (w *cylWork) uncover(p *cylPiece) (out []cylPiece) {
	skin := w.x.skin
	if !slices.ContainsFunc(p.Facets, func(f int32) bool { return !skin.share.whole(f) }) {
		return []cylPiece{*p}
	}
	var bare []bareFacet
	for _, f := range p.Facets {
		for t, end := skin.pieces(f); t < end; t++ {
			b := bareFacet{math.Inf(1), math.Inf(-1), t, f}
			for _, v := range skin.m.Facets[t] {
				_, _, z := p.fit.point(skin.m.Verts[v])
				b.low, b.high = min(b.low, z), max(b.high, z)
			}
			bare = append(bare, b)
		}
	}
	slices.SortFunc(bare, func(a, b bareFacet) int {
		return cmp.Or(cmp.Compare(a.low, b.low), cmp.Compare(a.facet, b.facet))
	})
	tol := w.endTol(p)
	for i := 0; i < len(bare); {
		j, high := i, bare[i].high
		for ; j < len(bare) && bare[j].low <= high+tol; j++ {
			high = max(high, bare[j].high)
		}
		if low := bare[i].low; high > low {
			out = append(out, w.stretch(p, bare[i:j], low, high))
		}
		i = j
	}
	return out
}

// endTol is how far apart two ends of a round surface are one, in mm.
func (w *cylWork) endTol(p *cylPiece) float64 { return 10*w.x.coordTol + 1e-3*p.fit.r }

// stretch is what of a piece lies between two heights, where its facets are bare.
func (w *cylWork) stretch(p *cylPiece, bare []bareFacet, low, high float64) cylPiece {
	s := *p
	s.Facets = nil
	var of []int32
	for _, b := range bare {
		s.Facets, of = append(s.Facets, b.of), append(of, b.facet)
	}
	slices.Sort(s.Facets)
	s.Facets = slices.Compact(s.Facets)
	tol := w.endTol(p)
	s.Share = min(p.Share, w.shareAtBest(&p.fit, w.x.skin.m, of, low, high))
	s.cut = [2]bool{low > -p.LengthMM/2+tol, high < p.LengthMM/2-tol}
	s.LengthMM = high - low
	s.At = p.fit.c.Add(p.fit.a.Scale((low + high) / 2))
	s.fit.c = s.At
	return s
}

// closedByBody reports whether another body lies at an end of a round surface, the
// first or the second: in its mouth, or under its foot.
func (w *cylWork) closedByBody(p *cylPiece, end int) bool {
	if w.x.skin.share == nil || p.cut[end] {
		return p.cut[end]
	}
	const probes = 8
	beyond := float64(2*end-1) * (p.LengthMM/2 + w.endTol(p))
	covered := 0
	for i := range probes {
		s, c := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / probes)
		off := p.fit.u.Scale(c).Add(p.fit.v.Scale(s)).Scale(p.fit.r / 2)
		if w.x.m.inside(p.At.Add(p.fit.a.Scale(beyond)).Add(off)) {
			covered++
		}
	}
	return 2*covered > probes
}
