// Package fit holds the published tolerance tables that parts are drawn to:
// the standard tolerance grades and the places of the zones of ISO 286-1, the
// fits they make, and the general tolerances of ISO 2768-1. Sizes are
// millimetres, tolerances micrometres or millimetres as the name says.
package fit

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// upTo holds the upper ends of the nominal size ranges of ISO 286-1, mm.
var upTo = [...]float64{3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500}

// grades holds IT4 to IT16 in micrometres, a row a size range. Source: ISO
// 286-1, table 1, from memory; a public transcription agrees in every cell,
// IT7, IT9, IT11 and IT13 stand again in the tests, and the defining formula
// bounds every cell.
var grades = [...][13]float64{
	{3, 4, 6, 10, 14, 25, 40, 60, 100, 140, 250, 400, 600},
	{4, 5, 8, 12, 18, 30, 48, 75, 120, 180, 300, 480, 750},
	{4, 6, 9, 15, 22, 36, 58, 90, 150, 220, 360, 580, 900},
	{5, 8, 11, 18, 27, 43, 70, 110, 180, 270, 430, 700, 1100},
	{6, 9, 13, 21, 33, 52, 84, 130, 210, 330, 520, 840, 1300},
	{7, 11, 16, 25, 39, 62, 100, 160, 250, 390, 620, 1000, 1600},
	{8, 13, 19, 30, 46, 74, 120, 190, 300, 460, 740, 1200, 1900},
	{10, 15, 22, 35, 54, 87, 140, 220, 350, 540, 870, 1400, 2200},
	{12, 18, 25, 40, 63, 100, 160, 250, 400, 630, 1000, 1600, 2500},
	{14, 20, 29, 46, 72, 115, 185, 290, 460, 720, 1150, 1850, 2900},
	{16, 23, 32, 52, 81, 130, 210, 320, 520, 810, 1300, 2100, 3200},
	{18, 25, 36, 57, 89, 140, 230, 360, 570, 890, 1400, 2300, 3600},
	{20, 27, 40, 63, 97, 155, 250, 400, 630, 970, 1550, 2500, 4000},
}

const gradeMin, gradeMax = 4, 16

// Grade returns the width of the tolerance grade IT4 to IT16 for a nominal
// size in mm, in micrometres; false outside the table (size over 500 mm, not
// positive, or another grade).
func Grade(grade int, sizeMM float64) (widthUM float64, ok bool) {
	r := sizeRange(sizeMM)
	if r < 0 || grade < gradeMin || grade > gradeMax {
		return 0, false
	}
	return grades[r][grade-gradeMin], true
}

// GradeOf returns the finest grade that a tolerance of the given full width
// still allows: the number to compare with what a process holds. A width finer
// than IT4 gives 3, one wider than IT16 gives 17; false outside the sizes.
func GradeOf(widthUM, sizeMM float64) (grade int, ok bool) {
	r := sizeRange(sizeMM)
	if r < 0 || !(widthUM > 0) {
		return 0, false
	}
	for g := gradeMax; g >= gradeMin; g-- {
		if widthUM >= grades[r][g-gradeMin] {
			if g == gradeMax && widthUM > grades[r][g-gradeMin] {
				return gradeMax + 1, true
			}
			return g, true
		}
	}
	return gradeMin - 1, true
}

func sizeRange(sizeMM float64) int {
	if !(sizeMM > 0) {
		return -1
	}
	return rangeOf(upTo[:], sizeMM)
}

// rangeOf is the number of the range that holds a size, -1 above them all.
func rangeOf(ends []float64, sizeMM float64) int {
	return slices.IndexFunc(ends, func(end float64) bool { return sizeMM <= end })
}

// Tolerance is what a spec asks of one size.
type Tolerance struct {
	Text             string
	Letter           string  // "H", "h", "js", ... or "" for a bare grade or a band
	Grade            int     // 0 for a band
	WidthMM          float64 // full width; of a grade only once the size is known
	LowerMM, UpperMM float64 // deviations from the nominal size
	Known            bool    // LowerMM and UpperMM mean something: not of a bare grade, nor of letters without a table here
}

// Holds says which zones have a place here; small letters as the capital ones. J has one
// from J6 to J8, j from j5 to j7.
const Holds = "A to H, J, JS, K, M, N, P, R to V, X to Z and ZA to ZC, IT4 to IT16, up to 500 mm"

// Parse understands "H7", "h6" and "IT9" for a nominal size in mm. Deviations are given for the letters of Holds; for others only the width is
// known.
func Parse(text string, sizeMM float64) (Tolerance, error) {
	t := Tolerance{Text: text}
	s := strings.TrimSpace(text)
	i := strings.IndexFunc(s, func(r rune) bool { return r >= '0' && r <= '9' })
	if i <= 0 {
		return t, fmt.Errorf("%q is no tolerance: write a grade such as \"H7\"", text)
	}
	g, err := strconv.Atoi(s[i:])
	if err != nil {
		return t, fmt.Errorf("%q is no tolerance: write a grade such as \"H7\"", text)
	}
	w, ok := Grade(g, sizeMM)
	if !ok {
		return t, fmt.Errorf("%q at %g mm is outside the table (IT%d to IT%d, up to 500 mm)", text, sizeMM, gradeMin, gradeMax)
	}
	t.Letter, t.Grade, t.WidthMM = s[:i], g, w/1000
	if t.Letter == "IT" {
		t.Letter = ""
		return t, nil
	}
	t.LowerMM, t.UpperMM, t.Known = zone(t.Letter, g, sizeMM)
	return t, nil
}

// general holds the permissible deviations of ISO 2768-1, table 1, in mm, for
// the ranges that generalUpTo ends; NaN where the standard gives none.
var (
	generalUpTo = [...]float64{3, 6, 30, 120, 400, 1000, 2000, 4000}
	general     = map[byte][8]float64{
		'f': {0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, math.NaN()},
		'm': {0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2},
		'c': {0.2, 0.3, 0.5, 0.8, 1.2, 2, 3, 4},
		'v': {math.NaN(), 0.5, 1, 1.5, 2.5, 4, 6, 8},
	}
)

// General returns the permissible deviation, plus or minus, of a linear size
// from 0.5 to 4000 mm in class f, m, c or v of ISO 2768-1.
func General(class byte, sizeMM float64) (deviationMM float64, ok bool) {
	row, ok := general[class]
	if !ok || !(sizeMM >= 0.5) {
		return 0, false
	}
	for i, u := range generalUpTo {
		if sizeMM <= u {
			return row[i], !math.IsNaN(row[i])
		}
	}
	return 0, false
}
