// Package spectest holds what tests of specs share: expectations that stand as
// comments on the lines of a spec.
//
// A line that ends with
//
//	# want wall "thinner than 0.5" hole "Ø" "roof"
//
// expects one finding of check wall whose message matches the first regular
// expression, and two of check hole, all on that line. Findings and
// expectations match one to one: Diff names every one of either that is left.
// Expressions stand in double quotes or backquotes, as in Go.
package spectest

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Want is one expected finding.
type Want struct {
	Line    int // 1-based
	Check   string
	Message *regexp.Regexp
}

// Got is one finding that was made.
type Got struct {
	Line    int // 1-based
	Check   string
	Message string
}

const mark = "# want "

// Wants reads the expectations of a text.
func Wants(text []byte) ([]Want, error) {
	var all []Want
	for i, line := range strings.Split(string(text), "\n") {
		_, rest, ok := strings.Cut(line, mark)
		if !ok {
			continue
		}
		wants, err := parse(strings.TrimSpace(rest))
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
		for _, w := range wants {
			w.Line = i + 1
			all = append(all, w)
		}
	}
	return all, nil
}

// parse reads check names, each followed by one or more quoted expressions.
func parse(s string) ([]Want, error) {
	var wants []Want
	check := ""
	for s != "" {
		if s[0] != '"' && s[0] != '`' {
			name, rest, _ := strings.Cut(s, " ")
			check, s = name, strings.TrimSpace(rest)
			if s == "" || s[0] != '"' && s[0] != '`' {
				return nil, fmt.Errorf("no quoted expression behind %q", name)
			}
			continue
		}
		if check == "" {
			return nil, fmt.Errorf("no check before %s", s)
		}
		quoted, err := strconv.QuotedPrefix(s)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", s, err)
		}
		source, err := strconv.Unquote(quoted)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", quoted, err)
		}
		rx, err := regexp.Compile(source)
		if err != nil {
			return nil, err
		}
		wants = append(wants, Want{Check: check, Message: rx})
		s = strings.TrimSpace(s[len(quoted):])
	}
	if len(wants) == 0 {
		return nil, fmt.Errorf("nothing is wanted")
	}
	return wants, nil
}

// Diff matches findings and expectations one to one and describes what is left
// of both, in order of lines. It is empty when all is as expected.
func Diff(wants []Want, got []Got) []string {
	taken := make([]bool, len(wants))
	var left []string
	for _, g := range got {
		i := match(wants, taken, g)
		if i < 0 {
			left = append(left, fmt.Sprintf("line %d: unexpected %s: %s", g.Line, g.Check, g.Message))
			continue
		}
		taken[i] = true
	}
	for i, w := range wants {
		if !taken[i] {
			left = append(left, fmt.Sprintf("line %d: no %s that matches %q", w.Line, w.Check, w.Message))
		}
	}
	return left
}

func match(wants []Want, taken []bool, g Got) int {
	for i, w := range wants {
		if !taken[i] && w.Line == g.Line && w.Check == g.Check && w.Message.MatchString(g.Message) {
			return i
		}
	}
	return -1
}
