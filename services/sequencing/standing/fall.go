package standing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// levelSine is how far from level the axis of an overturning may lie, as a sine.
const levelSine = 0.2

// nearM is how near to an axis, in metres, the foot that it passes through lies.
const nearM = 0.05

// fall notes that a trial found no state of rest, and why.
func (c *Checker) fall(t *tally, s *state, e *end, k *statics.Case, r *statics.Result, at place) {
	u := c.fallOf(s, e, k, r)
	u.Combination = runName(s, at)
	// The graver comes first: what has no number before what has one, and of those the larger.
	if t.fallen == nil || u.Share > t.fallen.Share {
		t.fallen = &u
	}
}

// fallOf names a fall: overturning when all that moves turns about a level line at the feet, sliding when it shifts level
// with its feet, a mechanism otherwise.
func (c *Checker) fallOf(s *state, e *end, k *statics.Case, r *statics.Result) Usage {
	if r.Outcome == statics.Unsettled || len(r.Motions) == 0 {
		return Usage{
			Kind: Undecided, Share: math.Inf(1), Unit: "", Formula: "one-sided parts opened and closed without end", Source: "this check", Status: statusComputed,
			Words: "The analysis did not settle; it counts as a fall. Look at what is loose, and brace it.",
		}
	}
	m := &r.Motions[0]
	moving := c.movingTimbers(e, m)
	switch {
	case m.Turns && math.Abs(m.Axis.Z) < levelSine && c.atFeet(e, m):
		return c.overturning(e, k, r, m, moving)
	case !m.Turns && m.Axis == geom.Vec{} && geom.Norm(m.Shift) > 0 && math.Abs(m.Shift.Z) < levelSine*geom.Norm(m.Shift) && c.feetMove(e, m):
		return Usage{
			Kind: Sliding, Piece: c.firstMark(moving), Share: math.Inf(1), Unit: "N", Formula: "H > μ·N at every foot that bears", Source: "Coulomb friction", Status: statusComputed,
			Words: fmt.Sprintf("%s slides on the deck: friction of %.2g does not hold it.", c.marks(moving), c.rules.Joints.Friction),
		}
	}
	words := "Nothing holds it still: "
	if r.Outcome == statics.Unstable {
		words = "It goes over under its load: "
	}
	words += c.motionWords(m, moving)
	return Usage{
		Kind: Mechanism, Piece: c.firstMark(moving), Share: math.Inf(1), Formula: "a motion that nothing resists",
		Source: "stiffness in the displaced shape", Status: statusComputed, Words: words + ".",
	}
}

// atFeet says whether the axis of a motion passes along the deck: within reach of the lowest feet.
func (c *Checker) atFeet(e *end, m *statics.Motion) bool {
	if len(e.feet) == 0 {
		return false
	}
	axis := geom.Unit(m.Axis)
	for i := range e.feet {
		p := e.st.Model.Nodes[e.feet[i].node].At
		off := geom.Sub(p, m.Point)
		off = geom.Along(off, -geom.Dot(off, axis), axis)
		if math.Abs(off.Z) < footMM/1000 {
			return true
		}
	}
	return false
}

func (c *Checker) feetMove(e *end, m *statics.Motion) bool {
	for i := range e.feet {
		d := m.Nodes[e.feet[i].node]
		if math.Hypot(d[0], d[1]) > 0.5 {
			return true
		}
	}
	return false
}

// movingTimbers are the timbers that move, those that move most first.
func (c *Checker) movingTimbers(e *end, m *statics.Motion) []int {
	rank := make([]int, len(e.st.Model.Nodes))
	for i := range rank {
		rank[i] = -1
	}
	for i, n := range m.Moving {
		rank[n] = i
	}
	type mover struct{ timber, rank int }
	var movers []mover
	for timber, members := range e.st.Members {
		best := -1
		for _, i := range members {
			for _, n := range [2]int{e.st.Model.Members[i].I, e.st.Model.Members[i].J} {
				if rank[n] >= 0 && (best < 0 || rank[n] < best) {
					best = rank[n]
				}
			}
		}
		if best >= 0 {
			movers = append(movers, mover{timber, best})
		}
	}
	slices.SortStableFunc(movers, func(a, b mover) int { return a.rank - b.rank })
	list := make([]int, len(movers))
	for i, x := range movers {
		list[i] = x.timber
	}
	return list
}

// mostMarks is how many marks a sentence names.
const mostMarks = 4

func (c *Checker) marks(timbers []int) string {
	var names []string
	for _, i := range timbers[:min(len(timbers), mostMarks)] {
		names = append(names, c.frame.Timbers()[i].Mark)
	}
	switch more := len(timbers) - len(names); {
	case len(names) == 0:
		return "What stands"
	case more > 0:
		return fmt.Sprintf("%s and %d more", strings.Join(names, ", "), more)
	}
	return and(names)
}

