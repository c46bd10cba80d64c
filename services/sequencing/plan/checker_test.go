package plan_test

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/sequencing/plan"
)

// The checker works on the sticks and joints of a frame alone, with directions of its own: it shares neither
// the search nor the rules of joinery with what it checks.

type v3 [3]float64

func dot(a, b v3) float64      { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func times(f float64, a v3) v3 { return v3{f * a[0], f * a[1], f * a[2]} }
func plus(a, b v3) v3          { return v3{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func cross(a, b v3) v3 {
	return v3{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
func unit(a v3) v3 { return times(1/math.Sqrt(dot(a, a)), a) }
func within(a, b v3, d float64) bool {
	return math.Atan2(math.Sqrt(dot(cross(a, b), cross(a, b))), dot(a, b)) <= d*math.Pi/180
}

// stickAxes are the directions of a stick: along, and the normals of its four long faces.
func stickAxes(t frame.Timber) (axis v3, normals [4]v3) {
	axis = unit(v3{t.End.X - t.Start.X, t.End.Y - t.Start.Y, t.End.Z - t.Start.Z})
	up := v3{0, 0, 1}
	if math.Abs(axis[2]) > 1-1e-9 {
		up = v3{0, 1, 0}
	}
	depth := unit(plus(up, times(-dot(up, axis), axis)))
	width := cross(depth, axis)
	r := t.RollDeg * math.Pi / 180
	// Rotation about the axis: v cos r + (axis × v) sin r.
	turn := func(v v3) v3 { return plus(times(math.Cos(r), v), times(math.Sin(r), cross(axis, v))) }
	w, d := turn(width), turn(depth)
	return axis, [4]v3{d, times(-1, d), w, times(-1, w)}
}

// wayOut is the one direction in which the entering stick of a joint leaves, derived from its kind.
func wayOut(f *frame.Frame, j frame.Joint) (v3, error) {
	e, _ := f.Index(j.Entering)
	r, _ := f.Index(j.Receiving)
	entering, receiving := f.Timbers()[e], f.Timbers()[r]
	out, _ := stickAxes(entering)
	if j.EnteringEnd == frame.AtStart {
		out = times(-1, out)
	}
	axis, normals := stickAxes(receiving)
	face := normals[0]
	for _, n := range normals[1:] {
		if dot(n, out) < dot(face, out) {
			face = n
		}
	}
	switch j.Kind {
	case joinery.BlindMortiseAndTenon, joinery.ThroughMortiseAndTenon, joinery.WedgedMortiseAndTenon, joinery.HousedMortiseAndTenon:
		return face, nil
	case joinery.DovetailedHousing:
		side := unit(cross(axis, face))
		if side[2] < 0 {
			side = times(-1, side)
		}
		return side, nil
	case joinery.ForkAndTongue:
		toEnd := v3{j.At.X - receiving.End.X, j.At.Y - receiving.End.Y, j.At.Z - receiving.End.Z}
		toStart := v3{j.At.X - receiving.Start.X, j.At.Y - receiving.Start.Y, j.At.Z - receiving.Start.Z}
		if dot(toStart, toStart) < dot(toEnd, toEnd) {
			return times(-1, axis), nil
		}
		return axis, nil
	}
	return v3{}, fmt.Errorf("joint %s: the checker does not know how a %s closes", j.ID, j.Kind)
}

// replay puts the frame up move by move and gives what is wrong with the order.
func replay(f *frame.Frame, r *plan.Raising) []string {
	var wrong []string
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	move := map[string]int{}
	for i, m := range r.Moves {
		if m.Number != i+1 {
			say("move %d has the number %d", i+1, m.Number)
		}
		for _, mark := range m.Marks {
			if n, twice := move[mark]; twice {
				say("%s is raised in moves %d and %d", mark, n, m.Number)
			}
			move[mark] = m.Number
		}
	}
	for _, t := range f.Timbers() {
		if move[t.Mark] == 0 {
			say("%s is never raised", t.Mark)
		}
		if a := t.Assembly; a != "" && r.Moves[move[t.Mark]-1].Assembly != a {
			say("%s does not move with its assembly %s", t.Mark, a)
		}
	}
	for _, m := range r.Moves {
		away := v3{-m.Home.X, -m.Home.Y, -m.Home.Z}
		var closing []string
		held := false
		for _, j := range f.Joints() {
			e, rec := move[j.Entering], move[j.Receiving]
			if j.Kind.PostBase() {
				if e == m.Number {
					closing, held = append(closing, j.ID), true
					if away[2] < -1e-9 || j.Kind != joinery.PostBaseBearing && !within(away, v3{0, 0, 1}, 3) {
						say("move %d: base %s does not close along %v", m.Number, j.ID, m.Home)
					}
				}
				continue
			}
			if max(e, rec) != m.Number || e == rec {
				continue
			}
			closing, held = append(closing, j.ID), true // what stands before is held, by induction
			way, err := wayOut(f, j)
			if err != nil {
				say("%v", err)
			}
			if rec == m.Number {
				way = times(-1, way)
			}
			if !within(away, way, 3+1e-6) {
				say("move %d: joint %s opens along %v, but the move comes home along %v", m.Number, j.ID, way, m.Home)
			}
		}
		if !held {
			say("move %d: %v are joined to nothing that stands", m.Number, m.Marks)
		}
		got := slices.Clone(m.Joints)
		slices.Sort(got)
		slices.Sort(closing)
		if !slices.Equal(got, closing) {
			say("move %d: closes %v, and says %v", m.Number, closing, got)
		}
	}
	return wrong
}
