package lsp

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"go.lsp.dev/protocol"

	"corbel/mesh"
	"corbel/rules"
	"corbel/spec"
)

// This file offers what may be written at a place: keys and table headers where
// a key stands, values where a value does. It works inside half-typed lines,
// since the places of package spec do.

// offer is one thing that may be written.
type offer struct {
	label  string
	insert string     // what is written
	stops  string     // the same as a snippet with places to fill in; empty where there are none
	filter string     // what the typed word is compared with; empty is the label
	at     spec.Range // what is replaced; on one line, around the place
	kind   protocol.CompletionItemKind
	detail string
	doc    string
}

// completer collects offers.
type completer struct {
	*parsed
	kind   spec.FileKind
	folder string
	place  spec.Place
	offset int
	world  *world
	today  time.Time
	out    []offer
	more   bool // offers depend on every character: the editor is to ask again
}

func (s *session) complete(ctx context.Context, snap *snapshot, p *protocol.CompletionParams) (*protocol.CompletionList, error) {
	doc, offset, err := snap.at(p.TextDocument.URI, p.Position)
	if doc == nil {
		return nil, err
	}
	c := completer{
		parsed: doc.parse(),
		kind:   spec.PartFile,
		folder: filepath.Dir(doc.path),
		offset: offset,
		world:  s.world(ctx, doc),
		today:  s.clock(),
	}
	if doc.kind == shopFile {
		c.kind = spec.ShopFile
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	c.place = c.KeyAt(offset)
	switch c.place.Where {
	case spec.OnBlank:
		if c.place.Statement == nil {
			c.keys(c.place.Path, c.place.Word)
			if c.lastOnLine(c.place.Word) {
				c.headers(c.place.Word)
			}
		}
	case spec.OnHeader:
		c.headers(c.place.Statement.At)
	case spec.OnKey:
		c.onKey()
	case spec.OnValue:
		c.values()
	}
	return c.list(doc, snap.client), nil
}

// list turns the offers into the protocol's words, in their order.
func (c *completer) list(doc *document, cl client) *protocol.CompletionList {
	list := &protocol.CompletionList{IsIncomplete: c.more, Items: []protocol.CompletionItem{}}
	for i, o := range c.out {
		at := doc.lines().rangeOf(o.at, doc.unit)
		if at.Start.Line != at.End.Line || c.offset < o.at.Start || c.offset > o.at.End {
			continue // no editor takes such an edit
		}
		item := protocol.CompletionItem{
			Label:    o.label,
			Kind:     o.kind,
			SortText: protocol.NewOptional(fmt.Sprintf("%04d", i)),
			TextEdit: &protocol.TextEdit{Range: at, NewText: o.insert},
		}
		if o.filter != "" {
			item.FilterText = protocol.NewOptional(o.filter)
		}
		if o.detail != "" {
			item.Detail = protocol.NewOptional(o.detail)
		}
		if o.doc != "" {
			item.Documentation = documentation(o.doc, cl.markdownItems)
		}
		if o.stops != "" && cl.snippets {
			item.TextEdit = &protocol.TextEdit{Range: at, NewText: o.stops}
			item.InsertTextFormat = protocol.InsertTextFormatSnippet
		}
		list.Items = append(list.Items, item)
	}
	return list
}

func documentation(text string, markdown bool) *protocol.MarkupContent {
	var p page
	p.say("%s", text)
	return p.contents(markdown)
}

func (c *completer) add(o offer) { c.out = append(c.out, o) }

// onKey offers keys where one is being written.
func (c *completer) onKey() {
	place, word := c.place, c.place.Word
	dot := word.Start > 0 && c.Text[word.Start-1] == '.'
	inline := c.offset > place.Statement.Value.Start && place.Statement.Value.End > place.Statement.Value.Start
	whole := place.Key.Start <= c.offset && c.offset <= place.Key.End
	path := place.Path
	switch {
	case word.Start == word.End && !dot && (c.assigned(word) || !inline && len(place.Statement.Keys) > 0):
		return // between a key and its equals sign
	case inline && !whole:
		// the path is the inline table's
	case word.Start == word.End && dot:
		// the path is that of the key that goes on
	default:
		path = path[:max(0, len(path)-1)]
	}
	c.keys(path, word)
	if !dot && !inline && c.lastOnLine(word) {
		c.headers(word)
	}
}

// lastOnLine reports whether nothing but blanks follows a word on its line.
func (c *completer) lastOnLine(word spec.Range) bool {
	end := c.LineRange(c.LineOf(word.End)).End
	return len(bytes.TrimSpace(c.Text[word.End:max(word.End, end)])) == 0
}

// keys offers the keys that may stand in a table and do not yet.
func (c *completer) keys(path []string, word spec.Range) {
	table := c.Root.Find(path...)
	if c.place.Where == spec.OnBlank {
		table = c.place.Node
	}
	assigned := c.assigned(word)
	for _, info := range spec.KeysUnder(c.kind, path...) {
		name := info.Name()
		if name == "*" {
			continue
		}
		there := table != nil && table.Child(name) != nil && table.Child(name).Key != word
		switch {
		case !info.IsTable() || info.Type == spec.TypeInline:
			if !there {
				c.key(name, info, word, assigned)
			}
		case len(path) > 0:
			c.dotted(name, info, table, word, assigned)
		}
	}
}

// dotted offers the limits of a check, which are written as one dotted key.
func (c *completer) dotted(name string, table *spec.KeyInfo, parent *spec.Node, word spec.Range, assigned bool) {
	for _, info := range spec.KeysUnder(c.kind, table.Path...) {
		if info.Limit == nil {
			return
		}
		if parent != nil && parent.Find(name, info.Name()) != nil {
			continue
		}
		c.key(name+"."+info.Name(), info, word, assigned)
	}
}

// assigned reports whether an equals sign follows a word already.
func (c *completer) assigned(word spec.Range) bool {
	rest := c.Text[word.End:]
	return strings.HasPrefix(strings.TrimLeft(string(rest[:min(len(rest), 40)]), " \t"), "=")
}

// key offers one key, with its usual value to overwrite.
func (c *completer) key(name string, info *spec.KeyInfo, word spec.Range, assigned bool) {
	o := offer{label: name, insert: bareOrQuoted(name), at: word, kind: protocol.CompletionItemKindProperty, doc: info.Doc}
	if !assigned {
		_, example, _ := strings.Cut(info.Example, " = ")
		if info.Limit != nil {
			example = info.Limit.Example
		}
		o.insert, o.stops = name+" = ", name+" = "+snippetOf(example, 1)
	}
	o.detail = typeNames[info.Type]
	if info.Dim != spec.None {
		o.detail = info.Dim.String()
	}
	if info.Required {
		o.detail += ", required"
	}
	c.add(o)
}

// bareOrQuoted writes a key; dotted ones are offered as they are.
func bareOrQuoted(name string) string {
	if bareKey.MatchString(name) {
		return name
	}
	return spec.Quote(name)
}

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_.-]+$`)

// snippetOf makes a value of the language a place to fill in, its quotes and
// brackets left outside.
func snippetOf(value string, number int) string {
	escape := strings.NewReplacer(`\`, `\\`, `$`, `\$`, `}`, `\}`).Replace
	if n := len(value); n >= 2 && (value[0] == '"' && value[n-1] == '"' || value[0] == '[' && value[n-1] == ']') {
		return fmt.Sprintf("%c${%d:%s}%c", value[0], number, escape(value[1:n-1]), value[n-1])
	}
	return fmt.Sprintf("${%d:%s}", number, escape(value))
}

// headers offers table headers: those of the language, and in a shop file those
// of its processes, materials and machines.
func (c *completer) headers(at spec.Range) {
	for _, info := range spec.KeysUnder(c.kind) {
		there := c.Root.Child(info.Name()) != nil && c.place.Where != spec.OnHeader
		switch {
		case info.Type == spec.TypeTables:
			c.header("[["+info.Name()+"]]", info, at)
		case info.Type == spec.TypeTable && c.kind == spec.ShopFile && info.Name() == "limits":
			c.limitHeaders(info, at)
		case info.Type == spec.TypeTable && !there:
			c.header("["+info.Name()+"]", info, at)
		}
	}
}

// header offers one header, with the keys that its table must have.
func (c *completer) header(label string, info *spec.KeyInfo, at spec.Range) {
	o := offer{label: label, insert: label, at: at, kind: protocol.CompletionItemKindModule, detail: typeNames[info.Type], doc: info.Doc}
	stops := label
	n := 0
	for _, key := range spec.KeysUnder(c.kind, info.Path...) {
		if key.Required && !key.IsTable() {
			n++
			_, example, _ := strings.Cut(key.Example, " = ")
			stops += "\n" + key.Name() + " = " + snippetOf(example, n)
		}
	}
	if n > 0 {
		o.stops = stops
	}
	c.add(o)
}

// limitHeaders offers the tables of limits that the shop's names allow.
func (c *completer) limitHeaders(info *spec.KeyInfo, at spec.Range) {
	for _, process := range spec.Processes {
		base := "limits." + bareOrQuoted(process.Value)
		if strings.Contains(process.Value, "/") {
			base = "limits." + spec.Quote(process.Value)
		}
		c.header("["+base+"]", info, at)
		if c.place.Where != spec.OnHeader {
			continue
		}
		for _, name := range c.world.shop.Materials() {
			c.header("["+base+".material."+bareName(name)+"]", spec.Lookup(c.kind, "limits", "*", "material", "*"), at)
		}
		for _, m := range c.world.shop.Machines() {
			if m.Process.V == process.Value {
				c.header("["+base+".machine."+bareName(m.Name.V)+"]", spec.Lookup(c.kind, "limits", "*", "machine", "*"), at)
			}
		}
	}
}

// bareName writes one part of a key.
func bareName(name string) string {
	if strings.Contains(name, ".") {
		return spec.Quote(name)
	}
	return bareOrQuoted(name)
}

// values offers what a key may hold.
func (c *completer) values() {
	place, info := c.place, c.place.Info
	if info == nil {
		return
	}
	if v := place.Value; !place.InText && place.Entry < 0 && v.End > v.Start && (c.offset < v.Start || v.End < c.offset) {
		return // beside a value that is there
	}
	switch {
	case info.Type == spec.TypePosition:
		c.positions(info)
		return
	case place.Entry >= 0 && info.Type != spec.TypeTexts:
		return
	case info.Type == spec.TypeBoolean:
		c.bare("true", "")
		c.bare("false", "")
	case info.Type == spec.TypeDate:
		c.dates()
	case info.Type == spec.TypeInteger && info.Holds != nil && info.Holds.Low == info.Holds.High:
		c.bare(spec.FormatNumber(info.Holds.Low), info.Doc)
	case info.Dim != spec.None:
		c.quantities(info)
	}
	c.named(info)
	for _, choice := range slices.Concat(info.Values, info.Known) {
		c.text(choice.Value, choice.Doc, protocol.CompletionItemKindEnumMember)
	}
}

// named offers what a value may name.
func (c *completer) named(info *spec.KeyInfo) {
	shop := c.world.shop
	switch info.Ref {
	case spec.RefMachine:
		for _, m := range shop.Machines() {
			if c.part == nil || !c.part.Process.Set || m.Process.V == c.part.Process.V {
				c.text(m.Name.V, m.Process.V, protocol.CompletionItemKindReference)
			}
		}
	case spec.RefMaterial:
		machine, known := shop.Machine(c.machineName())
		for _, fits := range []bool{true, false} { // those that the machine runs come first
			for _, name := range shop.Materials() {
				if runs := !known || machine.Takes(name); runs == fits {
					doc := ""
					if !runs {
						doc = "Not run by machine " + inCode(machine.Name.V) + "."
					}
					c.text(name, doc, protocol.CompletionItemKindReference)
				}
			}
		}
	case spec.RefMeshFile:
		c.files(meshFile)
	case spec.RefShopFile:
		c.files(tomlFile)
	}
}

func (c *completer) machineName() string {
	if c.part == nil {
		return ""
	}
	return c.part.Machine.V
}

var (
	meshFile = regexp.MustCompile(`(?i)\.(stl|3mf|obj|ply)$`)
	tomlFile = regexp.MustCompile(`^(.*\.)?shop\.toml$|^[^.]+\.toml$`)
)

// filesMax bounds how many files of a folder are offered.
const filesMax = 200

// files offers the files and folders beside the text, or below what is typed.
func (c *completer) files(wanted *regexp.Regexp) {
	typed := ""
	if c.place.InText {
		typed = string(c.Text[c.place.Word.Start:c.offset])
	}
	below := typed[:strings.LastIndexByte(typed, '/')+1]
	entries, err := os.ReadDir(filepath.Join(c.folder, filepath.FromSlash(below)))
	if err != nil {
		return
	}
	c.more = true // another folder lies behind each slash
	for _, e := range entries[:min(len(entries), filesMax)] {
		switch name := e.Name(); {
		case e.IsDir() && !strings.HasPrefix(name, "."):
			c.text(below+name+"/", "", protocol.CompletionItemKindFolder)
		case !e.IsDir() && wanted.MatchString(name):
			c.text(below+name, "", protocol.CompletionItemKindFile)
		}
	}
}

// text offers a text, with quotes where none are typed. A text that the list
// holds already is left out.
func (c *completer) text(value, doc string, kind protocol.CompletionItemKind) {
	quoted := spec.Quote(value)
	o := offer{label: value, insert: quoted, filter: value, at: c.wordOrValue(), kind: kind, doc: doc}
	if c.place.Entry >= 0 && c.listed(value) {
		return
	}
	if c.place.Entry >= 0 && !c.place.InText {
		o.insert = c.amongEntries(o.insert, o.at)
	}
	if c.place.InText {
		word := c.place.Word
		open := word.End >= len(c.Text) || word.Start == 0 || c.Text[word.End] != c.Text[word.Start-1]
		o.insert, o.at = quoted[1:len(quoted)-1], word
		if word.Start > 0 && c.Text[word.Start-1] == '\'' {
			o.insert = value
		}
		if open && word.Start > 0 {
			o.insert += string(c.Text[word.Start-1])
		}
	}
	c.add(o)
}

// amongEntries puts commas between an entry and those that stand beside it.
func (c *completer) amongEntries(entry string, at spec.Range) string {
	quote := func(b byte) bool { return b == '"' || b == '\'' }
	before, after := bytes.TrimRight(c.Text[:at.Start], " \t\r\n"), bytes.TrimLeft(c.Text[at.End:], " \t\r\n")
	if len(before) > 0 && quote(before[len(before)-1]) {
		entry = ", " + entry
	}
	if len(after) > 0 && quote(after[0]) {
		entry += ", "
	}
	return entry
}

// listed reports whether the list at the place holds a text besides the entry
// that is being written. It looks at the text, since a list that is not closed
// has no entries yet.
func (c *completer) listed(value string) bool {
	from := c.place.Statement.Value.Start
	for _, m := range quotedText.FindAllIndex(c.Text[from:max(from, c.place.Statement.Value.End)], -1) {
		start, end := from+m[0], from+m[1]
		if text := string(c.Text[start+1 : end-1]); text == value && (c.offset <= start || c.offset >= end) {
			return true
		}
	}
	return false
}

var quotedText = regexp.MustCompile(`"[^"\n]*"|'[^'\n]*'`)

