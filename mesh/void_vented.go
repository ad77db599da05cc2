package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// This file defines vented voids: the rooms of the grid, measured on the mesh.

const (
	// roomClear is the ratio of a room's ball to its widest way out from which
	// it counts as a room whatever its shape. Where three equal channels cross
	// the ball is 1.22 times as wide as a round channel, 1.41 times as wide as
	// a square one.
	roomClear = 1.5
	// roomExtent tells a room that is little wider than its way out, such as
	// the space between two walls, from such crossings: what of it is wider
	// than the way out stretches over this many of its balls.
	roomExtent = 2
	// roomWider is how much wider than the way out that part is.
	roomWider = 1.05
)

// roomReach is how far, in cells, a room's centre may lie from its highest cell.
const roomReach = 2

// openingShare is the share of the widest way out from which another counts: a
// quarter of the width passes a few per cent of the flow, powder or air.
const openingShare = 0.25

// passErr is the relative error of widths that were measured on the mesh: what
// can lie between two points of a way (squeezePitch) and what climbs leave.
const passErr = 0.02

// chamber is a room, measured.
type chamber struct {
	room   int32
	at     Vec
	ball   float64 // diameter
	cells  int
	box    Box
	extent float64 // mm: diagonal of the longest part that is wider than the widest way out
	area   float64
	way    float64  // width of its widest opening
	sealed bool     // known from the nesting of shells
	gone   bool     // part of another one, room
	door   *opening // the one through which it was joined to that
}

// opening is a throat, measured.
type opening struct {
	rooms  [2]int32
	ends   [2]int32   // the chambers as they were found, now parts of these
	way    []wayPoint // from the widest place of the first of ends to that of the second
	exact  bool       // measured on the mesh, not only on the grid
	width  float64
	at     Vec
	length float64
}

func (o *opening) of(room int32) bool { return o.rooms[0] == room || o.rooms[1] == room }

func (o *opening) beyond(room int32) int32 { return o.rooms[0] + o.rooms[1] - room }

// vents holds the chambers and openings of a grid. Chamber 0 is the outside.
type vents struct {
	r        *rooms
	chambers []chamber
	openings []opening
	parts    []roomPart // whose extents are not measured yet; nil if they are
}

// ventedVoids finds the rooms of empty space that lead outside.
func ventedVoids(ctx context.Context, g *grid) ([]Void, error) {
	b, err := newBasins(ctx, g)
	if err != nil {
		return nil, err
	}
	if none, err := b.roomless(ctx); none || err != nil {
		return nil, err
	}
	if err := b.number(ctx); err != nil {
		return nil, err
	}
	links, err := b.links(ctx)
	if err != nil {
		return nil, err
	}
	r, err := newRooms(ctx, b, links)
	if err != nil || len(r.list) == 1 {
		return nil, err
	}
	v := &vents{r: r, chambers: make([]chamber, len(r.list))}
	for _, step := range []func(context.Context) error{v.measureBalls, v.measureOpenings, v.dissolve} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	if err := v.measureExtents(ctx); err != nil {
		return nil, err
	}
	v.measureAreas()
	return v.voids(), ctx.Err()
}

// measureBalls finds each room's largest ball, from its highest cell.
func (v *vents) measureBalls(ctx context.Context) error {
	g := v.r.b.g
	return each(ctx, len(v.chambers)-1, 1, func(i int) {
		c := &v.chambers[i+1]
		c.room = int32(i + 1)
		c.at, c.ball = climb(g.n.m, g.at(v.r.list[i+1].peak), Vec{}, roomReach*g.h, climbFine)
		c.ball *= 2
		if v.r.list[i+1].shut {
			c.sealed = g.n.sealed(c.at)
			c.gone = c.sealed || c.ball < voidSeen*g.h || g.n.solid(c.at)
			// A cell in a corner, cut off on the grid, whose ball lies next door.
			if other := v.r.roomAt(c.at); !c.gone && other >= 0 && other != c.room {
				c.gone, c.room = true, other
			}
		}
	})
}

// sealed reports whether a point lies in a void that a shell closes.
func (n *nest) sealed(p Vec) bool {
	deepest := -1
	n.boxes.InBox(Box{p, p}, func(i int32) bool {
		if n.shells[i].depth > deepest && n.holds(i, p) {
			deepest = n.shells[i].depth
		}
		return true
	})
	return deepest%2 == 1
}

