package fit

import (
	"math"
	"strconv"
	"strings"
)

// This file holds where the tolerance zones of ISO 286-1 lie, and what a hole
// and a shaft of two zones leave between them.

// places holds the fundamental deviations of shafts in micrometres, a row a
// letter over the size ranges. d to g: how far the zone ends below the nominal
// size. k to p: how far it begins above. Source: ISO 286-1, tables 4 and 5, from
// memory; one public transcription, read, agrees in every cell, a second in all
// but c, which it leaves out; the defining formulas, which c has none of, and a
// printed table of limits stand in the tests.
var places = map[string][len(upTo)]float64{
	"d": {20, 30, 40, 50, 65, 80, 100, 120, 145, 170, 190, 210, 230},
	"e": {14, 20, 25, 32, 40, 50, 60, 72, 85, 100, 110, 125, 135},
	"f": {6, 10, 13, 16, 20, 25, 30, 36, 43, 50, 56, 62, 68},
	"g": {2, 4, 5, 6, 7, 9, 10, 12, 14, 15, 17, 18, 20},
	"h": {},
	"k": {0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5}, // grades 4 to 7; 0 in others
	"m": {2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23},
	"n": {4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40},
	"p": {6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68},
}

// fineUpTo holds the upper ends of the finer size ranges over which a to c and
// r to zc are given, mm; finePlaces their deviations, NaN where the standard
// gives none. c, r and s are from the sources of places; a, b, t and u from
// memory, and two public transcriptions, read, agree in every cell; v to zc from
// memory, and four agree, three of them in v.
var fineUpTo = [...]float64{3, 6, 10, 14, 18, 24, 30, 40, 50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250, 280, 315, 355, 400, 450, 500}

var finePlaces = map[string][len(fineUpTo)]float64{
	"a":  {270, 270, 280, 290, 290, 300, 300, 310, 320, 340, 360, 380, 410, 460, 520, 580, 660, 740, 820, 920, 1050, 1200, 1350, 1500, 1650},
	"b":  {140, 140, 150, 150, 150, 160, 160, 170, 180, 190, 200, 220, 240, 260, 280, 310, 340, 380, 420, 480, 540, 600, 680, 760, 840},
	"c":  {60, 70, 80, 95, 95, 110, 110, 120, 130, 140, 150, 170, 180, 200, 210, 230, 240, 260, 280, 300, 330, 360, 400, 440, 480},
	"r":  {10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132},
	"s":  {14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232, 252},
	"t":  {none, none, none, none, none, none, 41, 48, 54, 66, 75, 91, 104, 122, 134, 146, 166, 180, 196, 218, 240, 268, 294, 330, 360},
	"u":  {18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144, 170, 190, 210, 236, 258, 284, 315, 350, 390, 435, 490, 540},
	"v":  {none, none, none, none, 39, 47, 55, 68, 81, 102, 120, 146, 172, 202, 228, 252, 284, 310, 340, 385, 425, 475, 530, 595, 660},
	"x":  {20, 28, 34, 40, 45, 54, 64, 80, 97, 122, 146, 178, 210, 248, 280, 310, 350, 385, 425, 475, 525, 590, 660, 740, 820},
	"y":  {none, none, none, none, none, 63, 75, 94, 114, 144, 174, 214, 254, 300, 340, 380, 425, 470, 520, 580, 650, 730, 820, 920, 1000},
	"z":  {26, 35, 42, 50, 60, 73, 88, 112, 136, 172, 210, 258, 310, 365, 415, 465, 520, 575, 640, 710, 790, 900, 1000, 1100, 1250},
	"za": {32, 42, 52, 64, 77, 98, 118, 148, 180, 226, 274, 335, 400, 470, 535, 600, 670, 740, 820, 920, 1000, 1150, 1300, 1450, 1600},
	"zb": {40, 50, 67, 90, 108, 136, 160, 200, 242, 300, 360, 445, 525, 620, 700, 780, 880, 960, 1050, 1200, 1300, 1500, 1650, 1850, 2100},
	"zc": {60, 80, 97, 130, 150, 188, 218, 274, 325, 405, 480, 585, 690, 800, 900, 1000, 1150, 1250, 1350, 1550, 1700, 1900, 2100, 2400, 2600},
}

