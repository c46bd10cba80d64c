package joinery

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// PlayDeg is the play of a tenon, a tail or a tongue about its one direction until it is home, in
// degrees. Common practice: the fit of a joint that goes together without a sledge.
const PlayDeg = 3

// seatTolerance lets a direction that lies in a seat count as sliding on it despite rounding.
const seatTolerance = 1e-9

// Opens reports whether the entering timber may leave the receiving one, or the deck, along a
// direction, by this joint alone:
//
//   - a tenon, blind, through, wedged or housed: along the outward normal of the face entered;
//   - a tongue: out of the open end of the fork, along the receiving timber at its end nearest the joint;
//   - a dovetail and a lap: out of the open face, which of the two long faces beside the one entered is
//     the one that points most upward;
//   - a birdsmouth: up from its seat or along it, but not uphill, where its heel bears;
//   - a slip tenon (it goes in last) and a steel connection: away from the face or along it;
//   - a stepped foot: away from both faces of the step, that is along n, back along itself, or between;
//   - a knife plate: in the plane of its kerf, away from the face or along it;
//   - a scarf: halved, along the receiving timber's depth to the side that points most upward; sideways, both
//     ways along its width; endwise, back along the entering timber;
//   - a bearing post base: upward or sliding on the deck; dowelled and knife plate: upward only.
//
// Where there is one direction, PlayDeg about it counts too. The direction need not be of unit length;
// the zero direction opens nothing. Wedges, pegs and bolts are taken as not yet driven.
func Opens(j Joint, direction geom.Vec) bool {
	d := geom.Unit(direction)
	if d == (geom.Vec{}) {
		return false
	}
	n := EnteredFace(j)
	switch j.Kind {
	case Birdsmouth:
		return geom.Dot(d, n) >= -seatTolerance && geom.Dot(d, uphill(j, n)) <= seatTolerance
	case SlipTenon, SteelConnection, PostBaseBearing:
		return geom.Dot(d, n) >= -seatTolerance
	case SteppedFoot:
		return geom.Dot(d, n) >= -seatTolerance && geom.Dot(d, out(j)) <= seatTolerance
	case KnifePlate:
		across := math.Abs(geom.Dot(d, DirectionsOf(j).Thickness))
		return geom.Dot(d, n) >= -seatTolerance && across <= math.Sin(geom.Radians(PlayDeg))
	}
	for _, way := range ways(j, n) {
		if geom.Dot(d, way) >= math.Cos(geom.Radians(PlayDeg)) {
			return true
		}
	}
	return false
}

// OpeningDirections are unit directions along which Opens is true, the nominal one first. Where a whole
// cone or half-space is open they are its middle and the directions along its rim.
func OpeningDirections(j Joint) []geom.Vec {
	n := EnteredFace(j)
	switch j.Kind {
	case PostBaseBearing:
		return []geom.Vec{n, {X: 1}, {X: -1}, {Y: 1}, {Y: -1}}
	case Birdsmouth, SlipTenon, SteelConnection:
		d := DirectionsOf(j)
		return opening(j, n, d.Width, geom.Scale(-1, d.Width), d.Thickness, geom.Scale(-1, d.Thickness),
			geom.Scale(-1, d.Out))
	case SteppedFoot:
		back := geom.Scale(-1, out(j))
		return opening(j, geom.Unit(geom.Add(n, back)), n, back)
	case KnifePlate:
		d := DirectionsOf(j)
		return opening(j, n, d.Width, geom.Scale(-1, d.Width), geom.Scale(-1, d.Out))
	}
	return ways(j, n)
}

// opening keeps the directions that really open the joint.
func opening(j Joint, candidates ...geom.Vec) []geom.Vec {
	var open []geom.Vec
	for _, c := range candidates {
		if Opens(j, c) {
			open = append(open, c)
		}
	}
	return open
}

// ways are the directions of a joint that opens along single directions only.
func ways(j Joint, n geom.Vec) []geom.Vec {
	r := j.Receiving
	switch j.Kind {
	case ForkAndTongue:
		if geom.Dist(j.At, r.Start) < geom.Dist(j.At, r.End) {
			return []geom.Vec{geom.Scale(-1, r.Axes.Axis)}
		}
		return []geom.Vec{r.Axes.Axis}
	case DovetailedHousing, Lap:
		return []geom.Vec{openFace(j)}
	case Scarf:
		switch j.Scarf {
		case ScarfSideways:
			return []geom.Vec{r.Axes.Width, geom.Scale(-1, r.Axes.Width)}
		case ScarfEndwise:
			return []geom.Vec{geom.Scale(-1, out(j))}
		}
		return []geom.Vec{upperSide(r.Axes.Depth)}
	}
	return []geom.Vec{n}
}

// uphill is the way up the entering timber, along the face entered; zero when it lies level.
func uphill(j Joint, n geom.Vec) geom.Vec {
	a := j.Entering.Axes.Axis
	if math.Abs(a.Z) <= seatTolerance {
		return geom.Vec{}
	}
	if a.Z < 0 {
		a = geom.Scale(-1, a)
	}
	return geom.Along(a, -geom.Dot(a, n), n)
}

// upperSide is v or its opposite, whichever points more upward; v when it is level.
func upperSide(v geom.Vec) geom.Vec {
	if v.Z < -seatTolerance {
		return geom.Scale(-1, v)
	}
	return v
}
