package raising

import (
	"context"
	"slices"
)

// none stands for no unit.
const none = int32(-1)

// maxMemo is the most answers of joints that are kept, a byte each.
const maxMemo = 1 << 26

// rules say what keeps a set from leaving, beside the joints between units.
type rules struct {
	// deck: joints with the deck count, and so does the deck's surface through them.
	deck bool
	// joined: what stays must stay joined to the deck.
	joined bool
	// group: a set must be one that may be put together beforehand.
	group bool
}

// search is one taking apart of a puzzle.
type search struct {
	Puzzle
	rules
	compass *compass
	at      [][]int32 // links of each unit
	live    [][]int32 // the same, less most of those whose other unit has left
	gone    []int     // how many links of live are to units that have left
	tries   [][]int32 // directions to try for each unit
	feet    []bool    // units that have a joint with the deck
	memo    []uint8   // what joints answered, link by link
	in      []bool    // units that have not left

	// Of the set that is being followed: its units in the order in which they were found, by whom,
	// and the round in which a unit was last in a set or last seen to be joined to the deck.
	set            []int32
	parent         []int32
	inSet, inReach []int32
	round, reach   int32
	// watch is why the set cannot leave: only when one of these has left can it be otherwise.
	watch []int32
	// Of a set that is too large: the debt that says so already; or else the unit hub with more than enough
	// blockers of its own; or else the units found, owing, the first ones of them by blocking alone. owed is
	// by how many it is too large.
	known   *debt
	hub     int32
	owing   []int32
	blocked int
	owed    int
	large   []map[int32]*debt // debts of each unit by direction; nil when none are kept
	line    []int32

	splitter *splitter       // made when first needed
	ctx      context.Context // ends the taking down
}

func newSearch(p Puzzle) *search {
	n := len(p.Units)
	s := &search{
		Puzzle: p, compass: newCompass(),
		rules:   rules{deck: true, joined: true, group: true},
		at:      make([][]int32, n),
		feet:    make([]bool, n),
		in:      make([]bool, n),
		parent:  make([]int32, n),
		inSet:   make([]int32, n),
		inReach: make([]int32, n),
	}
	for i, l := range p.Links {
		s.at[l.Entering] = append(s.at[l.Entering], int32(i))
		if l.Receiving == Deck {
			s.feet[l.Entering] = true
		} else {
			s.at[l.Receiving] = append(s.at[l.Receiving], int32(i))
		}
	}
	s.live, s.gone = make([][]int32, n), make([]int, n)
	s.triable()
	if size := len(p.Links) * len(s.compass.ways); size <= maxMemo {
		s.memo = make([]uint8, size)
	}
	return s
}

// all lists every unit.
func (s *search) all() []int32 {
	all := make([]int32, len(s.Units))
	for i := range all {
		all[i] = int32(i)
	}
	return all
}

// other is the unit at the other side of a link, or Deck.
func (s *search) other(l int32, u int32) int32 {
	link := &s.Links[l]
	if link.Entering == int(u) {
		return int32(link.Receiving)
	}
	return int32(link.Entering)
}

// opens says whether unit u may leave along a direction as far as one of its links is concerned.
func (s *search) opens(l, u, dir int32) bool {
	if s.memo == nil {
		return s.leavesAlong(l, int(u), s.compass.ways[dir])
	}
	const entering, receiving = 0, 2 // the bits of the two sides: asked, and open
	side := entering
	if s.Links[l].Entering != int(u) {
		side = receiving
	}
	m := &s.memo[int(l)*len(s.compass.ways)+int(dir)]
	if *m>>side&1 == 0 {
		*m |= 1 << side
		if s.leavesAlong(l, int(u), s.compass.ways[dir]) {
			*m |= 2 << side
		}
	}
	return *m>>side&2 != 0
}

