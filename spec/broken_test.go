package spec

import (
	"fmt"
	"strings"
	"testing"
)

// halfTyped is what a line looks like while somebody writes it, or after an
// accident. says is what the one problem says; fixed is the line after the first fix.
var halfTyped = []struct{ line, says, fixed string }{
	{`use`, `"use" has no value.`, ``},
	{`us`, `"us" has no value.`, ``},
	{`use =`, `"use" has no value behind the equals sign.`, ``},
	{`use = `, `"use" has no value behind the equals sign.`, ``},
	{`use = # later`, `"use" has no value behind the equals sign.`, ``},
	{`use = "gen`, `The text of "use" is not closed.`, `use = "gen"`},
	{`use = 'gen`, `The text of "use" is not closed.`, `use = 'gen'`},
	{`use = "`, `The text of "use" is not closed.`, `use = ""`},
	{`use = "gen # all`, `The text of "use" is not closed.`, `use = "gen # all"`},
	{`use = """gen`, `The long text of "use" is not closed.`, ``},
	{`use = '''`, `The long text of "use" is not closed.`, ``},
	{`use = general`, `The value of "use" is a text without quotes: general.`, `use = "general"`},
	{`use = general # all`, `The value of "use" is a text without quotes: general.`, `use = "general" # all`},
	{`use = 0.4mm`, `The value of "use" is a text without quotes: 0.4mm.`, `use = "0.4mm"`},
	{`use = 0.4 mm`, `The value of "use" is a text without quotes: 0.4 mm.`, `use = "0.4 mm"`},
	{`use = 45 deg`, `The value of "use" is a text without quotes: 45 deg.`, `use = "45 deg"`},
	{`use = 10 µm`, `The value of "use" is a text without quotes: 10 µm.`, `use = "10 µm"`},
	{`use = +-0.05 mm`, `The value of "use" is a text without quotes: +-0.05 mm.`, `use = "+-0.05 mm"`},
	{`use = PBF-LB/M`, `The value of "use" is a text without quotes: PBF-LB/M.`, `use = "PBF-LB/M"`},
	{`use = “general”`, `The quotes of "use" are typographic ones.`, `use = "general"`},
	{`quantity = 1,5`, `The number of "quantity" has a comma in it.`, `quantity = 1.5`},
	{`quantity = True`, `The value of "quantity" is True, which TOML writes in small letters.`, `quantity = true`},
	{`quantity = 1 2`, `There is more on the line behind the value of "quantity".`, ``},
	{`use = "a" "b"`, `There is more on the line behind the value of "use".`, ``},
	{`use = "a\q"`, `The text of "use" has a backslash that means nothing.`, ``},
	{`use = [`, `The list of "use" is not closed.`, `use = []`},
	{`use = [1, 2`, `The list of "use" is not closed.`, `use = [1, 2]`},
	{`use = [1, 2,`, `The list of "use" is not closed.`, ``},
	{`use = ["a", "b`, `A text in the list of "use" is not closed.`, `use = ["a", "b"]`},
	{`use = { x = "1 mm`, `A text in the inline table of "use" is not closed.`, `use = { x = "1 mm"}`},
	{`use = [1 2]`, `A comma is missing between two entries of "use".`, `use = [1 , 2]`},
	{`use = [1, mm]`, `The value of "use" can't be read: unexpected character U+006D 'm' at start of value.`, ``},
	{"use = [\n  \"a\",\n  \"b\n]", `The value of "use" can't be read: basic strings cannot have new lines.`, ``},
	{"use = [\n  \"a\"\n  \"b\"\n]", `A comma is missing between two entries of "use".`, "use = [\n  \"a\"\n  , \"b\"\n]"},
	{`use = {`, `The inline table of "use" is not closed.`, `use = {}`},
	{`use = { x = 1`, `The inline table of "use" is not closed.`, `use = { x = 1}`},
	{`use = { x = 1, y }`, `The value of "use" can't be read: expected '=' after key.`, ``},
	{`use = { x = 1 y = 2 }`, `A comma is missing between two entries of "use".`, `use = { x = 1 , y = 2 }`},
	{"use = {\n  x = 1,\n  y = ,\n}", `The value of "use" can't be read: unexpected character U+002C ',' at start of value.`, ``},
	{"use = {\n  x = 1,\n  y = 2,\n", `The inline table of "use" is not closed.`, ``},
	{`use: general`, `A colon stands behind "use" where TOML has an equals sign.`, `use = general`},
	{`my use = 1`, `The key "my use" has a blank in it.`, `my-use = 1`},
	{`"my use`, `The key that starts with "my use" is not finished.`, ``},
	{`wall.`, `The key that starts with "wall" is not finished.`, ``},
	{`wall.thick`, `"wall.thick" has no value.`, ``},
	{`= 1`, `A line can't start with "=".`, ``},
	{`ø = 1`, `A line can't start with "ø".`, ``},
	{`- use`, `"-" has no value.`, ``},
	{`// use`, `A line can't start with "/".`, ``},
	{`<<<<<<< ours`, `A merge conflict is left in the file.`, ``},
	{`=======`, `A merge conflict is left in the file.`, ``},
	{`>>>>>>> theirs`, `A merge conflict is left in the file.`, ``},
	{`[`, `The table header has no name.`, ``},
	{`[[`, `The table header has no name.`, ``},
	{`[]`, `The table header has no name.`, ``},
	{`[budget`, `The header of table "budget" is not closed.`, `[budget]`},
	{`[[face`, `The header of table "face" is not closed.`, `[[face]]`},
	{`[[face]`, `The header of table "face" is not closed.`, `[[face]]`},
	{`[[face] # next`, `The header of table "face" is not closed.`, `[[face]] # next`},
	{`[budget] cost = 3`, `There is more on the line behind the header of table "budget".`, ``},
	{`[budget]]`, `There is more on the line behind the header of table "budget".`, ``},
	{`[my budget]`, `A name in the table header needs quotes.`, `["my budget"]`},
	{`[limits.PBF-LB/M]`, `A name in the table header needs quotes.`, `[limits."PBF-LB/M"]`},
	{`[limits."PBF-LB/M".machine.bay 2]`, `A name in the table header needs quotes.`, `[limits."PBF-LB/M".machine."bay 2"]`},
	{`quantity = 007`, `The value of "quantity" can't be read: integers cannot have leading zeroes.`, ``},
}