// middlePlaces holds the places of j and J, which lie about the nominal size and of which
// the standard has these grades alone: where the zone of a shaft begins, below, and where
// that of a hole ends, above. From memory; two public transcriptions, read, agree in
// every cell.
var middlePlaces = map[string][len(upTo)]float64{
	"j5": {-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20},
	"j6": {-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20},
	"j7": {-4, -4, -5, -6, -8, -10, -12, -15, -18, -21, -26, -28, -32},
	"J6": {2, 5, 5, 6, 8, 10, 13, 16, 18, 22, 25, 29, 33},
	"J7": {4, 6, 8, 10, 12, 14, 18, 22, 26, 30, 36, 39, 43},
	"J8": {6, 10, 12, 15, 20, 24, 28, 34, 41, 47, 55, 60, 66},
}

var none = math.NaN()

// place is the fundamental deviation of a shaft in micrometres, without sign.
func place(letter string, sizeMM float64) (um float64, ok bool) {
	if row, ok := places[letter]; ok {
		return row[rangeOf(upTo[:], sizeMM)], true
	}
	row, ok := finePlaces[letter]
	if !ok || (letter == "a" || letter == "b") && sizeMM <= 1 { // the standard has none there
		return 0, false
	}
	um = row[rangeOf(fineUpTo[:], sizeMM)]
	return um, !math.IsNaN(um)
}

// zone returns the deviations of a zone from a nominal size inside the tables,
// mm, capital letters for holes; false for letters and grades without a table.
func zone(letter string, grade int, sizeMM float64) (lowerMM, upperMM float64, ok bool) {
	w, ok := Grade(grade, sizeMM)
	if !ok {
		return 0, 0, false
	}
	small := strings.ToLower(letter)
	hole := letter != small
	if small == "js" {
		return -w / 2000, w / 2000, true
	}
	if small == "j" {
		row, ok := middlePlaces[letter+strconv.Itoa(grade)]
		at := row[rangeOf(upTo[:], sizeMM)]
		if hole {
			return (at - w) / 1000, at / 1000, ok
		}
		return at / 1000, (at + w) / 1000, ok
	}
	at, ok := place(small, sizeMM)
	switch {
	case !ok:
		return 0, 0, false
	case small <= "h" && hole:
		return at / 1000, (at + w) / 1000, true
	case small <= "h":
		return -(at + w) / 1000, -at / 1000, true
	case hole:
		top, ok := tightHole(small, grade, sizeMM, at)
		return (top - w) / 1000, top / 1000, ok
	case small == "k" && grade > 7:
		at = 0
	}
	return at / 1000, (at + w) / 1000, true
}

// tightHole is the upper deviation ES of the holes K to ZC in micrometres, from
// the deviation ei of the shaft of the same letter. Up to IT8 (K, M, N) and IT7
// (P and on) the hole lies as much higher as its grade is wider than the next
// finer one, so that H7/p6 and P7/h6 leave the same; ISO 286-1, clause on
// fundamental deviations of holes, from memory. Exceptions of the standard: N of
// IT9 and coarser begins at nominal, K of those grades has no place, both over
// 3 mm; M6 on 250 to 315 mm ends at -9.
func tightHole(letter string, grade int, sizeMM, eiUM float64) (esUM float64, ok bool) {
	most := 7
	if letter <= "n" {
		most = 8
	}
	switch {
	case sizeMM <= 3:
		return -eiUM, true
	case letter == "m" && grade == 6 && sizeMM > 250 && sizeMM <= 315:
		return -9, true
	case grade <= most:
		wide, _ := Grade(grade, sizeMM)
		fine, ok := Grade(grade-1, sizeMM)
		return wide - fine - eiUM, ok
	case letter == "k":
		return 0, false
	case letter == "n":
		return 0, true
	}
	return -eiUM, true
}

// Fit is a hole and the shaft that goes into it.
type Fit struct {
	Hole, Shaft Tolerance
	// What the shaft leaves: clearance, below 0 interference; of the largest
	// shaft in the smallest hole and of the smallest in the largest.
	LeastMM, MostMM float64
}

// Between returns what a shaft leaves in a hole; false where the place of a zone
// is not known.
func Between(hole, shaft Tolerance) (f Fit, ok bool) {
	return Fit{hole, shaft, hole.LowerMM - shaft.UpperMM, hole.UpperMM - shaft.LowerMM}, hole.Known && shaft.Known
}

// Kind names a fit as the standard does.
func (f Fit) Kind() string {
	// A rounding of the sums is no interference.
	const sumErrMM = 1e-9
	switch {
	case f.LeastMM >= -sumErrMM:
		return "clearance"
	case f.MostMM <= sumErrMM:
		return "interference"
	}
	return "transition"
}
