package spec

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// This file checks the shape of a text against the table of keys: what is
// unknown, missing or a table where a value belongs. The values themselves are
// read in values.go.

// decoder turns the tree of a text into typed values.
type decoder struct {
	doc      *Doc
	problems *problemList
	asked    map[*KeyInfo]bool // what was read, for the test that nothing is forgotten
}

// scope is a table of the text beside its entry in the language. The node may
// be nil: everything in it is then absent.
type scope struct {
	d    *decoder
	node *Node
	e    *entry
	path []string // with the names that the user chose
}

func (d *decoder) root() scope { return scope{d, d.doc.Root, language(d.doc.File).root, nil} }

// under returns the path of something in the scope.
func (s scope) under(name string) []string { return append(slices.Clone(s.path), name) }

// sub returns a table in the scope.
func (s scope) sub(name string) scope {
	e := s.e.child(name)
	s.d.ask(e)
	n := s.node.Child(name)
	if n != nil && n.Kind != KindTable && n.Kind != KindInline {
		n = nil
	}
	return scope{s.d, n, e, s.under(name)}
}

// each returns the tables of a list of tables.
func (s scope) each(name string) []scope {
	e := s.e.child(name)
	s.d.ask(e)
	n := s.node.Child(name)
	switch {
	case n == nil:
		return nil
	case n.Kind == KindTable: // [hole] for [[hole]], which check reports
		return []scope{{s.d, n, e, s.under(name)}}
	case n.Kind != KindTables && n.Kind != KindArray:
		return nil
	}
	var list []scope
	for _, k := range n.Kids {
		if k.Kind == KindTable || k.Kind == KindInline {
			list = append(list, scope{s.d, k, e, s.under(name)})
		}
	}
	return list
}

func (d *decoder) ask(e *entry) {
	if d.asked != nil && e != nil {
		d.asked[e.info] = true
	}
}

// at returns the place of the table's header, or nothing.
func (s scope) at() Range {
	if s.node == nil {
		return Range{}
	}
	return s.node.At
}

func (d *decoder) problem(level string, at Range, key, message, help string, fixes ...Fix) {
	d.problems.add(Problem{At: at, Key: key, Message: message, Help: help, Level: level, Fixes: fixes})
}

// check compares a table with its entry: unknown keys, tables of the wrong
// kind, keys that are missing. path is the table's own, with the names that the
// user chose.
func (d *decoder) check(n *Node, e *entry, path []string) {
	var meant []string // names that unknown keys probably stand for
	for _, kid := range n.Kids {
		here := append(slices.Clone(path), kid.Name)
		known := e.child(kid.Name)
		switch {
		case known == nil:
			if kid.Kind != KindBroken && !kid.Partial {
				meant = append(meant, d.unknown(kid, e, here))
			}
		case known.info.IsTable():
			d.checkTable(kid, known, here)
		case kid.Kind == KindTable && known.info.Type == TypeLimit:
			d.check(kid, known, here)
		case kid.Kind == KindTable || kid.Kind == KindTables:
			d.problem("error", kid.At, dotted(here),
				fmt.Sprintf("%q is a table where %s belongs.", short(dotted(here)), expected(known.info)), "Write "+known.info.Example+".")
		}
	}
	if !n.Partial {
		d.missing(n, e, path, meant)
	}
}

func (d *decoder) checkTable(n *Node, e *entry, path []string) {
	if e.info.Name() == "*" && len(e.info.Values) > 0 && !n.Partial && !d.checkName(n, e, path) {
		return
	}
	name := dotted(path)
	switch want := e.info.Type; {
	case n.Kind == KindBroken:
	case want == TypeTables && (n.Kind == KindTables || n.Kind == KindArray && allTables(n)):
		for _, kid := range n.Kids {
			d.check(kid, e, path)
		}
	case want != TypeTables && (n.Kind == KindTable || n.Kind == KindInline):
		d.check(n, e, path)
	case want == TypeTables && n.Kind == KindTable:
		d.problem("error", n.At, name, fmt.Sprintf("%q is a list, so each of its headers has two pairs of brackets.", short(name)),
			fmt.Sprintf("Write [[%s]].", short(name)), d.rebracket(n, "[["+name+"]]")...)
	case want != TypeTables && n.Kind == KindTables:
		d.problem("error", n.At, name, fmt.Sprintf("There is only one table %q, so its header has one pair of brackets.", short(name)),
			fmt.Sprintf("Write [%s].", short(name)), d.rebracket(n, "["+name+"]")...)
	default:
		d.problem("error", n.At, name, fmt.Sprintf("%q is %s where a table belongs.", short(name), found(n)), "Write "+e.info.Example+".")
	}
}

