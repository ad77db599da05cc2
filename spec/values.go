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

// field is a value that is being read: a key's, or an entry of its list.
type field struct {
	d    *decoder
	n    *Node
	k    *KeyInfo
	path []string // of the table that holds the key, with the names that the user chose
}

// get returns the value of a key; ok is false where it is absent, or can't be
// read, which was reported already. The places are kept even then.
func get[T any](s scope, name string) (f field, v Value[T], ok bool) {
	e := s.e.child(name)
	if e == nil {
		panic("spec: the key " + name + " is not described")
	}
	s.d.ask(e)
	n := s.node.Child(name)
	if n == nil {
		return f, v, false
	}
	v = Value[T]{Key: n.Key, At: n.At}
	return field{s.d, n, e.info, s.path}, v, n.readable()
}

// readable says that a node holds a value whose type can be judged.
func (n *Node) readable() bool {
	switch n.Kind {
	case KindBroken, KindTable, KindTables:
		return false
	case KindArray, KindInline:
		return true
	}
	return n.Value != nil
}

// entry returns the field for an entry of its list.
func (f field) entry(n *Node) field {
	f.n = n
	return f
}

// name names the key in a message: hole.diameter, wall.thickness.
func (f field) name() string {
	if f.k.Limit != nil {
		return f.k.Limit.Name
	}
	return dottedPlain(f.k.Path)
}

// problem reports something wrong with the value.
func (f field) problem(level, message, help string, fixes ...Fix) {
	name := f.k.Name()
	if name == "*" {
		name = f.n.Name
	}
	f.d.problem(level, f.n.At, dotted(append(slices.Clone(f.path), name)), message, help, fixes...)
}

// write is a fix that puts another text in the value's place.
func (f field) write(title, text string) Fix { return Fix{title, f.n.At, text} }

// writeText is a fix that puts a text in quotes in the value's place.
func (f field) writeText(text string) Fix {
	return Fix{fmt.Sprintf("Write %q", text), f.n.At, quoteText(text)}
}

// written is the value as it stands in the text.
func (f field) written() string { return string(f.d.doc.Text[f.n.At.Start:f.n.At.End]) }

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
		return "a direction"
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
func (f field) wrongType(fixes ...Fix) {
	f.problem("error", fmt.Sprintf("%q is %s where %s belongs.", f.name(), found(f.n), expected(f.k)), "Write "+f.k.Example+".", fixes...)
}

// text reads a text, by its list of allowed values if it has one.
func (s scope) text(name string) Value[string] {
	f, v, ok := get[string](s, name)
	if !ok {
		return v
	}
	str, ok := f.n.Value.(string)
	switch {
	case !ok:
		f.wrongType(f.quoteFix()...)
	case strings.TrimSpace(str) == "" && (f.k.Required || len(f.k.Values) > 0 || f.k.Ref != RefNone):
		f.problem("error", fmt.Sprintf("%q is empty.", f.name()), "Write "+f.k.Example+".")
	case f.allowed(str):
		v.V, v.Set = str, true
	}
	return v
}

// quoteFix offers to put a number, date or word into quotes.
func (f field) quoteFix() []Fix {
	if f.n.Kind < KindString {
		return nil
	}
	return []Fix{f.write("Put it in quotes", quoteText(f.written()))}
}

// choicesShown is how many allowed values a message lists.
const choicesShown = 8

// allowed judges a text by the list of values.
func (f field) allowed(str string) bool {
	if len(f.k.Values) == 0 {
		return true
	}
	names := values(f.k.Values)
	if slices.Contains(names, str) {
		return true
	}
	var help []string
	var fixes []Fix
	if near := nearest(str, names); near != "" {
		help = append(help, fmt.Sprintf("Did you mean %q?", near))
		fixes = append(fixes, f.writeText(near))
	}
	if len(names) <= choicesShown || len(help) == 0 {
		help = append(help, "Known are "+quotedList(names, "and")+".")
	}
	f.problem("error", fmt.Sprintf("%q is %q, which is not known.", f.name(), short(str)), strings.Join(help, " "), fixes...)
	return false
}

// integer reads a whole number.
func (s scope) integer(name string) Value[int] {
	f, v, ok := get[int](s, name)
	if !ok {
		return v
	}
	switch x := f.n.Value.(type) {
	case int64:
		if f.holds(float64(x), "") {
			v.V, v.Set = int(x), true
		}
	case float64:
		var fixes []Fix
		if x == math.Trunc(x) && math.Abs(x) < 1e15 {
			fixes = append(fixes, f.write("Write it without decimals", strconv.FormatInt(int64(x), 10)))
		}
		f.wrongType(fixes...)
	default:
		f.wrongType(f.unquoteFix(func(t string) bool { _, err := strconv.ParseInt(t, 10, 32); return err == nil })...)
	}
	return v
}

