package spec

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// This file reads single values: each function takes the value of a key that
// the table describes, judges it by the table, and reports what is wrong with
// it. Where a value can't be understood, Set is false and a problem says why.

// get returns a key's node and description. A node that can't be read (which
// was reported already) is returned as nil, with its places kept.
func get[T any](s scope, name string) (*Node, *KeyInfo, Value[T]) {
	e := s.e.child(name)
	if e == nil {
		panic("spec: the key " + name + " is not described")
	}
	s.d.ask(e)
	n := s.node.Child(name)
	if n == nil {
		return nil, e.info, Value[T]{}
	}
	v := Value[T]{Key: n.Key, At: n.At}
	scalar := n.Kind >= KindString && n.Kind != KindTime
	if n.Kind == KindBroken || n.Kind == KindTable || n.Kind == KindTables || scalar && n.Value == nil {
		return nil, e.info, v
	}
	return n, e.info, v
}

// expected says what a key takes.
func expected(k *KeyInfo) string {
	switch k.Type {
	case TypeInteger:
		return "a whole number"
	case TypeNumber:
		return "a number"
	case TypeBoolean:
		return "true or false"
	case TypeQuantity, TypeLimit:
		if k.Dim == None {
			return "a number"
		}
		return fmt.Sprintf("%s with its unit", withArticle(k.Dim))
	case TypePosition:
		return "a position [x, y, z]"
	case TypeDirection:
		return `a direction, [x, y, z] or "+z",`
	case TypeDate:
		return "a date"
	case TypeTexts:
		return "a list of texts"
	case TypeTable, TypeTables, TypeInline:
		return "a table"
	}
	return "a text"
}

// found says what a value is.
func found(n *Node) string {
	switch v := n.Value.(type) {
	case string:
		return "the text " + strconv.Quote(short(v))
	case int64:
		return fmt.Sprintf("the number %d", v)
	case float64:
		return "the number " + FormatNumber(v)
	case bool:
		return fmt.Sprintf("%t", v)
	case Date:
		return "the date " + v.String()
	}
	return article(n.Kind.String())
}

// wrongType reports a value of another type than the key takes.
func (d *decoder) wrongType(n *Node, k *KeyInfo, fixes ...Fix) {
	help := "Write " + k.Example + "."
	if n.Name == "" { // an entry of a list
		help = "Write it like " + k.Example + "."
	}
	d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is %s where %s belongs.", dottedName(k), found(n), strings.TrimSuffix(expected(k), ",")), help, fixes...)
}

// dottedName names a key in a message: hole.diameter.
func dottedName(k *KeyInfo) string {
	if k.Limit != nil {
		return k.Limit.Name
	}
	return dottedPlain(k.Path)
}

// text reads a text, by its list of allowed values if it has one.
func (s scope) text(name string) Value[string] {
	n, k, v := get[string](s, name)
	if n == nil {
		return v
	}
	str, ok := n.Value.(string)
	if !ok {
		s.d.wrongType(n, k, s.d.quoteFix(n)...)
		return v
	}
	if strings.TrimSpace(str) == "" && (k.Required || len(k.Values) > 0 || k.Ref != RefNone) {
		s.d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is empty.", dottedName(k)), "Write "+k.Example+".")
		return v
	}
	if !s.d.allowed(n, k, str) {
		return v
	}
	v.V, v.Set = str, true
	return v
}

// quoteFix offers to put a number, date or word into quotes.
func (d *decoder) quoteFix(n *Node) []Fix {
	if n.Kind < KindString {
		return nil
	}
	written := string(d.doc.Text[n.At.Start:n.At.End])
	return []Fix{{"Put it in quotes", n.At, quoteText(written)}}
}

