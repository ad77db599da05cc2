package spec

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// This file reads tolerances and dates.

// Tolerance is the tolerance of a size: a grade of ISO 286, with the letters of
// its place where some were given and the shaft of a fit, or a band about the
// size.
type Tolerance struct {
	Letters      string   // "H" in H7; empty for IT9 and for bands
	Grade        int      // 7 in H7; 0 for bands
	Shaft        string   // "g6" in H7/g6; empty where no fit is named
	Lower, Upper Quantity // of a band, as deviations from the size: Lower.V < Upper.V
}

// IsBand says whether the tolerance is a band and no grade.
func (t Tolerance) IsBand() bool { return t.Upper.Dim == Length }

// toleranceForms says how tolerances are written.
const toleranceForms = `a grade of ISO 286 such as "H7" or "IT9", a fit such as "H7/g6", or a band such as "+-0.05 mm" or "+0.2/-0.1 mm"`

// deviation letters of ISO 286-1: A to ZC without I, L, O, Q and W; upper case
// for holes, lower case for shafts (from memory of the standard's table).
var gradeRx = regexp.MustCompile(`^(IT|[A-HJKMNPRSTUVXYZ]|CD|EF|FG|JS|ZA|ZB|ZC|[a-hjkmnprstuvxyz]|cd|ef|fg|js|za|zb|zc)([0-9]{1,2})$`)

// ParseTolerance reads "H7", "IT9", "H7/g6", "+-0.05 mm" or "+0.2/-0.1 mm". The
// error is a *QuantityError.
func ParseTolerance(text string) (Tolerance, error) {
	t, qe := parseTolerance(text)
	if qe != nil {
		return Tolerance{}, qe
	}
	return t, nil
}

func parseTolerance(text string) (Tolerance, *QuantityError) {
	s := strings.TrimSpace(text)
	const help = "Write " + toleranceForms + "."
	for _, sign := range []string{"+-", "±", "+/-"} {
		rest, ok := strings.CutPrefix(s, sign)
		if !ok {
			continue
		}
		q, qe := parseQuantity(rest, Length, "mm")
		if qe != nil {
			if qe.Mended != "" {
				qe.Mended = "+-" + qe.Mended
			}
			return Tolerance{}, qe
		}
		if q.V <= 0 {
			return Tolerance{}, &QuantityError{fmt.Sprintf("%q, but a band must be more than 0", short(s)), help, ""}
		}
		low := q
		low.V, low.Num = -q.V, -q.Num
		return Tolerance{Lower: low, Upper: q}, nil
	}
	if hole, shaft, ok := strings.Cut(s, "/"); ok {
		if numberPrefix(s) != "" {
			return parseBand(s, strings.TrimSpace(hole), strings.TrimSpace(shaft))
		}
		return parseFit(s, strings.TrimSpace(hole), strings.TrimSpace(shaft), help)
	}
	m := gradeRx.FindStringSubmatch(s)
	if m == nil {
		e := &QuantityError{fmt.Sprintf("%q, which is no tolerance", short(s)), help, ""}
		if _, qe := parseQuantity(s, Length, "mm"); qe == nil {
			e.Mended = "+-" + strings.TrimLeft(s, "+-")
		}
		return Tolerance{}, e
	}
	grade, _ := strconv.Atoi(m[2])
	if grade < 1 || grade > 18 || m[2][0] == '0' {
		return Tolerance{}, &QuantityError{fmt.Sprintf("%q, but grades run from 1 to 18", short(s)), help, ""}
	}
	letters := m[1]
	if letters == "IT" {
		letters = ""
	}
	return Tolerance{Letters: letters, Grade: grade}, nil
}

