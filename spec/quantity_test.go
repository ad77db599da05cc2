package spec

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Values beside units follow from their definitions: the inch is 25.4 mm and
// the pound 453.59237 g exactly, everything else is decimal.
func TestParseQuantity(t *testing.T) {
	for _, c := range []struct {
		text string
		dim  Dim
		want float64
	}{
		{"0.4", None, 0.4},
		{"0.4 mm", Length, 0.4},
		{"40 um", Length, 0.04},
		{"40 µm", Length, 0.04},      // micro sign
		{"40 \u03bcm", Length, 0.04}, // Greek mu
		{"40um", Length, 0.04},
		{"  40   um ", Length, 0.04},
		{"1.2 cm", Length, 12},
		{"0.2 m", Length, 200},
		{"1 in", Length, 25.4},
		{"15.7 mil", Length, 0.39878},
		{"1 ft", Length, 304.8},
		{"+3 mm", Length, 3},
		{"-3 mm", Length, -3},
		{"0 mm", Length, 0},
		{".5 mm", Length, 0.5},
		{"5. mm", Length, 5},
		{"4e-1 mm", Length, 0.4},
		{"4E2 um", Length, 0.4},
		{"180 deg", Angle, math.Pi},
		{"45°", Angle, math.Pi / 4},
		{"1 rad", Angle, 1},
		{"2 mm2", Area, 2},
		{"2 cm²", Area, 200},
		{"2 cm^2", Area, 200},
		{"1 in2", Area, 645.16},
		{"10 cm3", Volume, 10000},
		{"1 in3", Volume, 16387.064},
		{"450 g", Mass, 450},
		{"1.5 kg", Mass, 1500},
		{"1 lb", Mass, 453.59237},
		{"16 oz", Mass, 453.59237},
		{"2.67 g/cm3", Density, 2.67},
		{"2670 kg/m³", Density, 2.67},
		{"1 lb/in3", Density, 27.679904710},
		{"9 s", Time, 9},
		{"1.5 min", Time, 90},
		{"2 h", Time, 7200},
		{"30 cm3/h", Rate, 30},
		{"7.2 mm3/s", Rate, 25.92}, // check value 62 of the trade notes
		{"1.6 um", Roughness, 0.0016},
		{"0.0016 mm", Roughness, 0.0016},
		{"63 uin", Roughness, 0.0016002},
		{"650 degC", Temperature, 650},
		{"650 °C", Temperature, 650},
		{"273.15 K", Temperature, 0},
		{"212 degF", Temperature, 100},
	} {
		q, err := ParseQuantity(c.text, c.dim)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if math.Abs(q.V-c.want) > 1e-12*math.Max(1, math.Abs(c.want))+1e-10*math.Abs(c.want) || q.Dim != c.dim {
			t.Errorf("%q is %.12g, want %.12g", c.text, q.V, c.want)
		}
	}
}

