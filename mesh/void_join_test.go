package mesh

import (
	"context"
	"math"
	"math/bits"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"
)

// joinByHand joins chambers as vents.join promises, one look at everything for
// each, and rewrites every way that leads on.
func joinByHand(v *vents) {
	wayTo := func(o *opening, room int32) []wayPoint {
		way := slices.Clone(o.way)
		if o.rooms[1] != room {
			slices.Reverse(way)
		}
		return way
	}
	of := func(o *opening, room int32) bool { return o.rooms[0] == room || o.rooms[1] == room }
	for v.measureWays(); ; v.measureWays() {
		least := -1
		for i := 1; i < len(v.chambers); i++ {
			c := &v.chambers[i]
			if c.gone || c.way == 0 || v.isRoom(context.Background(), c) {
				continue
			}
			if least < 0 || c.ball*v.chambers[least].way < v.chambers[least].ball*c.way {
				least = i
			}
		}
		if least < 0 {
			return
		}
		room, widest := int32(least), opening{}
		for _, o := range v.openings {
			if of(&o, room) && o.width > widest.width {
				widest = o
			}
		}
		into := widest.beyond(room)
		v.chambers[room].gone, v.chambers[room].room = true, into
		v.openings = slices.DeleteFunc(v.openings, func(o opening) bool { return of(&o, room) && of(&o, into) })
		for i := range v.openings {
			o := &v.openings[i]
			if of(o, room) {
				o.way = slices.Concat(wayTo(o, room), wayTo(&widest, into))
				o.rooms, o.exact = [2]int32{o.beyond(room), into}, false
			}
		}
	}
}

// madeVents are some rooms and openings, of few widths so that many are equal,
// with ways of two points each.
func madeVents(r *rand.Rand, rooms, openings int) (*vents, *vents) {
	a, b := &vents{}, &vents{}
	for i := range rooms {
		ball := 1 + float64(r.IntN(8))/8
		c := chamber{room: int32(i), ball: ball, extent: ball * float64(1+r.IntN(3)), gone: r.IntN(20) == 0}
		a.chambers, b.chambers = append(a.chambers, c), append(b.chambers, c)
	}
	for i := range openings {
		x, y := int32(r.IntN(rooms)), int32(r.IntN(rooms))
		if x == y {
			continue
		}
		o := opening{rooms: [2]int32{x, y}, ends: [2]int32{x, y}, exact: true, width: 0.1 + float64(r.IntN(12))/8}
		o.way = []wayPoint{{Vec{float64(x), float64(i)}, 1}, {Vec{float64(y), float64(i)}, 1}}
		a.openings, b.openings = append(a.openings, o), append(b.openings, o)
	}
	a.measureWays()
	b.measureWays()
	return a, b
}

// Chambers are joined in the same order, and ways lead through what was joined in
// the same way, as by hand; also in a second round, after some were measured.
func TestJoinAsByHand(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	joined, led := 0, 0
	for trial := range 400 {
		rooms := 2 + r.IntN(30)
		got, want := madeVents(r, rooms, rooms*(1+r.IntN(4)))
		for range 3 {
			if err := got.join(context.Background()); err != nil {
				t.Fatal(err)
			}
			joinByHand(want)
			for i, c := range got.chambers {
				if c.door = nil; c != want.chambers[i] {
					t.Fatalf("trial %d: chamber %d is %+v, want %+v", trial, i, c, want.chambers[i])
				}
				if c.gone {
					joined++
				}
			}
			if len(got.openings) != len(want.openings) {
				t.Fatalf("trial %d: %d openings, want %d", trial, len(got.openings), len(want.openings))
			}
			for i := range got.openings {
				o, w := &got.openings[i], &want.openings[i]
				if way := got.follow(nil, o, 1); !reflect.DeepEqual(way, w.way) || o.rooms != w.rooms || o.exact != w.exact || o.width != w.width {
					t.Fatalf("trial %d: opening %d between %v by %v, want %v by %v", trial, i, o.rooms, way, w.rooms, w.way)
				}
				if len(w.way) > 4 {
					led++
				}
				x := o.width * (0.7 + 0.3*float64(r.IntN(2)))
				o.width, w.width, o.exact, w.exact = x, x, true, true
			}
			got.measureWays()
			want.measureWays()
		}
	}
	if joined < 1000 || led < 100 {
		t.Errorf("%d chambers joined, %d ways led on: too few to tell", joined, led)
	}
}

// Joining takes memory in proportion to the rooms, however they hang together: in a
// chain that joins from its far end every way would lead on through all before it.
func TestJoinLinear(t *testing.T) {
	took := func(n int) float64 {
		v := &vents{}
		for i := range n {
			v.chambers = append(v.chambers, chamber{room: int32(i), ball: 1 + float64(n-i)/float64(8*n)})
			if i > 0 {
				o := opening{rooms: [2]int32{int32(i), int32(i - 1)}, width: 1, way: make([]wayPoint, 50)}
				o.ends = o.rooms
				v.openings = append(v.openings, o, opening{rooms: [2]int32{int32(i), 0}, ends: [2]int32{int32(i), 0}, width: 0.1, way: make([]wayPoint, 50)})
			}
		}
		v.measureWays()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if err := v.join(context.Background()); err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		if left := v.left(); left != 1 {
			t.Fatalf("%d chambers left", left)
		}
		return float64(after.TotalAlloc - before.TotalAlloc)
	}
	if few, many := took(1000), took(8000); many > 12*few {
		t.Errorf("8 times the rooms take %.1f times the memory: %.0f and %.0f bytes", many/few, few, many)
	}
}

// A heap gives its numbers in order, for a few looks each times the logarithm.
func TestHeaps(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, n := range []int{1, 100, 10000} {
		key := make([]float64, n)
		for i := range key {
			key[i] = r.Float64()
		}
		looks := 0
		h := newHeaps(n, func(a, b int32) bool { looks++; return key[a] < key[b] })
		parts := slices.Repeat([]int32{-1}, 1+n/10)
		for i := range n {
			k := r.IntN(len(parts))
			parts[k] = h.meld(parts[k], int32(i))
		}
		top := int32(-1)
		for _, p := range parts {
			top = h.meld(top, p)
		}
		last := math.Inf(-1)
		count := 0
		for ; top >= 0; top = h.pop(top) {
			if key[top] < last {
				t.Fatalf("%d numbers: %g after %g", n, key[top], last)
			}
			last = key[top]
			count++
		}
		if most := 4 * n * (1 + bits.Len(uint(n))); count != n || looks > most {
			t.Errorf("%d of %d numbers, %d looks, expected %d at most", count, n, looks, most)
		}
	}
}
