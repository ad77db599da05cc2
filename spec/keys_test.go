package spec

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var kebab = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)

func TestEveryKeyIsDescribed(t *testing.T) {
	for _, kind := range []FileKind{PartFile, ShopFile} {
		if len(Keys(kind)) < 50 {
			t.Fatalf("the %s has only %d keys", kind, len(Keys(kind)))
		}
		seen := map[string]bool{}
		for _, k := range Keys(kind) {
			path := dottedPlain(k.Path)
			if seen[path] {
				t.Errorf("%s: %s is described twice", kind, path)
			}
			seen[path] = true
			for _, name := range k.Path {
				if name != "*" && !kebab.MatchString(name) {
					t.Errorf("%s: %s is not written with hyphens", kind, path)
				}
			}
			if n := strings.Count(k.Doc, ". ") + 1; !strings.HasSuffix(k.Doc, ".") || n > 3 {
				t.Errorf("%s: %s has a description of %d sentences: %q", kind, path, n, k.Doc)
			}
			if k.Example == "" || strings.Contains(k.Example, "\n") {
				t.Errorf("%s: %s has the example %q", kind, path, k.Example)
			}
			if (k.Dim != None) != (k.Unit != "") {
				t.Errorf("%s: %s has a dimension or a usual unit without the other", kind, path)
			}
			if u, ok := findUnit(k.Unit, k.Dim); k.Unit != "" && (!ok || u.Dim != k.Dim) {
				t.Errorf("%s: %s has the usual unit %q, which is none of %s", kind, path, k.Unit, withArticle(k.Dim))
			}
			if k.Required && k.Default != "" {
				t.Errorf("%s: %s is required and has a default", kind, path)
			}
			for _, c := range append(slices.Clone(k.Values), k.Known...) {
				if c.Value == "" {
					t.Errorf("%s: %s has an empty value", kind, path)
				}
			}
		}
	}
}

func TestEveryChoiceIsDescribed(t *testing.T) {
	for name, list := range map[string][]Choice{
		"processes": Processes, "uses": Uses, "hole finishes": HoleFinishes, "face finishes": FaceFinishes,
		"mesh units": MeshUnits, "levels": Levels, "steps": Steps, "checks": Checks,
	} {
		seen := map[string]bool{}
		for _, c := range list {
			if c.Value == "" || c.Doc == "" || seen[c.Value] {
				t.Errorf("%s: %q is empty, twice there or not described", name, c.Value)
			}
			seen[c.Value] = true
		}
	}
	for _, c := range Checks {
		if !kebab.MatchString(c.Value) {
			t.Errorf("check %q is not written with hyphens", c.Value)
		}
	}
}

// limitsAsked is every limit that the table of checks in the design names, and
// those its text asks for beside them.
var limitsAsked = strings.Fields(`envelope.margin overhang.angle overhang.ledge overhang.bridge overhang.area floating-start.area
	wall.thickness wall.free wall.area feather-edge.angle massive-section.thickness hole.diameter hole.roof hole.depth-ratio
	hole.blind-ratio hole.match pin.diameter gap.width powder.escape powder.openings slenderness.ratio section-jump.ratio
	stock.thickness roughness.up roughness.down tolerance.grade support-access.share sinter.size sinter.span sinter.ledge sinter.aspect`)

func TestEveryLimitIsDescribed(t *testing.T) {
	for _, name := range limitsAsked {
		if FindLimit(name) == nil {
			t.Errorf("the limit %s is missing", name)
		}
	}
	seen := map[string]bool{}
	for i := range Limits {
		l := &Limits[i]
		group, own, ok := strings.Cut(l.Name, ".")
		if !ok || !kebab.MatchString(group) || !kebab.MatchString(own) || seen[l.Name] {
			t.Errorf("%s is no name of a limit, or there twice", l.Name)
		}
		seen[l.Name] = true
		if !slices.Contains(CheckNames(), l.Check()) {
			t.Errorf("%s belongs to no check", l.Name)
		}
		if !strings.HasSuffix(l.Doc, ".") || strings.Count(l.Doc, ". ") > 2 {
			t.Errorf("%s is not described in one to three sentences", l.Name)
		}
		if l.Sensible.High <= l.Sensible.Low || l.Sensible.Low < 0 {
			t.Errorf("%s has the sensible range %v", l.Name, l.Sensible)
		}
		if (l.Dim != None) != (l.Unit != "") {
			t.Errorf("%s has a dimension or a unit without the other", l.Name)
		}
		if l.Whole && l.Dim != None {
			t.Errorf("%s is a count with a unit", l.Name)
		}
		if l.TighterThan(1, 2) == l.TighterThan(2, 1) || l.TighterThan(1, 1) {
			t.Errorf("%s has no direction", l.Name)
		}
		low := strings.Contains(l.Doc, "least ") || strings.Contains(l.Doc, "thinnest") || strings.Contains(l.Doc, "smallest hole") || strings.Contains(l.Doc, "narrowest")
		if low && strings.HasPrefix(l.Doc, "The ") && l.Tighter != Higher && !strings.Contains(l.Doc, "over its least") && !strings.Contains(l.Doc, "over least") {
			t.Errorf("%s is a least value, so a higher one is tighter: %s", l.Name, l.Doc)
		}
		if high := regexp.MustCompile(`^The (longest|largest|deepest|tallest)`); high.MatchString(l.Doc) && l.Tighter != Lower {
			t.Errorf("%s is a largest value, so a lower one is tighter: %s", l.Name, l.Doc)
		}
	}
}

