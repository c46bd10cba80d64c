package standup

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// What places for slings keep to, common practice, in millimetres and degrees.
const (
	clearMM    = 100.0 // between a sling and the edge of a joint
	aboveMM    = 100.0 // of the points above the centre of gravity
	evenMM     = 150.0 // of two points from the centre of gravity
	levelDeg   = 5.0   // from level, below which a choker stays where it is drawn
	crossDeg   = 15.0  // between sticks, from which the one stops a sling on the other
	nominReach = 0.5 - (math.Sqrt2-1)/2
	leastReach = 0.15
	mostReach  = 0.42
	reachSteps = 54
	narrow     = 0.2 // of the extent of the bent, below which two points are close together
)

// takePoints checks the places where slings take hold, or chooses them.
func (c *checker) takePoints(given []Point) ([]Point, error) {
	if len(given) == 0 {
		return c.choose()
	}
	if len(given) != 2 {
		return nil, fault("slings", "%d points are given; two slings are reckoned with, so give two or leave the choice open", len(given))
	}
	for _, p := range given {
		if !c.has(p.Timber) {
			return nil, fault("slings", "a sling holds a stick that is not among the pieces; hold sticks of the bent")
		}
		mark, long := c.f.Timbers()[p.Timber].Mark, c.f.Stick(p.Timber).ShoulderMM()
		if !(p.FromStartMM >= 0 && p.FromStartMM <= long) {
			return nil, fault(mark, "a sling holds it %g mm from its start, but it is %.0f mm long; give a place on it", p.FromStartMM, long)
		}
	}
	if geom.Dist(c.on(given[0]), c.on(given[1])) < 2*clearMM {
		return nil, fault("slings", "both points are in one place; take hold at two places apart")
	}
	points := slices.Clone(given)
	slices.SortStableFunc(points, func(a, b Point) int { return cmp.Compare(c.off(a), c.off(b)) })
	return points, nil
}

// off is how far a point lies beside the centre of gravity, along the bent.
func (c *checker) off(p Point) float64 {
	return geom.Dot(geom.Sub(c.on(p), c.center), c.plane.along)
}

