package output

import (
	"fmt"
	"io"
	"path"
	"reflect"
	"slices"
	"strings"

	"corbel/rules"
)

// Options steer Write.
type Options struct {
	Color  bool        // of text
	FailOn rules.Level // least level that fails, for the formats that know failure; empty is error
	// Path turns the name of a file into its place in the repository, which is
	// what the services that show findings beside the text ask for. Nil leaves
	// names as they are.
	Path func(string) string
}

func (o *Options) path(file string) string {
	if o.Path != nil {
		file = o.Path(file)
	}
	return strings.TrimPrefix(path.Clean(file), "./")
}

func (o *Options) fails(f *Finding) bool {
	least := max(1, o.FailOn.Weight())
	if o.FailOn == "" {
		least = rules.Error.Weight()
	}
	return f.Waived == nil && !f.Known && rules.Level(f.Level).Weight() >= least
}

// A format turns a document into bytes.
type format struct {
	name, about string
	write       func(io.Writer, *Document, Options) error
}

var formats = []format{
	{"text", "for people, with the lines of the spec", func(w io.Writer, d *Document, o Options) error {
		return writeText(w, d, TextOptions{Color: o.Color, General: true})
	}},
	{"json", "everything, for programs", func(w io.Writer, d *Document, _ Options) error { return write(w, d) }},
	{"sarif", "SARIF 2.1.0, for services that keep findings", writeSARIF},
	{"junit", "JUnit XML, a test for each check of each part", writeJUnit},
	{"markdown", "a comment for a pull request", writeMarkdown},
	{"github", "workflow commands that annotate a pull request on GitHub", writeGitHub},
	{"gitlab", "a code quality report for GitLab", writeGitLab},
}

// Formats returns the names of the formats that Write knows.
func Formats() []string {
	var out []string
	for _, f := range formats {
		out = append(out, f.name)
	}
	return out
}

// FormatsAbout says what each format is for, a line each.
func FormatsAbout() string {
	var b strings.Builder
	for _, f := range formats {
		fmt.Fprintf(&b, "  %-9s %s\n", f.name, f.about)
	}
	return b.String()
}

// Write writes a document, its totals counted, in a format. The same document
// gives the same bytes.
func Write(w io.Writer, name string, d *Document, o Options) error {
	i := slices.IndexFunc(formats, func(f format) bool { return f.name == name })
	if i < 0 {
		return fmt.Errorf("there is no format %q", name)
	}
	if name != "json" {
		d = cleaned(d)
	}
	return formats[i].write(w, d, o)
}

// cleaned is a document whose texts hold no control characters, but for those of edits.
func cleaned(d *Document) *Document {
	return cleanValue(reflect.ValueOf(d)).Interface().(*Document)
}

func cleanValue(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	if v.Type() == reflect.TypeFor[Verbatim]() {
		return out
	}
	switch v.Kind() {
	case reflect.String:
		out.SetString(clean(v.String()))
	case reflect.Pointer:
		if !v.IsNil() {
			out.Set(reflect.New(v.Type().Elem()))
			out.Elem().Set(cleanValue(v.Elem()))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				out.Field(i).Set(cleanValue(v.Field(i)))
			}
		}
	case reflect.Slice:
		if !v.IsNil() {
			out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
			for i := range v.Len() {
				out.Index(i).Set(cleanValue(v.Index(i)))
			}
		}
	}
	return out
}
