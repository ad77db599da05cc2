package spec

import "bytes"

// This file defines the small scanner that looks at a statement before a
// library does: how far it reaches and how deep it nests. It judges nothing
// else, so it needs to know strings, comments and brackets only.

// extent is how far a statement reaches.
type extent struct {
	end     int  // offset of the line end behind it, or of the end of the text
	closed  bool // every bracket and long string that it opens is closed
	tooDeep int  // offset of the first bracket or key part beyond the bounds, or -1
	deepKey bool // it is a key part, not a bracket
	values  int  // entries, counted by commas
}

// measure finds the extent of the statement at pos. A header ends with its
// line, a key with the first line end outside every bracket and long string.
// Strings in one pair of quotes end with their line, closed or not.
func measure(text []byte, pos int, b Bounds) extent {
	e := extent{closed: true, tooDeep: -1}
	header := text[pos] == '['
	depth, parts := 0, 1
	i := pos
	deep := func(at int, key bool) {
		if e.tooDeep < 0 {
			e.tooDeep, e.deepKey = at, key
		}
	}
	for i < len(text) {
		switch c := text[i]; c {
		case '\n':
			if depth == 0 || header {
				e.end = i
				return e
			}
			parts = 1
			i++
		case '#':
			i = lineEnd(text, i)
		case '"', '\'':
			end, ok := skipString(text, i)
			if !ok && end == len(text) && isLong(text, i) {
				e.end, e.closed = end, false
				return e
			}
			i = end
		case '[', '{':
			if depth++; depth > b.Depth && !header {
				deep(i, false)
				e.end, e.closed = lineEnd(text, i), false
				return e
			}
			parts = 1
			i++
		case ']', '}':
			depth = max(depth-1, 0)
			i++
		case '.':
			if parts++; parts > b.KeyParts {
				deep(i, true)
				e.end, e.closed = lineEnd(text, i), false
				return e
			}
			i++
		case ' ', '\t', '\r':
			i++
		default:
			if !isBareKey(c) {
				parts = 1
			}
			if c == ',' {
				e.values++
			}
			i++
		}
	}
	e.end, e.closed = len(text), depth == 0 || header
	return e
}

func isLong(text []byte, i int) bool {
	return i+2 < len(text) && text[i+1] == text[i] && text[i+2] == text[i]
}

// skipString returns the offset behind the string that starts at i and whether
// it is closed. A string in single pairs of quotes stops before the line end.
func skipString(text []byte, i int) (int, bool) {
	quote := text[i]
	if isLong(text, i) {
		for j := i + 3; j < len(text); j++ {
			switch {
			case text[j] == '\\' && quote == '"':
				j++
			case text[j] == quote && isLong(text, j):
				j += 3
				for extra := 0; extra < 2 && j < len(text) && text[j] == quote; extra++ {
					j++
				}
				return j, true
			}
		}
		return len(text), false
	}
	for j := i + 1; j < len(text); j++ {
		switch {
		case text[j] == '\n':
			if text[j-1] == '\r' {
				j--
			}
			return j, false
		case text[j] == '\\' && quote == '"' && j+1 < len(text) && text[j+1] != '\n' && text[j+1] != '\r':
			j++
		case text[j] == quote:
			return j + 1, true
		}
	}
	return len(text), false
}

// lineEnd returns the offset of the LF that ends the line of i, or the end of
// the text.
func lineEnd(text []byte, i int) int {
	if n := bytes.IndexByte(text[i:], '\n'); n >= 0 {
		return i + n
	}
	return len(text)
}

func isBareKey(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_'
}

func skipBlank(text []byte, i int) int {
	for i < len(text) && (text[i] == ' ' || text[i] == '\t') {
		i++
	}
	return i
}

// scanKey reads a dotted key as far as it goes, quotes open at the end of the
// line included. It returns the parts and the offset behind the last one; ok
// says that the key is whole.
func scanKey(text []byte, i int) (parts []KeyPart, end int, ok bool) {
	end = i
	for {
		i = skipBlank(text, i)
		start := i
		switch {
		case i < len(text) && (text[i] == '"' || text[i] == '\'') && !isLong(text, i):
			stop, closed := skipString(text, i)
			if !closed {
				stop = trimRange(text, Range{start, stop}).End
			}
			inner := text[start+1 : stop]
			if closed {
				inner = text[start+1 : stop-1]
			}
			parts = append(parts, KeyPart{string(inner), Range{start, stop}})
			i, end = stop, stop
			if !closed {
				return parts, end, false
			}
		default:
			for i < len(text) && isBareKey(text[i]) {
				i++
			}
			if i == start {
				return parts, end, false
			}
			parts = append(parts, KeyPart{string(text[start:i]), Range{start, i}})
			end = i
		}
		i = skipBlank(text, i)
		if i >= len(text) || text[i] != '.' {
			return parts, end, true
		}
		i++
		end = i
	}
}

// looksLikeHeader says that the line at i is "[name]" or "[[name]]" alone.
func looksLikeHeader(text []byte, i int) bool {
	i = skipBlank(text, i)
	if i >= len(text) || text[i] != '[' {
		return false
	}
	i++
	double := i < len(text) && text[i] == '['
	if double {
		i++
	}
	_, i, ok := scanKey(text, i)
	if !ok {
		return false
	}
	i = skipBlank(text, i)
	closers := 1
	if double {
		closers = 2
	}
	for ; closers > 0; closers-- {
		if i >= len(text) || text[i] != ']' {
			return false
		}
		i++
	}
	i = skipBlank(text, i)
	return i >= len(text) || text[i] == '\n' || text[i] == '\r' || text[i] == '#'
}

// looksLikeKey says that the line at i starts with "key =".
func looksLikeKey(text []byte, i int) bool {
	i = skipBlank(text, i)
	_, i, ok := scanKey(text, i)
	if !ok {
		return false
	}
	i = skipBlank(text, i)
	return i < len(text) && text[i] == '='
}
