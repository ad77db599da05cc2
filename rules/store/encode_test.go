package store

import (
	"bytes"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

type inner struct {
	At   [3]float64
	Name string
	List []int32
	Sub  []inner
}

type outer struct {
	Yes    bool
	N      int
	F      float64
	G      float32
	Places []inner
	Rows   [][]float64
	Small  []float32
	Ints   []int
	Box    struct{ Min, Max [3]float64 }
}

func TestValuesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		floats := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.Inf(1), math.Inf(-1), 0, math.Copysign(0, -1), math.MaxFloat64, 5e-324}))
		ints := rapid.SliceOf(rapid.Int32())
		in := func(deep bool) inner {
			x := inner{At: [3]float64{floats.Draw(t, "x"), 1, floats.Draw(t, "z")}, Name: rapid.String().Draw(t, "name"), List: ints.Draw(t, "list")}
			if deep {
				x.Sub = []inner{{List: []int32{}}, {Sub: []inner{}}}
			}
			return x
		}
		v := outer{Yes: rapid.Bool().Draw(t, "yes"), N: rapid.Int().Draw(t, "n"), F: floats.Draw(t, "f"), G: rapid.Float32().Draw(t, "g"),
			Rows: rapid.SliceOf(rapid.SliceOf(floats)).Draw(t, "rows"), Small: rapid.SliceOf(rapid.Float32()).Draw(t, "small"), Ints: rapid.SliceOf(rapid.Int()).Draw(t, "ints")}
		for i := range rapid.IntRange(0, 3).Draw(t, "places") {
			v.Places = append(v.Places, in(i == 1))
		}
		data := Encode(v)
		var w outer
		if err := Decode(data, &w); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(v, w) || !bytes.Equal(data, Encode(w)) {
			t.Fatalf("%+v came back as %+v", v, w)
		}
		if math.Signbit(v.F) != math.Signbit(w.F) {
			t.Fatal("sign of zero lost")
		}
		cut := rapid.IntRange(0, len(data)-1).Draw(t, "cut")
		before := w
		if err := Decode(data[:cut], &w); err != nil && !reflect.DeepEqual(before, w) {
			t.Fatal("half a value was left")
		}
	})
	nan := math.Float64frombits(0x7ff8000000000123)
	var back float64
	if err := Decode(Encode(nan), &back); err != nil || math.Float64bits(back) != math.Float64bits(nan) {
		t.Errorf("NaN came back as %x, %v", math.Float64bits(back), err)
	}
}

func TestOnlyPlainTypes(t *testing.T) {
	for _, v := range []any{map[int]int{}, struct{ hidden int }{1}, new(int), func() {}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%T was encoded", v)
				}
			}()
			Encode(v)
		}()
	}
}

// Bytes that are no value are refused without a panic and without much memory.
func FuzzDecode(f *testing.F) {
	f.Add(Encode(outer{N: 3, Places: []inner{{Name: "x", List: []int32{1, 2}}}}))
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0x0f, 1})
	f.Fuzz(func(t *testing.T, data []byte) {
		var v outer
		if Decode(data, &v) != nil {
			return
		}
		var w outer
		if err := Decode(Encode(v), &w); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(Encode(v), Encode(w)) {
			t.Fatal("not the same again")
		}
	})
}
