package still

import (
	"image/color"

	"corbel/rules"
)

// This file holds the colours of every picture, those of the page's view too.
// Each scale rises in lightness and changes hue from warm to cool at the
// limit, so that it is read by people who tell few hues apart, and on paper
// without colour.

// The colours of a part where nothing is said about it.
var (
	Stone = color.NRGBA{0xc3, 0xc8, 0xcb, 0xff} // surface
	Cut   = color.NRGBA{0xd8, 0xc3, 0x98, 0xff} // material cut through
	Ink   = color.NRGBA{0x2a, 0x30, 0x36, 0xff} // edges and lettering
	Halo  = color.NRGBA{0xff, 0xff, 0xff, 0xff} // around marks, to be seen on anything
)

// LevelColor is the colour of findings of a level; pictures always tell it by
// a shape or a word as well.
func LevelColor(l rules.Level) color.NRGBA {
	switch l {
	case rules.Error:
		return color.NRGBA{0xbe, 0x2f, 0x16, 0xff}
	case rules.Warning:
		return color.NRGBA{0xe3, 0x9a, 0x0b, 0xff}
	}
	return color.NRGBA{0x2d, 0x72, 0xb8, 0xff}
}

// Stop is a colour of a scale at a share of the limit.
type Stop struct {
	At    float64 // 1 is the limit
	Color color.NRGBA
}

// Scale colours a value by its share of a limit that it must not be below:
// warm and dark below it, cool and light above.
var Scale = []Stop{
	{0, color.NRGBA{0x3a, 0x12, 0x48, 0xff}},
	{0.34, color.NRGBA{0x97, 0x22, 0x52, 0xff}},
	{0.68, color.NRGBA{0xe0, 0x6a, 0x3c, 0xff}},
	{1, color.NRGBA{0xf6, 0xc9, 0x5c, 0xff}},
	{1, color.NRGBA{0x6f, 0xa3, 0xb5, 0xff}},
	{2, color.NRGBA{0xd9, 0xe3, 0xe7, 0xff}},
}

// ColorAt returns the colour of Scale at a share of the limit; a share at the
// limit passes and is cool.
func ColorAt(share float64) color.NRGBA {
	last := Scale[len(Scale)-1]
	if !(share < last.At) { // NaN as well
		return last.Color
	}
	for i := len(Scale) - 2; i >= 0; i-- {
		a, b := Scale[i], Scale[i+1]
		if share >= a.At {
			return mix(a.Color, b.Color, (share-a.At)/(b.At-a.At))
		}
	}
	return Scale[0].Color
}

// mix returns a colour between two, t from 0 to 1.
func mix(a, b color.NRGBA, t float64) color.NRGBA {
	f := func(x, y uint8) uint8 { return uint8(float64(x) + t*(float64(y)-float64(x)) + 0.5) }
	return color.NRGBA{f(a.R, b.R), f(a.G, b.G), f(a.B, b.B), f(a.A, b.A)}
}
