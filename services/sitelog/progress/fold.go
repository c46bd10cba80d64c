package progress

import (
	"slices"
	"sort"

	"github.com/pikepole/pikepole/services/sitelog/entry"
)

// piece is what is known of one piece of the plan.
type piece struct {
	arrived, placed, damaged, missing bool
	damagedInPlace, missedInPlace     bool
}

// fold is the state while entries are taken one by one.
type fold struct {
	plan       Plan
	pieces     map[string]*piece
	assemblies map[string]Assembly
	moves      map[int32]Move
	assembled  map[string]bool
	raised     map[string]bool
	done       map[int32]bool
	delays     map[entry.Cause]int64
	left       leftOut
}

func newFold(plan Plan) *fold {
	f := &fold{
		plan:       plan,
		pieces:     make(map[string]*piece, len(plan.Pieces)),
		assemblies: make(map[string]Assembly, len(plan.Assemblies)),
		moves:      make(map[int32]Move, len(plan.Moves)),
		assembled:  map[string]bool{},
		raised:     map[string]bool{},
		done:       map[int32]bool{},
		delays:     map[entry.Cause]int64{},
		left:       newLeftOut(),
	}
	for _, mark := range plan.Pieces {
		f.pieces[mark] = &piece{}
	}
	for _, a := range plan.Assemblies {
		f.assemblies[a.ID] = a
	}
	for _, m := range plan.Moves {
		f.moves[m.Number] = m
	}
	return f
}

func (f *fold) take(e entry.Accepted) {
	if e.Kind == entry.Delay {
		f.delays[e.Cause] += int64(e.DelayMinutes)
		return
	}
	if e.Kind == entry.Note {
		return
	}
	if f.plan.Revision == 0 {
		f.left.withoutFrame++
		return
	}
	switch e.Kind {
	case entry.PiecesArrived, entry.PiecesPlaced, entry.PiecesDamaged, entry.PiecesMissing:
		f.takePieces(e)
	case entry.BentAssembled, entry.BentRaised:
		f.takeBent(e)
	case entry.MoveStarted, entry.MoveDone:
		f.takeMove(e)
	}
}

func (f *fold) takePieces(e entry.Accepted) {
	for _, mark := range distinct(e.Marks) {
		p, planned := f.pieces[mark]
		if !planned {
			f.left.marks[mark] = true
			continue
		}
		switch e.Kind {
		case entry.PiecesArrived:
			p.arrived, p.missing = true, false
		case entry.PiecesPlaced:
			p.place()
		case entry.PiecesDamaged:
			p.damaged = true
			p.damagedInPlace = p.damagedInPlace || p.placed
		case entry.PiecesMissing:
			if p.placed {
				p.missedInPlace = true
				continue
			}
			p.arrived, p.missing = false, true
		}
	}
}

func (p *piece) place() { p.placed, p.arrived, p.missing = true, true, false }

func (f *fold) takeBent(e entry.Accepted) {
	a, planned := f.assemblies[e.Assembly]
	if !planned {
		f.left.assemblies[e.Assembly] = true
		return
	}
	f.assembled[a.ID] = true
	if e.Kind == entry.BentRaised {
		f.raise(a)
	}
}

func (f *fold) raise(a Assembly) {
	f.assembled[a.ID], f.raised[a.ID] = true, true
	f.placeAll(a.Marks)
}

func (f *fold) placeAll(marks []string) {
	for _, mark := range marks {
		if p, planned := f.pieces[mark]; planned {
			p.place()
		}
	}
}

func (f *fold) takeMove(e entry.Accepted) {
	switch {
	case e.Revision < f.plan.Revision:
		f.left.olderMoves++
		return
	case e.Revision > f.plan.Revision:
		f.left.newerMoves++
		return
	case f.plan.NoMoves != "":
		f.left.unplannedMoves++
		return
	}
	m, planned := f.moves[e.Move]
	if !planned {
		f.left.moves[e.Move] = true
		return
	}
	if e.Kind != entry.MoveDone {
		return
	}
	f.done[m.Number] = true
	f.placeAll(m.Marks)
	if a, whole := f.assemblies[m.Assembly]; whole {
		f.raise(a)
	}
}

// result counts. A move whose pieces all stand is done, although no entry says so.
func (f *fold) result() Progress {
	p := Progress{Pieces: len(f.pieces), Moves: len(f.moves)}
	for mark, piece := range f.pieces {
		p.Arrived += one(piece.arrived)
		p.Placed += one(piece.placed)
		if piece.damaged && !piece.placed {
			p.Damaged = append(p.Damaged, mark)
		}
		if piece.missing {
			p.Missing = append(p.Missing, mark)
		}
		f.left.notePiece(mark, piece)
	}
	sort.Strings(p.Damaged)
	sort.Strings(p.Missing)
	for _, a := range f.assemblies {
		if a.Bent {
			p.Bents++
			p.Assembled += one(f.assembled[a.ID])
			p.Raised += one(f.raised[a.ID])
		}
	}
	for number, m := range f.moves {
		if f.done[number] || f.allPlaced(m.Marks) {
			p.MovesDone++
		} else if p.NextMove == 0 || number < p.NextMove {
			p.NextMove = number
		}
	}
	for cause, minutes := range f.delays {
		p.Delays = append(p.Delays, Delay{Cause: cause, Minutes: minutes})
	}
	sort.Slice(p.Delays, func(i, j int) bool { return p.Delays[i].Cause < p.Delays[j].Cause })
	p.Remarks = f.left.remarks(f.plan)
	return p
}

func (f *fold) allPlaced(marks []string) bool {
	for _, mark := range marks {
		if p, planned := f.pieces[mark]; !planned || !p.placed {
			return false
		}
	}
	return len(marks) > 0
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// distinct keeps the first of equal marks.
func distinct(marks []string) []string {
	if len(marks) < 2 {
		return marks
	}
	sorted := slices.Clone(marks)
	slices.Sort(sorted)
	return slices.Compact(sorted)
}
