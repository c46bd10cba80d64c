package raising

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// DropDeg is the slope of the way home, in degrees from level, from which a piece is said to come down
// from above: a purlin let into a roof of 60 degrees comes down by 30.
const DropDeg = 25.0

// footLineMM is how far feet may lie off one line to turn about it together.
const footLineMM = 25

// moves turns steps, in the order of raising, into moves.
func (s *search) moves(steps []step) []Move {
	of := make([]int32, len(s.Units)) // the move of each unit
	for m, st := range steps {
		for _, u := range st.set {
			of[u] = int32(m)
		}
	}
	moves := make([]Move, len(steps))
	for m, st := range steps {
		mv := &moves[m]
		slices.SortFunc(st.set, func(a, b int32) int { return s.Units[a].Rank.compare(s.Units[b].Rank) })
		mv.Hangs = true
		for _, u := range st.set {
			mv.Units = append(mv.Units, int(u))
			for _, l := range s.at[u] {
				o := s.other(l, u)
				switch {
				case o != Deck && of[o] == int32(m):
				case o != Deck && of[o] > int32(m):
					mv.Free = append(mv.Free, int(l))
				default:
					mv.Links = append(mv.Links, int(l))
					mv.Hangs = mv.Hangs && s.leavesAlong(l, int(u), geom.V(0, 0, -1))
				}
			}
		}
		slices.Sort(mv.Links)
		slices.Sort(mv.Free)
		s.close(mv, s.compass.ways[st.dir])
	}
	s.precede(moves, of)
	return moves
}

// close chooses how a move comes home when it leaves along d.
func (s *search) close(mv *Move, d geom.Vec) {
	mv.Home = geom.Scale(-1, d)
	var joints []int // with other pieces
	tenons, feet := 0, false
	for _, l := range mv.Links {
		if s.Links[l].Receiving == Deck {
			feet = true
			continue
		}
		joints = append(joints, l)
		if s.Links[l].TenonMM > 0 {
			tenons++
		}
	}
	level := abs(d.Z) < 0.02
	if feet && level && len(joints) > 0 {
		lean, why := s.lean(mv.Units, joints, d)
		if why == "" {
			mv.Closing, mv.LeanDeg = LeanAndComeUpright, lean
			mv.Why = fmt.Sprintf("its joints open level and square to its foot line, and a turn about the outer edge of its feet "+
				"keeps every tenon within %g° of its mortise", PlayDeg)
			return
		}
		mv.Why = "its feet slide on the deck; it does not lean home because " + why
	}
	switch {
	case len(joints) == 0:
		mv.Closing, mv.Home = Stand, geom.V(0, 0, -1)
		mv.Why = "it has no joint with anything that stands"
	case d.Z >= math.Sin(geom.Radians(DropDeg)):
		mv.Closing = DropIn
		mv.Why = "all of its joints with what stands open upwards"
	case tenons > 1:
		mv.Closing = StartAllAndDrawUp
		mv.Why = either(mv.Why, fmt.Sprintf("its %d tenons open along one line, so all can be started before any is home", tenons))
	default:
		mv.Closing = Slide
		mv.Why = either(mv.Why, "its joints with what stands open along one line only")
	}
}

func either(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// lean says how far out of plumb the units stand when their first tenon starts, if leaning out about the
// foot line and coming upright closes the joints; else why it does not.
//
// The units turn about the edge of their feet that lies away from what stands, since leaning out lifts
// the other edge. For a joint at height h above the deck and at distance a inside that edge, with a tenon
// of length L, the radius is r = √(h² + a²) and the tenon starts at θ = 2·asin(L/2r). The way of the joint
// and the axis of its tenon make the angle atan(a/h) when home and atan(a/h) − θ at the start, for a tenon
// that lies level; and stick and mortise are θ askew at the start. None may be more than PlayDeg.
func (s *search) lean(units, joints []int, d geom.Vec) (leanDeg float64, why string) {
	edge, level := math.Inf(-1), math.Inf(1)
	nearest := math.Inf(1)
	for _, u := range units {
		for _, f := range s.Units[u].Feet {
			at := geom.Dot(f.At, d)
			edge, nearest, level = max(edge, at+f.reach(d)), min(nearest, at), min(level, f.At.Z)
		}
	}
	for _, u := range units {
		for _, f := range s.Units[u].Feet {
			if geom.Dot(f.At, d)-nearest > footLineMM {
				return 0, "its feet do not stand in one line square to that way"
			}
		}
	}
	for _, l := range joints {
		link := &s.Links[l]
		h, a := link.At.Z-level, edge-geom.Dot(link.At, d)
		if h <= 0 {
			return 0, fmt.Sprintf("joint %s is no higher than its feet", link.ID)
		}
		r := math.Hypot(h, a)
		start := geom.Degrees(2 * math.Asin(min(1, link.TenonMM/(2*r))))
		home := geom.Add(geom.Scale(h/r, d), geom.V(0, 0, a/r))
		axis := s.nominal(l, units, d)
		off := geom.AngleDeg(home, axis)
		offStart := geom.AngleDeg(turned(home, d, start), axis)
		if worst := max(off, offStart, start); worst > PlayDeg {
			return 0, fmt.Sprintf("in joint %s the turn is %.1f° off the tenon, more than the play of %g°", link.ID, worst, PlayDeg)
		}
		leanDeg = max(leanDeg, start)
	}
	return leanDeg, ""
}

// turned is a direction turned towards down, in the upright plane of d.
func turned(v, d geom.Vec, deg float64) geom.Vec {
	sin, cos := math.Sincos(geom.Radians(deg))
	along, up := geom.Dot(v, d), v.Z
	side := geom.Sub(v, geom.Add(geom.Scale(along, d), geom.V(0, 0, up)))
	return geom.Add(side, geom.Add(geom.Scale(along*cos+up*sin, d), geom.V(0, 0, up*cos-along*sin)))
}

// nominal is the way of a joint, for the units that leave, that lies nearest to d.
func (s *search) nominal(l int, units []int, d geom.Vec) geom.Vec {
	link := &s.Links[l]
	sign := 1.0
	if !slices.Contains(units, link.Entering) {
		sign = -1
	}
	best := d
	least := math.Inf(1)
	for _, w := range link.Ways {
		w = geom.Scale(sign, w)
		if a := geom.AngleDeg(w, d); a < least {
			best, least = w, a
		}
	}
	return best
}
