package mesh_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"corbel/mesh"
	"corbel/mesh/meshtest"
	"corbel/mesh/meshtest/accuracy"
)

// deck is a plate over some cells of a grid, carried by posts under others: the
// reference for reach, by brute force and without a mesh. Region cells are those
// of the plate without a post.
type deck struct {
	n           int
	plate, post [][]bool
}

func randomDeck(rng *rand.Rand, n int) *deck {
	d := &deck{n: n}
	for range n {
		d.plate, d.post = append(d.plate, make([]bool, n)), append(d.post, make([]bool, n))
	}
	for i := range n {
		for j := range n {
			d.post[i][j] = rng.IntN(9) == 0
			d.plate[i][j] = d.post[i][j] || rng.IntN(4) > 0
		}
	}
	return d
}

func (d *deck) mesh() *mesh.Mesh {
	s := meshtest.Steps(0, float64(d.n), d.n)
	return meshtest.Blocks(s, s, []float64{0, 10, 12}, func(i, j, k int) bool {
		return k == 0 && d.post[i][j] || k == 1 && d.plate[i][j]
	})
}

type cell [2]int

func (d *deck) in(c cell) bool {
	return c[0] >= 0 && c[1] >= 0 && c[0] < d.n && c[1] < d.n && d.plate[c[0]][c[1]] && !d.post[c[0]][c[1]]
}

// region returns the region cells that hang together with c.
func (d *deck) region(c cell) map[cell]bool {
	got := map[cell]bool{c: true}
	for queue := []cell{c}; len(queue) > 0; queue = queue[1:] {
		q := queue[0]
		for _, s := range [4]cell{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			if r := (cell{q[0] + s[0], q[1] + s[1]}); d.in(r) && !got[r] {
				got[r] = true
				queue = append(queue, r)
			}
		}
	}
	return got
}

type spot [2]float64

// clear reports whether the straight line from a to b stays inside the region's
// closed cells: between two grid lines it lies in one cell, or between two.
func clear(reg map[cell]bool, a, b spot) bool {
	ts := []float64{0, 1}
	for k := range 2 {
		lo, hi := min(a[k], b[k]), max(a[k], b[k])
		for g := math.Ceil(lo); g <= hi && hi > lo; g++ {
			ts = append(ts, (g-a[k])/(b[k]-a[k]))
		}
	}
	slices.Sort(ts)
	for i := range ts[1:] {
		if ts[i+1]-ts[i] < 1e-9 {
			continue
		}
		t := (ts[i] + ts[i+1]) / 2
		x, y := a[0]+t*(b[0]-a[0]), a[1]+t*(b[1]-a[1])
		ok := false
		for _, e := range [4]spot{{1e-7, 1e-7}, {-1e-7, 1e-7}, {1e-7, -1e-7}, {-1e-7, -1e-7}} {
			ok = ok || reg[cell{int(math.Floor(x + e[0])), int(math.Floor(y + e[1]))}]
		}
		if !ok {
			return false
		}
	}
	return true
}

