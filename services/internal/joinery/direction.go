package joinery

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// Directions are the unit directions of a joint that the package comment names.
type Directions struct {
	// N is the outward normal of the receiving face entered.
	N geom.Vec
	// Out points out of the entering stick at the end that enters.
	Out geom.Vec
	// Width and Thickness are the directions t and m of the tenon.
	Width, Thickness geom.Vec
	// Squareness is |n·a|: 1 when the stick meets the face squarely, 0 when it runs along it.
	Squareness float64
}

// DirectionsOf derives the directions of a joint.
func DirectionsOf(j Joint) Directions {
	d := Directions{N: EnteredFace(j), Out: out(j)}
	switch {
	case j.Kind.PostBase():
		d.Width, d.Thickness = j.Entering.Axes.Depth, j.Entering.Axes.Width
	case j.Kind == Scarf:
		d.Width, d.Thickness = j.Receiving.Axes.Width, j.Receiving.Axes.Depth
	default:
		d.Width = j.Receiving.Axes.Axis
		d.Thickness = geom.Cross(d.Width, d.N)
	}
	d.Thickness = signed(d.Thickness, j.Entering.Axes)
	d.Squareness = math.Abs(geom.Dot(d.N, j.Entering.Axes.Axis))
	return d
}

// EnteredFace is the outward unit normal of the receiving face that the timber enters; up for a post
// base.
func EnteredFace(j Joint) geom.Vec {
	r := j.Receiving
	switch {
	case j.Kind.PostBase():
		return geom.Up()
	case j.Kind == Scarf:
		if geom.Dot(r.Axes.Axis, out(j)) > 0 {
			return geom.Scale(-1, r.Axes.Axis)
		}
		return r.Axes.Axis
	case j.Kind == Birdsmouth:
		return FaceTowards(r.Axes, geom.Up()).Normal(r.Axes)
	case j.Kind == SteelConnection && j.End == Along:
		towards := geom.Sub(onAxis(j.Entering, j.At), onAxis(r, j.At))
		if geom.Norm(towards) > 1 {
			return FaceTowards(r.Axes, towards).Normal(r.Axes)
		}
	}
	return FaceTowards(r.Axes, geom.Scale(-1, out(j))).Normal(r.Axes)
}

// Place is where the joint is on the entering stick's centre line: its shoulder, or, for a joint along
// it, the joint's point.
func (j Joint) Place() geom.Vec {
	switch j.End {
	case AtStart:
		return j.Entering.Start
	case AtEnd:
		return j.Entering.End
	}
	return j.At
}

// openFace is the face of the receiving timber out of which a dovetail or a lap comes: of the long faces
// beside the one entered, the one that points most upward.
func openFace(j Joint) geom.Vec {
	x, n := j.Receiving.Axes, EnteredFace(j)
	return upperSide(positive(geom.Cross(x.Axis, n), x))
}

// positive turns a direction that is parallel to a stick's depth or width to its plus side.
func positive(v geom.Vec, x geom.Axes) geom.Vec {
	if geom.Dot(v, geom.Add(x.Depth, x.Width)) < 0 {
		return geom.Scale(-1, v)
	}
	return v
}

// signed turns the thickness direction as the package comment says.
func signed(m geom.Vec, x geom.Axes) geom.Vec {
	dw, dd := geom.Dot(m, x.Width), geom.Dot(m, x.Depth)
	lead := dd
	if math.Abs(dd) < math.Abs(dw) {
		lead = dw
	}
	if lead < 0 {
		return geom.Scale(-1, m)
	}
	return m
}

func out(j Joint) geom.Vec {
	if j.End == AtStart {
		return geom.Scale(-1, j.Entering.Axes.Axis)
	}
	return j.Entering.Axes.Axis
}

func onAxis(s Stick, p geom.Vec) geom.Vec { return geom.NearestOnSegment(p, s.Start, s.End) }