// parseBand reads the two limits of a band, the upper one first. One unit may
// stand for both.
func parseBand(text, upper, lower string) (Tolerance, *QuantityError) {
	const help = `Write the upper limit and the lower one, each with its sign, such as "+0.2/-0.1 mm" or "+0.02/0 mm".`
	fail := func(reason, mended string) (Tolerance, *QuantityError) {
		return Tolerance{}, &QuantityError{fmt.Sprintf("%q, %s", short(text), reason), help, mended}
	}
	unit := func(half string) string { return strings.TrimSpace(half[len(numberPrefix(half)):]) }
	switch first, last := unit(upper), unit(lower); {
	case numberPrefix(lower) == "":
		return fail("whose lower limit is no number", "")
	case first == "" && last == "":
		return fail("which has no unit", text+" mm")
	case first == "":
		upper += " " + last
	case last == "":
		lower += " " + first
	}
	var limits [2]Quantity
	for i, half := range []string{upper, lower} {
		q, qe := parseQuantity(half, Length, "mm")
		if qe != nil {
			return Tolerance{}, &QuantityError{qe.Reason, help, ""}
		}
		if q.V != 0 && half[0] != '+' && half[0] != '-' {
			return fail("whose limits need a sign each", "")
		}
		limits[i] = q
	}
	switch t := (Tolerance{Upper: limits[0], Lower: limits[1]}); {
	case t.Upper.V < t.Lower.V:
		return fail("whose lower limit comes first", lower+"/"+upper)
	case t.Upper.V == t.Lower.V:
		return fail("but a band must be more than 0", "")
	default:
		return t, nil
	}
}

// parseFit reads the two halves of a fit: the hole first, its shaft after it.
func parseFit(text, hole, shaft, help string) (Tolerance, *QuantityError) {
	bad := &QuantityError{fmt.Sprintf("%q, which is no fit", short(text)), help, ""}
	h, s := gradeRx.FindStringSubmatch(hole), gradeRx.FindStringSubmatch(shaft)
	if h == nil || s == nil || h[1] == "IT" || s[1] == "IT" {
		return Tolerance{}, bad
	}
	isHole := func(letters string) bool { return letters == strings.ToUpper(letters) }
	switch {
	case isHole(h[1]) == isHole(s[1]):
		bad.Help = "A hole has capital letters and its shaft small ones, as in \"H7/g6\"."
		return Tolerance{}, bad
	case isHole(s[1]):
		bad.Help, bad.Mended = "The hole comes first.", shaft+"/"+hole
		return Tolerance{}, bad
	}
	t, qe := parseTolerance(hole)
	if qe != nil {
		return t, qe
	}
	if _, qe := parseTolerance(shaft); qe != nil {
		return Tolerance{}, qe
	}
	t.Shaft = shaft
	return t, nil
}

// tolerance reads a tolerance and keeps its text.
func (s scope) tolerance(name string) Value[string] {
	f, v, ok := get[string](s, name)
	if !ok {
		return v
	}
	str, ok := f.n.Value.(string)
	if !ok {
		f.wrongType()
		return v
	}
	t, qe := parseTolerance(str)
	if qe != nil {
		f.misread(qe)
		return v
	}
	if t.Letters != strings.ToUpper(t.Letters) {
		upper := strings.ToUpper(t.Letters) + strconv.Itoa(t.Grade)
		f.problem("warning", fmt.Sprintf("%q is %q, which is the tolerance of a shaft.", f.name(), str), "Holes have capital letters.", f.writeText(upper))
	}
	v.V, v.Set = strings.TrimSpace(str), true
	return v
}

// ParseDate reads year-month-day and says whether that day exists.
func ParseDate(s string) (Date, bool) {
	t, err := time.Parse("2006-01-02", s)
	if err != nil {
		return Date{}, false
	}
	return Date{t.Year(), int(t.Month()), t.Day()}, true
}

// Before says whether a day comes before another.
func (d Date) Before(o Date) bool {
	if d.Year != o.Year {
		return d.Year < o.Year
	}
	if d.Month != o.Month {
		return d.Month < o.Month
	}
	return d.Day < o.Day
}

// Time returns the start of the day in UTC.
func (d Date) Time() time.Time {
	return time.Date(d.Year, time.Month(d.Month), d.Day, 0, 0, 0, 0, time.UTC)
}

// String writes a date as year-month-day.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }
