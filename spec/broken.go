package spec

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// This file says what happens to a statement that can't be read: what can
// still be saved of it, where reading goes on, and what the user is told.

// syntaxError is what the syntax parser said about a statement.
type syntaxError struct {
	message string
	at      int // offset in the text
}

// broken records a statement that can't be read and returns where to go on.
// Its key or header is saved where it is written, so that everything under a
// half-typed header keeps its path and a half-typed key can be completed.
func (x *indexer) broken(pos int, e extent, p Problem) int {
	p.Level = "error"
	x.doc.Partial = true
	next := x.resume(pos, e)
	at := trimRange(x.text, Range{pos, min(next, max(lineEnd(x.text, pos), min(e.end, next)))})
	if p.At == (Range{}) {
		p.At = at
	}
	reported := len(x.problems.list)
	switch parts, end, _ := scanKey(x.text, pos); {
	case x.text[pos] == '[':
		x.brokenHeader(at, &p)
	case len(parts) > 0 && len(parts) <= x.bounds.KeyParts:
		x.brokenKey(at, parts, end, &p)
	default:
		x.table.Partial = true
		x.doc.Statements = append(x.doc.Statements, Statement{
			Kind: StatementBroken, At: at, Value: Range{at.End, at.End}, Path: x.path, Parent: x.table, Broken: true,
		})
	}
	x.problems.list = x.problems.list[:min(reported, len(x.problems.list))] // one problem a statement
	x.problems.add(p)
	return next
}

func (x *indexer) brokenHeader(at Range, p *Problem) {
	keys, list, _ := x.headerKeys(at)
	if len(keys) > 0 && len(keys) <= x.bounds.KeyParts {
		x.header(at, keys, list, true)
		p.Key = dotted(x.path)
		return
	}
	x.path = nil
	x.table = &Node{Kind: KindTable, At: at, Partial: true, origin: fromHeader}
	x.doc.Root.Partial = true
	kind := StatementTable
	if list {
		kind = StatementTables
	}
	x.doc.Statements = append(x.doc.Statements, Statement{
		Kind: kind, At: at, Value: Range{at.End, at.End}, Node: x.table, Parent: x.doc.Root, Broken: true,
	})
}

// unquotedRx is a closed header.
var unquotedRx = regexp.MustCompile(`^\[\[?([^\[\]#=]*)\]\]?[ \t]*(#.*)?$`)

// headerKeys reads the names of a broken header as far as they go. Where all
// that is wrong is that names lack their quotes ([limits.PBF-LB/M]), it takes
// the whole names and returns the header as it should be.
func (x *indexer) headerKeys(r Range) (keys []KeyPart, list bool, mended string) {
	inner := r.Start + 1
	if list = at(x.text, inner) == '['; list {
		inner++
	}
	keys, end, whole := scanKey(x.text, inner)
	m := unquotedRx.FindSubmatch(x.text[r.Start:r.End])
	if m == nil || whole && at(x.text, skipBlank(x.text, end)) == ']' {
		return keys, list, ""
	}
	names := splitNames(x.text, Range{inner, inner + len(m[1])})
	if names == nil {
		return keys, list, ""
	}
	mended = "[" + dotted(joinPath(nil, names)) + "]"
	if list {
		mended = "[" + mended + "]"
	}
	return names, list, mended
}

// splitNames splits a key at its dots and takes what is between them as names,
// whatever they are made of. It returns nil where that can't be meant.
func splitNames(text []byte, r Range) []KeyPart {
	var names []KeyPart
	for i := r.Start; i <= r.End; i++ {
		i = skipBlank(text, i)
		start, name := i, ""
		if c := at(text, i); c == '"' || c == '\'' {
			end, closed := skipString(text[:r.End], i)
			if !closed {
				return nil
			}
			i = end
			name = string(text[start+1 : end-1])
			end = skipBlank(text, end)
			if end < r.End && text[end] != '.' {
				return nil
			}
			names = append(names, KeyPart{name, Range{start, i}})
			i = end
			continue
		}
		for i < r.End && text[i] != '.' && text[i] != '"' && text[i] != '\'' {
			i++
		}
		at := trimRange(text, Range{start, i})
		if at.Start == at.End || i < r.End && text[i] != '.' {
			return nil
		}
		names = append(names, KeyPart{string(text[at.Start:at.End]), at})
	}
	return names
}

