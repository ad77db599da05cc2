package spec

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
	gotoml "github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// This file makes the tree of a text. No other file touches a TOML library.
//
// Places come from go-toml's syntax parser, given one statement at a time, so
// that a broken statement costs itself only. Values come from BurntSushi/toml:
// the values of all whole statements are put behind numbers as keys and
// decoded in one go, so that a broken or repeated table can't take the values
// of others along. The structure (which key is in which table, what may not be
// there twice) is our own. When all three are content, go-toml's full decoder
// reads the text once more as a gate for what we let through.

// indexer is the state of reading one text.
type indexer struct {
	doc      *Doc
	text     []byte // doc.Text with damage replaced, byte for byte at the same offsets
	bounds   Bounds
	parser   unstable.Parser
	problems problemList

	table  *Node    // where keys go
	path   []string // its path
	values int
	stop   bool
}

// newDoc indexes a text. It always returns a whole Doc.
func newDoc(text []byte, kind FileKind, b Bounds) (*Doc, *problemList) {
	d := &Doc{Text: text, File: kind, Root: &Node{Kind: KindTable, origin: fromHeader}}
	x := &indexer{doc: d, bounds: b, problems: problemList{max: b.Problems}}
	if x.admit() {
		x.table = d.Root
		x.read()
		x.decode()
		if !d.Partial && len(x.problems.list) == 0 {
			x.gate()
		}
	}
	return d, &x.problems
}

// admit looks at the bytes before any library does. It returns false when the
// text can't be read at all, and mends what can be mended in place: a byte
// order mark, lone carriage returns, NUL and bytes that are no UTF-8.
func (x *indexer) admit() bool {
	text := x.doc.Text
	if len(text) > x.bounds.Bytes {
		x.problems.add(Problem{
			Level: "error", Message: fmt.Sprintf("The file has %d bytes, more than the %d that are read.", len(text), x.bounds.Bytes),
			Help: "Check that this is the right file: a spec is a few hundred lines of text.",
		})
		x.doc.Partial = true
		return false
	}
	if wide := wideEncoding(text); wide != "" {
		x.problems.add(Problem{
			At: Range{0, min(2, len(text))}, Level: "error",
			Message: "The file is written in " + wide + ", not in UTF-8.", Help: "Save the file as UTF-8.",
		})
		x.doc.Partial = true
		return false
	}
	x.text = text
	x.mend()
	return true
}

// wideEncoding recognises two-byte encodings by their mark or by every second
// byte being zero.
func wideEncoding(text []byte) string {
	switch {
	case bytes.HasPrefix(text, []byte{0xFF, 0xFE}):
		return "UTF-16 (little end first)"
	case bytes.HasPrefix(text, []byte{0xFE, 0xFF}):
		return "UTF-16 (big end first)"
	}
	head := text[:min(len(text), 1024)]
	if zeros := bytes.Count(head, []byte{0}); len(head) >= 4 && zeros*3 >= len(head) {
		return "UTF-16 or another encoding with wide characters"
	}
	return ""
}

func (x *indexer) mend() {
	own := false
	set := func(i int, c byte) {
		if !own {
			x.text, own = slices.Clone(x.text), true
		}
		x.text[i] = c
	}
	text := x.doc.Text
	i := 0
	if bytes.HasPrefix(text, bom) {
		for ; i < len(bom); i++ {
			set(i, ' ')
		}
	}
	var crs, zeros, damaged int
	for i < len(text) {
		switch c := text[i]; {
		case c == '\r' && (i+1 == len(text) || text[i+1] != '\n'):
			if crs++; crs == 1 {
				x.problems.add(Problem{
					At: Range{i, i + 1}, Level: "error", Message: "A line ends with a lone carriage return, which TOML does not count as a line end.",
					Help: "Save the file with LF or CRLF line ends.",
				})
			}
			set(i, '\n')
			i++
		case c == 0:
			if zeros++; zeros == 1 {
				x.problems.add(Problem{
					At: Range{i, i + 1}, Level: "error", Message: "The file holds a NUL byte, which no text has.",
					Help: "Delete it, or check that this is a text file.",
				})
			}
			set(i, ' ')
			i++
		case c < utf8.RuneSelf:
			i++
		default:
			r, size := utf8.DecodeRune(text[i:])
			if r == utf8.RuneError && size == 1 {
				if damaged++; damaged == 1 {
					x.problems.add(Problem{
						At: Range{i, i + 1}, Level: "error",
						Message: fmt.Sprintf("Byte 0x%02X is not UTF-8; the file seems to be saved in another encoding, such as Latin-1.", text[i]),
						Help:    "Save the file as UTF-8.",
					})
				}
				set(i, '?')
			}
			i += size
		}
	}
}

