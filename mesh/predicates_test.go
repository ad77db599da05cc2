package mesh

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// ratOrient3 is orient3 in fractions.
func ratOrient3(a, b, c, d Vec) int {
	var m [3][3]*big.Rat
	for i, p := range []Vec{b, c, d} {
		for k := range 3 {
			m[i][k] = new(big.Rat).Sub(new(big.Rat).SetFloat64(p[k]), new(big.Rat).SetFloat64(a[k]))
		}
	}
	mul := func(x, y, z *big.Rat) *big.Rat { return new(big.Rat).Mul(x, new(big.Rat).Mul(y, z)) }
	det := new(big.Rat)
	for k := range 3 {
		det.Add(det, mul(m[0][k], m[1][(k+1)%3], m[2][(k+2)%3]))
		det.Sub(det, mul(m[0][k], m[1][(k+2)%3], m[2][(k+1)%3]))
	}
	return det.Sign()
}

// hardPoints gives four points that are in a plane, nearly so, or anywhere, of
// ordinary and of extreme size.
func hardPoints(rng *rand.Rand) (p [4]Vec) {
	scale := []float64{1, 1, 100, 1e9, 0x1p-40, 1e-200, 1e-308}[rng.IntN(7)]
	for i := range p {
		for k := range 3 {
			switch rng.IntN(3) {
			case 0:
				p[i][k] = float64(rng.IntN(5))
			case 1:
				p[i][k] = rng.Float64()
			default:
				p[i][k] = float64(rng.Float32()) * 10
			}
			p[i][k] *= scale
		}
	}
	switch rng.IntN(3) {
	case 0: // in the plane up to rounding
		s, t := rng.Float64(), rng.Float64()
		p[3] = p[0].Add(p[1].Sub(p[0]).Scale(s)).Add(p[2].Sub(p[0]).Scale(t))
		if rng.IntN(2) == 0 {
			k := rng.IntN(3)
			p[3][k] = math.Nextafter(p[3][k], math.Inf(1))
		}
	case 1: // on an edge up to rounding
		p[3] = p[0].Add(p[1].Sub(p[0]).Scale(.5))
	}
	return p
}

func TestOrientAgainstFractions(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	var zero, unsure, expanded, expanded3 int
	for range 6_000 {
		p := hardPoints(rng)
		want := ratOrient3(p[0], p[1], p[2], p[3])
		if got := orient3(p[0], p[1], p[2], p[3]); got != want {
			t.Fatalf("orient3%v is %d, want %d", p, got, want)
		}
		if got, sure := orient3Fast(p[0], p[1], p[2], p[3]); sure && got != want {
			t.Fatalf("orient3Fast%v is %d, want %d", p, got, want)
		} else if !sure {
			unsure++
		}
		if got, sure := orient3Expanded(p[0], p[1], p[2], p[3]); sure && got != want {
			t.Fatalf("orient3Expanded%v is %d, want %d", p, got, want)
		} else if sure {
			expanded3++
		}
		plane := newFacetPlane(p[0], p[1], p[2])
		if got := plane.side(p[3]); got != 0 && got != want {
			t.Fatalf("side of the plane %v is %d, want %d", p, got, want)
		}
		if want == 0 {
			zero++
		}
		for k := range 3 {
			// Seen along an axis: the same with a point raised along it.
			up := p[0]
			up[k] += max(1, math.Abs(up[k]))
			want := ratOrient3(p[0], p[1], p[2], up)
			if got := orient2(p[0], p[1], p[2], k); got != want {
				t.Fatalf("orient2(%v, %d) is %d, want %d", p[:3], k, got, want)
			}
			i, j := (k+1)%3, (k+2)%3
			if got, sure := turnSignExpanded(p[0][i], p[0][j], p[1][i], p[1][j], p[2][i], p[2][j]); sure && got != want {
				t.Fatalf("turnSignExpanded(%v, %d) is %d, want %d", p[:3], k, got, want)
			} else if sure {
				expanded++
			}
		}
	}
	if zero < 20 || unsure < 200 || expanded < 10_000 || expanded == 3*6_000 || expanded3 < 3_000 || expanded3 == 6_000 {
		t.Errorf("only %d cases in a plane and %d hard ones, %d and %d by expansion", zero, unsure, expanded, expanded3)
	}
}

