package still

import (
	"image/color"
	"math"
	"testing"

	"corbel/rules"
)

// visions are what people see of linear red, green and blue: all of it, and
// without one kind of cone. The matrices are those for full severity of
// Machado, Oliveira and Fernandes 2009, "A physiologically-based model for
// simulation of color vision deficiency" (from memory).
var visions = map[string][3][3]float64{
	"all cones": {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"no long":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"no middle": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"no short":  {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

// lab is CIE L*a*b* 1976 of what is seen of an sRGB colour (IEC 61966-2-1, D65).
func lab(c color.NRGBA, vision [3][3]float64) [3]float64 {
	var in, seen [3]float64
	for k, v := range []uint8{c.R, c.G, c.B} {
		if x := float64(v) / 255; x <= 0.04045 {
			in[k] = x / 12.92
		} else {
			in[k] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	for k, row := range vision {
		seen[k] = min(1, max(0, row[0]*in[0]+row[1]*in[1]+row[2]*in[2]))
	}
	f := func(r, g, b, white float64) float64 {
		t := (r*seen[0] + g*seen[1] + b*seen[2]) / white
		if t > 0.008856 {
			return math.Cbrt(t)
		}
		return 7.787*t + 16.0/116
	}
	x, y, z := f(0.4124, 0.3576, 0.1805, 0.9505), f(0.2126, 0.7152, 0.0722, 1), f(0.0193, 0.1192, 0.9505, 1.089)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func apart(a, b color.NRGBA, vision [3][3]float64) float64 {
	x, y := lab(a, vision), lab(b, vision)
	return math.Sqrt((x[0]-y[0])*(x[0]-y[0]) + (x[1]-y[1])*(x[1]-y[1]) + (x[2]-y[2])*(x[2]-y[2]))
}

// White is 100 light, black 0, and a difference of about 2.3 is just seen
// (Mahy, Van Eycken and Oosterlinck 1994, from memory).
func TestLab(t *testing.T) {
	all := visions["all cones"]
	white, black := lab(color.NRGBA{255, 255, 255, 255}, all), lab(color.NRGBA{0, 0, 0, 255}, all)
	if math.Abs(white[0]-100) > 0.01 || math.Hypot(white[1], white[2]) > 0.05 || math.Abs(black[0]) > 0.01 {
		t.Errorf("white is %v, black %v", white, black)
	}
	// sRGB red in L*a*b*, D65: 53.24, 80.09, 67.20 (common value, from memory).
	if red := lab(color.NRGBA{255, 0, 0, 255}, all); math.Abs(red[0]-53.24) > 0.05 || math.Abs(red[1]-80.09) > 0.1 || math.Abs(red[2]-67.2) > 0.1 {
		t.Errorf("red is %v", red)
	}
	// Greys stay grey whatever cone is missing.
	for name, v := range visions {
		if g := lab(color.NRGBA{128, 128, 128, 255}, v); math.Hypot(g[1], g[2]) > 0.1 {
			t.Errorf("%s: grey is %v", name, g)
		}
	}
}

// Colours that say different things look different to everyone: seven times
// what is just seen, on surfaces that light makes darker and brighter.
func TestPaletteWithoutACone(t *testing.T) {
	const least = 16
	type named struct {
		name string
		c    color.NRGBA
	}
	levels := []named{{"stone", Stone}, {"cut", Cut}}
	for _, l := range []rules.Level{rules.Error, rules.Warning, rules.Note} {
		levels = append(levels, named{string(l), LevelColor(l)})
	}
	support := []named{{"stone", Stone}, {"carries itself", ColorAt(1)}, {"needs support", ColorAt(0.68)}, {"stood on", ColorAt(0)}}
	for vision, m := range visions {
		for _, set := range [][]named{levels, support} {
			for i, a := range set {
				for _, b := range set[:i] {
					if d := apart(a.c, b.c, m); d < least {
						t.Errorf("%s: %s and %s are %.1f apart", vision, a.name, b.name, d)
					}
				}
			}
		}
	}
}

// A scale gets lighter all the way on each side of the limit and changes at
// the limit, for everyone.
func TestScaleWithoutACone(t *testing.T) {
	for vision, m := range visions {
		last := math.Inf(-1)
		for i := 0; i < 200; i++ {
			share := float64(i) / 100
			l := lab(ColorAt(share), m)[0]
			if i != 100 && l < last {
				t.Errorf("%s: darker at %.2f of the limit", vision, share)
			}
			last = l
		}
		if d := apart(ColorAt(0.999), ColorAt(1), m); d < 40 {
			t.Errorf("%s: only %.1f apart at the limit", vision, d)
		}
	}
}
