package picking

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/natural"
)

// place is a pair of points where slings may hold, with the load in the attitude in which it hangs.
type place struct {
	timbers [2]int
	// at are the points as they stand in the frame.
	at [2]geom.Vec
	// hung are the same points as the load hangs, center its center of gravity there.
	hung   [2]geom.Vec
	center geom.Vec
	// tier is how good a kind of place it is.
	tier tier
	// nearness orders places that are otherwise alike; the smaller the better.
	nearness float64
}

// tier is a kind of place; all places of a better kind are tried before any of a worse.
type tier int

const (
	// wide is clear of every joint.
	wide tier = iota
	// overOpen is wide, with a sling over a joint that is still empty when it is lifted.
	overOpen
	// narrow has its points close together for the size of the load.
	narrow
	tiers
)

// mostSticks is how many sticks one lift may have. Every pair of them is tried, and a bent has some twenty.
const mostSticks = 200

// assembly describes an assembly as a load: it hangs plumb, as it stands in the frame.
func (p *planner) assembly(a frame.Assembly) load {
	members := slices.Clone(p.frame.Members(a.ID))
	timbers := p.frame.Timbers()
	slices.SortFunc(members, func(i, j int) int { return natural.Compare(timbers[i].Mark, timbers[j].Mark) })
	l := load{
		id: a.ID, assembly: true, timbers: members, leastDepthMM: p.settings.LeastDepthMM,
		zone: p.site.Stack, zoneUse: "the stack of bents",
	}
	l.massKG, l.center = p.frame.Weigh(members)
	if !(l.massKG > 0) {
		return l
	}
	for _, m := range members {
		s := p.stickOf(m)
		for _, end := range []geom.Vec{s.start, s.end} {
			half := s.axes.Extent(s.width, s.depth, geom.Up()) / 2
			l.lowMM = math.Max(l.lowMM, l.center.Z-end.Z+half)
		}
		l.highMM = math.Max(l.highMM, highest(p.frame.Solid(m))-l.center.Z)
	}
	if len(members) <= mostSticks {
		l.places = p.assemblyPlaces(a, members, l.center)
	}
	return l
}

// highest is the height of the highest point of a stick, tenons included.
func highest(s frame.Solid) float64 {
	top := math.Inf(-1)
	for _, c := range s.Corners {
		top = math.Max(top, c.Z)
	}
	for _, tongue := range s.Tongues {
		for _, c := range tongue {
			top = math.Max(top, c.Z)
		}
	}
	return top
}

// stick describes a loose stick as a load: it hangs level, with the face up that points up in the
// frame, or the plus-depth face when none does.
func (p *planner) stick(i int) load {
	timber := p.frame.Timbers()[i]
	l := load{
		id: timber.Mark, timbers: []int{i},
		zone: p.site.Loose, zoneUse: "loose pieces",
	}
	l.massKG, l.center = p.frame.Weigh(l.timbers)
	if !(l.massKG > 0) {
		return l
	}
	s := p.stickOf(i)
	_, half := s.top()
	l.lowMM = 2 * half
	l.places = p.stickPlaces(s, l.center)
	return l
}

// bar is a stick with its directions and the stretches along it that joints take up.
type bar struct {
	index        int
	start, end   geom.Vec
	axes         geom.Axes
	width, depth float64
	length       float64
	// Stretches from start along the axis, clearance included: made are joints that are together while it
	// is lifted, open those that are still empty.
	made, open []stretch
}

// stretch is from one distance along a stick to another.
type stretch struct {
	from, to float64
	// stops says that the other stick crosses this one, so that a sling cannot slide past it.
	stops bool
}

// crossingDeg is the angle between two sticks from which the one stops a sling on the other. A scarf joins
// two in one line and stops nothing.
const crossingDeg = 15

func (s stretch) has(at float64) bool { return s.from < at && at < s.to }

// top gives the face of the section that looks up most, and the distance to it from the axis. A plumb
// stick has its plus-depth face up when it lies.
func (b bar) top() (geom.Vec, float64) {
	up, half := b.axes.Depth, b.depth/2
	best := math.Abs(up.Z)
	if up.Z < 0 {
		up = geom.Scale(-1, up)
	}
	if z := math.Abs(b.axes.Width.Z); z > best+1e-9 {
		up, half = b.axes.Width, b.width/2
		if up.Z < 0 {
			up = geom.Scale(-1, up)
		}
	}
	return up, half
}

// on gives the point of the upper face at a distance along the stick; of a plumb stick that of its axis.
func (b bar) on(at float64) geom.Vec {
	point := geom.Along(b.start, at, b.axes.Axis)
	if b.plumb() {
		return point
	}
	up, half := b.top()
	return geom.Along(point, half, up)
}

