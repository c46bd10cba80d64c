package standing

import (
	"cmp"
	"math"
	"slices"
)

// mark is the largest share of one kind at one piece so far, in numbers alone; words are made of it at the end.
type mark struct {
	share, demand, capacity float64
	// trial and end say where it was: the index of the trial and the end of the range of stiffness.
	trial, end int
	// how tells the ways of one kind apart, and formula is that of the share where it depends on the section.
	how     int
	formula string
	set     bool
}

// top keeps the larger of two shares. At a tie the earlier stays, so that the answer does not depend on the machine.
func (m *mark) top(share, demand, capacity float64, at place, how int) {
	if m.set && !(share > m.share) {
		return
	}
	*m = mark{share: share, demand: demand, capacity: capacity, trial: at.trial, end: at.end, how: how, set: true}
}

// place is a trial at one end.
type place struct{ trial, end int }

// tally has the largest share of each kind and piece.
type tally struct {
	// apart, crushed by joint of the structure; over by timber of the frame; the rest by brace, foot and timber.
	apart, crushed    []mark
	over              []mark
	buckled, fastened []mark
	anchored          []mark
	lifted, slid      []mark
	sway              []mark
	buckling          mark
	fallen            *Usage
	// topM is the largest displacement across of the highest point, in metres.
	topM, residual float64
	forces         []Forces
	// most is the largest share of all, run that of the run at hand.
	most, run float64
}

func newTally(joints, timbers, braces, feet int) *tally {
	return &tally{
		apart: make([]mark, joints), crushed: make([]mark, joints), over: make([]mark, timbers), sway: make([]mark, timbers),
		buckled: make([]mark, braces), fastened: make([]mark, braces), anchored: make([]mark, braces),
		lifted: make([]mark, feet), slid: make([]mark, feet), forces: make([]Forces, braces),
	}
}

// note keeps a share in its place and the largest of all.
func (t *tally) note(m *mark, share, demand, capacity float64, at place, how int) {
	if math.IsNaN(share) {
		share = math.Inf(1) // what cannot be computed is not safe
	}
	m.top(share, demand, capacity, at, how)
	t.most, t.run = math.Max(t.most, share), math.Max(t.run, share)
}

// fails says whether something has failed so far.
func (t *tally) fails() bool { return t.fallen != nil || t.most > 1 }

// largestFirst orders usages by their share; at a tie by kind and piece.
func largestFirst(list []Usage) {
	slices.SortStableFunc(list, func(a, b Usage) int {
		return cmp.Or(cmp.Compare(b.Share, a.Share), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Piece, b.Piece))
	})
}
