package output

import (
	"io"
	"reflect"
	"strings"
)

// This file writes the JSON Schemas of our documents from their types, so that
// a schema can't say something else than the program writes. The tags doc and
// enum of a field are its description and its values.

// documents are the JSON documents that the program writes, by the command
// that writes them.
var documents = []struct {
	name, about string
	of          any
}{
	{"check", "what check and merge write with --format json", Document{}},
	{"measure", "what measure writes with --format json", Document{}},
	{"limits", "what limits writes with --format json", LimitsDocument{}},
	{"orient", "what orient writes with --format json", OrientDocument{}},
	{"diff", "what diff writes with --format json", DiffDocument{}},
	{"compare", "what compare writes with --format json", CompareDocument{}},
}

// Documents returns the names of the documents that have a schema, and what each is.
func Documents() (names, about []string) {
	for _, d := range documents {
		names, about = append(names, d.name), append(about, d.about)
	}
	return names, about
}

// Schema writes the JSON Schema (draft 2020-12) of a document, or reports false.
func Schema(w io.Writer, name string) (bool, error) {
	for _, d := range documents {
		if d.name == name {
			return true, write(w, schemaFor(d.name, d.about, reflect.TypeOf(d.of)))
		}
	}
	return false, nil
}

type object = map[string]any

func schemaFor(name, about string, t reflect.Type) object {
	s := &schemas{defs: object{}}
	root := s.structure(t)
	root["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	root["title"] = "corbel " + name
	root["description"] = strings.ToUpper(about[:1]) + about[1:] + ". Lengths are mm, areas mm2, volumes mm3, angles degrees, masses g, times h; positions are mesh coordinates in mm. Other keys may join in later versions of the program."
	root["$defs"] = s.defs
	return root
}

// schemas gathers the types of a document under their names.
type schemas struct{ defs object }

func (s *schemas) of(t reflect.Type) object {
	switch t.Kind() {
	case reflect.Pointer:
		return s.of(t.Elem())
	case reflect.String:
		return object{"type": "string"}
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Float64:
		return object{"type": "number"}
	case reflect.Int:
		return object{"type": "integer"}
	case reflect.Array:
		return object{"type": "array", "items": s.of(t.Elem()), "minItems": t.Len(), "maxItems": t.Len()}
	case reflect.Slice:
		return object{"type": "array", "items": s.of(t.Elem())}
	case reflect.Map:
		return object{"type": "object", "additionalProperties": s.of(t.Elem())}
	case reflect.Struct:
		name := strings.ToLower(t.Name())
		if _, known := s.defs[name]; !known {
			s.defs[name] = nil // for types that hold themselves
			s.defs[name] = s.structure(t)
		}
		return object{"$ref": "#/$defs/" + name}
	}
	panic("output: no schema for " + t.String()) // a test writes every schema
}

func (s *schemas) structure(t reflect.Type) object {
	properties, required := object{}, []string{}
	s.fields(t, properties, &required)
	return object{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
}

func (s *schemas) fields(t reflect.Type, properties object, required *[]string) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || name == "-" {
			continue
		}
		if f.Anonymous && name == "" {
			s.fields(f.Type, properties, required)
			continue
		}
		v := s.of(f.Type)
		optional := strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
		if !optional {
			*required = append(*required, name)
		}
		if words := f.Tag.Get("enum"); words != "" {
			v["enum"] = strings.Split(words, ",")
		}
		if f.Type.Kind() == reflect.Pointer && !optional {
			v = object{"anyOf": []any{v, object{"type": "null"}}}
		}
		if doc := f.Tag.Get("doc"); doc != "" {
			v["description"] = doc
		}
		properties[name] = v
	}
}
