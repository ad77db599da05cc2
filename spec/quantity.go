package spec

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// This file defines quantities: numbers with units, what they mean in the base
// unit of their dimension, and how they are written back.

// Unit is a unit of measure that the language knows.
type Unit struct {
	Name  string  // as it is written: "mm", "g/cm3"
	Dim   Dim     // what it measures
	Scale float64 // base = Scale*number + Shift
	Shift float64 // 0 for all but temperatures
	Doc   string  // its name in full
}

// units is every unit, by dimension, the one to write first in front.
// The inch is 25.4 mm and the pound 453.59237 g exactly (international yard
// and pound agreement of 1959); everything else is decimal.
var units = []Unit{
	{"mm", Length, 1, 0, "millimetre"},
	{"um", Length, 1e-3, 0, "micrometre"},
	{"cm", Length, 10, 0, "centimetre"},
	{"m", Length, 1000, 0, "metre"},
	{"in", Length, 25.4, 0, "inch"},
	{"mil", Length, 0.0254, 0, "thousandth of an inch"},
	{"ft", Length, 304.8, 0, "foot"},

	{"deg", Angle, math.Pi / 180, 0, "degree"},
	{"rad", Angle, 1, 0, "radian"},

	{"mm2", Area, 1, 0, "square millimetre"},
	{"cm2", Area, 100, 0, "square centimetre"},
	{"m2", Area, 1e6, 0, "square metre"},
	{"in2", Area, 645.16, 0, "square inch"},

	{"mm3", Volume, 1, 0, "cubic millimetre"},
	{"cm3", Volume, 1000, 0, "cubic centimetre"},
	{"m3", Volume, 1e9, 0, "cubic metre"},
	{"in3", Volume, 16387.064, 0, "cubic inch"},

	{"g", Mass, 1, 0, "gram"},
	{"kg", Mass, 1000, 0, "kilogram"},
	{"mg", Mass, 1e-3, 0, "milligram"},
	{"lb", Mass, 453.59237, 0, "pound"},
	{"oz", Mass, 28.349523125, 0, "ounce"},

	{"g/cm3", Density, 1, 0, "gram per cubic centimetre"},
	{"kg/m3", Density, 1e-3, 0, "kilogram per cubic metre"},
	{"lb/in3", Density, 453.59237 / 16.387064, 0, "pound per cubic inch"},

	{"s", Time, 1, 0, "second"},
	{"min", Time, 60, 0, "minute"},
	{"h", Time, 3600, 0, "hour"},

	{"cm3/h", Rate, 1, 0, "cubic centimetre per hour"},
	{"mm3/s", Rate, 3.6, 0, "cubic millimetre per second"},
	{"in3/h", Rate, 16.387064, 0, "cubic inch per hour"},

	{"mm/s", Speed, 1, 0, "millimetre per second"},
	{"m/s", Speed, 1000, 0, "metre per second"},
	{"m/min", Speed, 1000.0 / 60, 0, "metre per minute"},

	{"um", Roughness, 1e-3, 0, "micrometre"},
	{"mm", Roughness, 1, 0, "millimetre"},
	{"uin", Roughness, 25.4e-6, 0, "millionth of an inch"},

	{"degC", Temperature, 1, 0, "degree Celsius"},
	{"K", Temperature, 1, -273.15, "kelvin"},
	{"degF", Temperature, 5.0 / 9, -32 * 5.0 / 9, "degree Fahrenheit"},
}

var dimNames = [...]string{
	None: "plain number", Length: "length", Angle: "angle", Area: "area",
	Volume: "volume", Mass: "mass", Density: "density", Time: "time",
	Rate: "build rate", Speed: "speed", Roughness: "roughness", Temperature: "temperature",
}

// String returns the name of the dimension: "length".
func (d Dim) String() string {
	if int(d) < len(dimNames) {
		return dimNames[d]
	}
	return "quantity"
}

// Units returns the units of a dimension, the one to write first in front.
// A plain number has none.
func (d Dim) Units() []Unit {
	var list []Unit
	for _, u := range units {
		if u.Dim == d {
			list = append(list, u)
		}
	}
	return list
}

// unitSpelling maps other spellings of a sign to the one that the table uses:
// both Unicode micro signs, superscripts and the degree sign.
var unitSpelling = strings.NewReplacer("µ", "u", "μ", "u", "²", "2", "³", "3", "^", "", "°C", "degC", "°F", "degF", "°", "deg")