// choose takes two points in balance on the highest sticks that a sling can hold: on level ones clear of joints, on sloping
// ones just below a joint that keeps the sling from sliding uphill; wide apart rather than close together.
func (c *checker) choose() ([]Point, error) {
	var lefts, rights []Point
	for _, i := range c.pieces {
		if r := c.f.Timbers()[i].Role; r == frame.RoleStrut || r == frame.RoleKneeBrace {
			continue // too light to hang a bent by
		}
		for _, p := range c.holds(i) {
			if c.off(p) < 0 {
				lefts = append(lefts, p)
			} else {
				rights = append(rights, p)
			}
		}
	}
	extent := c.extent()
	type pair struct {
		points     [2]Point
		tight      bool
		high, miss float64
	}
	var pairs []pair
	for _, l := range lefts {
		for _, r := range rights {
			miss := math.Abs(c.off(l) + c.off(r))
			low, level := math.Min(c.on(l).Z, c.on(r).Z), math.Abs(c.on(l).Z-c.on(r).Z)
			if miss > evenMM || level > evenMM || low < c.center.Z+aboveMM {
				continue
			}
			reach := c.off(r) - c.off(l)
			miss += c.preference(l, r, reach)
			pairs = append(pairs, pair{[2]Point{l, r}, reach < narrow*extent, math.Round(low), miss})
		}
	}
	if len(pairs) == 0 {
		return nil, fault("slings", "no two places above the center of gravity balance the bent and keep a sling; name the points, and lash what keeps the slings from sliding")
	}
	slices.SortStableFunc(pairs, func(a, b pair) int {
		if a.tight != b.tight {
			if a.tight {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(b.high, a.high), cmp.Compare(a.miss, b.miss), cmp.Compare(a.points[0].Timber, b.points[0].Timber), cmp.Compare(a.points[1].Timber, b.points[1].Timber))
	})
	return pairs[0].points[:], nil
}

// preference is how far a pair on a level stick is from the overhang that bends it least, in millimetres.
func (c *checker) preference(l, r Point, reach float64) float64 {
	if l.Timber != r.Timber {
		return 0
	}
	return math.Abs(reach/2 - nominReach*c.f.Stick(l.Timber).ShoulderMM())
}

// extent is how long the bent is.
func (c *checker) extent() float64 {
	least, most := math.Inf(1), math.Inf(-1)
	for _, i := range c.pieces {
		t := c.f.Timbers()[i]
		for _, p := range [2]geom.Vec{t.Start, t.End} {
			at := geom.Dot(p, c.plane.along)
			least, most = math.Min(least, at), math.Max(most, at)
		}
	}
	return most - least
}

// stretch is a part of a stick that a joint takes up; stops says that a sling cannot slide past it.
type stretch struct {
	from, to float64
	stops    bool
}

// holds are the places on a stick where a sling stays.
func (c *checker) holds(i int) []Point {
	long, axis := c.f.Stick(i).ShoulderMM(), c.f.Axes(i).Axis
	taken := c.taken(i)
	free := func(at float64) bool {
		return at >= clearMM && at <= long-clearMM && !slices.ContainsFunc(taken, func(s stretch) bool { return s.from < at && at < s.to })
	}
	var list []Point
	add := func(at float64) {
		if free(at) {
			list = append(list, Point{Timber: i, FromStartMM: at})
		}
	}
	if math.Abs(axis.Z) < math.Sin(geom.Radians(levelDeg)) {
		run := geom.Dot(axis, c.plane.along)
		if math.Abs(run) < 0.5 {
			return nil
		}
		middle := geom.Dot(geom.Sub(c.center, c.f.Timbers()[i].Start), c.plane.along) / run
		for k := -1; k <= reachSteps; k++ {
			share := nominReach
			if k >= 0 {
				share = leastReach + (mostReach-leastReach)*float64(k)/reachSteps
			}
			add(middle - share*long)
			add(middle + share*long)
		}
		return list
	}
	for _, s := range taken {
		if !s.stops {
			continue
		}
		// A hair below what stops it.
		if axis.Z > 0 {
			add(s.from - 1)
		} else {
			add(s.to + 1)
		}
	}
	return list
}

// taken are the stretches of a stick that its joints with the other pieces take up, with the clearance of a sling.
func (c *checker) taken(i int) []stretch {
	var list []stretch
	axis, start := c.f.Axes(i).Axis, c.f.Timbers()[i].Start
	for _, j := range c.f.JointsOf(i) {
		entering, receiving := c.f.Ends(j)
		other := entering
		if entering == i {
			other = receiving
		}
		joint := c.f.Joints()[j]
		s := stretch{stops: other >= 0 && c.has(other) && math.Abs(geom.Dot(axis, c.f.Axes(other).Axis)) < math.Cos(geom.Radians(crossDeg))}
		at := geom.Dot(geom.Sub(joint.At, start), axis)
		half := math.Max(c.f.Timbers()[i].WidthMM, c.f.Timbers()[i].DepthMM)/2 + clearMM
		if other >= 0 {
			half = c.shadow(i, other) + clearMM
		}
		s.from, s.to = at-half, at+half
		if entering == i && joint.EnteringEnd != frame.Along {
			back := clearMM
			if other >= 0 {
				back += c.shoulder(i, other)
			}
			if joint.EnteringEnd == frame.AtStart {
				s.from, s.to = math.Inf(-1), back
			} else {
				s.from, s.to = c.f.Stick(i).ShoulderMM()-back, math.Inf(1)
			}
		}
		list = append(list, s)
	}
	return list
}

// shadow is how far the section of another stick reaches along one, to either side of its axis, on the face that it
// crosses most squarely.
func (c *checker) shadow(i, other int) float64 {
	x, o, t := c.f.Axes(i), c.f.Axes(other), c.f.Timbers()[other]
	face := x.Depth
	if math.Abs(geom.Dot(o.Axis, x.Width)) > math.Abs(geom.Dot(o.Axis, face)) {
		face = x.Width
	}
	through := geom.Dot(o.Axis, face)
	if math.Abs(through) < 0.1 {
		return (t.WidthMM + t.DepthMM) / 2
	}
	reach := func(d geom.Vec) float64 {
		return math.Abs(geom.Dot(geom.Along(d, -geom.Dot(d, face)/through, o.Axis), x.Axis))
	}
	return t.WidthMM/2*reach(o.Width) + t.DepthMM/2*reach(o.Depth)
}

// shoulder is how far the sloped end of a stick reaches back from where its axis meets the face of another.
func (c *checker) shoulder(i, other int) float64 {
	x, o := c.f.Axes(i), c.f.Axes(other)
	half := math.Max(c.f.Timbers()[i].WidthMM, c.f.Timbers()[i].DepthMM) / 2
	through := math.Max(math.Abs(geom.Dot(x.Axis, o.Width)), math.Abs(geom.Dot(x.Axis, o.Depth)))
	if through < 0.1 {
		return 2 * half
	}
	return half * math.Sqrt(math.Max(0, 1-through*through)) / through
}