// unquoteFix offers to take a text out of its quotes when ok says that what is
// inside would be right.
func (f field) unquoteFix(ok func(string) bool) []Fix {
	str, isText := f.n.Value.(string)
	str = strings.TrimSpace(str)
	if !isText || !ok(str) {
		return nil
	}
	return []Fix{f.write("Take the quotes off", str)}
}

// holds judges a number by the interval of its key. unit is written behind it.
func (f field) holds(x float64, unit string) bool {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		f.problem("error", fmt.Sprintf("%q is no finite number.", f.name()), "Write "+f.k.Example+".")
		return false
	}
	if f.k.Holds == nil || f.k.Holds.Holds(x) {
		return true
	}
	if unit != "" {
		unit = " " + unit
	}
	f.problem("error", fmt.Sprintf("%q is %s%s, but must be %s%s.", f.name(), FormatNumber(x), unit, f.k.Holds, unit), "Write "+f.k.Example+".")
	return false
}

// number reads a plain number.
func (s scope) number(name string) Value[float64] {
	f, v, ok := get[float64](s, name)
	if !ok {
		return v
	}
	x, ok := plainNumber(f.n)
	if !ok {
		f.wrongType(f.unquoteFix(isNumber)...)
		return v
	}
	if f.holds(x, "") {
		v.V, v.Set = x, true
	}
	return v
}

// isNumber says that a text is a number as TOML writes it.
func isNumber(t string) bool {
	if t == "" || numberPrefix(t) != t {
		return false
	}
	digits := strings.TrimLeft(t, "+-")
	whole, rest, point := strings.Cut(digits, ".")
	bad := whole == "" || len(whole) > 1 && whole[0] == '0' || point && (rest == "" || rest[0] < '0' || rest[0] > '9')
	return !bad
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
	f, v, ok := get[bool](s, name)
	if !ok {
		return v
	}
	v.V, v.Set = f.n.Value.(bool)
	if !v.Set {
		f.wrongType(f.unquoteFix(func(t string) bool { return t == "true" || t == "false" })...)
	}
	return v
}

// quantity reads a number with its unit.
func (s scope) quantity(name string) Value[Quantity] {
	f, v, ok := get[Quantity](s, name)
	if ok {
		v.V, v.Set = f.quantity()
	}
	return v
}

// quantity reads a quantity, or a plain number where the key has no dimension.
func (f field) quantity() (Quantity, bool) {
	if f.k.Dim == None {
		return f.ratio()
	}
	if x, ok := plainNumber(f.n); ok {
		mended := f.written() + " " + f.k.Unit
		f.problem("error", fmt.Sprintf("%q is %s without a unit.", f.name(), FormatNumber(x)),
			fmt.Sprintf("Write the unit: %q.", mended), f.writeText(mended))
		return Quantity{}, false
	}
	str, ok := f.n.Value.(string)
	if !ok {
		f.wrongType()
		return Quantity{}, false
	}
	q, qe := parseQuantity(str, f.k.Dim, f.k.Unit)
	if qe != nil {
		f.misread(qe)
		return Quantity{}, false
	}
	inUnit, _ := q.In(f.k.Unit)
	return q, f.holds(roundOff(inUnit), f.k.Unit)
}

// misread reports a text that is no quantity or tolerance.
func (f field) misread(qe *QuantityError) {
	var fixes []Fix
	if qe.Mended != "" {
		fixes = append(fixes, f.writeText(qe.Mended))
	}
	f.problem("error", fmt.Sprintf("%q is %s.", f.name(), qe.Reason), qe.Help, fixes...)
}

// roundOff takes the last bits off a converted number, so that a value which
// is written exactly at a bound counts as at the bound.
func roundOff(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 12, 64), 64)
	return r
}

// ratio reads a limit that is a plain number.
func (f field) ratio() (Quantity, bool) {
	x, ok := plainNumber(f.n)
	whole := f.k.Limit != nil && f.k.Limit.Whole
	switch {
	case !ok:
		f.wrongType(f.ratioFix()...)
		return Quantity{}, false
	case whole && x != math.Trunc(x):
		f.problem("error", fmt.Sprintf("%q is %s where a whole number belongs.", f.name(), FormatNumber(x)), "Write "+f.k.Example+".")
		return Quantity{}, false
	}
	return Quantity{V: x, Num: x}, f.holds(x, "")
}

// ratioFix offers the number that a text means: "0.2", "20 %", "IT12".
func (f field) ratioFix() []Fix {
	str, _ := f.n.Value.(string)
	str = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(str), "IT"))
	share, percent := strings.CutSuffix(str, "%")
	share = strings.TrimSpace(share)
	x, err := strconv.ParseFloat(share, 64)
	if err != nil || !isNumber(share) {
		return nil
	}
	if percent {
		share = FormatNumber(x / 100)
	}
	return []Fix{f.write("Write "+share, share)}
}

// position reads a point in mesh units.
func (s scope) position(name string) Value[Vec3] {
	f, v, ok := get[Vec3](s, name)
	if ok {
		v.V, v.Set = f.vector()
	}
	return v
}

