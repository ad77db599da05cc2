package spec

import (
	"fmt"
	"strings"
	"sync"
	"testing"
)

// whereNames are for the readable form of a place.
var whereNames = [...]string{OnBlank: "blank", OnComment: "comment", OnHeader: "header", OnKey: "key", OnValue: "value"}

// TestKeyAt puts a cursor, written |, into a line, and says what is there:
// where, the path, the word that a completion would replace, and the entry of
// a list. An exclamation mark says that the place is inside quotes, a question
// mark that the language does not know the path.
func TestKeyAt(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"|", "blank  [] ?0"},
		{"pro|", "key pro? [pro]"},
		{"proc|ess = \"PBF-LB/M\"", "key process [process]"},
		{"|process = 1", "key process [process]"},
		{"process| = 1", "key process [process]"},
		{"process =|", "value process []"},
		{"process = |", "value process []"},
		{"process = |\nuse = 1", "value process []"},
		{"process = \"|", "value process [] !"},
		{"process = \"PBF|", "value process [PBF] !"},
		{"process = \"PBF|\"", "value process [PBF] !"},
		{"process = \"PBF-LB/|M\" # c", "value process [PBF-LB/M] !"},
		{"process = \"PBF-LB/M\"|", "value process []"},
		{"process = PB|F", "value process [PBF]"},
		{"process = 1 # no|te", "comment  [# note]"},
		{"# |", "comment  [# ]"},
		{"|# note", "blank  []"},
		{"[|", "header  []"},
		{"[me|sh]", "header mesh [mesh]"},
		{"[me|", "header me? [me]"},
		{"[[ho|le]]", "header hole [hole]"},
		{"[mesh] |", "blank mesh []"},
		{"[mesh]\n|", "blank mesh []"},
		{"[mesh]\n\n  |\n[budget]", "blank mesh []"},
		{"[mesh]\nfi|", "key mesh.fi? [fi]"},
		{"[mesh]\nfile = \"a/|b.stl\"", "value mesh.file [a/b.stl] !"},
		{"[[hole]]\nname = \"a\"\n[[hole]]\nat = [1, |2, 3]", "value hole.at [2] entry 1"},
		{"[[hole]]\nat = [1, 2, |", "value hole.at [] entry 2"},
		{"[[hole]]\nat = |[1, 2, 3]", "value hole.at []"},
		{"[[hole]]\nat = [1, 2, 3]|", "value hole.at []"},
		{"[route]\nsteps = [\"remove powder\", \"mi|\"]", "value route.steps [mi] ! entry 1"},
		{"[route]\nsteps = [\n  \"remove powder\",\n  |\n]", "value route.steps [] entry 1"},
		{"[route]\nsteps = [\n  \"mill\", # first|\n]", "comment  [# first]"},
		{"[limits]\nwa|ll.thickness = \"1 mm\"", "key limits.wall [wall]"},
		{"[limits]\nwall.|thickness = \"1 mm\"", "key limits.wall.thickness [thickness]"},
		{"[limits]\nwall.|", "key limits.wall []"},
		{"[limits]\nwall.thi|", "key limits.wall.thi? [thi]"},
		{"[limits]\nwall.thickness = \"0.5 |mm\"", "value limits.wall.thickness [0.5 mm] !"},
		{"[limits]\nwall.thickness = { |", "key limits.wall.thickness []"},
		{"[limits]\nwall.thickness = { va|", "key limits.wall.thickness [va]"},
		{"[limits]\nwall.thickness = { va|lue = \"1 mm\" }", "key limits.wall.thickness.value [value]"},
		{"[limits]\nwall.thickness = { value = \"1 |mm\" }", "value limits.wall.thickness.value [1 mm] !"},
		{"[limits]\nwall.thickness = { value = \"1 mm\", |}", "key limits.wall.thickness []"},
		{"[limits]\nwall.thickness = { value = \"1 mm\", source = \"a|", "value limits.wall.thickness.source [a] !"},
		{"[limits]\nwall.thickness = { value = |", "value limits.wall.thickness.value []"},
		{"shop: [limits.\"PBF|-LB/M\"]", "header limits.PBF-LB/M [PBF-LB/M] !"},
		{"shop: [lim|its.\"PBF-LB/M\"]", "header limits [limits]"},
		{"shop: [limits.\"PBF-LB/M\".machine.\"bay| 2\"]\n", "header limits.PBF-LB/M.machine.bay 2 [bay 2] !"},
		{"shop: [limits.\"PBF-LB/M\".material.AlSi10Mg]\nhole.ro|of = 1", "key limits.PBF-LB/M.material.AlSi10Mg.hole.roof [roof]"},
		{"shop: [[machine]]\nbuild = { x = \"1 mm\", y|", "key machine.build [y]"},
		{"shop: [[machine]]\nbuild = { x = \"1 mm\", y = \"2 |\" }", "value machine.build.y [2 ] !"},
		{"shop: [[machine]]\nmaterials = [\"316L\", |]", "value machine.materials [] entry 1"},
		{"shop: [levels]\nover|hang = \"note\"", "key levels.overhang [overhang]"},
		{"shop: [levels]\noverhang = \"no|te\"", "value levels.overhang [note] !"},
		{"part = \"\"\"\nlong |text\n\"\"\"", "value part [\nlong text\n] !"},
		{"= |1", "key  [1]"},
		{"process = \"µ|\"", "value process [µ] !"},
	} {
		text, shop := strings.CutPrefix(c.text, "shop: ")
		offset := strings.Index(text, "|")
		text = text[:offset] + text[offset+1:]
		kind := PartFile
		if shop {
			kind = ShopFile
		}
		doc, _ := newDoc([]byte(text), kind, DefaultBounds)
		p := doc.KeyAt(offset)
		got := fmt.Sprintf("%s %s", whereNames[p.Where], dottedPlain(p.Path))
		if p.Info == nil && len(p.Path) > 0 {
			got += "?"
		}
		got += fmt.Sprintf(" [%s]", text[p.Word.Start:p.Word.End])
		if p.InText {
			got += " !"
		}
		if p.Entry >= 0 {
			got += fmt.Sprintf(" entry %d", p.Entry)
		}
		if got != strings.ReplaceAll(c.want, " ?0", "") {
			t.Errorf("%q is\n\t%s, want\n\t%s", c.text, got, c.want)
		}
	}
}

