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

// rounding returns what the largest coordinate of a file may be off by, in the file's
// unit.
func (r *raw) rounding() (off float64) {
	most := 0.0
	for i := range r.bodies {
		b := &r.bodies[i]
		for _, p := range b.corners {
			for _, v := range p {
				most = max(most, math.Abs(float64(v)))
			}
		}
		for _, p := range b.verts {
			for _, v := range p {
				most = max(most, math.Abs(v))
			}
		}
		off = max(off, math.Pow10(exponent(most)-writtenDigits(b.verts))/2)
	}
	return max(off, most*singleErr)
}

// exponent is how many digits a number has before the point.
func exponent(v float64) int { return int(math.Floor(math.Log10(v))) + 1 }

// writtenDigits returns to how many digits coordinates were rounded; a large number if
// to many, or not at all.
func writtenDigits(verts []Vec) int {
	const none = 300
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