// TestTrianglesMeetBrute compares, on a small grid where touching and overlap in
// a plane are common, with ratMeet.
func TestTrianglesMeetBrute(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	meet, apartCount, crossCount := 0, 0, 0
	for range 20_000 {
		var p, q [3]Vec
		for i := range 3 {
			for k := range 3 {
				p[i][k], q[i][k] = float64(rng.IntN(4)), float64(rng.IntN(4))
			}
		}
		if !hasArea(p[0], p[1], p[2]) || !hasArea(q[0], q[1], q[2]) {
			continue
		}
		got, want := trianglesMeet(&p, &q), ratMeet(&p, &q)
		if got != want {
			t.Fatalf("%v and %v: meet %v, want %v", p, q, got, want)
		}
		if got, sure := cross(&p, &q); sure {
			crossCount++
			if got != want {
				t.Fatalf("%v and %v: cross %v, want %v", p, q, got, want)
			}
		}
		if apart(&p, &q) {
			apartCount++
		}
		if apart(&p, &q) == want { // whole numbers are told apart however near
			t.Fatalf("%v and %v: apart %v", p, q, want)
		}
		if want {
			meet++
		}
	}
	if meet < 1000 || apartCount < 1000 || crossCount < 1000 {
		t.Errorf("only %d pairs meet, %d are apart, %d have no corner in a plane", meet, apartCount, crossCount)
	}
}

// ratMeet asks, in fractions, whether any edge of one triangle has a point in
// the other: it clips the edge, as parameters from 0 to 1, by the other's plane
// and by the three planes through its edges across it.
func ratMeet(p, q *[3]Vec) bool {
	for k := range 3 {
		if ratClip(p[k], p[(k+1)%3], q) || ratClip(q[k], q[(k+1)%3], p) {
			return true
		}
	}
	return false
}

func ratClip(a, b Vec, t *[3]Vec) bool {
	// Small whole numbers: doubles are exact.
	n := t[1].Sub(t[0]).Cross(t[2].Sub(t[0]))
	lo, hi := big.NewRat(0, 1), big.NewRat(1, 1)
	keep := func(fa, fb float64) bool { // where fa + s (fb-fa) >= 0
		if fa < 0 && fb < 0 {
			return false
		}
		if fa >= 0 && fb >= 0 {
			return true
		}
		s := new(big.Rat).Quo(new(big.Rat).SetFloat64(fa), new(big.Rat).SetFloat64(fa-fb))
		if fa < 0 && s.Cmp(lo) > 0 {
			lo = s
		} else if fa >= 0 && s.Cmp(hi) < 0 {
			hi = s
		}
		return lo.Cmp(hi) <= 0
	}
	fa, fb := n.Dot(a.Sub(t[0])), n.Dot(b.Sub(t[0]))
	ok := keep(fa, fb) && keep(-fa, -fb)
	for k := 0; ok && k < 3; k++ {
		m := n.Cross(t[(k+1)%3].Sub(t[k]))
		ok = keep(m.Dot(a.Sub(t[k])), m.Dot(b.Sub(t[k])))
	}
	return ok
}

// TestFacetsMeetBrute: with a shared corner or edge, what is beyond it counts.
func TestFacetsMeetBrute(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	found := [3]int{}
	for range 40_000 {
		vs := make([]Vec, 5)
		for i := range vs {
			for k := range 3 {
				vs[i][k] = float64(rng.IntN(5))
			}
		}
		for shares, g := range [][3]int32{1: {0, 3, 4}, 2: {1, 0, 3}} {
			if shares == 0 || !hasArea(vs[0], vs[1], vs[2]) || !hasArea(vs[g[0]], vs[g[1]], vs[g[2]]) {
				continue
			}
			m := New(vs, [][3]int32{{0, 1, 2}, g})
			plane := newFacetPlane(vs[0], vs[1], vs[2])
			got := !plane.besides(m, 0, 1) && facetsMeet(m, 0, 1)
			p, q := [3]Vec{vs[0], vs[1], vs[2]}, [3]Vec{vs[g[0]], vs[g[1]], vs[g[2]]}
			var want bool
			if shares == 1 { // the edges across from the corner tell
				want = ratClip(p[1], p[2], &q) || ratClip(q[1], q[2], &p)
			} else {
				n := p[1].Sub(p[0]).Cross(p[2].Sub(p[0]))
				side := p[1].Sub(p[0]).Cross(q[2].Sub(p[0]))
				want = n.Cross(side) == (Vec{}) && n.Dot(side) > 0
			}
			if got != want {
				t.Fatalf("%v with facets %v: meet %v, want %v", vs, m.Facets, got, want)
			}
			if want {
				found[shares]++
			}
		}
	}
	if found[1] < 500 || found[2] < 500 {
		t.Errorf("too few cases meet: %v", found)
	}
}
