package statics

import (
	"fmt"
	"math"
	"slices"

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
