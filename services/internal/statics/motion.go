package statics

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The bounds of what is said of a motion.
const (
	movingRatio = 0.01 // of the most, below which a node stays
	bodyRatio   = 1e-4 // of the most, within which motions are one body's
	lineRatio   = 2e-3 // of the structure's size, within which a node lies on a line
	namedMoving = 4    // nodes named
)

// motion says in words what the nodes do.
func (s *Solver) motion(v []float64) Motion {
	nodes := len(s.m.Nodes)
	most, turn := 0.0, 0.0
	for n := range nodes {
		most, turn = max(most, geom.Norm(moved(v, n, geom.Vec{}))), max(turn, geom.Norm(turned(v, n)))
	}
	size := s.size()
	onlyTurns := most <= 1e-7*turn*size
	scale := most
	if onlyTurns {
		scale = turn
	}
	if scale == 0 {
		scale = 1
	}
	m := Motion{Nodes: make([]Vec6, nodes)}
	for n := range nodes {
		for f := range 6 {
			x := v[6*n+f] / scale
			if math.Abs(x) < 1e-12 {
				x = 0
			}
			m.Nodes[n][f] = x
		}
		if measure(m.Nodes[n], onlyTurns) > movingRatio {
			m.Moving = append(m.Moving, n)
		}
	}
	slices.SortStableFunc(m.Moving, func(a, b int) int {
		x, y := measure(m.Nodes[a], onlyTurns), measure(m.Nodes[b], onlyTurns)
		switch {
		case x > y*(1+1e-9):
			return -1
		case y > x*(1+1e-9):
			return 1
		}
		return 0
	})
	if onlyTurns {
		s.saySpin(&m)
		return m
	}
	if spin, at, ok := s.asBody(&m); ok && (s.whole(&m, spin) || !m.upright()) {
		s.sayBody(&m, spin, at, size)
		return m
	}
	s.sayParts(&m)
	return m
}

// upright says that all that moves goes up or down.
func (m *Motion) upright() bool {
	for _, n := range m.Moving {
		if d := m.Nodes[n]; math.Hypot(d[0], d[1]) > movingRatio*math.Abs(d[2]) {
			return false
		}
	}
	return true
}

func measure(d Vec6, turns bool) float64 {
	if turns {
		return math.Sqrt(d[3]*d[3] + d[4]*d[4] + d[5]*d[5])
	}
	return math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
}

// size is the extent of the structure.
func (s *Solver) size() float64 {
	b := geom.EmptyBox()
	for i := range s.m.Nodes {
		b = b.With(s.m.Nodes[i].At)
	}
	return max(geom.Norm(b.Size()), leastLength)
}

// asBody finds the spin and the displacement at the moving nodes' middle that fit them all, if they move as one body.
func (s *Solver) asBody(m *Motion) (spin, at geom.Vec, ok bool) {
	var middle geom.Vec
	for _, n := range m.Moving {
		middle = geom.Add(middle, s.m.Nodes[n].At)
	}
	middle = geom.Scale(1/float64(len(m.Moving)), middle)
	for _, n := range m.Moving {
		d := m.Nodes[n]
		spin = geom.Add(spin, geom.Vec{X: d[3], Y: d[4], Z: d[5]})
	}
	spin = geom.Scale(1/float64(len(m.Moving)), spin)
	first := s.m.Nodes[m.Moving[0]].At
	d0 := m.Nodes[m.Moving[0]]
	base := geom.Vec{X: d0[0], Y: d0[1], Z: d0[2]}
	for _, n := range m.Moving {
		d := m.Nodes[n]
		want := geom.Add(base, geom.Cross(spin, geom.Sub(s.m.Nodes[n].At, first)))
		if geom.Dist(want, geom.Vec{X: d[0], Y: d[1], Z: d[2]}) > bodyRatio {
			return spin, at, false
		}
		reach := geom.Dist(first, middle) + 1
		if s.turnsWithBody(n) && geom.Dist(spin, geom.Vec{X: d[3], Y: d[4], Z: d[5]})*reach > 100*bodyRatio {
			return spin, at, false
		}
	}
	return spin, geom.Add(base, geom.Cross(spin, geom.Sub(middle, first))), true
}

// turnsWithBody says that a beam, and not pin-ended members alone, meets the node.
func (s *Solver) turnsWithBody(n int) bool {
	for i := range s.elements {
		e := &s.elements[i]
		if !e.bar && !s.without[i] && (int(e.i) == n || int(e.j) == n) {
			return true
		}
	}
	return false
}

