package mesh

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"unsafe"
)

// The offsets that lanes_amd64.s is written with.
func TestLaneOffsets(t *testing.T) {
	var nd wideNode
	var b block
	var w waiting
	var r rayLanes
	var p nearLanes
	var q boxLanes
	var s sideLanes
	var cut splitCut
	var areas binAreas
	var f facingLanes
	for name, c := range map[string][2]uintptr{
		"wideNode.kid":  {unsafe.Offsetof(nd.kid), 192},
		"wideNode":      {unsafe.Sizeof(nd), 224},
		"block.facet":   {unsafe.Offsetof(b.facet), 384},
		"block":         {unsafe.Sizeof(b), 416},
		"block.n":       {unsafe.Offsetof(b.n), 288},
		"waiting":       {unsafe.Sizeof(w), 8},
		"waiting.near":  {unsafe.Offsetof(w.near), 4},
		"ray.near":      {unsafe.Offsetof(r.near), 12},
		"ray.far":       {unsafe.Offsetof(r.far), 24},
		"ray.tMin":      {unsafe.Offsetof(r.tMin), 36},
		"ray.tMax":      {unsafe.Offsetof(r.tMax), 40},
		"ray.err6":      {unsafe.Offsetof(r.err6), 44},
		"ray.nearAt":    {unsafe.Offsetof(r.nearAt), 48},
		"ray.farAt":     {unsafe.Offsetof(r.farAt), 72},
		"ray.o":         {unsafe.Offsetof(r.o), 96},
		"ray.sx":        {unsafe.Offsetof(r.sx), 108},
		"ray.sy":        {unsafe.Offsetof(r.sy), 112},
		"ray.err":       {unsafe.Offsetof(r.err), 116},
		"ray.axes":      {unsafe.Offsetof(r.axes), 120},
		"point.hi":      {unsafe.Offsetof(p.hi), 12},
		"point.d2":      {unsafe.Offsetof(p.d2), 24},
		"near.at":       {unsafe.Offsetof(p.at), 28},
		"near.dist":     {unsafe.Offsetof(p.dist), 40},
		"near.err":      {unsafe.Offsetof(p.err), 44},
		"near.any":      {unsafe.Offsetof(p.any), 48},
		"box.hi":        {unsafe.Offsetof(q.hi), 12},
		"step.offset":   {unsafe.Offsetof(gridStep{}.offset), 24},
		"step.length":   {unsafe.Offsetof(gridStep{}.length), 32},
		"step":          {unsafe.Sizeof(gridStep{}), 72},
		"item":          {unsafe.Sizeof(item{}), 28},
		"laneBox":       {unsafe.Sizeof(laneBox{}), 32},
		"cut.scale":     {unsafe.Offsetof(cut.scale), 32},
		"cut.bins":      {unsafe.Offsetof(cut.bins), 48},
		"cut.count":     {unsafe.Offsetof(cut.count), 1584},
		"cut":           {unsafe.Sizeof(cut), 1776},
		"areas.right":   {unsafe.Offsetof(areas.right), 64},
		"side.far":      {unsafe.Offsetof(s.far), 12},
		"side.n":        {unsafe.Offsetof(s.n), 28},
		"side.low":      {unsafe.Offsetof(s.low), 76},
		"facing.in":     {unsafe.Offsetof(f.in), 28},
		"facing.to":     {unsafe.Offsetof(f.to), 40},
		"facing.at":     {unsafe.Offsetof(f.at), 52},
		"facing.dist":   {unsafe.Offsetof(f.dist), 56},
		"facing.side":   {unsafe.Offsetof(f.side), 60},
		"facing.err2":   {unsafe.Offsetof(f.err2), 64},
		"facing.p":      {unsafe.Offsetof(f.p), 68},
		"facing.cos":    {unsafe.Offsetof(f.cos), 104},
		"facing.place":  {unsafe.Offsetof(f.place), 108},
		"facing.meets":  {unsafe.Offsetof(f.meets), 152},
		"facing.across": {unsafe.Offsetof(f.across), 112},
		"facing.extent": {unsafe.Offsetof(f.extent), 136},
	} {
		if c[0] != c[1] {
			t.Errorf("%s stands at %d, the assembly reads %d", name, c[0], c[1])
		}
	}
}

