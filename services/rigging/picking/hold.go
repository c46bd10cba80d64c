package picking

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// gap is a stick of an assembly that does not come up when it hangs by two of its sticks.
type gap struct {
	// stick would be left behind or drop; −1 for none.
	stick int
	// joint is the one out of which it would drop; −1 when no joint reaches it.
	joint int
}

// whole is the gap of an assembly that comes up in one piece.
func whole() gap { return gap{-1, -1} }

// wholePlaces keeps the places by which an assembly comes up in one piece; without any the pick is
// refused, since sticks would be left behind or drop.
func (p *planner) wholePlaces(l load, places []place, out *Pick) []place {
	if !l.assembly || len(places) == 0 {
		return places
	}
	gaps := map[[2]int]gap{}
	first := places[0]
	kept := slices.DeleteFunc(places, func(pl place) bool {
		g, known := gaps[pl.timbers]
		if !known {
			g = p.gap(l.timbers, pl.timbers)
			gaps[pl.timbers] = g
		}
		return g != whole()
	})
	if len(kept) > 0 {
		return kept
	}
	out.Points = bare(first)
	g := gaps[first.timbers]
	mark := p.frame.Timbers()[g.stick].Mark
	if g.joint < 0 {
		out.refuse("%s is not one piece: no joint of it connects %s to all that the slings hold. Add the joint, or take %s out of the assembly.", l.id, mark, mark)
	} else {
		out.refuse("%s would come apart on the hook: joint %s has no pegs and opens downward, so nothing keeps %s from dropping out. Give it pegs, or leave %s loose.", l.id, p.frame.Joints()[g.joint].ID, mark, mark)
	}
	return nil
}

// gap finds a stick that the joints do not hold up when the assembly hangs by two sticks.
func (p *planner) gap(members []int, from [2]int) gap {
	anyJoint := func(int, bool) bool { return true }
	// Slings on two parts that no joint connects lift both, and pull them together or apart.
	if one, _ := p.reached(from[:1], anyJoint); !one[from[1]] {
		return gap{from[1], -1}
	}
	held, open := p.reached(from[:], p.holds)
	for _, m := range members {
		if !held[m] {
			if open.joint >= 0 {
				return open
			}
			return gap{m, -1}
		}
	}
	return whole()
}

// reached follows the joints of an assembly that pass from some of its sticks, and gives the sticks that
// they lead to, with one that a joint which does not pass leads to and nothing else reaches.
func (p *planner) reached(from []int, pass func(joint int, entering bool) bool) (map[int]bool, gap) {
	timbers := p.frame.Timbers()
	seen := map[int]bool{}
	for _, i := range from {
		seen[i] = true
	}
	var shut []gap
	for queue := slices.Clone(from); len(queue) > 0; queue = queue[1:] {
		for _, j := range p.frame.JointsOf(queue[0]) {
			entering, receiving := p.frame.Ends(j)
			other := entering
			if entering == queue[0] {
				other = receiving
			}
			switch {
			case other < 0 || seen[other] || timbers[other].Assembly != timbers[queue[0]].Assembly:
			case pass(j, other == entering):
				seen[other] = true
				queue = append(queue, other)
			default:
				shut = append(shut, gap{other, j})
			}
		}
	}
	for _, g := range shut {
		if !seen[g.stick] {
			return seen, g
		}
	}
	return seen, whole()
}

// holds says whether a joint keeps its entering or its receiving stick from dropping off the other one:
// pegs, wedges and bolts do, and so does a joint that does not open downward.
func (p *planner) holds(j int, entering bool) bool {
	joint := p.frame.Joinery(j)
	switch joint.Kind {
	case joinery.WedgedMortiseAndTenon, joinery.KnifePlate, joinery.SteelConnection:
		return true
	}
	if joint.Pegs != nil {
		return true
	}
	return !slices.ContainsFunc(joinery.OpeningDirections(joint), func(way geom.Vec) bool {
		drop := way.Z
		if entering {
			drop = -way.Z
		}
		return drop > math.Sin(geom.Radians(joinery.PlayDeg))
	})
}
