package spec

import (
	"cmp"
	"fmt"
	"slices"
)

// problemList collects problems up to a number, so that a file full of
// nonsense costs little; what comes after is counted.
type problemList struct {
	list    []Problem
	max     int
	dropped int
}

// full says that a further problem is only counted, so that its words need not
// be found.
func (l *problemList) full() bool { return len(l.list) >= l.max }

func (l *problemList) add(p Problem) {
	if l.full() {
		l.dropped++
		return
	}
	l.list = append(l.list, p)
}

// sorted returns the problems in the order of the text. Problems of one place
// come in the order of their messages, so that the order depends on nothing
// but the text.
func (l *problemList) sorted() []Problem {
	slices.SortStableFunc(l.list, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.At.Start, b.At.Start), cmp.Compare(a.At.End, b.At.End), cmp.Compare(a.Message, b.Message))
	})
	if l.dropped > 0 {
		end := l.list[len(l.list)-1].At
		l.list = append(l.list, Problem{
			At: end, Level: "error", Message: fmt.Sprintf("%d more problems of this file are not listed.", l.dropped),
			Help: "Mend the ones before, or check that this is the right file.",
		})
	}
	return l.list
}
