package still

import (
	"image"
	"image/color"
	"math"
	"strconv"
)

// This file draws the scale bar and the few letters that it needs.

// glyphs are five dots wide and seven high, a row a byte, the leftmost dot in bit 4.
var glyphs = map[rune][7]byte{
	'0': {0x0e, 0x11, 0x13, 0x15, 0x19, 0x11, 0x0e},
	'1': {0x04, 0x0c, 0x04, 0x04, 0x04, 0x04, 0x0e},
	'2': {0x0e, 0x11, 0x01, 0x06, 0x08, 0x10, 0x1f},
	'5': {0x1f, 0x10, 0x1e, 0x01, 0x01, 0x11, 0x0e},
	'.': {0, 0, 0, 0, 0, 0x0c, 0x0c},
	'm': {0, 0, 0x1a, 0x15, 0x15, 0x15, 0x15},
}

// barLengthMM returns the longest of 1, 2, 5, 10, ... that is no longer than
// the given length.
func barLengthMM(mostMM float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(mostMM)))
	for _, k := range []float64{5, 2} {
		if k*ten <= mostMM {
			return k * ten
		}
	}
	return ten
}

// scaleBar draws a bar of a round length with its length beside it.
func scaleBar(img *image.NRGBA, c camera) {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	length := barLengthMM(float64(w) / 4 / c.scale)
	x0, y0, long := 10, h-14, int(length*c.scale+0.5)
	dark := func(x, y int, c color.NRGBA) { over(img, x, y, c, 1) }
	text := strconv.FormatFloat(length, 'f', -1, 64) + " mm"
	plate(img, x0-6, y0-8, long+16+6*len(text)+6, 18)
	for x := range long + 1 {
		dark(x0+x, y0, Ink)
		dark(x0+x, y0+1, Ink)
	}
	for y := -4; y <= 5; y++ {
		dark(x0, y0+y, Ink)
		dark(x0+long, y0+y, Ink)
	}
	for i, r := range text {
		for row, bits := range glyphs[r] {
			for col := range 5 {
				if bits>>(4-col)&1 == 1 {
					dark(x0+long+8+6*i+col, y0-3+row, Ink)
				}
			}
		}
	}
}

// plate lays a light ground under lettering.
func plate(img *image.NRGBA, x0, y0, w, h int) {
	for y := y0; y < y0+h; y++ {
		for x := x0; x < x0+w; x++ {
			over(img, x, y, Halo, 0.82)
		}
	}
}
