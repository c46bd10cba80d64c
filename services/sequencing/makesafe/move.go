package makesafe

import (
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// Moves are the moves of a raising as this package sees them. A day ends after the last move that its hours hold, going
// by the minutes of the moves one after another; a move that takes longer than a day has days of its own. The last
// move ends a day. Where the day has no hours, each move ends one.
func Moves(r *plan.Raising, f *frame.Frame, dayHours float64) []Move {
	moves := make([]Move, len(r.Moves))
	spent := 0.0
	for i := range r.Moves {
		m := &r.Moves[i]
		moves[i] = Move{Number: m.Number, Pieces: m.Pieces, Home: m.Home, Hands: m.Machine == work.Hands}
		for _, id := range m.Joints {
			if j, ok := f.JointIndex(id); ok {
				moves[i].Joints = append(moves[i].Joints, j)
			}
		}
		if i > 0 && spent+m.Minutes > dayHours*60 {
			moves[i-1].DayEnds = true
			spent = 0
		}
		spent += m.Minutes
	}
	if n := len(moves); n > 0 {
		moves[n-1].DayEnds = true
	}
	return moves
}