func (c *Checker) firstMark(timbers []int) string {
	if len(timbers) == 0 {
		return ""
	}
	return c.frame.Timbers()[timbers[0]].Mark
}

// and joins names as a sentence does.
func and(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// overturning names the line that it goes over, by the feet that stay, and compares the moments about it.
func (c *Checker) overturning(e *end, k *statics.Case, r *statics.Result, m *statics.Motion, moving []int) Usage {
	axis := geom.Unit(m.Axis)
	var stay []string
	edges := true
	for i := range e.feet {
		on, edge := c.foots(e, &e.feet[i], m, axis)
		if on {
			stay = append(stay, c.frame.Timbers()[e.feet[i].timber].Mark)
			edges = edges && edge
		}
	}
	line := "a level line on the deck"
	if len(stay) > 0 {
		which := "the feet"
		if len(stay) == 1 {
			which = "the foot"
		}
		if edges {
			which = "the outer edges of " + which
			if len(stay) == 1 {
				which = "the outer edge of the foot"
			}
		}
		names := stay
		if len(names) > mostMarks {
			names = append(slices.Clone(stay[:mostMarks-1]), fmt.Sprintf("%d more", len(stay)-mostMarks+1))
		}
		line = "the line through " + which + " of " + and(names)
		if len(stay) == 1 {
			line = which + " of " + names[0]
		}
	}
	overs, rights := moments(e, k, m, axis)
	u := Usage{
		Kind: Overturning, Share: math.Inf(1), Demand: overs, Capacity: math.Max(rights, 0), Unit: "N·m",
		Formula: "Σ H·h / Σ W·a about the line", Source: "statics: moments about the line that it goes over", Status: statusComputed,
		Piece: c.firstMark(moving),
	}
	if len(stay) > 0 {
		u.Piece = stay[0]
	}
	numbers := ""
	if rights > 0 && overs > rights {
		u.Share = overs / rights
		numbers = fmt.Sprintf(": the weight resists with %.0f lb·ft, the load turns it with %.0f lb·ft", footPounds(rights), footPounds(overs))
	}
	u.Words = fmt.Sprintf("It goes over about %s%s.", line, numbers)
	return u
}

// foots says whether a foot stays on the axis of a motion, and whether the axis passes along one of its edges.
func (c *Checker) foots(e *end, f *foot, m *statics.Motion, axis geom.Vec) (on, edge bool) {
	low, high := math.Inf(1), math.Inf(-1)
	side := geom.Cross(geom.Up(), axis)
	near := false
	for _, k := range f.contacts {
		p := e.st.Model.Contacts[k]
		off := geom.Sub(geom.Add(e.st.Model.Nodes[p.Node].At, p.Arm), m.Point)
		across := geom.Dot(off, side)
		low, high = math.Min(low, across), math.Max(high, across)
		near = near || math.Abs(off.Z-axis.Z*geom.Dot(off, axis)) < nearM*6
	}
	on = near && low < nearM && high > -nearM
	return on, on && (math.Abs(low) < nearM || math.Abs(high) < nearM)
}

// moments are those of a case's loads about the axis of a motion, on what moves: of all that is not weight in the direction
// of the motion, and of the weight against it, in N·m.
func moments(e *end, k *statics.Case, m *statics.Motion, axis geom.Vec) (overs, rights float64) {
	turned := 0.0
	for _, n := range m.Moving {
		d := m.Nodes[n]
		arm := geom.Sub(e.st.Model.Nodes[n].At, m.Point)
		turned += geom.Dot(geom.Cross(axis, arm), geom.V(d[0], d[1], d[2]))
	}
	if turned < 0 {
		axis = geom.Scale(-1, axis)
	}
	moves := make([]bool, len(e.st.Model.Nodes))
	for _, n := range m.Moving {
		moves[n] = true
	}
	about := func(p, f geom.Vec) float64 { return geom.Dot(axis, geom.Cross(geom.Sub(p, m.Point), f)) }
	line := make([]geom.Vec, len(e.st.Model.Members))
	for _, l := range k.Line {
		line[l.Member] = geom.Add(line[l.Member], l.W)
	}
	for i := range e.st.Model.Members {
		x := &e.st.Model.Members[i]
		if !moves[x.I] && !moves[x.J] {
			continue
		}
		a, b := endsOf(e.st.Model, i)
		mid, mass := geom.Mid(a, b), x.Material.Rho*x.Section.A*e.long[i]
		rights -= about(mid, geom.V(0, 0, mass*k.Gravity.Z))
		overs += about(mid, geom.V(mass*k.Gravity.X, mass*k.Gravity.Y, 0))
		overs += about(mid, geom.Scale(e.long[i], line[i]))
	}
	for _, p := range k.Point {
		x := &e.st.Model.Members[p.Member]
		if moves[x.I] || moves[x.J] {
			a, b := endsOf(e.st.Model, p.Member)
			overs += about(geom.Along(a, p.At, geom.Unit(geom.Sub(b, a))), p.F)
		}
	}
	return overs, rights
}