func TestParseQuantityErrors(t *testing.T) {
	for _, c := range []struct {
		text                 string
		dim                  Dim
		reason, help, mended string
	}{
		{"", Length, "empty where a length belongs", `Write a number and a unit, such as "0.4 mm".`, ""},
		{"  ", Angle, "empty where an angle belongs", `Write a number and a unit, such as "45 deg".`, ""},
		{"0.4", Length, `"0.4", which has no unit`, `Write the unit: "0.4 mm".`, "0.4 mm"},
		{"45", Angle, `"45", which has no unit`, `Write the unit: "45 deg".`, "45 deg"},
		{"45 mm", Angle, `"45 mm", which is a length`, "Give an angle in deg or rad.", ""},
		{"45 deg", Length, `"45 deg", which is an angle`, "Give a length in mm, um, cm, m, in, mil or ft.", ""},
		{"4 mm2", Length, `"4 mm2", which is an area`, "Give a length in mm, um, cm, m, in, mil or ft.", ""},
		{"4 mmm", Length, `"4 mmm", whose unit "mmm" is not known`, `Write "4 mm". Units of a length are mm, um, cm, m, in, mil or ft.`, "4 mm"},
		{"4 MM", Length, `"4 MM", whose unit "MM" is not known`, `Write "4 mm". Units of a length are mm, um, cm, m, in, mil or ft.`, "4 mm"},
		{"1.6 micron", Roughness, `"1.6 micron", whose unit "micron" is not known`, `Write "1.6 um". Units of a roughness are um, mm or uin.`, "1.6 um"},
		{"2 inches", Length, `"2 inches", whose unit "inches" is not known`, `Write "2 in". Units of a length are mm, um, cm, m, in, mil or ft.`, "2 in"},
		{"45 degrees", Angle, `"45 degrees", whose unit "degrees" is not known`, `Write "45 deg". Units of an angle are deg or rad.`, "45 deg"},
		{"8 g/cc", Density, `"8 g/cc", whose unit "g/cc" is not known`, `Write "8 g/cm3". Units of a density are g/cm3, kg/m3 or lb/in3.`, "8 g/cm3"},
		{"4 parsec", Length, `"4 parsec", whose unit "parsec" is not known`, "Units of a length are mm, um, cm, m, in, mil or ft.", ""},
		{"0,4 mm", Length, `"0,4 mm", with a comma in the number`, "Write a point before the decimals.", "0.4 mm"},
		{"mm", Length, `"mm", which starts with no number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"about 4 mm", Length, `"about 4 mm", which starts with no number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"nan mm", Length, `"nan mm", which starts with no number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"inf mm", Length, `"inf mm", which starts with no number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"1e999 mm", Length, `"1e999 mm", which is no finite number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"1e308 m", Length, `"1e308 m", which is no finite number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"-", Length, `"-", which starts with no number`, `Write a number and a unit, such as "0.4 mm".`, ""},
		{"4 mm", None, `"4 mm", which is no plain number`, "Write a number without a unit.", ""},
		{"4 m m", Length, `"4 m m", whose unit "m m" is not known`, `Write "4 mm". Units of a length are mm, um, cm, m, in, mil or ft.`, "4 mm"},
	} {
		_, err := ParseQuantity(c.text, c.dim)
		var qe *QuantityError
		if !errors.As(err, &qe) {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if qe.Reason != c.reason || qe.Help != c.help || qe.Mended != c.mended {
			t.Errorf("%q:\n got %q, %q, %q\nwant %q, %q, %q", c.text, qe.Reason, qe.Help, qe.Mended, c.reason, c.help, c.mended)
		}
	}
}

func TestQuantityInOtherUnits(t *testing.T) {
	for _, c := range []struct {
		text   string
		dim    Dim
		others string
	}{
		{"0.4 mm", Length, "400 um, 0.04 cm, 0.015748 in, 15.748 mil"},
		{"40 um", Length, "0.04 mm, 1.5748 mil"},
		{"1 in", Length, "25.4 mm, 25400 um, 2.54 cm, 0.0254 m, 1000 mil, 0.0833333 ft"},
		{"45 deg", Angle, "0.785398 rad"},
		{"2.67 g/cm3", Density, "2670 kg/m3, 0.0964599 lb/in3"},
		{"9 s", Time, "0.15 min"},
		{"0 mm", Length, "0 um, 0 cm, 0 m, 0 in, 0 mil, 0 ft"},
		{"100 degC", Temperature, "373.15 K, 212 degF"},
	} {
		q, err := ParseQuantity(c.text, c.dim)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(q.Others(), ", "); got != c.others {
			t.Errorf("%s is %s, want %s", c.text, got, c.others)
		}
		if got := q.String(); got != c.text {
			t.Errorf("%s is written %s", c.text, got)
		}
	}
	if got := Angle.Format(math.Pi/4, "deg"); got != "45 deg" {
		t.Errorf("a right angle's half is %s", got)
	}
	if got := Length.Format(0.5, "furlong"); got != "0.5" {
		t.Errorf("in an unknown unit 0.5 is %s", got)
	}
	if _, ok := (Quantity{V: 1, Dim: Length}).In("deg"); ok {
		t.Error("a length is given in degrees")
	}
}

func TestFormatNumber(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 1: "1", -2.5: "-2.5", 0.1 + 0.2: "0.3", 1234567: "1234570", 1e20: "1e+20", 1e-9: "1e-09", 0.000123456789: "0.000123457", 99999.96: "100000",
	} {
		if got := FormatNumber(v); got != want {
			t.Errorf("%g is written %s, want %s", v, got, want)
		}
	}
}

