// Package progress folds the entries of a job's log into how far the job is.
//
// The rules:
//   - A corrected entry and its correction count for nothing, in whatever order they happened.
//   - Entries are taken by the time at which they happened, then by their place in the log.
//   - A piece is placed when an entry places it, when its bent is raised, or when the move that brings it is done. A placed
//     piece has arrived, and a raised bent has been assembled, whether or not an entry says so.
//   - A move is done when an entry says so, or when every piece that it brings is in its place. When a move that brings a
//     whole bent is done, the bent is raised.
//   - A piece reported missing is missing until it arrives or is placed, and does not count as arrived meanwhile.
//   - Moves are numbered by the raising order of a revision. A move numbered by another revision than the planned one is not
//     counted; a remark says how many entries that leaves out.
//   - Whatever names a piece, an assembly or a move that the plan does not have is left out, and a remark says so.
package progress

import (
	"sort"
	"time"

	"github.com/pikepole/pikepole/services/sitelog/entry"
)

// Plan is what a job's newest frame and its raising order ask for.
type Plan struct {
	Revision   int32 // of the frame; 0 when the job has no frame yet
	Pieces     []string
	Assemblies []Assembly
	Moves      []Move
	NoMoves    string // why there is no raising order, as a sentence; empty when there is one
}

// Assembly is what is put together flat and raised as one.
type Assembly struct {
	ID    string
	Bent  bool // counted among the bents; other assemblies only place their pieces
	Marks []string
}

// Move is one step of the raising order.
type Move struct {
	Number   int32
	Assembly string // empty for loose pieces
	Marks    []string
}

// Progress is how far a job is.
type Progress struct {
	Pieces, Arrived, Placed  int
	Damaged, Missing         []string // marks, sorted
	Bents, Assembled, Raised int
	Moves, MovesDone         int
	NextMove                 int32 // the first move that is not done; 0 when all are
	Delays                   []Delay
	Entries                  int       // of the log, corrections and corrected ones among them
	Newest                   time.Time // when the newest of them happened; zero when there are none
	Remarks                  []string
}

// Delay is the time lost to one cause.
type Delay struct {
	Cause   entry.Cause
	Minutes int64
}

// Hours is the length of the delay in hours.
func (d Delay) Hours() float64 { return float64(d.Minutes) / 60 }

// Log gathers entries, in any order and any number of parts. The zero Log is empty and ready. It is not safe for
// concurrent use.
type Log struct {
	entries   []entry.Accepted
	seen      map[string]bool
	corrected map[string]bool
}

// Add takes entries into the log. An entry whose id is there already changes nothing.
func (l *Log) Add(entries ...entry.Accepted) {
	if l.seen == nil {
		l.seen, l.corrected = map[string]bool{}, map[string]bool{}
	}
	for _, e := range entries {
		if l.seen[e.ID] {
			continue
		}
		l.seen[e.ID] = true
		if e.Kind == entry.Correction {
			l.corrected[e.Corrects] = true
		}
		l.entries = append(l.entries, e)
	}
}

// Fold tells how far the job is by a plan.
func (l *Log) Fold(plan Plan) Progress {
	ordered := append([]entry.Accepted(nil), l.entries...)
	sort.Slice(ordered, func(i, j int) bool {
		if !ordered[i].OccurTime.Equal(ordered[j].OccurTime) {
			return ordered[i].OccurTime.Before(ordered[j].OccurTime)
		}
		return ordered[i].Position < ordered[j].Position
	})
	f := newFold(plan)
	for _, e := range ordered {
		if e.Kind != entry.Correction && !l.corrected[e.ID] {
			f.take(e)
		}
	}
	p := f.result()
	p.Entries = len(ordered)
	if len(ordered) > 0 {
		p.Newest = ordered[len(ordered)-1].OccurTime
	}
	return p
}