// everything writes a file in which every key of the language stands once,
// with its example.
func everything(kind FileKind) string {
	var b strings.Builder
	header := map[string]bool{}
	for _, k := range Keys(kind) {
		switch {
		case k.Limit != nil && k.Type == TypeLimit && k.Name() != "value":
			fmt.Fprintln(&b, k.Example)
		case slices.Contains([]string{"value", "source"}, k.Name()) && len(k.Path) > 3, len(k.Path) == 3 && k.Path[1] == "build":
		case k.IsTable() && strings.HasPrefix(k.Example, "["):
			if !header[k.Example] {
				fmt.Fprintf(&b, "\n%s\n", k.Example)
			}
			header[k.Example] = true
		case k.IsTable() && k.Type == TypeTable: // the limits of one check
		default:
			fmt.Fprintln(&b, k.Example)
		}
	}
	return b.String()
}

// TestExamplesAreRight reads every example, and finds every field of the
// result filled: no key of the table is forgotten by the decoder, and no field
// of the types by the table.
func TestExamplesAreRight(t *testing.T) {
	for _, kind := range []FileKind{PartFile, ShopFile} {
		text := everything(kind)
		doc, problems := newDoc([]byte(text), kind, DefaultBounds)
		d := &decoder{doc: doc, problems: problems, asked: map[*KeyInfo]bool{}}
		var result any
		if kind == PartFile {
			result = *d.part("x.part.toml")
		} else {
			result = *d.shop("shop.toml")
		}
		for _, p := range problems.sorted() {
			t.Errorf("%s: %v: %s", kind, doc.Position(p.At.Start), p.Message)
		}
		unfilled(t, kind.String(), reflect.ValueOf(result))
		for i := range language(kind).list {
			k := &language(kind).list[i]
			inner := k.Limit != nil && k.Name() == "value" || k.Name() == "source" && len(k.Path) > 3
			if !d.asked[k] && !inner {
				t.Errorf("%s: the decoder never asks for %s", kind, dottedPlain(k.Path))
			}
		}
		if t.Failed() {
			t.Log(text)
		}
	}
}

// alternatives may be absent in a file that holds every example: a box has no diameter, a
// set of limits belongs to a material or a machine, and the short form of a
// limit has no source.
var alternatives = regexp.MustCompile(`\.Build\.Diameter|\.Limits\[\d+\]\.(Material|Machine)|\.Source$`)

// unfilled reports every Value of a result that is not set.
func unfilled(t *testing.T, path string, v reflect.Value) {
	if v.Kind() == reflect.Slice && v.Type().Elem().Kind() == reflect.Struct && v.Len() == 0 {
		t.Errorf("%s is empty", path)
	}
	switch v.Kind() {
	case reflect.Struct:
		if strings.HasPrefix(v.Type().Name(), "Value[") {
			at := v.FieldByName("At").Interface().(Range)
			if (!v.FieldByName("Set").Bool() || at.End <= at.Start) && !alternatives.MatchString(path) {
				t.Errorf("%s is not set, or has no place", path)
			}
			return
		}
		for i := range v.NumField() {
			unfilled(t, path+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			unfilled(t, fmt.Sprintf("%s[%d]", path, i), v.Index(i))
		}
	}
}

func TestLookup(t *testing.T) {
	for _, c := range []struct {
		kind FileKind
		path string
		want Type
		doc  string
	}{
		{PartFile, "process", TypeText, "How the part is built"},
		{PartFile, "hole", TypeTables, "A hole whose size matters"},
		{PartFile, "hole diameter", TypeQuantity, "The diameter as finished"},
		{PartFile, "limits wall thickness", TypeLimit, "The thinnest wall"},
		{PartFile, "limits wall thickness source", TypeText, "Where the value comes from"},
		{ShopFile, "limits PBF-LB/M", TypeTable, "The limits of one process"},
		{ShopFile, "limits PBF-LB/M wall thickness", TypeLimit, "The thinnest wall"},
		{ShopFile, "limits PBF-LB/M material AlSi10Mg hole roof", TypeLimit, "The largest round hole"},
		{ShopFile, "limits BJT/M machine bay sinter aspect", TypeLimit, "The tallest part"},
		{ShopFile, "levels overhang", TypeText, "The level of `overhang`"},
		{ShopFile, "machine build x", TypeQuantity, "The width"},
	} {
		k := Lookup(c.kind, strings.Fields(c.path)...)
		if k == nil || k.Type != c.want || !strings.HasPrefix(k.Doc, c.doc) {
			t.Errorf("%s is %+v", c.path, k)
		}
	}
	for _, path := range []string{"proces", "hole diameter x", "limits wall", "levels *", "machine build w"} {
		if k := Lookup(ShopFile, strings.Fields(path)...); k != nil && path != "limits wall" {
			t.Errorf("%s is %+v", path, k)
		}
	}
	var names []string
	for _, k := range KeysUnder(PartFile, "hole") {
		names = append(names, k.Name())
	}
	if got := strings.Join(names, " "); got != "name at diameter finish tolerance" {
		t.Errorf("under hole stand %s", got)
	}
	if KeysUnder(PartFile, "no", "such") != nil {
		t.Error("something stands under nothing")
	}
	if got := len(KeysUnder(PartFile)); got < 15 {
		t.Errorf("only %d keys stand at the top", got)
	}
}
