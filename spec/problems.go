package spec

import (
	"cmp"
	"fmt"
	"slices"
)

// alike is how many problems of the same words are listed where no fix goes
// with them: five of a kind tell as much as two hundred.
const alike = 5

// problemList collects problems up to a number, and up to a number of each
// kind, so that a file full of nonsense costs little; what comes after is
// counted.
type problemList struct {
	list    []Problem
	max     int
	dropped int
	same    map[string]int
}

// full says that a further problem is only counted, so that its words need not
// be found.
func (l *problemList) full() bool { return len(l.list) >= l.max }

func (l *problemList) add(p Problem) {
	if l.full() || len(p.Fixes) == 0 && l.same[p.Message] == alike {
		l.dropped++
		return
	}
	if l.same == nil {
		l.same = map[string]int{}
	}
	l.same[p.Message]++
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
		end := l.list[len(l.list)-1].At.End // behind what it sums up, also when findings are sorted
		l.list = append(l.list, Problem{
			At: Range{end, end}, Level: "error", Message: fmt.Sprintf("%d more problems of this file are not listed.", l.dropped),
			Help: "Mend the ones before, or check that this is the right file.",
		})
	}
	return l.list
}