// Both paths must give the same answers, to the bit: on random facets, along
// axes, in planes, through corners, from near and far.
func TestLanesAgree(t *testing.T) {
	if !lanesAVX2 {
		t.Log("this processor has one path only: nothing to compare")
		return
	}
	r := rand.New(rand.NewPCG(3, 4))
	vs := make([]Vec, 900)
	for i := range vs {
		vs[i] = Vec{float64(r.IntN(20)), r.Float64() * 20, r.NormFloat64()}
		if i%3 != 0 {
			vs[i] = vs[i-i%3].Add(Vec{r.NormFloat64(), float64(r.IntN(3)), r.NormFloat64() * float64(r.IntN(2))})
		}
	}
	fs := make([][3]int32, 1500)
	for i := range fs {
		a := 3 * int32(r.IntN(300))
		fs[i] = [3]int32{a, a + 1, a + 2}
		if i%5 == 0 {
			fs[i][2] = int32(r.IntN(900))
		}
	}
	rounded := slices.Clone(vs) // as files hold them: of such trees the blocks are exact
	for i, v := range vs {
		for k, x := range v {
			rounded[i][k] = float64(float32(x))
		}
	}
	trees := [2]*BVH{New(vs, fs).BVH(), New(rounded, fs).BVH()}
	if trees[0].single || !trees[1].single {
		t.Fatal("single precision is not told from double")
	}
	var rays, found int
	for i := range 40000 {
		b, vs := trees[i%2], [2][]Vec{vs, rounded}[i%2]
		o := Vec{float64(r.IntN(20)), r.Float64() * 20, r.NormFloat64() * 3}
		d := Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		switch i % 5 {
		case 1:
			d = Vec{}
			d[r.IntN(3)] = 1 - 2*float64(r.IntN(2))
		case 2:
			d = vs[r.IntN(900)].Sub(o)
		case 3:
			o = o.Sub(d.Scale(1e5))
		case 4:
			d[r.IntN(3)] *= 1e-9
		}
		box := Box{o, o.Add(Vec{math.Abs(d[0]), math.Abs(d[1]), math.Abs(d[2])})}
		type answer struct {
			hit    Hit
			ok     bool
			all    [16]Hit
			near   Near
			boxSum int
		}
		ask := func() (a answer) {
			a.hit, a.ok = b.Ray(o, d, float64(i%3)*0.1, []float64{math.Inf(1), 3}[i%7/6])
			copy(a.all[:], b.RayAll(o, d, -1, 50, nil))
			a.near, _ = b.Nearest(o, math.Inf(1), nil)
			b.InBox(box, func(f int32) bool { a.boxSum += int(f)*7919 + 1; return true })
			return a
		}
		fast := ask()
		lanesAVX2 = false
		slow := ask()
		lanesAVX2 = true
		if fast != slow {
			t.Fatalf("query %d: ray %v %v: AVX2 %+v, portable %+v", i, o, d, fast, slow)
		}
		rays++
		if fast.ok {
			found++
		}
	}
	if found < rays/10 {
		t.Errorf("only %d of %d rays hit: too few to tell", found, rays)
	}
}

// Both paths build the same tree, whatever the coordinates.
func TestTreesAgree(t *testing.T) {
	if !lanesAVX2 {
		t.Log("this processor has one path only: nothing to compare")
		return
	}
	defer func() { lanesAVX2 = true }()
	r := rand.New(rand.NewPCG(7, 8))
	for round := range 60 {
		vs := make([]Vec, 3+r.IntN(30_000)/(1+round%7*50))
		for i := range vs {
			vs[i] = Vec{r.NormFloat64() * math.Pow(10, float64(r.IntN(5)-2)), float64(r.IntN(5)), r.Float64() * float64(round%3)}
		}
		fs := make([][3]int32, len(vs))
		for i := range fs {
			fs[i] = [3]int32{int32(i), int32(r.IntN(len(vs))), int32((i + 1) % len(vs))}
		}
		lanesAVX2 = true
		fast := New(vs, fs).BVH()
		lanesAVX2 = false
		slow := New(vs, fs).BVH()
		if !slices.Equal(fast.nodes, slow.nodes) || !slices.Equal(fast.cones, slow.cones) || !slices.Equal(fast.blocks, slow.blocks) {
			t.Fatalf("round %d, %d facets: the trees differ", round, len(fs))
		}
	}
}

// A walk that finds no room on its stack goes on with a larger one.
func TestLanesRoom(t *testing.T) {
	m := wavy(20_000)
	b := m.BVH()
	var w rayWalk
	if !w.start(b, m.Box().Min.Add(Vec{-1, -1, -1}), m.Box().Size().Add(Vec{2, 2, 2}), 0, 1) {
		t.Fatal("no ray")
	}
	// Facets of all leaves on the way, by a stack with room for some waiting.
	leaves := func(room int) (n int) {
		stack := append(make([]waiting, 0, room), waiting{b.root(), 0})
		for {
			var leaf int32
			var mask uint32
			if stack, leaf, mask = b.rayLeaf(&w.lanes, stack); mask == 0 {
				return n
			}
			n += int(mask) * (int(leaf)*7919 + 1)
		}
	}
	want := leaves(1 << 10)
	for room := 1; room < 40; room++ {
		if got := leaves(room); got != want || want == 0 {
			t.Errorf("room for %d: leaves add up to %d, want %d", room, got, want)
		}
	}
}

