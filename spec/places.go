package spec

import (
	"slices"
	"sort"
)

// This file answers what stands at a place of the text and what may be written
// there, for hover, completion and everything else that starts from a cursor.
// It works from the text of the statement as much as from the tree, so that it
// serves a half-typed line as well as a whole one.

// Where says which side of a statement a place is on.
type Where uint8

// The sides.
const (
	OnBlank   Where = iota // an empty line or the end of one: a key or header may be written
	OnComment              // in a comment
	OnHeader               // in the brackets of a table header
	OnKey                  // on a key, or where one is being written
	OnValue                // behind the equals sign
)

// Place is what stands at an offset.
type Place struct {
	Where     Where
	Statement *Statement // nil on a blank
	// Path is the key or table at the place, with the names that the user
	// chose: on "thickness" of wall.thickness under [limits] it is limits,
	// wall, thickness, and on "wall" it is limits, wall. On a blank it is the
	// table in which a key would stand. On a key that is being written in an
	// inline table it is the inline table.
	Path []string
	Info *KeyInfo // what the language says about Path; nil if it knows nothing
	Node *Node    // what stands at Path; nil if nothing does
	Key  Range    // of the part of the key under the place, or of the key of the value
	// Value is the whole value of the key; empty where it would be if none is there.
	Value Range
	// Word is what is being written and a completion would replace: the inside
	// of the quotes, or the run of characters around the place.
	Word   Range
	InText bool // the place is inside quotes
	Entry  int  // number of the list entry, from 0; -1 outside lists
}

// KeyAt returns what stands at a byte offset.
func (d *Doc) KeyAt(offset int) Place {
	offset = min(max(offset, 0), len(d.Text))
	if c, ok := d.commentAt(offset); ok {
		return Place{Where: OnComment, Word: c, Entry: -1}
	}
	s := d.statementAt(offset)
	if s == nil {
		return d.blank(offset)
	}
	switch {
	case s.Kind == StatementTable || s.Kind == StatementTables:
		return d.onHeader(s, offset)
	case len(s.Keys) == 0:
		p := d.blank(offset)
		p.Statement = s
		p.Where = OnKey
		return p
	}
	if eq, ok := d.equals(s); ok && offset > eq {
		return d.onValue(s, offset, eq+1)
	}
	return d.onKey(s, s.Keys, s.Path, offset)
}

// commentAt returns the comment that holds the offset; its "#" itself may still
// be moved, so a place before it is outside.
func (d *Doc) commentAt(offset int) (Range, bool) {
	i := sort.Search(len(d.Comments), func(i int) bool { return d.Comments[i].Start >= offset })
	if i > 0 && offset <= d.Comments[i-1].End {
		return d.Comments[i-1], true
	}
	return Range{}, false
}

// statementAt returns the statement on whose lines the offset is, or nil.
func (d *Doc) statementAt(offset int) *Statement {
	i := sort.Search(len(d.Statements), func(i int) bool { return d.Statements[i].At.Start > offset })
	if i == 0 {
		return nil
	}
	s := &d.Statements[i-1]
	if offset <= s.At.End || d.LineOf(offset) == d.LineOf(s.At.End) {
		return s
	}
	return nil
}

// TableAt returns the header in force at an offset, or nil above the first.
func (d *Doc) TableAt(offset int) *Statement {
	i := sort.Search(len(d.Statements), func(i int) bool { return d.Statements[i].At.Start > offset })
	for i--; i >= 0; i-- {
		if k := d.Statements[i].Kind; k == StatementTable || k == StatementTables {
			return &d.Statements[i]
		}
	}
	return nil
}

func (d *Doc) blank(offset int) Place {
	p := Place{Where: OnBlank, Entry: -1, Word: d.word(offset), Key: Range{offset, offset}, Value: Range{offset, offset}, Node: d.Root}
	if h := d.TableAt(offset); h != nil {
		p.Path, p.Node = h.Path, h.Node
	}
	p.Info = Lookup(d.File, p.Path...)
	return p
}

// word returns the run of key characters around an offset.
func (d *Doc) word(offset int) Range {
	r := Range{offset, offset}
	for r.Start > 0 && isBareKey(d.Text[r.Start-1]) {
		r.Start--
	}
	for r.End < len(d.Text) && isBareKey(d.Text[r.End]) {
		r.End++
	}
	return r
}

func (d *Doc) onHeader(s *Statement, offset int) Place {
	if offset > s.At.End {
		p := d.blank(offset)
		p.Statement = s
		return p
	}
	p := d.onKey(s, s.Keys, s.Path, offset)
	p.Where = OnHeader
	return p
}

// onKey cuts the path behind the part of the key that the offset is on.
func (d *Doc) onKey(s *Statement, keys []KeyPart, path []string, offset int) Place {
	p := Place{Where: OnKey, Statement: s, Path: path, Value: s.Value, Entry: -1, Word: d.word(offset), Key: Range{offset, offset}}
	for i, k := range keys {
		if offset <= k.At.End || i == len(keys)-1 {
			p.Key, p.Path = k.At, path[:len(path)-len(keys)+i+1]
			break
		}
	}
	if len(keys) == 0 {
		p.Path = nil
	}
	if c := at(d.Text, p.Key.Start); c == '"' || c == '\'' {
		p.Word, p.InText = inside(d.Text, p.Key.Start), true
	}
	p.Info = Lookup(d.File, p.Path...)
	p.Node = s.Node
	if len(p.Path) < len(s.Path) {
		p.Node = d.Root.Find(p.Path...)
	}
	return p
}

func at(text []byte, i int) byte {
	if i < len(text) {
		return text[i]
	}
	return 0
}

// inside returns the range between the quotes of the text that starts at i, as
// far as it goes if it is not closed.
func inside(text []byte, i int) Range {
	quotes := 1
	if isLong(text, i) {
		quotes = 3
	}
	end, closed := skipString(text, i)
	if closed {
		return Range{i + quotes, end - quotes}
	}
	return Range{min(i+quotes, end), end}
}

// equals returns the offset of the equals sign behind the key of a statement.
func (d *Doc) equals(s *Statement) (int, bool) {
	i := skipBlank(d.Text, s.Keys[len(s.Keys)-1].At.End)
	return i, at(d.Text, i) == '='
}

// onValue follows the text of a value up to the offset: into inline tables and
// lists, and into quotes.
func (d *Doc) onValue(s *Statement, offset, from int) Place {
	p := Place{
		Where: OnValue, Statement: s, Path: s.Path, Node: s.Node, Key: s.Keys[len(s.Keys)-1].At, Value: s.Value, Entry: -1, Word: d.word(offset),
	}
	c := cursor{text: d.Text}
	c.walk(from, offset)
	p.Path = slices.Clone(s.Path)
	p.enter(c.frames)
	if len(c.frames) > 0 && c.top().table && !c.top().value {
		p.Where = OnKey
		p.innerKey(offset)
	}
	if c.quote >= 0 {
		word := inside(d.Text, c.quote)
		if s.Broken { // the text may be open and reach far beyond what is meant
			word.End = min(word.End, max(offset, d.LineRange(d.LineOf(offset)).End))
		}
		if offset >= word.Start && offset <= word.End {
			p.Word, p.InText = word, true
		}
	}
	p.Info = Lookup(d.File, p.Path...)
	return p
}

// enter follows the brackets that are open at the place.
func (p *Place) enter(frames []frame) {
	for i, f := range frames {
		p.Entry = -1
		switch {
		case !f.table:
			p.Entry = f.entry
			if i < len(frames)-1 {
				p.Node = p.Node.entry(f.entry)
			}
		case f.value:
			for _, k := range f.keys {
				p.Path = append(p.Path, k.Name)
				p.Node = p.Node.Child(k.Name)
				p.Key, p.Value = k.At, Range{k.At.End, k.At.End}
			}
			if p.Node != nil {
				p.Value = p.Node.At
			}
		}
	}
}

// entry returns an entry of a list, or nil.
func (n *Node) entry(i int) *Node {
	if n == nil || n.Kind != KindArray || i >= len(n.Kids) {
		return nil
	}
	return n.Kids[i]
}

// innerKey puts a place onto a key of an inline table, if it is on a whole one.
func (p *Place) innerKey(offset int) {
	table := p.Node
	if table == nil || table.Kind != KindInline {
		return
	}
	for _, kid := range table.Kids {
		if offset >= kid.Key.Start && offset <= kid.Key.End {
			p.Path = append(p.Path, kid.Name)
			p.Node, p.Key, p.Value = kid, kid.Key, kid.At
			return
		}
	}
}

// cursor walks over the text of a value and remembers what is open.
type cursor struct {
	text   []byte
	frames []frame
	quote  int // offset of the quote of the text that holds the end, or -1
}

// frame is an open bracket.
type frame struct {
	table bool // "{"
	value bool // behind the equals sign in a table
	keys  []KeyPart
	entry int // entries before, in a list
}

func (c *cursor) top() *frame { return &c.frames[len(c.frames)-1] }

func (c *cursor) walk(i, end int) {
	c.quote = -1
	for i < end {
		switch b := c.text[i]; b {
		case '"', '\'':
			stop, closed := skipString(c.text, i)
			if stop > end || stop == end && !closed {
				c.quote = i
				return
			}
			i = stop
			continue
		case '#':
			i = lineEnd(c.text, i)
			continue
		case '[', '{':
			c.frames = append(c.frames, frame{table: b == '{'})
			if b == '{' {
				i = c.key(i+1, end)
				continue
			}
		case ']', '}':
			if len(c.frames) > 0 {
				c.frames = c.frames[:len(c.frames)-1]
			}
		case ',':
			if len(c.frames) > 0 {
				f := c.top()
				f.entry++
				if f.table {
					*f = frame{table: true}
					i = c.key(i+1, end)
					continue
				}
			}
		}
		i++
	}
}

// key reads the key of an inline table at i, if it ends before stop, and
// returns where to go on.
func (c *cursor) key(i, stop int) int {
	for i < len(c.text) && (c.text[i] == ' ' || c.text[i] == '\t' || c.text[i] == '\n' || c.text[i] == '\r') {
		i++
	}
	keys, end, ok := scanKey(c.text, i)
	if eq := skipBlank(c.text, end); ok && eq < stop && at(c.text, eq) == '=' {
		f := c.top()
		f.keys, f.value = keys, true
		return eq + 1
	}
	return i
}

// Walk visits every value and table of the tree below the root, each with its
// path and what the language says about it (nil where it knows nothing).
// Entries of lists come with the path of their list. Where visit returns false
// nothing below is visited. Tables that TOML forbids are not part of the tree.
func (d *Doc) Walk(visit func(path []string, n *Node, info *KeyInfo) bool) {
	d.walk(nil, d.Root, language(d.File).root, visit)
}

func (d *Doc) walk(path []string, n *Node, e *entry, visit func([]string, *Node, *KeyInfo) bool) {
	for _, kid := range n.Kids {
		here, ke := path, e
		if kid.Name != "" || n.Kind == KindTable || n.Kind == KindInline {
			here = append(slices.Clone(path), kid.Name)
			ke = e.child(kid.Name)
		}
		var info *KeyInfo
		if ke != nil {
			info = ke.info
		}
		if visit(here, kid, info) {
			d.walk(here, kid, ke, visit)
		}
	}
}