// read walks over the statements.
func (x *indexer) read() {
	text := x.text
	for pos := 0; pos < len(text) && !x.stop; {
		switch text[pos] {
		case ' ', '\t', '\n', '\r':
			pos++
		case '#':
			pos = x.comment(pos)
		default:
			if len(x.doc.Statements) >= x.bounds.Keys {
				x.tooMany(pos, "keys and headers", x.bounds.Keys)
				return
			}
			pos = x.statement(pos)
		}
	}
}

func (x *indexer) tooMany(pos int, what string, limit int) {
	x.stop = true
	x.doc.Partial = true
	x.problems.add(Problem{
		At: Range{pos, lineEnd(x.text, pos)}, Level: "error",
		Message: fmt.Sprintf("The file has more than %d %s; what follows is not read.", limit, what),
		Help:    "Check that this is the right file, or split it.",
	})
}

func (x *indexer) comment(pos int) int {
	end := lineEnd(x.text, pos)
	stop := end
	if stop > pos && x.text[stop-1] == '\r' {
		stop--
	}
	x.doc.Comments = append(x.doc.Comments, Range{pos, stop})
	for i := pos; i < stop; i++ {
		if c := x.text[i]; c < 0x20 && c != '\t' || c == 0x7f {
			x.problems.add(Problem{
				At: Range{i, i + 1}, Level: "error",
				Message: fmt.Sprintf("The comment holds the control character 0x%02X.", c), Help: "Delete it.",
				Fixes: []Fix{{"Delete the character", Range{i, i + 1}, ""}},
			})
			break
		}
	}
	return end
}

// statement reads the statement at pos and returns where to go on.
func (x *indexer) statement(pos int) int {
	e := measure(x.text, pos, x.bounds)
	if e.tooDeep >= 0 {
		return x.broken(pos, e, x.tooDeep(e))
	}
	if x.values += e.values; x.values > x.bounds.Values {
		x.tooMany(pos, "list entries", x.bounds.Values)
		return len(x.text)
	}
	if !e.closed {
		return x.broken(pos, e, x.explain(pos, e, nil))
	}
	stop := min(e.end+1, len(x.text)) // the line end too: a CR is one with its LF only
	x.parser.Reset(x.text[pos:stop:stop])
	if !x.parser.NextExpression() {
		return x.broken(pos, e, x.explain(pos, e, x.syntaxError(pos)))
	}
	expr := x.parser.Expression()
	keys := x.keys(expr.Key(), pos)
	if expr.Kind == unstable.KeyValue {
		x.keyValue(pos, expr, keys)
	} else {
		last := keys[len(keys)-1].At.End
		end := last + bytes.IndexByte(x.text[last:], ']') + 1
		if expr.Kind == unstable.ArrayTable {
			end++
		}
		x.header(Range{pos, end}, keys, expr.Kind == unstable.ArrayTable, false)
	}
	x.trailingComment(e.end)
	return e.end
}

// syntaxError says what stopped the syntax parser in the statement at pos. The
// parser marks the place by a slice of its input; how much room is behind a
// slice tells where it starts.
func (x *indexer) syntaxError(pos int) *syntaxError {
	s := &syntaxError{message: "nothing is left to read", at: pos}
	var pe *unstable.ParserError
	if errors.As(x.parser.Error(), &pe) {
		s.message = pe.Message
		s.at = pos + max(cap(x.parser.Data())-cap(pe.Highlight), 0)
	}
	return s
}

