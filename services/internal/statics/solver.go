package statics

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// Solver is a model made ready: checked, ordered, its pattern analysed. It keeps its memory from one call to the next and is
// not safe for use by several goroutines at once. The model must not be changed while it is in use.
type Solver struct {
	m        *Model
	n        int
	elements []element
	links    []link
	normals  []geom.Vec
	// places are where the blocks of members and links lie: II, IJ, JJ.
	places     [][3]ldlt.Place
	linkPlaces [][3]ldlt.Place
	nodePlaces []ldlt.Place
	symbolic   *ldlt.Symbolic
	// tight are the members' stiffnesses with all one-sided parts closed and no axial force.
	tight []stiff
	// base is the matrix of them and of the links and springs that are not one-sided.
	base *ldlt.Matrix
	// fixed is that of links and springs alone, kept that with the axial forces of Options.Axial.
	fixed *ldlt.Matrix
	kept  pressed
	// now are the stiffnesses that the matrix was made of, own where they are not tight ones.
	now    []*stiff
	own    []stiff
	matrix *ldlt.Matrix
	factor *ldlt.Factor
	// held are the freedoms that supports hold, one-sided ones too; owner the support that holds each, -1 for none.
	held, holding []bool
	owner         []int32
	// turns are the axes of nodes with an inclined support, which of their displacements are held, and the node of each.
	turns  map[int32]*inclined
	inward []int32

	parts     []part
	linkParts []int32
	// oneSided are the members with one-sided parts.
	oneSided         []int32
	oneSidedSupports []oneSidedSupport
	// rigid is the stiffness of a one-sided support.
	rigid        float64
	contactParts []int32

	without  []bool
	stiffest float64
	// reach is the length of the longest member, even what of a case's loads is even over whole members.
	reach  float64
	even   []geom.Vec
	idle   []idleTurn
	blocks [3]ldlt.Block
	column []float64
	limit  int
}

// link is a Link made ready.
type link struct {
	i, j   int32
	ai, aj geom.Vec
	axes   [3]geom.Vec
}

// gap is how far J has moved from I at the point, spun how far it has turned.
func (l *link) gap(u []float64) geom.Vec {
	return geom.Sub(moved(u, int(l.j), l.aj), moved(u, int(l.i), l.ai))
}

func (l *link) spun(u []float64) geom.Vec {
	return geom.Sub(turned(u, int(l.j)), turned(u, int(l.i)))
}

// rigidRatio is the stiffness of a one-sided support over the largest of the structure.
const rigidRatio = 1e5

// Prepare checks a model and makes it ready. Its error is an *InputError.
func Prepare(m *Model) (*Solver, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	s := &Solver{
		m: m, n: 6 * len(m.Nodes),
		elements: make([]element, len(m.Members)), places: make([][3]ldlt.Place, len(m.Members)), tight: make([]stiff, len(m.Members)),
		links: make([]link, len(m.Links)), linkPlaces: make([][3]ldlt.Place, len(m.Links)), nodePlaces: make([]ldlt.Place, len(m.Nodes)),
		normals:   make([]geom.Vec, len(m.Contacts)),
		linkParts: make([]int32, len(m.Links)), contactParts: make([]int32, len(m.Contacts)),
		now: make([]*stiff, len(m.Members)), even: make([]geom.Vec, len(m.Members)),
		without: make([]bool, len(m.Members)), column: make([]float64, 6*len(m.Nodes)),
	}
	for i := range m.Members {
		s.elements[i] = newElement(&m.Members[i], m.Nodes)
		s.reach = max(s.reach, s.elements[i].l)
	}
	if s.reach == 0 {
		s.reach = 1
	}
	for i := range m.Links {
		s.links[i] = newLink(&m.Links[i], m.Nodes)
	}
	for i := range m.Contacts {
		s.normals[i] = geom.Unit(m.Contacts[i].Normal)
	}
	s.findHeld()
	s.findParts()
	s.order()
	s.assembleBase()
	return s, nil
}

func newLink(l *Link, nodes []Node) link {
	x := l.Axes
	if x == (geom.Axes{}) {
		x = geom.Axes{Axis: geom.V(1, 0, 0), Width: geom.V(0, 1, 0), Depth: geom.V(0, 0, 1)}
	}
	return link{
		i: int32(l.I), j: int32(l.J), ai: geom.Sub(l.At, nodes[l.I].At), aj: geom.Sub(l.At, nodes[l.J].At),
		axes: [3]geom.Vec{x.Axis, x.Width, x.Depth},
	}
}

// order finds the order of elimination and the places of all blocks.
func (s *Solver) order() {
	pairs := make([][2]int32, 0, len(s.elements)+len(s.links))
	for i := range s.elements {
		pairs = append(pairs, [2]int32{s.elements[i].i, s.elements[i].j})
	}
	for i := range s.links {
		pairs = append(pairs, [2]int32{s.links[i].i, s.links[i].j})
	}
	s.symbolic = ldlt.Analyse(len(s.m.Nodes), pairs)
	for i := range s.nodePlaces {
		s.nodePlaces[i], _ = s.symbolic.Place(i, i)
	}
	place := func(i, j int32) [3]ldlt.Place {
		p, _ := s.symbolic.Place(int(i), int(j))
		return [3]ldlt.Place{s.nodePlaces[i], p, s.nodePlaces[j]}
	}
	for i := range s.elements {
		s.places[i] = place(s.elements[i].i, s.elements[i].j)
	}
	for i := range s.links {
		s.linkPlaces[i] = place(s.links[i].i, s.links[i].j)
	}
	s.base, s.matrix, s.factor = s.symbolic.NewMatrix(), s.symbolic.NewMatrix(), s.symbolic.NewFactor()
}

// findHeld notes what supports hold.
func (s *Solver) findHeld() {
	s.held, s.holding = make([]bool, s.n), make([]bool, s.n)
	s.owner = make([]int32, s.n)
	for f := range s.owner {
		s.owner[f] = -1
	}
	for i := range s.m.Supports {
		p := &s.m.Supports[i]
		for f, fixed := range p.Fixed {
			if at := 6*p.Node + f; fixed && s.owner[at] < 0 {
				s.owner[at], s.held[at] = int32(i), true
			}
		}
		if p.Axis != (geom.Vec{}) {
			if s.turns == nil {
				s.turns = map[int32]*inclined{}
			}
			s.turns[int32(p.Node)] = &inclined{}
		}
	}
	for n := range s.m.Nodes {
		if t := s.turns[int32(n)]; t != nil {
			s.incline(int32(n), t)
			s.inward = append(s.inward, int32(n))
		}
	}
}

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
		k := &s.own[i]
		switch {
		case base != nil && !s.without[i] && !e.changed(st):
			k = &tight[i]
			s.now[i] = k
		case base != nil:
			e.blocks(&tight[i], &s.blocks)
			negate(&s.blocks)
			s.addPair(m, &s.places[i], e.i, e.j)
		}
		if s.without[i] {
			continue
		}
		if k == &s.own[i] {
			n := 0.0
			if axial != nil {
				n = axial[i]
			}
			e.condensed(s.hold(e, st), n, k)
			s.now[i] = k
			e.blocks(k, &s.blocks)
			s.addPair(m, &s.places[i], e.i, e.j)
		}
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
	for _, q := range s.oneSidedSupports {
		if st[q.part] == Closed {
			m.AddDiagonal(q.freedom, s.rigid)
		}
	}
	s.steady(m)
	return loose, how, buckles
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