// sayBody says how one body turns or shifts.
func (s *Solver) sayBody(m *Motion, spin, at geom.Vec, size float64) {
	who, many := s.names(m), len(m.Moving) > 1
	if s.whole(m, spin) {
		who, many = "the whole structure", false
	}
	verb := func(one, some string) string {
		if many {
			return some
		}
		return one
	}
	w := geom.Norm(spin)
	if w*size < 1e-3 {
		m.Shift = at
		m.Words = fmt.Sprintf("%s %s together %s", who, verb("shifts", "shift"), direction(at))
		return
	}
	var middle geom.Vec
	for _, n := range m.Moving {
		middle = geom.Add(middle, s.m.Nodes[n].At)
	}
	middle = geom.Scale(1/float64(len(m.Moving)), middle)
	m.Axis = geom.Scale(1/w, spin)
	if lead := leading(m.Axis); lead < 0 {
		m.Axis = geom.Scale(-1, m.Axis)
	}
	pitch := geom.Dot(at, geom.Scale(1/w, spin))
	m.Point = geom.Add(middle, geom.Scale(1/(w*w), geom.Cross(spin, at)))
	if math.Abs(pitch) > 0.02 {
		m.Axis, m.Point = geom.Vec{}, geom.Vec{}
		m.Words = fmt.Sprintf("%s %s freely and %s: nothing keeps it from either", who, verb("turns", "turn"), verb("shifts", "shift"))
		return
	}
	m.Turns = true
	m.Words = fmt.Sprintf("%s %s about %s", who, verb("turns", "turn"), s.line(m, size))
}

// leading is the first component of a direction that is not nothing.
func leading(v geom.Vec) float64 {
	for _, c := range [...]float64{v.X, v.Y, v.Z} {
		if math.Abs(c) > 1e-6 {
			return c
		}
	}
	return 1
}

// line names the line of a turn by what lies on it and stays: first what holds the structure to the ground.
func (s *Solver) line(m *Motion, size float64) string {
	on := func(p geom.Vec) (float64, bool) {
		d := geom.Sub(p, m.Point)
		along := geom.Dot(d, m.Axis)
		return along, geom.Norm(geom.Sub(d, geom.Scale(along, m.Axis))) <= lineRatio*size
	}
	type mark struct {
		along float64
		name  string
	}
	var marks []mark
	add := func(p geom.Vec, name string) {
		along, ok := on(p)
		if !ok {
			return
		}
		for _, k := range marks {
			if k.name == name {
				return
			}
		}
		marks = append(marks, mark{along, name})
	}
	for i := range s.m.Supports {
		n := s.m.Supports[i].Node
		if measure(m.Nodes[n], false) <= movingRatio {
			add(s.m.Nodes[n].At, s.m.nodeName(n))
		}
	}
	for i := range s.m.Contacts {
		c := &s.m.Contacts[i]
		add(geom.Add(s.m.Nodes[c.Node].At, c.Arm), called(c.Name, "contact", i))
	}
	feet := "the feet "
	if len(marks) < 2 {
		feet = ""
		for n := range s.m.Nodes {
			if measure(m.Nodes[n], false) <= movingRatio && !s.supported(n) {
				add(s.m.Nodes[n].At, s.m.nodeName(n))
			}
		}
	}
	slices.SortStableFunc(marks, func(a, b mark) int {
		switch {
		case a.along < b.along:
			return -1
		case a.along > b.along:
			return 1
		}
		return 0
	})
	if m.Axis.Z*m.Axis.Z > 1-1e-6 {
		if len(marks) > 0 {
			return "the upright line through " + marks[0].name
		}
		return fmt.Sprintf("the upright line at x = %.2f m, y = %.2f m", m.Point.X, m.Point.Y)
	}
	switch len(marks) {
	case 0:
		return fmt.Sprintf("the line through (%.2f, %.2f, %.2f) m %s", m.Point.X, m.Point.Y, m.Point.Z, direction(m.Axis))
	case 1:
		return fmt.Sprintf("the line through %s %s", marks[0].name, direction(m.Axis))
	}
	return "the line through " + feet + marks[0].name + " and " + marks[len(marks)-1].name
}

func (s *Solver) supported(n int) bool {
	for i := range s.m.Supports {
		if s.m.Supports[i].Node == n {
			return true
		}
	}
	return false
}

// saySpin names members that spin about their own axes, or nodes that turn.
func (s *Solver) saySpin(m *Motion) {
	var names []string
	for i := range s.elements {
		e := &s.elements[i]
		if e.bar || s.without[i] {
			continue
		}
		a, b := m.Nodes[e.i], m.Nodes[e.j]
		for _, d := range [...]Vec6{a, b} {
			w := geom.Vec{X: d[3], Y: d[4], Z: d[5]}
			if l := geom.Norm(w); l > 0.5 && math.Abs(geom.Dot(w, e.r[0])) > (1-1e-6)*l {
				if name := s.m.memberName(i); !slices.Contains(names, name) {
					names = append(names, name)
				}
				m.Axis, m.Point, m.Turns = e.r[0], geom.Add(s.m.Nodes[e.i].At, e.ai), true
				break
			}
		}
	}
	switch {
	case len(names) == 1:
		m.Words = names[0] + " spins about its own axis"
	case len(names) > 1:
		m.Words = listed(names) + " spin about their own axis"
	case len(m.Moving) == 1:
		d := m.Nodes[m.Moving[0]]
		m.Words = fmt.Sprintf("%s turns about the line through it %s: no member there keeps it", s.m.nodeName(m.Moving[0]), direction(geom.Vec{X: d[3], Y: d[4], Z: d[5]}))
	default:
		m.Words = s.names(m) + " turn where they are"
	}
}

