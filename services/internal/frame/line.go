package frame

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// onLineMM is how far a post's nearest face may lie from a grid line that it still stands on.
const onLineMM = 25

// Posts are the indices of the posts that stand on the deck, in the order given.
func (f *Frame) Posts() []int {
	var posts []int
	for i, t := range f.draft.Timbers {
		if t.Role == RolePost && f.onDeck(i) {
			posts = append(posts, i)
		}
	}
	return posts
}

func (f *Frame) onDeck(i int) bool {
	for _, j := range f.jointsOf[i] {
		if f.ends[j][1] < 0 {
			return true
		}
	}
	return false
}

// BentLineOf is the label of the bent line that timber i stands on: a line that touches its section
// within 25 mm, the one nearest to its centre when several do. False when there is none.
func (f *Frame) BentLineOf(i int) (string, bool) { return f.lineOf(i, f.draft.Grid.BentLines) }

// WallLineOf is the label of the wall line that timber i stands on, in the same way.
func (f *Frame) WallLineOf(i int) (string, bool) { return f.lineOf(i, f.draft.Grid.WallLines) }

func (f *Frame) lineOf(i int, lines []GridLine) (string, bool) {
	s := f.sticks[i]
	foot := s.Start
	if s.End.Z < foot.Z {
		foot = s.End
	}
	label, nearest := "", math.Inf(1)
	for _, line := range lines {
		across := line.Across()
		off := math.Abs(geom.Dot(geom.Sub(foot, line.Point), across))
		if off <= s.ExtentMM(across)/2+onLineMM && off < nearest {
			label, nearest = line.Label, off
		}
	}
	return label, label != ""
}

// Along is the unit direction of the line.
func (l GridLine) Along() geom.Vec {
	s, c := math.Sincos(geom.Radians(l.HeadingDeg))
	return geom.V(c, s, 0)
}

// Across is the unit direction square to the line, level, to its left.
func (l GridLine) Across() geom.Vec {
	s, c := math.Sincos(geom.Radians(l.HeadingDeg))
	return geom.V(-s, c, 0)
}