// steepDeg is the slope from level at which a sling has to be kept from sliding by a joint.
const steepDeg = 5

func (b bar) level() bool { return math.Abs(b.axes.Axis.Z) < math.Sin(steepDeg*math.Pi/180) }

func (b bar) plumb() bool { return math.Hypot(b.axes.Axis.X, b.axes.Axis.Y) < 1e-6 }

// free says whether a sling at a distance along the stick is clear of its ends and of joints that are
// together, and whether it is clear of empty ones as well.
func (b bar) free(at, clearance float64) (free, ofOpen bool) {
	has := func(s stretch) bool { return s.has(at) }
	if !(at >= clearance && at <= b.length-clearance) || slices.ContainsFunc(b.made, has) {
		return false, false
	}
	return true, !slices.ContainsFunc(b.open, has)
}

// stickOf gathers what placing slings needs to know of a stick.
func (p *planner) stickOf(i int) bar {
	t := p.frame.Timbers()[i]
	b := bar{
		index: i, start: t.Start, end: t.End, axes: p.frame.Axes(i),
		width: t.WidthMM, depth: t.DepthMM, length: geom.Dist(t.Start, t.End),
	}
	for _, j := range p.frame.JointsOf(i) {
		s := p.stretchOf(b, j)
		entering, receiving := p.frame.Ends(j)
		other := entering
		if entering == i {
			other = receiving
		}
		s.stops = other >= 0 && math.Abs(geom.Dot(b.axes.Axis, p.frame.Axes(other).Axis)) < math.Cos(crossingDeg*math.Pi/180)
		if other >= 0 && t.Assembly != "" && p.frame.Timbers()[other].Assembly == t.Assembly {
			b.made = append(b.made, s)
		} else {
			b.open = append(b.open, s)
		}
	}
	return b
}

// stretchOf gives the stretch of a stick that a joint takes up, with the clearance of a sling.
func (p *planner) stretchOf(b bar, j int) stretch {
	joint := p.frame.Joints()[j]
	entering, receiving := p.frame.Ends(j)
	at := geom.Dot(geom.Sub(joint.At, b.start), b.axes.Axis)
	other := entering
	if entering == b.index {
		other = receiving
	}
	half := math.Max(b.width, b.depth) / 2
	if other >= 0 {
		t := p.frame.Timbers()[other]
		half = shadow(b, p.frame.Axes(other), t.WidthMM, t.DepthMM)
	}
	half += p.settings.JointClearanceMM
	if entering == b.index && joint.EnteringEnd != frame.Along {
		// The joint is at an end; a sloped shoulder reaches back along the stick.
		back := p.settings.JointClearanceMM
		if other >= 0 {
			back += shoulder(b, p.frame.Axes(other))
		}
		if joint.EnteringEnd == frame.AtStart {
			return stretch{from: math.Inf(-1), to: back}
		}
		return stretch{from: b.length - back, to: math.Inf(1)}
	}
	if joint.Kind == joinery.Scarf && joint.Tenon != nil {
		// The lap lies along the stick and halves it there.
		half += joint.Tenon.LengthMM
	}
	return stretch{from: at - half, to: at + half}
}

// shadow is how far the section of another stick reaches along this one, to either side of its axis,
// where it meets the face that it crosses most squarely.
func shadow(b bar, other geom.Axes, width, depth float64) float64 {
	face := b.axes.Depth
	if math.Abs(geom.Dot(other.Axis, b.axes.Width)) > math.Abs(geom.Dot(other.Axis, face)) {
		face = b.axes.Width
	}
	through := geom.Dot(other.Axis, face)
	if math.Abs(through) < 0.1 {
		return (width + depth) / 2
	}
	reach := func(d geom.Vec) float64 {
		onFace := geom.Along(d, -geom.Dot(d, face)/through, other.Axis)
		return math.Abs(geom.Dot(onFace, b.axes.Axis))
	}
	return width/2*reach(other.Width) + depth/2*reach(other.Depth)
}

// shoulder is how far a sloped end reaches back from where the axis meets the other stick's face.
func shoulder(b bar, other geom.Axes) float64 {
	through := math.Max(math.Abs(geom.Dot(b.axes.Axis, other.Width)), math.Abs(geom.Dot(b.axes.Axis, other.Depth)))
	half := math.Max(b.width, b.depth) / 2
	if through < 0.1 {
		return 2 * half
	}
	return half * math.Sqrt(math.Max(0, 1-through*through)) / through
}