// vector reads three plain finite numbers.
func (f field) vector() (vec Vec3, ok bool) {
	if f.n.Kind != KindArray {
		f.wrongType()
		return vec, false
	}
	if len(f.n.Kids) != 3 {
		f.problem("error", fmt.Sprintf("%q has %s where x, y and z belong.", f.name(), count(len(f.n.Kids), "number")), "Write "+f.k.Example+".")
		return vec, false
	}
	for i, kid := range f.n.Kids {
		x, isNum := plainNumber(kid)
		axis := "xyz"[i]
		switch c := f.entry(kid); {
		case !isNum && !kid.readable():
			return vec, false
		case !isNum:
			c.problem("error", fmt.Sprintf("The %c of %q is %s where a number belongs.", axis, f.name(), found(kid)),
				"Write a plain number, in the unit of the mesh.", c.bareFix()...)
			return vec, false
		case math.IsNaN(x) || math.IsInf(x, 0):
			c.problem("error", fmt.Sprintf("The %c of %q is no finite number.", axis, f.name()), "Write "+f.k.Example+".")
			return vec, false
		}
		vec[i] = x
	}
	return vec, true
}

// bareFix offers the number of a text without its quotes and unit.
func (f field) bareFix() []Fix {
	str, _ := f.n.Value.(string)
	digits := numberPrefix(strings.TrimSpace(str))
	if !isNumber(digits) {
		return nil
	}
	return []Fix{f.write("Write "+digits, digits)}
}

// axes are the directions that have a name.
var axes = map[string]Vec3{
	"+x": {1, 0, 0}, "-x": {-1, 0, 0}, "+y": {0, 1, 0}, "-y": {0, -1, 0}, "+z": {0, 0, 1}, "-z": {0, 0, -1},
}

// direction reads a vector that is not zero, or an axis by name.
func (s scope) direction(name string) Value[Vec3] {
	f, v, ok := get[Vec3](s, name)
	if !ok {
		return v
	}
	if str, ok := f.n.Value.(string); ok {
		if v.V, v.Set = axes[str]; !v.Set {
			f.noAxis(str)
		}
		return v
	}
	v.V, v.Set = f.vector()
	if v.Set && v.V == (Vec3{}) {
		f.problem("error", fmt.Sprintf("%q is zero, which points nowhere.", f.name()), "Write "+f.k.Example+".")
		v.Set = false
	}
	return v
}

func (f field) noAxis(str string) {
	near := strings.ToLower(strings.TrimSpace(str))
	if len(near) == 1 {
		near = "+" + near
	}
	var fixes []Fix
	if _, ok := axes[near]; ok {
		fixes = append(fixes, f.writeText(near))
	}
	f.problem("error", fmt.Sprintf("%q is %q, which is no direction.", f.name(), short(str)),
		"Write a vector such as [0, 0, 1], or one of "+quotedList(values(directions), "and")+".", fixes...)
}

// date reads a calendar day.
func (s scope) date(name string) Value[Date] {
	f, v, ok := get[Date](s, name)
	if !ok {
		return v
	}
	v.V, v.Set = f.n.Value.(Date)
	if !v.Set {
		f.wrongType(f.dateFix()...)
	}
	return v
}

// dateFix offers the day in a text or in a date with a time.
func (f field) dateFix() []Fix {
	day := f.written()
	if str, ok := f.n.Value.(string); ok {
		day = str
	}
	if len(day) < 10 {
		return nil
	}
	if _, ok := ParseDate(day[:10]); !ok {
		return nil
	}
	return []Fix{f.write("Write "+day[:10], day[:10])}
}

// texts reads a list of texts. Entries that can't be used are in the result
// with Set false, so that numbers of entries stay as in the text.
func (s scope) texts(name string) Value[[]Value[string]] {
	f, v, ok := get[[]Value[string]](s, name)
	if !ok {
		return v
	}
	if f.n.Kind != KindArray {
		var fixes []Fix
		if f.n.Kind == KindString {
			fixes = append(fixes, f.write("Write a list", "["+f.written()+"]"))
		}
		f.wrongType(fixes...)
		return v
	}
	v.V, v.Set = []Value[string]{}, true
	for _, kid := range f.n.Kids {
		v.V = append(v.V, f.entry(kid).item())
	}
	return v
}

// item reads an entry of a list of texts.
func (f field) item() Value[string] {
	v := Value[string]{At: f.n.At}
	str, ok := f.n.Value.(string)
	switch {
	case !f.n.readable():
	case !ok:
		f.problem("error", fmt.Sprintf("An entry of %q is %s where a text belongs.", f.name(), found(f.n)), "Put it in quotes.", f.quoteFix()...)
	case strings.TrimSpace(str) == "":
		f.problem("error", fmt.Sprintf("An entry of %q is empty.", f.name()), "Write it or delete it.")
	case f.allowed(str):
		v.V, v.Set = str, true
	}
	return v
}