// allowed judges a text by the list of values.
func (d *decoder) allowed(n *Node, k *KeyInfo, str string) bool {
	if len(k.Values) == 0 {
		return true
	}
	names := values(k.Values)
	if slices.Contains(names, str) {
		return true
	}
	p := Problem{At: n.At, Key: dotted(k.Path), Level: "error", Message: fmt.Sprintf("%q is %q, which is not known.", dottedName(k), short(str))}
	list := "Known are " + quotedList(names, "and") + "."
	if near := nearest(str, names); near != "" {
		p.Help = fmt.Sprintf("Did you mean %q? %s", near, list)
		p.Fixes = []Fix{{fmt.Sprintf("Write %q", near), n.At, quoteText(near)}}
	} else {
		p.Help = list
	}
	d.problems.add(p)
	return false
}

// integer reads a whole number.
func (s scope) integer(name string) Value[int] {
	n, k, v := get[int](s, name)
	if n == nil {
		return v
	}
	switch x := n.Value.(type) {
	case int64:
		if s.d.holds(n, k, float64(x), "") {
			v.V, v.Set = int(x), true
		}
	case float64:
		var fixes []Fix
		if x == math.Trunc(x) && math.Abs(x) < 1e15 {
			fixes = []Fix{{"Write it without decimals", n.At, strconv.FormatInt(int64(x), 10)}}
		}
		s.d.wrongType(n, k, fixes...)
	default:
		s.d.wrongType(n, k, s.d.unquoteFix(n, func(t string) bool { _, err := strconv.ParseInt(t, 10, 32); return err == nil })...)
	}
	return v
}

// unquoteFix offers to take a text out of its quotes when ok says that what is
// inside would be right.
func (d *decoder) unquoteFix(n *Node, ok func(string) bool) []Fix {
	str, isText := n.Value.(string)
	str = strings.TrimSpace(str)
	if !isText || !ok(str) {
		return nil
	}
	return []Fix{{"Take the quotes off", n.At, str}}
}

// holds judges a number by the interval of its key. unit is written behind it.
func (d *decoder) holds(n *Node, k *KeyInfo, x float64, unit string) bool {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is no finite number.", dottedName(k)), "Write "+k.Example+".")
		return false
	}
	if k.Holds == nil || k.Holds.Holds(x) {
		return true
	}
	if unit != "" {
		unit = " " + unit
	}
	d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is %s%s, but must be %s%s.", dottedName(k), FormatNumber(x), unit, k.Holds, unit),
		"Write "+k.Example+".")
	return false
}

// number reads a plain number.
func (s scope) number(name string) Value[float64] {
	n, k, v := get[float64](s, name)
	if n == nil {
		return v
	}
	x, ok := plainNumber(n)
	if !ok {
		s.d.wrongType(n, k, s.d.unquoteFix(n, isNumber)...)
		return v
	}
	if s.d.holds(n, k, x, "") {
		v.V, v.Set = x, true
	}
	return v
}

func isNumber(t string) bool {
	return t != "" && numberPrefix(t) == t && t[0] != '.' && !strings.HasSuffix(t, ".")
}

func plainNumber(n *Node) (float64, bool) {
	switch x := n.Value.(type) {
	case int64:
		return float64(x), true
	case float64:
		return x, true
	}
	return 0, false
}

// boolean reads true or false.
func (s scope) boolean(name string) Value[bool] {
	n, k, v := get[bool](s, name)
	if n == nil {
		return v
	}
	b, ok := n.Value.(bool)
	if !ok {
		s.d.wrongType(n, k, s.d.unquoteFix(n, func(t string) bool { return t == "true" || t == "false" })...)
		return v
	}
	v.V, v.Set = b, true
	return v
}

// quantity reads a number with its unit.
func (s scope) quantity(name string) Value[Quantity] {
	n, k, v := get[Quantity](s, name)
	if n == nil {
		return v
	}
	v.V, v.Set = s.d.quantityOf(n, k)
	return v
}