func (x *indexer) brokenKey(at Range, keys []KeyPart, end int, p *Problem) {
	value := Range{end, end}
	if i := skipBlank(x.text, end); i < at.End && (x.text[i] == '=' || x.text[i] == ':') {
		start := min(skipBlank(x.text, i+1), at.End)
		value = Range{start, max(start, at.End)}
	}
	node := &Node{Kind: KindBroken, At: value}
	path := joinPath(x.path, keys)
	p.Key = dotted(path)
	node = x.place(x.table, keys, node)
	x.doc.Statements = append(x.doc.Statements, Statement{
		Kind: StatementKey, At: at, Keys: keys, Value: value, Path: path, Node: node, Parent: x.table, Broken: true,
	})
}

// resume decides where reading goes on after a broken statement. One that ends
// with its line costs that line. One that opens a bracket or a long string
// costs everything up to its end if it has one and no line on the way looks
// like the start of something else; else up to the first such line.
func (x *indexer) resume(pos int, e extent) int {
	first := lineEnd(x.text, pos)
	if e.end <= first && e.closed {
		return e.end
	}
	inline := x.opensTable(pos, first)
	for i := first; i < len(x.text); i = lineEnd(x.text, i+1) {
		line := i + 1
		if e.closed && line > e.end {
			return e.end
		}
		if looksLikeHeader(x.text, line) {
			return i
		}
		if looksLikeKey(x.text, line) && (!inline || !e.closed && !x.endsWithComma(line)) {
			return i
		}
	}
	return len(x.text)
}

// opensTable says that the first bracket which the line leaves open is "{".
func (x *indexer) opensTable(pos, end int) bool {
	return bytes.LastIndexByte(x.text[pos:end], '{') > bytes.LastIndexByte(x.text[pos:end], '[')
}

func (x *indexer) endsWithComma(line int) bool {
	if line >= len(x.text) {
		return false
	}
	return bytes.HasSuffix(bytes.TrimRight(x.text[line:lineEnd(x.text, line)], " \t\r"), []byte{','})
}

func trimRange(text []byte, r Range) Range {
	for r.End > r.Start && bytes.IndexByte([]byte(" \t\r\n"), text[r.End-1]) >= 0 {
		r.End--
	}
	return r
}

func (x *indexer) tooDeep(e extent) Problem {
	p := Problem{At: Range{e.tooDeep, e.tooDeep + 1}}
	if e.deepKey {
		p.Message = fmt.Sprintf("The key has more than %d parts.", x.bounds.KeyParts)
		p.Help = fmt.Sprintf("Shorten it: the longest key of the language has %d.", longestPath())
		return p
	}
	p.Message = fmt.Sprintf("Lists or tables are nested more than %d deep.", x.bounds.Depth)
	p.Help = "No value of the language nests more than two deep; close a bracket."
	return p
}

// line returns the first line of a broken statement without its comment-free
// end blanks.
func (x *indexer) line(pos int) Range {
	return trimRange(x.text, Range{pos, lineEnd(x.text, pos)})
}

// explain says what is wrong with a statement. err is nil where the scanner
// already found that something stays open.
func (x *indexer) explain(pos int, e extent, err *syntaxError) Problem {
	r := x.line(pos)
	line := string(x.text[r.Start:r.End])
	switch {
	case isConflictMarker(line):
		return Problem{At: r, Message: "A merge conflict is left in the file.", Help: "Keep one side and delete the lines that mark the conflict."}
	case line[0] == '[':
		return x.explainHeader(r, err)
	}
	keys, end, whole := scanKey(x.text, pos)
	if len(keys) == 0 || !whole {
		return x.explainKey(r, keys)
	}
	name := dotted(joinPath(nil, keys))
	i := skipBlank(x.text, end)
	if i >= r.End || x.text[i] != '=' {
		return x.explainNoEquals(r, name, i)
	}
	v := Range{min(skipBlank(x.text, i+1), r.End), r.End}
	return x.explainValue(name, i, v, e, err)
}

func isConflictMarker(line string) bool {
	for _, m := range []string{"<<<<<<<", "=======", ">>>>>>>", "|||||||"} {
		if strings.HasPrefix(line, m) {
			return true
		}
	}
	return false
}