// trailingComment records the comment behind the statement just read.
func (x *indexer) trailingComment(end int) {
	s := &x.doc.Statements[len(x.doc.Statements)-1]
	x.innerComments(s.At)
	if i := skipBlank(x.text, s.At.End); i < end && x.text[i] == '#' {
		x.comment(i)
	}
}

// innerComments records the comments between the lines of a value.
func (x *indexer) innerComments(r Range) {
	if bytes.IndexByte(x.text[r.Start:r.End], '#') < 0 {
		return
	}
	for i := r.Start; i < r.End; {
		switch x.text[i] {
		case '"', '\'':
			i, _ = skipString(x.text, i)
		case '#':
			i = x.comment(i)
		default:
			i++
		}
	}
}

func (x *indexer) keys(it unstable.Iterator, base int) []KeyPart {
	var keys []KeyPart
	for it.Next() {
		n := it.Node()
		at := int(n.Raw.Offset) + base
		keys = append(keys, KeyPart{string(n.Data), Range{at, at + int(n.Raw.Length)}})
	}
	return keys
}

func joinPath(path []string, keys []KeyPart) []string {
	full := make([]string, 0, len(path)+len(keys))
	full = append(full, path...)
	for _, k := range keys {
		full = append(full, k.Name)
	}
	return full
}

// header opens a table. A header that TOML forbids opens a table outside the
// tree, so that what is under it is indexed but not read.
func (x *indexer) header(at Range, keys []KeyPart, list, broken bool) {
	root := x.doc.Root
	x.path = joinPath(nil, keys)
	table := x.openTable(at, keys, list, broken)
	if table == nil {
		last := keys[len(keys)-1]
		table = &Node{Kind: KindTable, Name: last.Name, Key: last.At, At: at, Partial: true, origin: fromHeader}
	}
	table.Partial = table.Partial || broken
	x.table = table
	kind := StatementTable
	if list {
		kind = StatementTables
	}
	x.doc.Statements = append(x.doc.Statements, Statement{
		Kind: kind, At: at, Keys: keys, Value: Range{at.End, at.End}, Path: x.path, Node: table, Parent: root, Broken: broken,
	})
}

// openTable finds or makes the table of a header, or reports why it can't be
// and returns nil.
func (x *indexer) openTable(at Range, keys []KeyPart, list, broken bool) *Node {
	t := x.doc.Root
	for _, k := range keys[:len(keys)-1] {
		next := t.Child(k.Name)
		if next == nil {
			next = &Node{Kind: KindTable, Name: k.Name, Key: k.At, At: k.At, origin: fromPath, Partial: broken}
			t.add(next)
		}
		if next.Kind == KindTables {
			next = next.Kids[len(next.Kids)-1]
		}
		if next.Kind != KindTable {
			x.repeated(at, k, next, fmt.Sprintf("%q is already %s and can't be a table too.", short(k.Name), article(next.Kind.String())))
			return nil
		}
		t = next
	}
	k := keys[len(keys)-1]
	old := t.Child(k.Name)
	fresh := &Node{Kind: KindTable, Name: k.Name, Key: k.At, At: at, origin: fromHeader}
	switch {
	case old == nil && list:
		fresh.Name = ""
		t.add(&Node{Kind: KindTables, Name: k.Name, Key: k.At, At: at, Kids: []*Node{fresh}, origin: fromHeader})
		return fresh
	case old == nil:
		t.add(fresh)
		return fresh
	case list && old.Kind == KindTables:
		fresh.Name = ""
		old.add(fresh)
		return fresh
	case !list && old.Kind == KindTable && old.origin == fromPath:
		old.origin, old.Key, old.At = fromHeader, k.At, at
		return old
	case !list && old.Kind == KindTables:
		name := strings.TrimSpace(string(x.text[at.Start:at.End]))
		x.problems.add(Problem{
			At: at, Key: dotted(x.path), Level: "error",
			Message: fmt.Sprintf("%q is a list of tables, so each of its headers has two pairs of brackets.", short(k.Name)),
			Help:    fmt.Sprintf("Write [%s].", short(name)),
			Fixes:   []Fix{{"Write two pairs of brackets", at, "[" + name + "]"}},
		})
		return nil
	case old.Kind == KindTable || old.Kind == KindTables:
		x.repeated(at, k, old, fmt.Sprintf("Table %q is already there.", short(dotted(x.path))))
		return nil
	default:
		x.repeated(at, k, old, fmt.Sprintf("%q is already %s and can't be a table too.", short(k.Name), article(old.Kind.String())))
		return nil
	}
}