// quantityOf reads a quantity, or a plain number where the key has no dimension.
func (d *decoder) quantityOf(n *Node, k *KeyInfo) (Quantity, bool) {
	if k.Dim == None {
		return d.ratioOf(n, k)
	}
	if x, ok := plainNumber(n); ok {
		written := string(d.doc.Text[n.At.Start:n.At.End])
		mended := quoteText(written + " " + k.Unit)
		d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is %s without a unit.", dottedName(k), FormatNumber(x)),
			fmt.Sprintf("Write the unit: %s.", mended), Fix{"Write " + mended, n.At, mended})
		return Quantity{}, false
	}
	str, ok := n.Value.(string)
	if !ok {
		d.wrongType(n, k)
		return Quantity{}, false
	}
	q, qe := parseQuantity(str, k.Dim, k.Unit)
	if qe != nil {
		p := Problem{At: n.At, Key: dotted(k.Path), Level: "error", Message: fmt.Sprintf("%q is %s.", dottedName(k), qe.Reason), Help: qe.Help + "."}
		if qe.Mended != "" {
			p.Fixes = []Fix{{fmt.Sprintf("Write %q", qe.Mended), n.At, quoteText(qe.Mended)}}
		}
		d.problems.add(p)
		return Quantity{}, false
	}
	inUnit, _ := q.In(k.Unit)
	return q, d.holds(n, k, roundOff(inUnit), k.Unit)
}

// roundOff takes the last bits off a converted number, so that a value which
// is written exactly at a bound counts as at the bound.
func roundOff(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 12, 64), 64)
	return r
}

// ratioOf reads a limit that is a plain number.
func (d *decoder) ratioOf(n *Node, k *KeyInfo) (Quantity, bool) {
	x, ok := plainNumber(n)
	whole := k.Limit != nil && k.Limit.Whole
	if !ok {
		d.wrongType(n, k, d.ratioFix(n)...)
		return Quantity{}, false
	}
	if whole && x != math.Trunc(x) {
		d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is %s where a whole number belongs.", dottedName(k), FormatNumber(x)), "Write "+k.Example+".")
		return Quantity{}, false
	}
	return Quantity{V: x, Num: x}, d.holds(n, k, x, "")
}

// ratioFix offers the number that a text means: "0.2", "20 %", "IT12".
func (d *decoder) ratioFix(n *Node) []Fix {
	str, _ := n.Value.(string)
	str = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(str), "IT"))
	percent := strings.HasSuffix(str, "%")
	str = strings.TrimSpace(strings.TrimSuffix(str, "%"))
	x, err := strconv.ParseFloat(str, 64)
	if err != nil || !isNumber(str) {
		return nil
	}
	if percent {
		str = FormatNumber(x / 100)
	}
	return []Fix{{"Write " + str, n.At, str}}
}

// position reads a point in mesh units.
func (s scope) position(name string) Value[Vec3] {
	n, k, v := get[Vec3](s, name)
	if n == nil {
		return v
	}
	v.V, v.Set = s.d.vectorOf(n, k)
	return v
}

// vectorOf reads three plain finite numbers.
func (d *decoder) vectorOf(n *Node, k *KeyInfo) (vec Vec3, ok bool) {
	if n.Kind != KindArray {
		d.wrongType(n, k)
		return vec, false
	}
	if len(n.Kids) != 3 {
		d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q has %d numbers where x, y and z belong.", dottedName(k), len(n.Kids)), "Write "+k.Example+".")
		return vec, false
	}
	for i, kid := range n.Kids {
		x, isNum := plainNumber(kid)
		if !isNum {
			help := "Write a plain number, in the unit of the mesh."
			d.problem("error", kid.At, dotted(k.Path), fmt.Sprintf("The %c of %q is %s where a number belongs.", "xyz"[i], dottedName(k), found(kid)), help,
				d.bareFix(kid)...)
			return vec, false
		}
		if math.IsNaN(x) || math.IsInf(x, 0) {
			d.problem("error", kid.At, dotted(k.Path), fmt.Sprintf("The %c of %q is no finite number.", "xyz"[i], dottedName(k)), "Write "+k.Example+".")
			return vec, false
		}
		vec[i] = x
	}
	return vec, true
}

