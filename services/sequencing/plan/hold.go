package plan

import (
	"fmt"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// When a piece is said to need holding. Settings of ours, within what a joint of usual width holds.
const (
	// offMM is how far, seen from above, the centre of gravity may lie outside the joints that carry it.
	offMM = 100
	// tallMM is how far above the highest of these joints it may lie before the piece counts as standing on them.
	tallMM = 300
)

// holding says what keeps the pieces up until the next ones come.
func (m *maker) holding(mv *Move, from *raising.Move) []string {
	var s []string
	onDeck := slices.ContainsFunc(from.Links, func(l int) bool { return m.order.Links[l].Receiving == raising.Deck })
	if from.Hangs && !onDeck {
		s = append(s, "Nothing but pegs or bolts carries it: fasten it before letting go.")
	}
	if n := len(mv.Braces); n > 0 {
		return append(s, fmt.Sprintf("Set %s before letting go; their rule is simple and not checked for standing.", count(n, "temporary brace")))
	}
	if onDeck {
		return s
	}
	_, centre := m.f.Weigh(mv.Pieces)
	at, highest := m.carriers(from.Links)
	switch {
	case offBalance(centre, at):
		if move := m.until(mv, from, centre, at); move > 0 {
			return append(s, fmt.Sprintf("Prop its free end until move %d takes it.", move))
		}
		s = append(s, "Its joints hold it to one side of its weight and no later move takes the other side: keep it propped until these joints are "+
			"pegged and known to carry it.")
	case mv.Assembly != "" || centre.Z > highest+tallMM:
		s = append(s, "The simple rule has no brace from the deck for it: keep hold of it until it is pegged and tied back to what stands.")
	}
	return s
}

// carriers are the places of links, and the highest of them.
func (m *maker) carriers(links []int) (at []geom.Vec, highestMM float64) {
	for i, l := range links {
		p := m.order.Links[l].At
		if at = append(at, p); i == 0 || p.Z > highestMM {
			highestMM = p.Z
		}
	}
	return at, highestMM
}

// offBalance says whether a centre of gravity, seen from above, lies outside what carries it.
func offBalance(centre geom.Vec, at []geom.Vec) bool {
	if len(at) == 0 {
		return false
	}
	hull := geom.HullXY(at)
	c := geom.V(centre.X, centre.Y, 0)
	if len(hull) > 2 && geom.InsideXY(c, hull) {
		return false
	}
	for i, a := range hull {
		if geom.DistanceToSegment(c, a, hull[(i+1)%len(hull)]) <= offMM {
			return false
		}
	}
	return true
}

// until is the number of the move with which what is off balance comes to be carried on both sides; 0 when none does.
// What itself hangs on this move alone carries nothing.
func (m *maker) until(mv *Move, from *raising.Move, centre geom.Vec, at []geom.Vec) int {
	free := slices.Clone(from.Free)
	slices.SortStableFunc(free, func(a, b int) int { return m.partner(mv, a) - m.partner(mv, b) })
	for _, l := range free {
		later := m.partner(mv, l)
		if !slices.ContainsFunc(m.order.Moves[later].Links, func(k int) bool {
			return m.order.Links[k].Receiving == raising.Deck || m.partner(&Move{Number: later + 1}, k) != mv.Number-1
		}) {
			continue
		}
		// The hull alone is kept, since a plate may have thousands of joints.
		if at = geom.HullXY(append(at, m.order.Links[l].At)); !offBalance(centre, at) {
			return later + 1
		}
	}
	return 0
}

// partner is the index of the move at the other side of a link.
func (m *maker) partner(mv *Move, l int) int {
	link := &m.order.Links[l]
	if i := m.of[link.Entering]; i != mv.Number-1 || link.Receiving == raising.Deck {
		return i
	}
	return m.of[link.Receiving]
}
