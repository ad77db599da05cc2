package spec

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

func compile(t *testing.T, kind FileKind) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema(kind)))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// jsonTree turns a tree into what a JSON Schema can judge.
func jsonTree(n *Node) any {
	switch n.Kind {
	case KindTable, KindInline:
		m := map[string]any{}
		for _, k := range n.Kids {
			m[k.Name] = jsonTree(k)
		}
		return m
	case KindTables, KindArray:
		list := []any{}
		for _, k := range n.Kids {
			list = append(list, jsonTree(k))
		}
		return list
	}
	switch v := n.Value.(type) {
	case Date:
		return v.String()
	case int64:
		return json.Number(fmt.Sprint(v))
	}
	return n.Value
}

// The schema and the decoder agree: what is right for one is right for the
// other.
func TestSchemaAcceptsWhatIsRight(t *testing.T) {
	texts := map[string]FileKind{everything(PartFile): PartFile, everything(ShopFile): ShopFile}
	parts, _ := filepath.Glob("../testdata/demo/parts/*.part.toml")
	for _, file := range append(parts, "../testdata/demo/shop.toml") {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		kind := PartFile
		if strings.HasSuffix(file, "shop.toml") {
			kind = ShopFile
		}
		texts[string(text)] = kind
	}
	if len(texts) < 10 {
		t.Fatalf("only %d texts", len(texts))
	}
	schemas := map[FileKind]*jsonschema.Schema{PartFile: compile(t, PartFile), ShopFile: compile(t, ShopFile)}
	for text, kind := range texts {
		doc, problems := newDoc([]byte(text), kind, DefaultBounds)
		if len(problems.list) > 0 {
			t.Fatal(problems.list[0].Message)
		}
		if err := schemas[kind].Validate(jsonTree(doc.Root)); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	}
}

func TestSchemaRefusesWhatIsWrong(t *testing.T) {
	const good = "schema = 1\npart = \"a\"\nprocess = \"PBF-LB/M\"\nmaterial = \"316L\"\n[mesh]\nfile = \"a.3mf\"\n"
	s := compile(t, PartFile)
	for _, more := range []string{
		"elephant = 1", "units = \"furlong\"", "[orientation]\nup = \"z\"", "[orientation]\nup = [0, 1]", "[orientation]\nturn = \"15 mm\"", "[orientation]\nturn = 15",
		"[[hole]]\nname = \"a\"\nat = [0, 0, 0]", "[limits]\nwall.thickness = \"45 deg\"", "[limits]\nwall.thickness = 1", "[limits]\npowder.openings = 1.5",
		"[limits]\nwall.thickness = { source = \"a\" }", "[budget]\ncost = 0", "[[waiver]]\ncheck = \"walls\"\nreason = \"a\"\nuntil = 2027-01-01", "[route]\nsteps = [1]",
	} {
		doc, problems := newDoc([]byte(good+more), PartFile, DefaultBounds)
		if len(problems.list) > 0 {
			t.Fatal(problems.list[0].Message)
		}
		if err := s.Validate(jsonTree(doc.Root)); err == nil {
			t.Errorf("accepted: %s", more)
		}
		if _, problems := ParsePart("x.part.toml", []byte(good+more)); len(problems) == 0 {
			t.Errorf("the decoder accepts: %s", more)
		}
	}
	if doc, _ := newDoc([]byte(good), PartFile, DefaultBounds); s.Validate(jsonTree(doc.Root)) != nil {
		t.Error("the schema refuses the good part of it")
	}
}

func TestSchemaIsTheSameEveryTime(t *testing.T) {
	for _, kind := range []FileKind{PartFile, ShopFile} {
		first := Schema(kind)
		for range 5 {
			if !bytes.Equal(first, Schema(kind)) {
				t.Fatalf("the schema of the %s changes", kind)
			}
		}
	}
}

// The manual's page names every key and every limit, and its rows are whole.
func TestReferenceIsComplete(t *testing.T) {
	for _, kind := range []FileKind{PartFile, ShopFile} {
		page := Reference(kind)
		for _, k := range Keys(kind) {
			if k.Limit != nil || k.Name() == "source" || k.Path[0] == "limits" {
				continue
			}
			name := "`" + k.Name() + "`"
			if len(k.Path) == 3 {
				name = "`" + k.Path[1] + "." + k.Path[2] + "`"
			}
			if k.IsTable() && k.Type != TypeInline {
				name = "`" + header(&k) + "`"
			}
			if !strings.Contains(page, name) {
				t.Errorf("the page of the %s does not name %s", kind, name)
			}
		}
		for _, l := range Limits {
			if !strings.Contains(page, "`"+l.Name+"`") {
				t.Errorf("the page of the %s does not name %s", kind, l.Name)
			}
		}
		for _, line := range strings.Split(page, "\n") {
			if n := strings.Count(strings.ReplaceAll(line, `\|`, ""), "|"); n != 0 && n != 5 {
				t.Errorf("a row of %d cells: %s", n-1, line)
			}
		}
	}
}
