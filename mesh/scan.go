package mesh

import (
	"bytes"
	"strconv"
)

// scanner walks through the words of a text. Blanks, tabs and every kind of
// line end separate words; a word is a slice of the text, so nothing is
// allocated however long a line is.
type scanner struct {
	data []byte
	pos  int
}

func isBlank(c byte) bool { return c == ' ' || c-'\t' < 5 }

// skipBlanks goes to the next word.
func (s *scanner) skipBlanks() {
	for s.pos < len(s.data) && isBlank(s.data[s.pos]) {
		s.pos++
	}
}

// word returns the next word, empty at the end of the text.
func (s *scanner) word() []byte {
	d, i := s.data, s.pos
	for i < len(d) && isBlank(d[i]) {
		i++
	}
	from := i
	for i < len(d) && !isBlank(d[i]) {
		i++
	}
	s.pos = i
	return d[from:i]
}

// lineWord returns the next word of the line, empty at its end.
func (s *scanner) lineWord() []byte {
	d, i := s.data, s.pos
	for i < len(d) && isBlank(d[i]) && d[i] != '\n' && d[i] != '\r' {
		i++
	}
	from := i
	for i < len(d) && !isBlank(d[i]) {
		i++
	}
	s.pos = i
	return d[from:i]
}

// skipLine goes to the start of the next line.
func (s *scanner) skipLine() {
	i := bytes.IndexAny(s.data[s.pos:], "\r\n")
	if i < 0 {
		s.pos = len(s.data)
		return
	}
	s.pos += i + 1
	if s.pos < len(s.data) && s.data[s.pos-1] == '\r' && s.data[s.pos] == '\n' {
		s.pos++
	}
}

// line counts the lines up to the position, from 1, for messages.
func (s *scanner) line() int {
	d := s.data[:min(s.pos, len(s.data))]
	if n := bytes.Count(d, []byte{'\n'}); n > 0 {
		return n + 1
	}
	return bytes.Count(d, []byte{'\r'}) + 1
}

// is compares a word with one in lower case, whatever its case.
func is(word []byte, lower string) bool {
	if len(word) != len(lower) {
		return false
	}
	for i, c := range word {
		if 'A' <= c && c <= 'Z' {
			c += 'a' - 'A'
		}
		if c != lower[i] {
			return false
		}
	}
	return true
}

// shown shortens a word from a file for a message.
func shown(word []byte) string {
	if len(word) > 40 {
		return strconv.Quote(string(word[:40])) + "..."
	}
	return strconv.Quote(string(word))
}

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parseNumber reads a decimal number that fills the word. Everything else that
// a number parser may accept (nan, inf, hexadecimal, underscores, a decimal
// comma) and what overflows is refused. The result is the double nearest to the
// text: digits up to 2^53 times or over a power of ten up to 10^22 are exact
// operands of one rounded operation (Clinger 1990, "How to Read Floating Point
// Numbers Accurately"), the rest goes to strconv.
func parseNumber(w []byte) (float64, bool) {
	i, neg := 0, false
	if len(w) > 0 && (w[0] == '-' || w[0] == '+') {
		neg = w[0] == '-'
		i++
	}
	var digits uint64
	n, exp := 0, 0 // digits seen after leading zeros; power of ten
	from := i
	for ; i < len(w) && w[i]-'0' < 10; i++ {
		digits = digits*10 + uint64(w[i]-'0')
		if digits > 0 {
			n++
		}
	}
	seen := i - from
	if i < len(w) && w[i] == '.' {
		i++
		from = i
		for ; i < len(w) && w[i]-'0' < 10; i++ {
			digits = digits*10 + uint64(w[i]-'0')
			if digits > 0 {
				n++
			}
		}
		exp = from - i
		seen += i - from
	}
	if seen == 0 {
		return 0, false
	}
	if i < len(w) && w[i]|0x20 == 'e' {
		e, size, ok := parseExponent(w[i+1:])
		if !ok {
			return 0, false
		}
		exp += e
		i += 1 + size
	}
	if i != len(w) {
		return 0, false
	}
	if n > 19 || digits > 1<<53 || exp < -22 || exp > 22 {
		v, err := strconv.ParseFloat(string(w), 64)
		return v, err == nil
	}
	v := float64(digits)
	if exp < 0 {
		v /= powersOfTen[-exp]
	} else {
		v *= powersOfTen[exp]
	}
	if neg {
		v = -v
	}
	return v, true
}

// parseExponent reads the digits after an e, which must be all of w.
func parseExponent(w []byte) (e, size int, ok bool) {
	i := 0
	if len(w) > 0 && (w[0] == '-' || w[0] == '+') {
		i++
	}
	from := i
	for ; i < len(w) && w[i]-'0' < 10; i++ {
		e = min(e*10+int(w[i]-'0'), 1<<20)
	}
	if i == from {
		return 0, 0, false
	}
	if w[0] == '-' {
		e = -e
	}
	return e, i, true
}

// parseIndex reads a whole number that fills the word.
func parseIndex(w []byte) (int64, bool) {
	i := 0
	if len(w) > 0 && (w[0] == '-' || w[0] == '+') {
		i++
	}
	if i == len(w) || len(w)-i > 18 {
		return 0, false
	}
	var v int64
	for _, c := range w[i:] {
		if c-'0' >= 10 {
			return 0, false
		}
		v = v*10 + int64(c-'0')
	}
	if w[0] == '-' {
		v = -v
	}
	return v, true
}