func allTables(n *Node) bool {
	return !slices.ContainsFunc(n.Kids, func(k *Node) bool { return k.Kind != KindInline })
}

func (d *decoder) rebracket(n *Node, header string) []Fix {
	if d.doc.Text[n.At.Start] != '[' {
		return nil
	}
	return []Fix{{"Write " + header, n.At, header}}
}

// checkName judges the name of a table that the user chose from a list. It
// returns false where nothing in the table can be judged.
func (d *decoder) checkName(n *Node, e *entry, path []string) bool {
	names := values(e.info.Values)
	if slices.Contains(names, n.Name) {
		return true
	}
	what := "name"
	if e.info.Ref == RefProcess {
		what = "process"
	}
	p := Problem{At: n.Key, Key: dotted(path), Level: "error", Message: fmt.Sprintf("%q is no %s that is known.", short(n.Name), what)}
	if near := nearest(n.Name, names); near != "" {
		p.Help = fmt.Sprintf("Did you mean %q?", near)
		p.Fixes = []Fix{{"Write " + quoteKey(near), n.Key, quoteKey(near)}}
	} else if limitGroup(n.Name) {
		p.Message = fmt.Sprintf("The limit %q stands under no process.", short(n.Name))
		p.Help = `Limits of a shop file stand under a process: [limits."PBF-LB/M"].`
	} else {
		p.Help = "Known are " + quotedList(names, "and") + "."
	}
	d.problems.add(p)
	return !limitGroup(n.Name)
}

func limitGroup(name string) bool {
	return slices.ContainsFunc(Limits, func(l LimitInfo) bool { return l.Check() == name })
}

// unknown reports a key that the language does not have, and returns the name
// that was probably meant, or "".
func (d *decoder) unknown(n *Node, e *entry, path []string) string {
	p := Problem{At: n.Key, Key: dotted(path), Level: "error"}
	if d.problems.full() {
		d.problems.add(p)
		return ""
	}
	p.Message = fmt.Sprintf("%q is no key of %s.", short(n.Name), d.placeName(e, path[:len(path)-1]))
	names := e.names()
	near := nearest(n.Name, names)
	switch home := d.homeOf(n.Name, e); {
	case splits(e, n.Name):
		p.Help = "Write the key without quotes: " + n.Name + "."
		p.Fixes = []Fix{{"Take the quotes off", n.Key, n.Name}}
	case near != "":
		p.Help = fmt.Sprintf("Did you mean %q?", near)
		p.Fixes = []Fix{{fmt.Sprintf("Write %q", near), n.Key, near}}
	case home != "":
		p.Help = home
	case len(names) > 0:
		p.Help = "Keys that may stand here are " + listOf(names, "and") + "."
	default:
		p.Help = "Delete it."
	}
	d.problems.add(p)
	return near
}

// splits says that a quoted name with dots would be known without its quotes.
func splits(e *entry, name string) bool {
	if !strings.Contains(name, ".") {
		return false
	}
	for _, part := range strings.Split(name, ".") {
		if e = e.child(part); e == nil || e.info.Name() == "*" {
			return false
		}
	}
	return true
}

// placeName names a table for a message.
func (d *decoder) placeName(e *entry, path []string) string {
	switch {
	case len(path) == 0:
		return "the " + d.doc.File.String()
	case e.info.Type == TypeTables:
		return "[[" + short(dotted(path)) + "]]"
	case e.info.Type == TypeInline || e.info.Type == TypeLimit:
		return short(dotted(path))
	}
	return "[" + short(dotted(path)) + "]"
}

