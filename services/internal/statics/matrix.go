package statics

import (
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// assembleBase adds up what does not depend on one-sided parts, with those closed.
func (s *Solver) assembleBase() {
	s.assembleFixed(s.base)
	closed := make(states, len(s.parts))
	for i := range s.elements {
		e := &s.elements[i]
		e.condensed(s.hold(e, closed), 0, &s.tight[i])
		e.blocks(&s.tight[i], &s.blocks)
		s.addPair(s.base, &s.places[i], e.i, e.j)
	}
	for f := range s.n {
		if f%6 < 3 {
			s.stiffest = max(s.stiffest, s.base.Diagonal(f))
		}
	}
	for i := range s.m.Contacts {
		s.stiffest = max(s.stiffest, s.m.Contacts[i].K)
	}
	s.rigid = rigidRatio * s.stiffest
}

// linkBlocks puts the stiffness of a link into s.blocks.
func (s *Solver) linkBlocks(i int, st State) {
	l, k := &s.links[i], s.m.Links[i].K
	if st == Open {
		k[0] = *s.m.Links[i].Pull
	}
	var uu, tt mat3
	for a, axis := range l.axes {
		uu.addOuter(k[a], axis, axis)
		tt.addOuter(k[a+3], axis, axis)
	}
	pairBlock(uu, mat3{}, mat3{}, tt, true, l.ai, l.ai, &s.blocks[0])
	pairBlock(uu, mat3{}, mat3{}, tt, true, l.aj, l.aj, &s.blocks[2])
	for q := range uu {
		uu[q], tt[q] = -uu[q], -tt[q]
	}
	pairBlock(uu, mat3{}, mat3{}, tt, true, l.ai, l.aj, &s.blocks[1])
}

// addPair adds s.blocks to a matrix at a member or link.
func (s *Solver) addPair(m *ldlt.Matrix, at *[3]ldlt.Place, i, j int32) {
	if s.turns != nil {
		s.turnBlock(&s.blocks[0], i, i)
		s.turnBlock(&s.blocks[1], i, j)
		s.turnBlock(&s.blocks[2], j, j)
	}
	for q := range s.blocks {
		m.AddAt(at[q], &s.blocks[q])
	}
}

// addNode adds s.blocks[0] to a matrix at a node.
func (s *Solver) addNode(m *ldlt.Matrix, i int32) {
	if s.turns != nil {
		s.turnBlock(&s.blocks[0], i, i)
	}
	m.AddAt(s.nodePlaces[i], &s.blocks[0])
}

func negate(blocks *[3]ldlt.Block) {
	for q := range blocks {
		b := &blocks[q]
		for k := range b {
			b[k] = -b[k]
		}
	}
}

// changed says that a member is not held along itself as it is with its one-sided parts closed.
func (e *element) changed(st states) bool {
	return e.idle >= 0 && st[e.idle] != Closed || e.pulls[0] >= 0 && st[e.pulls[0]] != Closed || e.pulls[1] >= 0 && st[e.pulls[1]] != Closed
}

// pressed is what is kept of the members under given axial forces, with their one-sided parts closed.
type pressed struct {
	axial  []float64
	base   *ldlt.Matrix
	tight  []stiff
	filled bool
	// values are the forces themselves, as axial may be changed by its owner, and flex the structure under them.
	values []float64
	flex   flexible
}

// assemble makes the matrix of a run's state, with the axial forces of its members counted when they are given. It says which
// member moves though its nodes are held, and how, and which gives way between its nodes; -1 for none.
func (s *Solver) assemble(st states, slide []sliding, axial []float64) (loose int, how looseness, buckles int) {
	loose, buckles = -1, -1
	m := s.matrix
	if s.own == nil {
		s.own = make([]stiff, len(s.elements))
	}
	base, tight := s.base, s.tight
	switch {
	case axial == nil:
	case s.kept.filled && len(axial) > 0 && &axial[0] == &s.kept.axial[0]:
		base, tight = s.kept.base, s.kept.tight
	default:
		base, tight = nil, nil
	}
	if base != nil {
		m.CopyFrom(base)
	} else {
		m.CopyFrom(s.fixedOnly())
	}
	for i := range s.elements {
		e := &s.elements[i]
		if s.without[i] {
			if base != nil {
				s.addMember(m, i, &tight[i], true)
			}
			continue
		}
		switch {
		case base == nil:
			s.condense(i, st, axial)
			s.addMember(m, i, s.now[i], false)
		case !e.changed(st):
			s.now[i] = &tight[i]
		case tight[i].free == held:
			s.loosen(m, i, &tight[i], st)
		default:
			s.addMember(m, i, &tight[i], true)
			s.condense(i, st, axial)
			s.addMember(m, i, s.now[i], false)
		}
		k := s.now[i]
		if k.free != held && loose < 0 {
			loose, how = i, k.free
		}
		if k.buckles && buckles < 0 {
			buckles = i
		}
	}
	for i, p := range s.linkParts {
		if p >= 0 && st[p] == Open {
			s.linkBlocks(i, Open)
			s.addPair(m, &s.linkPlaces[i], s.links[i].i, s.links[i].j)
			s.linkBlocks(i, Closed)
			negate(&s.blocks)
			s.addPair(m, &s.linkPlaces[i], s.links[i].i, s.links[i].j)
		}
	}
	for i, p := range s.contactParts {
		if st[p] == Open {
			continue
		}
		var sl *sliding
		if slide != nil {
			sl = &slide[i]
		}
		k, _ := s.contactStiffness(i, st[p], sl)
		c := &s.m.Contacts[i]
		pairBlock(k, mat3{}, mat3{}, mat3{}, true, c.Arm, c.Arm, &s.blocks[0])
		s.addNode(m, int32(c.Node))
	}
	copy(s.holding, s.held)
	for _, node := range s.bare {
		for f := 6 * node; f < 6*node+6; f++ {
			s.holding[f] = true
		}
	}
	for _, q := range s.oneSidedSupports {
		if st[q.part] == Closed {
			m.AddDiagonal(q.freedom, s.rigid)
		}
	}
	s.steady(m)
	return loose, how, buckles
}

// condense notes the stiffness of a member in given states.
func (s *Solver) condense(i int, st states, axial []float64) {
	n := 0.0
	if axial != nil {
		n = axial[i]
	}
	s.now[i] = &s.own[i]
	s.elements[i].condensed(s.hold(&s.elements[i], st), n, s.now[i])
}

// addMember adds the stiffness of a member to a matrix, or takes it away.
func (s *Solver) addMember(m *ldlt.Matrix, i int, k *stiff, away bool) {
	e := &s.elements[i]
	e.blocks(k, &s.blocks)
	if away {
		negate(&s.blocks)
	}
	s.addPair(m, &s.places[i], e.i, e.j)
}

// loosen notes the stiffness of a member whose one-sided parts are not all closed, and changes the matrix by what that makes along
// the member, which is all that they change.
func (s *Solver) loosen(m *ldlt.Matrix, i int, tight *stiff, st states) {
	k := &s.own[i]
	s.alongOnly(k, i, tight, st)
	s.now[i] = k
	e, d := &s.elements[i], k.ka-tight.ka
	if d == 0 {
		return
	}
	g := apart(e.i, e.j, e.ai, e.aj, e.r[0])
	for q, v := range [...][2]*Vec6{{&g.vi, &g.vi}, {&g.vi, &g.vj}, {&g.vj, &g.vj}} {
		b := &s.blocks[q]
		for r, x := range v[0] {
			x *= d
			for c, y := range v[1] {
				b[6*r+c] = x * y
			}
		}
	}
	s.addPair(m, &s.places[i], e.i, e.j)
}

// alongOnly is the stiffness of a member with its one-sided parts in given states, from that with all closed.
func (s *Solver) alongOnly(k *stiff, i int, tight *stiff, st states) {
	e := &s.elements[i]
	*k = *tight
	k.along(e, s.hold(e, st))
}

// fixedOnly is the matrix of links and springs alone.
func (s *Solver) fixedOnly() *ldlt.Matrix {
	if s.fixed == nil {
		s.fixed = s.symbolic.NewMatrix()
		s.assembleFixed(s.fixed)
	}
	return s.fixed
}

// keep makes ready what all cases share that count the same axial forces.
func (s *Solver) keep(axial []float64) {
	if s.kept.base != nil && slices.Equal(axial, s.kept.values) {
		s.kept.axial, s.kept.filled = axial, true
		return
	}
	s.kept.values = append(s.kept.values[:0], axial...)
	s.kept.flex.forget()
	if s.kept.base == nil {
		s.kept.base, s.kept.tight = s.symbolic.NewMatrix(), make([]stiff, len(s.elements))
	}
	s.kept.axial, s.kept.filled = axial, true
	s.kept.base.CopyFrom(s.fixedOnly())
	closed := make(states, len(s.parts))
	for i := range s.elements {
		e := &s.elements[i]
		e.condensed(s.hold(e, closed), axial[i], &s.kept.tight[i])
		e.blocks(&s.kept.tight[i], &s.blocks)
		s.addPair(s.kept.base, &s.places[i], e.i, e.j)
	}
}

// assembleFixed adds links, with their one-sided parts closed, and springs.
func (s *Solver) assembleFixed(m *ldlt.Matrix) {
	for i := range s.links {
		s.linkBlocks(i, Closed)
		s.addPair(m, &s.linkPlaces[i], s.links[i].i, s.links[i].j)
	}
	for i := range s.m.Supports {
		p := &s.m.Supports[i]
		var u, t mat3
		for f := range 3 {
			u[4*f], t[4*f] = p.Spring[f], p.Spring[f+3]
		}
		if u != (mat3{}) || t != (mat3{}) {
			pairBlock(u, mat3{}, mat3{}, t, false, geom.Vec{}, geom.Vec{}, &s.blocks[0])
			s.addNode(m, int32(p.Node))
		}
	}
}

// idleTurn is a turn of a node that nothing resists and that moves nothing else.
type idleTurn struct {
	node int32
	axis geom.Vec
}

// idleRatio is the ratio of stiffnesses against turning at a node below which one counts as none.
const idleRatio = 1e-11

// steady holds what no member has a use for: turns of nodes, such as those where only pin-ended members meet. A turn r
// with rᵀ·K·r = 0 at a node alone has K·r = 0, as K is not negative; so to hold it changes no answer.
func (s *Solver) steady(m *ldlt.Matrix) {
	s.idle = s.idle[:0]
	for node := range s.nodePlaces {
		f := 6*node + 3
		a, b, c := m.Diagonal(f), m.Diagonal(f+1), m.Diagonal(f+2)
		if a > 0 && b > 0 && c > 0 || s.holding[f] && s.holding[f+1] && s.holding[f+2] {
			if s.surelyHeld(m, node, a, b, c) {
				continue
			}
		}
		s.steadyNode(m, node)
	}
}
