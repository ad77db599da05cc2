package spec

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	gotoml "github.com/pelletier/go-toml/v2"
	tomltest "github.com/toml-lang/toml-test/v2"
)

// This file holds the index against the public toml-test suite (TOML 1.1) and
// against both libraries.

// suite calls f with every file of one list of the suite.
func suite(t *testing.T, kind string, f func(t *testing.T, name string, text []byte)) {
	t.Helper()
	files := tomltest.TestCases()
	list, err := fs.ReadFile(files, "files-toml-1.1.0")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, name := range strings.Fields(string(list)) {
		if !strings.HasPrefix(name, kind+"/") || !strings.HasSuffix(name, ".toml") {
			continue
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			t.Fatal(err)
		}
		n++
		t.Run(name, func(t *testing.T) { f(t, name, text) })
	}
	if n < 200 {
		t.Fatalf("only %d files were found", n)
	}
}

// roomy are bounds that every file of the suite fits in.
var roomy = Bounds{Bytes: 1 << 20, Keys: 1 << 16, Values: 1 << 20, Depth: 100, KeyParts: 100, Problems: 100}

func TestSuiteValid(t *testing.T) {
	files := tomltest.TestCases()
	suite(t, "valid", func(t *testing.T, name string, text []byte) {
		doc, problems := newDoc(text, PartFile, roomy)
		for _, p := range problems.sorted() {
			t.Errorf("%v: %s", doc.Position(p.At.Start), p.Message)
		}
		want, err := fs.ReadFile(files, strings.TrimSuffix(name, ".toml")+".json")
		if err != nil {
			t.Fatal(err)
		}
		var wantTree any
		if err := json.Unmarshal(want, &wantTree); err != nil {
			t.Fatal(err)
		}
		tt := tomltest.Test{}.CompareJSON(wantTree, tagged(doc.Root))
		if tt.Failed() {
			t.Errorf("%s\n%s", tt.Failure, text)
		}
		checkRanges(t, doc)
	})
}

func TestSuiteInvalid(t *testing.T) {
	suite(t, "invalid", func(t *testing.T, name string, text []byte) {
		doc, problems := newDoc(text, PartFile, roomy)
		if len(problems.list) == 0 {
			t.Errorf("accepted:\n%s", text)
		}
		for _, p := range problems.sorted() {
			if p.Message == "" || p.Help == "" || p.Level != "error" {
				t.Errorf("incomplete problem %+v", p)
			}
			if p.At.Start < 0 || p.At.End < p.At.Start || p.At.End > len(text) {
				t.Errorf("range %v is outside the text", p.At)
			}
		}
		checkRanges(t, doc)
	})
}

// tagged turns a tree into the form in which the suite states its values.
func tagged(n *Node) any {
	switch n.Kind {
	case KindTable, KindInline:
		m := map[string]any{}
		for _, k := range n.Kids {
			m[k.Name] = tagged(k)
		}
		return m
	case KindTables, KindArray:
		list := []any{}
		for _, k := range n.Kids {
			list = append(list, tagged(k))
		}
		return list
	}
	value := func(kind, text string) any { return map[string]any{"type": kind, "value": text} }
	switch v := n.Value.(type) {
	case string:
		return value("string", v)
	case int64:
		return value("integer", strconv.FormatInt(v, 10))
	case float64:
		switch {
		case math.IsNaN(v):
			return value("float", "nan")
		case math.IsInf(v, 0):
			return value("float", strings.TrimSuffix(fmt.Sprintf("%+v", v), "Inf")+"inf")
		}
		return value("float", strconv.FormatFloat(v, 'g', -1, 64))
	case bool:
		return value("bool", strconv.FormatBool(v))
	case Date:
		return value("date-local", v.String())
	case time.Time:
		switch v.Location().String() {
		case "datetime-local":
			return value("datetime-local", v.Format("2006-01-02T15:04:05.999999999"))
		case "time-local":
			return value("time-local", v.Format("15:04:05.999999999"))
		}
		return value("datetime", v.Format(time.RFC3339Nano))
	}
	return value("nothing", "")
}

// checkRanges checks what holds for the ranges of every tree, broken or not:
// they lie inside the text, keys stand before values, kids of a value lie
// inside it, and a whole value under its range reads as itself.
func checkRanges(t interface{ Errorf(string, ...any) }, doc *Doc) {
	text := doc.Text
	ok := func(r Range) bool { return 0 <= r.Start && r.Start <= r.End && r.End <= len(text) }
	for i, s := range doc.Statements {
		if !ok(s.At) || !ok(s.Value) || s.At.Start == s.At.End {
			t.Errorf("statement %d has the ranges %v and %v in %d bytes", i, s.At, s.Value, len(text))
		}
		if i > 0 && s.At.Start < doc.Statements[i-1].At.End {
			t.Errorf("statement %d starts before the end of the one before", i)
		}
		for _, k := range s.Keys {
			if !ok(k.At) || k.At.Start < s.At.Start || k.At.End > s.At.End {
				t.Errorf("statement %d %v has a key at %v", i, s.At, k.At)
			}
		}
		if s.Kind == StatementKey && !s.Broken {
			checkValue(t, doc, s.Node)
		}
	}
	for _, c := range doc.Comments {
		if !ok(c) || text[c.Start] != '#' {
			t.Errorf("comment at %v", c)
		}
	}
	doc.Walk(func(path []string, n *Node, _ *KeyInfo) bool {
		if !ok(n.Key) || !ok(n.At) {
			t.Errorf("%v has the ranges %v and %v in %d bytes", path, n.Key, n.At, len(text))
		}
		return true
	})
}