// sayParts says what nodes do that do not move as one body.
func (s *Solver) sayParts(m *Motion) {
	first := m.Nodes[m.Moving[0]]
	lead := geom.Vec{X: first[0], Y: first[1], Z: first[2]}
	same, along := true, true
	for _, n := range m.Moving {
		d := geom.Vec{X: m.Nodes[n][0], Y: m.Nodes[n][1], Z: m.Nodes[n][2]}
		same = same && geom.Dist(d, lead) < 0.02
		along = along && geom.Norm(geom.Cross(d, lead)) < 0.02*geom.Norm(d)
	}
	names := s.names(m)
	switch {
	case len(m.Moving) == 1 && math.Abs(lead.Z) > 0.99:
		m.Words = names + " drops: it moves up or down freely"
	case same && len(m.Moving) > 1:
		m.Words = fmt.Sprintf("%s all shift together %s", names, direction(lead))
	case same:
		m.Words = fmt.Sprintf("%s moves %s", names, direction(lead))
	case along && math.Abs(lead.Z) > 0.99:
		m.Words = fmt.Sprintf("%s drops: %s", s.m.nodeName(m.Moving[0]), s.follow(m))
	case along:
		m.Words = fmt.Sprintf("%s moves %s; %s", s.m.nodeName(m.Moving[0]), direction(lead), s.follow(m))
	default:
		var parts []string
		for _, n := range m.Moving[:min(namedMoving, len(m.Moving))] {
			d := m.Nodes[n]
			parts = append(parts, fmt.Sprintf("%s moves %s", s.m.nodeName(n), direction(geom.Vec{X: d[0], Y: d[1], Z: d[2]})))
		}
		m.Words = strings.Join(parts, ", ")
		if rest := len(m.Moving) - namedMoving; rest > 0 {
			m.Words += fmt.Sprintf(", and %d more with them", rest)
		}
	}
}

// follow names what moves with the first node.
func (s *Solver) follow(m *Motion) string {
	var names []string
	for _, n := range m.Moving[1:] {
		names = append(names, s.m.nodeName(n))
	}
	if len(names) == 0 {
		return "the members that meet there turn"
	}
	if len(names) == 1 {
		return listed(names) + " moves with it, less"
	}
	return listed(names) + " move with it, less"
}

// whole says that the ends of all beams move as one body with the first node that moves.
func (s *Solver) whole(m *Motion, spin geom.Vec) bool {
	first := m.Moving[0]
	d := m.Nodes[first]
	base := geom.Vec{X: d[0], Y: d[1], Z: d[2]}
	for i := range s.elements {
		e := &s.elements[i]
		if s.without[i] || e.bar {
			continue
		}
		for _, n := range [...]int32{e.i, e.j} {
			d := m.Nodes[n]
			want := geom.Add(base, geom.Cross(spin, geom.Sub(s.m.Nodes[n].At, s.m.Nodes[first].At)))
			if geom.Dist(want, geom.Vec{X: d[0], Y: d[1], Z: d[2]}) > movingRatio {
				return false
			}
		}
	}
	return true
}

func (s *Solver) names(m *Motion) string {
	names := make([]string, 0, len(m.Moving))
	for _, n := range m.Moving {
		names = append(names, s.m.nodeName(n))
	}
	return listed(names)
}

// direction says along what.
func direction(v geom.Vec) string {
	u := geom.Unit(v)
	for _, k := range [...]struct {
		c    float64
		name string
	}{{u.X, "along x"}, {u.Y, "along y"}, {u.Z, "up or down"}} {
		if math.Abs(k.c) > 0.9998 {
			return k.name
		}
	}
	return fmt.Sprintf("along (%.2f, %.2f, %.2f)", u.X+0, u.Y+0, u.Z+0)
}

// looseMotion is that of a member that moves though its nodes are held.
func (s *Solver) looseMotion(member int, how looseness) Motion {
	e := &s.elements[member]
	m := Motion{Nodes: make([]Vec6, len(s.m.Nodes))}
	name := s.m.memberName(member)
	switch how {
	case spins:
		m.Turns, m.Axis, m.Point = true, e.r[0], geom.Add(s.m.Nodes[e.i].At, e.ai)
		m.Words = name + " spins about its own axis: both of its ends are free to twist"
	case slides:
		m.Shift = e.r[0]
		m.Words = name + " slides along itself: neither end holds it"
	default:
		m.Words = name + " swings between its ends: they are let go in too many ways"
	}
	return m
}

// bucklesMotion is that of a member that gives way between its nodes.
func (s *Solver) bucklesMotion(member int) Motion {
	return Motion{Nodes: make([]Vec6, len(s.m.Nodes)), Words: s.m.memberName(member) + " buckles between its ends"}
}
