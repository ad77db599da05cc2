package output

import (
	"fmt"
	"io"
	"testing"
)

// BenchmarkWrite writes the findings of many parts, one or two each.
func BenchmarkWrite(b *testing.B) {
	for _, parts := range []int{100, 10000} {
		d := some(parts)
		for _, f := range Formats() {
			b.Run(fmt.Sprintf("%s/%d", f, parts), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if err := Write(io.Discard, f, d, Options{}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
