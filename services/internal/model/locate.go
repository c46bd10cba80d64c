package model

import "sort"

// edgeMM is how far beyond the ends of a timber a place still counts as its end.
const edgeMM = 1

// Locate finds the member at a place on a timber, given from its start; false when the timber does not stand or the place is not
// on it. At a node it is the member that ends there.
func (s *Structure) Locate(timber int, fromStartMM float64) (Place, bool) {
	if timber < 0 || timber >= len(s.Members) {
		return Place{}, false
	}
	members := s.Members[timber]
	if len(members) == 0 {
		return Place{}, false
	}
	last := s.Parts[members[len(members)-1]]
	if !(fromStartMM >= -edgeMM && fromStartMM <= last.ToMM+edgeMM) {
		return Place{}, false
	}
	k := sort.Search(len(members)-1, func(k int) bool { return s.Parts[members[k]].ToMM >= fromStartMM })
	p := s.Parts[members[k]]
	at := min(max(fromStartMM, p.FromMM), p.ToMM)
	return Place{Member: members[k], AtM: (at - p.FromMM) * 1e-3}, true
}