func TestKeyAtGivesNodes(t *testing.T) {
	text := "part = \"a\"\n[[machine]]\nname = \"x\"\n[[machine]]\nbuild = { x = \"1 mm\", y = \"2 mm\" }\n"
	doc, _ := newDoc([]byte(text), ShopFile, DefaultBounds)
	p := doc.KeyAt(strings.Index(text, "2 mm"))
	if p.Node == nil || p.Node.Value != "2 mm" || text[p.Value.Start:p.Value.End] != `"2 mm"` || text[p.Key.Start:p.Key.End] != "y" {
		t.Errorf("got %+v", p)
	}
	p = doc.KeyAt(strings.Index(text, "name"))
	if p.Node == nil || p.Node.Value != "x" || p.Statement == nil || p.Statement.Parent != doc.Root.Child("machine").Kids[0] {
		t.Errorf("got %+v", p)
	}
	p = doc.KeyAt(len(text))
	if p.Node != doc.Root.Child("machine").Kids[1] {
		t.Errorf("the end is in %+v", p.Node)
	}
	if h := doc.TableAt(strings.Index(text, "build")); h == nil || text[h.At.Start:h.At.End] != "[[machine]]" || h.Node != doc.Root.Child("machine").Kids[1] {
		t.Errorf("got %+v", h)
	}
	if h := doc.TableAt(3); h != nil {
		t.Errorf("above the first header there is %+v", h)
	}
}

// Every place of every text has an answer, half-typed or not.
func checkPlaces(t interface{ Errorf(string, ...any) }, doc *Doc) {
	for offset := -1; offset <= len(doc.Text)+1; offset++ {
		p := doc.KeyAt(offset)
		for _, r := range []Range{p.Key, p.Value, p.Word} {
			if r.Start < 0 || r.End < r.Start || r.End > len(doc.Text) {
				t.Errorf("offset %d of %q has the range %v", offset, doc.Text, r)
				return
			}
		}
		offset := min(max(offset, 0), len(doc.Text))
		if p.InText && (offset < p.Word.Start || offset > p.Word.End) && p.Where == OnValue {
			t.Errorf("offset %d of %q is not in its word %v", offset, doc.Text, p.Word)
			return
		}
	}
}

func TestKeyAtEverywhere(t *testing.T) {
	for _, c := range halfTyped {
		text := fmt.Sprintf(around, "", c.line, "", c.line)
		for _, kind := range []FileKind{PartFile, ShopFile} {
			doc, _ := newDoc([]byte(text), kind, DefaultBounds)
			checkPlaces(t, doc)
		}
	}
}

func TestWalk(t *testing.T) {
	text := "part = \"a\"\nx = 1\n[[hole]]\nat = [1, 2, 3]\n[limits]\nwall.thickness = { value = \"1 mm\" }\n"
	doc, _ := newDoc([]byte(text), PartFile, DefaultBounds)
	var got []string
	doc.Walk(func(path []string, n *Node, info *KeyInfo) bool {
		known := ""
		if info == nil {
			known = "?"
		}
		got = append(got, dottedPlain(path)+known+":"+n.Kind.String())
		return true
	})
	want := "part:text x?:whole number hole:list of tables hole:table hole.at:list hole.at:whole number hole.at:whole number hole.at:whole number" +
		" limits:table limits.wall:table limits.wall.thickness:inline table limits.wall.thickness.value:text"
	if strings.Join(got, " ") != want {
		t.Errorf("visited %s, want %s", strings.Join(got, " "), want)
	}
	n := 0
	doc.Walk(func([]string, *Node, *KeyInfo) bool { n++; return false })
	if n != 4 {
		t.Errorf("visited %d nodes at the top", n)
	}
}

// A Doc is read by several requests at once; the race detector watches here.
func TestDocIsReadByMany(t *testing.T) {
	text := fmt.Sprintf(around, "", "", "", "")
	doc, _ := newDoc([]byte(text), PartFile, DefaultBounds)
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			for offset := range len(text) {
				if p := doc.Position(offset); doc.KeyAt(offset).Entry < -1 || p.Line < 1 {
					t.Errorf("offset %d is at %v", offset, p)
				}
			}
		})
	}
	group.Wait()
}
