package statics

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
)

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
		m.Words = fmt.Sprintf("%s drops: %s", s.m.nodeName(m.Moving[0]), s.company(m))
	case along:
		m.Words = fmt.Sprintf("%s moves %s; %s", s.m.nodeName(m.Moving[0]), direction(lead), s.company(m))
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

// company names what moves with the first node.
func (s *Solver) company(m *Motion) string {
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
