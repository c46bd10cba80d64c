package statics

import "math"

// partKind is a kind of one-sided part.
type partKind uint8

const (
	tiePart partKind = iota
	propPart
	gripPart
	linkPart
	supportPart
	contactPart
)

// part is something that works one way: of is the index of its member, link, support or contact, sub the end or freedom.
type part struct {
	kind partKind
	of   int32
	sub  int8
}

// oneSidedSupport is a freedom that a support holds one way, by a very stiff spring while it is closed.
type oneSidedSupport struct {
	part    int32
	freedom int
}

// states has a State for every part.
type states []State

// parts finds the one-sided parts and notes them at their members.
func (s *Solver) findParts() {
	add := func(kind partKind, of, sub int) int32 {
		s.parts = append(s.parts, part{kind: kind, of: int32(of), sub: int8(sub)})
		return int32(len(s.parts) - 1)
	}
	for i := range s.m.Members {
		m, e := &s.m.Members[i], &s.elements[i]
		switch m.Kind {
		case Tie:
			e.idle = add(tiePart, i, 0)
		case Prop:
			e.idle = add(propPart, i, 0)
		}
		for end := range 2 {
			if !math.IsNaN(e.pull[end]) && e.pull[end] != e.flex[end][UX] {
				e.pulls[end] = add(gripPart, i, end)
			}
		}
		if e.oneSided() {
			s.oneSided = append(s.oneSided, int32(i))
		}
	}
	for i := range s.m.Links {
		if l := &s.m.Links[i]; l.Pull != nil && *l.Pull != l.K[0] {
			s.linkParts[i] = add(linkPart, i, 0)
		} else {
			s.linkParts[i] = -1
		}
	}
	for i := range s.m.Supports {
		for f, one := range s.m.Supports[i].OneSided {
			if at := 6*s.m.Supports[i].Node + f; one && s.owner[at] == int32(i) {
				p := add(supportPart, i, f)
				s.oneSidedSupports = append(s.oneSidedSupports, oneSidedSupport{part: p, freedom: at})
				s.held[at] = false
			}
		}
	}
	for i := range s.m.Contacts {
		s.contactParts[i] = add(contactPart, i, 0)
	}
}

// hold is how a member is held along itself.
func (s *Solver) hold(e *element, st states) axialHold {
	h := axialHold{flex: [2]float64{e.flex[0][UX], e.flex[1][UX]}}
	if e.idle >= 0 && st[e.idle] == Open {
		h.idle = true
	}
	for end, p := range e.pulls {
		if p >= 0 && st[p] == Open {
			h.flex[end] = e.pull[end]
		}
	}
	return h
}
