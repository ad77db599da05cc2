package mesh

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The grid has material where the nesting of shells has it, and clearances to the
// nearest of all places where its lines cross the surface, found by looking at each.
func TestGridClearance(t *testing.T) {
	ctx := t.Context()
	for _, file := range []string{"parts/bent_pipe.stl", "parts/gears_17_bodies.3mf", "parts/chain_40_links.3mf", "parts/helix.stl", "made/crossing.stl", "dirty/cube_no_bottom.obj"} {
		m, err := Load(ctx, "../testdata/meshes/"+file, LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		n, err := m.nested.get(ctx)
		if err != nil {
			t.Fatal(err)
		}
		g, err := newGrid(ctx, n, n.box, gridPitch(n.box, 4000))
		if err != nil {
			t.Fatal(err)
		}
		xs, err := g.cross(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var places []Vec
		for k, x := range xs {
			u, v := (k+1)%3, (k+2)%3
			for line := range x.ends {
				list, _ := x.line(line)
				for _, c := range list {
					var p Vec
					p[k], p[u], p[v] = float64(c.at), float64(line%g.size[u]), float64(line/g.size[u])
					places = append(places, p)
				}
			}
		}
		empty := 0
		for i, got := range g.clear {
			x, y, z := g.coords(int32(i))
			at := Vec{float64(x), float64(y), float64(z)}
			want := math.Inf(1)
			for _, p := range places {
				d := p.Sub(at)
				want = min(want, d.Dot(d))
			}
			want = math.Sqrt(want)
			if in := n.solid(g.at(int32(i))); in != (got == 0) && n.sound && want > gridLeast {
				t.Fatalf("%s: cell %d has clearance %g, and that it is in material is %v", file, i, got, in)
			}
			if got == 0 {
				continue
			}
			empty++
			if want = max(want, gridLeast); !(math.Abs(float64(got)-want) <= 1e-4*(1+want)) {
				t.Fatalf("%s: cell %d has clearance %g, want %g", file, i, got, want)
			}
		}
		if empty == 0 || empty == len(g.clear) {
			t.Errorf("%s: %d of %d cells are empty", file, empty, len(g.clear))
		}
	}
}

// Values spread along rows and columns to the least of value plus squared distance,
// to the last bit, from near and far, however many lines there are.
func TestSpread(t *testing.T) {
	inf := float32(math.Inf(1))
	rng := rand.New(rand.NewPCG(2, 6))
	far := 0 // cells whose least comes from farther than eight at a time look
	for round := range 400 {
		n, lines := 5+rng.IntN(300), 5+rng.IntN(20)
		if round%2 == 0 {
			n = 5 + rng.IntN(30)
		}
		rows, want := make([]float32, n*lines), make([]float32, n*lines)
		full, empty := rng.Float64(), rng.Float64()/2
		for l := range lines {
			row := rows[l*n : (l+1)*n]
			none := rng.Float64() < empty
			for i := range row {
				x := rng.Float32() * float32(rng.IntN(30))
				if round%3 == 0 {
					x = float32(rng.IntN(20)) / 2 // many are equal, and many where they cross
				}
				row[i] = x * x
				if none || rng.Float64() > full*full {
					row[i] = inf
				}
			}
			for q := range row {
				least, from := inf, q
				for i, h := range row {
					if v := float32((q-i)*(q-i)) + h; v < least {
						least, from = v, i
					}
				}
				want[l*n+q] = least
				if from-q > nearReach || q-from > nearReach {
					far++
				}
			}
		}
		stride := lines + rng.IntN(3)
		columns, alone := make([]float32, n*stride), append([]float32(nil), rows...)
		for i, v := range rows {
			columns[i%n*stride+i/n] = v
		}
		e := newEnvelope(max(n, lines))
		e.spreadColumns(columns, lines, n, stride)
		e.spreadRows(rows, n)
		for l := range lines {
			e.spread(alone[l*n : (l+1)*n])
		}
		for i, v := range want {
			if rows[i] != v || alone[i] != v || columns[i%n*stride+i/n] != v {
				t.Fatalf("round %d: cell %d of line %d of %d by %d has %g in a row, %g alone and %g in a column, want %g",
					round, i%n, i/n, n, lines, rows[i], alone[i], columns[i%n*stride+i/n], v)
			}
		}
	}
	if far < 1000 {
		t.Errorf("%d cells have their least from far: a test of near ones alone", far)
	}
}