func TestUnitsAreSound(t *testing.T) {
	for d := Length; d <= Temperature; d++ {
		list := d.Units()
		if len(list) == 0 || d.String() == "" || list[0].Scale != 1 && d != Angle && d != Roughness {
			t.Errorf("%v has the units %v", d, list)
		}
		for _, u := range list {
			if u.Dim != d || u.Doc == "" || u.Scale <= 0 {
				t.Errorf("%+v is no unit of %s", u, withArticle(d))
			}
		}
		if _, err := ParseQuantity(exampleOf(d), d); err != nil {
			t.Errorf("the example of %s: %v", withArticle(d), err)
		}
	}
	if None.Units() != nil {
		t.Error("a plain number has units")
	}
	for name, unit := range otherUnitNames {
		if _, ok := findUnit(unit, None); !ok {
			t.Errorf("%s stands for %s, which is no unit", name, unit)
		}
	}
}

// What is written comes back, in every unit, and goes through every other unit
// of its dimension without loss.
func TestQuantityRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(units).Draw(t, "unit")
		num := rapid.Float64Range(-1e6, 1e6).Draw(t, "number")
		blank := rapid.SampledFrom([]string{"", " ", "  "}).Draw(t, "blank")
		q := Quantity{V: num*u.Scale + u.Shift, Dim: u.Dim, Num: num, Unit: u.Name}
		read, err := ParseQuantity(FormatNumber(num)+blank+u.Name, u.Dim)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(read.Num-num) > 1e-5*math.Abs(num)+1e-12 {
			t.Fatalf("%v came back as %v", num, read.Num)
		}
		for _, other := range u.Dim.Units() {
			there, ok := q.In(other.Name)
			if !ok {
				t.Fatalf("%s is not given in %s", u.Name, other.Name)
			}
			back := there*other.Scale + other.Shift
			// Below 1e-300 numbers have fewer digits, in the larger unit first.
			if math.Abs(back-q.V) > 1e-12*(math.Abs(q.V)+math.Abs(other.Shift)+math.Abs(u.Shift))+1e-300 {
				t.Fatalf("%v %s came back as %v", num, other.Name, back)
			}
		}
	})
}