// measureOpenings finds the openings and measures those that may be the widest
// of a room.
func (v *vents) measureOpenings(ctx context.Context) error {
	ts, err := v.r.throats(ctx)
	if err != nil {
		return err
	}
	for _, t := range ts {
		way := v.wayTo(t.at.from)
		back := v.wayTo(t.at.to)
		slices.Reverse(back)
		v.openings = append(v.openings, opening{rooms: t.rooms, ends: t.rooms, way: append(way, back...)})
	}
	if err := v.walkShut(ctx); err != nil {
		return err
	}
	for i := range v.openings {
		v.openings[i].estimate(v.r.b.g.h)
	}
	v.measureWays()
	return ctx.Err()
}

// measureWidest measures on the mesh, of each chamber that may be a room, the
// openings that may be its widest: so many of those not measured yet. It reports
// whether there were any.
func (v *vents) measureWidest(ctx context.Context, most int) (bool, error) {
	of := make([][]int32, len(v.chambers)) // openings not measured yet
	for i, o := range v.openings {
		for _, r := range o.rooms {
			if !o.exact && r > 0 && !v.chambers[r].gone {
				of[r] = append(of[r], int32(i))
			}
		}
	}
	var next []int32
	for _, list := range of {
		slices.SortStableFunc(list, func(i, j int32) int { return cmp.Compare(v.openings[j].width, v.openings[i].width) })
		next = append(next, list[:min(most, len(list))]...)
	}
	slices.Sort(next)
	next = slices.Compact(next)
	err := each(ctx, len(next), 1, func(i int) { v.measure(ctx, &v.openings[next[i]]) })
	v.measureWays()
	return len(next) > 0, cmp.Or(err, ctx.Err())
}

// wayTo returns the way to a cell from its room's widest place, or from outside.
func (v *vents) wayTo(cell int32) []wayPoint {
	g := v.r.b.g
	cells := v.r.way(cell)
	way := make([]wayPoint, len(cells))
	for i, c := range cells {
		way[len(cells)-1-i] = wayPoint{g.at(c), float64(g.clear[c]) * g.h}
	}
	return way
}

// estimate takes a lower bound for an opening's width from a grid of pitch h.
// Half-way between two places of the way the clearance is less by h/2 at most. And
// its square is no less than that of the two places' less a quarter of their
// distance squared, 3/4 h*h: surface lies outside both balls; the square of what
// the grid says of a place is too large by 5/4 h*h at most.
func (o *opening) estimate(h float64) {
	p := o.way[narrowest(o.way)]
	o.width, o.at, o.length, o.exact = 2*max(0, p.clear-h/2, math.Sqrt(max(0, p.clear*p.clear-2*h*h))), p.at, 0, false
}

// measure takes an opening's width from the mesh.
func (v *vents) measure(ctx context.Context, o *opening) {
	g := v.r.b.g
	s, err := narrowestPass(ctx, g.n.m, v.follow(nil, o, 1), g.h)
	if err == nil {
		o.width, o.at, o.length, o.exact = s.width(), s.line[s.narrow], s.length(), true
	}
}

func (v *vents) measureWays() {
	for i := range v.chambers {
		v.chambers[i].way = 0
	}
	for _, o := range v.openings {
		for _, r := range o.rooms {
			v.chambers[r].way = max(v.chambers[r].way, o.width)
		}
	}
}

// finals says of each chamber what it is part of.
func (v *vents) finals() []int32 {
	out := make([]int32, len(v.chambers))
	for i := range out {
		out[i] = v.final(int32(i))
	}
	return out
}

// measureExtents counts each room's cells and boxes them.
func (v *vents) measureExtents(ctx context.Context) error {
	g := v.r.b.g
	final := v.finals()
	const slab = 8
	type part struct {
		cells int
		box   cellBox
	}
	slabs := make([][]part, (g.size[2]+slab-1)/slab)
	err := parallel(ctx, g.size[2], slab, func(from, to int) error {
		parts := make([]part, len(v.chambers))
		for i := range parts {
			parts[i].box = noCells
		}
		i := from * g.stride[2]
		for z := from; z < to; z++ {
			for y := range g.size[1] {
				for x := range g.size[0] {
					if room := v.r.room(int32(i)); room > 0 && final[room] != 0 {
						p := &parts[final[room]]
						p.cells++
						p.box.grow(x, y, z)
					}
					i++
				}
			}
		}
		slabs[from/slab] = parts
		return nil
	})
	if err != nil {
		return err
	}
	for i := range v.chambers {
		c := &v.chambers[i]
		c.cells, c.box = 0, EmptyBox()
		for _, s := range slabs {
			c.cells += s[i].cells
			c.box = c.box.Join(s[i].box.of(g))
		}
	}
	return nil
}