// findUnit returns the unit of that name, of the wanted dimension if it has
// one there, else of any other.
func findUnit(name string, want Dim) (Unit, bool) {
	name = unitSpelling.Replace(name)
	found, ok := Unit{}, false
	for _, u := range units {
		if u.Name == name && (!ok || u.Dim == want) {
			found, ok = u, true
		}
	}
	return found, ok
}

// QuantityError says why a text is no quantity of the wanted dimension.
type QuantityError struct {
	Reason string // completes "... is ": `"45 mm" is` + " a length, not an angle"
	Help   string // what to write
	Mended string // the text to write instead, or "" where nobody can know
}

func (e *QuantityError) Error() string { return e.Reason }

// ParseQuantity reads a number with a unit: "0.4 mm", "45 deg". The blank
// between them may be missing. The error's type is *QuantityError.
func ParseQuantity(text string, want Dim) (Quantity, error) {
	q, qe := parseQuantity(text, want, "")
	if qe != nil {
		return Quantity{}, qe
	}
	return q, nil
}

// parseQuantity is ParseQuantity; usual is the unit to offer where none was
// written.
func parseQuantity(text string, want Dim, usual string) (Quantity, *QuantityError) {
	s := strings.TrimSpace(text)
	if want == None {
		return parsePlain(s)
	}
	digits := numberPrefix(s)
	unit := strings.TrimSpace(s[len(digits):])
	example := fmt.Sprintf("Write a number and a unit, such as %q.", exampleOf(want))
	switch {
	case s == "":
		return Quantity{}, &QuantityError{"empty where " + withArticle(want) + " belongs", example, ""}
	case digits == "":
		return Quantity{}, &QuantityError{fmt.Sprintf("%q, which starts with no number", short(s)), example, ""}
	case strings.HasPrefix(unit, ",") && numberPrefix(unit[1:]) != "":
		return Quantity{}, &QuantityError{
			fmt.Sprintf("%q, with a comma in the number", short(s)), "Write a point before the decimals.",
			digits + "." + unit[1:]}
	}
	num, err := strconv.ParseFloat(digits, 64)
	if err != nil || math.IsInf(num, 0) || math.IsNaN(num) {
		return Quantity{}, &QuantityError{fmt.Sprintf("%q, which is no finite number", short(s)), example, ""}
	}
	if unit == "" {
		if usual == "" {
			usual = want.Units()[0].Name
		}
		return Quantity{}, &QuantityError{
			fmt.Sprintf("%q, which has no unit", short(s)),
			fmt.Sprintf("Write the unit: %q.", s+" "+usual), s + " " + usual}
	}
	u, ok := findUnit(unit, want)
	if !ok {
		return Quantity{}, unknownUnit(digits, unit, want)
	}
	if u.Dim != want {
		return Quantity{}, &QuantityError{
			fmt.Sprintf("%q, which is %s", short(s), withArticle(u.Dim)),
			fmt.Sprintf("Give %s in %s.", withArticle(want), unitNames(want)), ""}
	}
	v := num*u.Scale + u.Shift
	if math.IsInf(v, 0) {
		return Quantity{}, &QuantityError{fmt.Sprintf("%q, which is no finite number", short(s)), example, ""}
	}
	return Quantity{V: v, Dim: want, Num: num, Unit: u.Name}, nil
}

// parsePlain reads a number that has no unit.
func parsePlain(s string) (Quantity, *QuantityError) {
	num, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(num, 0) || math.IsNaN(num) || numberPrefix(s) != s {
		return Quantity{}, &QuantityError{fmt.Sprintf("%q, which is no plain number", short(s)), "Write a number without a unit.", ""}
	}
	return Quantity{V: num, Num: num}, nil
}

func unknownUnit(digits, unit string, want Dim) *QuantityError {
	e := &QuantityError{Reason: fmt.Sprintf("%q, whose unit %q is not known", short(digits+" "+unit), short(unit))}
	e.Help = fmt.Sprintf("Units of %s are %s.", withArticle(want), unitNames(want))
	if near := unitNear(unit, want); near != "" {
		e.Mended = digits + " " + near
		e.Help = fmt.Sprintf("Write %q. %s", e.Mended, e.Help)
	}
	return e
}

// unitNear guesses the unit that was meant, or returns "".
func unitNear(unit string, want Dim) string {
	unit = unitSpelling.Replace(unit)
	list := want.Units()
	for _, u := range list {
		if strings.EqualFold(u.Name, unit) || strings.EqualFold(u.Doc, unit) || strings.EqualFold(u.Doc+"s", unit) {
			return u.Name
		}
	}
	if other, ok := otherUnitNames[strings.ToLower(unit)]; ok {
		if u, ok := findUnit(other, want); ok && u.Dim == want {
			return u.Name
		}
	}
	names := make([]string, len(list))
	for i, u := range list {
		names[i] = u.Name
	}
	return nearest(unit, names)
}