func TestParseTolerance(t *testing.T) {
	for _, c := range []struct {
		text, letters string
		grade         int
		lower, upper  float64
	}{
		{"H7", "H", 7, 0, 0}, {"h6", "h", 6, 0, 0}, {"JS9", "JS", 9, 0, 0}, {"ZC18", "ZC", 18, 0, 0}, {"IT9", "", 9, 0, 0}, {" IT12 ", "", 12, 0, 0},
		{"+-0.05 mm", "", 0, -0.05, 0.05}, {"±50 um", "", 0, -0.05, 0.05}, {"+/- 0.1mm", "", 0, -0.1, 0.1},
		{"+0.2/-0.1 mm", "", 0, -0.1, 0.2}, {" +21um / 0 ", "", 0, 0, 0.021}, {"0/-0.1 mm", "", 0, -0.1, 0}, {"+0.3 mm/+100 um", "", 0, 0.1, 0.3}, {"-.1/-.2mm", "", 0, -0.2, -0.1},
	} {
		got, err := ParseTolerance(c.text)
		if err != nil || got.Letters != c.letters || got.Grade != c.grade || math.Abs(got.Lower.V-c.lower) > 1e-15 || math.Abs(got.Upper.V-c.upper) > 1e-15 || got.IsBand() != (c.upper > c.lower) {
			t.Errorf("%q is %+v, %v", c.text, got, err)
		}
	}
	for text, shaft := range map[string]string{"H7/g6": "g6", " H11 / c11 ": "c11", "JS7/h6": "h6"} {
		if got, err := ParseTolerance(text); err != nil || got.Shaft != shaft || got.Letters == "" || got.Grade == 0 {
			t.Errorf("%q is %+v, %v", text, got, err)
		}
	}
	for _, c := range []struct{ text, mended string }{
		{"H7/", ""}, {"/g6", ""}, {"H7/G6", ""}, {"h7/g6", ""}, {"g6/H7", "H7/g6"}, {"H7/g0", ""}, {"H7/g6/h6", ""}, {"IT7/g6", ""}, {"H7/IT6", ""}, {"H7/0.1 mm", ""},
		{"", ""}, {"H", ""}, {"7", ""}, {"H0", ""}, {"H19", ""}, {"IT07", ""}, {"I7", ""}, {"Q7", ""}, {"Hh7", ""}, {"+-0 mm", ""},
		{"+--1 mm", ""}, {"0.05 mm", "+-0.05 mm"}, {"+0.05 mm", "+-0.05 mm"}, {"+-0.05", "+-0.05 mm"}, {"+-3 deg", ""}, {"+-1,5 mm", "+-1.5 mm"},
		{"+0.2/-0.1", "+0.2/-0.1 mm"}, {"-0.1/+0.2 mm", "+0.2 mm/-0.1 mm"}, {"0.2/-0.1 mm", ""}, {"+0.2/0.1 mm", ""}, {"+0.1/+0.1 mm", ""}, {"0/0 mm", ""}, {"+0.2/", ""}, {"+0.2/-3 deg", ""}, {"+0.2/-0.1/0 mm", ""}, {"+0,2/-0,1 mm", ""}, {"+0.2/g6", ""},
	} {
		_, err := ParseTolerance(c.text)
		var qe *QuantityError
		if !errors.As(err, &qe) || qe.Help == "" || qe.Mended != c.mended {
			t.Errorf("%q: %+v", c.text, qe)
		}
		if qe != nil && qe.Mended != "" {
			if _, err := ParseTolerance(qe.Mended); err != nil {
				t.Errorf("%q is mended to %q: %v", c.text, qe.Mended, err)
			}
		}
	}
}

func TestDates(t *testing.T) {
	for text, want := range map[string]Date{"2027-06-30": {2027, 6, 30}, "2028-02-29": {2028, 2, 29}} {
		if got, ok := ParseDate(text); !ok || got != want || got.String() != text {
			t.Errorf("%s is %v", text, got)
		}
	}
	for _, text := range []string{"2027-02-29", "2027-6-30", "30.06.2027", ""} {
		if got, ok := ParseDate(text); ok {
			t.Errorf("%s is %v", text, got)
		}
	}
	days := []Date{{2026, 12, 31}, {2027, 1, 1}, {2027, 1, 2}, {2027, 2, 1}}
	for i, a := range days {
		for j, b := range days {
			if a.Before(b) != (i < j) || a.Time().Before(b.Time()) != (i < j) {
				t.Errorf("%v and %v are in the wrong order", a, b)
			}
		}
	}
}

func TestNearest(t *testing.T) {
	names := CheckNames()
	for written, want := range map[string]string{
		"overhnag": "overhang", "Overhang": "overhang", "floating_start": "floating-start", "floatingstart": "floating-start",
		"hol": "hole", "wal": "wall", "walls": "wall", "gpa": "gap", "elephant": "", "": "", "x": "", "wallthickness": "",
	} {
		if got := nearest(written, names); got != want {
			t.Errorf("%q is taken for %q, want %q", written, got, want)
		}
	}
	if got := nearest(strings.Repeat("x", 1<<20), names); got != "" {
		t.Errorf("a long name is taken for %q", got)
	}
}