// roomPart is what measureParts takes of a basin: cells wider than that, of that room.
type roomPart struct {
	wider float64 // mm
	room  int32
}

// roomParts tells the parts of rooms as they are now.
func (v *vents) roomParts() []roomPart {
	final := v.finals()
	parts := make([]roomPart, len(v.r.of))
	for i, room := range v.r.of {
		parts[i].wider = math.Inf(1)
		if room = final[room]; room > 0 {
			parts[i] = roomPart{roomWider * v.chambers[room].way, room}
		}
	}
	return parts
}

// measureParts finds how far that part of a room stretches, in one piece, that is
// wider than its ways out: the cells of a lattice are many such parts.
func (v *vents) measureParts(ctx context.Context, parts []roomPart) error {
	for i := range v.chambers {
		v.chambers[i].extent = 0
	}
	g, of := v.r.b.g, v.r.b.of
	part := func(i int) int32 { // the room that a cell of such a part is in; 0 of others
		if of[i] < 0 {
			return 0
		}
		if p := &parts[of[i]]; 2*float64(g.clear[i])*g.h > p.wider {
			return p.room
		}
		return 0
	}
	met := make([]bool, len(g.clear))
	var stack []int
	for i := range met {
		if i&0xffff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		room := part(i)
		if room == 0 || met[i] {
			continue
		}
		met[i] = true
		box := noCells
		for stack = append(stack[:0], i); len(stack) > 0; {
			at := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			box.grow(g.coords(int32(at)))
			for _, step := range g.stride {
				for _, next := range [2]int{at - step, at + step} { // no room reaches the grid's rim
					if !met[next] && part(next) == room {
						met[next] = true
						stack = append(stack, next)
					}
				}
			}
		}
		v.chambers[room].extent = max(v.chambers[room].extent, box.of(g).Diagonal())
	}
	return nil
}

// cellBox holds cells from min to max.
type cellBox struct{ min, max [3]int }

// noCells is the box of none.
var noCells = cellBox{min: [3]int{math.MaxInt, math.MaxInt, math.MaxInt}, max: [3]int{-1, -1, -1}}

func (b *cellBox) grow(x, y, z int) {
	b.min = [3]int{min(b.min[0], x), min(b.min[1], y), min(b.min[2], z)}
	b.max = [3]int{max(b.max[0], x), max(b.max[1], y), max(b.max[2], z)}
}

// of is the box of the cells' centres.
func (b *cellBox) of(g *grid) Box {
	if *b == noCells {
		return EmptyBox()
	}
	return Box{g.centre(b.min[0], b.min[1], b.min[2]), g.centre(b.max[0], b.max[1], b.max[2])}
}

// isRoom reports whether a chamber, as measured on the mesh, is wider than its
// ways out. How far parts of rooms stretch is measured when it is asked for first.
func (v *vents) isRoom(ctx context.Context, c *chamber) bool {
	if c.ball >= roomClear*c.way || c.ball < roomRatio*c.way {
		return c.ball >= roomClear*c.way
	}
	if v.parts != nil {
		if v.measureParts(ctx, v.parts) != nil { // it was cancelled, as who asked will see
			return false
		}
		v.parts = nil
	}
	return c.extent > roomExtent*c.ball
}

// measureAreas shares out the facets among the rooms that they face.
func (v *vents) measureAreas() {
	g := v.r.b.g
	for f := range g.n.m.Facets {
		out := g.n.m.Normal(int32(f)).Scale(float64(g.n.weight(int32(f))) * g.h)
		if room := v.r.roomAt(g.n.m.Centre(int32(f)).Add(out)); room > 0 {
			v.chambers[v.final(room)].area += g.n.m.Area(int32(f))
		}
	}
}

// roomAt returns the room of the cell around a point.
func (r *rooms) roomAt(p Vec) int32 {
	if i, ok := r.b.g.cellAt(p); ok {
		return r.room(i)
	}
	return 0
}

// voids puts what is left into words.
func (v *vents) voids() []Void {
	g := v.r.b.g
	best := v.widest()
	closed := v.closed()
	var out []Void
	for i := 1; i < len(v.chambers); i++ {
		c := &v.chambers[i]
		if c.gone || best[i] == nil && closed[i] {
			continue
		}
		w := Void{
			VolumeMM3: float64(c.cells) * g.h * g.h * g.h,
			AreaMM2:   c.area,
			BallMM:    c.ball,
			At:        c.at,
			Box:       c.box,
		}
		v.escape(&w, int32(i), best)
		v.countOpenings(&w, int32(i))
		out = append(out, w)
	}
	return out
}

// widest finds the widest way from every chamber to the outside: the opening
// that it leaves by, or nil.
func (v *vents) widest() []*opening {
	by := make([]*opening, len(v.chambers))
	width := make([]float64, len(v.chambers))
	width[0] = math.Inf(1)
	order := make([]*opening, len(v.openings))
	for i := range order {
		order[i] = &v.openings[i]
	}
	slices.SortStableFunc(order, func(a, b *opening) int { return cmp.Compare(b.width, a.width) })
	// Bellman and Ford: the widest way to a chamber passes each other once.
	for changed := true; changed; {
		changed = false
		for _, o := range order {
			for k, room := range o.rooms {
				if w := min(o.width, width[o.rooms[1-k]]); w > width[room] {
					width[room], by[room], changed = w, o, true
				}
			}
		}
	}
	return by
}

// escape follows the widest way out of a chamber: its narrowest opening, and
// its length through openings and straight across the rooms between.
func (v *vents) escape(w *Void, room int32, by []*opening) {
	w.EscapeMM = math.Inf(1)
	var last *opening
	for o := by[room]; o != nil; o = by[room] {
		if o.width < w.EscapeMM {
			w.EscapeMM, w.EscapeAt = o.width, o.at
		}
		w.WayMM += o.length
		if last != nil {
			w.WayMM += max(0, o.at.Sub(last.at).Norm()-(o.length+last.length)/2)
		}
		last, room = o, o.beyond(room)
	}
	w.ErrMM = passErr * w.EscapeMM
	if last == nil {
		w.Sealed = true
		w.EscapeMM = 0
		w.ErrMM = voidSeen * v.r.b.g.h
	}
}

// countOpenings counts the separate ways out of a chamber that lead on to the
// outside.
func (v *vents) countOpenings(w *Void, room int32) {
	out := v.outWithout(room)
	var os []*opening
	for i := range v.openings {
		o := &v.openings[i]
		if o.of(room) && o.width >= openingShare*v.chambers[room].way && out[o.beyond(room)] {
			os = append(os, o)
		}
	}
	slices.SortStableFunc(os, func(a, b *opening) int { return cmp.Compare(b.width, a.width) })
	for _, o := range os {
		same := slices.ContainsFunc(w.OpeningsAt, func(p Vec) bool { return p.Sub(o.at).Norm() < o.width/2 })
		if !same {
			w.OpeningsAt = append(w.OpeningsAt, o.at)
		}
	}
	w.Openings = len(w.OpeningsAt)
}

// closed says which chambers lead to one that a shell closes, or that is too
// small to tell: they are parts of it.
func (v *vents) closed() []bool {
	in := make([]bool, len(v.chambers))
	for i := 1; i < len(in); i++ {
		c := &v.chambers[i]
		in[i] = v.r.list[i].shut && c.gone && c.room == int32(i)
	}
	v.flood(in, 0)
	return in
}

// flood adds to some chambers all that openings lead to from them by ways that
// avoid one.
func (v *vents) flood(in []bool, without int32) {
	for changed := true; changed; {
		changed = false
		for i := range v.openings {
			if o := &v.openings[i]; !o.of(without) && in[o.rooms[0]] != in[o.rooms[1]] {
				in[o.rooms[0]], in[o.rooms[1]], changed = true, true, true
			}
		}
	}
}

// outWithout says which chambers reach the outside by ways that avoid one.
func (v *vents) outWithout(room int32) []bool {
	out := make([]bool, len(v.chambers))
	out[0] = true
	v.flood(out, room)
	return out
}
