package mesh

import (
	"math"
	"strconv"
)

// This file tells how a file's numbers are rounded: to single precision, or, where a
// program wrote them with fewer digits than that holds, to those.

// singleErr is the rounding of a number to single precision, as a part of it.
const singleErr = 0x1p-24

const (
	roundingSeen = 2048 // vertices looked at
	// Numbers of a few digits are as somebody drew them, and 8 digits are finer than
	// single precision.
	digitsLeast, digitsMost = 5, 7
	// digitsShare is the least share of different numbers that need all the digits
	// there are, if these are what numbers were rounded to.
	digitsShare = 0.5
)

// largest returns the largest coordinate of a mesh, mm; 0 without facets.
func (m *Mesh) largest() float64 {
	b, most := m.Box(), 0.0
	if len(m.Facets) == 0 {
		return 0
	}
	for k := range 3 {
		most = max(most, math.Abs(b.Min[k]), math.Abs(b.Max[k]))
	}
	return most
}

// writtenErr returns what the largest of some coordinates may be off by as a program
// wrote them; 0 if it wrote all digits.
func writtenErr(verts []Vec) float64 {
	digits := writtenDigits(verts)
	if digits > digitsMost {
		return 0
	}
	most := 0.0
	for _, p := range verts {
		for _, v := range p {
			most = max(most, math.Abs(v))
		}
	}
	return math.Pow10(exponent(most)-digits) / 2
}

// exponent is how many digits a number has before the point.
func exponent(v float64) int { return int(math.Floor(math.Log10(v))) + 1 }

// writtenDigits returns to how many digits coordinates were rounded; more than
// digitsMost if to many, or not at all.
func writtenDigits(verts []Vec) int {
	const none = digitsMost + 1
	var of [digitsMost + 1]int // how many need so many digits
	seen := map[float64]bool{0: true}
	for i := 0; i < len(verts); i += 1 + len(verts)/roundingSeen {
		for _, v := range verts[i] {
			if seen[v] {
				continue
			}
			seen[v] = true
			n := digits(v)
			if n > digitsMost {
				return none
			}
			of[n]++
		}
	}
	for n := digitsMost; n >= digitsLeast; n-- {
		if of[n] > 0 {
			if float64(of[n]) < digitsShare*float64(len(seen)-1) {
				return none
			}
			return n
		}
	}
	return none
}

// digits is how many digits write a number, digitsMost+1 if more than that.
func digits(v float64) int {
	var text [32]byte
	for n := 1; n <= digitsMost; n++ {
		w := strconv.AppendFloat(text[:0], v, 'e', n-1, 64)
		if got, _ := strconv.ParseFloat(string(w), 64); got == v {
			return n
		}
	}
	return digitsMost + 1
}