// repeated reports a header or key that TOML forbids because of an older one.
func (x *indexer) repeated(at Range, k KeyPart, old *Node, message string) {
	old.Partial = true
	x.doc.Partial = true
	line := x.doc.LineOf(old.Key.Start)
	x.problems.add(Problem{
		At: at, Key: dotted(joinPath(nil, []KeyPart{k})), Level: "error",
		Message: message, Help: fmt.Sprintf("The first one is on line %d; only that one is read. Keep one of them.", line),
	})
}

// keyValue puts a whole key with its value into the tree.
func (x *indexer) keyValue(pos int, expr *unstable.Node, keys []KeyPart) {
	last := keys[len(keys)-1].At.End
	value, end := x.value(expr.Value(), pos, x.behindEquals(last))
	s := Statement{
		Kind: StatementKey, At: Range{pos, end}, Keys: keys, Value: value.At,
		Path: joinPath(x.path, keys), Parent: x.table,
	}
	s.Node = x.place(x.table, keys, value)
	x.doc.Statements = append(x.doc.Statements, s)
}

func (x *indexer) behindEquals(i int) int {
	return i + bytes.IndexByte(x.text[i:], '=') + 1
}

// value turns a parsed value into a node. The library gives no place for
// lists and inline tables, so the brackets are found on the way: from is where
// the value's first character may be at the earliest, and the result's second
// value is the offset behind it.
func (x *indexer) value(n *unstable.Node, base, from int) (*Node, int) {
	switch n.Kind {
	case unstable.Array:
		node := &Node{Kind: KindArray}
		node.At.Start = x.skipSpace(from)
		cur := node.At.Start + 1
		for it := n.Children(); it.Next(); {
			var kid *Node
			kid, cur = x.value(it.Node(), base, cur)
			node.Kids = append(node.Kids, kid)
		}
		cur = x.skipSpace(cur) + 1
		node.At.End = cur
		return node, cur
	case unstable.InlineTable:
		node := &Node{Kind: KindInline, origin: fromHeader}
		node.At.Start = x.skipSpace(from)
		cur := node.At.Start + 1
		for it := n.Children(); it.Next(); {
			kv := it.Node()
			keys := x.keys(kv.Key(), base)
			var kid *Node
			kid, cur = x.value(kv.Value(), base, x.behindEquals(keys[len(keys)-1].At.End))
			x.place(node, keys, kid)
		}
		cur = x.skipSpace(cur) + 1
		node.At.End = cur
		return node, cur
	}
	at := Range{int(n.Raw.Offset) + base, int(n.Raw.Offset) + int(n.Raw.Length) + base}
	return &Node{Kind: scalarKinds[n.Kind], At: at}, at.End
}

var scalarKinds = map[unstable.Kind]Kind{
	unstable.String: KindString, unstable.Integer: KindInteger, unstable.Float: KindFloat, unstable.Bool: KindBoolean,
	unstable.LocalDate: KindDate, unstable.LocalTime: KindTime, unstable.LocalDateTime: KindTime, unstable.DateTime: KindTime,
}