// around is a spec with three places for a line.
const around = `schema   = 1
part     = "Ring"
process  = "PBF-LB/M"
material = "316L"
%s
[mesh]
file  = "a.stl"
units = "mm"
%s
[[hole]]
name     = "h"
at       = [1, 2, 3]
diameter = "4 mm"
%s
[orientation]
up   = "+x"
turn = "90 deg"
%s`

// TestHalfTyped puts each line into each place of a spec. Nothing else of the
// spec may be lost, and there is one problem about the line, on the line.
func TestHalfTyped(t *testing.T) {
	for _, c := range halfTyped {
		for place := range 4 {
			t.Run(fmt.Sprintf("%s/%d", c.line, place), func(t *testing.T) {
				lines := [4]any{"", "", "", ""}
				lines[place] = c.line
				text := fmt.Sprintf(around, lines[:]...)
				p, problems := ParsePart("x.part.toml", []byte(text))
				goodKeys(t, text, p)
				start := strings.Index("\n"+text, "\n"+c.line+"\n")
				if start < 0 {
					start = len(text) - len(c.line) // the last line
				}
				var first *Problem
				for i := range problems {
					r := problems[i].At
					if r.Start >= start && r.Start <= start+len(c.line) && first == nil {
						first = &problems[i]
					}
					if !(r.Start >= start && r.Start <= start+len(c.line)+1) {
						t.Errorf("a problem elsewhere: %v %s", p.Doc.Position(r.Start), problems[i].Message)
					}
				}
				if first == nil {
					t.Fatalf("no problem on the line; got %+v", problems)
				}
				if first.Message != c.says || first.Help == "" || len(problems) != 1 {
					t.Errorf("got %d problems, first %q, want %q", len(problems), first.Message, c.says)
				}
				if !p.Doc.Partial {
					t.Error("the text does not count as partial")
				}
				fixed := ""
				if len(first.Fixes) > 0 {
					fixed = apply(text, first.Fixes[0])
				}
				want := ""
				if c.fixed != "" {
					lines[place] = c.fixed
					want = fmt.Sprintf(around, lines[:]...)
				}
				if fixed != want {
					t.Errorf("the fix gives\n%s\nwant\n%s", fixed, want)
				}
				checkRanges(t, p.Doc)
			})
		}
	}
}

func apply(text string, f Fix) string { return text[:f.At.Start] + f.Text + text[f.At.End:] }

// goodKeys checks everything that around holds, and its places.
func goodKeys(t *testing.T, text string, p *Part) {
	t.Helper()
	at := func(r Range, want string) {
		t.Helper()
		if got := text[r.Start:r.End]; got != want {
			t.Errorf("the range of %s holds %q", want, got)
		}
	}
	check := func(ok bool, what string) {
		t.Helper()
		if !ok {
			t.Errorf("%s was lost", what)
		}
	}
	check(p.Schema.V == 1 && p.Schema.Set, "schema")
	check(p.Name.V == "Ring", "part")
	check(p.Process.V == "PBF-LB/M", "process")
	check(p.Material.V == "316L", "material")
	check(p.Mesh.File.V == "a.stl", "mesh.file")
	check(p.Mesh.Units.V == "mm", "mesh.units")
	if len(p.Holes) != 1 {
		t.Fatalf("%d holes", len(p.Holes))
	}
	h := p.Holes[0]
	check(h.Name.V == "h", "hole.name")
	check(h.At.V == Vec3{1, 2, 3}, "hole.at")
	check(h.Diameter.V.V == 4, "hole.diameter")
	check(p.Orientation.Up.V == Vec3{1, 0, 0}, "orientation.up")
	check(p.Orientation.Turn.V.Num == 90, "orientation.turn")
	at(p.Material.At, `"316L"`)
	at(p.Mesh.Units.Key, "units")
	at(h.At.At, "[1, 2, 3]")
	at(h.Table, "[[hole]]")
	at(p.Orientation.Up.At, `"+x"`)
}
