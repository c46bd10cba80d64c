package raising

import (
	"cmp"
	"slices"
)

// precede finds for each move the earlier moves that it must follow, among those that it is joined to.
//
// Move B must follow move A when nothing but A joins B to the deck while B is the last that stands, or when
// A could not come home with B in place: no direction opens all of A's joints with what stood when A was
// raised, and with B as well.
func (s *search) precede(moves []Move, of []int32) {
	between := map[int32][]int{}
	var order []int32
	for m := range moves {
		clear(between)
		order = order[:0]
		for _, l := range moves[m].Links {
			if s.Links[l].Receiving == Deck {
				continue
			}
			a := of[s.Links[l].Entering]
			if a == int32(m) {
				a = of[s.Links[l].Receiving]
			}
			if between[a] == nil {
				order = append(order, a)
			}
			between[a] = append(between[a], l)
		}
		for _, a := range order {
			b := Before{Move: int(a), Links: between[a]}
			switch {
			case !s.joinedWithout(moves, of, int32(m), a):
				b.Cause = Carried
			case s.closedIn(moves, of, int32(m), a):
				b.Cause = ClosedIn
			default:
				continue
			}
			moves[m].After = append(moves[m].After, b)
		}
		sortBefore(moves[m].After)
	}
}

// joinedWithout says whether move b is joined to the deck through what is raised before it, without a.
func (s *search) joinedWithout(moves []Move, of []int32, b, a int32) bool {
	s.round++
	s.line = s.line[:0]
	for _, u := range moves[b].Units {
		s.inSet[u] = s.round
		s.line = append(s.line, int32(u))
	}
	for i := 0; i < len(s.line); i++ {
		v := s.line[i]
		if s.feet[v] {
			return true
		}
		for _, l := range s.at[v] {
			o := s.other(l, v)
			if o == Deck || of[o] == a || of[o] > b || s.inSet[o] == s.round {
				continue
			}
			if s.feet[o] {
				return true
			}
			s.inSet[o] = s.round
			s.line = append(s.line, o)
		}
	}
	return false
}

// closedIn says whether move a could not come home with move b in place.
func (s *search) closedIn(moves []Move, of []int32, b, a int32) bool {
	for _, u := range moves[a].Units {
		for _, dir := range s.tries[u] {
			if s.free(moves[a].Units, of, b, a, dir) {
				return false
			}
		}
	}
	return true
}

// free says whether the units of move a may leave along a direction what was raised before them, and b.
func (s *search) free(units []int, of []int32, b, a, dir int32) bool {
	for _, u := range units {
		for _, l := range s.at[u] {
			o := s.other(l, int32(u))
			if o != Deck && (of[o] == a || of[o] > a && of[o] != b) {
				continue
			}
			if !s.opens(l, int32(u), dir) {
				return false
			}
		}
	}
	return true
}

// sortBefore puts the earliest move first.
func sortBefore(after []Before) {
	slices.SortFunc(after, func(a, b Before) int { return cmp.Compare(a.Move, b.Move) })
}