func (x *indexer) explainHeader(r Range, err *syntaxError) Problem {
	keys, list, mended := x.headerKeys(r)
	if len(keys) == 0 {
		return Problem{At: r, Message: "The table header has no name.", Help: "Write the name of a table in the brackets, such as [mesh]."}
	}
	name := dotted(joinPath(nil, keys))
	if mended != "" {
		return Problem{
			At: r, Message: "A name in the table header needs quotes.", Help: "Write " + short(mended) + ".",
			Fixes: []Fix{{"Write " + mended, r, mended}},
		}
	}
	inner, closer := r.Start+1, "]"
	if list {
		inner, closer = inner+1, "]]"
	}
	_, end, whole := scanKey(x.text, inner)
	rest := string(x.text[end:r.End])
	found := strings.TrimSpace(strings.SplitN(rest, "#", 2)[0])
	if whole && strings.HasPrefix(closer, found) {
		return Problem{
			At: r, Message: fmt.Sprintf("The header of table %q is not closed.", short(name)), Help: fmt.Sprintf("Write %s behind the name.", closer),
			Fixes: []Fix{{"Close the header", Range{end, end + strings.Index(rest, found) + len(found)}, closer}},
		}
	}
	p := Problem{At: r, Message: fmt.Sprintf("The header of table %q can't be read.", short(name)), Help: "Write [name] or [[name]] alone on the line."}
	if err != nil && strings.HasPrefix(err.message, "expected newline") {
		p.At = Range{min(err.at, r.End-1), r.End}
		p.Message = fmt.Sprintf("There is more on the line behind the header of table %q.", short(name))
		p.Help = "Put it on a line of its own."
	}
	return p
}

func (x *indexer) explainKey(r Range, keys []KeyPart) Problem {
	if len(keys) > 0 {
		return Problem{
			At:      r,
			Message: fmt.Sprintf("The key that starts with %q is not finished.", short(keys[0].Name)),
			Help:    "Write the rest of the key, an equals sign and a value.",
		}
	}
	_, size := utf8.DecodeRune(x.text[r.Start:r.End])
	return Problem{
		At:      Range{r.Start, r.Start + size},
		Message: fmt.Sprintf("A line can't start with %q.", x.doc.Text[r.Start:r.Start+size]),
		Help:    `A line is a key with a value (key = value), a table header ([name]), or a comment (# ...); a key that is not made of letters, digits, "-" and "_" stands in quotes.`,
	}
}

func (x *indexer) explainNoEquals(r Range, name string, i int) Problem {
	i = min(i, r.End) // blanks may follow the end of the trimmed line
	rest := string(x.text[i:r.End])
	p := Problem{
		At:      r,
		Message: fmt.Sprintf("%q has no value.", short(name)),
		Help:    fmt.Sprintf("Write an equals sign and a value: %s = ...", short(name)),
	}
	before, _, hasEquals := strings.Cut(rest, "=")
	switch {
	case strings.HasPrefix(rest, ":"):
		p.Message = fmt.Sprintf("A colon stands behind %q where TOML has an equals sign.", short(name))
		p.Fixes = []Fix{{"Write an equals sign", Range{i, i + 1}, " ="}}
	case hasEquals && wordsRx.MatchString(before):
		key := Range{r.Start, i + len(strings.TrimRight(before, " \t"))}
		hyphened := strings.Join(strings.Fields(string(x.text[key.Start:key.End])), "-")
		p.At = key
		p.Message = fmt.Sprintf("The key %q has a blank in it.", short(string(x.text[key.Start:key.End])))
		p.Help = fmt.Sprintf("Keys of more than one word are written with a hyphen: %s.", short(hyphened))
		p.Fixes = []Fix{{"Write a hyphen", key, hyphened}}
	}
	return p
}

var (
	wordsRx = regexp.MustCompile(`^[A-Za-z0-9_-]+([ \t]+[A-Za-z0-9_-]+)*[ \t]*$`)
	// bareRx is a value that is a text or quantity without its quotes.
	bareRx  = regexp.MustCompile(`^[^\s"'\[\]{}=,#][^"'\[\]{}=,#]*$`)
	commaRx = regexp.MustCompile(`^([+-]?[0-9]+),([0-9]+)$`)
)

// explainValue says what is wrong with the value in v, whose equals sign is at eq.
func (x *indexer) explainValue(name string, eq int, v Range, e extent, err *syntaxError) Problem {
	text := string(x.text[v.Start:v.End])
	p := Problem{At: v}
	quoted := short(name)
	bare := strings.TrimSpace(strings.SplitN(text, "#", 2)[0])
	switch {
	case bare == "":
		p.At = Range{}
		p.Message = fmt.Sprintf("%q has no value behind the equals sign.", quoted)
		p.Help = "Write a value."
	case !e.closed:
		p = x.explainOpen(quoted, v, e, p)
	case (text[0] == '"' || text[0] == '\'') && !closedString(text):
		p.Message = fmt.Sprintf("The text of %q is not closed.", quoted)
		p.Help = "Write the closing quote."
		p.Fixes = []Fix{{"Close the quotes", Range{v.End, v.End}, text[:1]}}
	case strings.HasPrefix(text, "“") || strings.HasPrefix(text, "„") || strings.HasPrefix(text, "‘"):
		p.Message = fmt.Sprintf("The quotes of %q are typographic ones.", quoted)
		p.Help = `Write straight quotes (").`
		p.Fixes = []Fix{{"Write straight quotes", v, quoteText(strings.Trim(text, "“”„‘’"))}}
	case strings.EqualFold(bare, "true") || strings.EqualFold(bare, "false"):
		p.Message = fmt.Sprintf("The value of %q is %s, which TOML writes in small letters.", quoted, bare)
		p.Help = "Write " + strings.ToLower(bare) + "."
		p.Fixes = []Fix{{"Write " + strings.ToLower(bare), Range{v.Start, v.Start + len(bare)}, strings.ToLower(bare)}}
	case commaRx.MatchString(bare):
		number := strings.Replace(bare, ",", ".", 1)
		p.Message = fmt.Sprintf("The number of %q has a comma in it.", quoted)
		p.Help = "Write a point before the decimals."
		p.Fixes = []Fix{{"Write " + number, Range{v.Start, v.Start + len(bare)}, number}}
	case bareRx.MatchString(bare) && strings.ContainsFunc(bare, unicode.IsLetter):
		p.At.End = v.Start + len(bare)
		p.Message = fmt.Sprintf("The value of %q is a text without quotes: %s.", quoted, short(bare))
		p.Help = fmt.Sprintf("Write %s.", quoteText(short(bare)))
		p.Fixes = []Fix{{"Put it in quotes", p.At, quoteText(bare)}}
	default:
		p = explainInside(quoted, v, e, err, p)
	}
	return p
}

func closedString(text string) bool {
	_, ok := skipString([]byte(text), 0)
	return ok
}

// explainOpen says which bracket or long string is left open.
func (x *indexer) explainOpen(name string, v Range, e extent, p Problem) Problem {
	text := string(x.text[v.Start:v.End])
	what, closer := "list", "]"
	switch {
	case strings.HasPrefix(text, `"""`) || strings.HasPrefix(text, "'''"):
		what, closer = "long text", text[:3]
	case x.opensTable(v.Start, v.End):
		what, closer = "inline table", "}"
	}
	p.Message = fmt.Sprintf("The %s of %q is not closed.", what, name)
	p.Help = fmt.Sprintf("Write %s behind its last entry.", closer)
	oneLine := x.resume(v.Start, e) == lineEnd(x.text, v.Start)
	switch quote := openQuote(text); {
	case what == "long text":
		p.Help = fmt.Sprintf("Write %s at its end.", closer)
	case quote != "":
		p.Message = fmt.Sprintf("A text in the %s of %q is not closed.", what, name)
		p.Help = fmt.Sprintf("Write %s%s at its end.", quote, closer)
		p.Fixes = []Fix{{"Write " + quote + closer, Range{v.End, v.End}, quote + closer}}
	case oneLine && !strings.HasSuffix(text, ",") && !strings.Contains(text, "#"):
		p.Fixes = []Fix{{"Write " + closer, Range{v.End, v.End}, closer}}
	}
	return p
}

// openQuote returns the quote that a line of a list leaves open, or "".
func openQuote(line string) string {
	for i := 0; i < len(line); i++ {
		if line[i] != '"' && line[i] != '\'' {
			continue
		}
		end, closed := skipString([]byte(line), i)
		if !closed {
			return line[i : i+1]
		}
		i = end - 1
	}
	return ""
}

// explainInside words what the syntax parser said about the inside of a value.
func explainInside(name string, v Range, e extent, err *syntaxError, p Problem) Problem {
	p.Message = fmt.Sprintf("The value of %q can't be read.", name)
	p.Help = "Check the value."
	if err == nil {
		return p
	}
	at := min(max(err.at, v.Start), max(e.end-1, v.Start))
	p.At = Range{at, at + 1}
	switch {
	case strings.HasPrefix(err.message, "expected ',' or"):
		p.Message = fmt.Sprintf("A comma is missing between two entries of %q.", name)
		p.Help = "Write a comma between them."
		p.Fixes = []Fix{{"Write a comma", Range{at, at}, ", "}}
	case strings.HasPrefix(err.message, "expected newline"):
		p.At = Range{at, max(at+1, min(v.End, e.end))}
		p.Message = fmt.Sprintf("There is more on the line behind the value of %q.", name)
		p.Help = "Put one value on a line, and texts in quotes."
	case strings.HasPrefix(err.message, "strings must be quoted"):
		p.Message = fmt.Sprintf("A text in %q has no quotes.", name)
		p.Help = `Put texts and quantities in quotes: "0.4 mm".`
	case strings.HasPrefix(err.message, "invalid escape"):
		p.Message = fmt.Sprintf("The text of %q has a backslash that means nothing.", name)
		p.Help = `Write two backslashes, or put the text in single quotes.`
	default:
		p.Message = fmt.Sprintf("The value of %q can't be read: %s.", name, err.message)
	}
	return p
}