// homeOf says where a key of that name belongs, if it is known in one other
// place only.
func (d *decoder) homeOf(name string, not *entry) string {
	if strings.Contains(name, "*") {
		return ""
	}
	var homes []*KeyInfo
	for i := range language(d.doc.File).list {
		k := &language(d.doc.File).list[i]
		if k.Name() == name && len(k.Path) <= 2 {
			homes = append(homes, k)
		}
	}
	if len(homes) != 1 || not == language(d.doc.File).root.child(name) {
		return ""
	}
	switch k := homes[0]; {
	case k.IsTable():
		return "It is a table of its own: " + k.Example + "."
	case len(k.Path) == 1:
		return fmt.Sprintf("%q stands at the top of the file, before the first table header.", name)
	default:
		table := language(d.doc.File).root.child(k.Path[0])
		return fmt.Sprintf("%q belongs into %s.", name, d.placeName(table, k.Path[:1]))
	}
}

// missing reports the required keys that a table lacks, except those that an
// unknown key was taken for.
func (d *decoder) missing(n *Node, e *entry, path, meant []string) {
	if n == d.doc.Root && len(n.Kids) == 0 {
		if !d.doc.Partial && len(d.problems.list) == 0 {
			d.empty()
		}
		return
	}
	if n == d.doc.Root && d.doc.Partial && !slices.ContainsFunc(n.Kids, func(kid *Node) bool { return e.child(kid.Name) != nil }) {
		return // a broken text that says nothing of ours lacks more than a list of keys can tell
	}
	for _, k := range e.kids {
		if !k.info.Required || n.Child(k.info.Name()) != nil || slices.Contains(meant, k.info.Name()) {
			continue
		}
		if d.problems.full() {
			d.problems.add(Problem{})
			continue
		}
		name := k.info.Name()
		full := dotted(append(slices.Clone(path), name))
		p := Problem{At: n.At, Key: full, Level: "error"}
		if n == d.doc.Root {
			p.At = d.doc.LineRange(1)
		}
		if k.info.IsTable() && k.info.Type != TypeInline {
			name = k.info.Example
		} else {
			name = strconv.Quote(name)
		}
		p.Message = fmt.Sprintf("%s lacks %s.", capital(d.placeName(e, path)), name)
		p.Help = "Write " + k.info.Example + "."
		p.Fixes = d.insert(n, k)
		d.problems.add(p)
	}
}

// insert offers to write a missing key with its example value.
func (d *decoder) insert(n *Node, k *entry) []Fix {
	title := "Add " + k.info.Example
	switch {
	case k.info.IsTable() && k.info.Type != TypeInline:
		text := "\n" + k.info.Example + "\n"
		for _, kid := range k.kids {
			if kid.info.Required {
				text += kid.info.Example + "\n"
			}
		}
		end := len(d.doc.Text)
		if end > 0 && d.doc.Text[end-1] != '\n' {
			text = "\n" + text
		}
		return []Fix{{"Add " + k.info.Example, Range{end, end}, text}}
	case n.Kind == KindInline:
		start := n.At.Start + 1
		text := " " + k.info.Example + ","
		if len(n.Kids) == 0 {
			text = " " + k.info.Example + " "
		}
		return []Fix{{title, Range{start, start}, text}}
	case n == d.doc.Root:
		return []Fix{{title, d.topInsert(), k.info.Example + "\n"}}
	case d.doc.Text[n.At.Start] == '[':
		end := d.doc.LineRange(d.doc.LineOf(n.At.End)).End
		return []Fix{{title, Range{end, end}, "\n" + k.info.Example}}
	}
	return nil
}

// topInsert is the start of the first line that holds a key or header, behind
// the opening comment.
func (d *decoder) topInsert() Range {
	start := d.doc.LineRange(1).Start
	if len(d.doc.Statements) > 0 {
		start = d.doc.LineRange(d.doc.LineOf(d.doc.Statements[0].At.Start)).Start
	}
	return Range{start, start}
}

// empty reports a file in which there is nothing.
func (d *decoder) empty() {
	var keys []string
	text := ""
	for _, k := range language(d.doc.File).root.kids {
		if !k.info.Required {
			continue
		}
		keys = append(keys, k.info.Name())
		if k.info.IsTable() {
			text += "\n"
		}
		text += k.info.Example + "\n"
		for _, kid := range k.kids {
			if kid.info.Required {
				text += kid.info.Example + "\n"
			}
		}
	}
	at := d.doc.LineRange(1)
	d.problem("error", at, "", "The "+d.doc.File.String()+" is empty.", "It needs at least "+listOf(keys, "and")+".",
		Fix{"Start a " + d.doc.File.String(), Range{at.Start, at.Start}, text})
}