// reach returns the largest shortest way inside the region to its posts, over
// all corners of cells and a grid of points in them.
func (d *deck) reach(reg map[cell]bool, per int) (float64, bool) {
	corners := map[spot]bool{}
	var holds [][2]spot
	for c := range reg {
		for _, s := range [4][3]int{{1, 0, 0}, {-1, 0, 0}, {0, 1, 1}, {0, -1, 1}} {
			q := cell{c[0] + s[0], c[1] + s[1]}
			if q[0] < 0 || q[1] < 0 || q[0] >= d.n || q[1] >= d.n || !d.post[q[0]][q[1]] {
				continue
			}
			x, y := float64(max(c[0], q[0])), float64(max(c[1], q[1]))
			if s[2] == 0 {
				holds = append(holds, [2]spot{{x, float64(c[1])}, {x, float64(c[1] + 1)}})
			} else {
				holds = append(holds, [2]spot{{float64(c[0]), y}, {float64(c[0] + 1), y}})
			}
		}
		for _, s := range [4]cell{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			corners[spot{float64(c[0] + s[0]), float64(c[1] + s[1])}] = true
		}
	}
	if len(holds) == 0 {
		return 0, false
	}
	straight := func(p spot) float64 {
		best := math.Inf(1)
		for _, h := range holds {
			q := spot{min(max(p[0], h[0][0]), h[1][0]), min(max(p[1], h[0][1]), h[1][1])}
			if l := math.Hypot(q[0]-p[0], q[1]-p[1]); l < best && clear(reg, p, q) {
				best = l
			}
		}
		return best
	}
	dist := map[spot]float64{}
	for c := range corners {
		dist[c] = straight(c)
	}
	for changed := true; changed; {
		changed = false
		for a, da := range dist {
			for b := range dist {
				if l := da + math.Hypot(a[0]-b[0], a[1]-b[1]); l < dist[b]-1e-12 && clear(reg, a, b) {
					dist[b], changed = l, true
				}
			}
		}
	}
	worst := 0.0
	for c := range reg {
		for i := range per + 1 {
			for j := range per + 1 {
				p := spot{float64(c[0]) + float64(i)/float64(per), float64(c[1]) + float64(j)/float64(per)}
				best := straight(p)
				for q, dq := range dist {
					if l := dq + math.Hypot(q[0]-p[0], q[1]-p[1]); l < best && clear(reg, p, q) {
						best = l
					}
				}
				worst = max(worst, best)
			}
		}
	}
	return worst, true
}

// Reach against brute force on random decks. The reference looks at points only,
// so it may be short by half the diagonal of their grid.
func TestReachBruteForce(t *testing.T) {
	const per = 6
	row := accuracy.Of("overhang", "reach, or half the reference's grid", "random decks, by brute force", accuracy.OfBand, 1)
	over, under, bent := 0.0, 0.0, 0
	for seed := range uint64(40) {
		d := randomDeck(rand.New(rand.NewPCG(seed, 7)), 6)
		m := d.mesh()
		if seed%2 == 1 {
			m = meshtest.Turn(m, mesh.Vec{0.1 * float64(seed%7), 0.2, 1}, 0.1*float64(seed))
		}
		f := plusZ
		if seed%2 == 1 {
			f = mesh.NewFrame(meshtest.Turn(mesh.New([]mesh.Vec{{0, 0, 1}}, nil), mesh.Vec{0.1 * float64(seed%7), 0.2, 1}, 0.1*float64(seed)).Verts[0], 0.3, 0)
		}
		var got, want []float64
		o := overhangAt(t, m, f, 45)
		for _, r := range o.Regions {
			if r.Kind != mesh.Free {
				got = append(got, r.ReachMM)
			}
		}
		seen := map[cell]bool{}
		for i := range d.n {
			for j := range d.n {
				if c := (cell{i, j}); d.in(c) && !seen[c] {
					reg := d.region(c)
					for q := range reg {
						seen[q] = true
					}
					if w, held := d.reach(reg, per); held {
						want = append(want, w)
					}
				}
			}
		}
		slices.Sort(got)
		slices.Sort(want)
		if len(got) != len(want) {
			t.Errorf("seed %d: %d held regions, want %d", seed, len(got), len(want))
			continue
		}
		for i := range got {
			if o.ReachErr > 1e-3 {
				bent++
			}
			over, under = max(over, got[i]-want[i]-o.ReachErr), max(under, want[i]-got[i]-o.ReachErr)
			row.Add(max((got[i]-want[i])/(o.ReachErr+0.5*math.Sqrt2/per), (want[i]-got[i])/(o.ReachErr+1e-6)))
			if e := got[i] - want[i]; e > o.ReachErr+0.5*math.Sqrt2/per || e < -o.ReachErr-1e-6 {
				t.Errorf("seed %d: reach %.5f, want %.5f within %.5f", seed, got[i], want[i], o.ReachErr)
			}
		}
	}
	if bent == 0 {
		t.Error("no way bent")
	}
	row.Hold(t)
	t.Logf("reach %.5f above the reference's points, %.2g below, beyond the stated error; %d bent", over, under, bent)
}