// Rays for which the assembly has no room go on without it.
func TestRayRoom(t *testing.T) {
	if !lanesAVX2 {
		t.Log("this processor has one path only: nothing to compare")
		return
	}
	m := New([]Vec{{0, 0, 1}, {1, 0, 1}, {0, 1, 1}}, [][3]int32{{0, 1, 2}})
	chain := *m.BVH() // seven leaves a level, all alike
	for i := range int32(20) {
		nd := wideNode{kid: [8]int32{i + 1, ^0, ^0, ^0, ^0, ^0, ^0, ^0}}
		if i == 19 {
			nd.kid[0] = ^0
		}
		for k := range 8 {
			nd.box[1][k], nd.box[3][k], nd.box[5][k] = 1, 1, 1
		}
		chain.nodes = append(chain.nodes, nd)
	}
	o, d := Vec{0.25, 0.25, -1}, Vec{0, 0, 1}
	if _, ok := chain.rayFirst(&o, &d, 0, 9); ok {
		t.Error("140 leaves wait where there is room for 64")
	}
	for _, b := range []*BVH{m.BVH(), &chain} {
		if h, ok := b.Ray(o, d, 0, 9); !ok || h != (Hit{0, 2}) {
			t.Errorf("met %+v, %v", h, ok)
		}
	}
}

// TestIntersectionsPortable: the portable path leaves out no pair that meets.
func TestIntersectionsPortable(t *testing.T) {
	defer func(was bool) { lanesAVX2 = was }(lanesAVX2)
	lanesAVX2 = false
	bruteIntersections(t)
}

// The portable path finds what faces a flat too.
func TestFacingBrutePortable(t *testing.T) {
	defer func(was bool) { lanesAVX2 = was }(lanesAVX2)
	lanesAVX2 = false
	facingBrute(t)
}

// TestNearLanes holds what the assembly says of how near facets are against
// double precision: it leaves out none within reach, hardly any other, and no
// reach that it takes for itself is too small. Facets are of all shapes and
// sizes, slivers and such without area among them; points lie near planes,
// sides, corners and far away.
func TestNearLanes(t *testing.T) {
	if !lanesAVX2 {
		t.Log("this processor has one path only: nothing to compare")
		return
	}
	r := rand.New(rand.NewPCG(5, 6))
	vec := func(s float64) Vec { return Vec{r.NormFloat64() * s, r.NormFloat64() * s, r.NormFloat64() * s} }
	var near, beyond, spared int
	for round := range 60_000 {
		size := math.Pow(10, 2-float64(round%15))
		at := vec(size * math.Pow(10, float64(r.IntN(6)-2)))
		var vs []Vec
		var fs [][3]int32
		for range 1 + r.IntN(8) {
			a := at.Add(vec(size))
			b := a.Add(vec(size))
			c := a.Add(vec(size))
			switch r.IntN(6) {
			case 0: // slivers, down to none
				c = a.Add(b.Sub(a).Scale(r.Float64()*1.5 - 0.2)).Add(vec(size * math.Pow(10, -float64(r.IntN(12)))))
			case 1: // needles
				c = b.Add(vec(size * math.Pow(10, -float64(r.IntN(12)))))
			case 2: // in a plane along axes
				b[2], c[2] = a[2], a[2]
			}
			n := int32(len(vs))
			vs, fs = append(vs, a, b, c), append(fs, [3]int32{n, n + 1, n + 2})
		}
		if round%2 == 0 {
			for i := range vs {
				for k, x := range vs[i] {
					vs[i][k] = float64(float32(x))
				}
			}
		}
		m := New(vs, fs)
		b := m.BVH()
		f := fs[r.IntN(len(fs))]
		u, v := r.Float64()*1.6-0.3, r.Float64()*1.6-0.3
		p := vs[f[0]].Add(vs[f[1]].Sub(vs[f[0]]).Scale(u)).Add(vs[f[2]].Sub(vs[f[0]]).Scale(v))
		p = p.Add(vec(size * math.Pow(10, float64(r.IntN(7)-5))))
		dist, thin := make([]float64, len(fs)), make([]float64, len(fs)) // thin: a sliver's width
		least, fat := math.Inf(1), math.Inf(1)                           // of all, of those surely no slivers
		for i := range fs {
			x, y, z := m.Corners(int32(i))
			dist[i] = nearestOnFacet(p, x, y, z).Sub(p).Norm()
			least = min(least, dist[i])
			n := y.Sub(x).Cross(z.Sub(x)).Norm()
			if long := max(y.Sub(x).Norm(), z.Sub(x).Norm(), z.Sub(y).Norm()); long*long > 120*n || n < 0x1p-29 {
				thin[i] = n / long
			} else {
				fat = min(fat, dist[i])
			}
		}
		reach := dist[r.IntN(len(fs))] * []float64{1, 1 + 1e-6, 1 - 1e-6, 2}[r.IntN(4)]
		for _, any := range []bool{false, true} {
			l := newNearLanes(p, b.walkErr(p), reach, any)
			var buf [stackSize]waiting
			_, leaf, mask := b.nearLeaf(&l, append(buf[:0], waiting{b.root(), 0}))
			bl := &b.blocks[leaf]
			if any && least <= reach && float64(l.dist) < least {
				t.Fatalf("round %d: looks no further than %g, nearest is at %g", round, l.dist, least)
			}
			within := reach
			if any {
				within = min(reach, fat)
			}
			for i, f := range bl.facet {
				if f < 0 {
					continue
				}
				x, y, z := m.Corners(f)
				room := thin[f] + 0x1p-9*(max(x.Sub(p).Norm(), y.Sub(p).Norm(), z.Sub(p).Norm())) + 4*float64(l.err)
				switch in := mask>>i&1 == 1; {
				case dist[f] <= min(reach, float64(l.dist)):
					if near++; !in {
						t.Fatalf("round %d: left out %v %v %v at %g of %v, reach %g, %g", round, x, y, z, dist[f], p, reach, l.dist)
					}
				case dist[f] > within+room:
					if beyond++; in {
						spared++
					}
				}
			}
		}
	}
	t.Logf("%d within reach, %d surely beyond, of which %d were let through", near, beyond, spared)
	if near < 50_000 || beyond < 50_000 || spared > beyond/100 {
		t.Errorf("%d within reach, %d surely beyond, of which %d were let through", near, beyond, spared)
	}
}