// leave follows from unit u who must leave together with it along a direction. It says whether that set
// may leave, with at most limit units; the set is then s.set, else s.watch says what has to leave before it
// is worth asking again.
func (s *search) leave(u, dir int32, limit int) bool {
	s.round++
	s.set, s.watch, s.owing = s.set[:0], s.watch[:0], s.owing[:0]
	s.known, s.hub, s.owed, s.blocked = nil, none, 0, 0
	s.add(u, none)
	assembly, hung := none, false
	for done := 0; ; {
		for ; done < len(s.set); done++ {
			x := s.set[done]
			if s.group && s.Units[x].Assembly {
				if assembly >= 0 {
					return s.refuse(hung, assembly, x)
				}
				assembly = x
			}
			if d := s.debtOf(x, dir); d != nil && !hung {
				s.known = d
				return s.refuse(false, x)
			}
			if !s.spread(x, dir, limit) {
				return s.refuse(hung, x)
			}
			if len(s.set) > limit {
				return s.tooLarge(hung, x, dir, limit)
			}
		}
		if !hung {
			s.blocked = len(s.set)
		}
		if !s.joined || !s.hang() {
			return true
		}
		hung = true
	}
}

// add puts a unit into the set.
func (s *search) add(u, by int32) {
	s.inSet[u] = s.round
	s.parent[u] = by
	s.set = append(s.set, u)
}

// spread adds the units that block unit x, until the set is larger than the limit; it is false when the
// deck blocks it.
func (s *search) spread(x, dir int32, limit int) bool {
	for _, l := range s.live[x] {
		o := s.other(l, x)
		if o == Deck {
			if s.deck && !s.opens(l, x, dir) {
				return false
			}
			continue
		}
		if s.in[o] && s.inSet[o] != s.round && !s.opens(l, x, dir) {
			if s.add(o, x); len(s.set) > limit {
				return true
			}
		}
	}
	return true
}

// tooLarge notes how many units have to leave before the set can be small enough, when unit x was the last
// to be spread.
func (s *search) tooLarge(hung bool, x, dir int32, limit int) bool {
	if hung {
		s.owing, s.owed = append(s.owing, s.set...), len(s.set)-limit
		return false
	}
	s.blocked = len(s.set)
	blockers := 0
	for _, l := range s.live[x] {
		if o := s.other(l, x); o != Deck && s.in[o] && !s.opens(l, x, dir) {
			blockers++
		}
	}
	if blockers <= limit {
		s.owing, s.owed = append(s.owing, s.set...), len(s.set)-limit
		return false
	}
	s.hub, s.owed = x, blockers-limit
	return s.refuse(false, x)
}

// forget counts that a unit joined to this one has left, and drops such links once they are the larger part.
func (s *search) forget(u int32) {
	s.gone[u]++
	if 2*s.gone[u] <= len(s.live[u]) {
		return
	}
	s.live[u] = slices.DeleteFunc(s.live[u], func(l int32) bool {
		o := s.other(l, u)
		return o != Deck && !s.in[o]
	})
	s.gone[u] = 0
}

// refuse notes the lines of units by which those at fault came into the set.
func (s *search) refuse(hung bool, at ...int32) bool {
	if hung {
		s.watch = append(s.watch, s.set...)
		return false
	}
	for _, x := range at {
		for ; x >= 0; x = s.parent[x] {
			s.watch = append(s.watch, x)
		}
	}
	return false
}

// hang adds the units that would lose their last connection to the deck if the set left, and says
// whether there are any.
func (s *search) hang() bool {
	found, size := false, len(s.set)
	s.reach++
	base := s.reach
	for i := range size {
		x := s.set[i]
		for _, l := range s.live[x] {
			o := s.other(l, x)
			if o == Deck || !s.in[o] || s.inSet[o] == s.round || s.inReach[o] >= base {
				continue
			}
			if lost := s.lost(o, base); len(lost) > 0 {
				found = true
				for _, y := range lost {
					s.add(y, x)
				}
			}
		}
	}
	return found
}

// lost gives the units joined to unit y without the set when none of them has a joint with the deck,
// and nothing as soon as one has, or is joined to what was seen to be joined since base.
func (s *search) lost(y, base int32) []int32 {
	s.reach++
	if s.feet[y] {
		s.inReach[y] = s.reach
		return nil
	}
	s.line = append(s.line[:0], y)
	s.inReach[y] = s.reach
	for i := 0; i < len(s.line); i++ {
		v := s.line[i]
		for _, l := range s.live[v] {
			o := s.other(l, v)
			if o == Deck || !s.in[o] || s.inSet[o] == s.round || s.inReach[o] == s.reach {
				continue
			}
			if s.feet[o] || s.inReach[o] >= base {
				return nil
			}
			s.inReach[o] = s.reach
			s.line = append(s.line, o)
		}
	}
	return slices.Clone(s.line)
}