// bareFix offers the number of a text without its quotes and unit.
func (d *decoder) bareFix(n *Node) []Fix {
	str, _ := n.Value.(string)
	digits := numberPrefix(strings.TrimSpace(str))
	if !isNumber(digits) {
		return nil
	}
	return []Fix{{"Write " + digits, n.At, digits}}
}

// axes are the directions that have a name.
var axes = map[string]Vec3{
	"+x": {1, 0, 0}, "-x": {-1, 0, 0}, "+y": {0, 1, 0}, "-y": {0, -1, 0}, "+z": {0, 0, 1}, "-z": {0, 0, -1},
}

// direction reads a vector that is not zero, or an axis by name.
func (s scope) direction(name string) Value[Vec3] {
	n, k, v := get[Vec3](s, name)
	if n == nil {
		return v
	}
	if str, ok := n.Value.(string); ok {
		v.V, v.Set = axes[str]
		if !v.Set {
			near := strings.ToLower(strings.TrimSpace(str))
			if len(near) == 1 {
				near = "+" + near
			}
			var fixes []Fix
			if _, ok := axes[near]; ok {
				fixes = []Fix{{fmt.Sprintf("Write %q", near), n.At, quoteText(near)}}
			}
			s.d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is %q, which is no direction.", dottedName(k), short(str)),
				`Write a vector such as [0, 0, 1], or one of "+x", "-x", "+y", "-y", "+z" and "-z".`, fixes...)
		}
		return v
	}
	v.V, v.Set = s.d.vectorOf(n, k)
	if v.Set && v.V == (Vec3{}) {
		s.d.problem("error", n.At, dotted(k.Path), fmt.Sprintf("%q is zero, which points nowhere.", dottedName(k)), "Write "+k.Example+".")
		v.Set = false
	}
	return v
}

// date reads a calendar day.
func (s scope) date(name string) Value[Date] {
	n, k, v := get[Date](s, name)
	if n == nil {
		return v
	}
	day, ok := n.Value.(Date)
	if !ok {
		s.d.wrongType(n, k, s.d.dateFix(n)...)
		return v
	}
	v.V, v.Set = day, true
	return v
}

// dateFix offers the day in a text or in a date with a time.
func (d *decoder) dateFix(n *Node) []Fix {
	written := string(d.doc.Text[n.At.Start:n.At.End])
	if str, ok := n.Value.(string); ok {
		written = str
	}
	if len(written) < 10 {
		return nil
	}
	if _, ok := ParseDate(written[:10]); !ok {
		return nil
	}
	return []Fix{{"Write " + written[:10], n.At, written[:10]}}
}

// texts reads a list of texts.
func (s scope) texts(name string) Value[[]Value[string]] {
	n, k, v := get[[]Value[string]](s, name)
	if n == nil {
		return v
	}
	if n.Kind != KindArray {
		var fixes []Fix
		if n.Kind == KindString {
			fixes = []Fix{{"Write a list", n.At, "[" + string(s.d.doc.Text[n.At.Start:n.At.End]) + "]"}}
		}
		s.d.wrongType(n, k, fixes...)
		return v
	}
	v.V, v.Set = []Value[string]{}, true
	for _, kid := range n.Kids {
		str, ok := kid.Value.(string)
		item := Value[string]{At: kid.At}
		switch {
		case !ok:
			s.d.problem("error", kid.At, dotted(k.Path), fmt.Sprintf("An entry of %q is %s where a text belongs.", dottedName(k), found(kid)),
				"Put it in quotes.", s.d.quoteFix(kid)...)
		case strings.TrimSpace(str) == "":
			s.d.problem("error", kid.At, dotted(k.Path), fmt.Sprintf("An entry of %q is empty.", dottedName(k)), "Write it or delete it.")
		case s.d.allowed(kid, k, str):
			item.V, item.Set = str, true
		}
		v.V = append(v.V, item)
	}
	return v
}

// String writes a date as year-month-day.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }
