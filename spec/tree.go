package spec

import "sync"

// This file defines the tree that a text becomes: every key and value with its
// place, also those that the language does not know or that are half typed.

// Doc is a text with its index of keys and values and its line table. It is
// not changed after it was made, and may be read from several goroutines.
type Doc struct {
	Text []byte
	File FileKind // which of the two languages the text was read in

	Root       *Node       // the table that holds everything; never nil after ParsePart or ParseShop
	Statements []Statement // headers and keys in the order of the text
	Comments   []Range     // from "#" to the end of the line, in order
	// Partial says that a piece of the text could not be read: a key that
	// seems absent may be there, half typed.
	Partial bool

	linesOnce  sync.Once
	lineStarts []int32
}

// Kind says what a Node is.
type Kind uint8

// The kinds of nodes.
const (
	KindBroken  Kind = iota // a value that can't be read; the key may still be right
	KindTable               // made by a header or a dotted key, or the whole text
	KindTables              // [[name]]: its Kids are tables
	KindInline              // { ... }
	KindArray               // [ ... ]
	KindString              // Value is a string
	KindInteger             // Value is an int64
	KindFloat               // Value is a float64
	KindBoolean             // Value is a bool
	KindDate                // Value is a Date
	KindTime                // any other date or time; Value is a time.Time
)

var kindNames = [...]string{
	KindBroken: "unreadable value", KindTable: "table", KindTables: "list of tables", KindInline: "inline table",
	KindArray: "list", KindString: "text", KindInteger: "whole number", KindFloat: "number",
	KindBoolean: "true or false", KindDate: "date", KindTime: "time",
}

// String returns what a person would call it.
func (k Kind) String() string { return kindNames[k] }

// Node is a value or a table of the text.
type Node struct {
	Kind Kind
	Name string // last part of the key; empty in lists
	Key  Range  // place of Name, with its quotes if it has some
	At   Range  // of the value; of the header for a table that has one, else Key
	Kids []*Node
	// Value is the scalar; nil for other kinds and for a value that the text
	// spells rightly but that does not exist (a 31st of February).
	Value any
	// Partial says that something in this table could not be read, so that a
	// key which seems absent may be there.
	Partial bool

	byName map[string]*Node
	origin origin
}

// origin says which form of writing made a table; TOML lets each be extended
// in its own way only.
type origin uint8

const (
	fromPath   origin = iota // on the way to a longer header
	fromHeader               // by its own header
	fromDots                 // by a dotted key
)

// Child returns the node of that name in a table, or nil.
func (n *Node) Child(name string) *Node {
	if n == nil {
		return nil
	}
	if n.byName != nil {
		return n.byName[name]
	}
	for _, k := range n.Kids {
		if k.Name == name {
			return k
		}
	}
	return nil
}

// indexFrom is the size from which a table looks names up in a map.
const indexFrom = 12

func (n *Node) add(kid *Node) {
	n.Kids = append(n.Kids, kid)
	if n.Kind != KindTable && n.Kind != KindInline {
		return
	}
	switch {
	case n.byName != nil:
		n.byName[kid.Name] = kid
	case len(n.Kids) == indexFrom:
		n.byName = make(map[string]*Node, 2*indexFrom)
		for _, k := range n.Kids {
			n.byName[k.Name] = k
		}
	}
}

// Find follows names from a table down; in a list of tables it takes the last
// one, as TOML does. It returns nil where there is nothing.
func (n *Node) Find(path ...string) *Node {
	for _, name := range path {
		if n != nil && n.Kind == KindTables && len(n.Kids) > 0 {
			n = n.Kids[len(n.Kids)-1]
		}
		n = n.Child(name)
	}
	return n
}

// StatementKind says what a Statement is.
type StatementKind uint8

// The kinds of statements.
const (
	StatementKey    StatementKind = iota // key = value
	StatementTable                       // [name]
	StatementTables                      // [[name]]
	StatementBroken                      // a line of which not even a key could be saved
)

// Statement is a header or a key with its value.
type Statement struct {
	Kind   StatementKind
	At     Range     // from its first to its last character, comment left out
	Keys   []KeyPart // the parts of the dotted key
	Value  Range     // of the value; empty at the place where it would be if there is none
	Path   []string  // names from the root, those of the header included
	Node   *Node     // the value, or the table that a header opens; nil if nothing could be saved
	Parent *Node     // the table that the header in force opened; for a header the root
	Broken bool      // the statement has a syntax error
}

// KeyPart is one part of a dotted key.
type KeyPart struct {
	Name string
	At   Range
}
