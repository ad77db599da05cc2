package spec

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// This file defines how messages are worded: lists, shortened texts, and the
// name that was probably meant.

// shownMax is the longest piece of the user's text that a message repeats, in
// code points: a message stays one readable line whatever the file holds.
const shownMax = 40

// short shortens a text for a message and keeps it on one line.
func short(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s)
	if utf8.RuneCountInString(s) <= shownMax {
		return s
	}
	n := 0
	for i := range s {
		if n == shownMax-3 {
			return s[:i] + "..."
		}
		n++
	}
	return s
}

// listOf joins names for a sentence: "a, b or c".
func listOf(names []string, last string) string {
	switch len(names) {
	case 0:
		return ""
	case 1:
		return names[0]
	}
	n := len(names) - 1
	return strings.Join(names[:n], ", ") + " " + last + " " + names[n]
}

// capital returns a sentence with a capital first letter.
func capital(s string) string {
	if s != "" && s[0] >= 'a' && s[0] <= 'z' {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}

// count writes a number of things: "1 number", "2 numbers".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// quotedList is listOf with each name in quotes.
func quotedList(names []string, last string) string {
	quoted := make([]string, len(names))
	for i, n := range names {
		quoted[i] = strconv.Quote(n)
	}
	return listOf(quoted, last)
}

// nearest returns the name that is closest to what was written, or "" when
// none is close enough to be a slip of the hand: at most one slip in three
// characters. Case and the difference between blank, underscore and hyphen
// cost nothing. Among equals the first of the list wins, so that answers don't
// depend on chance.
func nearest(written string, names []string) string {
	w := fold(written)
	best, bestSlips := "", 1+max(1, (min(utf8.RuneCountInString(w), 3*shownMax)+1)/3)
	for _, name := range names {
		if d := slips(w, fold(name), bestSlips); d < bestSlips {
			best, bestSlips = name, d
		}
	}
	return best
}

func fold(s string) string {
	return strings.ToLower(strings.NewReplacer("_", "-", " ", "-").Replace(s))
}

// slips counts the least number of inserted, lost, changed and swapped
// neighbouring characters between two words (Damerau 1964, "A technique for
// computer detection and correction of spelling errors"; the restricted form).
// It returns limit as soon as the answer can't be below it.
func slips(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if d := len(x) - len(y); d >= limit || -d >= limit {
		return limit
	}
	before, prev, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row[0] = i
		least := i
		for j := 1; j <= len(y); j++ {
			change := 1
			if x[i-1] == y[j-1] {
				change = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+change)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
			least = min(least, row[j])
		}
		if least >= limit {
			return limit
		}
		before, prev, row = prev, row, before
	}
	return min(prev[len(y)], limit)
}
