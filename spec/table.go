package spec

import (
	"slices"
	"sync"
)

// This file makes the table of keys searchable: the entries of keys.go, plus
// one for every limit in every table that holds limits, plus one for every
// check under [levels].

// entry is a node of the language's own tree.
type entry struct {
	info *KeyInfo
	kids []*entry // in the order of writing
	name map[string]*entry
	star *entry // the kid whose name the user chooses
}

func (e *entry) child(name string) *entry {
	if e == nil {
		return nil
	}
	if k := e.name[name]; k != nil {
		return k
	}
	return e.star
}

func (e *entry) add(info *KeyInfo) {
	for i, name := range info.Path {
		next := e.name[name]
		if name == "*" {
			next = e.star
		}
		if next == nil {
			if i != len(info.Path)-1 {
				panic("spec: the table above " + dotted(info.Path) + " is not described")
			}
			next = &entry{info: info, name: map[string]*entry{}}
			e.kids = append(e.kids, next)
			if name == "*" {
				e.star = next
			} else {
				e.name[name] = next
			}
		}
		e = next
	}
}

// names returns the names that may stand under the entry.
func (e *entry) names() []string {
	var list []string
	for _, k := range e.kids {
		if k != e.star {
			list = append(list, k.info.Name())
		}
	}
	return list
}

// tables hold the tree and the list of one file.
type tables struct {
	root *entry
	list []KeyInfo
}

// languages are made when first asked for: they take milliseconds, which a
// program that only prints its version need not spend.
var languages = [...]func() *tables{
	PartFile: sync.OnceValue(func() *tables { return makeLanguage(PartFile) }),
	ShopFile: sync.OnceValue(func() *tables { return makeLanguage(ShopFile) }),
}

// language returns what the language of a file knows.
func language(kind FileKind) *tables { return languages[kind]() }

func makeLanguage(kind FileKind) *tables {
	l := &tables{}
	if kind == PartFile {
		l.list = expand(partKeys, "limits")
	} else {
		l.list = expand(shopKeys, "limits.*", "limits.*.material.*", "limits.*.machine.*")
	}
	l.root = &entry{info: &KeyInfo{Type: TypeTable, Doc: "The " + kind.String() + "."}, name: map[string]*entry{}}
	for i := range l.list {
		l.root.add(&l.list[i])
	}
	return l
}

// expand adds the limits behind each of the tables named, and the checks
// behind [levels].
func expand(keys []KeyInfo, limitTables ...string) []KeyInfo {
	var all []KeyInfo
	for _, k := range keys {
		all = append(all, k)
		path := dottedPlain(k.Path)
		if slices.Contains(limitTables, path) {
			all = append(all, limitKeys(k.Path)...)
		}
		if path == "levels" {
			for _, c := range Checks {
				all = append(all, KeyInfo{
					Path: []string{"levels", c.Value}, Type: TypeText, Values: Levels, Default: "the built-in level",
					Doc: "The level of `" + c.Value + "` (" + c.Doc + ").", Example: c.Value + ` = "note"`,
				})
			}
		}
	}
	return all
}

func limitKeys(table []string) []KeyInfo {
	var all []KeyInfo
	under := func(names ...string) []string { return append(slices.Clone(table), names...) }
	last := ""
	for i := range Limits {
		l := &Limits[i]
		group, name := l.Check(), l.Name[len(l.Check())+1:]
		if group != last {
			all = append(all, KeyInfo{Path: under(group), Type: TypeTable, Doc: "The limits of the check `" + group + "`.", Example: exampleOfLimit(l)})
			last = group
		}
		all = append(all,
			KeyInfo{Path: under(group, name), Type: TypeLimit, Dim: l.Dim, Unit: l.Unit, Limit: l, Holds: atLeast(0), Doc: l.Doc, Example: exampleOfLimit(l)},
			KeyInfo{Path: under(group, name, "value"), Type: TypeLimit, Dim: l.Dim, Unit: l.Unit, Limit: l, Holds: atLeast(0), Required: true, Doc: l.Doc,
				Example: "value = " + l.Example},
			KeyInfo{Path: under(group, name, "source"), Type: TypeText, Doc: "Where the value comes from: a test of the shop, a standard, a paper. It is shown with every finding.",
				Example: `source = "test comb, bay 2"`})
	}
	return all
}

func exampleOfLimit(l *LimitInfo) string { return l.Name + " = " + l.Example }

func dottedPlain(path []string) string {
	s := ""
	for i, p := range path {
		if i > 0 {
			s += "."
		}
		s += p
	}
	return s
}

// Keys returns everything that the language of a file knows, tables before
// their keys, in the order of writing.
func Keys(kind FileKind) []KeyInfo { return language(kind).list }

// Lookup returns what is known about a path, or nil. Names that the user
// chooses match "*".
func Lookup(kind FileKind, path ...string) *KeyInfo {
	if e := find(kind, path); e != nil {
		return e.info
	}
	return nil
}

func find(kind FileKind, path []string) *entry {
	e := language(kind).root
	for _, name := range path {
		if e = e.child(name); e == nil {
			return nil
		}
	}
	return e
}

// KeysUnder returns what may stand in the table of that path, in the order of
// writing; nil if there is no such table. The empty path is the whole file.
func KeysUnder(kind FileKind, path ...string) []*KeyInfo {
	e := find(kind, path)
	if e == nil {
		return nil
	}
	var list []*KeyInfo
	for _, k := range e.kids {
		list = append(list, k.info)
	}
	return list
}

// longestPath returns the number of parts of the longest key of both files.
func longestPath() int {
	longest := 0
	for _, l := range languages {
		for _, k := range l().list {
			longest = max(longest, len(k.Path))
		}
	}
	return longest
}