func checkValue(t interface{ Errorf(string, ...any) }, doc *Doc, n *Node) {
	text := doc.Text
	r := n.At
	if r.Start >= r.End || r.End > len(text) {
		t.Errorf("the value of %q has the range %v in %d bytes", n.Name, r, len(text))
		return
	}
	first, last := text[r.Start], text[r.End-1]
	switch n.Kind {
	case KindArray:
		if first != '[' || last != ']' {
			t.Errorf("a list at %v is %q", r, text[r.Start:r.End])
		}
	case KindInline:
		if first != '{' || last != '}' {
			t.Errorf("an inline table at %v is %q", r, text[r.Start:r.End])
		}
	case KindString:
		if first != last || first != '"' && first != '\'' {
			t.Errorf("a text at %v is %q", r, text[r.Start:r.End])
		}
	}
	before := r.Start
	for _, k := range n.Kids {
		if n.Kind == KindInline && k.Kind == KindTable {
			continue // of a dotted key: its kids are in no order of ranges
		}
		if k.At.Start < before || k.At.End > r.End {
			t.Errorf("an entry at %v lies outside its list at %v, or before %d", k.At, r, before)
		}
		before = k.At.End
		checkValue(t, doc, k)
	}
}

// TestValuesUnderRanges decodes the text under each value's range again, with
// the other library, and expects the same value.
func TestValuesUnderRanges(t *testing.T) {
	suite(t, "valid", func(t *testing.T, name string, text []byte) {
		doc, _ := newDoc(text, PartFile, roomy)
		for _, s := range doc.Statements {
			if s.Kind != StatementKey {
				continue
			}
			var other map[string]any
			if err := gotoml.Unmarshal([]byte("v = "+string(text[s.Value.Start:s.Value.End])), &other); err != nil {
				t.Errorf("%v: %v", s.Path, err)
				continue
			}
			if want, have := plainGo(other["v"]), plainTree(s.Node); fmt.Sprint(want) != fmt.Sprint(have) {
				t.Errorf("%v is %v, and %v under its range", s.Path, have, want)
			}
		}
	})
}

// TestAgreesWithLibraries compares the leaves of the tree with those that both
// libraries find in the whole text.
func TestAgreesWithLibraries(t *testing.T) {
	suite(t, "valid", func(t *testing.T, name string, text []byte) {
		doc, _ := newDoc(text, PartFile, roomy)
		have := fmt.Sprint(plainTree(doc.Root))
		var a, b map[string]any
		if _, err := toml.Decode(string(text), &a); err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprint(plainGo(a)); want != have {
			t.Errorf("BurntSushi/toml has %s\nwe have %s", want, have)
		}
		if err := gotoml.Unmarshal(text[len(bomOf(text)):], &b); err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprint(plainGo(b)); want != have {
			t.Errorf("go-toml has %s\nwe have %s", want, have)
		}
	})
}

func bomOf(text []byte) []byte {
	if strings.HasPrefix(string(text), string(bom)) {
		return bom
	}
	return nil
}

// plainGo brings decoded values of either library into one form; times are
// left out, since each library has types of its own for them.
func plainGo(v any) any {
	switch v := v.(type) {
	case map[string]any:
		m := map[string]any{}
		for k, x := range v {
			m[k] = plainGo(x)
		}
		return m
	case []any:
		list := []any{}
		for _, x := range v {
			list = append(list, plainGo(x))
		}
		return list
	case []map[string]any:
		list := []any{}
		for _, x := range v {
			list = append(list, plainGo(x))
		}
		return list
	case string, int64, float64, bool:
		return fmt.Sprintf("%T %v", v, v)
	}
	return "time"
}

func plainTree(n *Node) any {
	switch n.Kind {
	case KindTable, KindInline:
		m := map[string]any{}
		for _, k := range n.Kids {
			m[k.Name] = plainTree(k)
		}
		return m
	case KindTables, KindArray:
		list := []any{}
		for _, k := range n.Kids {
			list = append(list, plainTree(k))
		}
		return list
	case KindDate, KindTime:
		return "time"
	}
	return fmt.Sprintf("%T %v", n.Value, n.Value)
}
