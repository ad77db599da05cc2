package spec

import "testing"

// A key with blanks behind it is what every key looks like while it is typed.
func TestKeyWithBlanksBehindIt(t *testing.T) {
	for _, text := range []string{"a  ", "a \t\r\r\rb", "a.b   \r x", "a \r=1", "\"a\"  \r   =1", "a  # x", "[m]\nfile \n"} {
		if _, problems := ParsePart("x.part.toml", []byte(text)); len(problems) == 0 {
			t.Errorf("%q: no problem", text)
		}
	}
}
