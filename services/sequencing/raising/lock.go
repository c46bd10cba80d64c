package raising

import (
	"cmp"
	"context"
	"slices"

	"github.com/pikepole/pikepole/services/internal/natural"
)

// lockOf says which of the stuck units their joints lock; nil when none are, so that only their hold on the deck
// keeps them.
func lockOf(ctx context.Context, p Puzzle, stuck []int32) *Locked {
	sub := only(p, stuck)
	// First whether they are locked whatever is put together beforehand; the deck is one piece more.
	free := onDeck(sub)
	if core := coreOf(free); len(core) > 0 {
		return shrink(free, core, coreOf)
	}
	trapped := func(q Puzzle) []int32 {
		s := newSearch(q)
		s.ctx, s.joined = ctx, false
		_, left := s.takeDown(make([]int, len(q.Units)))
		return left
	}
	if left := trapped(sub); len(left) > 0 {
		return shrink(sub, left, trapped)
	}
	return nil
}

// coreOf gives the units that do not come apart as they lie.
func coreOf(p Puzzle) []int32 {
	s := newSearch(p)
	return s.apart(s.all())
}

// deckName is the name of the deck as a unit.
const deckName = "the deck"

// onDeck is the puzzle with the deck as its last unit.
func onDeck(p Puzzle) Puzzle {
	q := Puzzle{Units: append(slices.Clone(p.Units), Unit{Name: deckName}), Links: slices.Clone(p.Links)}
	for i := range q.Links {
		if q.Links[i].Receiving == Deck {
			q.Links[i].Receiving = len(p.Units)
		}
	}
	return q
}

// hangingOf names units of which none can leave without leaving others joined to nothing.
func hangingOf(p Puzzle, stuck []int32) *Locked {
	l := name(only(p, stuck))
	l.Hanging = true
	return l
}

// shrinkBudget bounds the units and links that are looked at while a lock is made smaller; a ring of
// many hundred pieces may be named larger than it is.
const shrinkBudget = 1_000_000

// shrink finds a smallest set of units, and of links between them, for which trapped still gives units
// that cannot leave: no unit and no link can be left out of it. core is what trapped gave for the whole.
func shrink(p Puzzle, core []int32, trapped func(Puzzle) []int32) *Locked {
	p = only(p, core)
	budget := shrinkBudget
	stuck := func(q Puzzle) []int32 {
		if budget -= len(q.Units) + len(q.Links); budget < 0 {
			return nil
		}
		return trapped(q)
	}
	// Neighbours stay together when the units are halved, so halves of a large frame go at once.
	order := make([]int32, len(p.Units))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		x, y := p.Units[a].Rank, p.Units[b].Rank
		return cmp.Or(cmp.Compare(x.X, y.X), cmp.Compare(x.Y, y.Y), cmp.Compare(x.Z, y.Z), x.compare(y))
	})
	p = only(p, order)
	for size := (len(p.Units) + 1) / 2; size >= 1; {
		smaller, ok := without(p, size, stuck)
		switch {
		case ok:
			p = smaller
			size = min(size, (len(p.Units)+1)/2)
		case size == 1:
			size = 0
		default:
			size = (size + 1) / 2
		}
	}
	for i := 0; i < len(p.Links); {
		q := Puzzle{Units: p.Units, Links: slices.Delete(slices.Clone(p.Links), i, i+1)}
		if left := stuck(q); len(left) > 0 {
			p, i = only(q, left), 0
			continue
		}
		i++
	}
	return name(p)
}

// without leaves out runs of size units, one after another, as long as the rest is still stuck.
func without(p Puzzle, size int, stuck func(Puzzle) []int32) (Puzzle, bool) {
	for from := 0; from < len(p.Units); from += size {
		var keep []int32
		for i := range p.Units {
			if i < from || i >= from+size {
				keep = append(keep, int32(i))
			}
		}
		if len(keep) == 0 {
			continue
		}
		q := only(p, keep)
		if left := stuck(q); len(left) > 0 {
			slices.Sort(left)
			return only(q, left), true
		}
	}
	return p, false
}

// only is the puzzle of some of the units, in the given order, with the links between them and to the deck.
func only(p Puzzle, units []int32) Puzzle {
	at := make([]int, len(p.Units))
	for i := range at {
		at[i] = -1
	}
	var q Puzzle
	for i, u := range units {
		at[u] = i
		q.Units = append(q.Units, p.Units[u])
	}
	for _, l := range p.Links {
		l.Entering = at[l.Entering]
		if l.Receiving != Deck {
			l.Receiving = at[l.Receiving]
			if l.Receiving < 0 {
				continue
			}
		}
		if l.Entering >= 0 {
			q.Links = append(q.Links, l)
		}
	}
	return q
}

// name lists the units and links of a puzzle.
func name(p Puzzle) *Locked {
	l := &Locked{}
	for _, u := range p.Units {
		if u.Name == deckName {
			l.Deck = true
			continue
		}
		l.Pieces = append(l.Pieces, u.Name)
	}
	for _, j := range p.Links {
		l.Joints = append(l.Joints, j.ID)
		l.Deck = l.Deck || j.Receiving == Deck
	}
	slices.SortFunc(l.Pieces, natural.Compare)
	slices.SortFunc(l.Joints, natural.Compare)
	return l
}
