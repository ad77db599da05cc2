package spec

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strings"
)

// This file writes the language down for other programs and for people: as a
// JSON Schema for editors that know TOML but not us, and as the pages of the
// manual. Both come from the table of keys.

// Schema returns the JSON Schema (draft 2020-12) of a file. It says less than
// the decoder knows: rules between keys, such as near and within of a waiver,
// have no place in it.
func Schema(kind FileKind) []byte {
	s := schemaOf(language(kind).root)
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = kind.String()
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic(err) // the table holds nothing that JSON can't
	}
	return append(text, '\n')
}

type schema = map[string]any

// schemaOf returns the schema of an entry and of all that stands under it.
func schemaOf(e *entry) schema {
	s := typeSchema(e)
	if e.info.Doc != "" {
		s["description"] = plainDoc(e.info.Doc)
	}
	return s
}

func typeSchema(e *entry) schema {
	k := e.info
	switch k.Type {
	case TypeTable, TypeInline:
		return tableSchema(e)
	case TypeTables:
		return schema{"type": "array", "items": tableSchema(e)}
	case TypeInteger:
		return bounded(schema{"type": "integer"}, k.Holds)
	case TypeNumber:
		return bounded(schema{"type": "number"}, k.Holds)
	case TypeBoolean:
		return schema{"type": "boolean"}
	case TypeQuantity:
		return quantitySchema(k)
	case TypePosition:
		return vectorSchema()
	case TypeDirection:
		return schema{"anyOf": []any{vectorSchema(), schema{"enum": values(k.Known)}}}
	case TypeDate:
		return schema{"type": "string", "format": "date"}
	case TypeTexts:
		return schema{"type": "array", "items": textSchema(k)}
	case TypeLimit:
		value := quantitySchema(k)
		if len(e.kids) == 0 {
			return value
		}
		return schema{"anyOf": []any{value, tableSchema(e)}}
	}
	return textSchema(k)
}

func tableSchema(e *entry) schema {
	s := schema{"type": "object", "additionalProperties": false}
	properties := schema{}
	var required []string
	for _, kid := range e.kids {
		if kid == e.star {
			s["additionalProperties"] = schemaOf(kid)
			continue
		}
		properties[kid.info.Name()] = schemaOf(kid)
		if kid.info.Required {
			required = append(required, kid.info.Name())
		}
	}
	s["properties"] = properties
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

func textSchema(k *KeyInfo) schema {
	s := schema{"type": "string"}
	if len(k.Values) > 0 {
		s["enum"] = values(k.Values)
	}
	if len(k.Known) > 0 {
		s["examples"] = values(k.Known)
	}
	return s
}

// quantitySchema allows a number in any unit of the dimension; which numbers
// the schema can't say, since they stand in a text.
func quantitySchema(k *KeyInfo) schema {
	if k.Dim == None {
		if k.Limit != nil && k.Limit.Whole {
			return bounded(schema{"type": "integer"}, k.Holds)
		}
		return bounded(schema{"type": "number"}, k.Holds)
	}
	var names []string
	for _, u := range k.Dim.Units() {
		names = append(names, regexp.QuoteMeta(u.Name))
	}
	return schema{
		"type":    "string",
		"pattern": `^[+-]?([0-9]+[.]?[0-9]*|[.][0-9]+)([eE][+-]?[0-9]+)? *(` + strings.Join(names, "|") + `)$`,
	}
}

func vectorSchema() schema {
	return schema{"type": "array", "items": schema{"type": "number"}, "minItems": 3, "maxItems": 3}
}

func bounded(s schema, i *Interval) schema {
	if i == nil {
		return s
	}
	if i.Above {
		s["exclusiveMinimum"] = i.Low
	} else {
		s["minimum"] = i.Low
	}
	if !math.IsInf(i.High, 1) {
		s["maximum"] = i.High
	}
	return s
}

// plainDoc takes the marks off a description.
func plainDoc(doc string) string { return strings.ReplaceAll(doc, "`", "") }

// Takes says in a few words what a key takes: "a length with its unit, more
// than 0 mm", `one of "general" or "flight"`.
func (k *KeyInfo) Takes() string {
	switch {
	case len(k.Values) > choicesShown:
		noun := map[Ref]string{RefCheck: "check", RefLimit: "limit"}[k.Ref]
		if k.Type == TypeTexts {
			return "a list of " + noun + "s"
		}
		return "the name of a " + noun
	case len(k.Values) > 0 && k.Type == TypeTexts:
		return "a list of " + quotedList(values(k.Values), "or")
	case len(k.Values) > 0:
		return quotedList(values(k.Values), "or")
	case k.Type == TypeTolerance:
		return toleranceForms
	case k.Type == TypeDirection:
		return `[x, y, z] or an axis such as "+z"`
	case k.Holds != nil && k.Unit != "":
		return fmt.Sprintf("%s, %s %s", expected(k), k.Holds, k.Unit)
	case k.Holds != nil:
		return fmt.Sprintf("%s, %s", expected(k), k.Holds)
	}
	return expected(k)
}

// Reference returns the manual's page about a file in Markdown: every table
// with its keys, in the order of writing.
func Reference(kind FileKind) string {
	var b strings.Builder
	root := language(kind).root
	fmt.Fprintf(&b, "### At the top of the %s\n\n", kind)
	keyRows(&b, root, "")
	for _, t := range root.kids {
		if t.info.IsTable() {
			referenceTable(&b, kind, t)
		}
	}
	return b.String()
}

func referenceTable(b *strings.Builder, kind FileKind, e *entry) {
	fmt.Fprintf(b, "### `%s`\n\n%s\n\n", header(e.info), e.info.Doc)
	if e.info.Name() != "limits" {
		keyRows(b, e, "")
		return
	}
	for i := range language(kind).list {
		if k := &language(kind).list[i]; k.Path[0] == "limits" && k.Name() == "*" {
			fmt.Fprintf(b, "`%s`: %s\n\n", k.Example, k.Doc)
		}
	}
	limitRows(b)
}

// header is the header of a table as it is written.
func header(k *KeyInfo) string {
	if k.Type == TypeTables {
		return "[[" + dottedPlain(k.Path) + "]]"
	}
	return "[" + dottedPlain(k.Path) + "]"
}

// keyRows writes a table of the keys under an entry, those of inline tables
// behind a dot.
func keyRows(b *strings.Builder, e *entry, prefix string) {
	if prefix == "" {
		b.WriteString("| key | takes | without it | meaning |\n|---|---|---|---|\n")
	}
	for _, kid := range e.kids {
		k := kid.info
		if k.IsTable() && k.Type != TypeInline {
			continue
		}
		without := k.Default
		if k.Required {
			without = "required"
		}
		fmt.Fprintf(b, "| `%s%s` | %s | %s | %s |\n", prefix, k.Name(), cell(k.Takes()), cell(without), cell(k.Doc))
		if k.Type == TypeInline {
			keyRows(b, kid, prefix+k.Name()+".")
		}
	}
	if prefix == "" {
		b.WriteByte('\n')
	}
}

func limitRows(b *strings.Builder) {
	b.WriteString("| limit | tighter | example | meaning |\n|---|---|---|---|\n")
	for i := range Limits {
		l := &Limits[i]
		tighter := map[Tighter]string{Lower: "lower", Higher: "higher"}[l.Tighter]
		fmt.Fprintf(b, "| `%s` | %s | `%s` | %s |\n", l.Name, tighter, l.Example, cell(l.Doc))
	}
	b.WriteByte('\n')
}

func cell(s string) string { return strings.ReplaceAll(s, "|", `\|`) }
