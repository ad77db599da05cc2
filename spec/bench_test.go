package spec

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// longSpec is a spec of about that many lines: the demo's first part with more
// holes, faces, limits and waivers.
func longSpec(tb testing.TB, lines int) string {
	text, err := os.ReadFile("../testdata/demo/parts/distributor.part.toml")
	if err != nil {
		tb.Fatal(err)
	}
	var b strings.Builder
	b.Write(text)
	for i := 0; strings.Count(b.String(), "\n") < lines-14; i++ {
		fmt.Fprintf(&b, "\n[[hole]]           # one of many\nname      = \"bore %d\"\nat        = [%d, 2.5, -3]\ndiameter  = \"%d mm\"\nfinish    = \"ream\"\ntolerance = \"H7\"\n", i, i, i+1)
		fmt.Fprintf(&b, "\n[[waiver]]\ncheck  = \"overhang\"\nnear   = [%d, 18, 22]\nwithin = \"6 mm\"\nreason = \"roof of the sump is machined away\"\nuntil  = 2027-06-30\n", i)
	}
	b.WriteString("\n[limits]\nwall.thickness = \"0.6 mm\"\nhole.roof      = { value = \"5 mm\", source = \"test piece\" }\n")
	return b.String()
}

// BenchmarkParsePart reads a spec with an edit that is new in every round, so
// that no cache could answer.
func BenchmarkParsePart(b *testing.B) {
	for _, lines := range []int{50, 200, 2000} {
		text := longSpec(b, lines)
		if _, problems := ParsePart("x.part.toml", []byte(text)); len(problems) > 0 {
			b.Fatalf("%+v", problems[0])
		}
		for _, c := range []struct{ name, old, new string }{
			{"whole", "quantity = 8", "quantity = %d"},
			{"half-typed", "quantity = 8", "quantity = \"%d"},
		} {
			b.Run(fmt.Sprintf("%s/%d", c.name, strings.Count(text, "\n")), func(b *testing.B) {
				b.ReportAllocs()
				var read int
				for i := range b.N {
					p, _ := ParsePart("x.part.toml", []byte(strings.Replace(text, c.old, fmt.Sprintf(c.new, i+1), 1)))
					read += len(p.Holes)
				}
				if read == 0 {
					b.Fatal("nothing was read")
				}
			})
		}
	}
}

func BenchmarkParseShop(b *testing.B) {
	text, err := os.ReadFile("../testdata/demo/shop.toml")
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	var read int
	for range b.N {
		s, _ := ParseShop("shop.toml", text)
		read += len(s.Machines)
	}
	if read == 0 {
		b.Fatal("nothing was read")
	}
}

func BenchmarkPosition(b *testing.B) {
	text := []byte(longSpec(b, 2000))
	d := &Doc{Text: text}
	sum := 0
	for i := range b.N {
		sum += d.Position(i * 7919 % len(text)).Line
	}
	if sum == 0 {
		b.Fatal("no lines")
	}
}
