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
	// gauges are those of the one-sided parts: of the members in oneSided, of links, from supportGauge of supports, from contactGauge
	// of contacts. readings are for the search of a step, laws the forces of the states solved for.
	gauges                     []gauge
	linkGauges                 []int32
	supportGauge, contactGauge int
	readings                   [4][]float64
	laws                       modelled
	// feet are the nodes with contacts, their gauges from footGauge on; spans are the displacements of each contact by those of the
	// gauges of its foot.
	feet      []foot
	footGauge int
	spans     [][6]geom.Vec
	missed    []float64
	// flex is the structure factored once without axial forces, baseLaws the forces of the states it has then, wide memory for
	// several right-hand sides.
	flex     flexible
	baseLaws modelled
	wide     []float64
	// long says that the short way is not gone, so that tests can compare.
	long bool

	without []bool
	// bare are the nodes that nothing is joined to without the members left out.
	bare     []int
	stiffest float64
	// reach is the length of the longest member, even what of a case's loads is even over whole members.
	reach  float64
	even   []geom.Vec
	idle   []idleTurn
	blocks [3]ldlt.Block
	column []float64
	// spare are vectors for the search of a step.
	spare [4][]float64
	limit int
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
		without: make([]bool, len(m.Members)), column: make([]float64, 6*len(m.Nodes)), missed: make([]float64, len(m.Contacts)),
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
	for i := range s.spare {
		s.spare[i] = make([]float64, s.n)
	}
	s.findHeld()
	s.findParts()
	s.findGauges()
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
