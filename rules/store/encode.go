package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
)

// This file turns plain values into bytes and back: numbers, strings, and
// structs, arrays and slices of them. Every bit of a float and the difference
// between no slice and an empty one come back, and equal values give equal
// bytes. Types are not described in the bytes: a key names the build that wrote
// them.
//
// Whole numbers in a slice are kept as differences, since most slices of them
// are lists of facets in ascending order.

// Encode returns the bytes of a plain value. It panics where a type is not
// plain, which is a fault of the caller.
func Encode(v any) []byte {
	var raw []byte
	raw = appendValue(raw, reflect.ValueOf(v))
	var out bytes.Buffer
	var n [binary.MaxVarintLen64]byte
	out.Write(n[:binary.PutUvarint(n[:], uint64(len(raw)))])
	w, _ := flate.NewWriter(&out, flate.BestSpeed) // the level is known
	w.Write(raw)                                   // to memory
	w.Close()
	return out.Bytes()
}

// Decode fills the value that p points at. Nothing is left of a value that
// can't be read whole.
func Decode(data []byte, p any) (err error) {
	n, used := binary.Uvarint(data)
	// Flate makes at most about 1032 bytes of one.
	if used <= 0 || n > 1100*uint64(len(data)) {
		return errBroken
	}
	raw := make([]byte, n)
	if _, err := io.ReadFull(flate.NewReader(bytes.NewReader(data[used:])), raw); err != nil {
		return errBroken
	}
	v := reflect.New(reflect.TypeOf(p).Elem()).Elem()
	d := decoder{raw}
	if !d.value(v) || len(d.data) != 0 {
		return errBroken
	}
	reflect.ValueOf(p).Elem().Set(v)
	return nil
}

var errBroken = errors.New("entry is broken")

func appendValue(b []byte, v reflect.Value) []byte {
	switch k := v.Kind(); {
	case k == reflect.Bool:
		if v.Bool() {
			return append(b, 1)
		}
		return append(b, 0)
	case v.CanInt():
		return binary.AppendVarint(b, v.Int())
	case k == reflect.Float64:
		return binary.LittleEndian.AppendUint64(b, math.Float64bits(v.Float()))
	case k == reflect.Float32:
		return binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v.Float())))
	case k == reflect.String:
		return append(binary.AppendUvarint(b, uint64(v.Len())), v.String()...)
	case k == reflect.Struct:
		for i := range v.NumField() {
			if !v.Type().Field(i).IsExported() {
				panic(fmt.Sprintf("store: %s.%s is not exported", v.Type(), v.Type().Field(i).Name))
			}
			b = appendValue(b, v.Field(i))
		}
		return b
	case k == reflect.Array:
		for i := range v.Len() {
			b = appendValue(b, v.Index(i))
		}
		return b
	case k == reflect.Slice:
		return appendSlice(b, v)
	}
	panic(fmt.Sprintf("store: %s is not plain", v.Type()))
}

func appendSlice(b []byte, v reflect.Value) []byte {
	if v.IsNil() {
		return append(b, 0)
	}
	b = binary.AppendUvarint(b, uint64(v.Len())+1)
	switch x := v.Interface().(type) {
	case []int32:
		last := int32(0)
		for _, n := range x {
			b = binary.AppendVarint(b, int64(n)-int64(last))
			last = n
		}
		return b
	case []float32:
		for _, f := range x {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(f))
		}
		return b
	case []float64:
		for _, f := range x {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(f))
		}
		return b
	}
	for i := range v.Len() {
		b = appendValue(b, v.Index(i))
	}
	return b
}

// decoder takes values off the front of data. Its methods report false where
// data does not hold them.
type decoder struct{ data []byte }

func (d *decoder) take(n int) ([]byte, bool) {
	if n < 0 || n > len(d.data) {
		return nil, false
	}
	b := d.data[:n]
	d.data = d.data[n:]
	return b, true
}

func (d *decoder) varint() (int64, bool) {
	x, n := binary.Varint(d.data)
	if n <= 0 {
		return 0, false
	}
	d.data = d.data[n:]
	return x, true
}

func (d *decoder) uvarint() (uint64, bool) {
	x, n := binary.Uvarint(d.data)
	if n <= 0 {
		return 0, false
	}
	d.data = d.data[n:]
	return x, true
}

func (d *decoder) value(v reflect.Value) bool {
	switch k := v.Kind(); {
	case k == reflect.Bool:
		b, ok := d.take(1)
		if !ok || b[0] > 1 {
			return false
		}
		v.SetBool(b[0] == 1)
		return true
	case v.CanInt():
		x, ok := d.varint()
		if !ok || v.OverflowInt(x) {
			return false
		}
		v.SetInt(x)
		return true
	case k == reflect.Float64:
		b, ok := d.take(8)
		if ok {
			v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(b)))
		}
		return ok
	case k == reflect.Float32:
		b, ok := d.take(4)
		if ok {
			v.SetFloat(float64(math.Float32frombits(binary.LittleEndian.Uint32(b))))
		}
		return ok
	case k == reflect.String:
		n, ok := d.uvarint()
		if !ok || n > uint64(len(d.data)) {
			return false
		}
		b, _ := d.take(int(n))
		v.SetString(string(b))
		return true
	case k == reflect.Struct:
		for i := range v.NumField() {
			if !d.value(v.Field(i)) {
				return false
			}
		}
		return true
	case k == reflect.Array:
		for i := range v.Len() {
			if !d.value(v.Index(i)) {
				return false
			}
		}
		return true
	case k == reflect.Slice:
		return d.slice(v)
	}
	panic(fmt.Sprintf("store: %s is not plain", v.Type()))
}

func (d *decoder) slice(v reflect.Value) bool {
	n, ok := d.uvarint()
	if !ok || n > uint64(len(d.data))+1 { // every element takes a byte at least
		return false
	}
	if n == 0 {
		return true
	}
	n--
	switch p := v.Addr().Interface().(type) {
	case *[]int32:
		x := make([]int32, n)
		last := int64(0)
		for i := range x {
			step, ok := d.varint()
			if last += step; !ok || last != int64(int32(last)) {
				return false
			}
			x[i] = int32(last)
		}
		*p = x
		return true
	case *[]float32:
		b, ok := d.take(4 * int(n))
		if !ok {
			return false
		}
		x := make([]float32, n)
		for i := range x {
			x[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
		}
		*p = x
		return true
	case *[]float64:
		b, ok := d.take(8 * int(n))
		if !ok {
			return false
		}
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
		*p = x
		return true
	}
	// Elements are made as they come: a lying count makes no memory.
	list := reflect.MakeSlice(v.Type(), 0, int(min(n, 64)))
	for range n {
		e := reflect.New(v.Type().Elem()).Elem()
		if !d.value(e) {
			return false
		}
		list = reflect.Append(list, e)
	}
	v.Set(list)
	return true
}

// Size returns how many bytes a value takes before it is packed: about half of
// what it takes in memory.
func Size(data []byte) int64 {
	n, _ := binary.Uvarint(data)
	return int64(min(n, math.MaxInt32))
}
