package progress

import (
	"fmt"
	"sort"
	"strings"
)

// maxNamed bounds how many marks, assemblies or moves one remark names; the others are counted.
const maxNamed = 20

// leftOut gathers what could not be folded in, or what a reader would not expect.
type leftOut struct {
	withoutFrame                           int
	marks, assemblies                      map[string]bool
	moves                                  map[int32]bool
	olderMoves, newerMoves, unplannedMoves int
	damagedInPlace, missedInPlace          []string
}

func newLeftOut() leftOut {
	return leftOut{marks: map[string]bool{}, assemblies: map[string]bool{}, moves: map[int32]bool{}}
}

func (l *leftOut) notePiece(mark string, p *piece) {
	if p.damagedInPlace {
		l.damagedInPlace = append(l.damagedInPlace, mark)
	}
	if p.missedInPlace {
		l.missedInPlace = append(l.missedInPlace, mark)
	}
}

func (l *leftOut) remarks(plan Plan) []string {
	var all []string
	say := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	if l.withoutFrame > 0 {
		say("The job has no frame yet: %s of pieces, bents or moves left out.", entries(l.withoutFrame))
	}
	if plan.Revision > 0 && plan.NoMoves != "" {
		say("There is no raising order, so no moves are counted: %s", plan.NoMoves)
	}
	if len(l.marks) > 0 {
		say("Not in revision %d of the frame, so left out: pieces %s.", plan.Revision, named(keys(l.marks)))
	}
	if len(l.assemblies) > 0 {
		say("Not in revision %d of the frame, so left out: assemblies %s.", plan.Revision, named(keys(l.assemblies)))
	}
	if len(l.moves) > 0 {
		say("Not in the raising order of revision %d, so left out: moves %s.", plan.Revision, named(numbers(l.moves)))
	}
	if l.olderMoves > 0 {
		say("Moves are numbered by the raising order of revision %d: %s of moves of older revisions left out.", plan.Revision, entries(l.olderMoves))
	}
	if l.newerMoves > 0 {
		say("The newest frame is revision %d: %s of moves of revisions that do not exist left out.", plan.Revision, entries(l.newerMoves))
	}
	if l.unplannedMoves > 0 {
		say("Without a raising order, %s of moves left out.", entries(l.unplannedMoves))
	}
	if len(l.damagedInPlace) > 0 {
		sort.Strings(l.damagedInPlace)
		say("Reported damaged after being placed: pieces %s.", named(l.damagedInPlace))
	}
	if len(l.missedInPlace) > 0 {
		sort.Strings(l.missedInPlace)
		say("Reported missing after being placed, and counted as placed: pieces %s.", named(l.missedInPlace))
	}
	return all
}

func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

func named(names []string) string {
	if len(names) <= maxNamed {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:maxNamed], ", "), len(names)-maxNamed)
}

func keys(m map[string]bool) []string {
	names := make([]string, 0, len(m))
	for k := range m {
		names = append(names, k)
	}
	sort.Strings(names)
	return names
}

func numbers(m map[int32]bool) []string {
	all := make([]int, 0, len(m))
	for n := range m {
		all = append(all, int(n))
	}
	sort.Ints(all)
	names := make([]string, len(all))
	for i, n := range all {
		names[i] = fmt.Sprint(n)
	}
	return names
}