// bare offers a value without quotes.
func (c *completer) bare(value, doc string) {
	if !c.place.InText {
		c.add(offer{label: value, insert: value, at: c.wordOrValue(), kind: protocol.CompletionItemKindValue, doc: doc})
	}
}

// wordOrValue is what a value replaces: the value that is there, or in a list
// the word.
func (c *completer) wordOrValue() spec.Range {
	v := c.place.Value
	if c.place.Entry < 0 && v.End > v.Start && v.Start <= c.offset && c.offset <= v.End {
		return v
	}
	return c.place.Word
}

// leadingNumber is the number at the start of a quantity.
var leadingNumber = regexp.MustCompile(`^\s*"?\s*([+-]?[0-9]+(?:\.[0-9]*)?)`)

// quantities offers units behind the number that is typed, or else usual values.
func (c *completer) quantities(info *spec.KeyInfo) {
	at := c.wordOrValue()
	if c.place.InText {
		at = c.place.Word
	}
	typed := string(c.Text[at.Start:at.End])
	if m := leadingNumber.FindStringSubmatch(typed); m != nil {
		c.more = true // another digit, another offer
		for _, unit := range info.Dim.Units() {
			c.text(strings.TrimSuffix(m[1], ".")+" "+unit.Name, info.Dim.String(), protocol.CompletionItemKindUnit)
		}
		return
	}
	if info.Limit != nil && c.world.limits != nil {
		if l, ok := c.world.limits.Get(info.Limit.Name); ok && l.Set {
			c.text(l.Q.String(), "In force, from "+l.Origin.Layer+".", protocol.CompletionItemKindValue)
		}
	}
	example := info.Example
	if info.Limit != nil {
		example = info.Limit.Example
	}
	if _, value, ok := strings.Cut(example, "\""); ok {
		c.text(strings.TrimSuffix(value, "\""), "", protocol.CompletionItemKindValue)
	}
}

