package lsp

import (
	"corbel/rules"
	"corbel/spec"
)

// parsed is an open text as the language understands it.
type parsed struct {
	*spec.Doc
	part *spec.Part // nil for a shop file
	shop *spec.Shop // nil for a part spec
}

// parse understands a text as far as it can; nil for files that are not ours.
func parse(path string, kind kind, text []byte) *parsed {
	switch kind {
	case partFile:
		part, _ := spec.ParsePart(path, text)
		return &parsed{part.Doc, part, nil}
	case shopFile:
		shop, _ := spec.ParseShop(path, text)
		return &parsed{shop.Doc, nil, shop}
	}
	return nil
}

// textAt returns the text that a place is on, an entry of a list included.
func textAt(place spec.Place) (string, bool) {
	n := place.Node
	if n != nil && n.Kind == spec.KindArray && place.Entry >= 0 && place.Entry < len(n.Kids) {
		n = n.Kids[place.Entry]
	}
	if n == nil || place.Where != spec.OnValue {
		return "", false
	}
	text, ok := n.Value.(string)
	return text, ok
}

// textOf returns the bytes of a range as they are written.
func (p *parsed) textOf(r spec.Range) string { return string(p.Text[r.Start:r.End]) }

// world is what the rules know about the place of a text among the files: the
// shop in force and, for a part, its limits, findings and measurements.
type world struct {
	shop   *rules.Shop
	limits *rules.Limits     // nil for a shop file
	report *rules.PartReport // nil for a shop file, and where the text has changed since
	found  []rules.Finding   // likewise
}

// The names of what a machine or a material is declared in.
const (
	machineTable  = "machine"
	materialTable = "material"
)

// declaration is a [[machine]] or [[material]] of a shop file.
type declaration struct {
	file *spec.Shop
	at   spec.Range // of the header
	name spec.Range // of the name's value
	body spec.Range // from the header to the last value
}

// declarations finds every entry of a name, the strongest file first.
func declarations(shop *rules.Shop, table, name string) []declaration {
	var out []declaration
	for i := len(shop.Chain) - 1; i >= 0; i-- {
		out = append(out, declarationsIn(shop.Chain[i], table, name)...)
	}
	return out
}

// declarationsIn finds the entries of a name in one file; all for an empty name.
func declarationsIn(file *spec.Shop, table, name string) []declaration {
	var out []declaration
	list := file.Doc.Root.Child(table)
	if list == nil || list.Kind != spec.KindTables {
		return nil
	}
	for _, entry := range list.Kids {
		label := entry.Child("name")
		if label == nil || label.Kind != spec.KindString || name != "" && label.Value != name {
			continue
		}
		d := declaration{file: file, at: entry.At, name: label.At, body: entry.At}
		for _, kid := range entry.Kids {
			d.body.End = max(d.body.End, kid.At.End)
		}
		out = append(out, d)
	}
	return out
}

// text returns a declaration as it is written.
func (d declaration) text() string { return string(d.file.Doc.Text[d.body.Start:d.body.End]) }

// where says in which file and line it stands, for people.
func (d declaration) where() string { return placeName(d.file.File, d.file.Doc.LineOf(d.at.Start)) }