// skipSpace skips what may stand between the entries of a list.
func (x *indexer) skipSpace(i int) int {
	for i < len(x.text) {
		switch x.text[i] {
		case ' ', '\t', '\n', '\r', ',':
			i++
		case '#':
			i = lineEnd(x.text, i)
		default:
			return i
		}
	}
	return i
}

// place puts a value into a table under a dotted key, or reports why it can't
// be there and returns the value outside the tree.
func (x *indexer) place(t *Node, keys []KeyPart, value *Node) *Node {
	last := keys[len(keys)-1]
	value.Name, value.Key = last.Name, last.At
	whole := Range{keys[0].At.Start, last.At.End}
	for i, k := range keys[:len(keys)-1] {
		next := t.Child(k.Name)
		if next == nil {
			next = &Node{Kind: KindTable, Name: k.Name, Key: k.At, At: k.At, origin: fromDots, Partial: value.Kind == KindBroken}
			t.add(next)
		}
		if next.Kind != KindTable || next.origin != fromDots {
			if value.Kind != KindBroken {
				x.repeated(whole, k, next, fmt.Sprintf("%q is already %s, so %q can't add to it.",
					short(dotted(joinPath(nil, keys[:i+1]))), article(next.Kind.String()), short(dotted(joinPath(nil, keys)))))
			}
			value.origin = outside
			return value
		}
		t = next
	}
	if old := t.Child(last.Name); old != nil {
		if value.Kind != KindBroken {
			x.repeated(whole, last, old, fmt.Sprintf("%q is set twice.", short(last.Name)))
		}
		value.origin = outside
		return value
	}
	t.add(value)
	return value
}

// outside marks a value that is not in the tree.
const outside origin = 255

// dotted writes a path the way a TOML key is written.
func dotted(path []string) string {
	var b strings.Builder
	for i, name := range path {
		if i > 0 {
			b.WriteByte('.')
		}
		b.WriteString(quoteKey(name))
	}
	return b.String()
}

// quoteKey returns a name as one part of a TOML key, in quotes where it needs them.
func quoteKey(name string) string {
	bare := name != ""
	for i := 0; i < len(name); i++ {
		bare = bare && isBareKey(name[i])
	}
	if bare {
		return name
	}
	return quoteText(name)
}

// Quote returns a text as a TOML string.
func Quote(s string) string { return quoteText(s) }

// quoteText returns a text as a TOML string.
func quoteText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// decodeFailuresMax is how many unreadable values are looked for one by one.
// Each costs a fresh start behind it.
const decodeFailuresMax = 50

// decode fills in the values. Each whole statement's value stands behind its
// number in one text for the library; where that refuses a value, the value is
// reported and the rest is read on.
func (x *indexer) decode() {
	var todo []int
	for i := range x.doc.Statements {
		s := &x.doc.Statements[i]
		if s.Kind == StatementKey && !s.Broken {
			todo = append(todo, i)
		}
	}
	for failures := 0; len(todo) > 0 && failures < decodeFailuresMax; failures++ {
		bad := x.decodeSome(todo)
		if bad < 0 {
			return
		}
		if bad > 0 {
			x.decodeSome(todo[:bad])
		}
		s := &x.doc.Statements[todo[bad]]
		x.noSuchValue(s)
		todo = todo[bad+1:]
	}
	if len(todo) > 0 {
		x.doc.Partial = true
	}
}

// decodeSome decodes the values of some statements and returns the place in
// the list of the first that can't be, or -1.
func (x *indexer) decodeSome(list []int) int {
	var buf bytes.Buffer
	starts := make([]int, len(list))
	for n, i := range list {
		v := x.doc.Statements[i].Value
		buf.WriteString(strconv.Itoa(i))
		buf.WriteByte('=')
		starts[n] = buf.Len()
		buf.Write(x.text[v.Start:v.End])
		buf.WriteByte('\n')
	}
	values := make(map[string]any, len(list))
	if _, err := toml.Decode(buf.String(), &values); err != nil {
		var pe toml.ParseError
		bad := 0
		if errors.As(err, &pe) {
			bad, _ = slices.BinarySearch(starts, pe.Position.Start+1)
			bad = max(bad-1, 0)
		}
		return bad
	}
	for _, i := range list {
		if s := &x.doc.Statements[i]; !fill(s.Node, values[strconv.Itoa(i)]) {
			x.noSuchValue(s)
		}
	}
	return -1
}