// dates offers the last day that a waiver may hold, or half a year from now.
func (c *completer) dates() {
	days := c.world.shop.Policy().WaiverDays
	doc := "The last day that the shop's policy allows."
	if days <= 0 {
		days, doc = usualWaiverDays, "Half a year from today."
	}
	c.bare(c.today.AddDate(0, 0, days).Format(time.DateOnly), doc)
}

// usualWaiverDays is how long a waiver is offered where the shop sets no end.
const usualWaiverDays = 182

// holesMax bounds how many places of holes are offered.
const holesMax = 50

// positions offers the places of what the mesh has: holes for a hole, spaces
// for a space, findings for a waiver.
func (c *completer) positions(info *spec.KeyInfo) {
	r := c.world.report
	if r == nil || c.place.Entry > 0 {
		return
	}
	add := func(at mesh.Vec, doc string) {
		text := positionText(r, at)
		if c.place.Entry == 0 {
			text = strings.Trim(text, "[]")
		}
		c.add(offer{label: text, insert: text, at: c.wordOrValue(), kind: protocol.CompletionItemKindValue, doc: doc})
	}
	switch {
	case info.Path[0] == "hole" && r.Measured.Cylinders != nil:
		for i, h := range r.Measured.Cylinders.Holes {
			if i < holesMax {
				add(h.At, fmt.Sprintf("A hole of %.2f mm, %s mm deep.", h.DiameterMM, mm(h.LengthMM)))
			}
		}
	case info.Path[0] == "waiver":
		for _, f := range c.world.found {
			if f.HasPlace {
				add(f.At, f.Message)
			}
		}
	}
}

// positionText writes a place in the mesh's own units, to a hundredth.
func positionText(r *rules.PartReport, at mesh.Vec) string {
	unit := 1.0
	if r.Info != nil && r.Info.Source.UnitMM > 0 {
		unit = r.Info.Source.UnitMM
	}
	var parts [3]string
	for i, v := range at {
		parts[i] = spec.FormatNumber(math.Round(v/unit*100)/100 + 0) // + 0 makes -0 a 0
	}
	return "[" + strings.Join(parts[:], ", ") + "]"
}