// otherUnitNames is what people also write.
var otherUnitNames = map[string]string{
	"micron": "um", "microns": "um", "millimeter": "mm", "millimeters": "mm", "centimeter": "cm",
	"meter": "m", "inches": "in", "thou": "mil", "feet": "ft", "\"": "in", "''": "in", "'": "ft",
	"degrees": "deg", "d": "deg", "sec": "s", "secs": "s", "seconds": "s", "minutes": "min", "mins": "min",
	"hr": "h", "hrs": "h", "hours": "h", "gr": "g", "grams": "g", "kgs": "kg", "lbs": "lb", "pounds": "lb",
	"sqmm": "mm2", "sqcm": "cm2", "ccm": "cm3", "cc": "cm3", "g/cc": "g/cm3", "kg/dm3": "g/cm3",
	"cm3/hr": "cm3/h", "cc/h": "cm3/h", "uinch": "uin", "celsius": "degC", "c": "degC",
}

// numberPrefix returns the longest start of s that is a decimal number:
// sign, digits, point, digits, exponent.
func numberPrefix(s string) string {
	i, seen := 0, false
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	run := func() {
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i, seen = i+1, true
		}
	}
	run()
	if i < len(s) && s[i] == '.' {
		i++
		run()
	}
	if !seen {
		return ""
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		mantissa := i
		i++
		if i < len(s) && (s[i] == '+' || s[i] == '-') {
			i++
		}
		digits := i
		run()
		if i == digits {
			i = mantissa
		}
	}
	return s[:i]
}

// In returns the quantity in another unit of its dimension.
func (q Quantity) In(unit string) (float64, bool) {
	u, ok := findUnit(unit, q.Dim)
	if !ok || u.Dim != q.Dim {
		return 0, false
	}
	return (q.V - u.Shift) / u.Scale, true
}

// String returns the quantity as it was written, with one blank before the unit.
func (q Quantity) String() string {
	if q.Unit == "" {
		return FormatNumber(q.Num)
	}
	return FormatNumber(q.Num) + " " + q.Unit
}

// Others returns the quantity in the other usual units of its dimension, for
// people who think in those: 0.4 mm is 400 um and 0.015748 in. Units in which
// the number would be unreadable are left out.
func (q Quantity) Others() []string {
	var list []string
	for _, u := range q.Dim.Units() {
		n := (q.V - u.Shift) / u.Scale
		readable := q.V == 0 || math.Abs(n) >= 1e-2 && math.Abs(n) < 1e5
		if u.Name != q.Unit && readable {
			list = append(list, FormatNumber(n)+" "+u.Name)
		}
	}
	return list
}

// Format writes a value in the base unit of its dimension in another unit.
func (d Dim) Format(base float64, unit string) string {
	u, ok := findUnit(unit, d)
	if !ok || u.Dim != d {
		return FormatNumber(base)
	}
	return FormatNumber((base-u.Shift)/u.Scale) + " " + u.Name
}

// FormatNumber writes a number for people: six significant digits at most and
// no trailing zeros.
func FormatNumber(v float64) string {
	if v == 0 {
		return "0"
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 5, 64), 64)
	if a := math.Abs(rounded); a >= 1e15 || a < 1e-6 {
		return strconv.FormatFloat(rounded, 'g', -1, 64)
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

func exampleOf(d Dim) string {
	switch d {
	case Angle:
		return "45 deg"
	case Area:
		return "4 mm2"
	case Volume:
		return "10 cm3"
	case Mass:
		return "450 g"
	case Density:
		return "2.67 g/cm3"
	case Time:
		return "9 s"
	case Rate:
		return "30 cm3/h"
	case Speed:
		return "300 mm/s"
	case Roughness:
		return "1.6 um"
	case Temperature:
		return "650 degC"
	}
	return "0.4 mm"
}

func unitNames(d Dim) string {
	var names []string
	for _, u := range d.Units() {
		names = append(names, u.Name)
	}
	return listOf(names, "or")
}

// withArticle returns "a length", "an angle".
func withArticle(d Dim) string { return article(d.String()) }

func article(noun string) string {
	if noun != "" && strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an " + noun
	}
	return "a " + noun
}