// fill gives a node and what is in it the decoded values. It returns false
// where the two don't have the same shape: BurntSushi/toml v1.6.0 loses a list
// around an inline table with an empty key.
func fill(n *Node, v any) bool {
	switch v := v.(type) {
	case []any:
		return n.Kind == KindArray && len(n.Kids) == len(v) && all(n.Kids, func(i int) bool { return fill(n.Kids[i], v[i]) })
	case []map[string]any:
		return n.Kind == KindArray && len(n.Kids) == len(v) && all(n.Kids, func(i int) bool { return fill(n.Kids[i], v[i]) })
	case map[string]any:
		return (n.Kind == KindInline || n.Kind == KindTable) && len(n.Kids) == len(v) &&
			all(n.Kids, func(i int) bool { return fill(n.Kids[i], v[n.Kids[i].Name]) })
	case time.Time:
		n.Value = v
		if n.Kind == KindDate {
			n.Value = Date{v.Year(), int(v.Month()), v.Day()}
		}
		return n.Kind == KindDate || n.Kind == KindTime
	}
	n.Value = v
	return n.Kind == kindOf(v)
}

// kindOf returns the kind of node that a decoded scalar belongs to.
func kindOf(v any) Kind {
	switch v.(type) {
	case string:
		return KindString
	case int64:
		return KindInteger
	case float64:
		return KindFloat
	case bool:
		return KindBoolean
	}
	return KindBroken
}

func all(kids []*Node, f func(i int) bool) bool {
	for i := range kids {
		if !f(i) {
			return false
		}
	}
	return true
}

// noSuchValue reports a value that is spelt like one but does not exist.
func (x *indexer) noSuchValue(s *Statement) {
	x.doc.Partial = true
	if hasProblemIn(x.problems.list, s.At) {
		return // a key twice in an inline table was reported at its place
	}
	written := short(string(x.doc.Text[s.Value.Start:s.Value.End]))
	message, help := fmt.Sprintf("The value of %q can't be read: %s.", short(dotted(joinPath(nil, s.Keys))), written), "Check the value."
	switch s.Node.Kind {
	case KindDate, KindTime:
		message, help = fmt.Sprintf("%s is no date that exists.", written), "Write a date as year-month-day, such as 2027-06-30."
	case KindInteger:
		message, help = fmt.Sprintf("%s is too large for a whole number.", written), "Write a smaller number."
	}
	x.problems.add(Problem{At: s.Value, Key: dotted(s.Path), Level: "error", Message: message, Help: help})
}

func hasProblemIn(list []Problem, r Range) bool {
	return slices.ContainsFunc(list, func(p Problem) bool { return p.At.Start >= r.Start && p.At.Start < r.End })
}

// gate lets go-toml's full decoder read a text that looks whole, and reports
// what it refuses.
func (x *indexer) gate() {
	var all any
	err := gotoml.Unmarshal(x.text, &all)
	if err == nil {
		return
	}
	at := Range{}
	message := err.Error()
	var de *gotoml.DecodeError
	if errors.As(err, &de) {
		row, col := de.Position()
		start := 0
		for ; row > 1 && start < len(x.text); row-- {
			start = lineEnd(x.text, start) + 1
		}
		at.Start = min(start+max(col-1, 0), len(x.text))
		at.End = min(at.Start+1, len(x.text))
		message = strings.TrimPrefix(de.Error(), "toml: ")
	}
	x.doc.Partial = true
	x.problems.add(Problem{At: at, Level: "error", Message: fmt.Sprintf("The text is not valid TOML here: %s.", message), Help: "See the TOML 1.1 specification."})
}