// Cells climb the same steps, and see the same basins beside them, on either path:
// where steps are barred, clearances equal and rows shorter than eight cells.
func TestBasinLanes(t *testing.T) {
	if !lanesAVX2 {
		t.Skip("this processor has no AVX2")
	}
	defer func() { lanesAVX2 = true }()
	rng := rand.New(rand.NewPCG(9, 4))
	var steps [upSolid + 1]int
	edges := 0
	for i := range 1000 {
		g := randomGrid(rng)
		for j := range g.clear {
			if i%3 == 0 && g.clear[j] > 0 {
				g.clear[j] = float32(int(g.clear[j]*2))/2 + gridLeast
			}
		}
		var up [2][]uint8
		for path := range up {
			lanesAVX2 = path == 0
			b, err := newBasins(t.Context(), g)
			if err != nil {
				t.Fatal(err)
			}
			if err := b.number(t.Context()); err != nil {
				t.Fatal(err)
			}
			up[path] = b.up
			for cell := range b.of {
				if path == 0 && !g.border(int32(cell)) {
					if got, want := b.apart(cell), b.apartGo(cell); got != want {
						t.Fatalf("grid %d: cell %d has the steps %b to other basins, want %b", i, cell, got, want)
					} else if want != 0 {
						edges++
					}
				}
			}
		}
		for cell, want := range up[1] {
			if steps[want]++; up[0][cell] != want {
				t.Fatalf("grid %d of %v: cell %d takes step %d, want %d", i, g.size, cell, up[0][cell], want)
			}
		}
	}
	for s, n := range steps {
		if n < 1000 && (s < 26 || s >= upPeak) {
			t.Errorf("step %d is taken %d times", s, n)
		}
	}
	if edges < 1000 {
		t.Errorf("%d cells are beside another basin", edges)
	}
}

// Clearances are the same on either path, to the bit, where cells in material are
// passed over and where none are.
func TestClearanceLanes(t *testing.T) {
	if !lanesAVX2 {
		t.Skip("this processor has no AVX2")
	}
	defer func() { lanesAVX2 = true }()
	for _, file := range []string{"parts/bent_pipe.stl", "parts/gears_17_bodies.3mf", "parts/chain_40_links.3mf", "parts/helix.stl", "dirty/cube_no_bottom.obj"} {
		m, err := Load(t.Context(), "../testdata/meshes/"+file, LoadOptions{Unit: "mm"})
		if err != nil {
			t.Fatal(err)
		}
		n, err := m.nested.get(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, cells := range []int64{2000, 30_000, 300_000} {
			var clear [2][]float32
			for path := range clear {
				lanesAVX2 = path == 0
				g, err := newGrid(t.Context(), n, n.box, gridPitch(n.box, cells))
				if err != nil {
					t.Fatal(err)
				}
				clear[path] = g.clear
			}
			if !slices.Equal(clear[0], clear[1]) {
				t.Errorf("%s, %d cells: clearances differ", file, cells)
			}
		}
	}
}
